//! Command line of `hydro`: reads arguments and files, calls the library, prints, and says by its exit status how it
//! went. Nothing is computed here.

mod args;
mod commands;
mod output;
mod progress;
mod source;
mod study;

use std::io::Write;
use std::process::ExitCode;

use clap::Parser;

fn main() -> ExitCode {
    let outcome = commands::run(&args::Cli::parse());
    let status = outcome.unwrap_or_else(|failure| {
        // Nothing is left to tell when standard error is gone.
        let _ = writeln!(std::io::stderr().lock(), "{}", failure.message.trim_end());
        failure.status
    });
    ExitCode::from(status as u8)
}
