//! Every law's slope against differences of its values, on both sides of every point: at the joins of its regimes a
//! wrong slope or a kink shows on one of them.
//!
//! Differences are one-sided of fourth order, `f'(x) = (-25 f0 + 48 f1 - 36 f2 + 16 f3 - 3 f4)/(12 h) + O(h^4)`
//! (Abramowitz and Stegun, table 25.2). With steps of a thousandth of x they are right to about 1e-11.

use hydro::analysis::curve::Curve;
use hydro::component::Fill;
use hydro::component::crossover::Crossover;
use hydro::component::friction::{self, LAMINAR_UP_TO, TURBULENT_FROM};
use hydro::component::gas_valve::{GasValveLaw, SMALL_DROP};
use hydro::component::gas_vessel::{Content, Moisture, Rates};
use hydro::component::hole::{CAVITATION_SMOOTHING, HoleLaw};
use hydro::component::law::{Law, SMOOTH_VELOCITY};
use hydro::component::panel::{DischargeCoefficient, Holes, Panel};
use hydro::component::pipe::Pipe;
use hydro::component::schedule::Schedule;
use hydro::component::valve::Valve;
use hydro::component::vapour::Vapour;
use hydro::component::weir_pipe::{Leg, Vent, WeirPipe};
use hydro::fluid::gas::{Gas, GasKind, GasModel, GasState};
use hydro::fluid::site::Site;
use hydro::network::PassageKind;

/// Water of 18 degC, rounded: the laws only need some density and viscosity.
const SITE: Site = Site {
    ambient_pressure: 101_325.0,
    ambient_temperature: 291.15,
    water_temperature: 291.15,
    gravity: 9.80665,
    water_density: 998.6,
    water_viscosity: 1.053e-3,
    water_vapour_pressure: 2065.0,
};

/// Derivatives of `f` at `x` from below and from above, with the step `h`.
fn both_sides(f: &dyn Fn(f64) -> f64, x: f64, h: f64) -> [f64; 2] {
    [-h, h].map(|h| {
        let at = |k: f64| f(x + k * h);
        (-25.0 * at(0.0) + 48.0 * at(1.0) - 36.0 * at(2.0) + 16.0 * at(3.0) - 3.0 * at(4.0)) / (12.0 * h)
    })
}

/// Fails where `slope` is not the derivative of `f` at `x` on either side.
///
/// `size`: a derivative of natural size, for where it vanishes; `tolerance` is relative to it and to the slope.
fn assert_slope(what: &str, f: &dyn Fn(f64) -> f64, slope: f64, x: f64, h: f64, size: f64, tolerance: f64) {
    for (side, difference) in ["below", "above"].iter().zip(both_sides(f, x, h)) {
        let error = (difference - slope).abs();
        assert!(
            error <= tolerance * (slope.abs() + size),
            "{what} at {x:e}, from {side}: slope {slope:e}, difference {difference:e}"
        );
    }
}

/// One passage of every kind and shape whose law differs. A new kind does not compile until it is in [`laws`].
fn passages() -> Vec<PassageKind> {
    let pipe = |roughness, loss_coefficient, friction_factor| {
        PassageKind::Pipe(Pipe {
            length: 12.0,
            bore: 0.25,
            roughness,
            loss_coefficient,
            friction_factor,
            starts: Fill::Full,
        })
    };
    let weir = |friction_factor, vent| {
        PassageKind::WeirPipe(WeirPipe {
            bore: 0.9,
            roughness: 5e-5,
            friction_factor,
            apex: 6.5,
            rise: Leg { length: 9.0, loss_coefficient: 0.4, starts: Fill::Full },
            fall: Leg { length: 11.0, loss_coefficient: 0.0, starts: Fill::Full },
            vent,
        })
    };
    let valve = |bore, loss_coefficient, one_way| {
        PassageKind::Valve(Valve { bore, loss_coefficient, schedule: Schedule::OPEN, one_way })
    };
    vec![
        pipe(5e-5, 1.2, None),
        pipe(0.0, 0.0, None),
        pipe(0.02, 0.0, None),
        pipe(5e-5, 1.2, Some(0.02)),
        pipe(5e-5, 0.0, Some(0.0)),
        valve(0.9, 0.3, false),
        valve(0.05, 12.0, true),
        valve(0.3, 0.0, false),
        weir(None, Some(Vent { bore: 0.1, discharge_coefficient: 0.6, one_way: true })),
        weir(Some(0.015), None),
        PassageKind::Crossover(Crossover { ports: 6, bore: 0.15, loss_coefficient: 1.5 }),
    ]
}

/// Every law that a passage may follow.
fn laws(kind: &PassageKind) -> Vec<(String, Law)> {
    let name = |part: &str| format!("{kind:?} {part}");
    match kind {
        PassageKind::Pipe(pipe) => vec![(name(""), pipe.law(&SITE))],
        PassageKind::Valve(valve) => {
            [1.0, 0.5, 0.03, 1e-4].iter().map(|&x| (name(&format!("opened {x}")), valve.law(x, &SITE))).collect()
        }
        PassageKind::WeirPipe(weir) => vec![
            (name("full"), weir.full_law(&SITE)),
            (name("rise"), weir.leg_law(&weir.rise, &SITE)),
            (name("fall"), weir.leg_law(&weir.fall, &SITE)),
            (name("jet of the rise"), weir.jet_law(&weir.rise, &SITE)),
            (name("jet of the fall"), weir.jet_law(&weir.fall, &SITE)),
        ],
        PassageKind::Crossover(crossover) => vec![(name(""), crossover.law(&SITE))],
    }
}

fn panel(discharge_coefficient: DischargeCoefficient, plugged: f64, cavitation: Option<bool>) -> Panel {
    Panel {
        node: 0,
        outline: vec![[0.0, 0.0], [3.0, 0.0], [3.0, 3.0], [0.0, 3.0]],
        area: 9.0,
        holes: Holes { count: 1600, diameter: 0.004, plate: Some(0.025), discharge_coefficient, cavitation },
        plugged,
        gap: None,
        gap_roughness: 0.0,
        ribs: Vec::new(),
        density: None,
        cells: [1, 1],
        momentum: None,
        starts: Fill::Full,
        plume_pressure: None,
        heat_flux: None,
        required_flux: None,
    }
}

/// Laws of the passages and of holes.
fn all_laws() -> Vec<(String, Law)> {
    let mut all: Vec<(String, Law)> = passages().iter().flat_map(laws).collect();
    for (coefficient, plugged, cavitation) in [
        (DischargeCoefficient::Given(0.8), 0.0, None),
        (DischargeCoefficient::Given(0.6), 0.97, None),
        (DischargeCoefficient::Given(0.8), 0.0, Some(true)),
        (DischargeCoefficient::Given(0.6), 0.0, Some(true)),
        (DischargeCoefficient::Auto, 0.0, Some(false)),
        (DischargeCoefficient::Auto, 0.0, None),
    ] {
        for outside in [2e4, 101_325.0, 9e5] {
            let law = panel(coefficient, plugged, cavitation).hole_law(outside, &SITE).expect("open holes");
            all.push((format!("holes {coefficient:?} plugged {plugged} {cavitation:?} at {outside} Pa"), law));
        }
    }
    all
}

/// Where a function that is below 0 at first rises through 0, by bisection up to `high`; `None` where it does not.
fn root(f: &dyn Fn(f64) -> f64, high: f64) -> Option<f64> {
    let (mut low, mut high) = (0.0, high);
    if f(low) >= 0.0 || f(high) <= 0.0 {
        return None;
    }
    for _ in 0..200 {
        let middle = 0.5 * (low + high);
        *(if f(middle) < 0.0 { &mut low } else { &mut high }) = middle;
    }
    Some(high)
}

/// Flows at which the regimes of a law join, m3/s.
fn joins(law: &Law, blur: f64) -> Vec<f64> {
    match law {
        Law::Quadratic(q) => vec![q.smooth.max(blur * q.natural)],
        Law::Hole(h) => {
            let edge = h.attached.smooth.max(blur * h.attached.natural);
            // Where the cavitating branch comes within its width of the attached one, from either side.
            let width = CAVITATION_SMOOTHING * h.spare;
            let ends = [-width, width].into_iter().filter(|_| h.cavitating > 0.0).filter_map(|aim| {
                let excess = |q: f64| {
                    let attached = Law::Hole(HoleLaw { cavitating: 0.0, ..*h }).blurred_loss(q, blur).value;
                    h.cavitating * q * q - h.spare - attached - aim
                };
                root(&excess, 1e3 * h.attached.natural)
            });
            std::iter::once(edge).chain(ends).collect()
        }
        Law::Air(air) => vec![(SMOOTH_VELOCITY * air.area).max(blur * air.natural_flow()), air.tangent_from()],
        Law::Friction(f) if f.wall == 0.0 => vec![f.minor.smooth],
        Law::Friction(f) => {
            vec![f.minor.smooth, LAMINAR_UP_TO / f.reynolds_per_flow, TURBULENT_FROM / f.reynolds_per_flow]
        }
    }
}

/// Flows of both signs from none to ten times the natural one: on the joins, near them on both sides, and between.
fn flows(law: &Law, blur: f64) -> Vec<f64> {
    let joins = joins(law, blur);
    let mut sizes: Vec<f64> = (-40..=4).map(|k| law.natural_flow() * 10f64.powf(0.25 * f64::from(k))).collect();
    // A difference must not reach over a join: its steps go up to 0.4 %.
    sizes.retain(|&size| joins.iter().all(|&join| (size / join - 1.0).abs() > 0.005));
    sizes.extend(joins.iter().flat_map(|&join| [join, 0.99 * join, 1.01 * join]));
    sizes.iter().flat_map(|&size| [size, -size]).chain([0.0]).collect()
}

/// The loss of every passage and of holes: slope, sign, and that it rises.
#[test]
fn losses() {
    let all = all_laws();
    assert!(all.len() >= 25);
    for (what, law) in &all {
        for blur in [0.0, 0.05] {
            for q in flows(law, blur) {
                let loss = law.blurred_loss(q, blur);
                let h = 1e-3 * if q == 0.0 { joins(law, blur)[0] } else { q.abs() };
                assert_slope(what, &|q| law.blurred_loss(q, blur).value, loss.slope, q, h, 0.0, 1e-9);
                assert!(loss.slope > 0.0 && loss.value * q >= 0.0, "{what} at {q}: {loss:?}");
                let back = law.blurred_loss(-q, blur);
                assert_eq!((back.value, back.slope), (-loss.value, loss.slope), "{what} at {q}");
                if blur == 0.0 {
                    assert_eq!(law.loss(q), loss, "{what} at {q}");
                }
            }
        }
    }
}

/// The inverse of every law.
#[test]
fn flows_of_losses() {
    for (what, law) in all_laws() {
        for q in flows(&law, 0.0) {
            let back = law.flow_at(law.loss(q).value);
            // At the smallest flows of a law that is nearly flat, rounding of the loss is all there is.
            assert!((back - q).abs() <= 1e-12 * q.abs(), "{what}: {q} gives {back}");
        }
    }
}

/// Blurring leaves the law as it is from its share of the natural flow on.
#[test]
fn blurring_ends() {
    for (what, law) in all_laws() {
        let q = 0.0501 * law.natural_flow();
        assert_eq!(law.blurred_loss(q, 0.05), law.loss(q), "{what}");
    }
}

/// Curves along their parameter: flow and loss, also behind the corner of a one-way law.
#[test]
fn curves() {
    for (what, law) in all_laws() {
        for one_way in [false, true] {
            let curve = Curve::new(one_way, law);
            for s in flows(&law, 0.0) {
                if one_way && s == 0.0 {
                    continue; // the corner
                }
                let h = 1e-3 * if s == 0.0 { joins(&law, 0.0)[0] } else { s.abs() };
                let point = curve.at(s, 0.0);
                let what = format!("{what}, one way: {one_way}");
                let (loss, flow) = (|s| curve.loss(&curve.at(s, 0.0)), |s| curve.at(s, 0.0).flow());
                assert_slope(&what, &loss, 1.0 / curve.inverse_slope(&point), s, h, 0.0, 1e-9);
                assert_slope(&what, &flow, curve.slope(&point) / curve.inverse_slope(&point), s, h, 0.0, 1e-9);
            }
        }
    }
}

/// `f Re^2` in Re, and Colebrook's f.
#[test]
fn friction_laws() {
    let mut numbers: Vec<f64> = (0..=32).map(|k| 1.1 * 10f64.powf(0.25 * f64::from(k))).collect();
    for join in [LAMINAR_UP_TO, TURBULENT_FROM] {
        numbers.extend([join, 0.99 * join, 1.01 * join]);
    }
    numbers.extend([2500.0, 3000.0, 3500.0]);
    for roughness in [0.0, 1e-6, 1e-4, 0.01, 0.05, 0.5] {
        let end = friction::turbulent_end(roughness);
        for &re in &numbers {
            for re in [re, -re] {
                let (_, slope) = friction::resistance(re, roughness, end);
                let value = |re| friction::resistance(re, roughness, end).0;
                assert_slope(&format!("f Re^2, eps/D {roughness}"), &value, slope, re, 1e-3 * re.abs(), 0.0, 1e-9);
            }
            if re >= 1000.0 {
                let (f, slope) = friction::colebrook(re, roughness);
                let value = |re| friction::colebrook(re, roughness).0;
                let what = format!("f, eps/D {roughness}");
                assert_slope(&what, &value, slope, re, 1e-3 * re, 0.01 * f / re, 1e-8);
            }
        }
    }
}

const GASES: [(GasKind, GasModel); 4] = [
    (GasKind::Nitrogen, GasModel::Ideal),
    (GasKind::Air, GasModel::Ideal),
    (GasKind::Nitrogen, GasModel::Real),
    (GasKind::Air, GasModel::Real),
];

/// Pressure downstream at which the flow begins to be choked, as a share of the one upstream.
fn choked_below(law: &GasValveLaw, gas: &Gas, upstream: &GasState) -> f64 {
    match *law {
        GasValveLaw::Throat { .. } => gas.critical_flow(upstream, None).unwrap().pressure / upstream.pressure,
        GasValveLaw::Kv { xt, .. } => 1.0 - xt,
        GasValveLaw::Sonic { critical_ratio, .. } => critical_ratio,
    }
}

/// Flow of gas in the pressure downstream: choked, at the join, subsonic, at and below the smallest drop.
///
/// Drops are the natural measure: the steps are a hundredth of the drop, which leaves 2e-8 of a square root's slope,
/// and the rounding of a real gas's enthalpies leaves 1e-8 or so at the smallest drops.
#[test]
fn gas_valves() {
    let laws = [
        GasValveLaw::Throat { bore: 0.032, discharge_coefficient: 0.84 },
        GasValveLaw::Kv { kv: 14.0, xt: 0.7 },
        GasValveLaw::Kv { kv: 0.3, xt: 0.2 },
        GasValveLaw::Sonic { conductance: 5e-8, critical_ratio: 0.3 },
        GasValveLaw::Sonic { conductance: 5e-8, critical_ratio: 0.6 },
    ];
    for (kind, model) in GASES {
        let gas = Gas::new(kind, model);
        for (pressure, temperature) in [(240e5, 297.0), (10e5, 250.0), (1.5e5, 320.0)] {
            let upstream = gas.state_p_t(pressure, temperature).unwrap();
            for law in &laws {
                let join = 1.0 - choked_below(law, &gas, &upstream);
                let mut drops = vec![join, SMALL_DROP];
                let far = |drop: f64, from: f64| (drop / from - 1.0).abs() > 0.06;
                let between = [1e-7, 1e-6, 3e-6, 3e-5, 1e-3, 0.01, 0.1, 0.25, 0.35, 0.5, 0.65, 0.75, 0.85, 0.95];
                drops.extend(between.into_iter().filter(|&drop| far(drop, join) && far(drop, SMALL_DROP)));
                drops.extend([0.9, 1.1].iter().flat_map(|k| [k * join, k * SMALL_DROP]));
                for drop in drops.into_iter().filter(|&drop| drop < 0.97) {
                    let flow = |p: f64| law.flow(&gas, &upstream, p, None).unwrap();
                    let (p, h) = ((1.0 - drop) * pressure, 1e-2 * drop.min(1.0 - drop) * pressure);
                    let found = flow(p);
                    let what = format!("{kind:?} {model:?} {pressure} Pa {law:?}, drop {drop}");
                    // At the join the law is C1 but its curvature jumps, and a critical pressure known to 1e-6 puts
                    // the difference that much off: beside the secant's slope, not that of the vanishing one.
                    let size = if (drop / join - 1.0).abs() < 1e-9 { found.mass_flow / (drop * pressure) } else { 0.0 };
                    let choked = drop > join * (1.0 + 1e-9);
                    let (size, slope) = if choked { (found.mass_flow / p, 0.0) } else { (size, found.by_downstream) };
                    assert!(found.mass_flow > 0.0 && found.by_downstream <= 0.0, "{what}: {found:?}");
                    assert_slope(&what, &|p| flow(p).mass_flow, slope, p, h, size, 1e-5);
                    assert!((found.choking > 0.0) == choked || size > 0.0, "{what}: {found:?}");
                    // By the state upstream; below the smallest drop the law goes by the drop alone, and at the joins its
                    // slopes are those of either side.
                    if drop > 1.05 * SMALL_DROP && size == 0.0 {
                        let flow = |p1: f64, t1: f64| {
                            let state = gas.state_p_t(p1, t1).unwrap();
                            law.flow(&gas, &state, p, None).unwrap().mass_flow
                        };
                        let (h, size) = (1e-2 * drop.min(0.01) * pressure, found.mass_flow / pressure);
                        let by = &|p1: f64| flow(p1, temperature);
                        assert_slope(&format!("{what}, upstream"), by, found.by_upstream, pressure, h, size, 1e-4);
                        let (h, size) = (1e-3 * temperature, found.mass_flow / temperature);
                        let by = &|t1: f64| flow(pressure, t1);
                        assert_slope(&format!("{what}, warmer"), by, found.by_temperature, temperature, h, size, 1e-4);
                    }
                }
            }
        }
    }
}

/// No drop, no flow; two valves half open pass what one does.
#[test]
fn gas_valves_shut_and_parallel() {
    let gas = Gas::new(GasKind::Nitrogen, GasModel::Real);
    let upstream = gas.state_p_t(10e5, 290.0).unwrap();
    let law = GasValveLaw::Throat { bore: 0.032, discharge_coefficient: 0.84 };
    for downstream in [10e5, 11e5] {
        assert_eq!(law.flow(&gas, &upstream, downstream, None).unwrap().mass_flow, 0.0);
    }
    let one = law.flow(&gas, &upstream, 8e5, None).unwrap();
    assert_eq!(one.times(0.5).times(2.0), one);
}

/// Rates of temperature and pressure against the state that masses, energies and volumes lead to.
///
/// Heats and derivatives of the real gas are stated to 1e-7.
#[test]
fn gas_vessels() {
    let (mass, volume) = (Rates { mass: 1.3, ..Rates::default() }, Rates { volume: 0.7, ..Rates::default() });
    let energy = Rates { energy: 4e5, ..Rates::default() };
    let all = Rates { mass: -0.8, energy: -3e5, volume: 0.2, vapour: 0.0 };
    for (kind, model) in GASES {
        let gas = Gas::new(kind, model);
        for (pressure, temperature) in [(240e5, 297.0), (60e5, 180.0), (10e5, 250.0), (1.2e5, 330.0)] {
            for isothermal in [false, true] {
                let state = gas.state_p_t(pressure, temperature).unwrap();
                let held = 3.0 * state.density;
                let content = Content { mass: held, volume: 3.0, state, isothermal, moisture: None };
                for rates in [mass, energy, volume, all] {
                    let after = |t: f64| {
                        let mass = content.mass + rates.mass * t;
                        let density = mass / (content.volume + rates.volume * t);
                        if isothermal {
                            return gas.state_rho_t(density, temperature).unwrap();
                        }
                        let energy = content.mass * state.internal_energy + rates.energy * t;
                        gas.state_rho_u(density, energy / mass, temperature).unwrap()
                    };
                    // Nothing moves by more than a thousandth a step.
                    let speed = (rates.mass / content.mass).abs()
                        + (rates.volume / content.volume).abs()
                        + (rates.energy / (content.mass * state.cv * temperature)).abs();
                    let h = 1e-3 / speed;
                    let what = format!("{kind:?} {model:?} {pressure} Pa {temperature} K {rates:?} {isothermal}");
                    let found = content.temperature_rate(&rates);
                    assert_slope(&what, &|t| after(t).temperature, found, 0.0, h, 0.01 * speed * temperature, 1e-6);
                    let found = content.pressure_rate(&rates);
                    assert_slope(&what, &|t| after(t).pressure, found, 0.0, h, 0.01 * speed * pressure, 1e-6);
                    let found = content.enthalpy_rate(&rates);
                    let size = 0.01 * speed * state.cp * temperature;
                    assert_slope(&what, &|t| after(t).enthalpy, found, 0.0, h, size, 1e-6);
                    assert!(!isothermal || content.temperature_rate(&rates) == 0.0);
                }
            }
        }
    }
}

/// A property of a content.
type Read = fn(&Content) -> f64;

/// The same with vapour in the gas, whose states the vessel finds by itself.
#[test]
fn moist_gas_vessels() {
    let vapour = Vapour { water_temperature: 333.15, saturation: 19.9e3, latent: 2.358e6 };
    let all = Rates { mass: -0.8, vapour: 0.3, energy: -3e5, volume: 0.2 };
    let mass = Rates { mass: 1.3, ..Rates::default() };
    let moister = Rates { vapour: 0.1, ..Rates::default() };
    let others = [Rates { energy: 4e5, ..Rates::default() }, Rates { volume: 0.7, ..Rates::default() }];
    for (kind, model) in GASES {
        let gas = Gas::new(kind, model);
        for (pressure, temperature) in [(60e5, 280.0), (8e5, 250.0), (1.2e5, 330.0)] {
            let state = gas.state_p_t(pressure, temperature).unwrap();
            let (volume, moisture) = (3.0, Moisture { vapour, mass: 0.4, gas: state });
            let mut content =
                Content { mass: volume * state.density, volume, state, isothermal: false, moisture: None };
            content.set_temperature(&gas, moisture, temperature).unwrap();
            for rates in [mass, moister, all].into_iter().chain(others) {
                let after = |t: f64| {
                    let mut moved = Content {
                        mass: content.mass + rates.mass * t,
                        volume: content.volume + rates.volume * t,
                        ..content
                    };
                    let moisture = Moisture { mass: moisture.mass + rates.vapour * t, ..moisture };
                    moved.set_energy(&gas, moisture, content.energy() + rates.energy * t).unwrap();
                    moved
                };
                let speed = (rates.mass / content.mass).abs()
                    + (rates.vapour / moisture.mass).abs()
                    + (rates.volume / content.volume).abs()
                    + (rates.energy / (content.mass * state.cv * temperature)).abs();
                let h = 1e-3 / speed;
                let what = format!("moist {kind:?} {model:?} {pressure} Pa {temperature} K {rates:?}");
                // Energies of the vapour are ten times those of the gas: so is what rounding leaves.
                let pairs: [(Read, f64, f64); 5] = [
                    (|c| c.state.temperature, content.temperature_rate(&rates), temperature),
                    (|c| c.state.pressure, content.pressure_rate(&rates), pressure),
                    (|c| c.vapour_pressure(), content.vapour_pressure_rate(&rates), pressure),
                    (|c| c.vapour_share(), content.vapour_share_rate(&rates), 1.0),
                    (|c| c.enthalpy(), content.enthalpy_rate(&rates), 10.0 * state.cp * temperature),
                ];
                for (read, found, size) in pairs {
                    assert_slope(&what, &|t| read(&after(t)), found, 0.0, h, 0.01 * speed * size, 1e-6);
                }
            }
        }
    }
}
