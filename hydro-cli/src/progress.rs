//! Progress of a run: on standard error, on a terminal only, and only when it takes a while.

use std::io::IsTerminal;
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressStyle};

/// Nothing is shown before this.
const PATIENCE: Duration = Duration::from_secs(1);
/// Steps of the bar.
const STEPS: u64 = 1000;

/// A bar that appears when a run takes longer than [`PATIENCE`].
pub struct Progress {
    started: Instant,
    terminal: bool,
    bar: Option<ProgressBar>,
}

impl Progress {
    /// A bar not yet shown.
    pub fn new() -> Self {
        Progress { started: Instant::now(), terminal: std::io::stderr().is_terminal(), bar: None }
    }

    /// Shows how far the run is, 0 .. 1.
    pub fn set(&mut self, fraction: f64) {
        if !self.terminal || (self.bar.is_none() && self.started.elapsed() < PATIENCE) {
            return;
        }
        let bar = self.bar.get_or_insert_with(|| {
            let style = ProgressStyle::with_template("running {wide_bar} {percent} % of the duty, {elapsed}");
            ProgressBar::new(STEPS).with_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()))
        });
        bar.set_position((fraction.clamp(0.0, 1.0) * STEPS as f64) as u64);
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}
