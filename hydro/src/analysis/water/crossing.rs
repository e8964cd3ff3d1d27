//! The stream in the gap past the holes, which takes from the head that drives them.
//!
//! What it takes depends on all flows around a cell, so it is no part of a law between two points: the network is solved
//! with what was taken last, and again until that no longer changes. Each of these networks is convex; what is taken is
//! a small share of the drop over the holes, so that the passes settle fast.

use super::{Place, SolveError, WaterSide};
use crate::analysis::plate::Plate;
use crate::component::hole::crossing_loss;
use crate::component::panel::DischargeCoefficient;
use crate::network::Network;
use crate::nonlinear::NonlinearStats;
use crate::nonlinear::newton::Options;

/// Passes after which the flows have to have settled; from [`HALVED`] on each goes only half of the way.
const MOST: usize = 60;
const HALVED: usize = 12;

/// Change, as a share of the drop over the holes, at which they have.
const SETTLED: f64 = 1e-8;

/// Nothing taken yet: one number a cell of the panels whose holes feel the stream.
pub(super) fn none(network: &Network, plate: &Plate) -> Vec<Vec<f64>> {
    let feels = |holes: DischargeCoefficient| holes == DischargeCoefficient::Auto;
    let panels = network.panels.iter().zip(&plate.insides);
    panels
        .map(|(panel, inside)| {
            let felt = panel.gap.is_some() && feels(panel.holes.discharge_coefficient);
            if felt { vec![0.0; inside.cells.cells.len()] } else { Vec::new() }
        })
        .collect()
}

impl WaterSide<'_> {
    /// Solves: from the last solution where there is one, to the given options, else from a cold start to the default.
    pub fn solve(&mut self, resumed: &Options) -> Result<NonlinearStats, SolveError> {
        let mut stats = self.solve_once(resumed)?;
        if self.crossing.iter().all(Vec::is_empty) {
            return Ok(stats);
        }
        for pass in 0..MOST {
            let (change, panel) = self.cross(if pass < HALVED { 1.0 } else { 0.5 });
            if change <= SETTLED {
                return Ok(stats);
            }
            if pass + 1 == MOST {
                let item = self.network.nodes[self.network.panels[panel].node].name.to_string();
                return Err(SolveError::Crossing { time: self.time, item });
            }
            stats.iterations += self.solve_once(resumed)?.iterations;
        }
        Ok(stats)
    }

    /// What the stream in the gap takes from the holes of a cell, Pa.
    pub fn crossing(&self, panel: usize, cell: usize) -> f64 {
        self.crossing[panel].get(cell).copied().unwrap_or(0.0)
    }

    /// Takes what the streams take now, a `share` of the way there. Gives the greatest change beside the drop over the
    /// holes, and its panel; where that is small nothing is moved.
    fn cross(&mut self, share: f64) -> (f64, usize) {
        let through = self.through();
        let mut moves = Vec::new();
        let mut most = (0.0, 0);
        for (k, taken) in self.crossing.iter().enumerate() {
            for (c, &taken) in taken.iter().enumerate() {
                let (inside, outside) = (self.cell_pressure(k, c), self.cell_outside(k, c));
                let Some(drop) = inside.map(|inside| inside - outside).filter(|&drop| drop > 0.0) else { continue };
                let aim = crossing_loss(self.velocity_head(k, c, &through), drop);
                let change = (aim - taken).abs() / drop;
                if change > most.0 {
                    most = (change, k);
                }
                moves.push((k, c, taken + share * (aim - taken), outside));
            }
        }
        if most.0 > SETTLED {
            for (k, c, taken, outside) in moves {
                self.crossing[k][c] = taken;
                let head = outside + self.lift(self.network.panels[k].node) + taken;
                self.equations.set_fixed(self.plate.insides[k].outside + c, head);
            }
        }
        most
    }

    /// Velocity head of the stream in the gap of every cell of a panel, Pa, from what goes [`Self::through`]; `None`
    /// where the gap is not known.
    pub fn gap_heads(&self, panel: usize, through: &[f64]) -> Option<Vec<f64>> {
        self.network.panels[panel].gap?;
        let cells = 0..self.plate.insides[panel].cells.cells.len();
        Some(cells.map(|c| self.velocity_head(panel, c, through)).collect())
    }

    /// Velocity head in the gap of a cell, Pa: half of all that comes and goes through its sides, spread over the gap
    /// across the root of its place's area.
    fn velocity_head(&self, k: usize, c: usize, through: &[f64]) -> f64 {
        let (inside, panel) = (&self.plate.insides[k], &self.network.panels[k]);
        let [x, y] = inside.cells.step;
        let width = if panel.is_lumped() { panel.area.sqrt() } else { (x * y).sqrt() };
        let velocity = 0.5 * through[inside.point + c] / (width * panel.gap.unwrap_or(f64::INFINITY));
        0.5 * self.network.site.water_density * velocity * velocity
    }

    /// Sum of the sizes of the flows at each point, those through holes left out, m3/s.
    pub fn through(&self) -> Vec<f64> {
        let free = self.equations.free();
        let mut through = vec![0.0; free];
        let mut add = |ends: [usize; 2], flow: f64| {
            for point in ends {
                if let Some(sum) = through.get_mut(point) {
                    *sum += flow.abs();
                }
            }
        };
        let mut add_curve = |curve: usize| add(self.equations.links().ends(curve), self.equations.flow(curve));
        for curve in self.gaps.clone() {
            add_curve(curve);
        }
        for place in &self.place {
            match *place {
                Place::Curve(curve) => add_curve(curve),
                Place::Streams(first, count) => {
                    for stream in &self.plate.streams[first..first + count] {
                        add_curve(stream.curve);
                    }
                }
                Place::Weir(_) => {}
            }
        }
        for (passage, place) in self.place.iter().enumerate() {
            if let Place::Weir(_) = place {
                add(self.ends[passage], self.flow(passage));
            }
        }
        through
    }
}
