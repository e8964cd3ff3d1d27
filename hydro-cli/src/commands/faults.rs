//! `hydro faults FILE`: what every single failure does.

use std::time::Instant;

use hydro::report::{json, text};
use hydro::study::faults::Plan;

use crate::args::Source;
use crate::output::{self, Failure, Status};
use crate::{source, study};

/// Arguments of `faults`.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    pub source: Source,
    /// Look at this pair of failures too, ITEM/KIND + ITEM/KIND; may be repeated
    #[arg(long, value_name = "A+B")]
    pub pair: Vec<String>,
    /// Look at every two failures of different items too
    #[arg(long)]
    pub pairs: bool,
    #[command(flatten)]
    pub study: study::Many,
    /// Add the time of the study to the result
    #[arg(long)]
    pub timing: bool,
}

/// Computes and prints.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let template = source::template(&args.source)?;
    let mut input = template.input(&[]).map_err(|rejected| Failure::wrong(rejected.render()))?;
    let plan = Plan::new(&input, &args.pair, args.pairs);
    let plan = plan.map_err(|error| Failure::wrong(format!("error: {error}")))?;
    let started = Instant::now();
    let mut result = study::framed(&args.study, &plan.header(&template), |frame| plan.run(&template, frame))?;
    result.solve_time = args.timing.then(|| started.elapsed().as_secs_f64());
    result.findings.append(&mut input.findings);
    output::result(args.source.json, || json::faults(&result), || text::faults(&result))?;
    Ok(if result.complete() { Status::solved(result.requirements_met()) } else { Status::Unsolved })
}
