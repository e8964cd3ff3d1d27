//! The water side near a state whose answer is known, and inside a step of time.

use super::{SolveError, WaterSide};
use crate::analysis::hydraulics::Inside;
use crate::nonlinear::NonlinearStats;
use crate::nonlinear::newton::Options;
use crate::time::Near;

/// Curves up to which what a solve begins with is kept for every step: their parameters alone take 16 MB for a thousand steps, all
/// inside four times that.
const FEW: usize = 2000;

impl WaterSide<'_> {
    /// Whether it is small enough for that.
    pub(super) fn is_small(&self) -> bool {
        self.equations.links().len() <= FEW
    }

    /// Solves from the state of the last [`Self::response`] where that is near enough, else as [`Self::solve`] does.
    pub fn solve_near(&mut self, which: Near<'_>, resumed: &Options) -> Result<NonlinearStats, SolveError> {
        if self.connected && self.solved {
            let found = self.equations.chord(self.time, which, &mut self.work);
            if found || matches!(which, Near::End(_)) {
                self.neared = Some(self.time);
            }
            if found {
                self.solves += 1;
                return Ok(NonlinearStats::default());
            }
        }
        self.solve(resumed)
    }

    /// Says by how much, to first order, the state has moved the total pressure at the outlet of a tank since the last
    /// [`Self::response`], Pa.
    pub fn lead_tank(&mut self, tank: usize, change: f64) {
        let point = self.point_of_node[self.network.tanks[tank].node];
        self.equations.lead_fixed(point - self.equations.free(), change);
    }

    /// Takes the state solved last as that at the start of a step.
    pub(super) fn begin_step(&mut self) {
        if self.is_small() {
            self.equations.begin_step(self.time);
        }
    }

    /// The network inside the step from a time, s, that has just ended, where it is not too large to be kept for every step; given
    /// once.
    pub fn take_inside(&mut self, from: f64) -> Option<Inside> {
        let taken = self.equations.take_inside();
        self.is_small().then(|| taken.or_else(|| self.equations.straight_inside(from))).flatten()
    }

    /// Begins the next solve where the network is inside a step, a share of its length from its start.
    pub fn begin_inside(&mut self, inside: &Inside, share: f64) {
        if !self.connected {
            self.connect_now();
        }
        if self.equations.begin_inside(inside, share) {
            // The heads of parts without flow are known there as well.
            (self.neared, self.solved) = (Some(self.time), true);
        }
    }

    /// Whether [`Self::response`] leaves nothing out.
    pub fn answers_exactly(&self) -> bool {
        self.crossing.iter().all(Vec::is_empty) && !self.equations.has_runs()
    }
}
