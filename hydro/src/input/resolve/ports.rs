//! Ports: where pipes and crossovers open into panels of more than one cell.

use super::Resolver;
use crate::component::outline::{self, Point, Shared};
use crate::component::panel::Panel;
use crate::component::port::Port;
use crate::input::diagnostic::Spot;
use crate::network::{Network, NodeKind, PassageKind};

/// Distance between panels that still counts as one seam, m.
const REACH: f64 = 1e-3;

/// Most ports of a crossover that are told apart; more are one slot, as are those that leave nothing between them.
const MOST_PORTS: u32 = 200;

impl Resolver<'_, '_> {
    /// A vented weir pipe has one apex for all its water: it cannot open into several cells.
    pub(super) fn weir_at_cells(&mut self, ends: [usize; 2], spot: Spot) {
        let cells = ends.iter().any(|&node| match self.network.nodes.get(node).map(|node| node.kind) {
            Some(NodeKind::Panel(k)) => self.network.panels.get(k).is_some_and(|panel| !panel.is_lumped()),
            _ => false,
        });
        if cells {
            let message = "a vented weir pipe cannot end at a panel of more than one cell".to_string();
            let hint = "a header behind the weir pipe, and a pipe from there to the panel";
            self.v.out.add("weir_at_cells", spot, message, Some(hint.into()));
        }
    }

    /// Places the ports of every passage at a panel of more than one cell.
    pub(super) fn ports(&mut self) {
        let network = &mut self.network;
        // Edges of each panel along which a crossover runs, and passages that have a place to be found on the others.
        let mut taken: Vec<Vec<usize>> = vec![Vec::new(); network.panels.len()];
        let mut waiting: Vec<Vec<(usize, usize)>> = vec![Vec::new(); network.panels.len()];
        for k in 0..network.passages.len() {
            let ends = resolved_ends(network, k);
            let &[Some(a), Some(b)] = &ends else {
                for (end, panel) in ends.iter().enumerate() {
                    if let Some(panel) = panel.filter(|&panel| !network.panels[panel].is_lumped()) {
                        waiting[panel].push((k, end));
                    }
                }
                continue;
            };
            let panels = [&network.panels[a], &network.panels[b]];
            if panels.iter().all(|panel| panel.is_lumped()) {
                continue;
            }
            let seam = seam(panels);
            for piece in &seam {
                taken[a].push(piece.edges[0]);
                taken[b].push(piece.edges[1]);
            }
            let (count, bore) = openings(&network.passages[k].kind);
            let place = |end: usize| along(panels, end, &seam, count, bore);
            let ports = [0, 1].map(|end| if panels[end].is_lumped() { Vec::new() } else { place(end) });
            network.passages[k].ports = ports;
        }
        for (panel, waiting) in waiting.into_iter().enumerate() {
            let places = free_places(&network.panels[panel], &taken[panel], waiting.len());
            for ((k, end), place) in waiting.into_iter().zip(places) {
                let (_, bore) = openings(&network.passages[k].kind);
                let port = match place {
                    (at, Some(edge)) => Port::in_edge(edge, at, bore),
                    (at, None) => Port::in_plate(at, bore),
                };
                network.passages[k].ports[end] = vec![port];
            }
        }
    }
}

/// The panels at the ends of a passage.
fn resolved_ends(network: &Network, passage: usize) -> [Option<usize>; 2] {
    let passage = &network.passages[passage];
    [passage.from, passage.to].map(|node| match network.nodes.get(node).map(|node| node.kind) {
        Some(NodeKind::Panel(panel)) => Some(panel),
        _ => None,
    })
}

/// Number and bore of the openings of a passage.
fn openings(kind: &PassageKind) -> (u32, f64) {
    match kind {
        PassageKind::Pipe(pipe) => (1, pipe.bore),
        PassageKind::Valve(valve) => (1, valve.bore),
        PassageKind::WeirPipe(weir) => (1, weir.bore),
        PassageKind::Crossover(crossover) => (crossover.ports, crossover.bore),
    }
}

/// The edges that two panels have in common; where there are none, of each the edge nearest to the other one's centre.
fn seam(panels: [&Panel; 2]) -> Vec<Shared> {
    let [a, b] = panels.map(|panel| panel.outline.as_slice());
    let found = outline::shared(a, b, REACH);
    if !found.is_empty() {
        return found;
    }
    let edges = [outline::nearest_edge(a, outline::centroid(b)).0, outline::nearest_edge(b, outline::centroid(a)).0];
    let (from, to) = edge(a, edges[0]);
    vec![Shared { edges, from, to }]
}

/// An edge of a polygon.
fn edge(points: &[Point], index: usize) -> (Point, Point) {
    let next = if index + 1 < points.len() { index + 1 } else { 0 };
    (points[index], points[next])
}

/// Equal ports at even spacing along a seam, in one of its panels.
fn along(panels: [&Panel; 2], end: usize, seam: &[Shared], count: u32, bore: f64) -> Vec<Port> {
    let own = &panels[end].outline;
    // The seam as this panel has it: the common points, or its own edge, run the same way as the other's.
    let pieces: Vec<(Point, Point, Point)> = seam
        .iter()
        .map(|piece| {
            let (a, b) = edge(own, piece.edges[end]);
            let inward = outline::inward((a, b));
            let on = |p: Point| {
                let (_, t) = outline::distance(p, (a, b));
                [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]
            };
            let (from, to) = (on(piece.from), on(piece.to));
            if end == 0 || (from[0] - to[0]).hypot(from[1] - to[1]) > REACH {
                (from, to, inward)
            } else {
                (b, a, inward)
            }
        })
        .collect();
    let length = |(from, to, _): &(Point, Point, Point)| (to[0] - from[0]).hypot(to[1] - from[1]);
    let whole: f64 = pieces.iter().map(length).sum();
    let (count, bore) = if count > MOST_PORTS || f64::from(count) * bore >= whole {
        let count = count.min(MOST_PORTS);
        (count, whole / f64::from(count))
    } else {
        (count, bore)
    };
    (0..count)
        .filter_map(|k| {
            let mut at = (f64::from(k) + 0.5) / f64::from(count) * whole;
            let piece = pieces.iter().find(|piece| {
                let inside = at <= length(piece);
                at -= if inside { 0.0 } else { length(piece) };
                inside
            });
            let &(from, to, inward) = piece.or(pieces.last())?;
            let long = (to[0] - from[0]).hypot(to[1] - from[1]);
            let half = 0.5 * bore.min(long);
            let middle = at.clamp(half, long - half);
            let point = |s: f64| [from[0] + s / long * (to[0] - from[0]), from[1] + s / long * (to[1] - from[1])];
            Some(Port::Edge { from: point(middle - half), to: point(middle + half), inward })
        })
        .collect()
}

/// Places for pipes of which the file does not say where they enter: evenly along the longest edge (of equal ones the
/// first) that no crossover takes; the middle of the panel where crossovers take every edge.
fn free_places(panel: &Panel, taken: &[usize], count: usize) -> Vec<(Point, Option<(Point, Point)>)> {
    let length = |(a, b): &(Point, Point)| (b[0] - a[0]).hypot(b[1] - a[1]);
    let mut longest: Option<(Point, Point)> = None;
    for (index, edge) in outline::edges(&panel.outline).enumerate() {
        if !taken.contains(&index) && longest.is_none_or(|found| length(&edge) > length(&found) * (1.0 + 1e-9)) {
            longest = Some(edge);
        }
    }
    let place = |k: usize| match longest {
        Some((a, b)) => {
            let t = (k as f64 + 0.5) / count as f64;
            ([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])], longest)
        }
        None => (outline::centroid(&panel.outline), None),
    };
    (0..count).map(place).collect()
}
