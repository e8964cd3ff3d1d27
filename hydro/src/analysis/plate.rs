//! The inside of the panels in the equations: a point a cell, curves through the holes and between neighbours.
//!
//! A panel of one cell is one point. Else neighbouring cells are joined by the law of the gap between their middles,
//! and a passage that ends at the panel is a bundle of parallel streams, one for each cell that its ports open into.
//! A stream that enters at an edge passes a point there and half a cell of gap. A vented weir pipe has one apex for all its
//! water: it ends at one point, its mouth, from which the cells behind are fed.

mod row;

use super::links::Links;
use crate::component::cells::{Cells, Opening};
use crate::component::law::{Law, Quadratic};
use crate::component::panel::Panel;
use crate::component::port::Port;
use crate::component::weave::Weave;
use crate::few::Few;
use crate::fluid::site::Site;
use crate::network::{Network, NodeKind, Passage, PassageKind};

/// No curve: a cell without open holes.
const NONE: u32 = u32::MAX;

/// Curves of the holes of each cell of a panel.
#[derive(Debug)]
enum Holes {
    /// One a cell, from the first on.
    All { first: u32, cells: u32 },
    /// Where some cells have no open holes.
    Some(Vec<u32>),
}

impl Holes {
    /// The curve of a cell.
    fn get(&self, cell: usize) -> u32 {
        match self {
            Holes::All { first, cells } if cell < *cells as usize => first + cell as u32,
            Holes::All { .. } => NONE,
            Holes::Some(curves) => curves.get(cell).copied().unwrap_or(NONE),
        }
    }
}

/// The inside of one panel.
#[derive(Debug)]
pub struct Inside {
    /// Its cells.
    pub cells: Cells,
    /// Point of the first cell; the others follow.
    pub point: usize,
    /// Fixed head, counted from the first, outside the holes of the first cell; the others follow.
    pub outside: usize,
    holes: Holes,
    /// What the plume's pattern adds in the middle of each cell, Pa; empty where it is the same in all.
    plume: Vec<f64>,
}

impl Inside {
    /// Curve of the holes of a cell; `None` where it has no open ones.
    pub fn hole(&self, cell: usize) -> Option<usize> {
        Some(self.holes.get(cell)).filter(|&curve| curve != NONE).map(|curve| curve as usize)
    }

    /// Pressure outside the holes of a cell at a time, s, Pa: of several cells that in its middle, of one the mean.
    pub fn outside_of(&self, panel: &Panel, cell: usize, time: f64, site: &Site) -> f64 {
        match (self.plume.get(cell), &panel.plume_pressure) {
            (Some(&excess), Some(load)) => load.value(excess, time),
            _ => panel.outside(time, site),
        }
    }

    /// Points of the cells and their shares in the area of the panel.
    pub fn points(&self, panel: &Panel) -> Vec<(usize, f64)> {
        let cells = self.cells.cells.iter().enumerate();
        cells.map(|(k, cell)| (self.point + k, cell.area / panel.area)).collect()
    }

    /// Curves of the holes.
    #[inline]
    pub fn holes(&self) -> impl Iterator<Item = usize> + '_ {
        let (row, list) = match &self.holes {
            Holes::All { first, cells } => (*first..first + cells, &[][..]),
            Holes::Some(curves) => (0..0, &curves[..]),
        };
        row.chain(list.iter().copied().filter(|&curve| curve != NONE)).map(|curve| curve as usize)
    }
}

/// A stream of a passage between two cells, or a cell and another item.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stream {
    /// Points at its ends; `None` where an item of one point is.
    pub ends: [Option<usize>; 2],
    /// Share in the passage, 0 to 1.
    pub share: f64,
    /// Its curve.
    pub curve: usize,
}

/// Half a cell of gap between the point at an edge and that of a cell.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Way {
    panel: usize,
    cell: usize,
    edge: usize,
    width: f64,
    length: f64,
    /// Into the panel, where every port of the passage has the same direction.
    inward: Option<[f64; 2]>,
}

/// A passage that has to stay one stream, and the points of its mouths at its ends, where it has any.
type Mouths = (usize, [Option<usize>; 2]);

/// A part of the mouth of a passage in one of the plates: what lies over one cell.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Mouth {
    panel: usize,
    cell: usize,
    point: usize,
    area: f64,
}

/// Loss coefficient on the velocity in the mouth between it and the cells below: least where several share it, so that what
/// each takes is decided by the gap; at 5 m/s it loses 12 Pa.
const MOUTH_LOSS: f64 = 1e-3;

/// Finds the weaves of panels one after the other; most have cells of one shape.
#[derive(Debug, Default)]
struct Weaver {
    known: Option<(f64, Option<Weave>)>,
}

impl Weaver {
    /// The weave of the cells of a panel; `None` for a row and for long cells.
    fn of(&mut self, cells: &Cells) -> Option<Weave> {
        if cells.lines.contains(&1) {
            return None;
        }
        let aspect = cells.step[1] / cells.step[0];
        match self.known {
            Some((known, weave)) if (aspect / known - 1.0).abs() < 1e-12 => weave,
            _ => {
                let weave = Weave::new(cells.step);
                self.known = Some((aspect, weave));
                weave
            }
        }
    }
}

/// The insides of all panels, and the streams that end at their cells.
#[derive(Debug, Default)]
pub struct Plate {
    /// Of every panel.
    pub insides: Vec<Inside>,
    /// Streams of the passages with ports, passage by passage.
    pub streams: Vec<Stream>,
    ways: Vec<Way>,
    mouths: Vec<Mouth>,
}

impl Plate {
    /// Numbers the points of the free nodes from 0 on: a header has one, a panel one a cell. Gives the plate, the first
    /// point of each node (0 for those that are not free), and the number of points.
    pub fn number(network: &Network) -> (Plate, Vec<usize>, usize) {
        let inside = |panel: &Panel| {
            let cells = panel.inside();
            let load = panel.plume_pressure.as_ref().filter(|load| load.pattern.is_some() && !panel.is_lumped());
            let plume = load.map_or_else(Vec::new, |load| {
                cells.cells.iter().filter_map(|cell| load.excess_at(cell.center)).collect()
            });
            Inside { cells, point: 0, outside: 0, holes: Holes::Some(Vec::new()), plume }
        };
        let insides = network.panels.iter().map(inside).collect();
        let mut plate = Plate { insides, ..Plate::default() };
        let mut free = 0;
        let mut points = vec![0; network.nodes.len()];
        for (point, node) in points.iter_mut().zip(&network.nodes) {
            *point = free;
            match node.kind {
                NodeKind::Header => free += 1,
                NodeKind::Panel(k) => {
                    plate.insides[k].point = free;
                    free += plate.insides[k].cells.cells.len();
                }
                NodeKind::Tank(_) | NodeKind::Outfall { .. } => *point = 0,
            }
        }
        (plate, points, free)
    }

    /// Adds the passages with ports, with points at edges and mouths from `free` on. Gives how many streams each has, and the
    /// points at which the vented weir pipes among them end.
    pub fn add_ports(&mut self, network: &Network, free: &mut usize) -> (Vec<usize>, Vec<Mouths>) {
        let mut streams = vec![0; network.passages.len()];
        let mut mouths = Vec::new();
        for (k, passage) in network.passages.iter().enumerate() {
            if passage.ports.iter().all(Vec::is_empty) {
                continue;
            }
            match &passage.kind {
                PassageKind::WeirPipe(weir) if weir.vent.is_some() => {
                    mouths.push((k, self.add_mouths(network, passage, free)));
                }
                _ => streams[k] = self.add_streams(network, passage, free),
            }
        }
        (streams, mouths)
    }

    /// Adds the streams of a passage with ports, with points at edges from `free` on. Gives how many streams there are.
    fn add_streams(&mut self, network: &Network, passage: &Passage, free: &mut usize) -> usize {
        let inside = |node: usize| match network.nodes[node].kind {
            NodeKind::Panel(panel) => Some(panel),
            _ => None,
        };
        let panels = [passage.from, passage.to].map(inside);
        let openings = [0, 1].map(|end| match panels[end] {
            Some(panel) if !passage.ports[end].is_empty() => self.insides[panel].cells.openings(&passage.ports[end]),
            _ => vec![Opening { cell: 0, share: 1.0, way: None }],
        });
        let before = self.streams.len();
        for (opened, share) in pairs(&openings) {
            let ends = [0, 1].map(|end| {
                let panel = panels[end]?;
                let cell = self.insides[panel].point + opened[end].cell as usize;
                let Some([width, length]) = opened[end].way else { return Some(cell) };
                let edge = *free;
                *free += 1;
                self.ways.push(Way { panel, cell, edge, width, length, inward: inward(&passage.ports[end]) });
                Some(edge)
            });
            self.streams.push(Stream { ends, share, curve: 0 });
        }
        self.streams.len() - before
    }

    /// The points at which a passage that has to stay one stream ends, with points at its mouths from `free` on: at a panel
    /// of several cells one mouth, which opens into the cells behind it. `None` at an end without ports.
    fn add_mouths(&mut self, network: &Network, passage: &Passage, free: &mut usize) -> [Option<usize>; 2] {
        let area = passage.kind.area();
        let mut ends = [None; 2];
        for (end, node) in [passage.from, passage.to].into_iter().enumerate() {
            let (NodeKind::Panel(panel), ports) = (network.nodes[node].kind, &passage.ports[end]) else { continue };
            let openings = if ports.is_empty() { Vec::new() } else { self.insides[panel].cells.openings(ports) };
            let point = |opening: &Opening| self.insides[panel].point + opening.cell as usize;
            ends[end] = match openings.as_slice() {
                [] => None,
                [one] if one.way.is_none() => Some(point(one)),
                several => {
                    let mouth = *free;
                    *free += 1;
                    // All parts are at one head: they share the width of the cells behind as they share the port.
                    let whole: f64 = several.iter().filter_map(|opening| Some(opening.way?[0])).sum();
                    for opening in several {
                        let (cell, share) = (point(opening), opening.share);
                        match opening.way {
                            Some([_, length]) => {
                                let width = share * whole;
                                let inward = inward(ports);
                                self.ways.push(Way { panel, cell, edge: mouth, width, length, inward });
                            }
                            None => self.mouths.push(Mouth { panel, cell, point: mouth, area: share * area }),
                        }
                    }
                    Some(mouth)
                }
            };
        }
        ends
    }

    /// Adds the links through the holes. The fixed heads outside the holes begin at `outside` and are counted from
    /// point `free` on. Gives how many there are.
    pub fn add_holes(&mut self, network: &Network, free: usize, outside: usize, links: &mut Links) -> usize {
        let mut next = outside;
        for (inside, panel) in self.insides.iter_mut().zip(&network.panels) {
            inside.outside = next;
            // A law that depends on the pressure outside is set again with the time.
            let law = panel.hole_law(panel.outside(network.duty.start, &network.site), &network.site);
            let cells = &inside.cells.cells;
            let mut add = |k: usize, law: Law| {
                links.push(inside.point + k, free + next + k, true, law.share(cells[k].holes)) as u32
            };
            inside.holes = match law {
                Some(law) if !cells.is_empty() && cells.iter().all(|cell| cell.holes > 0.0) => {
                    let first = add(0, law);
                    (1..cells.len()).for_each(|k| _ = add(k, law));
                    Holes::All { first, cells: cells.len() as u32 }
                }
                _ => {
                    let open = |k: usize| law.filter(|_| cells[k].holes > 0.0);
                    Holes::Some((0..cells.len()).map(|k| open(k).map_or(NONE, |law| add(k, law))).collect())
                }
            };
            next += cells.len();
        }
        next - outside
    }

    /// Adds the links of the gaps.
    pub fn add_gaps(&self, network: &Network, links: &mut Links) {
        let site = &network.site;
        let mut diagonals = Vec::new();
        let mut weaver = Weaver::default();
        for (k, (inside, panel)) in self.insides.iter().zip(&network.panels).enumerate() {
            let cells = &inside.cells;
            if let Few::One(_) = cells.cells {
                continue;
            }
            let weave = weaver.of(cells);
            let blocks = if weave.is_some() { cells.blocks(&panel.ribs) } else { Vec::new() };
            for face in cells.faces(&panel.ribs) {
                let [from, to] = face.cells.map(|k| inside.point + k as usize);
                let loss = face.loss_coefficient + row::extra_loss(panel, self.row_length(k), face.length);
                let straight = weave.map(|weave| cells.straight(&face, &blocks, &weave));
                let (width, length) = straight.unwrap_or((face.width, face.length));
                links.push(from, to, false, panel.gap_law(width, length, loss, site));
            }
            if let Some(weave) = weave {
                let (width, length) = cells.diagonal(&weave);
                let law = panel.gap_law(width, length, 0.0, site);
                diagonals.push((law, inside.point, cells.diagonals(&blocks).collect::<Vec<_>>()));
            }
        }
        for way in &self.ways {
            let law = network.panels[way.panel].gap_law(way.width, way.length, 0.0, site);
            let (from, to) = if Plate::is_far(network, way) { (way.cell, way.edge) } else { (way.edge, way.cell) };
            links.push(from, to, false, law);
        }
        for mouth in &self.mouths {
            let law = Quadratic::new(MOUTH_LOSS, mouth.area, 1.0, site.water_density, 3.0);
            links.push(mouth.point, mouth.cell, false, Law::Quadratic(law));
        }
        for (law, first, ends) in diagonals {
            for [from, to] in ends {
                links.push(first + from as usize, first + to as usize, false, law);
            }
        }
    }

    /// The panel in which a point lies.
    pub fn panel_of(&self, point: usize) -> Option<usize> {
        let way = self.ways.iter().find(|way| way.edge == point).map(|way| way.panel);
        let mouth = self.mouths.iter().find(|mouth| mouth.point == point).map(|mouth| mouth.panel);
        way.or(mouth)
            .or_else(|| self.insides.iter().position(|i| (i.point..i.point + i.cells.cells.len()).contains(&point)))
    }
}

/// Direction into the panel, where it is the same at every one of the ports.
fn inward(ports: &[Port]) -> Option<[f64; 2]> {
    let mut found = None;
    for port in ports {
        let Port::Edge { inward, .. } = port else { return None };
        match found {
            None => found = Some(*inward),
            Some(first) if first == *inward => {}
            Some(_) => return None,
        }
    }
    found
}

/// Matches the openings at both ends of a passage, in their order, by their shares: streams of equal opening.
fn pairs(ends: &[Vec<Opening>; 2]) -> Vec<([Opening; 2], f64)> {
    let [from, to] = ends;
    let mut found: Vec<([Opening; 2], f64)> = Vec::with_capacity(from.len().max(to.len()));
    let (mut i, mut j) = (0, 0);
    let (mut done, mut from_end, mut to_end) = (0.0, 0.0, 0.0);
    while let (Some(a), Some(b)) = (from.get(i), to.get(j)) {
        let ends = (from_end + a.share, to_end + b.share);
        let until = f64::min(ends.0, ends.1);
        if until - done > 1e-9 {
            found.push(([*a, *b], until - done));
            done = until;
        }
        if ends.0 <= until + 1e-9 {
            i += 1;
            from_end = ends.0;
        }
        if ends.1 <= until + 1e-9 {
            j += 1;
            to_end = ends.1;
        }
    }
    let whole: f64 = found.iter().map(|(_, share)| share).sum();
    for (_, share) in &mut found {
        *share /= whole;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn openings_of_both_ends_are_matched_in_order() {
        let opening = |cell, share| Opening { cell, share, way: None };
        let ends = [vec![opening(0, 0.5), opening(1, 0.5)], vec![opening(7, 0.25), opening(8, 0.75)]];
        let found: Vec<_> = pairs(&ends).iter().map(|(o, share)| (o[0].cell, o[1].cell, *share)).collect();
        assert_eq!(found, [(0, 7, 0.25), (0, 8, 0.25), (1, 8, 0.5)]);
    }
}
