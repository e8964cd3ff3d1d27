//! How long the next step is.

use super::error::Failure;
use super::options::Stats;
use super::stepper::rhs;
use super::system::OdeSystem;

/// Part of the step that would just meet the tolerance.
const SAFETY: f64 = 0.9;
/// Bounds of the change from step to step.
const SHRINK: f64 = 0.2;
const GROW: f64 = 5.0;
/// Least factor on a step thrown away.
const SHRINK_MOST: f64 = 0.05;
/// Largest factor on a step soon behind one thrown away, and for how many steps.
const GROW_BEHIND: f64 = 2.0;
const BEHIND: usize = 4;
/// Error norm of a step that was so much too short that it may be followed by a far longer one all the same.
const TINY: f64 = 1e-2;
/// Most that the growth of the steps before may promise.
const GOES_ON: f64 = 1.2;
/// Bounds where the power of the error was seen to be a lower one.
const LEAST: f64 = 0.01;
const LEAST_POWER: f64 = 0.3;
/// Least error norm of a step that the predictive control goes by: a step that was much too short says little.
const LEAST_ERROR: f64 = 1e-2;

/// Proportional-integral step control (Gustafsson; Hairer, Wanner, Solving ODEs II, 2nd ed., section IV.2), and where steps
/// grow shorter the predictive one (the same, section IV.8): it expects that they go on doing so.
#[derive(Debug, Clone)]
pub(super) struct Control {
    /// Error norm of the last accepted step.
    last: f64,
    /// Length of the last accepted step of this piece.
    length: Option<f64>,
    /// Whether the step before was thrown away.
    rejected: bool,
    /// Steps since one was thrown away.
    since: usize,
    /// Error norm of the step before, thrown away for it, and the factor that it led to.
    before: Option<(f64, f64)>,
}

impl Control {
    pub(super) fn new() -> Self {
        Self { last: 1e-4, length: None, rejected: false, since: usize::MAX, before: None }
    }

    /// Factor on the step after an accepted one of this length with this error norm; the error goes as `h^power`.
    pub(super) fn accepted(&mut self, length: f64, error: f64, power: f64) -> f64 {
        let error = error.max(1e-10);
        let factor = SAFETY * error.powf(-0.95 / power) * self.last.powf(0.1 / power);
        let before = self.last.max(LEAST_ERROR);
        let predicted = self
            .length
            .replace(length)
            .map_or(f64::INFINITY, |last| SAFETY * (length / last) * (before / (error * error)).powf(1.0 / power));
        // Steps that have grown for a while likely go on doing so: half of what that promises.
        let goes_on = self.since >= BEHIND && predicted > factor && predicted.is_finite();
        let factor = if goes_on { factor * (predicted / factor).min(GOES_ON).sqrt() } else { factor.min(predicted) };
        let most = if self.rejected {
            1.0
        } else if self.since < BEHIND && error > TINY {
            GROW_BEHIND
        } else {
            GROW
        };
        self.since = if self.rejected { 0 } else { self.since.saturating_add(1) };
        self.last = error.max(1e-4);
        (self.rejected, self.before) = (false, None);
        factor.clamp(SHRINK, most)
    }

    /// Factor on the step after one with an error norm above 1. From the second in a row on, the power with which the
    /// error goes is taken from the last two: behind a kink it is a lower one.
    pub(super) fn rejected(&mut self, error: f64, power: f64) -> f64 {
        self.rejected = true;
        let seen = self.before.map(|(last, factor)| (error / last).ln() / factor.ln());
        let (power, least) = match seen {
            Some(seen) if seen < power => (seen.max(LEAST_POWER), LEAST),
            _ => (power, SHRINK_MOST),
        };
        let factor = (SAFETY * error.powf(-1.0 / power)).clamp(least, SAFETY);
        self.before = Some((error, factor));
        factor
    }

    /// The step could not be computed; the next one may not grow.
    pub(super) fn failed(&mut self) {
        (self.rejected, self.before) = (true, None);
    }
}

/// Largest of `|v_i| / (rtol max(scale_i, |y_i|))` over the given states; `None` if not finite.
pub(super) fn norm<S: OdeSystem + ?Sized>(system: &S, rtol: f64, v: &[f64], states: [&[f64]; 2]) -> Option<f64> {
    let mut largest = 0.0f64;
    for (i, v) in v.iter().enumerate() {
        let size = system.scale(i).max(states[0][i].abs()).max(states[1][i].abs());
        let part = v.abs() / (rtol * size).max(f64::MIN_POSITIVE);
        if !part.is_finite() || !size.is_finite() {
            return None;
        }
        largest = largest.max(part);
    }
    Some(largest)
}

/// First step (Hairer, Norsett, Wanner, Solving ODEs I, 2nd ed., section II.4): from the slope and, by one explicit
/// Euler step, its change. `work` are two buffers of the length of `y`.
pub(super) fn first_step<S: OdeSystem + ?Sized>(
    system: &mut S,
    (t, y, f): (f64, &[f64], &[f64]),
    (rtol, power, longest): (f64, f64, f64),
    work: [&mut [f64]; 2],
    stats: &mut Stats,
) -> Result<f64, Failure<S::Error>> {
    let states = [y, y];
    let [moved, slope] = work;
    let size = norm(system, rtol, y, states).ok_or(Failure::NotFinite)?;
    let speed = norm(system, rtol, f, states).ok_or(Failure::NotFinite)?;
    let mut probe = if speed > 0.0 { 0.01 * size.max(1.0 / rtol) / speed } else { f64::INFINITY };
    probe = probe.min(1e-3 * longest);
    for (i, moved) in moved.iter_mut().enumerate() {
        *moved = y[i] + probe * f[i];
    }
    if rhs(system, t + probe, moved, slope, stats).is_err() {
        return Ok(0.01 * probe);
    }
    slope.iter_mut().zip(f).for_each(|(slope, f)| *slope = (*slope - f) / probe);
    let bend = norm(system, rtol, slope, states).ok_or(Failure::NotFinite)?;
    let rate = speed.max(bend);
    // rate h^power / 100 = 1; nothing moves: as far as the probe showed.
    let step = if rate > 0.0 { (0.01 / rate).powf(1.0 / power) } else { longest };
    Ok(step.min(100.0 * probe).min(longest))
}
