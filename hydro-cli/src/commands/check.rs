//! `hydro check FILE`: findings of a file that can be read.

use hydro::report::{json, text};

use crate::args::Source;
use crate::output::{self, Failure, Status};
use crate::source;

/// Arguments of `check`.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    pub source: Source,
}

/// Prints the findings.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let input = source::read(&args.source)?;
    let title = &input.network.title;
    output::result(args.source.json, || json::check(title, &input.findings), || text::check(title, &input.findings))?;
    Ok(Status::Met)
}
