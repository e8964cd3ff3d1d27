//! Valves moved by time and by condition.

use super::{near, network, rejected, run_of, times};
use hydro::result::EventCode;

/// A tank at constant gas pressure that drains through one valve: `sqrt(H)` falls linearly in time.
const DRAIN: &str = "
inertia: off
site: {ambient_pressure: 100 kPa(a), water_temperature: 20 degC, water_density: 1000 kg/m3, gravity: 10 m/s2}
tanks:
  t: {volume: 40 m3, diameter: 2 m, bottom: 0 m, water: 20 m3, pressure: 1 bar(g), ullage: polytropic, polytropic_exponent: 0}
outfalls:
  out: {elevation: 0 m}
valves:
  v: {from: t, to: out, bore: 200 mm, loss_coefficient: 2}
duty: {end: 60 s}
tolerance: 1e-9
";

/// Time at which the level of [`DRAIN`] has fallen to a height, m, with the valve fully open from 0 s.
///
/// `dH/dt = -(a/A) sqrt(2 g H/K)`, `H = p/(rho g) + level`: derived here.
fn falls_to(level: f64) -> f64 {
    let tank = std::f64::consts::PI;
    let valve = tank * 0.01;
    let head = |level: f64| (10.0 + level).sqrt();
    (head(20.0 / tank) - head(level)) / (0.5 * valve / tank * (2.0_f64 * 10.0 / 2.0).sqrt())
}

#[test]
fn a_valve_closes_on_a_level_after_its_dead_time() {
    let set = "valves.v.closes_when={item: t, level_below: 4 m, dead_time: 0.5 s}";
    let result = run_of(&network(DRAIN, &[set, "valves.v.stroke=2 s"]));
    let met = falls_to(4.0);
    // The integrator's error in the water at 1e-9 of 40 m3, and the speed of the level of 0.12 m/s: 1e-7 s.
    near(times(&result, "v", EventCode::ConditionMet)[0], met, 1e-7, "met");
    near(times(&result, "v", EventCode::ValveClosing)[0], met + 0.5, 1e-7, "begins to close");
    near(times(&result, "v", EventCode::ValveClosed)[0], met + 2.5, 1e-7, "is shut");
    // A moving valve is held at a millionth open, and the run ends as it shuts.
    let flows = &result.series.passages[0].flow;
    assert!(flows.last().copied().unwrap() < 2e-6 * flows[0], "nothing flows any more");
    assert!(times(&result, "t", EventCode::TankEmpty).is_empty());
    assert!(result.balance.water_error.abs() < 1e-8 * result.supply.water_used);
}

#[test]
fn a_condition_is_the_same_by_water_and_by_level() {
    let by = |set: &str| times(&run_of(&network(DRAIN, &[set])), "v", EventCode::ValveClosed)[0];
    let level = by("valves.v.closes_when={item: t, level_below: 5 m}");
    let water = by("valves.v.closes_when={item: t, water_below: 15.707963267948966 m3}");
    near(level, falls_to(5.0), 1e-7, "by level");
    near(water, level, 1e-9, "by water");
}

#[test]
fn a_second_tank_takes_over_when_the_pressure_falls() {
    let text = DRAIN
        .replace("ullage: polytropic, polytropic_exponent: 0", "gas_temperature: 20 degC, ullage: isothermal")
        + "
gas_model: ideal
";
    let text = text.replace(
        "outfalls:",
        "  s: {volume: 40 m3, diameter: 2 m, bottom: 0 m, water: 20 m3, pressure: 1 bar(g)}\noutfalls:",
    );
    let text = text.replace(
        "duty:",
        "  w: {from: s, to: out, bore: 200 mm, loss_coefficient: 2, opens_when: {item: t, pressure_below: 0.8 bar(g)}}\nduty:",
    );
    let result = run_of(&network(&text, &[]));
    let met = times(&result, "w", EventCode::ConditionMet)[0];
    // Isothermal, 20 m3 at 2 bar(a): 1.8 bar(a) once the gas has 22.222 m3, 17.778 m3 of water left.
    let row = result.series.time.iter().position(|&t| t == met).unwrap();
    near(result.series.tanks[0].water[row], 20.0 - (20.0 * 2.0 / 1.8 - 20.0), 1e-7, "water at that time");
    let before = result.series.time.iter().zip(&result.series.passages[1].flow).filter(|(t, _)| **t < met);
    assert!(before.count() > 10 && result.series.passages[1].flow[..row].iter().all(|&flow| flow == 0.0));
    assert!(result.series.passages[1].flow[row + 1] > 0.1, "it jumps open");
}

#[test]
fn a_condition_that_holds_already_is_met_when_it_is_armed() {
    let set = "valves.v.closes_when={item: t, level_below: 9 m, armed_at: 3 s}";
    let result = run_of(&network(DRAIN, &[set]));
    assert_eq!(times(&result, "v", EventCode::ValveClosed), [3.0]);
    let set = "valves.v.closes_when={item: t, level_below: 9 m}";
    let result = run_of(&network(DRAIN, &[set]));
    assert_eq!(times(&result, "v", EventCode::ValveClosed), [0.0]);
    assert_eq!(result.supply.water_used, 0.0);
}

#[test]
fn moves_are_followed_and_reported() {
    let set = "valves.v.moves=[{at: 1 s, to: 50 %}, {at: 4 s, to: 100 %}, {at: 8 s, to: 0 %}]";
    let result = run_of(&network(DRAIN, &[set, "valves.v.stroke=2 s", "duty.end=20 s"]));
    let codes: Vec<(f64, EventCode)> =
        result.events.iter().filter(|event| event.item == "v").map(|event| (event.time, event.code)).collect();
    let wanted = [
        (1.0, EventCode::ValveOpening),
        (2.0, EventCode::ValveSet),
        (4.0, EventCode::ValveOpening),
        (5.0, EventCode::ValveOpen),
        (8.0, EventCode::ValveClosing),
        (10.0, EventCode::ValveClosed),
    ];
    assert_eq!(codes, wanted);
    // Half open the loss coefficient is four times that of the open valve.
    let row = result.series.time.iter().position(|&t| t == 2.0).unwrap();
    let level = result.series.tanks[0].water[row] / std::f64::consts::PI;
    let flow = std::f64::consts::PI * 0.01 * (2.0 * 10.0 * (10.0 + level) / 8.0).sqrt();
    near(result.series.passages[0].flow[row], flow, 1e-9, "flow half open");
}

#[test]
fn a_stuck_valve_passes_what_it_is_stuck_at() {
    let at = |sets: &[&str]| run_of(&network(DRAIN, sets)).series.passages[0].flow[0];
    let open = at(&[]);
    near(at(&["valves.v.stuck=50 %"]), open / 2.0, 1e-9, "half");
    assert_eq!(at(&["valves.v.stuck=shut"]), 0.0);
    let result = run_of(&network(DRAIN, &["valves.v.stuck={at: 3 s, open: 20 %}", "duty.end=10 s"]));
    assert_eq!(times(&result, "v", EventCode::ValveStuck), [3.0]);
    let row = result.series.time.iter().position(|&t| t == 3.0).unwrap();
    let (before, behind) = (result.series.passages[0].flow[row], result.series.passages[0].flow[row + 1]);
    near(behind, before / 5.0, 1e-9, "flow behind the moment it sticks");
    let flow = hydro::analysis::steady::solve(&network(DRAIN, &["valves.v.stuck=50 %"]), &Default::default()).unwrap();
    near(flow.passages[0].flow, open / 2.0, 1e-9, "steady");
}

#[test]
fn wrong_controls_are_named() {
    for (set, wanted) in [
        ("valves.v.closes_when={item: tt, level_below: 4 m}", "nothing is named `tt`"),
        ("valves.v.closes_when={item: out, pressure_below: 4 bar(g)}", "`out` is an outfall, not"),
        ("valves.v.closes_when={item: v, pressure_below: 4 bar(g)}", "`v` is a valve, not"),
        ("valves.v.closes_when={item: t}", "does not say the condition"),
        ("valves.v.closes_when={item: t, level_below: 4 m, water_below: 3 m3}", "says the condition more than once"),
        ("valves.v.closes_when={item: t, level_below: 4 bar}", "`level_below`"),
        ("valves.v.moves=[{at: 3 s, to: 50 %}, {at: 3 s, to: 0 %}]", "must rise"),
        ("valves.v.moves=[{at: 3 s}]", "has no `to`"),
        ("valves.v.moves={at: 3 s}", "must be a list"),
        ("valves.v.moves=[{at: 3 s, to: 150 %}]", "out of range"),
        ("valves.v.stuck=half", "`stuck`"),
        ("valves.v.stuck={open: 50}", "out of range"),
    ] {
        let message = rejected(DRAIN, &[set]);
        assert!(message.contains(wanted), "{set}:\n{message}");
    }
    let both = rejected(DRAIN, &["valves.v.moves=[{at: 3 s, to: 50 %}]", "valves.v.opens_at=2 s"]);
    assert!(both.contains("beside `opens_at`"), "{both}");
    let text = DRAIN.replace("tanks:", "headers:\n  h: {elevation: 0 m}\npipes:\n  p: {from: t, to: h, length: 1 m, bore: 9 mm, friction_factor: 0.02}\ntanks:");
    let message = rejected(&text, &["valves.v.closes_when={item: h, level_below: 4 m}"]);
    assert!(message.contains("`h` is a header, not a tank"), "{message}");
}
