//! The plate through whole files: the stream in the gap, the plume and heat over cells.

use hydro::analysis::run::{RunOptions, run};
use hydro::analysis::steady::{FlowOptions, solve};
use hydro::finding::Finding;
use hydro::input::read_text;
use hydro::network::Network;
use hydro::result::FlowResult;

/// One square panel of 2 m fed by a pipe.
const ONE: &str = "
inertia: off
site: {ambient_pressure: 1 bar(a), water_temperature: 20 degC, water_density: 998 kg/m3, water_viscosity: 1 mPa s}
outfalls: {supply: {elevation: 0 m, pressure: 2 bar(g)}}
pipes: {feed: {from: supply, to: plate, length: 1 m, bore: 300 mm, roughness: 0.05 mm, loss_coefficient: 1}}
panels:
  plate:
    at: [0 m, 0 m]
    size: [2 m, 2 m]
    elevation: 0 m
    gap: 60 mm
    holes: {count: 900, diameter: 5 mm, plate: 10 mm, discharge_coefficient: auto}
duty: {ignition: 1 s, hold: 2 s, end: 4 s}
";

fn network(text: &str, sets: &[&str]) -> Network {
    let sets: Vec<String> = sets.iter().map(|set| set.to_string()).collect();
    read_text("plate.yaml", text, &sets).unwrap_or_else(|rejected| panic!("{rejected}")).network
}

fn flow(text: &str, sets: &[&str]) -> FlowResult {
    solve(&network(text, sets), &FlowOptions { at: Some(1.0) }).unwrap()
}

fn has(findings: &[Finding], code: &str) -> bool {
    findings.iter().any(|finding| finding.code == code)
}

/// In a panel of one cell half of what enters is its stream: the drop is that of the law and 1.67 velocity heads.
#[test]
fn the_stream_in_the_gap_takes_its_heads() {
    for gap in [0.2, 0.06, 0.04] {
        let sets = [format!("panels.plate.gap={gap} m")];
        let sets: Vec<&str> = sets.iter().map(String::as_str).collect();
        let data = network(ONE, &sets);
        let found = solve(&data, &FlowOptions::default()).unwrap();
        let panel = &found.panels[0];
        let velocity = 0.5 * panel.flow / (gap * 2.0);
        let taken = 1.67 * 0.5 * 998.0 * velocity * velocity;
        let law = data.panels[0].hole_law(1e5, &data.site).unwrap();
        let drop = panel.pressure.unwrap() - 1e5;
        // To what the passes settle to, 1e-8 of the drop.
        assert!((law.loss(panel.flow).value + taken - drop).abs() < 3e-8 * drop, "{gap} m: {panel:?}");
        assert!((panel.holes.gap_head_to_drop.unwrap() * drop * 1.67 / taken - 1.0).abs() < 1e-9);
        assert_eq!(has(&found.findings, "fast_gap"), taken > 0.167 * drop, "{gap} m");
        assert!((panel.holes.cold_flow_share.unwrap() - 1.0).abs() < 1e-7, "no plume: cold flow");
    }
    let given = flow(ONE, &["panels.plate.holes.discharge_coefficient=0.7"]);
    let drop = given.panels[0].pressure.unwrap() - 1e5;
    let wanted = 0.7 * 900.0 * std::f64::consts::FRAC_PI_4 * 25e-6 * (2.0 * drop / 998.0).sqrt();
    assert!((given.panels[0].flow / wanted - 1.0).abs() < 1e-9, "a given coefficient stays");
}

/// Over ever more cells the flow against a plume in the middle comes to a limit, and the driest cell is under its peak.
#[test]
fn a_plume_over_ever_more_cells() {
    let text = ONE.replace(
        "gap: 60 mm",
        "gap: 600 mm\n    plume_pressure: {centre: [1 m, 1 m], half_width: 0.5 m, peak: 1.2 bar(g)}",
    );
    let text = text.replace("discharge_coefficient: auto", "discharge_coefficient: 0.8, cavitation: off");
    let at = |n: u32| flow(&text, &[&format!("panels.plate.cells=[{n}, {n}]")]);
    let flows: Vec<f64> = [5, 15, 45].map(|n| at(n).panels[0].flow).to_vec();
    // Values in the middle are right to second order: each refinement by 3 leaves a ninth of the error.
    let order = ((flows[0] - flows[1]) / (flows[1] - flows[2])).abs().ln() / 3f64.ln();
    assert!(order > 1.5, "order {order} of {flows:?}");
    let fine = at(15);
    let driest = fine.panels[0].driest().unwrap();
    assert!(driest.center.iter().all(|x| (x - 1.0).abs() < 1e-9), "{driest:?}");
    let plate = fine.plate.as_ref().unwrap();
    assert_eq!((plate.driest.as_str(), plate.driest_place), ("plate", driest.center));
    assert_eq!(fine.panels[0].evenness.as_ref().unwrap().lowest_flux, plate.lowest_flux);
    let path = plate.loss_path.as_ref().unwrap();
    let whole: f64 = path.items.iter().map(|item| item.loss).sum();
    assert!((whole - (2e5 - (driest.plume_pressure - 1e5))).abs() < 1.0, "{path:?}");
    // Against the closed form of a hole: the share of the cold flow is the root of the drops.
    let inside = driest.pressure.unwrap();
    let share = ((inside - driest.plume_pressure) / (inside - 1e5)).sqrt();
    assert!((driest.cold_flow_share.unwrap() / share - 1.0).abs() < 1e-9);
}

/// A plume that only its peak makes stronger than the water is seen in one cell and in many.
#[test]
fn a_peak_above_the_pressure_inside_enters() {
    let plume = "panels.plate.plume_pressure={centre: [1 m, 1 m], half_width: 0.2 m, peak: 3 bar(g)}";
    for cells in ["panels.plate.cells=[1, 1]", "panels.plate.cells=[9, 9]"] {
        let found = flow(ONE, &[plume, cells]);
        let panel = &found.panels[0];
        assert!(panel.plume_enters && panel.over_plume.unwrap() < 0.0 && panel.flow > 0.0, "{cells}: {panel:?}");
        assert!(has(&found.findings, "plume_enters"), "{cells}");
        let entered = panel.cells.iter().filter(|cell| cell.plume_enters).count();
        assert!(entered >= 1 && (entered < 9 || panel.cells.len() == 1), "{cells}: {entered}");
    }
}

/// Heat is judged only where the file says by what; too little fails the flow and the run.
#[test]
fn heat_is_judged_by_what_the_file_says() {
    let heat = "panels.plate.heat_flux=20 MW/m2";
    let judged = ["utilisation=0 %", "wetting=50 %", "safety_factor=2"].map(|set| format!("cooling.{set}"));
    let judged: Vec<&str> = judged.iter().map(String::as_str).collect();
    let open = flow(ONE, &[heat]);
    let check = open.panels[0].cooling.unwrap();
    assert_eq!((check.needed, check.margin, check.met), (None, None, None));
    assert!(check.needed_sensible > check.needed_evaporated && open.requirements_met());
    for cells in ["panels.plate.cells=[1, 1]", "panels.plate.cells=[4, 4]"] {
        let sets: Vec<&str> = [heat, cells].into_iter().chain(judged.iter().copied()).collect();
        let short = flow(ONE, &sets);
        let check = short.panels[0].cooling.unwrap();
        assert!((check.needed.unwrap() / check.needed_sensible.unwrap() - 4.0).abs() < 1e-12);
        assert!(check.met == Some(false) && !short.requirements_met() && has(&short.findings, "heat_short"));
        let text = ONE.replace("outfalls: {supply: {elevation: 0 m, pressure: 2 bar(g)}}", TANK);
        let result = run(&network(&text, &sets), &mut RunOptions { rows: 21, progress: &mut |_| {} }).unwrap();
        let verdict = result.panels[0].cooling.unwrap();
        assert!(verdict.met == Some(false) && !result.requirements_met(), "{verdict:?}");
        let at = verdict.lowest_at.unwrap();
        assert!((1.0..=3.0).contains(&at) && verdict.lowest_margin.unwrap() < 0.0, "{verdict:?}");
        assert!(verdict.lowest_margin_evaporated > verdict.lowest_margin_sensible);
    }
}

const TANK: &str = "tanks: {supply: {volume: 30 m3, diameter: 3 m, bottom: 0 m, filled: 50 %, pressure: 2 bar(g)}}";
