//! Panels and crossovers.

use super::{Item, Resolver};
use crate::component::crossover::Crossover;
use crate::component::panel::{DischargeCoefficient, Holes, Panel};
use crate::input::validate::Fields;
use crate::network::{Node, NodeKind, PassageKind};

impl<'t> Resolver<'t, '_> {
    /// Adds a panel.
    pub(super) fn panel(&mut self, item: &Item<'t>) -> Option<()> {
        let fields = &item.fields;
        let holes = self.holes(fields);
        let outline = match fields.polygon("outline") {
            Some(points) => self.outline(points, fields),
            None => item.corner.or_else(|| fields.pair("at")).and_then(|at| Some(rectangle(at, fields.pair("size")?))),
        };
        let (outline, holes, elevation) = (outline?, holes?, fields.number("elevation")?);
        let (index, node) = (self.network.panels.len(), self.network.nodes.len());
        self.network.panels.push(Panel {
            node,
            area: area(&outline),
            outline,
            holes,
            plugged: fields.number("plugged").unwrap_or(0.0),
            gap: fields.number("gap"),
            cells: fields.cells("cells").unwrap_or([1, 1]),
            starts: super::water::starts(fields),
            plume_pressure: fields.table("plume_pressure"),
            heat_flux: fields.table("heat_flux"),
            required_flux: fields.number("required_flux"),
        });
        self.names.place(&item.name, Some(node), None);
        self.network.nodes.push(Node { name: item.name.clone(), elevation, kind: NodeKind::Panel(index) });
        Some(())
    }

    fn holes(&mut self, fields: &Fields) -> Option<Holes> {
        let holes = fields.group("holes")?;
        let auto = holes.word("discharge_coefficient").is_some();
        if auto && holes.get("plate").is_none() {
            let message = "`discharge_coefficient: auto` needs the thickness of the plate".to_string();
            let spot = holes.spot_of("discharge_coefficient");
            self.v.out.add("auto_needs_plate", spot, message, Some("plate: 25 mm".into()));
        }
        Some(Holes {
            count: holes.count("count")?,
            diameter: holes.number("diameter")?,
            plate: holes.number("plate"),
            discharge_coefficient: if auto {
                DischargeCoefficient::Auto
            } else {
                DischargeCoefficient::Given(holes.number("discharge_coefficient")?)
            },
        })
    }

    /// Points of an outline, counter-clockwise, checked.
    fn outline(&mut self, points: &[[f64; 2]], fields: &Fields) -> Option<Vec<[f64; 2]>> {
        let spot = fields.spot_of("outline");
        if crosses_itself(points) {
            let message = "the outline crosses or touches itself".to_string();
            self.v.out.add("bad_outline", spot, message, Some("corners in order around the panel, each once".into()));
            return None;
        }
        let signed = signed_area(points);
        let extent = points.iter().flatten().fold(0.0_f64, |m, v| m.max(v.abs()));
        if signed.abs() <= 1e-12 * extent * extent {
            self.v.out.add("bad_outline", spot, "the outline encloses no area", Some("corners of a polygon".into()));
            return None;
        }
        let mut points = points.to_vec();
        if signed < 0.0 {
            points.reverse();
        }
        Some(points)
    }

    /// Adds a crossover.
    pub(super) fn crossover(&mut self, item: &Item<'t>) -> Option<()> {
        let ends = self.ends(item);
        let fields = &item.fields;
        let crossover = Crossover {
            ports: fields.count("ports")?,
            bore: fields.number("bore")?,
            loss_coefficient: fields.number("loss_coefficient")?,
        };
        let [from, to] = ends?;
        self.join(item, from, to, PassageKind::Crossover(crossover))?;
        Some(())
    }
}

/// Corners of a rectangle, counter-clockwise.
fn rectangle([x, y]: [f64; 2], [width, height]: [f64; 2]) -> Vec<[f64; 2]> {
    vec![[x, y], [x + width, y], [x + width, y + height], [x, y + height]]
}

/// Edges of a polygon.
fn edges(points: &[[f64; 2]]) -> impl Iterator<Item = ([f64; 2], [f64; 2])> + Clone + '_ {
    points.iter().copied().zip(points.iter().copied().cycle().skip(1))
}

/// Area of a polygon, m2, above 0 counter-clockwise (shoelace formula about the first corner).
fn signed_area(points: &[[f64; 2]]) -> f64 {
    let Some(&[x0, y0]) = points.first() else { return 0.0 };
    edges(points).map(|(a, b)| (a[0] - x0) * (b[1] - y0) - (b[0] - x0) * (a[1] - y0)).sum::<f64>() / 2.0
}

fn area(points: &[[f64; 2]]) -> f64 {
    signed_area(points).abs()
}

/// Whether two edges that are not neighbours meet, or an edge has no length.
fn crosses_itself(points: &[[f64; 2]]) -> bool {
    let count = points.len();
    edges(points).enumerate().any(|(i, (a, b))| {
        let others = edges(points).enumerate().skip(i + 1);
        a == b
            || others.into_iter().any(|(j, (c, d))| {
                let neighbours = j == i + 1 || (i == 0 && j + 1 == count);
                if neighbours { folds_back(i, j, (a, b), (c, d)) } else { meet((a, b), (c, d)) }
            })
    })
}

/// Twice the signed area of a triangle: on which side of a -> b lies c.
fn side(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// Whether neighbouring edges run back over each other.
fn folds_back(i: usize, j: usize, first: ([f64; 2], [f64; 2]), second: ([f64; 2], [f64; 2])) -> bool {
    // The common corner is the end of the earlier edge, or, for the last and the first edge, the end of the last.
    let (before, corner, after) = if j == i + 1 { (first.0, first.1, second.1) } else { (second.0, second.1, first.1) };
    let along = (before[0] - corner[0]) * (after[0] - corner[0]) + (before[1] - corner[1]) * (after[1] - corner[1]);
    side(before, corner, after) == 0.0 && along > 0.0
}

/// Whether two segments have a point in common.
fn meet((a, b): ([f64; 2], [f64; 2]), (c, d): ([f64; 2], [f64; 2])) -> bool {
    let (s1, s2, s3, s4) = (side(a, b, c), side(a, b, d), side(c, d, a), side(c, d, b));
    let within =
        |a: [f64; 2], b: [f64; 2], p: [f64; 2]| (0..2).all(|k| p[k] >= a[k].min(b[k]) && p[k] <= a[k].max(b[k]));
    (s1 * s2 < 0.0 && s3 * s4 < 0.0)
        || (s1 == 0.0 && within(a, b, c))
        || (s2 == 0.0 && within(a, b, d))
        || (s3 == 0.0 && within(c, d, a))
        || (s4 == 0.0 && within(c, d, b))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn outlines() {
        let square = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]];
        let bow_tie = [[0.0, 0.0], [1.0, 1.0], [1.0, 0.0], [0.0, 1.0]];
        let spike = [[0.0, 0.0], [2.0, 0.0], [1.0, 0.0], [1.0, 1.0]];
        let twice = [[0.0, 0.0], [1.0, 0.0], [1.0, 0.0], [0.0, 1.0]];
        let touching = [[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [1.0, 0.0], [0.0, 2.0]];
        let l_shape = [[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [1.0, 1.0], [1.0, 2.0], [0.0, 2.0]];
        assert!(!crosses_itself(&square));
        assert!(!crosses_itself(&l_shape));
        assert!(!crosses_itself(&square[..3]));
        for bad in [&bow_tie[..], &spike, &twice, &touching] {
            assert!(crosses_itself(bad), "{bad:?}");
        }
        assert_eq!(signed_area(&l_shape), 3.0);
        let clockwise: Vec<_> = square.iter().rev().copied().collect();
        assert_eq!(signed_area(&clockwise), -1.0);
    }
}
