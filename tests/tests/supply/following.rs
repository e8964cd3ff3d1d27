//! Gas that follows the water of a tank that is out: over weir pipes with a vent, and through headers.

use super::columns::conserved;
use super::{near, network, run_of, times};
use hydro::result::{EventCode, RunResult};
use std::f64::consts::PI;

/// A tank, a vented weir pipe from it, and an outfall; friction by a factor, gas of constant temperature.
const WEIR: &str = "
site: {ambient_pressure: 1 bar(a), water_temperature: 20 degC, water_density: 1000 kg/m3, ambient_temperature: 20 degC}
gas_model: ideal
tanks:
  t: {volume: 8 m3, diameter: 2 m, bottom: 3 m, water: 1.5 m3, heel: 0.5 m3, pressure: 1.5 bar(g), gas_temperature: 20 degC, ullage: isothermal}
outfalls:
  out: {elevation: 0 m}
weir_pipes:
  w: {from: t, to: out, bore: 200 mm, friction_factor: 0.02, apex: 6 m, rise: {length: 8 m, loss_coefficient: 1.5}, fall: {length: 9 m, loss_coefficient: 30}, vent: {bore: 60 mm, discharge_coefficient: 0.6}}
duty: {start: 0 s, end: 200 s}
tolerance: 1e-7
";

/// Flow of the line, m3/s, and pressure of the tank, Pa, at the first row at or after a time.
fn at(result: &RunResult, line: &str, time: f64) -> (f64, f64) {
    let row = result.series.time.partition_point(|&t| t < time);
    let flows = &result.series.passages;
    (flows.iter().find(|flows| flows.name == line).unwrap().flow[row], result.series.tanks[0].pressure[row])
}

/// One step of the classical Runge-Kutta method.
fn step<const N: usize>(y: [f64; N], h: f64, rate: impl Fn([f64; N]) -> [f64; N]) -> [f64; N] {
    let moved = |k: [f64; N], share: f64| std::array::from_fn(|i| y[i] + share * h * k[i]);
    let k1 = rate(y);
    let k2 = rate(moved(k1, 0.5));
    let k3 = rate(moved(k2, 0.5));
    let k4 = rate(moved(k3, 1.0));
    std::array::from_fn(|i| y[i] + h / 6.0 * (k1[i] + 2.0 * k2[i] + 2.0 * k3[i] + k4[i]))
}

#[test]
fn a_vented_weir_pipe_behind_a_tank_that_is_out_drains_as_its_equations_say() {
    // The same equations once more, written out for this pipe: water left W, flow Q, gas m of constant temperature; nozzle of
    // an ideal gas for the vent. Runge-Kutta in steps of 0.5 ms, ends by straight lines within a step.
    let network = network(WEIR, &[]);
    let result = run_of(&network);
    conserved("weir", &network, &result);
    let out = times(&result, "t", EventCode::TankEmpty)[0];
    let ends = times(&result, "w", EventCode::LineEmpty);
    assert_eq!(times(&result, "w", EventCode::VentOpens), ends[..1], "gas goes out by the vent from then on");
    let (area, rho, g) = (PI * 0.01, 1000.0, 9.80665);
    let (rise, fall) = (8.0 * area, 9.0 * area);
    let (flow, pressure) = at(&result, "w", out);
    let rt = 8.314462618 / 28.0134e-3 * 293.15;
    let room = |left: f64| 7.5 + rise + fall - left;
    let mass = pressure * 7.5 / rt;
    let inward = |left: f64, flow: f64, mass: f64| {
        let gas = mass * rt / room(left);
        let (height, losses) = if left > fall {
            (3.0 + 3.0 * (rise + fall - left) / rise, 1.5 + 30.0 - 1.0)
        } else {
            (6.0 * left / fall, 30.0 - 1.0)
        };
        let length = left / area;
        let velocity = flow / area;
        let loss = (0.02 * length / 0.2 + losses) * 0.5 * rho * velocity * velocity;
        ((gas - 1e5 + rho * g * height - loss) * area / (rho * length), gas)
    };
    let vent = |gas: f64| {
        let (gamma, ratio) = (1.4_f64, (1e5 / gas).max((2.0_f64 / 2.4).powf(3.5)));
        let a = 0.6 * PI * 0.03 * 0.03 * gas / rt.sqrt();
        a * (2.0 * gamma / (gamma - 1.0) * (ratio.powf(2.0 / gamma) - ratio.powf((gamma + 1.0) / gamma))).sqrt()
    };
    let (mut y, mut time, mut seen) = ([rise + fall, flow, mass], out, Vec::new());
    while y[0] > 1e-3 * fall {
        let before = y;
        let blows = y[0] <= fall;
        y = step(y, 5e-4, |[left, flow, mass]| {
            let (faster, gas) = inward(left, flow, mass);
            [-flow, faster, if blows { -vent(gas) } else { 0.0 }]
        });
        if before[0] > fall && y[0] <= fall {
            seen.push(time + 5e-4 * (before[0] - fall) / (before[0] - y[0]));
        }
        time += 5e-4;
    }
    seen.push(time + y[0] / y[1]);
    assert_eq!(ends.len(), 2, "{ends:?}");
    near(ends[0], seen[0], 2e-4, "rise empty");
    near(ends[1], seen[1], 5e-4, "fall empty");
    let (_, last) = at(&result, "w", ends[1]);
    near(last / (y[2] * rt / room(0.0)), 1.0, 1e-3, "pressure at the end");
    assert!(y[2] < 0.9 * mass, "the vent let out a share of the gas that counts: {} of {mass}", y[2]);
    near(result.supply.gas_vented / (mass - y[2]), 1.0, 5e-3, "gas let out");
}

#[test]
fn where_the_gas_cannot_lift_the_water_the_vent_admits_air_and_the_fall_drains() {
    // A small volume of gas, which the room of the rise takes too much of the pressure from.
    let sets = ["tanks.t.volume=0.9 m3", "tanks.t.pressure=0.87 bar(g)", "tanks.t.water=0.6 m3"];
    let network = network(WEIR, &sets);
    let result = run_of(&network);
    conserved("weir", &network, &result);
    let out = times(&result, "t", EventCode::TankEmpty)[0];
    let opened = times(&result, "w", EventCode::VentOpens)[0];
    let event = result.events.iter().find(|event| event.code == EventCode::VentOpens).unwrap();
    assert!(event.text.contains("admits air"), "{}", event.text);
    assert!(opened > out && times(&result, "w", EventCode::LineEmpty).is_empty());
    // The flow shown is that of the rise while it flows, else that of the fall, all of which runs out.
    let rows = result.series.time.windows(2).zip(result.series.passages[0].flow.windows(2));
    let ran: f64 = rows.filter(|(t, _)| t[0] >= opened).map(|(t, q)| 0.5 * (q[0] + q[1]) * (t[1] - t[0])).sum();
    let metre = PI * 0.01;
    assert!(ran > 8.9 * metre && ran < (9.0 + 0.4 * 8.0) * metre, "little comes over the apex any more: {ran}");
    assert_eq!(result.ended, "nothing flows any more and nothing is due");
}

#[test]
fn a_rise_that_drains_as_a_jet_ends_at_the_vent_and_takes_in_the_air_there() {
    // Just pressure enough: the rise drains over the apex while the fall stands parted from it.
    for model in ["isothermal", "energy"] {
        let sets = [
            "tanks.t.pressure=0.33 bar(g)".to_string(),
            "tanks.t.water=0.6 m3".into(),
            "tanks.t.bottom=4.5 m".into(),
            format!("tanks.t.ullage={model}"),
            "weir_pipes.w.fall.loss_coefficient=0".into(),
        ];
        let network = network(WEIR, &sets.each_ref().map(String::as_str));
        let result = run_of(&network);
        conserved(model, &network, &result);
        let (opened, empty) = (times(&result, "w", EventCode::VentOpens), times(&result, "w", EventCode::LineEmpty));
        assert!(!opened.is_empty() && !empty.is_empty() && opened[0] < empty[0], "{model}: {opened:?} {empty:?}");
        assert!(
            result.supply.gas_vented < 0.0,
            "{model}: the air of the fall is taken in: {}",
            result.supply.gas_vented
        );
    }
}

/// A tank behind a valve, a header, two lines to another one, which is reached by one of them only, and a panel.
const CHAIN: &str = "
site: {ambient_pressure: 1 bar(a), water_temperature: 20 degC, water_density: 1000 kg/m3}
gas_model: ideal
tanks:
  t: {volume: 8 m3, diameter: 2 m, bottom: 3 m, water: 2 m3, heel: 0.5 m3, pressure: 5 bar(g), ullage: isothermal}
headers:
  h: {elevation: 1 m}
  k: {elevation: 0.5 m}
valves:
  v: {from: t, to: h, bore: 250 mm, loss_coefficient: 0.5, one_way: true}
pipes:
  p: {from: h, to: k, length: 12 m, bore: 250 mm, roughness: 0.05 mm, loss_coefficient: 0.5}
  q: {from: k, to: a, length: 6 m, bore: 200 mm, roughness: 0.05 mm, loss_coefficient: 0.5}
  r: {from: k, to: a, length: 9 m, bore: 200 mm, roughness: 0.05 mm, loss_coefficient: 0.5}
panels:
  a: {at: [0 m, 0 m], size: [3 m, 3 m], elevation: 0.4 m, holes: {count: 1600, diameter: 4 mm, discharge_coefficient: 0.8}}
duty: {start: 0 s, end: 60 s}
";

#[test]
fn gas_goes_on_through_valves_and_headers_that_nothing_else_feeds() {
    let network = network(CHAIN, &[]);
    let result = run_of(&network);
    conserved("chain", &network, &result);
    let empty = |line: &str| times(&result, line, EventCode::LineEmpty)[0];
    assert!(times(&result, "t", EventCode::TankEmpty)[0] < empty("p") && empty("p") < empty("q").min(empty("r")));
    // The gas has the room of the tank without its heel, and of all three lines: p V = constant.
    let lines = PI / 4.0 * (12.0 * 0.25 * 0.25 + 15.0 * 0.2 * 0.2);
    let last = *result.series.tanks[0].pressure.last().unwrap();
    near(last / (6e5 * 6.0 / (7.5 + lines)), 1.0, 1e-6, "pressure at the end");
    // What has left the panel is what the tank gave and the lines held.
    let (time, flow) = (&result.series.time, &result.series.panels[0].flow);
    let ran: f64 = (0..time.len() - 1).map(|k| 0.5 * (flow[k] + flow[k + 1]) * (time[k + 1] - time[k])).sum();
    near(ran, 1.5 + lines, 0.01 * (1.5 + lines), "water through the holes");
}

#[test]
fn a_valve_that_shuts_holds_the_gas() {
    let network = network(CHAIN, &["valves.v.closes_at=4.2 s"]);
    let shut = run_of(&network);
    assert!(times(&shut, "t", EventCode::TankEmpty)[0] < 4.2);
    assert!(times(&shut, "p", EventCode::LineEmpty).is_empty(), "the gas is shut in");
    conserved("shut", &network, &shut);
}

#[test]
fn gas_stops_where_other_water_comes_in() {
    let second = CHAIN.replace(
        "headers:",
        "  u: {volume: 8 m3, diameter: 2 m, bottom: 3 m, water: 4 m3, heel: 0.5 m3, pressure: 5 bar(g)}\nheaders:",
    );
    let second = second.replace(
        "pipes:",
        "pipes:\n  s: {from: u, to: k, length: 5 m, bore: 200 mm, roughness: 0.05 mm, loss_coefficient: 0.5}",
    );
    let network = network(&second, &[]);
    let result = run_of(&network);
    conserved("second", &network, &result);
    // Behind the valve water of the other tank may come back, and behind the other tank's own line that of this one.
    for line in ["p", "q", "r"] {
        assert!(times(&result, line, EventCode::LineEmpty).is_empty(), "{line}");
    }
    assert_eq!(times(&result, "s", EventCode::LineEmpty).len(), 1, "the line at a tank drains in any case");
}

#[test]
fn without_inertia_the_report_says_what_is_left_in_the_lines() {
    for (text, tank, last) in [(WEIR, "t", "w"), (CHAIN, "t", "r")] {
        let (still, moving) = (network(text, &["inertia=off"]), network(text, &[]));
        let (still, moving) = (run_of(&still), run_of(&moving));
        let finding = still.findings.iter().find(|finding| finding.code == "water_in_lines").unwrap();
        assert_eq!(finding.item, tank);
        let numbers: Vec<f64> = finding.text.split(' ').filter_map(|word| word.parse().ok()).collect();
        let (held, lasts) = (numbers[1], *numbers.last().unwrap());
        let lines = PI / 4.0 * if last == "w" { 17.0 * 0.04 } else { 12.0 * 0.0625 + 15.0 * 0.04 };
        near(held, lines, 1e-3, "water in the lines");
        // With inertia it takes somewhat else: the gas expands, the column gets shorter.
        let took =
            times(&moving, last, EventCode::LineEmpty).last().unwrap() - times(&moving, tank, EventCode::TankEmpty)[0];
        assert!((lasts / took - 1.0).abs() < 0.35, "{lasts} s, with inertia {took} s");
        assert!(!moving.findings.iter().any(|finding| finding.code == "water_in_lines"));
    }
}

#[test]
fn legs_that_part_and_meet_again_and_again_lose_no_water() {
    // The tank just lifts its water over the apex: the legs chatter there, and in the end are followed without restarts.
    let text = "
site: {ambient_pressure: 1 bar(a), water_temperature: 20 degC, water_density: 1000 kg/m3}
tanks:
  t: {volume: 8 m3, diameter: 2 m, bottom: 4.80742 m, water: 2.14935 m3, heel: 0.5 m3, pressure: 0.399771 bar(g)}
headers:
  h: {elevation: 0 m}
weir_pipes:
  w: {from: t, to: h, bore: 250 mm, roughness: 0.05 mm, apex: 8.25321 m, rise: {length: 8 m, loss_coefficient: 0.5}, fall: {length: 9 m, loss_coefficient: 5, starts: dry}, vent: {bore: 40.2345 mm, discharge_coefficient: 0.6}}
pipes:
  r: {from: h, to: a, length: 3 m, bore: 300 mm, roughness: 0.05 mm, loss_coefficient: 0.5, starts: dry}
panels:
  a: {at: [0 m, 0 m], size: [3 m, 3 m], elevation: 0.4 m, holes: {count: 400, diameter: 4 mm, discharge_coefficient: 0.8}}
duty: {start: 0 s, end: 20 s}
";
    let network = network(text, &[]);
    let result = run_of(&network);
    conserved("chatter", &network, &result);
    assert!(times(&result, "w", EventCode::VentOpens).len() > 5);
}
