//! What happens where a front arrives, legs part or come together.

use super::{Columns, LineStand, LineState, NodeStand, Standing};
use crate::network::{Network, NodeKind, PassageKind};

/// Share of a volume that counts as all of it.
const ALL: f64 = 1.0 - 1e-9;

/// How far above the least that it can fall back to, as a multiple, a front is found when that has stopped it, and the water up to
/// which it then stays stopped.
const BACK: f64 = 1.001;
const WIDER: f64 = 1.001;

/// A change of how water stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Arrival {
    /// Water has reached an item.
    Reached {
        /// Node.
        node: usize,
    },
    /// An item that started dry is full; water came in at so many m3/s.
    Filled {
        /// Node.
        node: usize,
        /// Flow that ran into it, m3/s.
        flow: f64,
    },
    /// A line is full; its front came with so many m/s.
    LineFull {
        /// Line.
        line: usize,
        /// Velocity of the front, m/s.
        velocity: f64,
    },
}

impl Columns {
    /// Brings the way that water stands up to date with the states, changes the states with it, and says what happened.
    /// `open`: passages that pass water; `unshut`: those that neither a fault nor a valve shuts.
    pub fn settle(
        &self,
        standing: &mut Standing,
        network: &Network,
        (open, unshut): (&[bool], &[bool]),
        states: &mut [f64],
    ) -> Vec<Arrival> {
        let mut arrivals = Vec::new();
        for (k, line) in self.lines.iter().enumerate() {
            let state = self.line(k, states);
            standing.rests[k] &= line.is_still(state.flows[0]);
            for (side, held) in standing.held[k].iter_mut().enumerate() {
                if state.flows[side] <= 0.0 && state.volumes[side] <= BACK * line.least_front(*held) {
                    *held = WIDER * state.volumes[side];
                }
            }
            let filled = state.volumes.iter().sum::<f64>();
            if standing.lines[k] != LineStand::Filling || filled < ALL * line.volume {
                continue;
            }
            let masses = state.volumes;
            let flow = (masses[0] * state.flows[0] - masses[1] * state.flows[1]) / filled;
            let velocity = state.flows.iter().fold(0.0_f64, |most, q| most.max(q.abs())) / line.area;
            standing.lines[k] = LineStand::Full;
            self.set_line(k, LineState { flows: [flow; 2], volumes: [line.volume, 0.0] }, states);
            arrivals.push(Arrival::LineFull { line: k, velocity });
            for (&node, &came) in line.ends.iter().zip([&masses[1], &masses[0]]) {
                if came > 0.0 {
                    self.reach(standing, network, node, &mut arrivals);
                }
            }
        }
        for (b, basin) in self.basins.iter().enumerate() {
            let at = self.basin_index(b);
            if standing.nodes[basin.node] == NodeStand::Filling && states[at] >= ALL * basin.volume {
                states[at] = basin.volume;
                standing.nodes[basin.node] = NodeStand::Full;
                let flow = self.inflow(standing, basin.node, states);
                arrivals.push(Arrival::Filled { node: basin.node, flow });
            }
        }
        // Through open valves and crossovers water is there at once.
        loop {
            let reached = network.passages.iter().enumerate().find_map(|(k, passage)| {
                let one_way = match &passage.kind {
                    PassageKind::Valve(valve) => valve.one_way,
                    PassageKind::Crossover(_) => false,
                    PassageKind::Pipe(_) | PassageKind::WeirPipe(_) => return None,
                };
                let stand = [standing.nodes[passage.from], standing.nodes[passage.to]];
                match stand {
                    [NodeStand::Full, NodeStand::Dry] if open[k] => Some(passage.to),
                    [NodeStand::Dry, NodeStand::Full] if open[k] && !one_way => Some(passage.from),
                    _ => None,
                }
            });
            match reached {
                Some(node) => self.reach(standing, network, node, &mut arrivals),
                None => break,
            }
        }
        self.follow_gas(standing, network, unshut, states);
        arrivals
    }

    fn reach(&self, standing: &mut Standing, network: &Network, node: usize, arrivals: &mut Vec<Arrival>) {
        if standing.nodes[node] != NodeStand::Dry {
            return;
        }
        let filling = self.basin_of(node).is_some();
        standing.nodes[node] = if filling { NodeStand::Filling } else { NodeStand::Full };
        arrivals.push(Arrival::Reached { node });
        if !filling && matches!(network.nodes[node].kind, NodeKind::Panel(_)) {
            arrivals.push(Arrival::Filled { node, flow: 0.0 });
        }
    }

    /// What runs into an item through its lines, m3/s.
    fn inflow(&self, standing: &Standing, node: usize, states: &[f64]) -> f64 {
        let mut sum = 0.0;
        for (k, line) in self.lines.iter().enumerate() {
            if standing.lines[k] == LineStand::Full {
                let [out, into] = self.line(k, states).flows;
                sum += if line.ends[1] == node { into } else { 0.0 } - if line.ends[0] == node { out } else { 0.0 };
            }
        }
        sum.max(0.0)
    }

    /// Parts the legs of a line at its apex.
    pub fn part(&self, standing: &mut Standing, line: usize, states: &mut [f64]) {
        standing.lines[line] = LineStand::Parted;
        let (state, fall) = (self.line(line, states), self.lines[line].fall());
        let volumes = [state.volumes.iter().sum::<f64>() - fall, fall];
        self.set_line(line, LineState { flows: [state.flows[0]; 2], volumes }, states);
    }

    /// Brings the legs of a line together: their momentum is kept.
    pub fn join(&self, standing: &mut Standing, line: usize, states: &mut [f64]) {
        let state = self.together(line, self.line(line, states));
        standing.lines[line] = LineStand::Full;
        // Where legs come together or part a little late, what is over stays with the rise: none is lost.
        self.set_line(line, LineState { volumes: [state.volumes.iter().sum(), 0.0], ..state }, states);
    }

    /// A line whose legs have come together.
    pub(super) fn together(&self, line: usize, state: LineState) -> LineState {
        let [rise, fall] = [state.volumes[0], self.lines[line].fall()];
        let flow = (rise * state.flows[0] + fall * state.flows[1]) / (rise + fall);
        LineState { flows: [flow; 2], ..state }
    }

    /// The fall of a parted line has run empty.
    pub fn run_dry(&self, standing: &mut Standing, line: usize, states: &mut [f64]) {
        let state = self.line(line, states);
        standing.lines[line] = LineStand::Falling;
        let volumes = [state.volumes.iter().sum(), 0.0];
        self.set_line(line, LineState { flows: [state.flows[0]; 2], volumes }, states);
    }

    /// Water stands in the fall of a parted line again.
    pub fn stand_again(&self, standing: &mut Standing, line: usize, states: &mut [f64]) {
        let mut state = self.line(line, states);
        standing.lines[line] = LineStand::Parted;
        let least = 1e-9 * self.lines[line].fall();
        state.volumes = [state.volumes[0] - least, least];
        self.set_line(line, state, states);
    }

    /// Surge where a column that runs at a velocity, m/s, meets a panel's holes at once, Pa: the rise that Joukowsky's
    /// equation gives for the flow that the holes do not take.
    ///
    /// ```text
    /// rho a (V - V1) = (rho/2) (A V1/(Cd A_holes))^2
    /// ```
    /// `wave_speed`: m/s; of water in a rigid pipe it is an upper bound.
    pub fn slam(network: &Network, area: f64, velocity: f64, holes: f64, wave_speed: f64) -> f64 {
        let density = network.site.water_density;
        if holes <= 0.0 {
            return density * wave_speed * velocity;
        }
        let ratio = area / holes;
        // V1 of 0.5 r^2 V1^2 + a V1 - a V = 0
        let square = ratio * ratio;
        let rest = 2.0 * wave_speed * velocity
            / ((wave_speed * wave_speed + 2.0 * square * wave_speed * velocity).sqrt() + wave_speed);
        density * wave_speed * (velocity - rest)
    }

    /// Effective area of a panel's holes, m2; of other items none.
    pub fn hole_area(network: &Network, node: usize) -> f64 {
        match network.nodes[node].kind {
            NodeKind::Panel(k) => network.panels[k].effective_area(),
            _ => 0.0,
        }
    }
}
