//! A supply solved along the tangents of a state nearby, beside the same solved in full.

use hydro::analysis::supply::Supply;
use hydro::network::Network;
use hydro::time::{Mix, Near};

use super::network;

/// Networks, the time, s, the share of its gas that every tank holds, and the share of the changes below that it is led through:
/// full tanks have little gas, and a jet over an apex comes and goes with one part in fifty of the pressure.
const NETWORKS: [(&str, &str, f64, f64, f64); 5] = [
    ("02-ring-main", include_str!("../../../networks/02-ring-main.yaml"), 3.0, 1.0, 1.0),
    ("03-cross-fed-bed", include_str!("../../../networks/03-cross-fed-bed.yaml"), 3.0, 1.0, 1.0),
    ("04-weir-and-bank", include_str!("../../../networks/04-weir-and-bank.yaml"), 3.0, 1.0, 1.0),
    (
        "04-weir-and-bank, the jet out of the rise",
        include_str!("../../../networks/04-weir-and-bank.yaml"),
        3.0,
        0.18,
        0.004,
    ),
    ("05-full-stand, both groups", include_str!("../../../networks/05-full-stand.yaml"), 24.0, 1.0, 0.1),
];

/// Rates of change of a state.
fn rates(supply: &Supply<'_>) -> Vec<f64> {
    let mut rates = vec![0.0; supply.dim()];
    supply.derivative(&mut rates);
    rates
}

/// Two supplies of a network at a time, s, whose tanks hold a share of their gas, the first computed there; and the state.
fn side_by_side(network: &Network, (time, gas): (f64, f64)) -> ([Supply<'_>; 2], Vec<f64>) {
    let mut supplies = [0, 1].map(|_| Supply::new(network).unwrap());
    for supply in &mut supplies {
        supply.set_segment(time, time + 0.1);
    }
    let mut start = supplies[0].initial();
    for vessel in network.tanks.iter().map(|tank| tank.vessel) {
        (start[2 * vessel], start[2 * vessel + 1]) = (gas * start[2 * vessel], gas * start[2 * vessel + 1]);
    }
    supplies[0].evaluate(time, &start).unwrap();
    (supplies, start)
}

/// Outflows come out to what the tangents may leave, 1e-6, and the water balances as well as at the state that
/// they begin at (here to 1e-12 or better).
#[test]
fn tangents_lead_where_the_full_solve_does() {
    for (name, text, time, gas, reach) in NETWORKS {
        let network = network(text, &["inertia=off"]);
        let ([mut supply, mut fresh], start) = side_by_side(&network, (time, gas));
        let mut jacobian = nalgebra::DMatrix::zeros(start.len(), start.len());
        let jet = |supply: &Supply<'_>| supply.water.equations().weir_flow(0).shares[1] > 0.5;
        assert!(gas == 1.0 || jet(&supply), "{name}");
        supply.jacobian(&mut jacobian);
        supply.begin_near(&start);
        let solves = |supply: &Supply<'_>| supply.water.tally().factorisations;
        let before = solves(&supply);
        let first = 2 * network.gas_vessels.len();
        for (k, share) in [0.999, 0.99, 0.97, 0.99, 1.01].into_iter().enumerate() {
            // The gas of every tank expands into what its water leaves, by shares that differ.
            let mut state = start.clone();
            for (tank, water) in state[first..first + network.tanks.len()].iter_mut().enumerate() {
                *water *= 1.0 - reach * (1.0 - share) * (1.0 + 0.3 * tank as f64);
            }
            let later = time + 0.002 * k as f64;
            supply.evaluate_near(later, &state, Near::Alone).unwrap();
            fresh.evaluate(later, &state).unwrap();
            let largest = fresh.outflows.iter().fold(0.0_f64, |most, flow| most.max(flow.abs()));
            assert!(largest > 0.0, "{name}");
            for (near, full) in supply.outflows.iter().zip(&fresh.outflows) {
                assert!((near - full).abs() <= 2e-6 * largest, "{name}, {share}: {near} for {full}");
            }
            let balance: f64 = rates(&supply)[first..=first + network.tanks.len()].iter().sum();
            assert!(balance.abs() <= 1e-10 * largest, "{name}, {share}: {balance} left over of {largest}");
        }
        assert_eq!(solves(&supply), before, "{name}: not by the tangents alone");
    }
}

/// Far from the state of the tangents, and where a valve passes nothing back, the full solve takes over.
#[test]
fn far_away_the_full_solve_takes_over() {
    let network = network(NETWORKS[2].1, &["inertia=off"]);
    let mut supply = Supply::new(&network).unwrap();
    supply.set_segment(3.0, 4.0);
    let start = supply.initial();
    let mut jacobian = nalgebra::DMatrix::zeros(start.len(), start.len());
    supply.evaluate(3.0, &start).unwrap();
    supply.jacobian(&mut jacobian);
    supply.begin_near(&start);
    let mut state = start.clone();
    for vessel in 0..network.gas_vessels.len() {
        // A hundredth of the gas: less than the surroundings hold against it.
        (state[2 * vessel], state[2 * vessel + 1]) = (0.01 * state[2 * vessel], 0.01 * state[2 * vessel + 1]);
    }
    let mut fresh = Supply::new(&network).unwrap();
    fresh.set_segment(3.0, 4.0);
    supply.evaluate_near(3.1, &state, Near::Alone).unwrap();
    fresh.evaluate(3.1, &state).unwrap();
    for (near, full) in supply.outflows.iter().zip(&fresh.outflows) {
        assert!((near - full).abs() <= 1e-7 * full.abs().max(1e-6), "{near} for {full}");
    }
}

/// One pass of a stage balances as well as the state it goes out from, and leaves no more than the square of the change; the end
/// of a step is solved, and so is what lies inside.
#[test]
fn a_stage_balances_and_the_end_is_solved() {
    for (name, text, time, gas, reach) in NETWORKS {
        let network = network(text, &["inertia=off"]);
        let ([mut supply, mut fresh], start) = side_by_side(&network, (time, gas));
        let mut jacobian = nalgebra::DMatrix::zeros(start.len(), start.len());
        let before = supply.outflows.clone();
        supply.jacobian(&mut jacobian);
        supply.begin_near(&start);
        let first = 2 * network.gas_vessels.len();
        let at = |share: f64| {
            let mut state = start.clone();
            for (tank, water) in state[first..first + network.tanks.len()].iter_mut().enumerate() {
                *water *= 1.0 - 0.03 * share * reach * (1.0 + 0.3 * tank as f64);
            }
            state
        };
        let mut largest = |supply: &Supply<'_>, time: f64, state: &[f64]| {
            fresh.evaluate(time, state).unwrap();
            let size = fresh.outflows.iter().fold(0.0_f64, |most, flow| most.max(flow.abs()));
            let pairs = supply.outflows.iter().zip(&fresh.outflows).zip(&before);
            let off = pairs.clone().map(|((near, full), _)| (near - full).abs()).fold(0.0, f64::max);
            let changed = pairs.map(|((_, full), before)| (full - before).abs()).fold(0.0, f64::max);
            (off / size, changed / size)
        };
        let mix = |weights| Mix { weights, later: 0.0, inside: [0.0; 2] };
        let (state, later) = (at(1.0), time + 0.01);
        supply.evaluate_near(later, &state, Near::Stage(mix(&[1.0]))).unwrap();
        let (off, changed) = largest(&supply, later, &state);
        assert!(off <= changed * changed && changed > 1e-5, "{name}: {off:e} left of {changed:e}");
        let balance: f64 = rates(&supply)[first..=first + network.tanks.len()].iter().sum();
        let most = supply.outflows.iter().fold(0.0_f64, |most, flow| most.max(flow.abs()));
        assert!(balance.abs() <= 1e-10 * most, "{name}: {balance} left over of {most}");
        supply.evaluate_near(later, &state, Near::End(mix(&[1.0, 1.0]))).unwrap();
        let (off, _) = largest(&supply, later, &state);
        assert!(off <= 1e-8, "{name}: {off:e} at the end");
        // Taken once as the method has it, from then on as the straight way from the start of this step, not of another.
        let ways = [0, 1].map(|_| supply.water.take_inside(time).unwrap());
        assert_eq!(ways.each_ref().map(|way| way.curved), [true, false]);
        assert!(supply.water.take_inside(time - 0.01).is_none());
        for inside in &ways {
            for share in [0.5, 1.0, 0.2] {
                let (state, time) = (at(share), time + 0.01 * share);
                supply.evaluate_inside((time, &state), inside, share).unwrap();
                let (off, _) = largest(&supply, time, &state);
                assert!(off <= 1e-7, "{name}: {off:e} inside");
            }
        }
    }
}
