//! The runs of a fit: each once, kept in the log, counted for the progress.

use std::collections::HashMap;
use std::ops::ControlFlow;
use std::sync::atomic::Ordering;
use std::sync::{Mutex, PoisonError};

use serde::{Deserialize, Serialize};

use crate::study::ordered;
use crate::study::variants::{Frame, Progress, StudyError};

/// Values of the model for every column of a record, or why there are none.
pub type Values = Result<Vec<Vec<f64>>, String>;

/// Slopes that a fit is expected to need in each of its rounds: what is left is told from it.
const EXPECTED_SLOPES: [u64; 3] = [6, 3, 3];

/// A line of the log: the parameters, and what the model says there. A value that is no number is left empty.
#[derive(Serialize, Deserialize)]
struct Kept {
    at: Vec<f64>,
    values: Option<Vec<Vec<Option<f64>>>>,
    error: Option<String>,
}

impl Kept {
    fn of(at: &[f64], values: &Values) -> Kept {
        let columns = |columns: &Vec<Vec<f64>>| {
            let number = |value: &f64| value.is_finite().then_some(*value);
            columns.iter().map(|column| column.iter().map(number).collect()).collect()
        };
        Kept { at: at.to_vec(), values: values.as_ref().ok().map(columns), error: values.as_ref().err().cloned() }
    }

    fn values(self) -> Values {
        let number = |value: Option<f64>| value.unwrap_or(f64::NAN);
        let column = |column: Vec<Option<f64>>| column.into_iter().map(number).collect();
        match self.values {
            Some(columns) => Ok(columns.into_iter().map(column).collect()),
            None => Err(self.error.unwrap_or_default()),
        }
    }
}

/// Why runs are not there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stopped;

struct State<'r, 'f> {
    frame: &'r mut Frame<'f>,
    known: HashMap<Vec<u64>, Values>,
    /// Points asked for, each once.
    asked: std::collections::HashSet<Vec<u64>>,
    resumed: u64,
    broken: Option<StudyError>,
    stopped: bool,
    round: usize,
    slopes: u64,
}

/// The runs of a fit.
pub struct Runs<'r, 'f> {
    state: Mutex<State<'r, 'f>>,
    /// Parameters.
    parameters: u64,
    rounds: usize,
}

fn bits(point: &[f64]) -> Vec<u64> {
    point.iter().map(|x| x.to_bits()).collect()
}

impl<'r, 'f> Runs<'r, 'f> {
    /// Runs of a fit of so many parameters in so many rounds; what the log of the frame holds is known already.
    ///
    /// # Errors
    /// Where the log cannot be read.
    pub fn new(frame: &'r mut Frame<'f>, parameters: usize, rounds: usize) -> Result<Self, StudyError> {
        let mut known = HashMap::new();
        let resumed = match &mut frame.log {
            Some(log) => log.replay(|_, kept: Kept| {
                known.insert(bits(&kept.at), kept.values());
            })?,
            None => 0,
        };
        let state = State {
            frame,
            known,
            asked: std::collections::HashSet::new(),
            resumed,
            broken: None,
            stopped: false,
            round: 0,
            slopes: 0,
        };
        Ok(Runs { state: Mutex::new(state), parameters: parameters as u64, rounds })
    }

    fn with<T>(&self, work: impl FnOnce(&mut State<'r, 'f>) -> T) -> T {
        work(&mut self.state.lock().unwrap_or_else(PoisonError::into_inner))
    }

    /// Begins a round, from 0.
    pub fn begin(&self, round: usize) {
        self.with(|state| (state.round, state.slopes) = (round, 0));
    }

    /// Runs so far, each point once.
    pub fn count(&self) -> usize {
        self.with(|state| state.asked.len())
    }

    /// What the model said at a point that was run.
    pub fn known(&self, point: &[f64]) -> Option<Values> {
        self.with(|state| state.known.get(&bits(point)).cloned())
    }

    /// Whether it was interrupted, or the log or the threads failed.
    pub fn stopped(&self) -> bool {
        self.with(|state| state.stopped)
    }

    /// Why the log or the threads failed.
    pub fn broken(self) -> Option<StudyError> {
        self.state.into_inner().unwrap_or_else(PoisonError::into_inner).broken
    }

    /// What the model says at some points, those that are not known run side by side by `run`.
    ///
    /// # Errors
    /// [`Stopped`] where it was interrupted before all were run; what was run is kept.
    pub fn at(&self, points: &[Vec<f64>], run: &(dyn Fn(&[f64]) -> Values + Sync)) -> Result<Vec<Values>, Stopped> {
        self.with(|state| {
            let mut fresh: Vec<&Vec<f64>> = Vec::new();
            for point in points {
                if state.asked.insert(bits(point)) && !state.known.contains_key(&bits(point)) {
                    fresh.push(point);
                }
            }
            let slopes = points.len() > 1;
            let left = self.left(state.round, state.slopes + u64::from(slopes));
            let State { frame, known, resumed, broken, .. } = &mut *state;
            let Frame { threads, interrupt, progress, log } = &mut **frame;
            let count = fresh.len() as u64;
            let of =
                |index: u64| usize::try_from(index).ok().and_then(|k| fresh.get(k)).map_or(&[][..], |p| p.as_slice());
            let done = ordered::run(0..count, *threads, interrupt, &|index| run(of(index)), &mut |index, values| {
                if let Some(log) = log
                    && let Err(error) = log.write(&Kept::of(of(index), &values))
                {
                    *broken = Some(error.into());
                    return ControlFlow::Break(());
                }
                known.insert(bits(of(index)), values);
                let done = known.len() as u64;
                progress(Progress { done, count: done + (count - index - 1) + left, resumed: *resumed, about: true });
                ControlFlow::Continue(())
            });
            state.slopes += u64::from(slopes);
            let whole = match done {
                Ok(done) => done == count,
                Err(error) => {
                    state.broken = Some(error.into());
                    false
                }
            };
            if !whole || state.broken.is_some() || state.frame.interrupt.load(Ordering::Relaxed) {
                state.stopped = true;
                return Err(Stopped);
            }
            let found = |point: &Vec<f64>| state.known.get(&bits(point)).cloned();
            points.iter().map(|point| found(point).ok_or(Stopped)).collect()
        })
    }

    /// Runs that are expected after this one: as many slopes as such fits need, at least one more.
    fn left(&self, round: usize, slopes: u64) -> u64 {
        let expected = |round: usize| EXPECTED_SLOPES.get(round).copied().unwrap_or(1);
        let now = expected(round).saturating_sub(slopes).max(u64::from(round + 1 < self.rounds));
        let later: u64 = (round + 1..self.rounds).map(expected).sum();
        (now + later) * (2 * self.parameters + 1)
    }
}
