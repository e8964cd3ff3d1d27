//! Ports: where pipes and crossovers open into panels of more than one cell.

use std::collections::HashMap;

use super::Resolver;
use super::panel::outside;
use crate::component::outline::{self, Point, Shared};
use crate::component::panel::Panel;
use crate::component::port::Port;
use crate::input::diagnostic::Spot;
use crate::network::{Network, NodeKind, PassageKind};
use crate::units::cut;

/// Distance between panels that still counts as one seam, m.
const REACH: f64 = 1e-3;

/// Distance at which panels that do not touch still have a seam.
const FAR_REACH: f64 = 0.1;

/// Most ports of a crossover that are told apart; more are one slot, as are those that leave nothing between them.
const MOST_PORTS: u32 = 200;

/// Where the file says that a passage opens.
pub(super) struct Placed {
    pub passage: usize,
    pub points: Vec<Point>,
    pub spot: Spot,
}

impl Resolver<'_, '_> {
    /// Checks the places that the file gives against the panels: one for each end at a panel, or for each port of a
    /// crossover. Gives those of each passage.
    pub(super) fn given_places(&mut self) -> HashMap<usize, Vec<Point>> {
        let mut given = HashMap::new();
        for Placed { passage, points, spot } in std::mem::take(&mut self.placed) {
            let panels = panels_at(&self.network, passage);
            let item = &self.network.passages[passage];
            let ends: Vec<usize> = panels.iter().flatten().copied().collect();
            let wanted = match &item.kind {
                PassageKind::Crossover(crossover) => crossover.ports as usize,
                _ => ends.len(),
            };
            if points.len() != wanted {
                let (message, hint) = match &item.kind {
                    PassageKind::Crossover(_) => {
                        (format!("`at` has {} places for {wanted} ports", points.len()), "one place for each port")
                    }
                    _ if wanted == 0 => ("`at` has no meaning: neither end is a panel".into(), "no `at`"),
                    _ => {
                        let of = if wanted == 1 { "end" } else { "ends" };
                        let message = format!("`at` has {} places for {wanted} {of} at panels", points.len());
                        (message, "one place for each end at a panel, the start first")
                    }
                };
                self.v.out.add("port_count", spot, message, Some(hint.into()));
                continue;
            }
            let mut fits = true;
            for (k, &point) in points.iter().enumerate() {
                // A port of a crossover is at the edge of either panel, and opens into the other where that is nearest.
                let crossover = matches!(item.kind, PassageKind::Crossover(_));
                let at = if crossover { &ends[..] } else { &ends[k..k + 1] };
                let outside = at.iter().map(|&panel| {
                    let panel = &self.network.panels[panel];
                    let name = self.network.nodes.get(panel.node).map_or("", |node| node.name.as_str());
                    outside(&panel.outline, point).map(|far| (far, name))
                });
                let Some((far, name)) = outside.reduce(|a, b| if a.is_none() { a } else { b }).flatten() else {
                    continue;
                };
                let [x, y] = point;
                let message = format!("`at`: {x} m, {y} m is {far} outside of `{}`", cut(name));
                let hint = "a point on the edge of the panel or inside".to_string();
                self.v.out.add("port_outside", spot, message, Some(hint));
                fits = false;
            }
            if fits {
                given.insert(passage, points);
            }
        }
        given
    }

    /// Places the ports of every passage at a panel of more than one cell.
    pub(super) fn ports(&mut self, given: &HashMap<usize, Vec<Point>>) {
        let network = &mut self.network;
        // Edges of each panel along which a crossover runs, and passages that have a place to be found on the others.
        let mut taken: Vec<Vec<usize>> = vec![Vec::new(); network.panels.len()];
        let mut waiting: Vec<Vec<(usize, usize)>> = vec![Vec::new(); network.panels.len()];
        for k in 0..network.passages.len() {
            let ends = panels_at(network, k);
            let mut points = given.get(&k).map(|points| points.iter().copied());
            if let (PassageKind::Crossover(_), [Some(a), Some(b)], Some(points)) =
                (&network.passages[k].kind, ends, &points)
            {
                let bore = openings(&network.passages[k].kind).1;
                for (end, panel) in [a, b].into_iter().enumerate() {
                    let panel = &network.panels[panel];
                    taken[[a, b][end]].extend(points.clone().map(|at| outline::nearest_edge(&panel.outline, at).0));
                    if !panel.is_lumped() {
                        let ports = points.clone().map(|at| at_edge(&panel.outline, at, bore));
                        network.passages[k].ports[end] =
                            if end == 0 { ports.collect() } else { ports.map(Port::turned).collect() };
                    }
                }
                continue;
            }
            let &[Some(a), Some(b)] = &ends else {
                for (end, panel) in ends.iter().enumerate() {
                    let Some(index) = *panel else { continue };
                    let at = points.as_mut().and_then(Iterator::next);
                    let panel = &network.panels[index];
                    match at {
                        _ if panel.is_lumped() => {}
                        Some(at) => {
                            let bore = openings(&network.passages[k].kind).1;
                            network.passages[k].ports[end] = vec![placed(&panel.outline, at, bore)];
                        }
                        None => waiting[index].push((k, end)),
                    }
                }
                continue;
            };
            if let Some(points) = points {
                let bore = openings(&network.passages[k].kind).1;
                for (end, (at, panel)) in points.zip([a, b]).enumerate() {
                    let panel = &network.panels[panel];
                    if !panel.is_lumped() {
                        network.passages[k].ports[end] = vec![placed(&panel.outline, at, bore)];
                    }
                }
                continue;
            }
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
fn panels_at(network: &Network, passage: usize) -> [Option<usize>; 2] {
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
    for reach in [REACH, FAR_REACH] {
        let found = outline::shared(a, b, reach);
        if !found.is_empty() {
            return found;
        }
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

/// A port of a bore in the edge nearest to a point.
fn at_edge(points: &[Point], at: Point, bore: f64) -> Port {
    Port::in_edge(edge(points, outline::nearest_edge(points, at).0), at, bore)
}

/// A port of a bore at a point: in the edge where the point is on it, else through a plate.
fn placed(points: &[Point], at: Point, bore: f64) -> Port {
    if outline::nearest_edge(points, at).1 <= REACH { at_edge(points, at, bore) } else { Port::in_plate(at, bore) }
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
