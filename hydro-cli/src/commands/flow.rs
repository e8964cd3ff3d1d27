//! `hydro flow FILE`: the steady flow at one time.

use std::fs::File;
use std::io::BufWriter;
use std::path::PathBuf;
use std::time::Instant;

use hydro::analysis::steady::{self, FlowOptions};
use hydro::report::{csv, json, text};

use crate::args::Source;
use crate::output::{self, Failure, Status};
use crate::source;

/// Arguments of `flow`.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    pub source: Source,
    /// Time that valves and plume stand for, as in "6 s"; without it the start, with every valve fully open
    #[arg(long, value_name = "TIME", value_parser = crate::args::time, allow_hyphen_values = true)]
    pub at: Option<f64>,
    /// Add every cell of every panel to the JSON document
    #[arg(long, requires = "json")]
    pub cells: bool,
    /// Write the cells of the panels to FILE as CSV: position, area, pressures, flow, flux
    #[arg(long, value_name = "FILE")]
    pub cells_csv: Option<PathBuf>,
    /// Add the time of the solve to the result
    #[arg(long)]
    pub timing: bool,
}

/// Solves and prints.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let mut input = source::read(&args.source)?;
    let started = Instant::now();
    let mut result =
        steady::solve(&input.network, &FlowOptions { at: args.at }).map_err(|error| Failure::unsolved(&error))?;
    result.solver.solve_time = args.timing.then(|| started.elapsed().as_secs_f64());
    result.findings.append(&mut input.findings);
    if args.cells {
        output::result(true, || json::flow_with_cells(&result), String::new)?;
    } else {
        output::result(args.source.json, || json::flow(&result), || text::flow(&result))?;
    }
    if let Some(path) = &args.cells_csv {
        let written = File::create(path).and_then(|file| csv::write_cells(&result, BufWriter::new(file)));
        written.map_err(|error| Failure::wrong(format!("error: cannot write {}: {error}", path.display())))?;
    }
    Ok(Status::solved(result.requirements_met()))
}
