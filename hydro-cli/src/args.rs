//! What the command line takes.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};
use clap_complete::Shell;
use hydro::units::{self, Dimension};

use crate::commands::{check, faults, fit, flow, new, run, schema, size, spread};

/// Water supply of a perforated, water-cooled plate under an engine or launch stand.
///
/// Exit status: 0 solved and every requirement met; 1 solved, some requirement not met; 2 the input or the command
/// line is wrong; 3 it could not be solved.
#[derive(Debug, Parser)]
#[command(name = "hydro", version, max_term_width = 100)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Write a starter file, DIR/supply.yaml, that can be run at once
    New(new::Args),
    /// Read a network file and say what is remarkable about it
    Check(check::Args),
    /// Solve the steady flow: what every panel gets, and where the pressure goes
    Flow(flow::Args),
    /// Empty the tanks over time: does the water last, and what happens when
    Run(run::Args),
    /// Find the least tank pressure, or the fewest open gas valves, that meets the requirement
    Size(size::Args),
    /// Find out what every single failure does: the panel that falls short, when, by how much
    Faults(faults::Args),
    /// Draw uncertain quantities: the chance that the requirement is met, and what drives it
    Spread(spread::Args),
    /// Join the shares of a spread computed with --part
    Merge(spread::MergeArgs),
    /// Fit coefficients to a measured record, and say how well the data tell them
    Fit(fit::Args),
    /// Print the JSON Schema of the network file, for completion in an editor
    Schema(schema::Args),
    /// Print a completion script for a shell
    Completions {
        /// Shell to write for
        shell: Shell,
    },
}

/// A network file and how to read it.
#[derive(Debug, Args)]
pub struct Source {
    /// Network file; - reads standard input
    pub file: PathBuf,
    /// Set a value of the file, as in tanks.burst-1.pressure="12 bar(g)"; may be repeated
    #[arg(long, value_name = "PATH=VALUE")]
    pub set: Vec<String>,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub json: bool,
}

/// A time on the command line: a value with its unit, or a bare number of seconds.
pub fn time(text: &str) -> Result<f64, String> {
    let text = text.trim();
    let bare = text.parse::<f64>().ok();
    let seconds = match bare {
        Some(seconds) => seconds,
        None => {
            units::parse(text, Dimension::Time).map_err(|e| format!("{e}; {}", e.hint(Dimension::Time)))?.resolve(0.0)
        }
    };
    if seconds.is_finite() { Ok(seconds) } else { Err("a time is a finite number, as in \"6 s\"".to_string()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_arguments_are_consistent() {
        <Cli as clap::CommandFactory>::command().debug_assert();
    }

    #[test]
    fn times_have_a_unit_or_are_seconds() {
        assert_eq!(time("6 s"), Ok(6.0));
        assert_eq!(time("1.5"), Ok(1.5));
        assert_eq!(time("2 min"), Ok(120.0));
        assert!(time("6 m").is_err());
        assert!(time("nan").is_err());
        assert!(time("").is_err());
    }
}
