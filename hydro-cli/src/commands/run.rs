//! `hydro run FILE`: the supply over time.

use std::fs::File;
use std::io::BufWriter;
use std::path::{Path, PathBuf};
use std::time::Instant;

use hydro::analysis::run::{self, RunError, RunOptions};
use hydro::finding::Finding;
use hydro::report::{csv, json, text};
use hydro::result::RunResult;

use crate::args::Source;
use crate::output::{self, Failure, Status};
use crate::progress::Progress;
use crate::source;

/// Arguments of `run`.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    pub source: Source,
    /// Equally spaced rows of the series, both ends counted; every event adds one
    #[arg(long, value_name = "N", default_value_t = 201, value_parser = clap::value_parser!(u32).range(2..=100_000))]
    pub rows: u32,
    /// Write the series to FILE as CSV; - writes them to standard output instead of the tables
    #[arg(long, value_name = "FILE")]
    pub csv: Option<PathBuf>,
    /// Add every cell of every panel to the JSON document: lowest and mean flux, lowest pressure over the plume, and when
    #[arg(long, requires = "json")]
    pub cells: bool,
    /// Write what the cells of the panels got to FILE as CSV: lowest and mean flux, lowest pressure over the plume, and when
    #[arg(long, value_name = "FILE")]
    pub cells_csv: Option<PathBuf>,
    /// Add the time of the run to the result
    #[arg(long)]
    pub timing: bool,
}

/// Runs and prints; what a run that breaks off has reached is printed too.
pub fn run(args: &Args) -> Result<Status, Failure> {
    if args.source.json && csv_to_standard_output(args) {
        return Err(Failure::wrong("error: --json and --csv - both want standard output; name a file for the series"));
    }
    let input = source::read(&args.source)?;
    let mut progress = Progress::new();
    let started = Instant::now();
    let outcome = run::run_explained(
        &input.network,
        &mut RunOptions { rows: args.rows as usize, progress: &mut |fraction| progress.set(fraction) },
    );
    let time = args.timing.then(|| started.elapsed().as_secs_f64());
    drop(progress);
    match outcome {
        Ok(result) => {
            let result = print(args, result, time, input.findings)?;
            Ok(Status::solved(result.requirements_met()))
        }
        Err(RunError { error, partial }) => {
            if let Some(result) = partial {
                print(args, *result, time, input.findings)?;
            }
            Err(Failure::unsolved(&error))
        }
    }
}

/// What writes a table of a result.
type Table = fn(&RunResult, BufWriter<File>) -> std::io::Result<()>;

/// Whether the series replace the tables.
fn csv_to_standard_output(args: &Args) -> bool {
    args.csv.as_deref() == Some(Path::new("-"))
}

/// Prints the result and writes the series; first what is printed, so that a file that cannot be written costs nothing.
fn print(args: &Args, mut result: RunResult, time: Option<f64>, findings: Vec<Finding>) -> Result<RunResult, Failure> {
    result.solver.solve_time = time;
    result.findings.extend(findings);
    let to_output = csv_to_standard_output(args);
    if to_output {
        output::write(|out| csv::write_run(&result, out))?;
    } else if args.cells {
        output::result(true, || json::run_with_cells(&result), String::new)?;
    } else {
        output::result(args.source.json, || json::run(&result), || text::run(&result))?;
    }
    let tables: [(_, Table); 2] =
        [(args.csv.as_ref().filter(|_| !to_output), csv::write_run), (args.cells_csv.as_ref(), csv::write_run_cells)];
    for (path, write) in tables {
        let Some(path) = path else { continue };
        let written = File::create(path).and_then(|file| write(&result, BufWriter::new(file)));
        written.map_err(|error| Failure::wrong(format!("error: cannot write {}: {error}", path.display())))?;
    }
    Ok(result)
}
