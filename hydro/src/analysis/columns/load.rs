//! Puts the columns of one instant or one step into the equations, and reads their flows.

use super::{Columns, Full, Line, LineStand, LineState, NodeStand, Standing};
use crate::analysis::hydraulics::{Hydraulics, WeirMode};
use crate::network::{Network, PassageKind};

/// Share of a line's volume below which its front does not fall back.
const LEAST: f64 = 1e-3;

/// How much above that, as a multiple, a front that falls back is stopped.
const STOPPED: f64 = 1.01;

/// Depth of water that begins to stand in an empty fall, m.
const HAND: f64 = 0.1;

/// A step of time, or an instant as a very short one.
#[derive(Debug, Clone, Copy)]
pub struct Step<'s> {
    /// Time at its end, s.
    pub time: f64,
    /// Its length, s: flows change by what sets them moving over it.
    pub reach: f64,
    /// States of the columns at its start.
    pub base: &'s [f64],
    /// States of the columns at its end, as far as known.
    pub states: &'s [f64],
}

impl Columns {
    /// Says which curves take part as the water stands. `open`: for each passage, whether it is not shut; `gas`: for each node,
    /// whether the gas of a tank can flow on from there.
    pub fn choose(
        &self,
        equations: &mut Hydraulics,
        standing: &Standing,
        (open, gas): (&[bool], &[bool]),
        wanted: &mut [bool],
    ) {
        for (line, &stand) in self.lines.iter().zip(&standing.lines) {
            let open = open[line.passage];
            let wet = line.ends.map(|node| standing.nodes[node] == NodeStand::Full);
            let reached = line.ends.map(|node| standing.nodes[node] != NodeStand::Dry);
            // A full line runs into an item that is filling, but not between two of them.
            let full = stand == LineStand::Full && open && reached.iter().all(|&r| r) && wet.iter().any(|&w| w);
            match &line.full {
                Full::Curves(curves) => curves.iter().for_each(|&(curve, _)| wanted[curve] = full),
                &Full::Weir(weir) => {
                    let falling = stand == LineStand::Falling && open;
                    let first = equations.weirs()[weir].full;
                    wanted[first..first + 3].fill(full || falling);
                    equations.set_weir_mode(weir, if falling { WeirMode::Forward } else { WeirMode::Full });
                }
            }
            if let Some(fronts) = &line.fronts {
                for (front, wet) in fronts.iter().zip(wet) {
                    wanted[*front] = stand == LineStand::Filling && open && wet;
                }
            }
            for (side, drains) in line.drains.iter().enumerate() {
                let drains_so = stand == LineStand::Draining(side) || (stand == LineStand::Venting && side == 0);
                let drain = drains_so && open && reached[1 - side];
                drains.iter().for_each(|&(curve, _)| wanted[curve] = drain);
            }
            if let Some(parting) = line.parting {
                let parted = stand == LineStand::Parted && open;
                for curve in [parting.rise, parting.fall, parting.vent] {
                    wanted[curve] = parted;
                }
            }
        }
        self.choose_air(standing, wanted);
        for at in &self.ways {
            wanted[at.curve] = gas[at.way.node];
        }
        for basin in &self.basins {
            let filling = standing.nodes[basin.node] == NodeStand::Filling;
            basin.curves.iter().for_each(|&curve| wanted[curve] = filling);
        }
    }

    /// Gives the curves the parts of their losses that set the columns moving over a step.
    pub fn load(&self, equations: &mut Hydraulics, network: &Network, standing: &Standing, step: &Step<'_>) {
        let site = &network.site;
        let weight = site.water_density * site.gravity;
        self.load_gas(equations, network, standing);
        for (k, (line, &stand)) in self.lines.iter().zip(&standing.lines).enumerate() {
            let (base, now) = (self.line(k, step.base), self.line(k, step.states));
            let column = |equations: &mut Hydraulics, curve: usize, volume: f64, before: f64, lift: f64| {
                let inertia = line.inertance(volume, site.water_density) / step.reach;
                equations.set_linear(curve, inertia, inertia * before + lift);
            };
            match stand {
                LineStand::Full | LineStand::Falling => match &line.full {
                    Full::Curves(curves) => {
                        for &(curve, share) in curves {
                            column(equations, curve, line.volume / share, share * base.flows[0], 0.0);
                        }
                    }
                    &Full::Weir(weir) => {
                        let weir = equations.weirs()[weir];
                        column(equations, weir.full, line.volume, base.flows[0], 0.0);
                        if stand == LineStand::Falling {
                            let drains = self.gas_side(standing, k).is_some();
                            self.load_rise(equations, network, (k, weir.forward), step, drains);
                        } else {
                            column(equations, weir.forward, line.rise, base.flows[0], 0.0);
                        }
                        column(equations, weir.backward, line.fall(), -base.flows[0], 0.0);
                    }
                },
                LineStand::Filling => {
                    let Some(fronts) = &line.fronts else { continue };
                    for (side, &front) in fronts.iter().enumerate() {
                        let volume = now.volumes[side].clamp(0.0, line.volume);
                        let law = line.front_law(&network.passages[line.passage].kind, side, volume, network);
                        let place = if side == 0 { volume } else { line.volume - volume };
                        equations.set_law(front, law);
                        // A front may fall back, but not out of the line.
                        let least = (LEAST * line.volume).max(standing.held[k][side]);
                        equations.set_one_way(front, volume <= least);
                        column(equations, front, volume, base.flows[side], -weight * line.height(place));
                    }
                }
                LineStand::Draining(side) => self.load_drain(equations, network, (k, side), step),
                LineStand::Venting => self.load_drain(equations, network, (k, 0), step),
                LineStand::Drained(_) => {}
                LineStand::Parted => {
                    let Some(parting) = line.parting else { continue };
                    let volume = now.volumes[1].clamp(0.0, line.fall());
                    if let PassageKind::WeirPipe(weir) = &network.passages[line.passage].kind {
                        let law = weir.law_of(volume / line.area, weir.fall.loss_coefficient, site);
                        equations.set_law(parting.fall, law);
                    }
                    let sunk = weight * (line.heights[1] - line.height(line.volume - volume));
                    let drains = self.gas_side(standing, k).is_some();
                    self.load_rise(equations, network, (k, parting.rise), step, drains);
                    // What comes over the apex brings its velocity head along.
                    let velocity = now.flows[0] / line.area;
                    let brought = 0.5 * site.water_density * velocity * velocity;
                    column(equations, parting.fall, volume, base.flows[1], brought - sunk);
                }
            }
        }
        for basin in self.basins.iter().filter(|basin| standing.nodes[basin.node] == NodeStand::Filling) {
            let lift = -weight * network.nodes[basin.node].elevation;
            basin.curves.iter().for_each(|&curve| equations.set_linear(curve, 0.0, lift));
        }
        self.load_air(equations, network, standing, step);
    }

    /// Flows at both ends of a line, as its states have them.
    pub fn flows(&self, equations: &Hydraulics, standing: &Standing, line: usize) -> [f64; 2] {
        let data = &self.lines[line];
        match (standing.lines[line], &data.fronts, data.parting) {
            (LineStand::Full | LineStand::Falling, _, _) => {
                let flow = match &data.full {
                    Full::Curves(curves) => curves.iter().map(|&(curve, _)| equations.flow(curve)).sum(),
                    &Full::Weir(weir) if equations.links().link(equations.weirs()[weir].full).active => {
                        equations.weir_flow(weir).flow
                    }
                    Full::Weir(_) => 0.0,
                };
                [flow; 2]
            }
            (LineStand::Draining(_) | LineStand::Venting, _, _) => {
                let side = usize::from(standing.lines[line] == LineStand::Draining(1));
                let flow = self.drain_flow(equations, line, side);
                [if side == 0 { flow } else { -flow }; 2]
            }
            (LineStand::Filling, Some(fronts), _) => fronts.map(|front| equations.flow(front)),
            (LineStand::Parted, _, Some(parting)) => [equations.flow(parting.rise), equations.flow(parting.fall)],
            _ => [0.0; 2],
        }
    }

    /// Flow out of the item at the start of a line and into the one at its end, m3/s.
    pub fn end_flows(&self, equations: &Hydraulics, standing: &Standing, line: usize) -> [f64; 2] {
        let [a, b] = self.flows(equations, standing, line);
        if standing.lines[line] == LineStand::Filling { [a, -b] } else { [a, b] }
    }

    /// Water that gathers in a basin, m3/s.
    pub fn gathering(&self, equations: &Hydraulics, basin: usize) -> f64 {
        self.basins[basin].curves.iter().map(|&curve| equations.flow(curve)).sum()
    }

    /// Rates of the states of the columns over a step just solved.
    pub fn rates(&self, equations: &Hydraulics, standing: &Standing, step: &Step<'_>, rates: &mut [f64]) {
        for k in 0..self.lines.len() {
            let flows = self.flows(equations, standing, k);
            let base = self.line(k, step.base);
            let gas = self.gas_side(standing, k).is_some();
            let drains = if gas { -flows[0] } else { 0.0 };
            let volumes = match standing.lines[k] {
                LineStand::Full | LineStand::Drained(_) => [0.0; 2],
                LineStand::Falling => [drains, 0.0],
                LineStand::Draining(side) => [-self.drain_flow(equations, k, side), 0.0],
                LineStand::Venting => [-self.drain_flow(equations, k, 0), 0.0],
                LineStand::Filling => flows,
                LineStand::Parted => [drains, flows[0] - flows[1]],
            };
            let faster = [0, 1].map(|side| (flows[side] - base.flows[side]) / step.reach);
            self.set_line(k, LineState { flows: faster, volumes }, rates);
        }
        for basin in 0..self.basins.len() {
            rates[self.basin_index(basin)] = self.gathering(equations, basin);
        }
        self.air_rates(equations, standing, step, rates);
    }

    /// Static pressure at the apex of a full vented weir pipe above ambient, Pa, from the head at its start.
    pub fn apex_margin(&self, equations: &Hydraulics, network: &Network, line: usize, head: f64) -> Option<f64> {
        let data = &self.lines[line];
        let (&Full::Weir(weir), PassageKind::WeirPipe(pipe)) = (&data.full, &network.passages[data.passage].kind)
        else {
            return None;
        };
        let site = &network.site;
        let flow = equations.weir_flow(weir).flow;
        let curve = equations.links().curve(equations.weirs()[weir].full);
        // What sets the rise moving is its share of what sets the whole line moving.
        let moving = (curve.linear * flow - curve.offset) * data.rise / data.volume;
        let loss = pipe.leg_law(&pipe.rise, site).loss(flow).value;
        let velocity = flow / data.area;
        Some(head - loss - moving - 0.5 * site.water_density * velocity * velocity - pipe.apex_head(site))
    }
}

impl Line {
    /// Water, m3, that a front falls back to at least; `held`: that to which it has fallen back before.
    pub(super) fn least_front(&self, held: f64) -> f64 {
        (STOPPED * LEAST * self.volume).max(1.0005 * held)
    }

    /// Water that a front with so much behind it, m3, which runs in with a flow, m3/s, has left before it has fallen back as far as
    /// it can; all of the line's where it does not fall back.
    pub fn left_to_fall(&self, (volume, flow): (f64, f64), held: f64) -> f64 {
        let falls = flow < 0.0 && !self.is_still(flow) && volume > held.max(LEAST * self.volume);
        if falls { volume - self.least_front(held) } else { self.volume }
    }

    /// Head at the end of an empty fall above which water begins to stand in it, Pa: that of its end open to the air, a hand's
    /// breadth of water, and what the flow that falls through brings of its velocity head.
    pub fn open_end(&self, network: &Network, flow: f64) -> f64 {
        let site = &network.site;
        let loss = match &network.passages[self.passage].kind {
            PassageKind::WeirPipe(weir) => weir.fall.loss_coefficient,
            _ => 0.0,
        };
        let brought = 0.5 * site.water_density * (flow / self.area).powi(2) * (1.0 - loss).max(0.0);
        site.ambient_pressure + site.water_density * site.gravity * (self.heights[2] + HAND) + brought
    }
}
