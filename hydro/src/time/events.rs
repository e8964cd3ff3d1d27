//! Sign changes of event functions, found at points of each step and located on its dense output.
//!
//! Rules. Each function has a *side*, the sign it was last seen with; zero is no side. An event is a side changing to
//! the other sign or to zero in a direction that counts. A function that is exactly zero at a start takes its side
//! from the next point where it is not zero, so leaving zero is no event. A function that has just reported an event
//! and at the restart is back on its old side by no more than rounding counts as zero.

use super::dense::DenseStep;
use super::error::Failure;
use super::options::Stats;
use super::system::{Direction, OdeSystem};

/// Part of its change over the step up to which a function that has just reported counts as zero at the restart.
const ROUNDING: f64 = 1e-9;

/// Event functions of a system, as last seen.
#[derive(Debug, Clone, Default)]
pub(super) struct Events {
    direction: Vec<Direction>,
    /// Side at the last kept point, and while a step is looked at.
    side: Vec<f64>,
    trial: Vec<f64>,
    /// Values at the last kept point.
    kept: Vec<f64>,
    /// Values at both ends of the bracket, between them, and at its first lower end.
    low: Vec<f64>,
    high: Vec<f64>,
    middle: Vec<f64>,
    first: Vec<f64>,
    state: Vec<f64>,
    /// Events of the last stop: which, old side, size of the function over the step.
    fired: Vec<(usize, f64, f64)>,
}

impl Events {
    /// Looks at the functions at a start.
    pub(super) fn start<S: OdeSystem + ?Sized>(
        &mut self,
        system: &mut S,
        (t, y): (f64, &[f64]),
        stats: &mut Stats,
    ) -> Result<(), Failure<S::Error>> {
        let count = system.event_count();
        self.direction.clear();
        self.direction.extend((0..count).map(|i| system.direction(i)));
        let bracket = [&mut self.low, &mut self.high, &mut self.middle, &mut self.first];
        for values in [&mut self.side, &mut self.trial, &mut self.kept].into_iter().chain(bracket) {
            values.clear();
            values.resize(count, 0.0);
        }
        self.state.clear();
        self.state.extend_from_slice(y);
        evaluate(system, t, y, &mut self.kept, stats)?;
        self.side.iter_mut().zip(&self.kept).for_each(|(side, &g)| *side = sign(g));
        for (i, old, size) in self.fired.drain(..) {
            if let Some(side) = self.side.get_mut(i)
                && *side == old
                && self.kept[i].abs() <= ROUNDING * size
            {
                *side = 0.0;
            }
        }
        Ok(())
    }

    /// Forgets which events the last stop was for: the state at the restart is another one.
    pub(super) fn forget(&mut self) {
        self.fired.clear();
    }

    /// Events of the last stop.
    pub(super) fn fired(&self) -> impl Iterator<Item = usize> {
        self.fired.iter().map(|fired| fired.0)
    }

    /// Looks for the first event of a step; returns its time, located to `tolerance` and not before the crossing.
    ///
    /// Besides the end, `checks` points inside are looked at.
    pub(super) fn find<S: OdeSystem + ?Sized>(
        &mut self,
        system: &mut S,
        dense: &DenseStep,
        (checks, tolerance): (usize, f64),
        stats: &mut Stats,
    ) -> Result<Option<f64>, Failure<S::Error>> {
        if self.direction.is_empty() {
            return Ok(None);
        }
        self.trial.copy_from_slice(&self.side);
        self.low.copy_from_slice(&self.kept);
        let (start, end) = (dense.start(), dense.end());
        let mut low = start;
        for part in 1..=checks + 1 {
            let inside = start + (end - start) * (part as f64 / (checks + 1) as f64);
            let high = if part == checks + 1 { end } else { inside };
            dense.at(high, &mut self.state);
            evaluate(system, high, &self.state, &mut self.high, stats)?;
            if (0..self.high.len()).any(|i| self.crossed(i, self.high[i])) {
                return self.locate(system, dense, (low, high, tolerance), stats).map(Some);
            }
            for (side, &g) in self.trial.iter_mut().zip(&self.high) {
                if g != 0.0 {
                    *side = sign(g);
                }
            }
            std::mem::swap(&mut self.low, &mut self.high);
            low = high;
        }
        Ok(None)
    }

    /// Keeps what the last [`Events::find`] saw at the end of the step.
    pub(super) fn keep(&mut self) {
        self.side.copy_from_slice(&self.trial);
        self.kept.copy_from_slice(&self.low);
    }

    /// Whether function `i` with value `g` has left its side in a direction that counts.
    fn crossed(&self, i: usize, g: f64) -> bool {
        match self.direction[i] {
            Direction::Rising => self.trial[i] < 0.0 && g >= 0.0,
            Direction::Falling => self.trial[i] > 0.0 && g <= 0.0,
            Direction::Any => self.trial[i] * g < 0.0 || (self.trial[i] != 0.0 && g == 0.0),
        }
    }

    /// Locates the earliest crossing between `low` and `high`, one function after the other in a shrinking bracket.
    fn locate<S: OdeSystem + ?Sized>(
        &mut self,
        system: &mut S,
        dense: &DenseStep,
        (first, last, tolerance): (f64, f64, f64),
        stats: &mut Stats,
    ) -> Result<f64, Failure<S::Error>> {
        self.first.copy_from_slice(&self.low);
        // Size of each function over the bracket, for the rule at the restart.
        self.fired.clear();
        let sizes = self.first.iter().zip(&self.high).map(|(a, b)| a.abs().max(b.abs()));
        self.fired.extend(sizes.enumerate().map(|(i, size)| (i, self.trial[i], size)));
        let mut bracket = (first, last);
        for i in 0..self.high.len() {
            if !self.crossed(i, self.high[i]) {
                continue;
            }
            if self.crossed(i, self.low[i]) {
                bracket = (first, bracket.0);
                std::mem::swap(&mut self.low, &mut self.high);
                self.low.copy_from_slice(&self.first);
            }
            self.narrow(system, dense, i, (&mut bracket, tolerance), stats)?;
        }
        let mut fired = std::mem::take(&mut self.fired);
        fired.retain(|&(i, ..)| self.crossed(i, self.high[i]));
        self.fired = fired;
        Ok(bracket.1)
    }

    /// Narrows the bracket of function `i` to `tolerance` by the ITP method: never slower than bisection by more than
    /// one step, superlinear on smooth functions.
    ///
    /// Oliveira and Takahashi, ACM Trans. Math. Softw. 47 (2020) 5, with k1 = 0.2 / width, k2 = 2, n0 = 1.
    fn narrow<S: OdeSystem + ?Sized>(
        &mut self,
        system: &mut S,
        dense: &DenseStep,
        i: usize,
        (bracket, tolerance): (&mut (f64, f64), f64),
        stats: &mut Stats,
    ) -> Result<(), Failure<S::Error>> {
        let width = bracket.1 - bracket.0;
        let mut reach = tolerance * (width / tolerance).log2().ceil().max(0.0).exp2();
        while bracket.1 - bracket.0 > tolerance {
            let (low, high) = *bracket;
            let middle = 0.5 * (low + high);
            let (g_low, g_high) = (self.low[i], self.high[i]);
            let secant = (g_high * low - g_low * high) / (g_high - g_low);
            let towards = (middle - secant).signum();
            let truncation = 0.2 / width * (high - low).powi(2);
            let truncated = if truncation <= (middle - secant).abs() { secant + towards * truncation } else { middle };
            let radius = (reach - 0.5 * (high - low)).max(0.0);
            let projected = if (truncated - middle).abs() <= radius { truncated } else { middle - towards * radius };
            reach *= 0.5;
            let at = if projected > low && projected < high { projected } else { middle };
            if at <= low || at >= high {
                break;
            }
            dense.at(at, &mut self.state);
            evaluate(system, at, &self.state, &mut self.middle, stats)?;
            if self.crossed(i, self.middle[i]) {
                bracket.1 = at;
                std::mem::swap(&mut self.high, &mut self.middle);
            } else {
                bracket.0 = at;
                std::mem::swap(&mut self.low, &mut self.middle);
            }
        }
        Ok(())
    }
}

/// Counted event functions, checked to be finite.
fn evaluate<S: OdeSystem + ?Sized>(
    system: &mut S,
    t: f64,
    y: &[f64],
    g: &mut [f64],
    stats: &mut Stats,
) -> Result<(), Failure<S::Error>> {
    if g.is_empty() {
        return Ok(());
    }
    stats.event_calls += 1;
    system.events(t, y, g).map_err(Failure::System)?;
    if g.iter().all(|g| g.is_finite()) { Ok(()) } else { Err(Failure::NotFinite) }
}

/// -1, 0 or 1.
fn sign(g: f64) -> f64 {
    if g == 0.0 { 0.0 } else { g.signum() }
}
