//! What meets a requirement: designs, trade-offs, and what binds.

use serde::{Deserialize, Serialize};

use crate::finding::Finding;
use crate::units::Dimension;

/// Kinds of requirement of a design.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Criterion {
    /// Least water per area of a panel, m/s.
    Flux,
    /// Pressure inside a panel against that of its plume, Pa.
    PlumePressure,
    /// Water of a panel over what its heat needs, as a share of that.
    Cooling,
    /// Time that the supply lasts, s.
    Lasts,
    /// Greatest velocity in a passage, m/s.
    Velocity,
    /// Pressure of a tank against its rating, Pa.
    Rating,
    /// Pressure left in a gas bank, Pa.
    BankPressure,
    /// Flow of all panels together, m3/s.
    TotalFlow,
    /// Difference of flux between panels, as a share of their mean.
    Unevenness,
}

impl Criterion {
    /// The criterion's name in results.
    pub fn label(self) -> &'static str {
        match self {
            Criterion::Flux => "flux",
            Criterion::PlumePressure => "plume_pressure",
            Criterion::Cooling => "cooling",
            Criterion::Lasts => "lasts",
            Criterion::Velocity => "velocity",
            Criterion::Rating => "rating",
            Criterion::BankPressure => "bank_pressure",
            Criterion::TotalFlow => "total_flow",
            Criterion::Unevenness => "unevenness",
        }
    }

    /// What its values are measured in.
    pub fn dimension(self) -> Dimension {
        match self {
            Criterion::Flux => Dimension::AreaFlow,
            Criterion::PlumePressure | Criterion::Rating | Criterion::BankPressure => Dimension::Pressure,
            Criterion::Lasts => Dimension::Time,
            Criterion::Velocity => Dimension::Velocity,
            Criterion::TotalFlow => Dimension::VolumeFlow,
            Criterion::Unevenness | Criterion::Cooling => Dimension::Share,
        }
    }

    /// Whether the requirement is an upper limit.
    pub fn is_limit(self) -> bool {
        matches!(self, Criterion::Velocity | Criterion::Rating | Criterion::Unevenness)
    }
}

/// How far one requirement is met, where it is met least.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Margin {
    /// Requirement.
    pub criterion: Criterion,
    /// Item where it is met least; empty for the whole supply.
    pub item: String,
    /// When, s; `None` where it is about the whole run.
    pub time: Option<f64>,
    /// What is wanted, SI.
    pub required: f64,
    /// What is reached, SI.
    pub reached: f64,
    /// What is over (below 0: missing), as a share of what is required.
    pub share: f64,
}

/// One design tried: its whole duty was run.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct DesignTrial {
    /// Margin of every requirement, at most one each.
    pub margins: Vec<Margin>,
    /// Why it could not be run; such a design counts as not enough.
    pub error: Option<String>,
}

/// Share of a requirement that rounding may take.
const NEARLY: f64 = 1e-9;

impl DesignTrial {
    /// The requirement with the least margin.
    pub fn binding(&self) -> Option<&Margin> {
        self.margins.iter().min_by(|a, b| a.share.total_cmp(&b.share))
    }

    /// Whether every requirement is met.
    pub fn met(&self) -> bool {
        self.error.is_none() && self.margins.iter().all(|margin| margin.share >= -NEARLY)
    }

    /// The least margin: above 0 where every requirement is met; minus infinity where it could not be run.
    pub fn least(&self) -> f64 {
        match &self.error {
            Some(_) => f64::NEG_INFINITY,
            None => self.binding().map_or(1.0, |margin| margin.share + 2.0 * NEARLY),
        }
    }
}

/// A quantity that may be varied.
#[derive(Debug, Clone, PartialEq)]
pub struct SizedUnknown {
    /// Path as in `--set`.
    pub path: String,
    /// Unit as written; empty for a pure number.
    pub unit: String,
    /// Lower bound, in this unit.
    pub low: f64,
    /// Upper bound, in this unit.
    pub high: f64,
    /// Distance of the values that are looked at, in this unit.
    pub step: f64,
    /// Whether it is a count.
    pub count: bool,
}

/// Values of all unknowns and how they do.
#[derive(Debug, Clone, PartialEq)]
pub struct Design {
    /// One value an unknown, in its unit.
    pub values: Vec<f64>,
    /// The same values, SI.
    pub si: Vec<f64>,
    /// The `--set` options that make it.
    pub sets: Vec<String>,
    /// Sum of weights and values; `None` with fewer than three unknowns.
    pub cost: Option<f64>,
    /// How it does.
    pub trial: DesignTrial,
}

/// How one unknown of the answer moves with the requirement that binds.
#[derive(Debug, Clone, PartialEq)]
pub struct Sensitivity {
    /// Path of the unknown.
    pub path: String,
    /// Change of the unknown, in its unit, for a requirement that is 1 % harder; `None` for a count, and where the
    /// margin does not change with the unknown.
    pub per_percent: Option<f64>,
    /// Share by which the requirement can become harder before the answer changes.
    pub spare: f64,
}

/// Neighbours of the answer: one unknown a step easier, the others kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Neighbour {
    /// Path of the unknown.
    pub path: String,
    /// The design.
    pub design: Design,
}

/// Answer to a question of size with any unknowns.
#[derive(Debug, Clone, PartialEq)]
pub struct SizingResult {
    /// Title of the file; empty when not given.
    pub title: String,
    /// Pressure of the surroundings, Pa absolute.
    pub ambient_pressure: f64,
    /// Unknowns.
    pub unknowns: Vec<SizedUnknown>,
    /// Whether the greatest values are looked for instead of the least.
    pub greatest: bool,
    /// Whether a design within the bounds meets every requirement.
    pub feasible: bool,
    /// The answer; with two unknowns the first of the front. `None` when infeasible.
    pub answer: Option<Design>,
    /// With two unknowns: the designs of which neither unknown can be eased without the other.
    pub front: Vec<Design>,
    /// When infeasible: the design that comes nearest.
    pub best: Option<Design>,
    /// Neighbours of the answer that miss a requirement.
    pub neighbours: Vec<Neighbour>,
    /// How the answer moves.
    pub sensitivities: Vec<Sensitivity>,
    /// Whether more of the first unknown always helped where it was looked at; `None` with three or more unknowns.
    pub monotone: Option<bool>,
    /// With two unknowns and an answer: whether no design of the front is left out, where more of either helps.
    pub front_whole: Option<bool>,
    /// With two unknowns and an answer: designs of the front of which both neighbours were run and miss.
    pub front_proven: Option<usize>,
    /// With three or more unknowns: the cost that each search came to, from different designs; `None` where it found none.
    pub searches: Vec<Option<f64>>,
    /// Runs made.
    pub evaluations: usize,
    /// Time of the search, s; filled in by whoever holds a clock.
    pub solve_time: Option<f64>,
    /// Findings.
    pub findings: Vec<Finding>,
}

impl SizingResult {
    /// Whether the requirement can be met.
    pub fn requirements_met(&self) -> bool {
        self.feasible
    }
}
