//! What uncertain quantities do to a supply: drawn runs, counted so that shares of them join exactly.
//!
//! [`plan`] says which run has which values, [`outcome`] what is kept of a run, [`share`] what is summed over runs and
//! how shares are joined, [`summary`] what it says.

pub mod outcome;
pub mod plan;
pub mod share;
pub mod summary;
#[cfg(test)]
mod tests;

use std::ops::Range;

use super::variants::{Frame, Outcome, StudyError, evaluate, one};
use crate::input::{Rejected, Template};
use outcome::Run;
use plan::Plan;
pub use share::Share;

/// Why there is no spread.
#[derive(Debug, thiserror::Error)]
pub enum SpreadError {
    /// The file.
    #[error(transparent)]
    Rejected(#[from] Rejected),
    /// The file has no block `spread`.
    #[error("the file has no block `spread`, which says what is uncertain and how much")]
    Nothing,
    /// A distribution has nothing in the range that its key admits.
    #[error("`spread`: hardly anything of the distribution of `{0}` lies in the range that its key admits")]
    NothingLeft(String),
    /// The supply cannot be computed as the file has it.
    #[error("the supply as the file has it cannot be computed: {0}")]
    Nominal(String),
    /// The frame.
    #[error(transparent)]
    Study(#[from] StudyError),
}

/// One share of several: number `part`, from 1, of `parts`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Part {
    /// Which, from 1.
    pub part: u32,
    /// Of how many.
    pub parts: u32,
}

impl Part {
    /// All in one.
    pub const WHOLE: Part = Part { part: 1, parts: 1 };

    /// Its range of `count` things.
    pub fn of(self, count: u64) -> Range<u64> {
        let (part, parts) = (u128::from(self.part), u128::from(self.parts.max(1)));
        let cut = |k: u128| u64::try_from(u128::from(count) * k / parts).unwrap_or(count);
        cut(part.saturating_sub(1))..cut(part)
    }
}

/// The study of a file: its plan, and the supply as the file has it.
pub struct Study {
    /// Which run has which values.
    pub plan: Plan,
    /// An empty share.
    empty: Share,
}

/// Prepares the study of a file; `more` are further options, `PATH=VALUE`.
///
/// # Errors
/// [`SpreadError`] where the file, its block `spread`, or the supply as the file has it is wrong.
pub fn prepare(template: &Template, more: &[String]) -> Result<Study, SpreadError> {
    let input = template.input(more)?;
    template.input(&[])?;
    let spread = template.spread(more)?.ok_or(SpreadError::Nothing)?;
    let plan = Plan::new(spread);
    if let Some(name) = plan.nothing_left() {
        return Err(SpreadError::NothingLeft(name.to_string()));
    }
    let nominal = outcome::compute(&input).map_err(SpreadError::Nominal)?;
    let empty = Share::new(template, more, &input, &plan, nominal);
    Ok(Study { plan, empty })
}

impl Study {
    /// The share that a part has before anything is computed: what its log is known by.
    pub fn begin(&self, part: Part) -> Share {
        Share { parts: vec![part.part], of: part.parts, ..self.empty.clone() }
    }

    /// Runs of a part.
    pub fn count(&self, part: Part) -> u64 {
        let (samples, rows) = self.ranges(part);
        (samples.end - samples.start) + (rows.end - rows.start) * self.plan.points()
    }

    /// Samples, and rows of the design for indices, of a part.
    fn ranges(&self, part: Part) -> (Range<u64>, Range<u64>) {
        (part.of(self.plan.samples()), part.of(self.plan.rows()))
    }

    /// Computes a part. Gives the share and whether it is whole: it is not when it was interrupted.
    ///
    /// # Errors
    /// [`StudyError`] of the frame.
    pub fn compute(&self, template: &Template, part: Part, frame: &mut Frame<'_>) -> Result<(Share, bool), StudyError> {
        let (samples, rows) = self.ranges(part);
        let drawn = samples.end - samples.start;
        let number = |k: u64| match k.checked_sub(drawn) {
            None => samples.start + k,
            Some(beyond) => self.plan.samples() + rows.start * self.plan.points() + beyond,
        };
        let mut share = self.begin(part);
        let mut row: Vec<Outcome<Run>> = Vec::new();
        let count = self.count(part);
        let sets = |k: u64| self.plan.options(number(k));
        let mut take = |k: u64, outcome: Outcome<Run>| {
            let number = number(k);
            if number < self.plan.samples() {
                share.sample(number, &self.plan.probabilities(number), &outcome);
                return;
            }
            row.push(outcome);
            if row.len() as u64 == self.plan.points() {
                share.row((number - self.plan.samples()) / self.plan.points(), number + 1 - self.plan.points(), &row);
                row.clear();
            }
        };
        let done = evaluate(template, count, &sets, &outcome::compute, frame, &mut take)?;
        Ok((share, done == count))
    }

    /// One run alone: its options and what becomes of it; `None` where there is no run of this number.
    pub fn alone(&self, template: &Template, number: u64) -> Option<(Vec<String>, Outcome<Run>)> {
        if number >= self.plan.runs() {
            return None;
        }
        let options = self.plan.options(number);
        let outcome = one(template, &options, &outcome::compute);
        Some((options, outcome))
    }
}
