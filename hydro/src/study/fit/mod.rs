//! Coefficients fitted to a measured record by least squares.

pub mod record;
mod runs;
#[cfg(test)]
mod tests;

use super::log::{Header, fingerprint};
use super::variants::{Frame, StudyError};
use crate::analysis::run::{RunOptions, run};
use crate::finding::{Finding, Level};
use crate::input::Template;
use crate::input::varied::Varied;
use crate::result::{FitBlind, FitColumn, FitParameter, FitResult, Series};
use crate::statistics::least_squares::{self, Certainty, Ending, Fit, FitError, Model, Parameter};
use crate::units::{self, Dimension};
use record::Record;
use runs::{Runs, Values};

/// Name of the offset among the parameters.
pub const OFFSET: &str = "time offset";

/// What is fitted.
pub struct Plan<'p> {
    /// Quantities that vary.
    pub varied: &'p [Varied],
    /// Bounds of the offset, s, that is added to the record's times; `None`: its clock is that of the duty.
    pub offset: Option<[f64; 2]>,
    /// Standard deviations of the noise of columns, SI; the others are estimated.
    pub noise: &'p [(String, f64)],
    /// Columns of the record to use, `QUANTITY` or `QUANTITY=NAME IN THE RECORD`; empty: all, named as quantities.
    pub columns: &'p [String],
}

impl Plan<'_> {
    /// First line of the log of this fit of a record.
    pub fn header(&self, template: &Template, csv: &[u8]) -> Header {
        let bits = |values: &[f64]| values.iter().map(|v| format!(" {:x}", v.to_bits())).collect::<String>();
        let varied = self.varied.iter().map(|varied| varied.path.clone() + &bits(&varied.bounds));
        let noise = self.noise.iter().map(|(name, noise)| name.clone() + &bits(&[*noise]));
        let offset = self.offset.iter().map(|bounds| format!("offset{}", bits(bounds)));
        let record = fingerprint([String::from_utf8_lossy(csv).as_ref()]);
        let own: Vec<String> =
            varied.chain(noise).chain(offset).chain(self.columns.iter().cloned()).chain([record]).collect();
        let file = std::iter::once(template.text()).chain(template.sets().iter().map(String::as_str));
        Header::new("fit", 0, file.chain(own.iter().map(String::as_str)))
    }
}

/// Reads `COLUMN=VALUE`: the name of a column, and the standard deviation of its noise in SI.
///
/// # Errors
/// In words.
pub fn noise(text: &str) -> Result<(String, f64), String> {
    let form = || format!("`{text}` is no noise: COLUMN=VALUE, as in tanks.t.pressure=0.02 bar");
    let (name, value) = text.rsplit_once('=').ok_or_else(form)?;
    let dimension = match name.trim().rsplit('.').next().unwrap_or("") {
        "pressure" => Dimension::PressureDifference,
        "water" => Dimension::Volume,
        "temperature" | "gas_temperature" => Dimension::Temperature,
        "mass" => Dimension::Mass,
        _ if name.trim().starts_with("gas_valves.") => Dimension::MassFlow,
        _ => Dimension::VolumeFlow,
    };
    let read =
        units::parse(value, dimension).map_err(|e| format!("`{text}`: {e}; {}", e.hint(dimension)))?.resolve(0.0);
    if read > 0.0 { Ok((name.trim().to_string(), read)) } else { Err(format!("`{text}`: a deviation is above 0")) }
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
    /// It was interrupted before there was anything to say.
    #[error("it was interrupted after {0} runs, too early for an answer")]
    Interrupted(usize),
    /// The log or the threads.
    #[error(transparent)]
    Study(#[from] StudyError),
}

/// Fits of the noise: after the first the residuals say what the noise is.
const ROUNDS: usize = 3;

struct Supply<'p, 'r, 'f> {
    template: &'p Template,
    plan: &'p Plan<'p>,
    record: &'p Record,
    runs: Runs<'r, 'f>,
    noise: Vec<f64>,
}

impl Supply<'_, '_, '_> {
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

    /// Differences of the model's values and the record, in units of the noise.
    fn weighted(&self, values: &[Vec<f64>]) -> Result<Vec<f64>, String> {
        let mut residuals = Vec::new();
        for ((values, column), noise) in values.iter().zip(&self.record.columns).zip(&self.noise) {
            residuals
                .extend(values.iter().zip(&column.values).map(|(value, (_, measured))| (value - measured) / noise));
        }
        if residuals.iter().all(|r| r.is_finite()) {
            Ok(residuals)
        } else {
            Err("a pressure is not tied to anything".into())
        }
    }

    /// Values of the model for every column at some parameters.
    fn values(&self, x: &[f64]) -> Values {
        let (series, offset) = (self.run(x)?, self.offset(x));
        let time = |index: usize| self.record.time.get(index).copied().unwrap_or(0.0) + offset;
        let each = self.record.columns.iter().map(|column| {
            let values = column.of_run(&series, column.values.iter().map(|&(index, _)| time(index)));
            values.ok_or_else(|| format!("the run has no `{}`", column.name))
        });
        each.collect()
    }
}

impl Model for Supply<'_, '_, '_> {
    type Error = String;

    fn residuals(&self, x: &[f64]) -> Result<Vec<f64>, String> {
        self.residuals_at(&[x.to_vec()])?.pop().ok_or_else(interrupted)
    }

    fn residuals_at(&self, points: &[Vec<f64>]) -> Result<Vec<Vec<f64>>, String> {
        let found = self.runs.at(points, &|x| self.values(x)).map_err(|_| interrupted())?;
        found.into_iter().map(|values| self.weighted(&values?)).collect()
    }

    fn stopped(&self) -> bool {
        self.runs.stopped()
    }
}

fn interrupted() -> String {
    "it was interrupted".to_string()
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

/// Fits the plan's parameters to a record. Where it is interrupted the result is the best so far, not converged.
///
/// # Errors
/// [`FitFailure`] where the plan is wrong, or the supply cannot be computed where it has to be.
pub fn fit(template: &Template, plan: &Plan<'_>, csv: &[u8], frame: &mut Frame<'_>) -> Result<FitResult, FitFailure> {
    let input = template.input(&[]).map_err(|rejected| FitFailure::Wrong(rejected.render()))?;
    let ambient_pressure = input.network.site.ambient_pressure;
    let nominal = run(&input.network, &mut RunOptions { rows: 2, progress: &mut |_| {} });
    let nominal = nominal.map_err(|error| FitFailure::Unsolved(error.to_string()))?;
    let record = Record::read(csv, &nominal.series, ambient_pressure, plan.columns)
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
    let rounds = if record.columns.iter().all(|c| given(&c.name).is_some()) { 1 } else { ROUNDS };
    let noise = first.collect();
    let runs = Runs::new(frame, parameters.len(), rounds)?;
    let mut supply = Supply { template, plan, record: &record, runs, noise };
    let mut iterations = 0;
    let mut last: Option<(Fit, Vec<f64>)> = None;
    for round in 0..rounds {
        supply.runs.begin(round);
        match least_squares::fit(&supply, &parameters) {
            Ok(found) => {
                iterations += found.iterations;
                parameters.iter_mut().zip(&found.values).for_each(|(p, value)| p.start = *value);
                last = Some((found, supply.noise.clone()));
            }
            Err(_) if supply.runs.stopped() => {}
            Err(error @ FitError::TooFew { .. }) => return Err(FitFailure::Wrong(error.to_string())),
            Err(error) => return Err(FitFailure::Unsolved(error.to_string())),
        }
        if supply.runs.stopped() {
            break;
        }
        if let Some((found, _)) = last.as_ref().filter(|_| round + 1 < rounds) {
            supply.noise = estimated(&supply, found, given);
        }
    }
    let count = supply.runs.count();
    let stopped = supply.runs.stopped();
    let Some((mut found, noise)) = last else {
        return Err(supply.runs.broken().map_or(FitFailure::Interrupted(count), Into::into));
    };
    // What was found belongs to the noise that it was found with.
    supply.noise = noise;
    if stopped {
        found.ending = Ending::Stopped;
    }
    let scales: Vec<f64> =
        found.values.iter().zip(&parameters).map(|(v, p)| v.abs().max(1e-2 * (p.high - p.low))).collect();
    let certainty = least_squares::certainty(&found, &scales);
    let known = supply.runs.known(&found.values);
    let values = known.unwrap_or_else(|| supply.values(&found.values)).map_err(FitFailure::Unsolved)?;
    let result = result(
        &Parts { supply: &supply, input: (&input.network.title, ambient_pressure), parameters: &parameters },
        &found,
        &certainty,
        (&values, iterations, count + 1),
    );
    match supply.runs.broken() {
        Some(error) => Err(error.into()),
        None => Ok(result),
    }
}

/// Noise of every column from the residuals of a fit, each bearing its share of the parameters.
fn estimated(supply: &Supply<'_, '_, '_>, found: &Fit, given: impl Fn(&str) -> Option<f64>) -> Vec<f64> {
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

struct Parts<'s, 'p, 'r, 'f> {
    supply: &'s Supply<'p, 'r, 'f>,
    input: (&'s str, f64),
    parameters: &'s [Parameter],
}

fn result(
    parts: &Parts<'_, '_, '_, '_>,
    found: &Fit,
    certainty: &Certainty,
    of: (&[Vec<f64>], usize, usize),
) -> FitResult {
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
    if found.ending == Ending::Stopped {
        let text = format!(
            "interrupted after {runs} runs: this is the best so far, and its errors are those of the way there"
        );
        warn("interrupted", "", text);
    } else if found.ending != Ending::Converged {
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
