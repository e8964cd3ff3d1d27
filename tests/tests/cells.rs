//! The inside of a panel: refinement, symmetry, ribs, and that one cell is the lumped panel.

use hydro::analysis::run::{RunOptions, run};
use hydro::analysis::steady::{FlowOptions, solve};
use hydro::input::read_text;
use hydro::result::FlowResult;
use std::path::Path;

fn text(name: &str) -> String {
    std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(name)).unwrap()
}

fn flow(text: &str, sets: &[&str]) -> FlowResult {
    let sets: Vec<String> = sets.iter().map(|set| set.to_string()).collect();
    let network = read_text("net.yaml", text, &sets).unwrap_or_else(|rejected| panic!("{rejected}")).network;
    solve(&network, &FlowOptions::default()).unwrap()
}

/// Order at which three values on grids, each twice as fine as the one before, approach their limit.
fn order([coarse, middle, fine]: [f64; 3]) -> f64 {
    ((coarse - middle) / (middle - fine)).log2()
}

/// A strip whose laminar loss has a smooth solution is approached at second order; the limit is in the table of
/// verification.
#[test]
fn a_strip_converges_at_second_order() {
    let text = text("tests/data/verification/strip.yaml");
    let lowest = |n: u32| flow(&text, &[&format!("panels.strip.cells=[{n}, 1]")]).panels[0].lowest_pressure().unwrap();
    let order = order([lowest(20), lowest(40), lowest(80)]);
    assert!((1.8..2.2).contains(&order), "{order}");
}

/// A plate fed through a port whose ends lie on lines of the grid: the pressure falls like a root behind the ends of
/// the port, which leaves about first order.
#[test]
fn a_plate_converges() {
    let pressure = |n: u32| {
        let cells = format!("panels.p.cells=[{n}, {}]", n * 3 / 2);
        let result = flow(PLATE, &["pipes.feed.bore=500 mm", &cells]);
        assert!(result.solver.iterations <= 10, "{n}: {} iterations", result.solver.iterations);
        result.panels[0].pressure.unwrap()
    };
    let found = [pressure(8), pressure(16), pressure(32), pressure(64)];
    let orders = [order([found[0], found[1], found[2]]), order([found[1], found[2], found[3]])];
    assert!(orders.iter().all(|order| (0.8..2.2).contains(order)), "{orders:?}: {found:?}");
}

/// The bed of the file: the total moves by 0.5 % at most from 20 x 20 to 40 x 40 cells, in few iterations.
#[test]
fn a_bed_converges() {
    let text = text("networks/07-panels-in-cells.yaml");
    let total = |n: u32| {
        let result = flow(&text, &[&format!("grids.bed.panel.cells=[{n}, {n}]")]);
        assert!(result.solver.iterations <= 10, "{n}: {} iterations", result.solver.iterations);
        result.total_flow
    };
    let totals = [total(20), total(40)];
    assert!((totals[1] / totals[0] - 1.0).abs() < 5e-3, "{totals:?}");
}

const PLATE: &str = "
inertia: off
site: {ambient_pressure: 1 bar(a), water_temperature: 20 degC}
outfalls: {supply: {elevation: 0 m, pressure: 2 bar(g)}}
pipes: {feed: {from: supply, to: p, length: 1 m, bore: 300 mm, roughness: 0.05 mm, at: [1 m, 0 m]}}
panels:
  p:
    at: [0 m, 0 m]
    size: [2 m, 3 m]
    elevation: 0 m
    holes: {count: 2000, diameter: 4 mm, discharge_coefficient: 0.8}
    gap: 20 mm
    cells: [8, 12]
    required_flux: 1 L/s/m2
";

/// Fed in the middle of an edge, both halves are alike; the cells add up to the panel.
#[test]
fn halves_are_alike_and_cells_add_up() {
    let panel = flow(PLATE, &[]).panels.remove(0);
    for row in panel.cells.chunks(8) {
        for (a, b) in row.iter().zip(row.iter().rev()) {
            assert!((a.flow / b.flow - 1.0).abs() < 1e-9);
        }
    }
    let sum: f64 = panel.cells.iter().map(|cell| cell.flow).sum();
    let (area, holes) = panel.cells.iter().fold((0.0, 0.0), |(a, h), c| (a + c.area, h + c.holes));
    assert!((sum / panel.flow - 1.0).abs() < 1e-12 && (area - 6.0).abs() < 1e-12 && (holes - 2000.0).abs() < 1e-9);
    let driest = panel.driest().unwrap();
    assert!(driest.center[1] > 2.5 && driest.flux < panel.flux, "{driest:?}");
}

/// A wall across the panel: closed, no water is behind it; part open, less than without it.
#[test]
fn ribs_close_and_throttle() {
    let rib = |open: &str| format!("panels.p.ribs=[{{from: [0 m, 1.5 m], to: [2 m, 1.5 m], open: {open}}}]");
    let behind = |result: &FlowResult| -> f64 {
        result.panels[0].cells.iter().filter(|cell| cell.center[1] > 1.5).map(|cell| cell.flow).sum()
    };
    let free = flow(PLATE, &[]);
    let [shut, throttled, open] = ["0 %", "10 %", "100 %"].map(|open| flow(PLATE, &[&rib(open)]));
    assert_eq!(behind(&shut), 0.0);
    assert!(shut.findings.iter().any(|finding| finding.code == "dry_cells"));
    assert!(behind(&throttled) > 0.0 && behind(&throttled) < 0.9 * behind(&free));
    assert!((behind(&open) / behind(&free) - 1.0).abs() < 1e-9);
}

/// Holes are where the density says, as many as before.
#[test]
fn density_moves_holes() {
    let dense = "panels.p.holes.density={centre: [1 m, 3 m], radius: [0 m, 1 m], value: [3, 1]}";
    let panel = flow(PLATE, &[dense]).panels.remove(0);
    let holes: f64 = panel.cells.iter().map(|cell| cell.holes).sum();
    assert!((holes - 2000.0).abs() < 1e-9);
    let per_area = |k: usize| panel.cells[k].holes / panel.cells[k].area;
    // The cell nearest to the centre lies 0.177 m off: 3 - 2 x 0.177.
    let ratio = per_area(11 * 8 + 3) / per_area(0);
    assert!((ratio - (3.0 - 2.0 * 0.125f64.hypot(0.125))).abs() < 1e-9, "{ratio}");
}

/// One cell is the panel of a file that says nothing of cells, to the last bit.
#[test]
fn one_cell_is_the_lumped_panel() {
    let one = flow(PLATE, &["panels.p.cells=[1, 1]"]);
    let plain = PLATE.replace(", at: [1 m, 0 m]", "").replace("    cells: [8, 12]\n", "");
    assert_eq!(one.panels, flow(&plain, &[]).panels);
}

/// A bed of 1728 cells empties its tank for a while: water is kept.
#[test]
fn a_run_with_cells() {
    let text = text("networks/07-panels-in-cells.yaml");
    let sets = ["grids.bed.panel.cells=[12, 12]".to_string(), "duty.end=10 s".to_string()];
    let network = read_text("net.yaml", &text, &sets).unwrap().network;
    let result = run(&network, &mut RunOptions { rows: 11, progress: &mut |_| {} }).unwrap();
    assert!(result.balance.water_error.abs() <= 1e-8 * result.supply.water_used, "{:?}", result.balance);
    assert!(result.supply.water_used > 5.0);
}
