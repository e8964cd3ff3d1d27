//! Tanks that run out, against closed forms.

use super::{near, network, run_of, times};
use hydro::input::read_text;
use hydro::result::EventCode;

/// A tank of 4000 m3 with a puddle in it drains by its level alone: `dW/dt = -k sqrt(W)`, so it is at its heel after
/// `2 (sqrt(W0) - sqrt(heel))/k` (Torricelli). The error of the integration belongs to the water, not to the size of the tank.
#[test]
fn a_puddle_in_a_large_tank_drains_in_its_own_time() {
    for inertia in ["off", "on"] {
        let text = format!(
            "
site: {{ambient_pressure: 100 kPa(a), water_temperature: 20 degC, gravity: 9.81 m/s2}}
gas_model: ideal
inertia: {inertia}
tanks:
  t: {{volume: 4000 m3, diameter: 3 m, bottom: 0 m, water: 2 m3, heel: 0.2 m3, pressure: 0 bar(g), ullage: polytropic, polytropic_exponent: 0}}
outfalls:
  out: {{elevation: 0 m}}
valves:
  v: {{from: t, to: out, bore: 100 mm, loss_coefficient: 1.5}}
duty: {{end: 3000 s}}
"
        );
        let result = run_of(&network(&text, &[]));
        let (surface, bore) = (std::f64::consts::FRAC_PI_4 * 9.0, std::f64::consts::FRAC_PI_4 * 0.01);
        let k = bore * (2.0 * 9.81 / 1.5 / surface).sqrt();
        let wanted = 2.0 * (2.0_f64.sqrt() - 0.2_f64.sqrt()) / k;
        let found = times(&result, "t", EventCode::TankEmpty)[0];
        // 1e-6 of the water it starts with a step, ten times that of what is left at the heel, over some tens of steps.
        near(found, wanted, 2e-4 * wanted, "empty");
    }
}

/// Water that runs out of a tank by its own head alone, against losses that go with the square of the flow, ends at
/// 2 A sqrt(k h): the run ends there, and not with the step that finds it.
#[test]
fn a_run_ends_when_the_water_does() {
    let text = "
site: {ambient_pressure: 1 bar(a), water_temperature: 20 degC, water_density: 1000 kg/m3}
inertia: off
tanks:
  t: {volume: 40 m3, diameter: 3 m, bottom: 0 m, filled: 50 %, pressure: 0 bar(g), ullage: polytropic, polytropic_exponent: 0}
pipes:
  p: {from: t, to: a, length: 0 m, bore: 250 mm, friction_factor: 0.02, loss_coefficient: 1.5}
panels:
  a: {at: [0 m, 0 m], size: [3 m, 3 m], elevation: 1 m, holes: {count: 1600, diameter: 4 mm, discharge_coefficient: 0.8}}
duty: {start: 0 s, end: 2000 s}
";
    let circle = |diameter: f64| 0.25 * std::f64::consts::PI * diameter * diameter;
    let (area, bore, holes) = (circle(3.0), circle(0.25), 0.8 * 1600.0 * circle(0.004));
    let head = 20.0 / area - 1.0;
    let loss = 0.5 * (1.5 / (bore * bore) + 1.0 / (holes * holes)) / 9.80665;
    let emptied = 2.0 * area * (head * loss).sqrt();
    let result = run_of(&network(text, &[]));
    let ended = *result.series.time.last().unwrap();
    // The level is known to 1e-6 of the tank, the flow at the end to the root of that.
    near(ended, emptied, 5e-4 * emptied, "end");
    near(result.supply.lasts.unwrap(), emptied, 5e-4 * emptied, "the supply lasts");
}

/// A diameter in mm that was meant in m: the file can be computed, and the tank is remarked on.
#[test]
fn a_tank_of_kilometres_is_remarked_on() {
    let text = include_str!("../../../networks/03-cross-fed-bed.yaml");
    let tall = |text: &str| {
        let findings = read_text("net.yaml", text, &[]).unwrap_or_else(|rejected| panic!("{rejected}")).findings;
        findings.iter().filter(|finding| finding.code == "tall_tank").map(|finding| finding.item.clone()).collect()
    };
    let (meant, slipped): (Vec<String>, Vec<String>) =
        (tall(text), tall(&text.replace("diameter: 3 m", "diameter: 3 mm")));
    assert_eq!((meant.len(), &slipped[..]), (0, &["supply".to_string()][..]));
}
