//! The verdict on a run, short enough to be kept by the thousand.

use crate::analysis::run::{self, RunOptions};
use crate::network::Network;
use crate::result::{AboveRating, DutyVerdict, PanelVerdict, RunResult, WorstCooling, WorstPanel};

/// Rows of the series of a run, as `hydro run` has without an option: what is lowest is judged at the same times.
pub const ROWS: usize = 201;

/// Share of what is required that rounding may take.
const NEARLY: f64 = 1.0 - 1e-9;

/// Runs a network over its duty, as `hydro run` does.
///
/// # Errors
/// In words, where the run breaks off.
pub fn run(network: &Network) -> Result<RunResult, String> {
    run::run(network, &mut RunOptions { rows: ROWS, progress: &mut |_| {} }).map_err(|error| error.to_string())
}

/// The verdict on a run of a network.
pub fn of(network: &Network, result: &RunResult) -> DutyVerdict {
    let ended = result.series.time.last().copied().unwrap_or(network.duty.start);
    let mut worst: Option<WorstPanel> = None;
    let mut panels_short = 0;
    for (k, verdict) in result.panels.iter().enumerate() {
        let required = verdict.required_flux.filter(|&required| required > 0.0);
        let (Some(required), Some(lowest)) = (required, verdict.lowest_flux) else { continue };
        panels_short += usize::from(verdict.met == Some(false));
        if worst.as_ref().is_none_or(|w| lowest / required - 1.0 < w.margin()) {
            let (short_from, short_for) = short(network, result, k, required);
            let panel = verdict.name.clone();
            worst = Some(WorstPanel { panel, required_flux: required, lowest_flux: lowest, short_from, short_for });
        }
    }
    let rated = network.tanks.iter().zip(&result.series.tanks);
    let above_rating = rated.filter_map(|(tank, series)| {
        let highest = series.pressure.iter().copied().fold(0.0, f64::max);
        let rating = tank.rating.filter(|&rating| highest > rating)?;
        Some(AboveRating { tank: series.name.clone(), highest, rating })
    });
    DutyVerdict {
        met: result.requirements_met(),
        worst,
        cooling: cooling(result),
        panels_short,
        plume_enters: result.panels.iter().filter(|p| p.plume_enters).map(|p| p.name.clone()).collect(),
        lasts: result.supply.lasts,
        above_rating: above_rating.collect(),
        ended,
    }
}

/// The panel with the least water beside what its heat needs, where the file has it judged.
fn cooling(result: &RunResult) -> Option<WorstCooling> {
    let judged = result.panels.iter().filter_map(|panel| {
        let cooling = panel.cooling.as_ref().filter(|cooling| cooling.met.is_some())?;
        Some((&panel.name, cooling.lowest_margin?, cooling.lowest_at?))
    });
    let (panel, margin, at) = judged.min_by(|a, b| a.1.total_cmp(&b.1))?;
    let missed = |panel: &&PanelVerdict| panel.cooling.as_ref().is_some_and(|cooling| cooling.met == Some(false));
    Some(WorstCooling { panel: panel.clone(), margin, at, short: result.panels.iter().filter(missed).count() })
}

/// When a panel first falls short between ignition and the end of hold, s, and for how long it is short in that time.
///
/// The series has a row at every crossing, so that between two rows a panel is short or not throughout. What comes
/// after the end of a run that ended early is dry.
fn short(network: &Network, result: &RunResult, panel: usize, required: f64) -> (Option<f64>, f64) {
    let (Some(panel), Some(series)) = (network.panels.get(panel), result.series.panels.get(panel)) else {
        return (None, 0.0);
    };
    let (ignition, hold_ends) = (result.ignition, result.hold_ends);
    let rows: Vec<(f64, f64)> =
        result.series.time.iter().zip(&series.flow).map(|(&t, &q)| (t, q / panel.area)).collect();
    let is_short = |flux: f64| flux < required * NEARLY;
    let (mut from, mut whole) = (None, 0.0);
    for pair in rows.windows(2) {
        let &[(a, start), (b, end)] = pair else { continue };
        let (a, b) = (a.max(ignition), b.min(hold_ends));
        if a < b && is_short(0.5 * (start + end)) {
            from = from.or(Some(a));
            whole += b - a;
        }
    }
    let last = rows.last().map_or(network.duty.start, |&(time, _)| time);
    if last < hold_ends && network.duty.end > last {
        let begins = last.max(ignition);
        from = from.or(Some(begins));
        whole += hold_ends - begins;
    }
    if from.is_none() {
        // Short at an instant only: a hold of no length, or a touch.
        from = rows.iter().find(|(t, flux)| (ignition..=hold_ends).contains(t) && is_short(*flux)).map(|row| row.0);
    }
    (from, whole)
}
