//! What failures do to a supply.

use serde::{Deserialize, Serialize};

use crate::finding::Finding;

/// How a duty went: the verdict on a whole run, in a form that can be kept in a log.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DutyVerdict {
    /// Whether every requirement of the run was met.
    pub met: bool,
    /// The panel with the least flux beside what it needs; `None` where no panel has a required flux.
    pub worst: Option<WorstPanel>,
    /// The panel with the least water beside what its heat needs; `None` where heat is not judged.
    pub cooling: Option<WorstCooling>,
    /// Panels that fall short between ignition and the end of hold.
    pub panels_short: usize,
    /// Panels that the plume enters between ignition and the end of hold.
    pub plume_enters: Vec<String>,
    /// From the start until the first tank is empty or the total flow stops, s; `None` when neither happens.
    pub lasts: Option<f64>,
    /// Tanks whose pressure rises above their rating.
    pub above_rating: Vec<AboveRating>,
    /// End of the run, s.
    pub ended: f64,
}

/// The panel that is worst off in a duty.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WorstPanel {
    /// Name in the file.
    pub panel: String,
    /// Least flux that it needs, m/s.
    pub required_flux: f64,
    /// Lowest flux from ignition to the end of hold, m/s.
    pub lowest_flux: f64,
    /// When it first falls short in that time, s; `None` when it does not.
    pub short_from: Option<f64>,
    /// For how long it is short in that time, s.
    pub short_for: f64,
}

impl WorstPanel {
    /// Share by which the lowest flux is over what is needed; below 0 when short.
    pub fn margin(&self) -> f64 {
        self.lowest_flux / self.required_flux - 1.0
    }

    /// What is missing, m/s; 0 when nothing is.
    pub fn shortfall(&self) -> f64 {
        (self.required_flux - self.lowest_flux).max(0.0)
    }
}

/// The panel that is worst cooled in a duty.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WorstCooling {
    /// Name in the file.
    pub panel: String,
    /// Water over what the heat needs, as a share of it, where that is least from ignition to the end of hold; below 0 when
    /// short.
    pub margin: f64,
    /// When, s.
    pub at: f64,
    /// Panels with less than their heat needs.
    pub short: usize,
}

impl DutyVerdict {
    /// The least margin of flux or cooling; `None` where neither is judged.
    pub fn least_margin(&self) -> Option<f64> {
        let flux = self.worst.as_ref().map(WorstPanel::margin);
        flux.into_iter().chain(self.cooling.as_ref().map(|cooling| cooling.margin)).min_by(f64::total_cmp)
    }
}

/// A tank whose pressure rises above its rating.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AboveRating {
    /// Name in the file.
    pub tank: String,
    /// Highest pressure, Pa.
    pub highest: f64,
    /// Rating, Pa.
    pub rating: f64,
}

/// One failure, or two at the same time, and what it does.
#[derive(Debug, Clone, PartialEq)]
pub struct FaultCase {
    /// `ITEM/KIND`, or `ITEM/KIND + ITEM/KIND`.
    pub name: String,
    /// Items that fail.
    pub items: Vec<String>,
    /// The failure in words.
    pub text: String,
    /// The `--set` options that make it.
    pub sets: Vec<String>,
    /// How the duty went, or why it could not be computed.
    pub outcome: Result<DutyVerdict, FaultError>,
}

/// Why a failure could not be computed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FaultError {
    /// `rejected`, `unsolved` or `internal`.
    pub stage: &'static str,
    /// Why.
    pub text: String,
}

impl FaultCase {
    /// Whether the duty was computed and its requirement met.
    pub fn met(&self) -> bool {
        self.outcome.as_ref().is_ok_and(|verdict| verdict.met)
    }
}

/// What every single failure, and chosen pairs, do to a supply.
#[derive(Debug, Clone, PartialEq)]
pub struct FaultsResult {
    /// Title of the file; empty when not given.
    pub title: String,
    /// Pressure of the surroundings, Pa absolute.
    pub ambient_pressure: f64,
    /// Start of the time in which the requirement applies, s.
    pub ignition: f64,
    /// End of that time, s.
    pub hold_ends: f64,
    /// The duty as planned, with nothing failed.
    pub planned: FaultCase,
    /// The failures, the worst first.
    pub cases: Vec<FaultCase>,
    /// Items of which a single failure takes the item, or one of its valves, away and the requirement is missed; the
    /// worst first.
    pub cannot_lose: Vec<String>,
    /// Failures that were to be computed; more than `cases` where it was interrupted.
    pub wanted: usize,
    /// Time of the study, s; filled in by whoever holds a clock.
    pub solve_time: Option<f64>,
    /// Findings.
    pub findings: Vec<Finding>,
}

impl FaultsResult {
    /// Whether the requirement is met as planned and in every failure.
    pub fn requirements_met(&self) -> bool {
        self.planned.met() && self.cases.iter().all(FaultCase::met)
    }

    /// Whether every failure that was wanted could be computed.
    pub fn complete(&self) -> bool {
        let solved = |case: &FaultCase| case.outcome.is_ok();
        self.cases.len() == self.wanted && solved(&self.planned) && self.cases.iter().all(solved)
    }
}
