//! When and why a panel falls short: one network by hand for each cause.
//!
//! The pressure of the tank `t` stays as it is (exponent 0) and its surface is wide; what pipe and valve lose is small or
//! given by a loss coefficient alone. So flows follow from `q = Cd A sqrt(2 dp/rho)`.

use super::{near, network, times};
use hydro::analysis::run::{RunOptions, run_explained};
use hydro::analysis::steady::{FlowOptions, solve};
use hydro::network::Network;
use hydro::report::text;
use hydro::result::{CauseKind, EventCode, Lack, PanelVerdict, Reason, RunResult, Shortfall};

const DENSITY: f64 = 998.2;

/// Area of the panel of the networks here, m2, and its holes: `Cd A`, m2.
const AREA: f64 = 9.0;
const HOLES: f64 = 0.8 * 1600.0 * std::f64::consts::FRAC_PI_4 * 0.004 * 0.004;

/// A tank with 4 bar(g) and 2000 m3 on a surface of 30 m, a pipe and a valve without friction to speak of, and a panel.
fn stand(valve: &str, panel: &str, more: &str) -> String {
    format!(
        "
site: {{ambient_pressure: 1 bar(a), water_temperature: 20 degC, water_density: {DENSITY} kg/m3}}
gas_model: ideal
inertia: off
tanks:
  t: {{volume: 4000 m3, diameter: 30 m, bottom: 0 m, water: 2000 m3, pressure: 4 bar(g), ullage: polytropic, polytropic_exponent: 0}}
headers: {{h: {{elevation: 0 m}}}}
pipes: {{feed: {{from: t, to: h, length: 1 m, bore: 1 m, friction_factor: 1e-6}}}}
valves: {{v: {{from: h, to: p, bore: 500 mm, loss_coefficient: 0.001{valve}}}}}
panels:
  p: {{at: [0 m, 0 m], size: [3 m, 3 m], elevation: 0 m, holes: {{count: 1600, diameter: 4 mm, discharge_coefficient: 0.8}}{panel}}}
duty: {{start: 0 s, ignition: 1 s, hold: 8 s, end: 12 s}}
{more}"
    )
}

fn explained(network: &Network) -> RunResult {
    let mut options = RunOptions { rows: 201, progress: &mut |_| {} };
    run_explained(network, &mut options).unwrap_or_else(|error| panic!("{error}"))
}

fn first(result: &RunResult) -> (&PanelVerdict, &Shortfall, &Reason) {
    let panel = &result.panels[0];
    let shortfall = panel.shortfall.as_ref().unwrap();
    (panel, shortfall, shortfall.reason.as_ref().unwrap())
}

/// The stand at rest with all its pressure over the holes, Pa, and the flux that it then has, m/s.
fn full() -> (f64, f64) {
    let level = 2000.0 / (std::f64::consts::FRAC_PI_4 * 900.0);
    let drop = 4e5 + DENSITY * 9.80665 * level;
    (drop, HOLES * (2.0 * drop / DENSITY).sqrt() / AREA)
}

#[test]
fn a_plume_that_rises_is_named() {
    let panel = ", required_flux: 40 L/s/m2, plume_pressure: {time: [0 s, 10 s], value: [0 bar(g), 3 bar(g)]}";
    let result = explained(&network(&stand("", panel, ""), &[]));
    let (panel, shortfall, reason) = first(&result);
    let (drop, flux) = full();
    // The plume that leaves the drop which 40 L/s/m2 need; the level has fallen by some millimetres until then.
    let needed = drop * (0.04 / flux).powi(2);
    near(shortfall.time, (drop - needed) / 3e4, 5e-3, "when it is short");
    assert_eq!(shortfall.lack, Lack::RequiredFlux);
    near(reason.margin.unwrap(), 0.0, 1e-9, "margin at that moment");
    let [cause] = reason.causes.as_slice() else { panic!("{:?}", reason.causes) };
    assert_eq!((cause.kind, cause.item.as_str(), cause.restores), (CauseKind::PlumePressure, "", true));
    near(cause.flux, flux, 1e-3 * flux, "flux without the plume");
    near(cause.margin.unwrap(), cause.flux / 0.04 - 1.0, 1e-12, "margin without it");
    assert!(!reason.network_too_small);
    // Lowest at the end of hold, where the plume is highest.
    assert_eq!(panel.lowest_at, Some(9.0));
    let over = panel.over_plume.unwrap();
    assert_eq!(over.time, 9.0);
    near(over.value, drop - 2.7e5, 0.01 * drop, "least pressure over the plume");
    near(panel.lowest_flux.unwrap(), HOLES * (2.0 * over.value / DENSITY).sqrt() / AREA, 1e-9, "lowest flux");
    near(panel.margin().unwrap(), panel.lowest_flux.unwrap() / 0.04 - 1.0, 1e-12, "margin");
    let page = text::run(&result);
    assert!(page.contains("First shortfall and why") && page.contains("the plume presses on the plate"), "{page}");
}

#[test]
fn a_plume_that_enters_is_named() {
    let panel = ", plume_pressure: {time: [0 s, 10 s], value: [0 bar(g), 8 bar(g)]}";
    let result = explained(&network(&stand("", panel, ""), &[]));
    let (panel, shortfall, reason) = first(&result);
    assert_eq!((panel.met, panel.plume_enters, shortfall.lack), (None, true, Lack::Pressure));
    near(shortfall.time, full().0 / 8e4, 5e-3, "when the plume is as high as the pressure inside");
    near(reason.margin.unwrap(), 0.0, 1e-6, "margin at that moment");
    let [cause] = reason.causes.as_slice() else { panic!("{:?}", reason.causes) };
    assert_eq!((cause.kind, cause.margin, cause.restores), (CauseKind::PlumePressure, None, true));
}

#[test]
fn a_valve_that_closes_is_named() {
    let result = explained(&network(&stand(", closes_at: 3 s, stroke: 4 s", ", required_flux: 40 L/s/m2", ""), &[]));
    let (panel, shortfall, reason) = first(&result);
    let (drop, flux) = full();
    // K/x^2 takes what the holes leave over.
    let velocity = 0.04 * AREA / (std::f64::consts::FRAC_PI_4 * 0.25);
    let opened = (0.001 * DENSITY * velocity * velocity / 2.0 / (drop * (1.0 - (0.04 / flux).powi(2)))).sqrt();
    near(shortfall.time, 3.0 + 4.0 * (1.0 - opened), 1e-3, "when it is short");
    let [cause] = reason.causes.as_slice() else { panic!("{:?}", reason.causes) };
    assert_eq!((cause.kind, cause.item.as_str(), cause.restores), (CauseKind::Valve, "v", true));
    assert_eq!(cause.text, format!("v is open by {:.0} %", 100.0 * opened));
    near(cause.flux, flux, 2e-3 * flux, "flux with it open");
    assert_eq!(panel.lowest_at, Some(7.0), "shut from there");
}

#[test]
fn a_valve_that_is_still_shut_at_ignition_is_named() {
    let result = explained(&network(&stand(", opens_at: 2 s", ", required_flux: 40 L/s/m2", ""), &[]));
    let (panel, shortfall, reason) = first(&result);
    assert_eq!((shortfall.time, panel.lowest_at, reason.margin), (1.0, Some(1.0), Some(-1.0)));
    let [cause] = reason.causes.as_slice() else { panic!("{:?}", reason.causes) };
    assert_eq!((cause.kind, cause.text.as_str(), cause.restores), (CauseKind::Valve, "v is shut", true));
}

#[test]
fn a_tank_that_is_out_is_named() {
    // The other way in loses four velocity heads of a narrow bore: alone it does not reach what is required.
    let narrow = "length: 1 m, bore: 200 mm, friction_factor: 1e-6, loss_coefficient: 4";
    let text = stand("", ", required_flux: 40 L/s/m2", "")
        .replace("length: 1 m, bore: 1 m, friction_factor: 1e-6", narrow)
        .replace("pipes: {", &format!("pipes: {{second: {{from: b, to: h, {narrow}}}, "))
        .replace("tanks:\n", "tanks:\n  b: {volume: 4 m3, diameter: 2 m, bottom: 0 m, water: 1 m3, pressure: 4.2 bar(g), ullage: polytropic, polytropic_exponent: 0}\n");
    let network = network(&text, &[]);
    let result = explained(&network);
    let (_, shortfall, reason) = first(&result);
    assert_eq!(times(&result, "b", EventCode::TankEmpty), [shortfall.time]);
    let [cause] = reason.causes.as_slice() else { panic!("{:?}", reason.causes) };
    assert_eq!((cause.kind, cause.item.as_str(), cause.restores), (CauseKind::TankEmpty, "b", true));
    let start = solve(&network, &FlowOptions::default()).unwrap().panels[0].flux;
    near(cause.flux, start, 1e-3 * start, "flux with the tank as at the start");
}

#[test]
fn pressure_and_level_that_have_fallen_are_named_by_what_each_takes() {
    let text = stand("", ", required_flux: 48 L/s/m2", "")
        .replace("volume: 4000 m3, diameter: 30 m", "volume: 40 m3, diameter: 2.6 m")
        .replace("water: 2000 m3", "water: 30 m3")
        .replace("ullage: polytropic, polytropic_exponent: 0", "ullage: isothermal");
    let result = explained(&network(&text, &[]));
    let (_, shortfall, reason) = first(&result);
    let kinds: Vec<_> = reason.causes.iter().map(|cause| (cause.kind, cause.item.as_str(), cause.restores)).collect();
    assert_eq!(kinds, [(CauseKind::TankPressure, "t", true), (CauseKind::TankLevel, "t", true)]);
    let row = result.series.time.iter().position(|&time| time == shortfall.time).unwrap();
    let (tank, surface) = (&result.series.tanks[0], std::f64::consts::FRAC_PI_4 * 2.6 * 2.6);
    let head = |water: f64| DENSITY * 9.80665 * water / surface;
    let flux = |drop: f64| HOLES * (2.0 * drop / DENSITY).sqrt() / AREA;
    near(reason.causes[0].flux, flux(4e5 + head(tank.water[row])), 1e-4, "with the pressure of the start");
    near(reason.causes[1].flux, flux(tank.pressure[row] - 1e5 + head(30.0)), 1e-4, "with the level of the start");
    assert!(reason.margin_with_all > reason.causes[0].margin);
}

#[test]
fn the_water_of_a_long_pipe_is_not_up_to_speed_at_ignition() {
    let sets = ["inertia=on", "pipes.feed.length=400 m", "pipes.feed.bore=500 mm"];
    let result = explained(&network(&stand(", opens_at: 0.9 s", ", required_flux: 40 L/s/m2", ""), &sets));
    let (_, shortfall, reason) = first(&result);
    assert_eq!(shortfall.time, 1.0);
    let [cause] = reason.causes.as_slice() else { panic!("{:?}", reason.causes) };
    assert_eq!((cause.kind, cause.restores), (CauseKind::WaterMoving, true));
    near(cause.flux, full().1, 0.01 * full().1, "flux at rest");
}

#[test]
fn a_network_that_is_too_small_says_where_its_pressure_goes() {
    let sets = ["pipes.feed.bore=200 mm", "pipes.feed.loss_coefficient=30"];
    let result = explained(&network(&stand("", ", required_flux: 40 L/s/m2", ""), &sets));
    let (panel, shortfall, reason) = first(&result);
    assert_eq!(shortfall.time, 1.0);
    assert!(reason.network_too_small && reason.causes.is_empty(), "{reason:?}");
    let most = reason.most_loss.as_ref().unwrap();
    assert_eq!((most.name.as_str(), most.kind), ("feed", "pipe"));
    // Share of the pipe: its K against that of the holes on the same bore.
    let bore = std::f64::consts::FRAC_PI_4 * 0.04;
    let holes = (bore / HOLES).powi(2);
    near(most.share, 30.0 / (30.0 + holes), 1e-3, "share of the pipe");
    assert!(panel.margin().unwrap() < 0.0);
    let page = text::run(&result);
    assert!(page.contains("too small") && page.contains("feed takes"), "{page}");
}

#[test]
fn two_things_that_help_only_together_are_both_named() {
    // Shut by half the valve takes about as much as the plume does.
    let panel = ", required_flux: 50 L/s/m2, plume_pressure: 0.5 bar(g)";
    let sets = ["valves.v.loss_coefficient=1.2", "valves.v.stuck={open: 25 %}"];
    let result = explained(&network(&stand("", panel, ""), &sets));
    let (_, _, reason) = first(&result);
    let mut kinds: Vec<_> = reason.causes.iter().map(|cause| (cause.kind.label(), cause.restores)).collect();
    kinds.sort_unstable();
    assert_eq!(kinds, [("plume_pressure", false), ("valve", false)]);
    assert!(reason.margin_with_all.unwrap() >= 0.0 && !reason.network_too_small, "{reason:?}");
}

#[test]
fn heat_that_rises_over_what_the_water_takes_up_is_located() {
    let panel = ", heat_flux: {time: [0 s, 10 s], value: [0 MW/m2, 60 MW/m2]}";
    let network = network(&stand("", panel, "cooling: {utilisation: 20 %, wetting: 100 %, safety_factor: 1}\n"), &[]);
    let result = explained(&network);
    let (panel, shortfall, reason) = first(&result);
    assert_eq!((panel.met, shortfall.lack), (None, Lack::Heat));
    let cooling = solve(&network, &FlowOptions { at: Some(shortfall.time) }).unwrap().panels[0].cooling.unwrap();
    // The steady flow has the level of the start: some centimetres of 43 m.
    near(cooling.margin.unwrap(), 0.0, 1e-3, "margin when it is short");
    assert!(reason.network_too_small);
    assert_eq!(reason.most_loss.as_ref().unwrap().kind, "holes");
}

#[test]
fn a_weir_whose_vent_admits_air_is_named() {
    let text = "
site: {ambient_pressure: 1 bar(a), water_temperature: 20 degC}
gas_model: ideal
inertia: off
tanks:
  t: {volume: 4000 m3, diameter: 30 m, bottom: 0 m, water: 100 m3, pressure: 0.9 bar(g), ullage: polytropic, polytropic_exponent: 0}
headers: {h: {elevation: 0 m}}
pipes: {feed: {from: t, to: h, length: 1 m, bore: 1 m, friction_factor: 1e-6}}
weir_pipes:
  w: {from: h, to: p, bore: 300 mm, roughness: 0.05 mm, apex: 8 m, rise: {length: 9 m, loss_coefficient: 0.4}, fall: {length: 12 m, loss_coefficient: 0.4}, vent: {bore: 80 mm, discharge_coefficient: 0.6}}
panels:
  p: {at: [0 m, 0 m], size: [3 m, 3 m], elevation: -3 m, holes: {count: 4800, diameter: 4 mm, discharge_coefficient: 0.8}, required_flux: 36 L/s/m2}
duty: {start: 0 s, ignition: 1 s, hold: 2 s, end: 4 s}
";
    let aired = network(text, &[]);
    let result = explained(&aired);
    let (_, _, reason) = first(&result);
    assert_eq!((reason.causes[0].kind, reason.causes[0].item.as_str()), (CauseKind::WeirVent, "w"), "{reason:?}");
    let siphon = text.replace(", vent: {bore: 80 mm, discharge_coefficient: 0.6}", "");
    let siphon = solve(&network(&siphon, &[]), &FlowOptions::default()).unwrap();
    near(reason.causes[0].flux, siphon.panels[0].flux, 1e-3, "flux of the same pipe without a vent");
}
