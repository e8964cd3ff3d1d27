//! Results as JSON, in the names of the file format's description: SI, pressures absolute, every name ends in its unit.
//!
//! Each function returns something that `serde_json` can write to a stream or turn into a `Value`; lists of named
//! items become objects in the order of the file. Numbers are the shortest text that reads back as the same number;
//! what is not finite becomes null.

mod cell;
mod faults;
mod fit;
mod flow;
mod gas;
mod plate;
mod run;
mod shortfall;
mod size;
mod sizing;
mod spread;

use serde::{Serialize, Serializer};

use crate::finding::Finding;
use crate::result::{FaultsResult, FitResult, FlowResult, RunResult, SizeResult, SizingResult, SpreadResult};

/// A steady result.
pub fn flow(result: &FlowResult) -> impl Serialize + '_ {
    flow::view(result, false)
}

/// A steady result with every cell of every panel.
pub fn flow_with_cells(result: &FlowResult) -> impl Serialize + '_ {
    flow::view(result, true)
}

/// A run over time.
pub fn run(result: &RunResult) -> impl Serialize + '_ {
    run::view(result, false)
}

/// A run over time with every cell of every panel.
pub fn run_with_cells(result: &RunResult) -> impl Serialize + '_ {
    run::view(result, true)
}

/// An answer to a question of size. `answer` holds one value an item, under `pressure_pa` or `open`.
pub fn size(result: &SizeResult) -> impl Serialize + '_ {
    size::view(result)
}

/// What failures do, the worst first.
pub fn faults(result: &FaultsResult) -> impl Serialize + '_ {
    faults::view(result)
}

/// What meets a requirement with any unknowns.
pub fn sizing(result: &SizingResult) -> impl Serialize + '_ {
    sizing::view(result)
}

/// Spread of the outcomes of a supply whose quantities are drawn.
pub fn spread(result: &SpreadResult) -> impl Serialize + '_ {
    spread::view(result)
}

/// Coefficients fitted to a measured record.
pub fn fit(result: &FitResult) -> impl Serialize + '_ {
    fit::view(result)
}

/// Findings of a network that has not been solved.
pub fn check<'a>(title: &'a str, found: &'a [Finding]) -> impl Serialize + 'a {
    Check { kind: "check", title, findings: findings(found) }
}

/// A list of named items, written as an object.
struct ByName<'a, T, F>(&'a [T], F);

/// An object with one member an item: its name and a view of it.
fn by_name<'a, T, V: Serialize, F: Fn(&'a T) -> (&'a str, V)>(items: &'a [T], view: F) -> ByName<'a, T, F> {
    ByName(items, view)
}

impl<'a, T, V: Serialize, F: Fn(&'a T) -> (&'a str, V)> Serialize for ByName<'a, T, F> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.0.iter().map(&self.1))
    }
}

#[derive(Serialize)]
struct Check<'a> {
    kind: &'a str,
    title: &'a str,
    findings: Vec<FindingView<'a>>,
}

#[derive(Serialize)]
struct FindingView<'a> {
    level: &'a str,
    code: &'a str,
    item: &'a str,
    text: &'a str,
}

/// Findings.
fn findings(findings: &[Finding]) -> Vec<FindingView<'_>> {
    findings
        .iter()
        .map(|f| FindingView { level: f.level.label(), code: f.code, item: &f.item, text: &f.text })
        .collect()
}
