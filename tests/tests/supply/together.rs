//! What changes at one instant, and what another change lets happen: nothing may be told and then not done.

use super::columns::conserved;
use super::{network, run_of, times};
use hydro::result::{EventCode, RunResult};

/// So many equal tanks with equal lines into one header, and a panel behind it.
fn twins(count: usize, bore: f64) -> String {
    let letters = ["t", "u", "v", "w", "x"];
    let tank = |name: &&str| {
        format!(
            "  {name}: {{volume: 8 m3, diameter: 2 m, bottom: 3 m, water: 3 m3, heel: 0.5 m3, pressure: 5 bar(g)}}\n"
        )
    };
    let line = |name: &&str| {
        format!(
            "  to-{name}: {{from: {name}, to: h, length: 12 m, bore: {bore} mm, roughness: 0.05 mm, loss_coefficient: 0.5}}\n"
        )
    };
    let tanks: String = letters[..count].iter().map(tank).collect();
    let lines: String = letters[..count].iter().map(line).collect();
    format!(
        "site: {{ambient_pressure: 101.325 kPa(a), water_temperature: 18 degC}}
gas_model: ideal
tanks:
{tanks}headers:
  h: {{elevation: 0 m}}
pipes:
{lines}  r: {{from: h, to: a, length: 3 m, bore: 300 mm, roughness: 0.05 mm, loss_coefficient: 0.5}}
panels:
  a: {{at: [0 m, 0 m], size: [3 m, 3 m], elevation: 0.4 m, holes: {{count: 1600, diameter: 4 mm, discharge_coefficient: 0.8}}}}
duty: {{start: 0 s, end: 60 s}}
"
    )
}

/// All tanks are out at the same time, and none gives water below its heel, whichever is noticed first.
fn all_are_out(result: &RunResult, what: &str) {
    let heel = 0.5;
    for tank in &result.series.tanks {
        let least = tank.water.iter().copied().fold(f64::INFINITY, f64::min);
        assert!((least - heel).abs() < 1e-8, "{what}: {} is down to {least} m3", tank.name);
        let out = times(result, &tank.name, EventCode::TankEmpty);
        let first = times(result, "t", EventCode::TankEmpty)[0];
        assert!(
            out.len() == 1 && (out[0] - first).abs() < 1e-6,
            "{what}: {} is out at {out:?}, t at {first}",
            tank.name
        );
    }
}

#[test]
fn equal_tanks_are_out_together() {
    for inertia in ["on", "off"] {
        for count in 2..=5 {
            for bore in [120.0, 200.0, 250.0, 333.0] {
                let set = format!("inertia={inertia}");
                let network = network(&twins(count, bore), &[&set]);
                let result = run_of(&network);
                conserved("twins", &network, &result);
                all_are_out(&result, &format!("{count} tanks, {bore} mm, inertia {inertia}"));
            }
        }
    }
}

/// In the full stand the burst line stands full behind its shut valve until the sustain line's fall has run empty and the ring is at
/// the air: its vent opens at once, and the water of its fall, 9 m of 1 m bore, leaves through the plate as well.
#[test]
fn a_line_that_lets_air_in_at_a_jump_drains() {
    let network = network(include_str!("../../../networks/05-full-stand.yaml"), &[]);
    let result = run_of(&network);
    let opened = times(&result, "burst-weir", EventCode::VentOpens)[0];
    let flow = |name: &str| &result.series.passages.iter().find(|flow| flow.name == name).unwrap().flow;
    let [a, b, weir] = ["ring-a", "ring-b", "sustain-weir"].map(flow);
    let time = &result.series.time;
    let drained: f64 = (1..time.len())
        .filter(|&k| time[k - 1] >= opened)
        .map(|k| {
            let gained = |k: usize| a[k] + b[k] - weir[k].max(0.0);
            0.5 * (gained(k) + gained(k - 1)) * (time[k] - time[k - 1])
        })
        .sum();
    let fall = 9.0 * std::f64::consts::FRAC_PI_4;
    // By trapezoids over some tens of rows; a trickle may stay.
    assert!((0.93 * fall..1.03 * fall).contains(&drained), "{drained} m3 of {fall}");
}

/// A pipe without length is a loss and no column: the run is that of a very short one.
#[test]
fn a_pipe_without_length_is_no_column() {
    let short = |length: &str| {
        let network = network(&twins(2, 200.0), &["inertia=on", &format!("pipes.r.length={length}")]);
        let result = run_of(&network);
        conserved("short", &network, &result);
        times(&result, "t", EventCode::TankEmpty)[0]
    };
    let (none, tiny) = (short("0 m"), short("1 mm"));
    // The friction of a millimetre, and the start of its water.
    assert!((none / tiny - 1.0).abs() < 1e-4, "{none} and {tiny}");
    let all = ["inertia=on", "pipes.*.length=0 m"];
    all_are_out(&run_of(&network(&twins(3, 200.0), &all)), "no line has a length");
}

/// Water that runs backwards over a weir pipe with a vent, pushed by a trickle: its legs would part and meet a thousand times a
/// second, which is followed without a restart each time, as where they do so within a step.
#[test]
fn legs_that_jump_apart_and_meet_are_followed() {
    let network = network(include_str!("../../data/hard/vents-against-a-plume.yaml"), &[]);
    let result = run_of(&network);
    conserved("vents against a plume", &network, &result);
    assert!(result.solver.steps < 2000, "{} steps", result.solver.steps);
    assert_eq!(result.ended, "the end of the duty");
}
