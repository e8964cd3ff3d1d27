//! `hydro schema`: the JSON Schema of the network file.

use crate::output::{self, Failure, Status};

/// Arguments of `schema`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// The schema is JSON with or without this
    #[arg(long)]
    pub json: bool,
}

/// Prints the schema: on one line with `--json`, indented without.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let schema = hydro::input::json_schema::json_schema();
    output::result(args.json, || &schema, || format!("{schema:#}\n"))?;
    Ok(Status::Met)
}
