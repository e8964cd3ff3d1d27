//! Coefficients fitted to a measured record by least squares.

pub mod record;
#[cfg(test)]
mod tests;

use std::ops::ControlFlow;
use std::sync::atomic::AtomicBool;

use super::ordered;
use crate::analysis::run::{RunOptions, run};
use crate::finding::{Finding, Level};
use crate::input::Template;
use crate::input::varied::Varied;
use crate::result::{FitBlind, FitColumn, FitParameter, FitResult, Series};
use crate::statistics::least_squares::{self, Certainty, Ending, Fit, FitError, Model, Parameter};
use crate::units::Dimension;
use record::Record;

/// Name of the offset among the parameters.
pub const OFFSET: &str = "time offset";

/// What is fitted, and how.
pub struct Plan<'p> {
    /// Quantities that vary.
    pub varied: &'p [Varied],
    /// Bounds of the offset, s, that is added to the record's times; `None`: its clock is that of the duty.
    pub offset: Option<[f64; 2]>,
    /// Standard deviations of the noise of columns, SI; the others are estimated.
    pub noise: &'p [(String, f64)],
    /// Threads; 0: as many as there are processors.
    pub threads: usize,
    /// Set by whoever wants it to stop.
    pub interrupt: &'p AtomicBool,
}

/// Why there is no fit.
#[derive(Debug, thiserror::Error)]
pub enum FitFailure {
    /// The record or the plan is wrong.
    #[error("{0}")]
    Wrong(String),
    /// It cannot be computed.
    #[error("{0}")]
    Unsolved(String),
}

/// Fits of the noise: after the first the residuals say what the noise is.
const ROUNDS: usize = 3;

struct Supply<'p> {
    template: &'p Template,
    plan: &'p Plan<'p>,
    record: &'p Record,
    noise: Vec<f64>,
}

impl Supply<'_> {
    /// Series of a run at some parameters.
    fn run(&self, x: &[f64]) -> Result<Series, String> {
        let options: Vec<String> = self
            .plan
            .varied
            .iter()
            .zip(x)
            .flat_map(|(varied, x)| varied.places.iter().map(|place| place.option(*x)))
            .collect();
        // An option beside those of the file: the blocks of studies are not read again.
        let input = self.template.input(&options).map_err(|rejected| rejected.render())?;
        let rows = (2 * self.record.time.len()).clamp(201, 1001);
        let result = run(&input.network, &mut RunOptions { rows, progress: &mut |_| {} });
        result.map(|result| result.series).map_err(|error| error.to_string())
    }

    /// Offset of some parameters, s.
    fn offset(&self, x: &[f64]) -> f64 {
        self.plan.offset.and(x.last().copied()).unwrap_or(0.0)
    }

    /// Values of the model for every column at some parameters.
    fn values(&self, x: &[f64]) -> Result<Vec<Vec<f64>>, String> {
        let (series, offset) = (self.run(x)?, self.offset(x));
        let time = |index: usize| self.record.time.get(index).copied().unwrap_or(0.0) + offset;
        let each = self.record.columns.iter().map(|column| {
            let values = column.of_run(&series, column.values.iter().map(|&(index, _)| time(index)));
            values.ok_or_else(|| format!("the run has no `{}`", column.name))
        });
        each.collect()
    }
}

impl Model for Supply<'_> {
    type Error = String;

    fn residuals(&self, x: &[f64]) -> Result<Vec<f64>, String> {
        let mut residuals = Vec::new();
        for ((values, column), noise) in self.values(x)?.iter().zip(&self.record.columns).zip(&self.noise) {
            residuals
                .extend(values.iter().zip(&column.values).map(|(value, (_, measured))| (value - measured) / noise));
        }
        if residuals.iter().all(|r| r.is_finite()) {
            Ok(residuals)
        } else {
            Err("a pressure is not tied to anything".into())
        }
    }

    fn residuals_at(&self, points: &[Vec<f64>]) -> Result<Vec<Vec<f64>>, String> {
        let mut found = Vec::with_capacity(points.len());
        let job = |k: u64| usize::try_from(k).ok().and_then(|k| points.get(k)).map(|x| self.residuals(x));
        let mut take = |_, result| {
            found.extend(result);
            ControlFlow::Continue(())
        };
        ordered::run(0..points.len() as u64, self.plan.threads, self.plan.interrupt, &job, &mut take)
            .map_err(|error| error.to_string())?;
        if found.len() < points.len() { Err("it was interrupted".into()) } else { found.into_iter().collect() }
    }
}

/// Noise of a column before anything is fitted: `sum (y_{k-1} - 2 y_k + y_{k+1})^2 / (6 (n - 2))`, what a smooth course
/// leaves (T. Gasser, L. Sroka & C. Jennen-Steinmetz, Biometrika 73 (1986) 625-633, equal spacing).
fn roughness(values: &[(usize, f64)]) -> f64 {
    let bends = values.windows(3).map(|w| w[0].1 - 2.0 * w[1].1 + w[2].1);
    let count = values.len().saturating_sub(2).max(1) as f64;
    (bends.map(|b| b * b).sum::<f64>() / (6.0 * count)).sqrt()
}

/// Least noise: rounding of the runs.
fn floor(values: &[(usize, f64)]) -> f64 {
    1e-6 * values.iter().map(|(_, v)| v.abs()).fold(1e-9, f64::max)
}

/// Fits the plan's parameters to a record.
///
/// # Errors
/// [`FitFailure`] where the plan is wrong, or the supply cannot be computed where it has to be.
pub fn fit(template: &Template, plan: &Plan<'_>, csv: &[u8]) -> Result<FitResult, FitFailure> {
    let input = template.input(&[]).map_err(|rejected| FitFailure::Wrong(rejected.render()))?;
    let ambient_pressure = input.network.site.ambient_pressure;
    let nominal = run(&input.network, &mut RunOptions { rows: 2, progress: &mut |_| {} });
    let nominal = nominal.map_err(|error| FitFailure::Unsolved(error.to_string()))?;
    let record = Record::read(csv, &nominal.series, ambient_pressure)
        .map_err(|error| FitFailure::Wrong(format!("RECORD:{error}")))?;
    let mut parameters = Vec::new();
    for varied in plan.varied {
        let [low, high] = varied.bounds;
        let start = varied.start.filter(|start| (low..=high).contains(start)).unwrap_or(0.5 * (low + high));
        parameters.push(Parameter { start, low, high });
    }
    if let Some([low, high]) = plan.offset {
        parameters.push(Parameter { start: 0.0f64.clamp(low, high), low, high });
    }
    if parameters.is_empty() {
        return Err(FitFailure::Wrong("nothing is to be fitted: --vary PATH=LEAST..MOST".into()));
    }
    for (name, _) in plan.noise {
        if !record.columns.iter().any(|column| column.name == *name) {
            return Err(FitFailure::Wrong(format!("the record has no column `{name}`")));
        }
    }
    let given = |name: &str| plan.noise.iter().find(|(column, _)| column == name).map(|(_, noise)| *noise);
    let first =
        record.columns.iter().map(|c| given(&c.name).unwrap_or_else(|| roughness(&c.values).max(floor(&c.values))));
    let mut supply = Supply { template, plan, record: &record, noise: first.collect() };
    let rounds = if record.columns.iter().all(|c| given(&c.name).is_some()) { 1 } else { ROUNDS };
    let (mut runs, mut iterations) = (1, 0);
    let mut last: Option<Fit> = None;
    for round in 0..rounds {
        let found = least_squares::fit(&supply, &parameters).map_err(|error| match error {
            FitError::TooFew { .. } => FitFailure::Wrong(error.to_string()),
            _ => FitFailure::Unsolved(error.to_string()),
        })?;
        runs += found.evaluations;
        iterations += found.iterations;
        parameters.iter_mut().zip(&found.values).for_each(|(p, value)| p.start = *value);
        if round + 1 < rounds {
            supply.noise = estimated(&supply, &found, given);
        }
        last = Some(found);
    }
    let Some(found) = last else { return Err(FitFailure::Wrong("nothing is to be fitted".into())) };
    let scales: Vec<f64> =
        found.values.iter().zip(&parameters).map(|(v, p)| v.abs().max(1e-2 * (p.high - p.low))).collect();
    let certainty = least_squares::certainty(&found, &scales);
    let values = supply.values(&found.values).map_err(FitFailure::Unsolved)?;
    Ok(result(
        &Parts { supply: &supply, input: (&input.network.title, ambient_pressure), parameters: &parameters },
        &found,
        &certainty,
        (&values, iterations, runs + 1),
    ))
}

/// Noise of every column from the residuals of a fit, each bearing its share of the parameters.
fn estimated(supply: &Supply<'_>, found: &Fit, given: impl Fn(&str) -> Option<f64>) -> Vec<f64> {
    let freedom = 1.0 - found.values.len() as f64 / found.residuals.len().max(1) as f64;
    let mut at = 0;
    let mut noise = Vec::new();
    for (column, old) in supply.record.columns.iter().zip(&supply.noise) {
        let count = column.values.len();
        let own = found.residuals.get(at..at + count).unwrap_or(&[]);
        at += count;
        let mean = own.iter().map(|r| r * r).sum::<f64>() / count.max(1) as f64 / freedom.max(0.1);
        noise.push(given(&column.name).unwrap_or((mean.sqrt() * old).max(floor(&column.values))));
    }
    noise
}

struct Parts<'p> {
    supply: &'p Supply<'p>,
    input: (&'p str, f64),
    parameters: &'p [Parameter],
}

fn result(parts: &Parts<'_>, found: &Fit, certainty: &Certainty, of: (&[Vec<f64>], usize, usize)) -> FitResult {
    let (plan, record) = (parts.supply.plan, parts.supply.record);
    let (values, iterations, runs) = of;
    let mut names: Vec<(String, Dimension, Option<f64>)> =
        plan.varied.iter().map(|varied| (varied.path.clone(), varied.dimension, varied.start)).collect();
    names.extend(plan.offset.map(|_| (OFFSET.to_string(), Dimension::Time, Some(0.0))));
    let fitted = names.iter().enumerate().map(|(k, (name, dimension, start))| FitParameter {
        name: name.clone(),
        dimension: *dimension,
        value: found.values[k],
        error: certainty.errors[k],
        start: start.unwrap_or(0.5 * (parts.parameters[k].low + parts.parameters[k].high)),
        bounds: [parts.parameters[k].low, parts.parameters[k].high],
        at_bound: found.at_bound[k],
    });
    let columns = record.columns.iter().zip(values).zip(&parts.supply.noise).map(|((column, values), noise)| {
        let rows: Vec<[f64; 3]> = column
            .values
            .iter()
            .zip(values)
            .map(|(&(index, measured), &model)| [record.time[index], measured, model])
            .collect();
        let squares: f64 = rows.iter().map(|[_, a, b]| (a - b) * (a - b)).sum();
        FitColumn {
            name: column.name.clone(),
            dimension: column.dimension,
            noise: *noise,
            noise_given: plan.noise.iter().any(|(name, _)| *name == column.name),
            rms: (squares / rows.len().max(1) as f64).sqrt(),
            rows,
        }
    });
    let blind: Vec<FitBlind> = certainty
        .blind
        .iter()
        .map(|blind| {
            let shares: Vec<(String, f64)> = names
                .iter()
                .zip(&blind.direction)
                .filter(|(_, share)| share.abs() >= 0.05)
                .map(|((name, ..), share)| (name.clone(), *share))
                .collect();
            let words: Vec<String> =
                shares.iter().map(|(name, share)| format!("{name} by {:+.1} %", 10.0 * share)).collect();
            let text = match words.as_slice() {
                [one] => {
                    format!("the data say nothing about {}", one.rsplit_once(" by ").map_or(one.as_str(), |w| w.0))
                }
                _ => format!(
                    "the data cannot tell these apart: changing {} at once shows in none of them",
                    words.join(" and ")
                ),
            };
            FitBlind { shares, text }
        })
        .collect();
    let mut findings = Vec::new();
    let mut warn = |code: &'static str, item: &str, text: String| {
        findings.push(Finding { level: Level::Warn, code, item: item.to_string(), text });
    };
    for blind in &blind {
        warn("not_told", "", blind.text.clone());
    }
    for ((name, ..), _) in names.iter().zip(&found.at_bound).filter(|(_, at)| **at) {
        warn("at_bound", name, "it ends at its bound: the data want it beyond".into());
    }
    if found.ending != Ending::Converged {
        warn("not_converged", "", format!("the fit has not converged after {iterations} iterations"));
    }
    let columns: Vec<FitColumn> = columns.collect();
    for column in columns.iter().filter(|c| c.noise_given && c.rms > 2.0 * c.noise) {
        warn(
            "poor_fit",
            &column.name,
            "its residuals are more than twice its noise: the model does not explain it".into(),
        );
    }
    FitResult {
        title: parts.input.0.to_string(),
        ambient_pressure: parts.input.1,
        parameters: fitted.collect(),
        correlations: certainty.correlations.clone(),
        columns,
        residual_variance: certainty.residual_variance,
        blind,
        converged: found.ending == Ending::Converged,
        iterations,
        runs,
        findings,
    }
}
