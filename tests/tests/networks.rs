//! Every file in `networks/`: it is solved and run, in few iterations, keeping water and gas, and with the numbers
//! recorded in `snapshots/`.
//!
//! A number that moved for a good reason is recorded anew with `INSTA_UPDATE=always cargo test --test networks`.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write;
use std::path::Path;

use hydro::analysis::run::{RunOptions, run_explained};
use hydro::analysis::steady::{FlowOptions, solve};
use hydro::input::read_text;
use hydro::network::{Network, NodeKind};
use hydro::report::json;
use hydro::result::{FlowResult, RunResult};
use serde_json::Value;

/// Iterations that a steady flow may take from a cold start.
const MOST_ITERATIONS: usize = 10;

/// Steps and network solves.
type Work = (usize, usize);

/// Steps and network solves that a run may take without inertia, and with it: some 1.5 times what it took when this was
/// written. They differ a little between machines, so they are bounds and no snapshot.
const MOST_WORK: [(&str, Work, Work); 9] = [
    ("01-one-panel", (100, 500), (100, 1570)),
    ("02-ring-main", (170, 720), (140, 2460)),
    ("03-cross-fed-bed", (170, 1500), (100, 2860)),
    ("04-weir-and-bank", (300, 2000), (180, 2500)),
    ("05-full-stand", (1650, 8400), (330, 7940)),
    ("06-perforated-deflector", (60, 400), (46, 780)),
    ("07-panels-in-cells", (170, 1500), (90, 3170)),
    ("08-plume-on-bed", (190, 950), (150, 2540)),
    ("09-dry-start", (220, 1400), (240, 4600)),
];

/// Name and text of every network file.
fn files() -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../networks");
    let mut files: Vec<(String, String)> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "yaml"))
        .map(|path| (path.file_stem().unwrap().to_str().unwrap().to_string(), std::fs::read_to_string(&path).unwrap()))
        .collect();
    files.sort();
    assert!(files.len() >= 5);
    files
}

fn network(name: &str, text: &str) -> Network {
    read_text(name, text, &[]).unwrap_or_else(|rejected| panic!("{rejected}")).network
}

fn flow_of(network: &Network) -> FlowResult {
    solve(network, &FlowOptions::default()).unwrap()
}

fn run_of(network: &Network) -> RunResult {
    run_explained(network, &mut RunOptions { rows: 201, progress: &mut |_| {} }).unwrap()
}

/// A number to `digits` significant digits; what is below `floor` is rounding and shown as 0.
fn rounded(value: f64, floor: f64, digits: usize) -> String {
    if value.abs() < floor {
        return "0".into();
    }
    let short: f64 = format!("{value:.*e}", digits - 1).parse().unwrap();
    format!("{short}")
}

/// Size of what rounding leaves of a quantity that vanishes, by the unit in its name.
fn floor(name: &str) -> f64 {
    [
        ("_m3_s", 1e-7),
        ("water_m3", 1e-6),
        ("water_left_m3", 1e-6),
        ("velocity_m_s", 1e-6),
        ("flux_m_s", 1e-8),
        ("_pa", 1e-3),
        ("reynolds", 1.0),
        ("margin", 1e-9),
    ]
    .iter()
    .find(|(unit, _)| name.contains(unit))
    .map_or(0.0, |(_, floor)| *floor)
}

/// One line a value: its path in the document and the value, sorted.
fn lines(value: &Value, path: &str, digits: usize, into: &mut BTreeSet<String>) {
    let inner = |key: &str| if path.is_empty() { key.to_string() } else { format!("{path} / {key}") };
    match value {
        Value::Object(members) => {
            for (key, value) in members {
                lines(value, &inner(key), digits, into);
            }
        }
        Value::Array(items) => {
            for (k, item) in items.iter().enumerate() {
                lines(item, &inner(&k.to_string()), digits, into);
            }
        }
        Value::Number(number) => {
            let number = number.as_f64().unwrap();
            into.insert(format!("{path}: {}", rounded(number, floor(path), digits)));
        }
        other => {
            into.insert(format!("{path}: {other}"));
        }
    }
}

fn text_of(value: &Value, digits: usize) -> String {
    let mut found = BTreeSet::new();
    lines(value, "", digits, &mut found);
    found.into_iter().fold(String::new(), |mut text, line| {
        let _ = writeln!(text, "{line}");
        text
    })
}

fn record(name: &str, text: &str) {
    let mut settings = insta::Settings::clone_current();
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.bind(|| insta::assert_snapshot!(name.to_string(), text));
}

/// The first lines say what a file shows.
#[test]
fn files_say_what_they_show() {
    for (name, text) in files() {
        let first = text.lines().next().unwrap_or_default();
        assert!(first.strip_prefix("# Shows: ").is_some_and(|words| words.len() > 20), "{name}: {first}");
        let title = network(&name, &text).title;
        assert!(!title.is_empty(), "{name} has no title");
    }
}

/// Steady flow: few iterations, balanced at every item, equal bytes each time.
#[test]
fn flows() {
    let mut wrong = String::new();
    for (name, text) in files() {
        let network = network(&name, &text);
        let result = flow_of(&network);
        let iterations = result.solver.iterations;
        if iterations > MOST_ITERATIONS {
            let _ = writeln!(wrong, "{name}: {iterations} iterations, more than {MOST_ITERATIONS}");
        }
        let mut sums = vec![0.0; network.nodes.len()];
        for (passage, found) in network.passages.iter().zip(&result.passages) {
            sums[passage.from] += found.flow;
            sums[passage.to] -= found.flow;
        }
        for (node, sum) in network.nodes.iter().zip(&sums) {
            let left_over = match node.kind {
                NodeKind::Header => *sum,
                NodeKind::Panel(k) => sum + result.panels[k].flow,
                NodeKind::Tank(k) => sum - result.tanks[k].outflow,
                NodeKind::Outfall { .. } => 0.0,
            };
            assert!(left_over.abs() <= 1e-8 * result.total_flow, "{name}, {}: {left_over} m3/s", node.name);
        }
        let bytes = serde_json::to_string(&json::flow(&result)).unwrap();
        assert_eq!(bytes, serde_json::to_string(&json::flow(&flow_of(&network))).unwrap(), "{name}");
    }
    assert!(wrong.is_empty(), "\n{wrong}");
}

/// Steady flow: the numbers, to 6 digits.
#[test]
fn flows_are_as_recorded() {
    for (name, text) in files() {
        let mut value = serde_json::to_value(json::flow(&flow_of(&network(&name, &text)))).unwrap();
        value["solver"].as_object_mut().unwrap().remove("largest_imbalance_m3_s");
        record(&format!("{name}.flow"), &text_of(&value, 6));
    }
}

/// Runs: water and gas are kept, the work is bounded, equal bytes each time.
#[test]
fn runs() {
    let mut wrong = String::new();
    let both =
        files().into_iter().flat_map(|(name, text)| [false, true].map(|inertia| (name.clone(), text.clone(), inertia)));
    for (name, text, inertia) in both {
        let mut network = network(&name, &text);
        assert!(network.inertia, "{name}: the shown networks run with inertia");
        network.inertia = inertia;
        let result = run_of(&network);
        let bytes = serde_json::to_string(&json::run(&result)).unwrap();
        assert_eq!(bytes, serde_json::to_string(&json::run(&run_of(&network))).unwrap(), "{name}");
        let lost: f64 = result.series.tanks.iter().map(|t| t.water[0] - t.water.last().unwrap()).sum();
        let error = result.balance.water_error.abs() / lost;
        if error > 1e-8 || lost <= 0.0 {
            let _ = writeln!(wrong, "{name}: {error:e} of the water used is unaccounted for");
        }
        if (result.supply.water_used / lost - 1.0).abs() > 1e-6 {
            let _ = writeln!(wrong, "{name}: {} m3 used, {lost} m3 lost by the tanks", result.supply.water_used);
        }
        let gas: f64 = result.series.gas_banks.iter().map(|b| b.mass[0]).sum();
        let error = result.balance.gas_error.abs();
        if error > 1e-8 * gas.max(1.0) {
            let _ = writeln!(wrong, "{name}: {error:e} kg of {gas} kg of gas are unaccounted for");
        }
        let error = result.balance.energy_error.abs() / result.supply.stored_at_start;
        if error > 1e-8 {
            let _ = writeln!(wrong, "{name}: {error:e} of the energy of the gas is unaccounted for");
        }
        let (steps, solves) = (result.solver.steps, result.solver.network_solves);
        let known = MOST_WORK.iter().find(|(known, ..)| *known == name);
        match known.map(|(_, without, with)| if inertia { with } else { without }) {
            Some((most_steps, most_solves)) if steps <= *most_steps && solves <= *most_solves => {}
            _ => {
                let _ = writeln!(
                    wrong,
                    "{name}, inertia {inertia}: {steps} steps and {solves} network solves are not within MOST_WORK"
                );
            }
        }
        assert!(result.series.time.is_sorted(), "{name}");
    }
    assert!(wrong.is_empty(), "\n{wrong}");
}

/// Runs: verdicts and events, and of each series the first, least, greatest and last value, to 5 digits: the
/// integration is right to 1e-6, and its steps differ between machines.
#[test]
fn runs_are_as_recorded() {
    for (name, text) in files() {
        let mut value = serde_json::to_value(json::run(&run_of(&network(&name, &text)))).unwrap();
        let document = value.as_object_mut().unwrap();
        document.remove("balance");
        document.remove("solver");
        let series = document["series"].as_object_mut().unwrap();
        series.retain(|key, _| ["time_s", "tanks", "gas_banks", "gas_headers"].contains(&key.as_str()));
        summarise(&mut document["series"]);
        // Events that fall together may change places.
        let mut events = BTreeMap::<String, Vec<f64>>::new();
        for event in document["events"].as_array().unwrap() {
            let word = |key: &str| event[key].as_str().unwrap().to_string();
            let key = format!("{} / {}", word("item"), word("code"));
            events.entry(key).or_default().push(event["time_s"].as_f64().unwrap());
        }
        document["events"] = serde_json::json!(events);
        record(&format!("{name}.run"), &text_of(&value, 5));
    }
}

/// Replaces every list of numbers by its first, least, greatest and last one.
fn summarise(value: &mut Value) {
    match value {
        Value::Object(members) => members.values_mut().for_each(summarise),
        Value::Array(items) => {
            let numbers: Vec<f64> = items.iter().filter_map(Value::as_f64).collect();
            let least = numbers.iter().copied().fold(f64::INFINITY, f64::min);
            let greatest = numbers.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let ends = (numbers.first().copied(), numbers.last().copied());
            *value = serde_json::json!({"first": ends.0, "greatest": greatest, "last": ends.1, "least": least});
        }
        _ => {}
    }
}
