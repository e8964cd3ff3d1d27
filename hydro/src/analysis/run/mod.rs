//! The supply over time: tanks, gas headers and banks emptied by their balances, with the network solved inside.
//!
//! Time is cut at the marks known beforehand (valve strokes, duty, tables) and where a watched quantity changes its
//! sign. Between cuts the equations are smooth and the integrator runs with error control.

mod ahead;
mod cause;
mod cells;
mod driver;
mod events;
mod findings;
pub mod gas;
mod heat;
mod lead;
pub mod locate;
pub mod marks;
pub mod record;
mod shortfall;
mod system;
pub mod verdict;
pub mod watch;

use super::supply::{Supply, SupplyError};
use crate::network::Network;
use crate::result::{Balance, Event, EventCode, RunResult, RunSolver, Series};
use crate::time::IntegrationError;
use driver::{Driver, Ended};

/// How to run.
pub struct RunOptions<'a> {
    /// Equally spaced rows of the series, both ends counted; at least 2.
    pub rows: usize,
    /// Called now and then with the share of the duty that is done, 0 to 1.
    pub progress: &'a mut dyn FnMut(f64),
}

/// Why a run broke off.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RunFailure {
    /// The supply cannot be computed at an instant.
    #[error(transparent)]
    Supply(#[from] SupplyError),
    /// The integration cannot go on.
    #[error("the run stopped: {0}")]
    Integration(#[source] IntegrationError<SupplyError>),
}

/// A run that broke off, with what it had reached.
#[derive(Debug, thiserror::Error)]
#[error("{error}")]
pub struct RunError {
    /// Why.
    pub error: RunFailure,
    /// The result up to there; `None` when nothing was computed.
    pub partial: Option<Box<RunResult>>,
}

/// Runs a supply from the start of its duty until the end of it, until every tank is empty, or until nothing flows
/// any more and nothing is due.
///
/// # Errors
/// [`RunError`] where an instant cannot be computed or the integration cannot go on; what was reached is in it.
pub fn run(network: &Network, options: &mut RunOptions<'_>) -> Result<RunResult, RunError> {
    advance(network, options, false)
}

/// As [`run`], and finds for every panel that falls short when it first does and why: at that moment the network at rest is
/// solved with one thing after the other put right. Follows every cell of every panel too.
///
/// # Errors
/// Those of [`run`].
pub fn run_explained(network: &Network, options: &mut RunOptions<'_>) -> Result<RunResult, RunError> {
    advance(network, options, true)
}

fn advance(network: &Network, options: &mut RunOptions<'_>, explained: bool) -> Result<RunResult, RunError> {
    let fail = |error: SupplyError| RunError { error: error.into(), partial: None };
    let mut supply = Supply::new(network).map_err(fail)?;
    let mut driver = Driver::new(&mut supply);
    let outcome = driver.advance(options.progress);
    let done = driver.finish();
    let collected = collect(network, &mut supply, done, (options.rows, explained), outcome.as_ref().ok());
    match (outcome, collected) {
        (Ok(_), Ok(result)) => Ok(result),
        (Ok(_), Err((error, partial))) => Err(RunError { error: error.into(), partial: Some(partial) }),
        (Err(error), Ok(result)) => {
            Err(RunError { error, partial: (!result.series.time.is_empty()).then(|| Box::new(result)) })
        }
        (Err(error), Err((_, partial))) => Err(RunError { error, partial: Some(partial) }),
    }
}

/// Puts a run, whole or broken off, into a result.
fn collect(
    network: &Network,
    supply: &mut Supply<'_>,
    done: driver::Done,
    (count, explained): (usize, bool),
    ended: Option<&Ended>,
) -> Result<RunResult, (SupplyError, Box<RunResult>)> {
    let solves = supply.water.solves;
    let mut events = done.events;
    events.retain(|event| event.time <= done.time);
    let text = ended.map_or("the run broke off", |ended| ended.reason());
    if ended.is_some() {
        events.push(Event {
            time: done.time,
            item: String::new(),
            code: EventCode::End,
            text: format!("the run ends: {text}"),
        });
    }
    events.sort_by(|a, b| a.time.total_cmp(&b.time));
    let times: Vec<f64> = events.iter().map(|event| event.time).collect();
    let rows = record::rows(&done.segments, count, &times, &done.jumps);
    let mut cells = explained.then(|| cells::Cells::new(supply));
    let mut series = Series::default();
    let mut heat = heat::Heat::new(network);
    let mut lead = lead::Lead::new(supply).ok();
    let read = record::series(supply, &done.segments, &rows, (&mut series, &mut heat, lead.as_mut(), cells.as_mut()));
    let starts = lead.map_or_else(Vec::new, |lead| lead.finish(supply, &events));
    let exhausted = matches!(ended, Some(Ended::Empty | Ended::Still));
    let mut panels = verdict::panels(network, &series, (&done.history, &mut heat, cells), done.time, exhausted);
    if explained && read.is_ok() {
        shortfall::add(supply, &done.segments, &series, (&done.history, &heat), &mut panels);
    }
    panels.iter_mut().zip(starts).for_each(|(panel, start)| panel.start = start);
    let gas = gas::verdicts(supply, &series, &done.opened, &done.state);
    let work = supply.water.tally();
    let mut result = RunResult {
        title: network.title.clone(),
        ambient_pressure: network.site.ambient_pressure,
        ignition: network.duty.ignition,
        hold_ends: network.duty.hold_ends(),
        tanks: verdict::tanks(&series, &events),
        supply: verdict::supply(network, &series, &gas, &events, done.stopped),
        gas,
        series,
        events,
        panels,
        balance: Balance { water_error: done.water_error, gas_error: done.gas_error, energy_error: done.energy_error },
        solver: RunSolver {
            steps: done.work.accepted,
            network_solves: solves,
            linear_systems: work.systems,
            factorisations: work.factorisations,
            solve_time: None,
        },
        findings: Vec::new(),
        ended: text.to_owned(),
    };
    findings::add(network, &mut result);
    findings::add_unheld(&done.work, &mut result);
    gas::findings(network, &mut result);
    match read {
        Ok(()) => Ok(result),
        Err(error) => Err((error, Box::new(result))),
    }
}
