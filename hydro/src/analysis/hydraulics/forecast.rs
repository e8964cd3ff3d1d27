//! Where the flows of a network that is solved again and again over time are likely to be at the next instant.
//!
//! A forecast only moves the start of Newton's method. Polynomial through the last instants, by the weights of
//! Lagrange:
//!
//! ```text
//! s(t) ~ sum_i w_i s(t_i),    w_i = prod_j!=i (t - t_j)/(t_i - t_j)
//! ```

use super::Hydraulics;

/// Most instants that a forecast rests on.
const INSTANTS: usize = 3;

/// Most that the sizes of the weights may come to: what the solves leave is multiplied by that.
const WEIGHTS: f64 = 20.0;

/// Parameters of all curves at the last instants, the latest last.
#[derive(Debug, Clone, Default)]
pub(super) struct Instants {
    past: Vec<(f64, Vec<f64>)>,
}

impl Instants {
    /// Weights of the latest instants for a time, as many as the sizes of the weights allow; none where the time is
    /// that of the latest.
    fn weights(&self, time: f64) -> Vec<f64> {
        if self.past.last().is_none_or(|&(latest, _)| latest == time) {
            return Vec::new();
        }
        let mut from = 0;
        loop {
            let times = &self.past[from..];
            let weight = |i: usize| -> f64 {
                let others = (0..times.len()).filter(|&j| j != i);
                others.map(|j| (time - times[j].0) / (times[i].0 - times[j].0)).product()
            };
            let weights: Vec<f64> = (0..times.len()).map(weight).collect();
            // NaN, of instants that coincide, is too much as well.
            if weights.len() <= 1 || weights.iter().map(|w| w.abs()).sum::<f64>() <= WEIGHTS {
                return weights;
            }
            from += 1;
        }
    }
}

impl Hydraulics {
    /// Takes in that the network has been solved for a time, s.
    pub fn note_instant(&mut self, time: f64) {
        let past = &mut self.instants.past;
        let same = past.iter().position(|&(before, _)| before == time);
        let mut latest = match same {
            Some(at) => past.remove(at),
            None if past.len() == INSTANTS => past.remove(0),
            None => (time, Vec::new()),
        };
        latest.0 = time;
        latest.1.clear();
        latest.1.extend(self.trial.parameters());
        past.push(latest);
    }

    /// Parameters of all curves as they were solved last.
    pub fn parameters(&self) -> Vec<f64> {
        self.trial.parameters().collect()
    }

    /// Puts the start of the next solve between two lists of [`Self::parameters`], a share of the way from the first to the
    /// second; where a law opens or shuts on the way, at the nearer one. What was noted before is of no use there.
    pub fn begin_between(&mut self, [before, after]: [&[f64]; 2], share: f64) {
        for k in self.order.links.iter().map(|&k| k as usize) {
            let (from, to) = (before[k], after[k]);
            let turned = self.turned(k, [from, to], share);
            self.trial.put_s(k, turned.unwrap_or(from + share * (to - from)));
        }
        self.leave_laws();
        self.forget_instants();
    }

    /// Parameter of a law that opens or shuts from one to another, a share of the way there: the nearer of both; `None` of one that
    /// does not.
    pub(super) fn turned(&self, link: usize, [from, to]: [f64; 2], share: f64) -> Option<f64> {
        let turns = (from < 0.0) != (to < 0.0) && self.links.curve(link).one_way;
        turns.then_some(if share < 0.5 { from } else { to })
    }

    /// Forgets the instants noted: the network is another now.
    pub fn forget_instants(&mut self) {
        self.instants.past.clear();
    }

    /// Puts the start of the next solve where the flows of the last instants lead at a time, s. A law that passes
    /// nothing back stays open or shut.
    pub fn forecast(&mut self, time: f64) {
        let weights = self.instants.weights(time);
        if weights.len() < 2 {
            return;
        }
        let past = &self.instants.past[self.instants.past.len() - weights.len()..];
        for k in self.order.links.iter().map(|&k| k as usize) {
            let (curve, start) = (self.links.curve(k), self.trial.s(k));
            let s: f64 = past.iter().zip(&weights).map(|((_, s), w)| w * s[k]).sum();
            let turns = curve.one_way && past.iter().any(|(_, before)| (before[k] < 0.0) != (s < 0.0));
            if s.is_finite() && !turns && s != start {
                self.trial.put_s(k, s);
                self.trial.outdate(k);
            }
        }
        self.weighed = None;
        // The forecast goes on from the flows, so what they were ahead of is of no use.
        if self.glided.take().is_some() {
            self.current = false;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(times: &[f64], time: f64) -> Vec<f64> {
        Instants { past: times.iter().map(|&t| (t, Vec::new())).collect() }.weights(time)
    }

    /// What goes as a parabola is met, and instants too near each other are not gone on from.
    #[test]
    fn weights_follow_a_parabola() {
        let parabola = |t: f64| 3.0 - 2.0 * t + 0.7 * t * t;
        let times = [0.1, 0.35, 0.25];
        let met: f64 = at(&times, 0.6).iter().zip(times).map(|(w, t)| w * parabola(t)).sum();
        assert!((met - parabola(0.6)).abs() < 1e-12, "{met}");
        assert_eq!(at(&[0.2, 0.4, 0.4 + 1e-9], 0.6), [1.0]);
        assert_eq!(at(&[0.2, 0.4], 0.4), [0.0; 0]);
        assert_eq!(at(&[], 0.4), [0.0; 0]);
    }
}
