//! Lines behind a tank that is out: gas follows the water, whose column drains behind a front.
//!
//! ```text
//! p_gas + rho g z_front + (rho/2) V^2 - h_end = law(Q) + (rho W/A^2) dQ/dt,    dW/dt = -Q
//! ```
//! with `W` the water that is left in the line and the law that of its length. The front comes with the velocity of the
//! column, so its velocity head, which water at rest in a tank spends, is there already: it is taken off the loss
//! coefficients, as far as they go. Where in the line these are is not known: they all stay until it is empty.

use super::load::Step;
use super::{Columns, Full, Line, LineStand, LineState, NodeStand, Standing};
use crate::analysis::curve::Curve;
use crate::analysis::hydraulics::Hydraulics;
use crate::component::law::Law;
use crate::network::{Network, NodeKind, PassageKind};

/// Least share of a line's volume that its water counts as in its law and its inertance, lest they vanish.
const LEAST: f64 = 1e-4;

/// Share of a line's volume that counts as none left.
const NONE: f64 = 1e-9;

impl Line {
    /// Curves that the water of a line whose end (0: its start) is at a tank takes when the tank is out: as those of the full
    /// line, from the tank on, and nothing back. None where the legs of the line can part.
    pub(super) fn drains(&self, network: &Network, side: usize, curves: &mut Vec<Curve>) -> Vec<(usize, f64)> {
        let (Full::Curves(carriers), NodeKind::Tank(_)) = (&self.full, network.nodes[self.ends[side]].kind) else {
            return Vec::new();
        };
        let mut added = Vec::with_capacity(carriers.len());
        for &(carrier, share) in carriers {
            let Curve { from, to, .. } = curves[carrier];
            let (from, to) = if side == 0 { (from, to) } else { (to, from) };
            let law = self.drain_law(network, side, self.volume).share(share);
            let mut curve = Curve::new(from as usize, to as usize, true, law);
            curve.active = false;
            added.push((curves.len(), share));
            curves.push(curve);
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
        // The head of the tank is that of the gas over what is left of its water.
        let NodeKind::Tank(tank) = network.nodes[line.ends[side]].kind else { return };
        let tank = &network.tanks[tank];
        let above = line.drain_height(side, left) - network.nodes[line.ends[side]].elevation;
        let lift = site.water_density * site.gravity * above - tank.head_of_water(tank.heel, site);
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

    /// Lines that begin to drain when a tank's node is out of water, and from which end: full ones that lead to an item that
    /// water has reached.
    pub fn draining_from(&self, standing: &Standing, node: usize) -> Vec<(usize, LineStand)> {
        let of = |(k, line): (usize, &Line)| {
            let side = line.ends.iter().position(|&end| end == node)?;
            let reached = standing.nodes[line.ends[1 - side]] != NodeStand::Dry;
            let drains = standing.lines[k] == LineStand::Full && reached && !line.drains[side].is_empty();
            drains.then_some((k, LineStand::Draining(side)))
        };
        self.lines.iter().enumerate().filter_map(of).collect()
    }

    /// Takes in that a line begins to drain, or has run empty.
    pub fn drain(&self, standing: &mut Standing, line: usize, to: LineStand, states: &mut [f64]) {
        standing.lines[line] = to;
        let state = self.line(line, states);
        let state = match to {
            LineStand::Drained(_) => LineState::default(),
            _ => LineState { flows: [state.flows[0]; 2], volumes: [self.lines[line].volume, 0.0] },
        };
        self.set_line(line, state, states);
    }

    /// Water left in a line that drains, m3; less than 0 where it has run empty.
    pub fn drain_left(&self, standing: &Standing, line: usize, states: &[f64]) -> f64 {
        match standing.lines[line] {
            LineStand::Draining(_) => self.line(line, states).volumes[0] - NONE * self.lines[line].volume,
            LineStand::Drained(_) => -1.0,
            LineStand::Full | LineStand::Filling | LineStand::Parted | LineStand::Falling => 1.0,
        }
    }

    /// Room that gas has gained in the lines behind a tank's node, m3.
    pub fn drained(&self, standing: &Standing, node: usize, states: &[f64]) -> f64 {
        let of = |(k, line): (usize, &Line)| match standing.lines[k] {
            LineStand::Draining(side) if line.ends[side] == node => line.volume - self.line(k, states).volumes[0],
            LineStand::Drained(side) if line.ends[side] == node => line.volume,
            _ => 0.0,
        };
        self.lines.iter().enumerate().map(of).sum()
    }
}
