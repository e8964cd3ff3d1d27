//! One file a command: arguments in, library called, result printed.

pub mod check;
pub mod faults;
pub mod fit;
pub mod flow;
pub mod new;
pub mod run;
pub mod schema;
pub mod size;
pub mod spread;

use std::io;

use clap::CommandFactory;

use crate::args::{Cli, Command};
use crate::output::{self, Failure, Status};

/// Runs the command.
pub fn run(cli: &Cli) -> Result<Status, Failure> {
    match &cli.command {
        Command::New(args) => new::run(args),
        Command::Check(args) => check::run(args),
        Command::Flow(args) => flow::run(args),
        Command::Run(args) => run::run(args),
        Command::Size(args) => size::run(args),
        Command::Faults(args) => faults::run(args),
        Command::Spread(args) => spread::run(args),
        Command::Fit(args) => fit::run(args),
        Command::Merge(args) => spread::merge(args),
        Command::Schema(args) => schema::run(args),
        Command::Completions { shell } => completions(*shell),
    }
}

/// `hydro completions SHELL`: prints the script.
fn completions(shell: clap_complete::Shell) -> Result<Status, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut Cli::command(), "hydro", &mut script);
    output::write(|out: &mut dyn io::Write| out.write_all(&script))?;
    Ok(Status::Met)
}
