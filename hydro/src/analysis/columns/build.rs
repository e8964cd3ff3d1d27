//! Puts lines and basins among the curves of a network's equations, and says how the water stands at the start.

use super::follow::{GAS_LOSS, GasWay, Way, behind, ways};
use super::leaving::{Place, cells};
use super::{Basin, Columns, Full, Line, LineStand, LineState, NodeStand, Parting, Standing};
use crate::analysis::links::Links;
use crate::component::Fill;
use crate::component::air_outlet::AirOutlet;
use crate::component::law::{Law, Quadratic, circle};
use crate::component::weir_pipe::WeirPipe;
use crate::fluid::site::Site;
use crate::network::{Network, NodeKind, PassageKind};

/// Loss coefficient on the summed bores at which water enters an item that is not full.
const INLET: f64 = 1.0;

/// What the equations are made of, while they are made.
pub struct Parts<'p> {
    /// The network.
    pub network: &'p Network,
    /// Points at both ends of each passage.
    pub ends: &'p [[usize; 2]],
    /// Points of the cells of a panel and their shares in it.
    pub cells: &'p dyn Fn(usize) -> Vec<(usize, f64)>,
    /// Number of points whose head is found.
    pub free: usize,
    /// First free point that is the pocket of a vented weir pipe.
    pub pockets: usize,
    /// Given heads, behind the free ones.
    pub fixed: &'p mut Vec<f64>,
    /// Links with their curves.
    pub links: &'p mut Links,
}

impl Parts<'_> {
    pub(super) fn given(&mut self, head: f64) -> usize {
        self.fixed.push(head);
        self.free + self.fixed.len() - 1
    }

    pub(super) fn curve(&mut self, from: usize, to: usize, one_way: bool, law: Law) -> usize {
        let link = self.links.push(from, to, one_way, law);
        self.links.set_active(link, false);
        link
    }

    /// Point of a node, as a passage at it has it.
    fn point(&self, node: usize) -> Option<usize> {
        let mut passages = self.network.passages.iter().zip(self.ends);
        passages.find_map(|(passage, ends)| match (passage.from == node, passage.to == node) {
            (true, _) => Some(ends[0]),
            (_, true) => Some(ends[1]),
            _ => None,
        })
    }

    /// What gas needs to come to a header whose passages have so much area, m2.
    fn gas_way(&mut self, way: Way, area: f64) -> Option<GasWay> {
        let (point, source) = (self.point(way.node)?, self.point(self.network.tanks[way.tank].node)?);
        let fixed = self.given(0.0);
        let law = Quadratic::new(GAS_LOSS, area, 1.0, self.network.site.water_density, 3.0);
        let curve = self.curve(fixed, point, true, Law::Quadratic(law));
        Some(GasWay { way, curve, fixed: fixed - self.free, source })
    }
}

/// Number of lines whose legs can part.
pub(super) fn vents(network: &Network) -> usize {
    network.passages.iter().filter(|p| vent_of(&p.kind).is_some()).count()
}

/// The weir pipe whose legs can part, if a passage is one.
fn vent_of(kind: &PassageKind) -> Option<&WeirPipe> {
    match kind {
        PassageKind::WeirPipe(weir) if weir.vent.is_some() && starts(kind).is_some() => Some(weir),
        _ => None,
    }
}

/// How full a pipe or weir pipe is at the start: of its start and of its end; `None` for other passages, and for one without
/// length, which holds no water to be set moving.
pub(super) fn starts(kind: &PassageKind) -> Option<[Fill; 2]> {
    match kind {
        PassageKind::Pipe(pipe) => (pipe.length > 0.0).then_some([pipe.starts; 2]),
        PassageKind::WeirPipe(weir) => {
            (weir.rise.length + weir.fall.length > 0.0).then_some([weir.rise.starts, weir.fall.starts])
        }
        PassageKind::Valve(_) | PassageKind::Crossover(_) => None,
    }
}

impl Columns {
    /// Lines and basins of a network, with the curves that they need besides those of a network at rest. Those of vented
    /// weir pipes come later: their places are told with [`Self::set_weir`]. `carriers`: for each passage its parallel
    /// curves with their shares; none of a vented weir pipe.
    pub fn build(parts: &mut Parts<'_>, carriers: Vec<Vec<(usize, f64)>>) -> Columns {
        let network = parts.network;
        let mut columns = Columns { feeds: feeds(network), ..Columns::default() };
        let mut pocket = parts.pockets;
        columns.cells = cells(parts);
        let ways = ways(network);
        for ((index, passage), carriers) in network.passages.iter().enumerate().zip(carriers) {
            let Some(fills) = starts(&passage.kind) else { continue };
            let points = parts.ends[index];
            let height = |node: usize| network.nodes[node].elevation;
            let (length, rise, apex) = match &passage.kind {
                PassageKind::WeirPipe(weir) => (weir.rise.length + weir.fall.length, weir.rise.length, weir.apex),
                PassageKind::Pipe(pipe) => (pipe.length, pipe.length, height(passage.to)),
                PassageKind::Valve(_) | PassageKind::Crossover(_) => continue,
            };
            let area = passage.kind.area();
            let mut line = Line {
                passage: index,
                ends: [passage.from, passage.to],
                area,
                volume: area * length,
                rise: area * rise,
                heights: [height(passage.from), apex, height(passage.to)],
                full: if carriers.is_empty() { Full::Weir(usize::MAX) } else { Full::Curves(carriers) },
                fronts: None,
                parting: None,
                behind: behind(network, &ways, index),
                drains: Default::default(),
            };
            line.drains = [0, 1].map(|side| line.drains(network, side, points, parts.links));
            if let Some(air) = columns.air_point(Place::Line(index)).filter(|_| fills.contains(&Fill::Dry)) {
                line.fronts = Some([0, 1].map(|side| {
                    let law = line.front_law(&passage.kind, side, line.volume, network);
                    parts.curve(points[side], air, true, law)
                }));
            }
            if let Some(weir) = vent_of(&passage.kind) {
                line.parting = Some(parting(parts, weir, points, pocket));
                pocket += 1;
            }
            columns.lines.push(line);
        }
        for (node, data) in network.nodes.iter().enumerate() {
            let NodeKind::Panel(k) = data.kind else { continue };
            let panel = &network.panels[k];
            let volume = panel.gap.unwrap_or(0.0) * panel.area;
            let air = columns.air_point(Place::Node(node));
            if let Some(air) = air.filter(|_| panel.starts == Fill::Dry && volume > 0.0) {
                let law = Quadratic::new(INLET, columns.feeds[node].max(1e-6), 1.0, network.site.water_density, 3.0);
                let cells = (parts.cells)(k).into_iter();
                let curves =
                    cells.map(|(point, share)| parts.curve(point, air, true, Law::Quadratic(law).share(share)));
                let curves = curves.collect();
                columns.basins.push(Basin { node, volume, curves });
            }
        }
        columns.link_air(parts);
        columns.ways = ways.into_iter().filter_map(|way| parts.gas_way(way, columns.feeds[way.node])).collect();
        columns
    }

    /// Says which vented weir pipe of the equations a passage is.
    pub fn set_weir(&mut self, passage: usize, weir: usize) {
        if let Some(line) = self.lines.iter_mut().find(|line| line.passage == passage) {
            line.full = Full::Weir(weir);
        }
    }

    /// How the water stands at the start, and the states of the columns: at rest.
    pub fn start(&self, network: &Network) -> (Standing, Vec<f64>) {
        let mut standing = Standing::default();
        let mut states = vec![0.0; self.states()];
        for (k, line) in self.lines.iter().enumerate() {
            let fills = starts(&network.passages[line.passage].kind).unwrap_or_default();
            let full = fills == [Fill::Full; 2];
            standing.lines.push(if full { LineStand::Full } else { LineStand::Filling });
            let volumes = match fills {
                [Fill::Full, Fill::Full] => [line.volume, 0.0],
                [Fill::Full, Fill::Dry] => [line.rise, 0.0],
                [Fill::Dry, Fill::Full] => [0.0, line.fall()],
                [Fill::Dry, Fill::Dry] => [0.0; 2],
            };
            self.set_line(k, LineState { flows: [0.0; 2], volumes }, &mut states);
        }
        for cell in 0..self.cells.len() {
            states[self.cell_index(cell)] = network.site.ambient_pressure;
        }
        standing.nodes = nodes_start(network);
        standing.gas = vec![false; network.nodes.len()];
        standing.rests = vec![true; self.lines.len()];
        standing.held = vec![[0.0; 2]; self.lines.len()];
        (standing, states)
    }
}

/// How nodes stand at the start. Tanks hold water; a panel as its `starts` says; a header is dry where every line at it begins dry
/// there, and so is an outfall at ambient pressure.
pub(super) fn nodes_start(network: &Network) -> Vec<NodeStand> {
    // Whether any line begins dry at a node, and whether any begins full there.
    let mut begins = vec![[false; 2]; network.nodes.len()];
    for passage in &network.passages {
        let fills = starts(&passage.kind).into_iter().flatten();
        for (end, fill) in [passage.from, passage.to].into_iter().zip(fills) {
            begins[end][usize::from(fill == Fill::Full)] = true;
        }
    }
    let at_ambient = |pressure: f64| pressure <= network.site.ambient_pressure * (1.0 + 1e-9);
    let stand = network.nodes.iter().zip(begins).map(|(node, [dry, full])| {
        let dry = match node.kind {
            NodeKind::Tank(_) => false,
            NodeKind::Outfall { pressure } => at_ambient(pressure) && dry && !full,
            NodeKind::Panel(k) => network.panels[k].starts == Fill::Dry,
            NodeKind::Header => dry && !full,
        };
        if dry { NodeStand::Dry } else { NodeStand::Full }
    });
    stand.collect()
}

/// One velocity head on an area, m2: in place of the law of what is no line.
pub(super) fn still(area: f64, site: &Site) -> Quadratic {
    Quadratic::new(1.0, area, 1.0, site.water_density, 3.0)
}

/// Summed area of the passages at each node, m2.
fn feeds(network: &Network) -> Vec<f64> {
    let mut areas = vec![0.0; network.nodes.len()];
    for passage in &network.passages {
        areas[passage.from] += passage.kind.area();
        areas[passage.to] += passage.kind.area();
    }
    areas
}

fn parting(parts: &mut Parts<'_>, weir: &WeirPipe, [from, to]: [usize; 2], pocket: usize) -> Parting {
    let site = &parts.network.site;
    let outside = parts.given(weir.apex_head(site));
    let vent = weir.vent.map_or(0.0, |vent| vent.discharge_coefficient * circle(vent.bore)).max(1e-9);
    let air = AirOutlet::density(site);
    Parting {
        rise: parts.curve(from, pocket, true, weir.jet_law(&weir.rise, site)),
        fall: parts.curve(pocket, to, false, weir.leg_law(&weir.fall, site)),
        vent: parts.curve(outside, pocket, false, Law::Quadratic(Quadratic::new(1.0, vent, 1.0, air, 20.0))),
    }
}

impl Line {
    /// Law of the water behind a front that has come in so far, m3, from an end (0: the start): its friction, the losses
    /// that it has passed, and the velocity head of the front.
    pub(super) fn front_law(&self, kind: &PassageKind, side: usize, volume: f64, network: &Network) -> Law {
        let length = volume / self.area;
        match kind {
            PassageKind::WeirPipe(weir) => {
                let (first, second, turn) = if side == 0 {
                    (weir.rise.loss_coefficient, weir.fall.loss_coefficient, self.rise)
                } else {
                    (weir.fall.loss_coefficient, weir.rise.loss_coefficient, self.fall())
                };
                let passed = first + if volume > turn { second } else { 0.0 };
                weir.law_of(length, passed + 1.0, &network.site)
            }
            PassageKind::Pipe(pipe) => pipe.law_of(length, pipe.loss_coefficient + 1.0, &network.site),
            PassageKind::Valve(_) | PassageKind::Crossover(_) => Law::Quadratic(still(self.area, &network.site)),
        }
    }
}
