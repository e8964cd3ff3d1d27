//! What all commands share that compute many variants: threads, the log, interruption, and the time left.

use std::io::IsTerminal;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use hydro::study::log::{Header, Log};
use hydro::study::variants::{Frame, Progress, StudyError};
use indicatif::{ProgressBar, ProgressStyle};

use crate::output::Failure;

/// How a study is computed.
#[derive(Debug, clap::Args)]
pub struct Many {
    /// Threads; without it as many as there are processors. The results do not depend on it
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub threads: Option<u16>,
    /// Keep what is finished in FILE, one JSON line each; a study that is stopped can go on from there
    #[arg(long, value_name = "FILE")]
    pub log: Option<PathBuf>,
    /// Go on with the study whose log FILE is; begins it where there is none yet
    #[arg(long, requires = "log")]
    pub resume: bool,
}

/// Set by Ctrl-C, and by the signals that ask a process to end.
static INTERRUPT: AtomicBool = AtomicBool::new(false);

/// Computes a study in a frame as the arguments say. The first Ctrl-C lets what is begun finish, the second ends at
/// once.
pub fn framed<T>(
    args: &Many,
    header: &Header,
    study: impl FnOnce(&mut Frame<'_>) -> Result<T, StudyError>,
) -> Result<T, Failure> {
    let wrong = |error: &dyn std::error::Error| Failure::wrong(format!("error: {error}"));
    let log = args.log.as_deref().map(|path| Log::open(path, header, args.resume));
    let log = log.transpose().map_err(|error| wrong(&error))?;
    // Without a handler Ctrl-C ends the process as ever; the log keeps what is finished.
    let _ = ctrlc::set_handler(|| {
        if INTERRUPT.swap(true, Ordering::Relaxed) {
            std::process::exit(130);
        }
    });
    let mut bar = Bar::new();
    let mut progress = |progress: Progress| bar.set(progress);
    let mut frame =
        Frame { threads: args.threads.map_or(0, usize::from), interrupt: &INTERRUPT, progress: &mut progress, log };
    study(&mut frame).map_err(|error| wrong(&error))
}

/// Nothing is shown before this.
const PATIENCE: Duration = Duration::from_secs(1);

/// A bar with the time left: on standard error, on a terminal only, and only when it takes a while.
struct Bar {
    started: Instant,
    terminal: bool,
    bar: Option<ProgressBar>,
}

impl Bar {
    fn new() -> Self {
        Bar { started: Instant::now(), terminal: std::io::stderr().is_terminal(), bar: None }
    }

    fn set(&mut self, progress: Progress) {
        if !self.terminal || (self.bar.is_none() && self.started.elapsed() < PATIENCE) {
            return;
        }
        let bar = self.bar.get_or_insert_with(|| {
            // A search does not know how many runs it will need.
            let template = if progress.count == 0 {
                "{pos} runs, {elapsed}"
            } else if progress.about {
                "{pos} of about {len} {wide_bar} {elapsed}, about {msg} left"
            } else {
                "{pos} of {len} {wide_bar} {elapsed}, {msg} left"
            };
            let style = ProgressStyle::with_template(template);
            ProgressBar::new(progress.count).with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()))
        });
        // What an earlier start had done took no time now.
        let done = progress.done.saturating_sub(progress.resumed);
        let left = progress.count.saturating_sub(progress.done);
        let seconds = self.started.elapsed().as_secs_f64() * left as f64 / (done.max(1)) as f64;
        bar.set_length(progress.count);
        bar.set_message(words(seconds));
        bar.set_position(progress.done);
    }
}

impl Drop for Bar {
    fn drop(&mut self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}

/// A duration in words: `45 s`, `12 min`, `3.5 h`.
fn words(seconds: f64) -> String {
    if seconds < 90.0 {
        format!("{seconds:.0} s")
    } else if seconds < 5400.0 {
        format!("{:.0} min", seconds / 60.0)
    } else {
        format!("{:.1} h", seconds / 3600.0)
    }
}

#[cfg(test)]
mod tests {
    use super::words;

    #[test]
    fn durations_are_short() {
        assert_eq!([10.0, 100.0, 7200.0].map(words), ["10 s", "2 min", "2.0 h"]);
    }
}
