//! Coefficients that explain a measured record.

use crate::finding::Finding;
use crate::units::Dimension;

/// Coefficients fitted to a measured record.
#[derive(Debug, Clone, PartialEq)]
pub struct FitResult {
    /// Title of the file; empty when not given.
    pub title: String,
    /// Pressure of the surroundings, Pa absolute.
    pub ambient_pressure: f64,
    /// What was fitted.
    pub parameters: Vec<FitParameter>,
    /// Correlation coefficients of the parameters' errors, by row.
    pub correlations: Vec<Vec<f64>>,
    /// The columns of the record.
    pub columns: Vec<FitColumn>,
    /// Sum of squares of the residuals over the noise, by the data less the parameters: about 1 where all is right.
    pub residual_variance: f64,
    /// Changes of the parameters that the data cannot tell.
    pub blind: Vec<FitBlind>,
    /// Whether it converged; otherwise why not.
    pub converged: bool,
    /// Iterations.
    pub iterations: usize,
    /// Runs.
    pub runs: usize,
    /// Findings.
    pub findings: Vec<Finding>,
}

/// One fitted parameter.
#[derive(Debug, Clone, PartialEq)]
pub struct FitParameter {
    /// Its path in the file, or `time offset`.
    pub name: String,
    /// What it measures.
    pub dimension: Dimension,
    /// Value, SI.
    pub value: f64,
    /// Standard error, SI; `None` at a bound, or where the data do not tell it.
    pub error: Option<f64>,
    /// Where it started, SI.
    pub start: f64,
    /// Bounds, SI.
    pub bounds: [f64; 2],
    /// Whether it ended at a bound, against which the data press.
    pub at_bound: bool,
}

/// One column of the record.
#[derive(Debug, Clone, PartialEq)]
pub struct FitColumn {
    /// Name.
    pub name: String,
    /// What it measures.
    pub dimension: Dimension,
    /// Standard deviation of its noise, SI.
    pub noise: f64,
    /// Whether it was given; otherwise estimated from the residuals.
    pub noise_given: bool,
    /// Root mean square of the residuals, SI.
    pub rms: f64,
    /// Time in the record, s; measured; of the model.
    pub rows: Vec<[f64; 3]>,
}

/// A change of the parameters that the data cannot tell.
#[derive(Debug, Clone, PartialEq)]
pub struct FitBlind {
    /// Name of a parameter and its share of the change, relative to its own size; the largest is 1 in size.
    pub shares: Vec<(String, f64)>,
    /// In words.
    pub text: String,
}
