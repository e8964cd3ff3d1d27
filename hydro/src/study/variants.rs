//! The frame of a study: variants of one file, each computed by itself.

use std::any::Any;
use std::ops::ControlFlow;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::atomic::AtomicBool;

use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};

use super::log::{Log, LogError};
use super::ordered::{self, ThreadsError};
use crate::input::{Input, Template};

/// What became of one variant.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Outcome<R> {
    /// It was computed.
    Solved(R),
    /// It was not; kept as the variant's result.
    Failed(Failure),
}

/// Why a variant has no result.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Failure {
    /// Where it failed.
    pub stage: Stage,
    /// Why, for people.
    pub text: String,
}

/// Where a variant can fail.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// The file with these options is no network.
    Rejected,
    /// It could not be solved.
    Unsolved,
    /// A fault of the program.
    Internal,
}

impl Stage {
    /// The stage's name in results: `rejected`, `unsolved` or `internal`.
    pub fn label(self) -> &'static str {
        match self {
            Stage::Rejected => "rejected",
            Stage::Unsolved => "unsolved",
            Stage::Internal => "internal",
        }
    }
}

impl<R> Outcome<R> {
    /// The result, where there is one.
    pub fn solved(&self) -> Option<&R> {
        match self {
            Outcome::Solved(result) => Some(result),
            Outcome::Failed(_) => None,
        }
    }
}

/// How a study is computed; nothing here changes its results.
pub struct Frame<'f> {
    /// Threads; 0: as many as there are processors.
    pub threads: usize,
    /// Set by whoever wants it to stop: variants that are begun are finished.
    pub interrupt: &'f AtomicBool,
    /// Called after every variant, and once at the beginning.
    pub progress: &'f mut (dyn FnMut(Progress) + Send),
    /// Keeps what is finished.
    pub log: Option<Log>,
}

/// How far a study is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// Variants done, those from an earlier start among them.
    pub done: u64,
    /// Variants in all.
    pub count: u64,
    /// Variants read from the log of an earlier start.
    pub resumed: u64,
    /// Whether `count` is an estimate, which may change.
    pub about: bool,
}

/// Why a study broke off.
#[derive(Debug, thiserror::Error)]
pub enum StudyError {
    /// The log.
    #[error(transparent)]
    Log(#[from] LogError),
    /// The threads.
    #[error(transparent)]
    Threads(#[from] ThreadsError),
}

/// Computes `count` variants of a file and hands their results to `sink`, in order, one by one.
///
/// `sets(k)` are the options of variant k, `PATH=VALUE`, after those of the template; `compute` makes its result and
/// may be called on any thread. A variant that cannot be read or solved, or in which the program itself fails, is an
/// [`Outcome::Failed`] and the others go on. Gives the number of variants done: `count` unless it was interrupted.
///
/// # Errors
/// [`StudyError`] where the log cannot be read or written, or no thread can be started.
pub fn evaluate<R: Serialize + DeserializeOwned + Send>(
    template: &Template,
    count: u64,
    sets: &(dyn Fn(u64) -> Vec<String> + Sync),
    compute: &(dyn Fn(&Input) -> Result<R, String> + Sync),
    frame: &mut Frame<'_>,
    sink: &mut (dyn FnMut(u64, Outcome<R>) + Send),
) -> Result<u64, StudyError> {
    let resumed = match &mut frame.log {
        // More lines than variants cannot be: the header says how many there are.
        Some(log) => log.replay(&mut *sink)?.min(count),
        None => 0,
    };
    (frame.progress)(Progress { done: resumed, count, resumed, about: false });
    let job = |index: u64| one(template, &sets(index), compute);
    let mut broken = None;
    let (log, progress) = (&mut frame.log, &mut *frame.progress);
    let done = ordered::run(resumed..count, frame.threads, frame.interrupt, &job, &mut |index, outcome| {
        if let Some(log) = log
            && let Err(error) = log.write(&outcome)
        {
            broken = Some(error);
            return ControlFlow::Break(());
        }
        sink(index, outcome);
        progress(Progress { done: index + 1, count, resumed, about: false });
        ControlFlow::Continue(())
    })?;
    match broken {
        Some(error) => Err(error.into()),
        None => Ok(done),
    }
}

/// What becomes of one variant.
pub fn one<R>(
    template: &Template,
    sets: &[String],
    compute: &(dyn Fn(&Input) -> Result<R, String> + Sync),
) -> Outcome<R> {
    let fail = |stage, text| Outcome::Failed(Failure { stage, text });
    let work = || match template.input(sets) {
        Err(rejected) => fail(Stage::Rejected, rejected.render()),
        Ok(input) => compute(&input).map_or_else(|text| fail(Stage::Unsolved, text), Outcome::Solved),
    };
    catch_unwind(AssertUnwindSafe(work)).unwrap_or_else(|panic| fail(Stage::Internal, words_of(panic.as_ref())))
}

/// Words of a panic.
fn words_of(panic: &(dyn Any + Send)) -> String {
    let words = panic.downcast_ref::<String>().map(String::as_str).or(panic.downcast_ref::<&str>().copied());
    words.unwrap_or("a fault of the program").to_string()
}
