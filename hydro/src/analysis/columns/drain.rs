//! Lines that gas has come to, at a tank that is out or behind it: it follows the water, whose column drains behind a front.
//!
//! ```text
//! p_gas + rho g z_front + (rho/2) V^2 - h_end = law(Q) + (rho W/A^2) dQ/dt,    dW/dt = -Q
//! ```
//! with `W` the water that is left in the line and the law that of its length. The front comes with the velocity of the
//! column, so its velocity head, which water at rest in a tank spends, is there already: it is taken off the loss
//! coefficients, as far as they go. Where in the line these are is not known: they all stay until it is empty.

use super::load::Step;
use super::{Columns, Full, Line, LineStand, LineState, Standing};
use crate::analysis::hydraulics::Hydraulics;
use crate::analysis::links::Links;
use crate::component::law::Law;
use crate::network::{Network, NodeKind, PassageKind};

/// Least share of a line's volume that its water counts as in its law and its inertance, lest they vanish.
pub(super) const LEAST: f64 = 1e-4;

/// Share of a line's volume that counts as none left.
const NONE: f64 = 1e-9;

impl Line {
    /// Curves that the water of a line takes when gas has come to an end (0: its start): as those of the full line, from there
    /// on, and nothing back. None where gas cannot come to it. `points`: those of both its ends.
    pub(super) fn drains(
        &self,
        network: &Network,
        side: usize,
        points: [usize; 2],
        links: &mut Links,
    ) -> Vec<(usize, f64)> {
        if self.behind[side].is_none() {
            return Vec::new();
        }
        let whole: Vec<([usize; 2], f64)> = match &self.full {
            Full::Curves(carriers) => carriers.iter().map(|&(carrier, share)| (links.ends(carrier), share)).collect(),
            Full::Weir(_) => vec![(points, 1.0)],
        };
        let mut added = Vec::with_capacity(whole.len());
        for (ends, share) in whole {
            let law = self.drain_law(network, side, self.volume).share(share);
            let link = links.push(ends[side], ends[1 - side], true, law);
            links.set_active(link, false);
            added.push((link, share));
        }
        added
    }

    /// Law of the water that is left, m3, in a line that drains from an end.
    fn drain_law(&self, network: &Network, side: usize, left: f64) -> Law {
        let (site, length) = (&network.site, left.max(LEAST * self.volume) / self.area);
        let coefficients = |sum: f64| (sum - 1.0).max(0.0);
        match &network.passages[self.passage].kind {
            PassageKind::WeirPipe(weir) => {
                let (first, second, turn) = if side == 0 {
                    (weir.rise.loss_coefficient, weir.fall.loss_coefficient, self.fall())
                } else {
                    (weir.fall.loss_coefficient, weir.rise.loss_coefficient, self.rise)
                };
                let ahead = second + if left > turn { first } else { 0.0 };
                weir.law_of(length, coefficients(ahead), site)
            }
            PassageKind::Pipe(pipe) => pipe.law_of(length, coefficients(pipe.loss_coefficient), site),
            PassageKind::Valve(_) | PassageKind::Crossover(_) => Law::Quadratic(super::build::still(self.area, site)),
        }
    }

    /// Elevation, m, of the front in a line that drains from an end, with so much water left, m3.
    fn drain_height(&self, side: usize, left: f64) -> f64 {
        self.height(if side == 0 { self.volume - left } else { left })
    }

    /// What the head at an end from which it drains is less than that of still water of the gas' pressure at the front, Pa, with
    /// so much water left, m3. The head of a tank is that of its gas over what is left of its water.
    pub(super) fn lift(&self, network: &Network, side: usize, left: f64) -> f64 {
        let (site, node) = (&network.site, &network.nodes[self.ends[side]]);
        let heel = match node.kind {
            NodeKind::Tank(tank) => network.tanks[tank].head_of_water(network.tanks[tank].heel, site),
            _ => 0.0,
        };
        site.water_density * site.gravity * (self.drain_height(side, left) - node.elevation) - heel
    }
}

impl Columns {
    /// Loads a line that drains from an end.
    pub(super) fn load_drain(
        &self,
        equations: &mut Hydraulics,
        network: &Network,
        (k, side): (usize, usize),
        step: &Step<'_>,
    ) {
        let (line, site) = (&self.lines[k], &network.site);
        let (base, now) = (self.line(k, step.base), self.line(k, step.states));
        let left = now.volumes[0].clamp(0.0, line.volume);
        let law = line.drain_law(network, side, left);
        let inertia = line.inertance(left.max(LEAST * line.volume), site.water_density) / step.reach;
        let lift = line.lift(network, side, left);
        let before = if side == 0 { base.flows[0] } else { -base.flows[0] };
        for &(curve, share) in &line.drains[side] {
            equations.set_law(curve, law.share(share));
            equations.set_linear(curve, inertia / share, inertia * before + lift);
        }
    }

    /// Flow of a line that drains from an end, towards its other end, m3/s.
    pub(super) fn drain_flow(&self, equations: &Hydraulics, line: usize, side: usize) -> f64 {
        self.lines[line].drains[side].iter().map(|&(curve, _)| equations.flow(curve)).sum()
    }

    /// Takes in that a line begins to drain, that gas comes to its vent, or that it has run empty.
    pub fn drain(&self, standing: &mut Standing, line: usize, to: LineStand, states: &mut [f64]) {
        let (data, state) = (&self.lines[line], self.line(line, states));
        let state = match (standing.lines[line], to) {
            (_, LineStand::Drained(_)) => LineState::default(),
            (LineStand::Parted, LineStand::Venting) => {
                LineState { flows: [state.flows[1]; 2], volumes: [state.volumes[1], 0.0] }
            }
            (LineStand::Parted, _) => {
                LineState { flows: self.together(line, state).flows, volumes: [state.volumes.iter().sum(), 0.0] }
            }
            (LineStand::Draining(_), LineStand::Parted) => {
                let rise = (state.volumes[0] - data.fall()).max(0.0);
                LineState { flows: state.flows, volumes: [rise, data.fall()] }
            }
            (LineStand::Draining(_), _) => state,
            _ => LineState { flows: [state.flows[0]; 2], volumes: [state.volumes.iter().sum(), 0.0] },
        };
        standing.lines[line] = to;
        self.set_line(line, state, states);
    }

    /// Water that is left in a line that drains, of a vented weir pipe at first in its rise, m3; less than 0 where it has run
    /// empty.
    pub fn drain_left(&self, standing: &Standing, line: usize, states: &[f64]) -> f64 {
        let (data, left) = (&self.lines[line], self.line(line, states).volumes[0]);
        match standing.lines[line] {
            LineStand::Draining(_) if data.can_part() => left - data.fall() - NONE * data.volume,
            LineStand::Draining(_) | LineStand::Venting => left - NONE * data.volume,
            LineStand::Parted | LineStand::Falling if self.gas_side(standing, line).is_some() => {
                left - NONE * data.volume
            }
            LineStand::Drained(_) => -1.0,
            LineStand::Full | LineStand::Filling | LineStand::Parted | LineStand::Falling => 1.0,
        }
    }
}
