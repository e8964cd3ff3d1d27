//! The supply over time against closed forms: controls, the gas side, what a run says of it.

mod air;
mod banks;
mod breakthrough;
mod columns;
mod controls;
mod following;

mod gas;
mod near;
mod shortfall;
mod tanks;
mod together;

use hydro::analysis::run::{RunOptions, run};
use hydro::input::read_text;
use hydro::network::Network;
use hydro::result::{EventCode, RunResult};

/// A network of a text and `--set` options.
fn network(text: &str, sets: &[&str]) -> Network {
    let sets: Vec<String> = sets.iter().map(|set| (*set).to_string()).collect();
    read_text("net.yaml", text, &sets).unwrap_or_else(|rejected| panic!("{rejected}")).network
}

/// Why a text is not taken.
fn rejected(text: &str, sets: &[&str]) -> String {
    let sets: Vec<String> = sets.iter().map(|set| (*set).to_string()).collect();
    read_text("net.yaml", text, &sets).err().map_or_else(String::new, |rejected| rejected.to_string())
}

fn run_of(network: &Network) -> RunResult {
    run(network, &mut RunOptions { rows: 201, progress: &mut |_| {} }).unwrap_or_else(|error| panic!("{error}"))
}

/// Times of the events of one code and item.
fn times(result: &RunResult, item: &str, code: EventCode) -> Vec<f64> {
    result.events.iter().filter(|event| event.item == item && event.code == code).map(|event| event.time).collect()
}

fn near(found: f64, wanted: f64, tolerance: f64, what: &str) {
    assert!((found - wanted).abs() <= tolerance, "{what}: {found}, not {wanted}");
}
