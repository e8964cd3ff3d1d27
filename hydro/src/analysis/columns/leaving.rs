//! Air ahead of the water among the curves of the equations: every line and item that starts dry holds air at one pressure,
//! fronts push it on, and it leaves by holes, vents and open ends, or is compressed.
//!
//! ```text
//! (V/(n p)) dp/dt = water that comes in + air that comes from what is joined to it - air that leaves,    n = 1.4
//! p = p_outside + loss of the opening by which it leaves
//! ```
//! in volumes at its own pressure. Where it has no way out that is `p V^n` constant. Its pressure is one more state.

use super::build::{nodes_start, starts, vents};
use super::load::Step;
use super::{Columns, LineStand, NodeStand, Parts, Standing};
use crate::analysis::hydraulics::Hydraulics;
use crate::component::Fill;
use crate::component::air_outlet::AirOutlet;
use crate::component::law::{Law, Quadratic, circle};
use crate::network::{Network, NodeKind, PassageKind};

/// What holds air.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Place {
    /// A line; its passage.
    Line(usize),
    /// A node.
    Node(usize),
}

/// What holds air, with its place in the equations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct AirCell {
    pub place: Place,
    /// Its pressure among the heads that are found, Pa.
    pub point: usize,
    /// Curve to the outside, and the pressure there among the given heads.
    curve: usize,
    fixed: usize,
    /// Curve to what is stored, and the pressure at the start of a step among the given heads.
    store: usize,
    before: usize,
}

/// Where air goes from one to the other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct AirLink {
    curve: usize,
    through: Through,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Through {
    /// The end of a line: line, side and node.
    End(usize, usize, usize),
    /// A passage without a column.
    Passage(usize),
}

/// How the air of a cell stands.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AirStand {
    /// Whether there is any, in a volume of its own.
    pub stored: bool,
    /// Effective area of the opening by which it leaves, m2; 0 without one.
    pub outlet: f64,
}

/// Natural size of its pressure, Pa: at the usual tolerance of 1e-6 a step errs by 30 Pa at most. It drives nothing on for long,
/// forgets an error at once, and what drives the water is many bar; to follow it to 0.1 Pa takes a third more steps.
pub(super) const SIZE: f64 = 3e7;

/// Polytropic exponent of air that is compressed: adiabatic, the stiffest.
const EXPONENT: f64 = 1.4;

/// How many times the bores at an outfall are open behind them: the end of a line has lost its velocity head already.
const OPEN: f64 = 100.0;

/// Least share of the pressure outside that air counts as while a step is found.
const LEAST_PRESSURE: f64 = 1e-2;

/// Least share of its volume that air counts as, lest it vanish.
const LEAST: f64 = 1e-6;

/// Lines and nodes that start with air in them.
pub(super) fn places(network: &Network) -> Vec<Place> {
    let dry = |kind: &PassageKind| starts(kind).is_some_and(|fills| fills.contains(&Fill::Dry));
    let lines = network.passages.iter().enumerate().filter(|(_, passage)| dry(&passage.kind));
    let lines: Vec<Place> = lines.map(|(k, _)| Place::Line(k)).collect();
    let stands = nodes_start(network);
    let nodes = stands.iter().enumerate().filter(|(_, stand)| **stand == NodeStand::Dry);
    lines.into_iter().chain(nodes.map(|(node, _)| Place::Node(node))).collect()
}

/// Number of points that columns need besides those of the network at rest: pockets of air below vents, and what holds air.
pub fn pockets(network: &Network) -> usize {
    vents(network) + places(network).len()
}

/// What holds air, among the equations: points behind the pockets of vents, and a curve to the outside each.
pub(super) fn cells(parts: &mut Parts<'_>) -> Vec<AirCell> {
    let network = parts.network;
    let first = parts.pockets + vents(network);
    let placed = places(network).into_iter().enumerate();
    placed
        .map(|(k, place)| {
            let fixed = parts.given(network.site.ambient_pressure);
            let law = Law::Air(AirOutlet::new(1.0, network.site.ambient_pressure, &network.site));
            let curve = parts.curve(first + k, fixed, false, law);
            let before = parts.given(network.site.ambient_pressure);
            let law = Quadratic::new(0.0, 1.0, 1.0, network.site.water_density, 1.0);
            let store = parts.curve(first + k, before, false, Law::Quadratic(law));
            AirCell { place, point: first + k, curve, fixed: fixed - parts.free, store, before: before - parts.free }
        })
        .collect()
}

impl Columns {
    /// Point of the air in a line or a node.
    pub(super) fn air_point(&self, place: Place) -> Option<usize> {
        self.cells.iter().find(|cell| cell.place == place).map(|cell| cell.point)
    }

    /// Adds the ways of the air from one line or item to the other.
    pub(super) fn link_air(&mut self, parts: &mut Parts<'_>) {
        let network = parts.network;
        let site = &network.site;
        let air = AirOutlet::density(site);
        for (k, line) in self.lines.iter().enumerate() {
            let Some(own) = self.air_point(Place::Line(line.passage)) else { continue };
            for (side, &node) in line.ends.iter().enumerate() {
                if let Some(other) = self.air_point(Place::Node(node)) {
                    let law = Quadratic::new(1.0, line.area, 1.0, air, 20.0);
                    let curve = parts.curve(own, other, false, Law::Quadratic(law));
                    self.links.push(AirLink { curve, through: Through::End(k, side, node) });
                }
            }
        }
        for (k, passage) in network.passages.iter().enumerate() {
            let law = match &passage.kind {
                PassageKind::Valve(valve) => valve.law(1.0, site),
                PassageKind::Crossover(crossover) => crossover.law(site),
                PassageKind::Pipe(_) | PassageKind::WeirPipe(_) => continue,
            };
            let ends = [passage.from, passage.to].map(|node| self.air_point(Place::Node(node)));
            if let [Some(from), Some(to)] = ends {
                // As water, at the density of air.
                let curve = parts.curve(from, to, false, law.share((site.water_density / air).sqrt()));
                self.links.push(AirLink { curve, through: Through::Passage(k) });
            }
        }
    }

    /// Says how the air of each cell stands and where it goes on, as the water stands. `open`: passages that are not shut.
    pub fn find_air(&self, standing: &mut Standing, network: &Network, open: &[bool], states: &[f64]) {
        let airy = |node: usize| standing.nodes[node] != NodeStand::Full;
        let links = self.links.iter().map(|link| match link.through {
            Through::End(k, side, node) => {
                let reached = self.line(k, states).volumes[side] > 0.0;
                standing.lines[k] == LineStand::Filling && airy(node) && !reached
            }
            Through::Passage(k) => open[k] && airy(network.passages[k].from) && airy(network.passages[k].to),
        });
        let links: Vec<bool> = links.collect();
        let none = AirStand::default();
        let stands = self.cells.iter().map(|cell| match cell.place {
            Place::Line(passage) => match self.line_of(passage) {
                Some(k) if standing.lines[k] == LineStand::Filling => {
                    AirStand { stored: true, outlet: self.vent_area(network, k, states) }
                }
                _ => none,
            },
            Place::Node(node) if airy(node) => {
                let outlet = match network.nodes[node].kind {
                    NodeKind::Panel(k) => network.panels[k].effective_area(),
                    NodeKind::Outfall { .. } => OPEN * self.feeds[node],
                    NodeKind::Tank(_) | NodeKind::Header => 0.0,
                };
                AirStand { stored: self.basin_of(node).is_some(), outlet }
            }
            Place::Node(_) => none,
        });
        standing.air = stands.collect();
        standing.links = links;
    }

    /// Volume of the air in a cell that has one of its own, m3, and that when it is empty.
    fn air_volume(&self, cell: &AirCell, states: &[f64]) -> Option<(f64, f64)> {
        let (all, water) = match cell.place {
            Place::Line(passage) => {
                let k = self.line_of(passage)?;
                (self.lines[k].volume, self.line(k, states).volumes.iter().sum::<f64>())
            }
            Place::Node(node) => {
                let basin = self.basin_of(node)?;
                (self.basins[basin].volume, states[self.basin_index(basin)])
            }
        };
        Some((all - water, all))
    }

    /// Effective area of the vent of a line that water has not come to, m2; 0 without one.
    pub(super) fn vent_area(&self, network: &Network, k: usize, states: &[f64]) -> f64 {
        let line = &self.lines[k];
        let PassageKind::WeirPipe(weir) = &network.passages[line.passage].kind else { return 0.0 };
        let [rise, fall] = self.line(k, states).volumes;
        let vent = weir.vent.filter(|_| rise <= line.rise && fall <= line.fall());
        vent.map_or(0.0, |vent| vent.discharge_coefficient * circle(vent.bore))
    }

    /// Says which curves of the air take part.
    pub(super) fn choose_air(&self, standing: &Standing, wanted: &mut [bool]) {
        for (cell, stand) in self.cells.iter().zip(&standing.air) {
            wanted[cell.curve] = stand.outlet > 0.0;
            wanted[cell.store] = stand.stored;
        }
        for (link, open) in self.links.iter().zip(&standing.links) {
            wanted[link.curve] = *open;
        }
    }

    /// Gives the air its outside, and what is stored over a step.
    pub(super) fn load_air(&self, equations: &mut Hydraulics, network: &Network, standing: &Standing, step: &Step<'_>) {
        let site = &network.site;
        for (index, (cell, stand)) in self.cells.iter().zip(&standing.air).enumerate() {
            if stand.outlet > 0.0 {
                let outside = match cell.place {
                    Place::Line(_) => site.ambient_pressure,
                    Place::Node(node) => match network.nodes[node].kind {
                        NodeKind::Panel(k) => network.panels[k].outside(step.time, site),
                        NodeKind::Outfall { pressure } => pressure,
                        NodeKind::Tank(_) | NodeKind::Header => site.ambient_pressure,
                    },
                };
                let law = Law::Air(AirOutlet::new(stand.outlet, outside, site));
                if equations.links().curve(cell.curve).law != law {
                    equations.set_law(cell.curve, law);
                }
                equations.set_fixed(cell.fixed, outside);
            }
            let at = self.cell_index(index);
            if let Some((volume, all)) = self.air_volume(cell, step.states).filter(|_| stand.stored) {
                let stiffness =
                    EXPONENT * step.states[at].max(LEAST_PRESSURE * site.ambient_pressure) / volume.max(LEAST * all);
                equations.set_fixed(cell.before, step.base[at]);
                equations.set_linear(cell.store, stiffness * step.reach, 0.0);
            }
        }
    }

    /// Rates of the pressures of the air over a step just solved.
    pub(super) fn air_rates(&self, equations: &Hydraulics, standing: &Standing, step: &Step<'_>, rates: &mut [f64]) {
        for (index, (cell, stand)) in self.cells.iter().zip(&standing.air).enumerate() {
            let at = self.cell_index(index);
            let pressure = equations.head(cell.point).filter(|_| stand.stored);
            rates[at] = pressure.map_or(0.0, |pressure| (pressure - step.base[at]) / step.reach);
        }
    }

    /// Place of the pressure of a cell of air among the states.
    pub(super) fn cell_index(&self, cell: usize) -> usize {
        self.basin_index(self.basins.len()) + cell
    }
}
