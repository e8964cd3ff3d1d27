//! The last step of a solve from a state nearby: along the tangents, without a look at the laws.
//!
//! Flows along the tangents balance as well as the linear system is solved, and after a change of so small a part d of the
//! flows the laws stand off by its square. The laws are then known at the base only; the next solve of the same
//! instant begins there, that of another goes on from the flows.

use super::Hydraulics;
use super::equations::Gauge;
use super::pass::add_flow;
use super::weir::choose;

impl Hydraulics {
    /// Puts the trial at the base plus the step along the tangents; false where a flow changes by more than `most`, a
    /// one-way law opens or shuts, or the flows do not balance.
    pub(super) fn slide(&mut self, step: &[f64], most: f64) -> bool {
        if self.momentum.has_runs() {
            return false;
        }
        for (point, dx) in step.iter().enumerate() {
            self.heads[point] = self.base_heads[point] + dx;
        }
        let gauge = Gauge::new(self);
        let mut change = 0.0;
        self.sums.fill(0.0);
        for &index in &self.taking {
            let index = index as usize;
            let (link, curve) = (self.links.link(index), self.links.curve(index));
            let base = &self.base[index];
            let head = self.heads[link.from as usize] - self.heads[link.to as usize];
            let s = curve.linear(base, head);
            change = gauge.moved(self, index, curve, curve.inverse_slope(base), s).most(change);
            if change > most || curve.one_way && (s < 0.0) != (base.s < 0.0) {
                return false;
            }
            let trial = curve.along(base, s, head);
            self.trial[index] = trial;
            if index < self.plain {
                add_flow(&mut self.sums, link, trial.flow());
            }
        }
        for (weir, chosen) in self.weirs.iter().zip(&mut self.chosen) {
            let pipe = self.links.link(weir.full);
            if pipe.active {
                *chosen = choose(weir, &self.trial);
                add_flow(&mut self.sums, pipe, chosen.flow);
            }
        }
        if !self.is_balanced() {
            return false;
        }
        self.glided = Some(change);
        true
    }
}
