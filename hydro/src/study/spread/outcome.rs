//! What is kept of one run of a spread.

use serde::{Deserialize, Serialize};

use crate::analysis::run::{RunOptions, run};
use crate::input::Input;
use crate::result::{RunResult, SpreadKind};

/// Rows of a run: flux is linear between them, events have their own.
const ROWS: usize = 101;

/// What is kept of one run: the outcomes in the order of [`kinds`], and what was met.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Run {
    /// Outcomes.
    pub values: Vec<f64>,
    /// Whether each panel meets what is required of it.
    pub panels_met: Vec<bool>,
    /// Whether everything required is met.
    pub met: bool,
    /// Whether no tank was empty and water still flowed when the run ended.
    pub outlasts: bool,
}

/// Runs a supply and keeps what counts.
///
/// # Errors
/// In words, where it cannot be computed.
pub fn compute(input: &Input) -> Result<Run, String> {
    let result = run(&input.network, &mut RunOptions { rows: ROWS, progress: &mut |_| {} });
    let result = result.map_err(|error| error.to_string())?;
    Ok(of(&result))
}

/// Outcomes of a file, in order: panel by panel (index, kind), then those of the duty.
pub fn kinds(required: &[bool]) -> Vec<(Option<usize>, SpreadKind)> {
    let mut kinds = Vec::new();
    for (k, required) in required.iter().enumerate() {
        kinds.push((Some(k), SpreadKind::Flux));
        if *required {
            kinds.push((Some(k), SpreadKind::MetFor));
        }
    }
    if required.contains(&true) {
        kinds.push((None, SpreadKind::Margin));
    }
    kinds.push((None, SpreadKind::Lasts));
    kinds
}

/// Size of an outcome whose value is `nominal` with the file as it is: the unit of its sums.
pub fn scale(kind: SpreadKind, nominal: f64) -> f64 {
    let least = match kind {
        SpreadKind::Flux => 0.01,
        SpreadKind::MetFor | SpreadKind::Lasts => 10.0,
        SpreadKind::Margin => 0.1,
    };
    nominal.abs().max(least)
}

/// What is kept of a result.
fn of(result: &RunResult) -> Run {
    let mut values = Vec::new();
    let mut margin: Option<f64> = None;
    for panel in &result.panels {
        // A run that does not come to ignition gives nothing.
        let flux = panel.lowest_flux.unwrap_or(0.0);
        values.push(flux);
        if let Some(required) = panel.required_flux {
            values.push(panel.met_from.zip(panel.met_until).map_or(0.0, |(from, until)| until - from));
            let own = if required > 0.0 { flux / required - 1.0 } else { 0.0 };
            margin = Some(margin.map_or(own, |least| least.min(own)));
        }
    }
    values.extend(margin);
    let times = result.series.time.first().zip(result.series.time.last());
    values.push(result.supply.lasts.unwrap_or(times.map_or(0.0, |(first, last)| last - first)));
    Run {
        values,
        panels_met: result.panels.iter().map(|p| p.met != Some(false) && !p.plume_enters).collect(),
        met: result.requirements_met(),
        outlasts: result.supply.lasts.is_none(),
    }
}
