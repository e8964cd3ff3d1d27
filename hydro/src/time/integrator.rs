//! The driver: tries steps, keeps the good ones, stops at events.

use super::control::{Control, first_step, norm};
use super::dense::DenseStep;
use super::error::{Failure, IntegrationError};
use super::events::Events;
use super::options::{MOST_UNHELD, Options, Stats};
use super::stepper::{Start, Stepper, rhs};
use super::system::OdeSystem;

/// What is left of a step that cannot be computed, and how often in a row that is tried.
const FAILED: f64 = 0.25;
const MAX_FAILURES: usize = 12;
/// Location of events, relative to the time still to go when the step began.
const EVENT_TOLERANCE: f64 = 1e-12;

/// Why [`Integrator::advance`] stopped.
#[derive(Debug, Clone, PartialEq)]
pub enum Advance {
    /// The end time is reached, to the bit.
    Reached,
    /// One event or several at one time; the integrator stands there, not before the crossing.
    Event {
        /// Time of the event.
        time: f64,
        /// Events that occur at this time, rising.
        events: Vec<usize>,
    },
}

/// Integrator of one initial value problem, standing at a time `t` with state `y`.
///
/// Deterministic; allocates only when made, when the number of components or events changes, and for the list of an
/// event.
#[derive(Debug, Clone)]
pub struct Integrator {
    options: Options,
    stepper: Stepper,
    control: Control,
    events: Events,
    stats: Stats,
    t: f64,
    y: Vec<f64>,
    /// Slope at `(t, y)`.
    f: Vec<f64>,
    /// Step to try next; `None` before the start of a piece.
    h: Option<f64>,
    /// Whether `f` and the events belong to `(t, y)`.
    started: bool,
    y1: Vec<f64>,
    f1: Vec<f64>,
    error: Vec<f64>,
    dense: DenseStep,
}

/// What became of a step that could be computed.
enum Trial {
    /// Kept, with its error norm and the event in it.
    Good(f64, Option<f64>),
    /// Error norm above 1, and not so short that this does no harm.
    Bad(f64),
}

impl Integrator {
    /// An integrator standing at `t` with state `y`.
    pub fn new(options: Options, t: f64, y: &[f64]) -> Self {
        let buffer = vec![0.0; y.len()];
        Self {
            options,
            stepper: Stepper::new(options.method, y.len()),
            control: Control::new(),
            events: Events::default(),
            stats: Stats::default(),
            t,
            y: y.to_vec(),
            f: buffer.clone(),
            h: None,
            started: false,
            y1: buffer.clone(),
            f1: buffer.clone(),
            error: buffer,
            dense: DenseStep::default(),
        }
    }

    /// Goes on from `t` and `y` with changed equations; `y` may have another length.
    ///
    /// `first_step` is tried first if given, otherwise it is found from two right-hand sides;
    /// [`Integrator::proposed_step`] of before is a good one when little changed.
    pub fn restart(&mut self, t: f64, y: &[f64], first_step: Option<f64>) {
        if t != self.t {
            self.events.forget();
        }
        if y.len() != self.y.len() {
            self.stepper = Stepper::new(self.options.method, y.len());
            for buffer in [&mut self.f, &mut self.y1, &mut self.f1, &mut self.error] {
                buffer.clear();
                buffer.resize(y.len(), 0.0);
            }
        }
        self.t = t;
        self.y.clear();
        self.y.extend_from_slice(y);
        self.h = first_step.filter(|h| h.is_finite() && *h > 0.0);
        self.control = Control::new();
        self.stepper.restart();
        self.started = false;
    }

    /// Time where the integrator stands; after an error, the last good one.
    pub fn t(&self) -> f64 {
        self.t
    }

    /// State where the integrator stands; after an error, the last good one.
    pub fn y(&self) -> &[f64] {
        &self.y
    }

    /// Work done so far.
    pub fn stats(&self) -> &Stats {
        &self.stats
    }

    /// Step the control proposes next, if a piece is under way.
    pub fn proposed_step(&self) -> Option<f64> {
        self.h
    }

    /// Last step taken, with the solution inside; meaningless after an error.
    pub fn last_step(&self) -> &DenseStep {
        &self.dense
    }

    /// Advances to the next event or to `t_end`, and shows each step to `on_step`.
    ///
    /// After [`Advance::Reached`] with unchanged equations it may be called again with a later end. `t_end` at or
    /// before [`Integrator::t`] is reached without a step.
    ///
    /// # Errors
    /// See [`IntegrationError`]; the integrator then stands at the last good state.
    ///
    /// # Panics
    /// If the dimension of the system is not that of the state (an error of the program, not of the data).
    pub fn advance<S: OdeSystem + ?Sized>(
        &mut self,
        system: &mut S,
        t_end: f64,
        on_step: &mut dyn FnMut(&DenseStep),
    ) -> Result<Advance, IntegrationError<S::Error>> {
        while self.t < t_end {
            let event = self.step(system, t_end)?;
            on_step(&self.dense);
            if let Some(event) = event {
                return Ok(event);
            }
        }
        if self.t.is_nan() || t_end.is_nan() {
            return Err(IntegrationError::NotFinite { t: self.t });
        }
        Ok(Advance::Reached)
    }

    /// Takes one step towards `t_end`, and says which event cut it short, if any.
    ///
    /// [`Integrator::advance`] is this in a loop; take single steps to use the system between them.
    ///
    /// # Errors
    /// As [`Integrator::advance`].
    ///
    /// # Panics
    /// If the dimension of the system is not that of the state (an error of the program, not of the data).
    pub fn step<S: OdeSystem + ?Sized>(
        &mut self,
        system: &mut S,
        t_end: f64,
    ) -> Result<Option<Advance>, IntegrationError<S::Error>> {
        assert_eq!(system.dim(), self.y.len(), "the state does not belong to the system");
        if t_end <= self.t {
            return Ok(Some(Advance::Reached));
        }
        if !(t_end - self.t).is_finite() {
            return Err(IntegrationError::NotFinite { t: self.t });
        }
        let proposed = match self.h.filter(|_| self.started) {
            Some(h) => h,
            None => self.start(system, t_end).map_err(|failure| failure.at(self.t))?,
        };
        let mut h = proposed;
        let mut failures = 0;
        let mut last_failure = None;
        loop {
            let steps = self.stats.accepted + self.stats.rejected;
            if steps >= self.options.max_steps {
                return Err(IntegrationError::TooManySteps { t: self.t, steps });
            }
            let t1 = self.step_end(h, t_end);
            let taken = t1 - self.t;
            if taken <= 0.0 || (t1 < t_end && taken <= 4.0 * f64::EPSILON * self.t.abs()) {
                let too_small = IntegrationError::StepTooSmall { t: self.t, h };
                return Err(last_failure.map_or(too_small, |failure: Failure<_>| failure.at(self.t)));
            }
            let power = self.stepper.error_power();
            let short = taken <= self.options.least_step && self.stats.unheld < MOST_UNHELD;
            match self.attempt(system, t1, t_end, short) {
                Ok(Trial::Good(error, event)) if error > 1.0 => {
                    self.stats.unheld += 1;
                    self.stats.first_unheld.get_or_insert(self.t);
                    self.control.failed();
                    self.h = Some(2.0 * taken);
                    return Ok(self.keep(t1, event));
                }
                Ok(Trial::Good(error, event)) => {
                    let next = taken * self.control.accepted(taken, error, power);
                    // A step shortened only to hit the end says nothing against the longer one. Asked of its end: rounding
                    // alone makes its length a trifle shorter.
                    self.h = Some(if t1 < self.t + h { next.max(h) } else { next });
                    return Ok(self.keep(t1, event));
                }
                Ok(Trial::Bad(error)) => h = taken * self.control.rejected(error, power),
                Err(failure) => {
                    failures += 1;
                    if failures > MAX_FAILURES {
                        self.stats.rejected += 1;
                        return Err(failure.at(self.t));
                    }
                    last_failure = Some(failure);
                    self.control.failed();
                    h = FAILED * taken;
                }
            }
            self.stats.rejected += 1;
            self.stepper.rejected();
            self.h = Some(h);
        }
    }

    /// Slope, events and first step at the start of a piece.
    fn start<S: OdeSystem + ?Sized>(&mut self, system: &mut S, t_end: f64) -> Result<f64, Failure<S::Error>> {
        let stats = &mut self.stats;
        rhs(system, self.t, &self.y, &mut self.f, stats)?;
        self.events.start(system, (self.t, &self.y), stats)?;
        let h = match self.h {
            Some(h) => h,
            None => first_step(
                system,
                (self.t, &self.y, &self.f),
                (self.options.rtol, self.stepper.error_power(), self.options.max_step.min(t_end - self.t)),
                [&mut self.y1, &mut self.f1],
                stats,
            )?,
        };
        self.started = true;
        self.h = Some(h);
        Ok(h)
    }

    /// Where a step of about `h` ends: no longer than allowed, at `t_end` exactly, and leaving no sliver before it.
    fn step_end(&self, h: f64, t_end: f64) -> f64 {
        let left = t_end - self.t;
        let h = h.min(self.options.max_step);
        if h >= left * (1.0 - 1e-10) {
            t_end
        } else if 2.0 * h > left {
            self.t + 0.5 * left
        } else {
            self.t + h
        }
    }

    /// Computes a step and, if its error allows or it is `short`, all that belongs to it; changes nothing that is kept.
    fn attempt<S: OdeSystem + ?Sized>(
        &mut self,
        system: &mut S,
        t1: f64,
        t_end: f64,
        short: bool,
    ) -> Result<Trial, Failure<S::Error>> {
        let stats = &mut self.stats;
        let start = Start { t: self.t, y: &self.y, f: &self.f, h: t1 - self.t };
        self.stepper.step(system, start, &mut self.y1, &mut self.error, stats)?;
        let error = norm(system, self.options.rtol, &self.error, [&self.y, &self.y1]).ok_or(Failure::NotFinite)?;
        if error > 1.0 && !short {
            return Ok(Trial::Bad(error));
        }
        self.stepper.finish(system, start, (t1, &self.y1), &mut self.f1, &mut self.dense, stats)?;
        let resolution = 4.0 * f64::EPSILON * t1.abs().max(self.t.abs());
        let tolerance = (EVENT_TOLERANCE * (t_end - self.t)).max(resolution).max(f64::MIN_POSITIVE);
        let event = self.events.find(system, &self.dense, (self.options.event_checks, tolerance), stats)?;
        Ok(Trial::Good(error, event))
    }

    /// Moves to the end of the step just computed, or to the event in it.
    fn keep(&mut self, t1: f64, event: Option<f64>) -> Option<Advance> {
        self.stats.accepted += 1;
        let Some(time) = event else {
            self.t = t1;
            std::mem::swap(&mut self.y, &mut self.y1);
            std::mem::swap(&mut self.f, &mut self.f1);
            self.events.keep();
            self.stepper.accepted();
            return None;
        };
        self.t = time;
        self.dense.at(time, &mut self.y);
        self.dense.cut(time);
        self.stepper.restart();
        self.started = false;
        Some(Advance::Event { time, events: self.events.fired().collect() })
    }
}
