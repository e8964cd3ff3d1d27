//! Gas that follows the water beyond a tank that is out: the headers that it can come to, and when it does.
//!
//! Such a header lies behind one tank and by one passage only: then nothing else feeds it once the gas is there, and it takes
//! the pressure of the gas at once. Where several passages bring water the gas stops: what comes out of such a header is gas
//! and water together.

use super::load::Step;
use super::{Columns, LineStand, NodeStand, Standing};
use crate::analysis::hydraulics::Hydraulics;
use crate::component::tank::UllageModel;
use crate::network::{Network, NodeKind, PassageKind};

/// Loss coefficient, of water on the summed bores, of gas that comes to a header: one velocity head of gas of 5 kg/m3.
pub(super) const GAS_LOSS: f64 = 0.005;

/// A header that gas can come to, and how.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Way {
    /// Node of the header.
    pub node: usize,
    /// Passage by which the gas comes.
    pub passage: usize,
    /// Node at the other end of that passage.
    pub before: usize,
    /// Tank whose gas it is.
    pub tank: usize,
}

/// A way with its place in the equations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct GasWay {
    pub way: Way,
    /// Curve from the gas to the point of the header, and the head of the gas among the given ones.
    pub curve: usize,
    pub fixed: usize,
    /// Point of the tank.
    pub source: usize,
}

/// Headers that gas can come to, nearest to their tanks first.
pub fn ways(network: &Network) -> Vec<Way> {
    let mut at = vec![Vec::new(); network.nodes.len()];
    for (k, passage) in network.passages.iter().enumerate().filter(|(_, passage)| !passage.blocked) {
        at[passage.from].push((k, passage.to));
        at[passage.to].push((k, passage.from));
    }
    let mut found = Vec::new();
    for (tank, data) in network.tanks.iter().enumerate() {
        let mut reached = vec![data.node];
        let mut next = 0;
        while let Some(&before) = reached.get(next) {
            next += 1;
            for &(passage, node) in &at[before] {
                let plain = network.nodes[node].kind == NodeKind::Header
                    && !network.long_headers.iter().any(|header| header.node == node);
                if plain && !reached.contains(&node) && !leads_to_tank(network, &at, node, passage) {
                    found.push(Way { node, passage, before, tank });
                    reached.push(node);
                }
            }
        }
    }
    found
}

/// Whether a node is joined to any tank otherwise than by a passage.
fn leads_to_tank(network: &Network, at: &[Vec<(usize, usize)>], node: usize, without: usize) -> bool {
    let mut seen = vec![false; network.nodes.len()];
    let mut open = vec![node];
    seen[node] = true;
    while let Some(node) = open.pop() {
        if matches!(network.nodes[node].kind, NodeKind::Tank(_)) {
            return true;
        }
        for &(passage, other) in &at[node] {
            if passage != without && !std::mem::replace(&mut seen[other], true) {
                open.push(other);
            }
        }
    }
    false
}

/// Tank whose gas can come into a passage at its start, and at its end. Into a vented weir pipe it comes at the start alone, and
/// not where the pressure of the gas follows from its volume: some of it goes out by the vent.
pub fn behind(network: &Network, ways: &[Way], passage: usize) -> [Option<usize>; 2] {
    let data = &network.passages[passage];
    let vented = matches!(&data.kind, PassageKind::WeirPipe(weir) if weir.vent.is_some());
    let passes = |side: usize, tank: usize| {
        let polytropic = matches!(network.tanks[tank].ullage, UllageModel::Polytropic { .. });
        !vented || (side == 0 && !polytropic)
    };
    [(0, data.from), (1, data.to)].map(|(side, node)| {
        let tank = match network.nodes[node].kind {
            NodeKind::Tank(tank) => Some(tank),
            _ => ways.iter().find(|way| way.node == node && way.passage != passage).map(|way| way.tank),
        };
        tank.filter(|&tank| passes(side, tank))
    })
}

/// Pipes and weir pipes that the gas of a tank could drain, with their volumes, m3.
pub fn lines_behind(network: &Network, tank: usize) -> Vec<(usize, f64)> {
    let ways = ways(network);
    let length = |k: usize| match &network.passages[k].kind {
        PassageKind::Pipe(pipe) => Some(pipe.length),
        PassageKind::WeirPipe(weir) => Some(weir.rise.length + weir.fall.length),
        PassageKind::Valve(_) | PassageKind::Crossover(_) => None,
    };
    let drains = |k: &usize| !network.passages[*k].blocked && behind(network, &ways, *k).contains(&Some(tank));
    let lines = (0..network.passages.len()).filter(drains);
    lines.filter_map(|k| Some((k, length(k)? * network.passages[k].kind.area()))).collect()
}

impl Columns {
    /// Where gas stands that can flow on: the nodes of tanks that are out, and headers behind them. `unshut`: for each passage,
    /// whether neither a fault nor a valve shuts it.
    pub fn gas_reaches(&self, standing: &Standing, unshut: &[bool]) -> Vec<bool> {
        let mut reached = standing.gas.clone();
        for GasWay { way, .. } in &self.ways {
            reached[way.node] = standing.gas[way.node] && reached[way.before] && unshut[way.passage];
        }
        reached
    }

    /// End at which gas has come to a line that it can drain; `None` where it has not.
    pub fn gas_side(&self, standing: &Standing, line: usize) -> Option<usize> {
        let at_start = standing.gas[self.lines[line].ends[0]] && !self.lines[line].drains[0].is_empty();
        match standing.lines[line] {
            LineStand::Draining(side) => Some(side),
            LineStand::Venting => Some(0),
            LineStand::Parted | LineStand::Falling if at_start => Some(0),
            _ => None,
        }
    }

    /// Lets gas come to what is open to it now, and lines drain there: full ones that lead to an item that water has reached.
    pub(super) fn follow_gas(&self, standing: &mut Standing, network: &Network, unshut: &[bool], states: &mut [f64]) {
        for GasWay { way, .. } in &self.ways {
            if standing.gas[way.node] || !standing.gas[way.before] || standing.nodes[way.node] != NodeStand::Full {
                continue;
            }
            let one_way = matches!(&network.passages[way.passage].kind, PassageKind::Valve(valve) if valve.one_way);
            let forward = network.passages[way.passage].from == way.before;
            standing.gas[way.node] = match self.line_of(way.passage) {
                Some(line) => matches!(standing.lines[line], LineStand::Drained(_)),
                None => unshut[way.passage] && (forward || !one_way),
            };
        }
        for (k, line) in self.lines.iter().enumerate() {
            for side in 0..2 {
                let gas = standing.gas[line.ends[side]] && !line.drains[side].is_empty();
                let reached = standing.nodes[line.ends[1 - side]] != NodeStand::Dry;
                if gas && reached && standing.lines[k] == LineStand::Full {
                    self.drain(standing, k, LineStand::Draining(side), states);
                }
            }
        }
    }

    /// Gives the headers that gas has come to its head.
    pub(super) fn load_gas(&self, equations: &mut Hydraulics, network: &Network, standing: &Standing) {
        let site = &network.site;
        for at in self.ways.iter().filter(|at| standing.gas[at.way.node]) {
            let tank = &network.tanks[at.way.tank];
            let above = network.nodes[at.way.node].elevation - network.nodes[tank.node].elevation;
            let lift = site.water_density * site.gravity * above - tank.head_of_water(tank.heel, site);
            if let Some(head) = equations.head(at.source) {
                equations.set_fixed(at.fixed, head + lift);
            }
        }
    }

    /// Given heads, counted from the first, that the gas of a tank has given headers, with the tank.
    pub fn gas_heads(&self, standing: &Standing) -> impl Iterator<Item = (usize, usize)> {
        let come = self.ways.iter().filter(|at| standing.gas[at.way.node]);
        come.map(|at| (at.fixed, at.way.tank))
    }

    /// Room that the gas of a tank has gained in lines, m3.
    pub fn drained(&self, standing: &Standing, tank: usize, states: &[f64]) -> f64 {
        let gained = |k: usize| {
            let (line, volumes) = (&self.lines[k], self.line(k, states).volumes);
            let (side, room) = match standing.lines[k] {
                LineStand::Drained(side) => (side, line.volume),
                LineStand::Parted | LineStand::Falling => (self.gas_side(standing, k)?, line.rise - volumes[0]),
                _ => (self.gas_side(standing, k)?, line.volume - volumes[0]),
            };
            (line.behind[side] == Some(tank)).then_some(room)
        };
        (0..self.lines.len()).filter_map(gained).sum()
    }

    /// Water that the gas of a tank pushes out of lines, m3/s.
    pub fn draining(&self, equations: &Hydraulics, standing: &Standing, tank: usize) -> f64 {
        let of = |k: usize| {
            let side = self.gas_side(standing, k).filter(|&side| self.lines[k].behind[side] == Some(tank))?;
            let flow = self.flows(equations, standing, k)[0];
            Some(if side == 0 { flow } else { -flow })
        };
        (0..self.lines.len()).filter_map(of).sum()
    }

    /// Whether water that gas or air follows may still run out of a line.
    pub fn is_draining(&self, standing: &Standing) -> bool {
        let drains = |k: usize| self.gas_side(standing, k).is_some() || standing.lines[k] == LineStand::Parted;
        (0..self.lines.len()).any(drains)
    }

    /// How a line stands next whose water has run out: the whole of it, or of a vented weir pipe that of its rise.
    pub fn run_out(&self, standing: &Standing, line: usize) -> LineStand {
        match standing.lines[line] {
            LineStand::Draining(_) | LineStand::Parted if self.lines[line].can_part() => LineStand::Venting,
            LineStand::Draining(side) | LineStand::Drained(side) => LineStand::Drained(side),
            _ => LineStand::Drained(0),
        }
    }

    /// Static pressure at the apex of a vented weir pipe whose rise drains, above ambient, Pa, from the head at its start.
    pub fn drained_apex_margin(
        &self,
        equations: &Hydraulics,
        network: &Network,
        k: usize,
        (head, states): (f64, &[f64]),
    ) -> Option<f64> {
        let line = &self.lines[k];
        let PassageKind::WeirPipe(pipe) = &network.passages[line.passage].kind else { return None };
        let &(curve, _) = line.drains[0].first()?;
        let left = self.line(k, states).volumes[0];
        let rise = (left - line.fall()).max(0.0);
        let lift = line.lift(network, 0, left);
        let curve = equations.links().curve(curve);
        let flow = self.drain_flow(equations, k, 0);
        // What sets the rise moving is its share of what sets the whole moving.
        let moving = (curve.linear * flow - (curve.offset - lift)) * rise / left;
        let law = pipe.law_of(rise / line.area, pipe.rise.loss_coefficient, &network.site);
        Some(head + lift - law.loss(flow).value - moving - pipe.apex_head(&network.site))
    }

    /// Loads the rise of a vented weir pipe whose legs are parted, whole or as it drains: then with the law of what is left and
    /// the lift of its front. `curve`: the jet out of it.
    pub(super) fn load_rise(
        &self,
        equations: &mut Hydraulics,
        network: &Network,
        (k, curve): (usize, usize),
        step: &Step<'_>,
        drains: bool,
    ) {
        let line = &self.lines[k];
        let PassageKind::WeirPipe(weir) = &network.passages[line.passage].kind else { return };
        let site = &network.site;
        let (base, now) = (self.line(k, step.base), self.line(k, step.states));
        let (volume, lift) = if drains {
            let (left, least) = (now.volumes[0].clamp(0.0, line.rise), super::drain::LEAST * line.rise);
            // The front brings the velocity head that the jet takes along.
            equations.set_law(curve, weir.law_of(left.max(least) / line.area, weir.rise.loss_coefficient, site));
            (left.max(least), line.lift(network, 0, left + line.fall()))
        } else {
            if line.behind[0].is_some() {
                equations.set_law(curve, weir.jet_law(&weir.rise, site));
            }
            (line.rise, 0.0)
        };
        let inertia = line.inertance(volume, site.water_density) / step.reach;
        equations.set_linear(curve, inertia, inertia * base.flows[0] + lift);
    }
}
