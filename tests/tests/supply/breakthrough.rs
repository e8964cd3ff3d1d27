//! Gas breakthrough, and tanks that run dry one after the other.

use super::{near, network, run_of, times};
use hydro::result::EventCode;

const DRAIN: &str = "
inertia: off
site: {ambient_pressure: 100 kPa(a), water_temperature: 20 degC, water_density: 1000 kg/m3, gravity: 10 m/s2}
gas_model: ideal
tolerance: 1e-9
tanks:
  t: {volume: 40 m3, diameter: 2 m, bottom: 0 m, water: 20 m3, pressure: 1 bar(g), ullage: polytropic, polytropic_exponent: 0}
outfalls:
  out: {elevation: 0 m}
valves:
  v: {from: t, to: out, bore: 200 mm, loss_coefficient: 2}
duty: {end: 90 s}
";

#[test]
fn the_level_is_the_submergence_when_gas_breaks_through() {
    for (set, exponent) in [("tanks.t.vortex_breaker=true", 0.4), ("tanks.t.vortex_breaker=false", 1.0)] {
        let result = run_of(&network(DRAIN, &[set]));
        let time = times(&result, "t", EventCode::GasBreakthrough)[0];
        let found = result.tanks[0].breakthrough.unwrap();
        assert_eq!(found.time, time);
        let level = found.value / std::f64::consts::PI;
        // Flow at that level, p/(rho g) = 10 m, K = 2.
        let flow = 0.01 * std::f64::consts::PI * (10.0_f64 * (10.0 + level)).sqrt();
        let needed = if exponent < 1.0 {
            // The gas is 200 kPa over its density at the start and a gas constant: 2.3 kg/m3 at 293 K, less as it thins.
            0.69 * (flow * flow / 10.0).powf(0.2)
        } else {
            0.2 * (1.0 + 2.3 * flow / (0.01 * std::f64::consts::PI) / 2.0_f64.sqrt())
        };
        // The density of the gas, left out here, is worth 5e-4 of the dip.
        near(level, needed, if exponent < 1.0 { 1e-3 * needed } else { 1e-6 }, set);
        assert!(result.findings.iter().any(|f| f.code == "gas_breakthrough"));
        assert_eq!(times(&result, "t", EventCode::TankEmpty).len(), 1, "the tank goes on");
    }
}

#[test]
fn unequal_tanks_drain_one_after_the_other_without_backflow() {
    let text = DRAIN.replace("outfalls:", "  s: {volume: 40 m3, diameter: 2.5 m, bottom: 0.5 m, water: 30 m3, pressure: 8 bar(g), ullage: isothermal}\nheaders:\n  h: {elevation: 0 m}\noutfalls:");
    let text = text.replace("  v: {from: t, to: out,", "  u: {from: s, to: h, bore: 150 mm, loss_coefficient: 2, one_way: true}\n  w: {from: t, to: h, bore: 150 mm, loss_coefficient: 2, one_way: true}\n  v: {from: h, to: out,");
    let network = network(&text, &["duty.end=900 s"]);
    let result = run_of(&network);
    let (t, s) = (times(&result, "t", EventCode::TankEmpty), times(&result, "s", EventCode::TankEmpty));
    assert!(t.len() + s.len() >= 1, "{t:?} {s:?}");
    let first = t.iter().chain(&s).copied().fold(f64::INFINITY, f64::min);
    assert!(result.series.time.last().unwrap() > &(first + 1.0), "the other goes on");
    for passage in &result.series.passages {
        assert!(passage.flow.iter().all(|&flow| flow >= -1e-9), "{} runs back", passage.name);
    }
    assert!(result.series.passages[1].flow[0] < 1e-9, "the harder pressed tank holds the other's check valve shut");
    assert!(result.balance.water_error.abs() < 1e-8 * result.supply.water_used);
}

#[test]
fn a_column_that_is_set_moving_breaks_through_when_its_flow_and_level_say_so() {
    // A long line that is set moving while the level falls: the submergence follows the flow, not the flow at rest.
    let text = DRAIN
        .replace("outfalls:", "headers:\n  h: {elevation: 0 m}\noutfalls:")
        .replace("from: t, to: out, bore: 200 mm, loss_coefficient: 2", "from: h, to: out, bore: 200 mm, loss_coefficient: 1")
        .replace("valves:", "pipes:\n  p: {from: t, to: h, length: 150 m, bore: 200 mm, friction_factor: 0.000000001, loss_coefficient: 1}\nvalves:");
    for (set, vortex) in [("tanks.t.vortex_breaker=false", true), ("tanks.t.vortex_breaker=true", false)] {
        let sets = [set, "inertia=on", "tanks.t.water=3 m3", "tanks.t.heel=0.2 m3"];
        let network = network(&text, &sets);
        let result = run_of(&network);
        // Its own integration: p/(rho g) = 10 m over the level h, K = 2 on the bore, L = 150 m; Runge and Kutta's fourth order.
        let (area, surface) = (0.01 * std::f64::consts::PI, std::f64::consts::PI);
        let rates =
            |[level, speed]: [f64; 2]| [-speed * area / surface, (10.0 * (10.0 + level) - speed * speed) / 150.0];
        let needed = |speed: f64| {
            if vortex {
                0.2 * (1.0 + 2.3 * speed / 2.0_f64.sqrt())
            } else {
                0.69 * ((speed * area).powi(2) / 10.0).powf(0.2)
            }
        };
        let step = 1e-3;
        let (mut time, mut y, mut before) = (0.0, [3.0 / surface, 0.0], f64::INFINITY);
        let wanted = loop {
            let margin = y[0] - needed(y[1]);
            if margin <= 0.0 {
                break time - step * margin / (margin - before);
            }
            before = margin;
            let add = |a: [f64; 2], b: [f64; 2], by: f64| [a[0] + by * b[0], a[1] + by * b[1]];
            let first = rates(y);
            let second = rates(add(y, first, 0.5 * step));
            let third = rates(add(y, second, 0.5 * step));
            let last = rates(add(y, third, step));
            y = std::array::from_fn(|k| y[k] + step / 6.0 * (first[k] + 2.0 * (second[k] + third[k]) + last[k]));
            time += step;
        };
        let found = times(&result, "t", EventCode::GasBreakthrough)[0];
        // The density of the gas, left out here, is worth 5e-4 of the dip, and that a few parts in 1e4 of the time.
        near(found, wanted, if vortex { 1e-5 } else { 1e-3 } * wanted, set);
        assert_eq!(result.tanks[0].breakthrough.unwrap().time, found);
        assert!(found < times(&result, "t", EventCode::TankEmpty)[0], "the tank goes on");
        // The column was still being set moving: the quasi-steady run has more flow and breaks through before.
        let steady = run_of(&super::network(&text, &[set, "tanks.t.water=3 m3", "tanks.t.heel=0.2 m3"]));
        assert!(times(&steady, "t", EventCode::GasBreakthrough)[0] < found - 1.0);
        assert!(result.balance.water_error.abs() < 1e-8 * result.supply.water_used);
    }
}
