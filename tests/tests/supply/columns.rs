//! Water that is set moving: against the network at rest, conserved, smooth, and with events that converge.

use super::{near, network, run_of, times};
use hydro::analysis::run::{RunOptions, run};
use hydro::input::read_text;
use hydro::network::Network;
use hydro::result::{EventCode, RunResult};
use std::path::Path;

/// A tank, a valve, a vented weir pipe and four panels, of which two have a feed; the fall, the feeds and the panels are dry.
const STAND: &str = "
site: {ambient_pressure: 101.325 kPa(a), water_temperature: 18 degC}
gas_model: ideal
inertia: on
tanks:
  t: {volume: 40 m3, diameter: 2.6 m, bottom: 1.2 m, filled: 80 %, pressure: 6 bar(g), heel: 0.6 m3}
headers:
  riser: {elevation: 0.8 m}
  foot: {elevation: 0.8 m}
  ring: {elevation: 0.6 m}
pipes:
  drop: {from: t, to: riser, length: 4 m, bore: 500 mm, roughness: 0.05 mm, loss_coefficient: 0.6}
  feed-1: {from: ring, to: a-1-1, length: 6 m, bore: 400 mm, roughness: 0.05 mm, loss_coefficient: 1.3, starts: dry}
  feed-2: {from: ring, to: a-2-1, length: 9 m, bore: 400 mm, roughness: 0.05 mm, loss_coefficient: 1.3, starts: dry}
valves:
  v: {from: riser, to: foot, bore: 500 mm, loss_coefficient: 0.3, opens_at: 0.5 s, stroke: 0.8 s, one_way: true}
weir_pipes:
  weir: {from: foot, to: ring, bore: 500 mm, roughness: 0.05 mm, apex: 6 m, rise: {length: 8 m, loss_coefficient: 0.4}, fall: {length: 8 m, loss_coefficient: 0.4, starts: dry}, vent: {bore: 60 mm, discharge_coefficient: 0.6}}
grids:
  a:
    columns: 2
    rows: 2
    origin: [0 m, 0 m]
    panel: {size: [3 m, 3 m], elevation: 0.4 m, gap: 60 mm, starts: dry, holes: {count: 1600, diameter: 4 mm, plate: 25 mm, discharge_coefficient: 0.8}, required_flux: 20 L/s/m2}
    crossover: {ports: 8, bore: 150 mm, loss_coefficient: 1.5}
duty: {start: 0 s, ignition: 4 s, hold: 6 s, end: 30 s}
";

/// Names and texts of the shown networks.
fn shown() -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../networks");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.retain(|path| path.extension().is_some_and(|extension| extension == "yaml"));
    files.sort();
    let name = |path: &Path| path.file_name().unwrap().to_string_lossy().into_owned();
    files.iter().map(|path| (name(path), std::fs::read_to_string(path).unwrap())).collect()
}

pub(super) fn conserved(name: &str, network: &Network, result: &RunResult) {
    let water: f64 = network.tanks.iter().map(|tank| tank.water).sum();
    let mass: f64 = result.gas.iter().map(|gas| gas.stored_at_start).sum::<f64>() / 1e5 + 1.0;
    assert!(result.balance.water_error.abs() <= 1e-8 * water, "{name}: {:e} m3", result.balance.water_error);
    assert!(result.balance.gas_error.abs() <= 1e-8 * mass, "{name}: {:e} kg", result.balance.gas_error);
    let energy: f64 = result.gas.iter().map(|gas| gas.stored_at_start).sum::<f64>() + 1e5;
    assert!(result.balance.energy_error.abs() <= 1e-8 * energy, "{name}: {:e} J", result.balance.energy_error);
}

#[test]
fn water_gas_and_energy_are_conserved_in_every_shown_network() {
    // The shown bed in cells is left to its own snapshot: it takes most of a minute without optimisation.
    for (name, text) in shown().iter().filter(|(name, _)| !name.starts_with("07")) {
        let network = read_text(name, text, &["inertia=on".to_string()]).unwrap().network;
        let result = run_of(&network);
        conserved(name, &network, &result);
    }
}

#[test]
fn a_dry_stand_fills_in_order_and_conserves_its_water() {
    let network = network(STAND, &[]);
    let result = run_of(&network);
    conserved("stand", &network, &result);
    let filled = |item: &str| times(&result, item, EventCode::Filled)[0];
    let reached = |item: &str| times(&result, item, EventCode::WaterArrives)[0];
    assert_eq!(filled("weir"), reached("ring"));
    assert!(filled("weir") < filled("feed-1") && filled("feed-1") < filled("feed-2"), "the longer feed takes longer");
    assert_eq!(filled("feed-1"), reached("a-1-1"));
    assert_eq!(filled("a-1-1"), reached("a-1-2"), "the upper panel is fed across once the lower one is full");
    for panel in &result.panels {
        let start = panel.start.unwrap();
        assert_eq!(start.water_arrives, Some(reached(&panel.name)), "{}", panel.name);
        let supplied = start.supplied_from.unwrap();
        assert!(supplied >= filled(&panel.name) && supplied < 4.0, "{}: {supplied}", panel.name);
        near(start.lead.unwrap(), 4.0 - supplied, 1e-12, "lead");
        assert_eq!(panel.met, Some(true), "{}", panel.name);
    }
    // What is in the network at the end has left the tank and not the network: all dry volumes, at the most.
    assert!(result.balance.water_error.abs() < 1e-8);
}

#[test]
fn the_run_without_inertia_is_the_limit_of_short_columns() {
    // Lengths of a thousandth keep the losses by a friction factor a thousand times as large: columns of no weight.
    let short = ["drop", "feed-1", "feed-2"].map(|pipe| {
        [
            format!("pipes.{pipe}.length=1 mm"),
            format!("pipes.{pipe}.friction_factor=0.05"),
            format!("pipes.{pipe}.starts=full"),
        ]
    });
    let mut sets: Vec<String> = short.concat();
    sets.extend([
        "weir_pipes.weir.fall.starts=full".into(),
        "grids.a.panel.starts=full".into(),
        "duty.end=12 s".into(),
    ]);
    let lasting = |inertia: &str, sets: &[String]| {
        let mut all: Vec<String> = sets.to_vec();
        all.push(format!("inertia={inertia}"));
        run_of(&read_text("net.yaml", STAND, &all).unwrap_or_else(|r| panic!("{r}")).network)
    };
    let (moving, still) = (lasting("on", &sets), lasting("off", &sets));
    // From the end of the stroke on, tank and panels go the same way but for the column in the weir pipe, which is 16 m.
    let at = |result: &RunResult, time: f64| {
        let k = result.series.time.iter().position(|&t| t >= time).unwrap();
        (result.series.tanks[0].water[k], result.series.panels[0].flow[k])
    };
    for time in [6.0, 9.0, 12.0] {
        let (a, b) = (at(&moving, time), at(&still, time));
        assert!((a.1 / b.1 - 1.0).abs() < 2e-2, "{time}: {} and {}", a.1, b.1);
        assert!((a.0 / b.0 - 1.0).abs() < 2e-2, "{time}: {} and {}", a.0, b.0);
    }
}

#[test]
fn events_converge_with_the_tolerance() {
    let at = |tolerance: &str| {
        let result = run_of(&network(STAND, &[&format!("tolerance={tolerance}")]));
        ["weir", "feed-1", "feed-2", "a-1-1", "a-2-2"].map(|item| times(&result, item, EventCode::Filled)[0])
    };
    let best = at("1e-9");
    for (tolerance, bound) in [("1e-5", 1e-3), ("1e-6", 1e-4), ("1e-7", 2e-5)] {
        for (found, best) in at(tolerance).into_iter().zip(best) {
            assert!((found - best).abs() <= bound * best, "{tolerance}: {found}, not {best}");
        }
    }
}

#[test]
fn nothing_oscillates_when_the_tolerance_is_loosened() {
    let text = "
site: {ambient_pressure: 1 bar(a), water_temperature: 20 degC}
gas_model: ideal
inertia: on
tanks:
  t: {volume: 20 m3, diameter: 2 m, bottom: 1 m, filled: 90 %, pressure: 5 bar(g), heel: 1 m3}
headers:
  h: {elevation: 0 m}
pipes:
  p: {from: t, to: h, length: 12 m, bore: 300 mm, roughness: 0.05 mm, loss_coefficient: 0.5}
  q: {from: h, to: a, length: 3 m, bore: 300 mm, roughness: 0.05 mm, loss_coefficient: 0.5}
panels:
  a: {at: [0 m, 0 m], size: [3 m, 3 m], elevation: 0.4 m, holes: {count: 1600, diameter: 4 mm, discharge_coefficient: 0.8}}
duty: {start: 0 s, end: 20 s}
";
    let variation = |tolerance: &str| {
        let result = run_of(&network(text, &[&format!("tolerance={tolerance}")]));
        let flow = &result.series.panels[0].flow;
        flow.windows(2).map(|pair| (pair[1] - pair[0]).abs()).sum::<f64>()
    };
    // The flow rises once and falls: its variation is twice its greatest value less its last, whatever the tolerance.
    let fine = variation("1e-8");
    for tolerance in ["1e-6", "1e-4", "1e-3"] {
        let coarse = variation(tolerance);
        assert!(coarse <= fine * 1.01, "{tolerance}: {coarse}, at 1e-8 {fine}");
    }
}

#[test]
fn air_that_cannot_leave_is_compressed() {
    // A dry branch with a shut end: the front stops where the air holds the head of the tank, p V^1.4 = constant at rest.
    let text = "
site: {ambient_pressure: 1 bar(a), water_temperature: 20 degC, water_density: 1000 kg/m3}
gas_model: ideal
inertia: on
tanks:
  t: {volume: 1000 m3, diameter: 20 m, bottom: 0 m, water: 1 m3, pressure: 3 bar(g), ullage: isothermal}
headers:
  end: {elevation: 0 m}
outfalls:
  out: {elevation: 0 m}
pipes:
  p: {from: t, to: end, length: 20 m, bore: 200 mm, friction_factor: 0.5, loss_coefficient: 5000, starts: dry}
valves:
  v: {from: end, to: out, bore: 200 mm, loss_coefficient: 1, opens_at: 1000 s}
duty: {start: 0 s, end: 400 s}
";
    let result = run_of(&network(text, &[]));
    let used = result.series.tanks[0].water[0] - result.series.tanks[0].water.last().unwrap();
    let volume = 20.0 * std::f64::consts::PI * 0.01;
    let head = 4e5 + 1000.0 * 9.80665 * (1.0 / (100.0 * std::f64::consts::PI));
    // Strong losses let the column come to rest without swinging back.
    near(used / volume, 1.0 - (1e5_f64 / head).powf(1.0 / 1.4), 5e-3, "share filled");
}

/// Two tanks on one header, the second at the end of its line; the first has less gas pressure.
const PAIR: &str = "
site: {ambient_pressure: 1 bar(a), water_temperature: 20 degC, water_density: 1000 kg/m3}
gas_model: ideal
tanks:
  t: {volume: 8 m3, diameter: 2 m, bottom: 3 m, water: 3 m3, heel: 0.5 m3, pressure: 5 bar(g)}
  u: {volume: 8 m3, diameter: 2 m, bottom: 2 m, water: 4 m3, heel: 0.5 m3, pressure: 5 bar(g)}
headers:
  h: {elevation: 0 m}
pipes:
  p: {from: t, to: h, length: 12 m, bore: 250 mm, roughness: 0.05 mm, loss_coefficient: 0.5}
  q: {from: h, to: u, length: 20 m, bore: 250 mm, roughness: 0.05 mm, loss_coefficient: 0.5}
  r: {from: h, to: a, length: 3 m, bore: 300 mm, roughness: 0.05 mm, loss_coefficient: 0.5}
panels:
  a: {at: [0 m, 0 m], size: [3 m, 3 m], elevation: 0.4 m, holes: {count: 1600, diameter: 4 mm, discharge_coefficient: 0.8}}
duty: {start: 0 s, end: 60 s}
";

#[test]
fn lines_behind_tanks_that_are_out_drain_and_keep_their_water_and_the_gas_behind_it() {
    for model in ["energy", "isothermal"] {
        let sets = [format!("tanks.t.ullage={model}"), format!("tanks.u.ullage={model}")];
        let network = network(PAIR, &sets.each_ref().map(String::as_str));
        let result = run_of(&network);
        conserved("pair", &network, &result);
        let volume = |length: f64| length * std::f64::consts::PI / 4.0 * 0.25 * 0.25;
        for (tank, line, length, sign) in [("t", "p", 12.0, 1.0), ("u", "q", 20.0, -1.0)] {
            let (out, empty) =
                (times(&result, tank, EventCode::TankEmpty)[0], times(&result, line, EventCode::LineEmpty)[0]);
            assert!(out < empty, "{tank}: {out} and {empty}");
            // What flows in the line from the one to the other is its water.
            let flow = &result.series.passages.iter().find(|flow| flow.name == line).unwrap().flow;
            let time = &result.series.time;
            let within =
                (0..time.len() - 1).filter(|&k| time[k] >= out && time[k + 1] <= empty && time[k] < time[k + 1]);
            let ran: f64 = within.map(|k| 0.5 * sign * (flow[k] + flow[k + 1]) * (time[k + 1] - time[k])).sum();
            // By trapezoids over some tens of rows.
            near(ran, volume(length), 0.01 * volume(length), line);
        }
        // The gas has the room of the tank without its heel, and of the line: p V = constant where its temperature is.
        if model == "isothermal" {
            let last = *result.series.tanks[0].pressure.last().unwrap();
            near(last, 6e5 * 5.0 / (7.5 + volume(12.0)), 1.0, "pressure at the end");
        }
        assert!(!result.events.iter().any(|event| event.code == EventCode::ColumnStops), "{:?}", result.events);
    }
}

#[test]
fn a_line_that_drains_passes_nothing_back() {
    // The first tank has next to no gas pressure left when it is out, the second holds the header far above it.
    let sets =
        ["tanks.t.pressure=0.6 bar(g)", "tanks.t.water=0.501 m3", "tanks.u.pressure=0.4 bar(g)", "tanks.u.bottom=7 m"];
    let network = network(PAIR, &sets);
    let result = run_of(&network);
    conserved("pair", &network, &result);
    let flow = &result.series.passages.iter().find(|flow| flow.name == "p").unwrap().flow;
    let out = times(&result, "t", EventCode::TankEmpty)[0];
    let rows = result.series.time.iter().zip(flow).filter(|(time, _)| **time >= out);
    assert!(rows.clone().all(|(_, flow)| *flow >= 0.0));
    assert!(rows.clone().any(|(_, flow)| *flow == 0.0) && times(&result, "p", EventCode::LineEmpty).len() <= 1);
}

/// Water in a pipe that is set moving from rest by a constant pressure against losses that go with the square of the flow:
/// q = q_steady tanh(t/T), T = rho L/A q_steady/dp (separation of variables). A panel has 95 % of its flow at T artanh 0.95, however
/// few rows are printed.
#[test]
fn a_panel_is_supplied_when_the_closed_form_says() {
    let text = "
site: {ambient_pressure: 1 bar(a), water_temperature: 20 degC, water_density: 1000 kg/m3}
tanks:
  t: {volume: 40000 m3, diameter: 100 m, bottom: 0 m, filled: 50 %, pressure: 3 bar(g), ullage: polytropic, polytropic_exponent: 0}
pipes:
  p: {from: t, to: a, length: 12 m, bore: 250 mm, friction_factor: 0.02, loss_coefficient: 1.5}
panels:
  a: {at: [0 m, 0 m], size: [3 m, 3 m], elevation: 0 m, holes: {count: 1600, diameter: 4 mm, discharge_coefficient: 0.8}}
duty: {start: 0 s, end: 20 s}
tolerance: 1e-9
";
    let network = network(text, &[]);
    let level = 20_000.0 / (0.25 * std::f64::consts::PI * 100.0 * 100.0);
    let driving = 3e5 + 1000.0 * 9.80665 * level;
    let area = 0.25 * std::f64::consts::PI * 0.25 * 0.25;
    let holes = 0.8 * 1600.0 * 0.25 * std::f64::consts::PI * 0.004 * 0.004;
    let loss = 0.5 * 1000.0 * ((0.02 * 12.0 / 0.25 + 1.5) / (area * area) + 1.0 / (holes * holes));
    let steady = (driving / loss).sqrt();
    let time = 1000.0 * 12.0 / area * steady / driving;
    for rows in [2, 11, 201, 2001] {
        let options = &mut RunOptions { rows, progress: &mut |_| {} };
        let result = run(&network, options).unwrap_or_else(|error| panic!("{error}"));
        let supplied = result.panels[0].start.unwrap().supplied_from.unwrap();
        // Flows are read over the 1e-5 s behind an instant; located to 1e-6 s.
        near(supplied, time * 0.95_f64.atanh(), 1.2e-5, &format!("{rows} rows"));
    }
}
