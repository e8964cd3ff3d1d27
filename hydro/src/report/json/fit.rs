//! Fitted coefficients as JSON.

use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};

use super::{FindingView, by_name, findings};
use crate::result::{FitColumn, FitParameter, FitResult};
use crate::units::Dimension;

/// The document.
pub(super) fn view(result: &FitResult) -> impl Serialize + '_ {
    Document {
        kind: "fit",
        title: &result.title,
        parameters: by_name(&result.parameters, |p: &FitParameter| (&p.name, parameter(p))),
        correlations: Correlations(result),
        columns: by_name(&result.columns, |c: &FitColumn| (&c.name, column(c))),
        residual_variance: result.residual_variance,
        not_told: result
            .blind
            .iter()
            .map(|blind| NotTold { text: &blind.text, shares: Shares(&blind.shares) })
            .collect(),
        solver: Solver { converged: result.converged, iterations: result.iterations, runs: result.runs },
        findings: findings(&result.findings),
    }
}

#[derive(Serialize)]
struct Document<'a, P, C> {
    kind: &'a str,
    title: &'a str,
    parameters: P,
    correlations: Correlations<'a>,
    columns: C,
    residual_variance: f64,
    not_told: Vec<NotTold<'a>>,
    solver: Solver,
    findings: Vec<FindingView<'a>>,
}

#[derive(Serialize)]
struct Parameter {
    value: f64,
    standard_error: Option<f64>,
    start: f64,
    low: f64,
    high: f64,
    at_bound: bool,
    unit: &'static str,
}

fn parameter(p: &FitParameter) -> Parameter {
    let (value, standard_error, start, [low, high]) = (p.value, p.error, p.start, p.bounds);
    Parameter { value, standard_error, start, low, high, at_bound: p.at_bound, unit: unit(p.dimension) }
}

/// SI unit of a dimension; empty for pure numbers.
fn unit(dimension: Dimension) -> &'static str {
    match dimension {
        Dimension::Pressure => "Pa",
        Dimension::Share => "",
        other => other.usual_units().first().copied().unwrap_or(""),
    }
}

struct Correlations<'a>(&'a FitResult);

impl Serialize for Correlations<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let parameters = &self.0.parameters;
        let mut map = serializer.serialize_map(Some(parameters.len()))?;
        for (parameter, row) in parameters.iter().zip(&self.0.correlations) {
            let pairs: Vec<(&String, f64)> = parameters.iter().map(|p| &p.name).zip(row.iter().copied()).collect();
            map.serialize_entry(&parameter.name, &by_name(&pairs, |(name, value)| (*name, *value)))?;
        }
        map.end()
    }
}

#[derive(Serialize)]
struct Column {
    unit: &'static str,
    noise: f64,
    noise_given: bool,
    residual_rms: f64,
    time_s: Vec<f64>,
    measured: Vec<f64>,
    model: Vec<f64>,
    residual: Vec<f64>,
}

fn column(c: &FitColumn) -> Column {
    Column {
        unit: unit(c.dimension),
        noise: c.noise,
        noise_given: c.noise_given,
        residual_rms: c.rms,
        time_s: c.rows.iter().map(|row| row[0]).collect(),
        measured: c.rows.iter().map(|row| row[1]).collect(),
        model: c.rows.iter().map(|row| row[2]).collect(),
        residual: c.rows.iter().map(|row| row[1] - row[2]).collect(),
    }
}

#[derive(Serialize)]
struct NotTold<'a> {
    text: &'a str,
    shares: Shares<'a>,
}

struct Shares<'a>(&'a [(String, f64)]);

impl Serialize for Shares<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_map(self.0.iter().map(|(name, share)| (name, share)))
    }
}

#[derive(Serialize)]
struct Solver {
    converged: bool,
    iterations: usize,
    runs: usize,
}
