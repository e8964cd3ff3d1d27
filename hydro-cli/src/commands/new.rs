//! `hydro new DIR`: a starter file.

use std::fs::{self, File};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use serde_json::json;

use crate::output::{self, Failure, Status};

/// Arguments of `new`.
#[derive(Debug, clap::Args)]
pub struct Args {
    /// Directory to write to; made if it is not there
    pub dir: PathBuf,
    /// Print one JSON document instead of a sentence
    #[arg(long)]
    pub json: bool,
}

/// The starter file.
const STARTER: &str = include_str!("starter.yaml");
/// Its name.
const NAME: &str = "supply.yaml";

/// Writes the starter file; never over another.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let path = args.dir.join(NAME);
    let wrong = |what: &str, path: &Path, error: std::io::Error| {
        Failure::wrong(format!("error: cannot {what} {}: {error}", path.display()))
    };
    fs::create_dir_all(&args.dir).map_err(|error| wrong("make the directory", &args.dir, error))?;
    let mut file = File::create_new(&path).map_err(|error| match error.kind() {
        ErrorKind::AlreadyExists => Failure::wrong(format!(
            "error: {} is there already and was left as it is; name another directory",
            path.display()
        )),
        _ => wrong("write", &path, error),
    })?;
    file.write_all(STARTER.as_bytes()).map_err(|error| wrong("write", &path, error))?;
    output::result(
        args.json,
        || json!({"kind": "new", "file": path.display().to_string()}),
        || format!("Wrote {0}. Try it: hydro run {0}\n", path.display()),
    )?;
    Ok(Status::Met)
}
