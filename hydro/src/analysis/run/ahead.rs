//! Where a step is to end: a trifle behind the next change that is in sight.
//!
//! Behind a change of what is watched the equations go on otherwise. A step that crosses one follows those before it, which
//! need not be smooth there, as where a line that is full goes on filling: a step that goes far across is thrown away, and
//! shorter ones feel their way to the change. So changes are told beforehand: of quantities of the state from the solution
//! inside the last step, continued, of others from the parabola through their last values. This only chooses lengths of steps;
//! the change itself is found within the step.

use super::locate::first_above;
use super::watch::Watch;
use crate::analysis::columns::LineStand;
use crate::analysis::supply::Supply;
use crate::time::DenseStep;

/// Lengths of the last step over which it is continued.
const FAR: f64 = 3.0;

/// Share of the way to a change by which a step goes beyond it.
const BEYOND: f64 = 0.005;

/// Share of a step below which a change is not aimed at: it may be none.
const NEAR: f64 = 1e-3;

/// Ends of steps whose values are kept.
const VALUES: usize = 3;

/// Values of what is watched at the ends of the last steps of a stretch without restart, the latest last.
#[derive(Debug, Default)]
pub struct Ahead {
    past: Vec<(f64, Vec<f64>)>,
    /// Whether the last step was aimed at a change.
    aimed: bool,
}

impl Ahead {
    /// Forgets all: the equations are others now.
    pub fn restart(&mut self) {
        self.past.clear();
        self.aimed = false;
    }

    /// Takes in the values of all watches at the end of a step.
    pub fn note(&mut self, time: f64, values: Vec<f64>) {
        if self.past.len() == VALUES {
            self.past.remove(0);
        }
        self.past.push((time, values));
    }

    /// The values of all watches at a time at which they were noted.
    pub fn at(&self, time: f64) -> Option<&[f64]> {
        self.past.iter().find(|&&(at, _)| at == time).map(|(_, values)| values.as_slice())
    }

    /// Where a step of a length is to end at most, `next` or sooner. `turns`: of a watch whose change restarts the integration,
    /// whether it is above 0 now. `last`: the step before.
    pub fn aim(
        &mut self,
        supply: &Supply<'_>,
        (watches, turns): (&[Watch], &dyn Fn(usize) -> Option<bool>),
        last: &DenseStep,
        (length, next): (f64, f64),
    ) -> f64 {
        let from = last.end();
        // What was not there is not aimed at again and again.
        if std::mem::take(&mut self.aimed) || self.past.last().is_none_or(|&(time, _)| time != from) {
            return next;
        }
        let to = (from + length.min(FAR * (from - last.start()))).min(next);
        let (mut end, mut y) = (vec![0.0; last.dim()], vec![0.0; last.dim()]);
        last.at(to, &mut end);
        let mut first = to;
        for (k, watch) in watches.iter().enumerate() {
            let Some(above) = turns(k) else { continue };
            let (sign, of_state) = (if above { -1.0 } else { 1.0 }, is_of_state(watch, supply));
            let then = if of_state { watch.value(supply, to, &end) } else { self.value(k, to) };
            if sign * then > 0.0 {
                let found = first_above(from, to, 1e-4 * (to - from), |time| {
                    if !of_state {
                        return Ok(sign * self.value(k, time));
                    }
                    last.at(time, &mut y);
                    Ok::<_, ()>(sign * watch.value(supply, time, &y))
                });
                first = found.map_or(first, |found| found.min(first));
            }
        }
        let way = first - from;
        self.aimed = first < to && way > NEAR * length;
        if self.aimed { (from + (1.0 + BEYOND) * way).min(next) } else { next }
    }

    /// Value of a watch on the polynomial through its last ones.
    fn value(&self, watch: usize, time: f64) -> f64 {
        let mut sum = 0.0;
        for (i, (at, values)) in self.past.iter().enumerate() {
            let others = self.past.iter().enumerate().filter(|&(j, _)| j != i);
            sum += values[watch] * others.map(|(_, (other, _))| (time - other) / (at - other)).product::<f64>();
        }
        sum
    }
}

/// Whether a watch is of the state alone as the water stands now.
fn is_of_state(watch: &Watch, supply: &Supply<'_>) -> bool {
    let Some((columns, standing)) = supply.water_columns() else { return watch.is_of_state() };
    let line = match *watch {
        Watch::Fall(line) => Some(line),
        Watch::Vent(passage) => columns.line_of(passage),
        _ => return watch.is_of_state(),
    };
    line.is_some_and(|line| standing.lines[line] == LineStand::Parted)
}

#[cfg(test)]
mod tests {
    use super::Ahead;

    /// Values on a parabola go on along it, fewer of them along a line.
    #[test]
    fn values_go_on() {
        let parabola = |t: f64| 3.0 - 2.0 * t + 0.7 * t * t;
        let mut ahead = Ahead::default();
        for t in [0.1, 0.2, 0.35, 0.5] {
            ahead.note(t, vec![0.0, parabola(t)]);
        }
        assert!((ahead.value(1, 0.9) - parabola(0.9)).abs() < 1e-12);
        ahead.restart();
        ahead.note(1.0, vec![4.0]);
        ahead.note(2.0, vec![3.0]);
        assert!((ahead.value(0, 4.0) - 1.0).abs() < 1e-14);
    }
}
