//! What uncertain quantities do to a supply.

use crate::finding::Finding;

/// Spread of the outcomes of a supply whose quantities are drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct SpreadResult {
    /// Title of the file; empty when not given.
    pub title: String,
    /// Pressure of the surroundings, Pa absolute.
    pub ambient_pressure: f64,
    /// Samples: runs with drawn quantities.
    pub samples: u64,
    /// Seed that they are drawn with.
    pub seed: u64,
    /// `latin_hypercube` or `sobol`.
    pub sampling: &'static str,
    /// Rows of the design for variance-based indices; 0: none.
    pub index_rows: u64,
    /// Runs in all.
    pub runs: u64,
    /// Confidence of the intervals of chances.
    pub confidence: f64,
    /// No quantile is further from that of the samples than this share of it.
    pub resolution: f64,
    /// Rank correlations that are smaller than this in size may be chance.
    pub correlation_noise: f64,
    /// Quantities drawn.
    pub quantities: Vec<SpreadQuantity>,
    /// Chance that every requirement is met.
    pub chance: Chance,
    /// Outcomes of the duty: the margin where a flux is required, and how long the supply lasts.
    pub duty: Vec<SpreadOutcome>,
    /// Outcomes of the panels.
    pub panels: Vec<SpreadPanel>,
    /// Runs that could not be computed.
    pub broken: u64,
    /// The first of them.
    pub broken_named: Vec<BrokenRun>,
    /// Findings.
    pub findings: Vec<Finding>,
}

impl SpreadResult {
    /// Whether every sample was computed and met every requirement.
    pub fn requirements_met(&self) -> bool {
        self.chance.met == self.chance.of
    }

    /// The command that writes the network file of a run alone, FILE being the file of the study.
    pub fn alone(&self, run: &BrokenRun) -> String {
        let (number, seed) = (run.number, self.seed);
        let rows = if run.is_sample { String::new() } else { format!(" --index-rows {}", self.index_rows) };
        let samples = self.samples;
        format!(
            "hydro spread FILE --samples {samples} --seed {seed}{rows} --sample {number} --write sample-{number}.yaml"
        )
    }
}

/// A quantity that is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct SpreadQuantity {
    /// Name.
    pub name: String,
    /// Its distribution in words.
    pub words: String,
    /// Paths in the file that it sets.
    pub paths: Vec<String>,
    /// Name of what it is counted under in variance-based indices: its own, or that of the group it depends on.
    pub driver: String,
}

/// Share of the samples that meet something, a sample that cannot be computed counting as one that does not.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Chance {
    /// Samples that meet it.
    pub met: u64,
    /// Samples.
    pub of: u64,
    /// Ends of Wilson's confidence interval.
    pub interval: [f64; 2],
}

impl Chance {
    /// The share; 0 without samples.
    pub fn share(&self) -> f64 {
        if self.of == 0 { 0.0 } else { self.met as f64 / self.of as f64 }
    }
}

/// Outcomes of one panel.
#[derive(Debug, Clone, PartialEq)]
pub struct SpreadPanel {
    /// Name.
    pub name: String,
    /// Chance that it has its required flux from ignition to the end of hold and keeps the plume out.
    pub chance: Chance,
    /// Least flux in that time, m/s; and, where a flux is required, the longest time for which it is met, s.
    pub outcomes: Vec<SpreadOutcome>,
}

/// What an outcome is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SpreadKind {
    /// Least flux of a panel from ignition to the end of hold, m/s.
    Flux,
    /// Longest time for which a panel has its required flux, s.
    MetFor,
    /// Least of flux over required flux, less 1, over all panels.
    Margin,
    /// Time until the first tank is empty or the flow stops, s; to the end of the run where neither happens.
    Lasts,
}

impl SpreadKind {
    /// The outcome's name in results, which ends in its unit.
    pub fn label(self) -> &'static str {
        match self {
            SpreadKind::Flux => "lowest_flux_m_s",
            SpreadKind::MetFor => "met_for_s",
            SpreadKind::Margin => "margin",
            SpreadKind::Lasts => "lasts_s",
        }
    }
}

/// How one outcome is spread.
#[derive(Debug, Clone, PartialEq)]
pub struct SpreadOutcome {
    /// What it is.
    pub kind: SpreadKind,
    /// Its value with the file as it is.
    pub nominal: f64,
    /// Values not exceeded by 5 %, 50 % and 95 % of the samples that were computed; `None` where none was.
    pub quantiles: Option<[f64; 3]>,
    /// Least and greatest.
    pub extremes: Option<[f64; 2]>,
    /// Rank correlation with each quantity, in their order; `None` where the outcome does not vary.
    pub rank_correlations: Vec<Option<f64>>,
    /// Variance-based indices, the weightiest first.
    pub indices: Vec<SpreadIndex>,
}

/// Variance-based indices of one driver: a quantity, or quantities that depend on each other.
#[derive(Debug, Clone, PartialEq)]
pub struct SpreadIndex {
    /// Name of the driver.
    pub driver: String,
    /// First-order index and its standard error.
    pub first: [f64; 2],
    /// Total index and its standard error.
    pub total: [f64; 2],
}

/// A run that could not be computed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BrokenRun {
    /// Its number: it can be repeated alone.
    pub number: u64,
    /// Whether it is a sample; otherwise it belongs to the design for the indices.
    pub is_sample: bool,
    /// Where it failed: `rejected`, `unsolved` or `internal`.
    pub stage: String,
    /// Why.
    pub text: String,
}
