//! Answers to questions of size.

use crate::finding::Finding;

/// Answer to a question of size.
#[derive(Debug, Clone, PartialEq)]
pub struct SizeResult {
    /// Title of the file; empty when not given.
    pub title: String,
    /// Pressure of the surroundings, Pa absolute.
    pub ambient_pressure: f64,
    /// What was asked for.
    pub quantity: SizeQuantity,
    /// Items that share the answer: the tanks, or the gas valve.
    pub items: Vec<String>,
    /// Whether the requirement can be met within the bounds.
    pub feasible: bool,
    /// The least value that meets the requirement; `None` when infeasible.
    pub answer: Option<f64>,
    /// Lower end of the search.
    pub lower: SizeBound,
    /// Upper end of the search.
    pub upper: SizeBound,
    /// Distance to the neighbour that was tried below the answer: 1 for a count, Pa for a pressure.
    pub step: f64,
    /// The trial at the answer; at the best value within the bounds when infeasible.
    pub at_answer: SizeTrial,
    /// The trial one step below the answer; `None` when infeasible or when the answer is the lower bound.
    pub below: Option<SizeTrial>,
    /// Networks solved or runs made.
    pub evaluations: usize,
    /// Time of the search, s; filled in by whoever holds a clock.
    pub solve_time: Option<f64>,
    /// Findings at the answer.
    pub findings: Vec<Finding>,
}

impl SizeResult {
    /// Whether the requirement can be met.
    pub fn requirements_met(&self) -> bool {
        self.feasible
    }
}

/// What a question of size varies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SizeQuantity {
    /// Common ullage pressure of the chosen tanks, Pa absolute.
    TankPressure,
    /// Number of open gas valves.
    OpenValves,
}

impl SizeQuantity {
    /// The quantity's name in results: `tank_pressure` or `open_valves`.
    pub fn label(self) -> &'static str {
        match self {
            SizeQuantity::TankPressure => "tank_pressure",
            SizeQuantity::OpenValves => "open_valves",
        }
    }
}

/// One end of a search.
#[derive(Debug, Clone, PartialEq)]
pub struct SizeBound {
    /// Pa absolute, or a count.
    pub value: f64,
    /// Where it comes from, for people ("rating of burst-1").
    pub source: String,
}

/// One value tried.
#[derive(Debug, Clone, PartialEq)]
pub struct SizeTrial {
    /// Pa absolute, or a count.
    pub value: f64,
    /// Whether every requirement is met.
    pub met: bool,
    /// The requirement with the least margin; `None` when the file asks for nothing or nothing could be solved.
    pub binding: Option<Binding>,
}

/// The requirement with the least margin.
#[derive(Debug, Clone, PartialEq)]
pub struct Binding {
    /// Panel.
    pub panel: String,
    /// When, s.
    pub time: f64,
    /// Which requirement.
    pub requirement: Requirement,
    /// What is wanted: flux, m/s, or pressure inside, Pa.
    pub required: f64,
    /// What is reached, same unit.
    pub reached: f64,
}

impl Binding {
    /// What is missing, same unit as the requirement; 0 when nothing is.
    pub fn shortfall(&self) -> f64 {
        (self.required - self.reached).max(0.0)
    }
}

/// Kinds of requirement.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Requirement {
    /// Least water per area, m/s.
    Flux,
    /// More pressure inside than the plume puts on the panel, Pa.
    PlumePressure,
}

impl Requirement {
    /// The requirement's name in results: `flux` or `plume_pressure`.
    pub fn label(self) -> &'static str {
        match self {
            Requirement::Flux => "flux",
            Requirement::PlumePressure => "plume_pressure",
        }
    }
}
