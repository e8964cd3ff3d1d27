//! `hydro fit FILE DATA.csv`: coefficients that explain a measured record.

use std::fs;
use std::path::{Path, PathBuf};

use hydro::input::Template;
use hydro::report::{csv, json, text};
use hydro::study::fit::{self, FitFailure, Plan};

use crate::args::{Source, time};
use crate::output::{self, Failure, Status};
use crate::source;
use crate::study;

/// Arguments of `fit`.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    pub source: Source,
    /// Measured record: CSV with a header as in `time [s], tanks.burst-1.pressure [bar(g)]`; gaps left empty. Without it
    /// `fit.record` of the file
    pub data: Option<PathBuf>,
    /// Fit this quantity between bounds, as in pipes.feed.loss_coefficient=0.1..5; may be repeated. Without it `fit.vary`
    /// of the file
    #[arg(long, value_name = "PATH=LEAST..MOST")]
    pub vary: Vec<String>,
    /// Use this column of the record, as in tanks.t.pressure or tanks.t.pressure=PT-101 where the record names it so; may
    /// be repeated. Without it `fit.columns` of the file, or all
    #[arg(long, value_name = "QUANTITY[=NAME]")]
    pub column: Vec<String>,
    /// Fit what is added to the times of the record, within these bounds, as in -5..5
    #[arg(long, value_name = "LEAST..MOST", value_parser = offset, allow_hyphen_values = true)]
    pub offset: Option<[f64; 2]>,
    /// Standard deviation of the noise of a column; without it, it is estimated; may be repeated
    #[arg(long, value_name = "COLUMN=VALUE")]
    pub noise: Vec<String>,
    /// Write the file with the fitted values, all else as it is
    #[arg(long, value_name = "FILE")]
    pub write: Option<PathBuf>,
    /// Write what was measured and what the model says, for plotting
    #[arg(long, value_name = "FILE")]
    pub residuals: Option<PathBuf>,
    #[command(flatten)]
    pub study: study::Many,
}

/// `LEAST..MOST` in seconds.
fn offset(text: &str) -> Result<[f64; 2], String> {
    let (low, high) = text.split_once("..").ok_or("two times, as in -5..5")?;
    let (low, high) = (time(low)?, time(high)?);
    if low < high { Ok([low, high]) } else { Err("the second time must be after the first".to_string()) }
}

/// Reads, fits, prints and writes.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let template = source::template(&args.source)?;
    let input = template.input(&[]).map_err(|rejected| Failure::wrong(rejected.render()))?;
    let block = input.studies.fit;
    let or = |given: &[String], block: Vec<String>| if given.is_empty() { block } else { given.to_vec() };
    let vary = or(&args.vary, block.vary);
    let varied = template.varied(&vary).map_err(|error| Failure::wrong(format!("error: vary: {error}")))?;
    let noise = or(&args.noise, block.noise);
    let noise = noise.iter().map(|text| fit::noise(text)).collect::<Result<Vec<_>, _>>();
    let noise = noise.map_err(|error| Failure::wrong(format!("error: {error}")))?;
    // A record that the file names is beside it.
    let named = block.record.map(|record| args.source.file.parent().unwrap_or(Path::new("")).join(record));
    let none = || {
        Failure::wrong("error: no record is named: hydro fit FILE DATA.csv, or `fit: {record: DATA.csv}` in the file")
    };
    let path = args.data.clone().or(named).ok_or_else(none)?;
    let data =
        fs::read(&path).map_err(|error| Failure::wrong(format!("error: cannot read {}: {error}", path.display())))?;
    let columns = or(&args.column, block.columns);
    let plan = Plan { varied: &varied, offset: args.offset.or(block.offset), noise: &noise, columns: &columns };
    let outcome = study::framed(&args.study, &plan.header(&template, &data), |frame| {
        match fit::fit(&template, &plan, &data, frame) {
            Err(FitFailure::Study(error)) => Err(error),
            outcome => Ok(outcome),
        }
    })?;
    let result = outcome.map_err(|error| match error {
        FitFailure::Wrong(text) => Failure::wrong(match text.strip_prefix("RECORD:") {
            Some(rest) => format!("{}:{rest}", path.display()),
            None => format!("error: {text}"),
        }),
        error => Failure::unsolved(&error),
    })?;
    output::result(args.source.json, || json::fit(&result), || text::fit(&result))?;
    if let Some(path) = &args.write {
        let changes: Vec<_> = varied.iter().zip(&result.parameters).map(|(v, p)| (v, p.value)).collect();
        write(path, rewritten(&template, &changes)?.as_bytes())?;
    }
    if let Some(path) = &args.residuals {
        let mut bytes = Vec::new();
        let written = csv::write_fit(&result, &mut bytes);
        written.map_err(|error| Failure::wrong(format!("error: cannot write {}: {error}", path.display())))?;
        write(path, &bytes)?;
    }
    Ok(if result.converged { Status::Met } else { Status::Unsolved })
}

fn rewritten(template: &Template, changes: &[(&hydro::input::varied::Varied, f64)]) -> Result<String, Failure> {
    template.rewritten(changes).map_err(|error| Failure::wrong(format!("error: --write: {error}")))
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    fs::write(path, bytes).map_err(|error| Failure::wrong(format!("error: cannot write {}: {error}", path.display())))
}
