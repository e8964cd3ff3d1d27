//! Air that water pushes out ahead of it: against a piston worked out on its own, and what it is worth.

use super::columns::conserved;
use super::{near, network, run_of, times};
use hydro::result::EventCode;
use std::f64::consts::PI;

/// A large tank and a dry pipe to a dry panel whose holes let the air out.
const PISTON: &str = "
site: {ambient_pressure: 1 bar(a), water_temperature: 20 degC, water_density: 1000 kg/m3, ambient_temperature: 20 degC}
gas_model: ideal
tanks:
  t: {volume: 1000 m3, diameter: 20 m, bottom: 0 m, water: 300 m3, pressure: 4 bar(g), ullage: isothermal}
pipes:
  p: {from: t, to: a, length: 30 m, bore: 200 mm, friction_factor: 0.02, loss_coefficient: 1.5, starts: dry}
panels:
  a: {at: [0 m, 0 m], size: [3 m, 3 m], elevation: 0 m, starts: dry, holes: {count: 800, diameter: 3 mm, discharge_coefficient: 0.8}}
duty: {start: 0 s, end: 9 s}
tolerance: 1e-7
";

/// Time at which the pipe is full, s, with so many holes: front `x`, velocity and pressure of the air by Runge-Kutta, the holes as
/// nozzles by the mass flow of an ideal gas in terms of the ratio of the pressures; `p V^1.4` for what stays.
fn piston(holes: f64) -> f64 {
    let (area, rho, rt) = (PI * 0.01, 1000.0, 287.05 * 293.15);
    let out = 0.8 * holes * PI * 0.0015 * 0.0015;
    let rates = |[x, v, p]: [f64; 3]| {
        let used = x * area;
        let head = 5e5 * 700.0 / (700.0 + used) + rho * 9.80665 * (300.0 - used) / (100.0 * PI);
        let loss = (0.02 * x / 0.2 + 1.5 + 1.0) * 0.5 * rho * v * v.abs();
        let ratio = (1e5 / p).clamp((1.0_f64 / 1.2).powf(3.5), 1.0);
        let flux = p * (7.0 / rt * (ratio.powf(2.0 / 1.4) - ratio.powf(2.4 / 1.4))).sqrt();
        [v, (head - p - loss) / (rho * x), 1.4 * p / ((30.0 - x) * area) * (v * area - out * flux * rt / p)]
    };
    // From where the front has come 2 cm, as fast as the losses let it.
    let first = (2.0 * 4.0936e5 / 2500.0_f64).sqrt();
    let (mut y, mut time, h) = ([0.02, first, 1e5], 0.02 / first, 1e-5);
    while y[0] < 29.98 {
        let moved = |k: [f64; 3], share: f64| [0, 1, 2].map(|i| y[i] + share * h * k[i]);
        let k1 = rates(y);
        let k2 = rates(moved(k1, 0.5));
        let k3 = rates(moved(k2, 0.5));
        let k4 = rates(moved(k3, 1.0));
        y = [0, 1, 2].map(|i| y[i] + h / 6.0 * (k1[i] + 2.0 * k2[i] + 2.0 * k3[i] + k4[i]));
        time += h;
    }
    time + (30.0 - y[0]) / y[1]
}

#[test]
fn a_front_pushes_its_air_out_as_a_piston_does() {
    // Without a drop of the air all of them are full at 2.0035 s. With 100 holes and fewer it chokes. The law of the holes goes on
    // with a tangent there, and the
    // column bounces on the air to some ten bar: some tenths of a per cent of the flow. The last 2 cm are by a straight line here.
    for (holes, tolerance) in [(800.0, 5e-4), (400.0, 5e-4), (100.0, 1.5e-3), (40.0, 1.5e-3)] {
        let network = network(PISTON, &[&format!("panels.a.holes.count={holes}")]);
        let result = run_of(&network);
        conserved("piston", &network, &result);
        let (full, wanted) = (times(&result, "p", EventCode::Filled)[0], piston(holes));
        near(full / wanted, 1.0, tolerance, &format!("{holes} holes, full at {wanted} s"));
    }
}

/// A filling bed: two panels, the second fed across the first, which is all that lets the air out in the end.
const BED: &str = "
site: {ambient_pressure: 1 bar(a), water_temperature: 20 degC}
gas_model: ideal
tanks:
  t: {volume: 40 m3, diameter: 2.6 m, bottom: 1.2 m, filled: 80 %, pressure: 5 bar(g)}
pipes:
  p: {from: t, to: a, length: 20 m, bore: 300 mm, roughness: 0.05 mm, loss_coefficient: 1.5, starts: dry}
panels:
  a: {at: [0 m, 0 m], size: [3 m, 3 m], elevation: 0.4 m, gap: 60 mm, starts: dry, holes: {count: 1600, diameter: 4 mm, discharge_coefficient: 0.8}}
  b: {at: [3 m, 0 m], size: [3 m, 3 m], elevation: 0.4 m, gap: 60 mm, starts: dry, holes: {count: 1600, diameter: 4 mm, discharge_coefficient: 0.8}}
crossovers:
  c: {from: a, to: b, ports: 8, bore: 150 mm, loss_coefficient: 1.5}
duty: {start: 0 s, end: 6 s}
";

#[test]
fn fewer_holes_hold_a_filling_bed_up_longer() {
    let full = |holes: &str| {
        let network = network(BED, &[&format!("panels.b.holes.count={holes}")]);
        let result = run_of(&network);
        conserved("bed", &network, &result);
        let filled = |item: &str| times(&result, item, EventCode::Filled)[0];
        (filled("a"), filled("b"))
    };
    let (many, some, few) = (full("1600"), full("800"), full("200"));
    assert!(many.0 <= some.0 && some.0 <= few.0, "{many:?} {some:?} {few:?}");
    // Fewer holes take less of the water as well, which fills the panel sooner; the air decides where they are few.
    assert!(few.1 > some.1, "{some:?} {few:?}");
}

#[test]
fn a_front_that_the_air_pushes_back_stops_where_it_began() {
    // A dry pipe between a header and a full panel takes water in at both ends; the air between them is compressed, and the
    // stronger front pushes the other back out of the pipe, but no further.
    let bed = BED.replace(
        "pipes:",
        "headers:\n  h: {elevation: 0.5 m}\npipes:\n  d: {from: h, to: a, length: 6 m, bore: 200 mm, roughness: 0.05 mm, starts: dry}\n  q: {from: t, to: h, length: 8 m, bore: 250 mm, roughness: 0.05 mm, loss_coefficient: 0.5}",
    );
    for (water, holes) in [("6 m3", "1600"), ("3 m3", "400"), ("9 m3", "3200")] {
        let sets = [
            "pipes.p.starts=full".to_string(),
            "panels.a.starts=full".into(),
            "panels.b.starts=full".into(),
            format!("panels.a.holes.count={holes}"),
            format!("tanks.t.water={water}"),
            "tanks.t.heel=1 m3".into(),
            "duty.end=30 s".into(),
        ];
        let network = network(&bed.replace("filled: 80 %, ", ""), &sets.each_ref().map(String::as_str));
        let result = run_of(&network);
        conserved(holes, &network, &result);
        assert_eq!(times(&result, "t", EventCode::TankEmpty).len(), 1, "{holes}");
    }
}
