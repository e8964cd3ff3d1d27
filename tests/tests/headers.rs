//! Long headers and tees: against closed forms, against published limits, and by the laws themselves.

use std::f64::consts::PI;
use std::fmt::Write;

use hydro::analysis::run::{RunOptions, run};
use hydro::analysis::steady::{FlowOptions, solve};
use hydro::analysis::water::WaterSide;
use hydro::component::header::Junction;
use hydro::component::tee::{BRIDGE, Tee, TeeAngle};
use hydro::input::read_text;
use hydro::nonlinear::newton::Options;
use hydro::result::FlowResult;

const BORE: f64 = 0.5;
const LENGTH: f64 = 10.0;
const DENSITY: f64 = 1000.0;

/// A header with `n` equal outlets into the open, whose Cd A together is `beta` times the bore's area, under 1 bar.
fn manifold(n: usize, beta: f64, friction_factor: f64, keys: &str) -> String {
    let coefficient = ((0.02 / BORE).powi(2) * n as f64 / beta).powi(2);
    let mut text = format!(
        "inertia: off\nsite: {{ambient_pressure: 1 bar(a), water_temperature: 20 degC, water_density: {DENSITY} kg/m3, \
         water_viscosity: 1 mPa s}}
outfalls: {{supply: {{elevation: 0 m, pressure: 1 bar(g)}}, out: {{elevation: 0 m}}}}
headers: {{main: {{elevation: 0 m, length: {LENGTH} m, bore: {BORE} m, friction_factor: {friction_factor:e}, {keys}}}}}
valves:
  feed: {{from: supply, to: main, bore: 0.5 m, loss_coefficient: 0.05}}
"
    );
    for k in 0..n {
        let _ = writeln!(text, "  t{k}: {{from: main, to: out, bore: 20 mm, loss_coefficient: {coefficient:e}}}");
    }
    text
}

fn flow(text: &str) -> FlowResult {
    let network = read_text("header.yaml", text, &[]).unwrap_or_else(|rejected| panic!("{rejected}")).network;
    solve(&network, &FlowOptions::default()).unwrap()
}

fn velocity_head(velocity: f64) -> f64 {
    0.5 * DENSITY * velocity * velocity
}

/// Inlet velocity over V_T of a frictionless manifold.
fn inlet(n: usize, beta: f64) -> f64 {
    let result = flow(&manifold(n, beta, 1e-13, "regain: 1"));
    let inlet = result.headers[0].takeoffs[0].velocity_behind;
    inlet / (2.0 * (result.headers[0].pressure.unwrap() - 1e5) / DENSITY).sqrt()
}

/// Frictionless dead-end manifold, `V = V_T sin(beta (1 - x/L))` (the momentum model of Acrivos, Babcock and Pigford,
/// Chem. Eng. Sci. 10 (1959) 112; derived apart). Discrete outlets approach it with the square of their number; the
/// limit is reached to 1e-6 by extrapolation.
#[test]
fn frictionless_manifolds_reach_the_closed_form() {
    for beta in [0.25_f64, 0.5, 1.0] {
        let exact = beta.sin();
        let [coarse, middle, fine] = [20, 40, 80].map(|n| inlet(n, beta));
        let order = ((coarse - exact) / (middle - exact)).log2();
        assert!((order - 2.0).abs() < 0.05, "beta {beta}: observed order {order}");
        let limit = fine + (fine - middle) / 3.0;
        assert!((limit / exact - 1.0).abs() < 1e-6, "beta {beta}: {limit} for {exact}");
        let many = inlet(600, beta);
        assert!((many / exact - 1.0).abs() < 1e-6, "beta {beta}: {many} for {exact}");
    }
}

/// Momentum and friction: with k = regain/2 and f after Darcy, the pressure along an even outflow rises throughout for
/// `k D/(f L) >= 1/4`, falls and rises to a net gain down to 1/6, and ends below its start under that (Wang, J. Eng. Gas
/// Turbines Power 123 (2001) 472, abstract). Outlets of a drop 10 000 times the velocity head make the outflow even.
#[test]
fn regimes_are_the_published_ones() {
    let regain = 0.9;
    for (number, rises_first, gains) in
        [(0.26, true, true), (0.24, false, true), (0.17, false, true), (0.16, false, false)]
    {
        let f = 0.5 * regain * BORE / (number * LENGTH);
        let result = flow(&manifold(200, 0.01, f, &format!("regain: {regain}")));
        let along = &result.headers[0].takeoffs;
        let p: Vec<f64> = along.iter().map(|t| t.static_pressure).collect();
        let head = velocity_head(along[0].velocity_behind);
        assert_eq!(p[2] > p[1], rises_first, "{number}: {:?}", &p[..4]);
        assert_eq!(p[p.len() - 1] > p[0], gains, "{number}: {} to {}", p[0], p[p.len() - 1]);
        // p(L) - p(0) = (regain - f L/(3 D)) rho V^2/2; 1e-3 of a head for 200 outlets and their unevenness.
        let expected = regain - f * LENGTH / (3.0 * BORE);
        let found = (p[p.len() - 1] - p[0]) / head;
        assert!((found - expected).abs() < 1e-3, "{number}: {found} for {expected}");
    }
}

/// Maldistribution of a distributor, `1 - sqrt((dp_hole - dp)/dp_hole)`: 5.13 % where the pressure changes by a tenth of
/// the drop over the holes (Perry's Chemical Engineers' Handbook, perforated-pipe distributors; formula from memory).
#[test]
fn a_tenth_of_the_drop_makes_five_per_cent() {
    let beta = 0.1_f64.sqrt().asin();
    let result = flow(&manifold(400, beta, 1e-13, "regain: 1"));
    let along = &result.headers[0].takeoffs;
    let (first, last) = (&along[1], &along[along.len() - 1]);
    assert!((100.0 * (1.0 - first.flow / last.flow) - 5.13).abs() < 0.02, "{} {}", first.flow, last.flow);
}

/// Reading the header from its other end, and naming the default positions, changes no flow.
#[test]
fn direction_and_defaults_do_not_matter() {
    for keys in ["regain: 0.9", "tees: crane", "tees: crane, tee_angle: 45 deg"] {
        let text = manifold(6, 0.8, 0.02, keys);
        let plain = flow(&text);
        let mut turned = text.replace("to: main,", &format!("to: main, to_at: {LENGTH} m,"));
        let mut named = text.clone();
        for k in 0..6 {
            let at = (f64::from(k) + 0.5) / 6.0 * LENGTH;
            let key = format!("t{k}: {{from: main,");
            turned = turned.replace(&key, &format!("{key} from_at: {} m,", LENGTH - at));
            named = named.replace(&key, &format!("{key} from_at: {at} m,"));
        }
        assert_ne!(turned, text);
        for other in [flow(&turned), flow(&named)] {
            for (a, b) in plain.passages.iter().zip(&other.passages) {
                assert!((a.flow / b.flow - 1.0).abs() < 1e-8, "{keys} {}: {} {}", a.name, a.flow, b.flow);
            }
        }
    }
}

/// Two items at one place share it; one at the very end meets the total pressure.
#[test]
fn places_may_be_shared_and_be_ends() {
    let text = manifold(3, 0.8, 0.02, "regain: 1");
    let shared = text
        .replace("t0: {from: main,", "t0: {from: main, from_at: 4 m,")
        .replace("t1: {from: main,", "t1: {from: main, from_at: 4 m,")
        .replace("t2: {from: main,", "t2: {from: main, from_at: 10 m,");
    let result = flow(&shared);
    let along = &result.headers[0].takeoffs;
    assert_eq!(along[1].flow, along[2].flow);
    assert_eq!(along[1].static_pressure, along[2].static_pressure);
    assert!((along[1].static_pressure - along[1].pressure).abs() < 1e-6);
    let end = &along[3];
    assert!((end.pressure - end.total_pressure).abs() < 1e-6);
    assert!((end.total_pressure - end.static_pressure - velocity_head(end.velocity_before)).abs() < 1e-6);
}

/// The answer satisfies the laws themselves, momentum and all: the error of every equation at the solution.
#[test]
fn the_laws_hold_at_the_solution() {
    let mut most = 0;
    for keys in ["regain: 1", "regain: 0.4, regain_combining: 2.6", "tees: crane", "tees: crane, tee_angle: 30 deg"] {
        for (n, beta, f) in
            [(1, 0.3, 0.02), (2, 1.0, 0.02), (5, 0.5, 0.05), (20, 1.5, 0.01), (120, 0.7, 0.02), (30, 3.0, 0.001)]
        {
            let text = manifold(n, beta, f, keys);
            let network = read_text("header.yaml", &text, &[]).unwrap().network;
            let mut water = WaterSide::new(&network).unwrap();
            water.set_time(0.0);
            let stats = water.solve(&Options::default()).unwrap_or_else(|e| panic!("{keys} {n} {beta} {f}: {e}"));
            // 10 mPa of 1 bar: the last step changes no flow by more than 1e-6, and the error is of its square.
            assert!(water.largest_head_error() < 1e-2, "{keys} {n} {beta} {f}: {} Pa", water.largest_head_error());
            assert!(water.largest_imbalance() < 1e-9, "{keys} {n} {beta} {f}: {}", water.largest_imbalance());
            most = most.max(stats.iterations);
        }
    }
    // Outlets at 14 m/s begin at 3 m/s: some 12 of these iterations they take also on a header without length.
    assert!(most <= 20, "{most} iterations");
}

/// Feeds in the middle and at both ends, a branch that feeds, one that takes the flow of both sides.
#[test]
fn headers_are_fed_from_anywhere() {
    for keys in ["regain: 0.9", "tees: crane"] {
        let text = format!(
            "inertia: off\nsite: {{ambient_pressure: 1 bar(a), water_temperature: 20 degC}}
outfalls: {{high: {{elevation: 0 m, pressure: 3 bar(g)}}, low: {{elevation: 0 m, pressure: 2.6 bar(g)}}, out: {{elevation: 0 m}}}}
headers: {{main: {{elevation: 0 m, length: 8 m, bore: 0.4 m, roughness: 0.1 mm, {keys}}}}}
pipes:
  middle: {{from: high, to: main, to_at: 4 m, length: 2 m, bore: 0.3 m, roughness: 0.1 mm, loss_coefficient: 1.5}}
  end: {{from: low, to: main, to_at: 8 m, length: 2 m, bore: 0.3 m, roughness: 0.1 mm, loss_coefficient: 0.5}}
  a: {{from: main, to: out, from_at: 1 m, length: 2 m, bore: 0.2 m, roughness: 0.1 mm, loss_coefficient: 1}}
  b: {{from: main, to: out, from_at: 3 m, length: 2 m, bore: 0.1 m, roughness: 0.1 mm, loss_coefficient: 1}}
  c: {{from: main, to: out, from_at: 7 m, length: 2 m, bore: 0.2 m, roughness: 0.1 mm, loss_coefficient: 1}}
"
        );
        let result = flow(&text);
        let sum: f64 = result.headers[0].takeoffs.iter().map(|t| t.flow).sum();
        assert!(sum.abs() < 1e-9, "{keys}: {sum}");
        for t in &result.headers[0].takeoffs {
            let along = (t.velocity_before - t.velocity_behind) * PI / 4.0 * 0.16;
            assert!((along - t.flow).abs() < 1e-9, "{keys} {}: {along} {}", t.item, t.flow);
        }
        assert!(result.solver.iterations <= 10, "{keys}: {} iterations", result.solver.iterations);
    }
}

/// A tank emptied through a long header: water is kept, and the first row is the steady flow.
#[test]
fn runs_go_through_headers() {
    for keys in ["regain: 0.95", "tees: crane"] {
        let mut text = format!(
            "inertia: off\nsite: {{ambient_pressure: 1 bar(a), water_temperature: 20 degC}}
tanks: {{t: {{volume: 6 m3, diameter: 1.5 m, bottom: 2 m, filled: 70 %, pressure: 5 bar(g)}}}}
headers: {{main: {{elevation: 0.5 m, length: 5 m, bore: 0.25 m, roughness: 0.05 mm, {keys}}}}}
pipes:
  drop: {{from: t, to: main, length: 3 m, bore: 0.25 m, roughness: 0.05 mm, loss_coefficient: 0.5}}
"
        );
        for k in 0..5 {
            let _ = writeln!(
                text,
                "  b{k}: {{from: main, to: p{k}, length: 0.5 m, bore: 0.12 m, roughness: 0.05 mm, loss_coefficient: 1}}"
            );
        }
        text += "panels:\n";
        for k in 0..5 {
            let _ = writeln!(
                text,
                "  p{k}: {{at: [{k} m, 0 m], size: [1 m, 1 m], elevation: 0.3 m, holes: {{count: 300, diameter: 4 mm, \
                 discharge_coefficient: 0.8}}, required_flux: 20 L/s/m2}}"
            );
        }
        let network = read_text("run.yaml", &text, &[]).unwrap_or_else(|e| panic!("{e}")).network;
        let steady = solve(&network, &FlowOptions::default()).unwrap();
        assert!(steady.solver.iterations <= 10, "{keys}: {} iterations", steady.solver.iterations);
        let result = run(&network, &mut RunOptions { rows: 21, progress: &mut |_| {} }).unwrap();
        assert!(result.balance.water_error.abs() < 1e-6, "{keys}: {}", result.balance.water_error);
        for (series, panel) in result.series.panels.iter().zip(&steady.panels) {
            assert!((series.flow[0] / panel.flow - 1.0).abs() < 1e-8, "{keys}: {}", panel.name);
        }
        assert!(result.supply.lasts.is_some(), "{keys}");
        let path = steady.worst_path.unwrap();
        assert!(path.items.iter().any(|item| item.kind == "header"), "{keys}: {:?}", path.items);
        let whole: f64 = path.items.iter().map(|item| item.loss).sum();
        let panel = steady.panels.iter().find(|p| p.name == path.panel).unwrap();
        let tank = &steady.tanks[0];
        let outside = steady.ambient_pressure;
        assert!((whole - (tank.outlet_pressure - outside)).abs() < 1.0, "{keys}: {whole} {}", panel.name);
    }
}

/// A panel of one row of `n` cells, fed along the row at its right edge.
fn row(n: usize, cells: &str) -> String {
    format!(
        "inertia: off\nsite: {{ambient_pressure: 1 bar(a), water_temperature: 20 degC, water_density: {DENSITY} kg/m3, \
         water_viscosity: 1 mPa s}}
outfalls: {{supply: {{elevation: 0 m, pressure: 2 bar(g)}}}}
valves: {{feed: {{from: supply, to: plate, bore: 0.4 m, loss_coefficient: 1}}}}
panels:
  plate:
    at: [0 m, 0 m]
    size: [4 m, 5 m]
    elevation: 0 m
    gap: 50 mm
    gap_roughness: 0.1 mm
    cells: [{n}, 1]
    {cells}
    holes: {{count: 8000, diameter: 4 mm, discharge_coefficient: 0.8}}
"
    )
}

/// A row of cells against its own differential equations, `A V' = -q(p)`, `p' = -friction - k rho V V'`, integrated by
/// the classical Runge-Kutta method from the closed end, whose pressure is found by bisection: an evenly tapped main
/// with friction and momentum. The cells approach it with the square of their number.
#[test]
fn rows_of_cells_approach_the_tapped_main() {
    for k in [0.0, 0.6, 1.0] {
        let keys = format!("regain: {k}");
        let network = read_text("row.yaml", &row(20, &keys), &[]).unwrap_or_else(|e| panic!("{e}")).network;
        let (panel, site) = (&network.panels[0], &network.site);
        let (length, area, steps) = (4.0, 5.0 * 0.05, 4000);
        let friction = panel.gap_law(5.0, 1.0, 0.0, site);
        // Along s from the closed end, against the stream; flow through the gap at s, and pressure there.
        let slopes = |flow: f64, p: f64| {
            let leaving = 0.8 * 8000.0 * PI / 4.0 * 0.004_f64.powi(2) / length * (2.0 * (p - 1e5) / DENSITY).sqrt();
            (leaving, friction.loss(flow).value - k * DENSITY * flow / area * leaving / area)
        };
        let from_end = |end: f64| {
            let h = length / f64::from(steps);
            let (mut flow, mut p) = (0.0, end);
            for _ in 0..steps {
                let (a, b) = slopes(flow, p);
                let (c, d) = slopes(flow + 0.5 * h * a, p + 0.5 * h * b);
                let (e, f) = slopes(flow + 0.5 * h * c, p + 0.5 * h * d);
                let (g, i) = slopes(flow + h * e, p + h * f);
                flow += h / 6.0 * (a + 2.0 * c + 2.0 * e + g);
                p += h / 6.0 * (b + 2.0 * d + 2.0 * f + i);
            }
            // Total pressure at the edge and the loss of the valve before it.
            (flow, p + velocity_head(flow / area) + velocity_head(flow / (PI / 4.0 * 0.16)))
        };
        let (mut low, mut high) = (1.001e5, 4e5);
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            *(if from_end(middle).1 < 3e5 { &mut low } else { &mut high }) = middle;
        }
        let exact = from_end(low).0;
        let [coarse, middle, fine] = [20, 40, 80].map(|n| flow(&row(n, &keys)).total_flow);
        let order = ((coarse - middle) / (middle - fine)).log2();
        let limit = fine + (fine - middle) / 3.0;
        assert!((limit / exact - 1.0).abs() < 2e-6, "regain {k}: {limit} for {exact} (order {order})");
        assert!((order - 2.0).abs() < 0.2, "regain {k}: observed order {order}: {coarse} {middle} {fine} {exact}");
        let result = flow(&row(20, &keys));
        assert!(result.solver.iterations <= 10, "regain {k}: {} iterations", result.solver.iterations);
        let cells = &result.panels[0].cells;
        let drier_end = cells[0].flux < cells[19].flux;
        assert_eq!(drier_end, k == 0.0, "regain {k}: the closed end gets {} of {}", cells[0].flux, cells[19].flux);
    }
}

/// Momentum in a row that a file turned about reads the other way, and one that is a column, is the same.
#[test]
fn rows_have_no_preferred_direction() {
    let along = flow(&row(12, "regain: 0.9"));
    let column = row(12, "regain: 0.9").replace("size: [4 m, 5 m]", "size: [5 m, 4 m]").replace("[12, 1]", "[1, 12]");
    let column = flow(&column);
    assert!((along.total_flow / column.total_flow - 1.0).abs() < 1e-9, "{} {}", along.total_flow, column.total_flow);
}

fn junctions() -> Vec<(String, Junction)> {
    let mut all = vec![
        ("end".to_string(), Junction::End),
        ("regain".to_string(), Junction::Regain { dividing: 0.9, combining: 2.0 }),
    ];
    for angle in [TeeAngle::Deg30, TeeAngle::Deg45, TeeAngle::Deg60, TeeAngle::Deg90] {
        for area_ratio in [0.05, 0.3, 0.38, 0.6, 1.0] {
            all.push((format!("tee {} {area_ratio}", angle.words()), Junction::Tee(Tee { area_ratio, angle })));
        }
    }
    all
}

/// Derivatives of what a junction does, in both flows, over every direction of the flows; differences of fourth order,
/// to 1e-7 of a natural size, where no regime begins within their reach.
#[test]
fn slopes_of_junctions() {
    let mut checked = 0;
    for (what, junction) in junctions() {
        for k in 0..720 {
            let angle = (f64::from(k) + 0.37) * PI / 360.0;
            let (l, r) = (angle.cos(), angle.sin());
            let near_a_join = |l: f64, r: f64| {
                let y = (l - r) / l.abs().max(r.abs());
                let edges = [0.0, -BRIDGE, BRIDGE, -0.4 - BRIDGE, -0.4 + BRIDGE, 0.4 - BRIDGE, 0.4 + BRIDGE];
                let more = [0.5 - BRIDGE, 0.5 + BRIDGE, 0.6 - BRIDGE, 0.6 + BRIDGE];
                l.abs().min(r.abs()) < 1e-2 || edges.iter().chain(&more).any(|e| (y - e).abs() < 3e-3)
            };
            if near_a_join(l, r) {
                continue;
            }
            let h = 5e-5;
            for side in 0..2 {
                let at = |k: f64, by: usize| {
                    let (l, r) = if by == 0 { (l + k * h, r) } else { (l, r + k * h) };
                    junction.heads([1000.0; 2], l, r)[side].value
                };
                for by in 0..2 {
                    let difference = (at(-2.0, by) - 8.0 * at(-1.0, by) + 8.0 * at(1.0, by) - at(2.0, by)) / (12.0 * h);
                    let slope = junction.heads([1000.0; 2], l, r)[side].by[by];
                    let size = 2000.0 + slope.abs();
                    assert!(
                        (difference - slope).abs() < 1e-7 * size,
                        "{what} {l} {r} {side} {by}: {slope} {difference}"
                    );
                    checked += 1;
                }
            }
        }
    }
    assert!(checked > 20_000, "{checked}");
}

/// Heads are continuous through every change of direction: along a circle of flows nothing jumps.
#[test]
fn junctions_are_continuous() {
    for (what, junction) in junctions() {
        let steps = 200_000;
        let at = |k: usize| {
            let angle = k as f64 / steps as f64 * 2.0 * PI;
            junction.heads([1.0; 2], angle.cos(), angle.sin()).map(|head| head.value)
        };
        let size = (0..steps).step_by(100).flat_map(at).fold(1.0_f64, |most, head| most.max(head.abs()));
        let mut last = at(0);
        for k in 1..=steps {
            let next = at(k);
            for (a, b) in last.iter().zip(next) {
                // The bridges are 0.02 wide and join values up to 15 % apart: 0.1 % a step at most.
                assert!((a - b).abs() < 2e-3 * size, "{what} at step {k}: {a} to {b}");
            }
            last = next;
        }
    }
}
