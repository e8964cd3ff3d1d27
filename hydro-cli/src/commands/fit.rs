//! `hydro fit FILE DATA.csv`: coefficients that explain a measured record.

use std::fs;
use std::path::{Path, PathBuf};

use hydro::input::Template;
use hydro::report::{csv, json, text};
use hydro::study::fit::{self, FitFailure, Plan};
use hydro::units::{self, Dimension};

use crate::args::{Source, time};
use crate::output::{self, Failure, Status};
use crate::source;
use crate::study;

/// Arguments of `fit`.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    pub source: Source,
    /// Measured record: CSV with a header as in `time [s], tanks.burst-1.pressure [bar(g)]`; gaps left empty
    pub data: PathBuf,
    /// Fit this quantity between bounds, as in pipes.feed.loss_coefficient=0.1..5; may be repeated
    #[arg(long, value_name = "PATH=LEAST..MOST", required = true)]
    pub vary: Vec<String>,
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
    /// Threads; without it as many as there are processors. The results do not depend on it
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
}

/// `LEAST..MOST` in seconds.
fn offset(text: &str) -> Result<[f64; 2], String> {
    let (low, high) = text.split_once("..").ok_or("two times, as in -5..5")?;
    let (low, high) = (time(low)?, time(high)?);
    if low < high { Ok([low, high]) } else { Err("the second time must be after the first".to_string()) }
}

/// `COLUMN=VALUE`: the name, and the deviation in SI.
fn noise(text: &str) -> Result<(String, f64), Failure> {
    let wrong = |why: &str| Failure::wrong(format!("error: --noise {text}: {why}"));
    let (name, value) = text.rsplit_once('=').ok_or_else(|| wrong("COLUMN=VALUE, as in tanks.t.pressure=0.02 bar"))?;
    let dimension = match name.rsplit('.').next().unwrap_or("") {
        "pressure" => Dimension::PressureDifference,
        "water" => Dimension::Volume,
        "temperature" | "gas_temperature" => Dimension::Temperature,
        "mass" => Dimension::Mass,
        _ if name.starts_with("gas_valves.") => Dimension::MassFlow,
        _ => Dimension::VolumeFlow,
    };
    let read = units::parse(value, dimension).map_err(|e| wrong(&format!("{e}; {}", e.hint(dimension))))?.resolve(0.0);
    if read > 0.0 { Ok((name.trim().to_string(), read)) } else { Err(wrong("a deviation is above 0")) }
}

/// Reads, fits, prints and writes.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let template = source::template(&args.source)?;
    let varied = template.varied(&args.vary).map_err(|error| Failure::wrong(format!("error: --vary {error}")))?;
    let noise = args.noise.iter().map(|text| noise(text)).collect::<Result<Vec<_>, _>>()?;
    let path = args.data.display();
    let data = fs::read(&args.data).map_err(|error| Failure::wrong(format!("error: cannot read {path}: {error}")))?;
    let plan = Plan {
        varied: &varied,
        offset: args.offset,
        noise: &noise,
        threads: args.threads.map_or(0, usize::from),
        interrupt: study::interrupt(),
    };
    let result = fit::fit(&template, &plan, &data).map_err(|error| match error {
        FitFailure::Wrong(text) => Failure::wrong(match text.strip_prefix("RECORD:") {
            Some(rest) => format!("{path}:{rest}"),
            None => format!("error: {text}"),
        }),
        FitFailure::Unsolved(_) => Failure::unsolved(&error),
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
