//! Outline: a panel's polygon on the plate plan.
//!
//! Corners are in order around the panel, each once; counter-clockwise unless said otherwise. Lengths in m.

/// A point on the plate plan: x, y, m.
pub type Point = [f64; 2];

/// Edges of a polygon, from each corner to the next.
pub fn edges(points: &[Point]) -> impl Iterator<Item = (Point, Point)> + Clone + '_ {
    let closing = points.last().copied().zip(points.first().copied());
    points.windows(2).map(|ends| (ends[0], ends[1])).chain(closing)
}

/// Area of a polygon, m2, above 0 counter-clockwise (shoelace formula about the first corner).
pub fn signed_area(points: &[Point]) -> f64 {
    let Some(&[x0, y0]) = points.first() else { return 0.0 };
    edges(points).map(|(a, b)| (a[0] - x0) * (b[1] - y0) - (b[0] - x0) * (a[1] - y0)).sum::<f64>() / 2.0
}

/// Area of a polygon, m2, 0 or more.
pub fn area(points: &[Point]) -> f64 {
    signed_area(points).abs()
}

/// Centre of area of a polygon; its first corner where it encloses no area.
pub fn centroid(points: &[Point]) -> Point {
    let Some(&[x0, y0]) = points.first() else { return [0.0, 0.0] };
    let (mut twice, mut x, mut y) = (0.0, 0.0, 0.0);
    // The edges at the first corner span no triangle with it.
    for edge in points[1..].windows(2) {
        let [ax, ay, bx, by] = [edge[0][0] - x0, edge[0][1] - y0, edge[1][0] - x0, edge[1][1] - y0];
        let cross = ax * by - bx * ay;
        twice += cross;
        x += (ax + bx) * cross;
        y += (ay + by) * cross;
    }
    if twice == 0.0 { [x0, y0] } else { [x0 + x / (3.0 * twice), y0 + y / (3.0 * twice)] }
}

/// Lower left and upper right corner of the rectangle around a polygon.
pub fn bounds(points: &[Point]) -> [Point; 2] {
    let [mut low, mut high] = [[f64::INFINITY; 2], [f64::NEG_INFINITY; 2]];
    for p in points {
        for axis in 0..2 {
            low[axis] = if p[axis] < low[axis] { p[axis] } else { low[axis] };
            high[axis] = if p[axis] > high[axis] { p[axis] } else { high[axis] };
        }
    }
    [low, high]
}

/// The part of a polygon on one side of a line `axis = at`: at or above it, or at or below it.
///
/// Sutherland and Hodgman, Commun. ACM 17 (1974) 32. Of a polygon that falls in pieces, edges along the line join
/// them, run both ways: areas and signed lengths stay right.
pub fn clip(points: &[Point], axis: usize, at: f64, above: bool, out: &mut Vec<Point>) {
    out.clear();
    let inside = |p: &Point| if above { p[axis] >= at } else { p[axis] <= at };
    for (a, b) in edges(points) {
        if inside(&a) {
            out.push(a);
        }
        if inside(&a) != inside(&b) && a[axis] != at && b[axis] != at {
            let t = (at - a[axis]) / (b[axis] - a[axis]);
            let mut p = [a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])];
            p[axis] = at;
            out.push(p);
        }
    }
}

/// Distance of a point from a segment, m, and the share of the segment, 0 to 1, at which it is nearest.
pub fn distance(p: Point, (a, b): (Point, Point)) -> (f64, f64) {
    let (dx, dy) = (b[0] - a[0], b[1] - a[1]);
    let square = dx * dx + dy * dy;
    let t = if square > 0.0 { ((p[0] - a[0]) * dx + (p[1] - a[1]) * dy) / square } else { 0.0 };
    let t = t.clamp(0.0, 1.0);
    ((p[0] - a[0] - t * dx).hypot(p[1] - a[1] - t * dy), t)
}

/// The edge nearest to a point: its index, the distance, and the share of the edge at which it is nearest.
pub fn nearest_edge(points: &[Point], p: Point) -> (usize, f64, f64) {
    let mut best = (0, f64::INFINITY, 0.0);
    for (k, edge) in edges(points).enumerate() {
        let (d, t) = distance(p, edge);
        if d < best.1 {
            best = (k, d, t);
        }
    }
    best
}

/// Whether a point lies inside a polygon (points on the edge may be either).
pub fn contains(points: &[Point], p: Point) -> bool {
    edges(points).fold(false, |inside, (a, b)| {
        let across = (a[1] > p[1]) != (b[1] > p[1]);
        inside ^ (across && p[0] < a[0] + (p[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0]))
    })
}

/// Unit vector to the left of a -> b: into a counter-clockwise polygon.
pub fn inward((a, b): (Point, Point)) -> Point {
    let length = (b[0] - a[0]).hypot(b[1] - a[1]);
    [-(b[1] - a[1]) / length, (b[0] - a[0]) / length]
}

/// Pieces of the edges of polygon `a` along which polygon `b` lies, no further away than `reach`, m; in the order of
/// `a`, each with the index of the edge of `a` and of `b`.
pub fn shared(a: &[Point], b: &[Point], reach: f64) -> Vec<Shared> {
    let mut pieces = Vec::new();
    for (i, (p, q)) in edges(a).enumerate() {
        let (dx, dy) = (q[0] - p[0], q[1] - p[1]);
        let length = dx.hypot(dy);
        let share = |r: Point| ((r[0] - p[0]) * dx + (r[1] - p[1]) * dy) / (length * length);
        let off = |r: Point| ((r[0] - p[0]) * dy - (r[1] - p[1]) * dx) / length;
        for (j, (r, s)) in edges(b).enumerate() {
            // Both run counter-clockwise, so that a common edge is run through in opposite directions.
            let (from, to) = (share(s), share(r));
            let (low, high) = (from.max(0.0), to.min(1.0));
            if high <= low || from >= to {
                continue;
            }
            let off_at = |t: f64| off(s) + (off(r) - off(s)) * (t - from) / (to - from);
            if off_at(low).abs() <= reach && off_at(high).abs() <= reach && (high - low) * length > 2.0 * reach {
                let at = |t: f64| [p[0] + t * dx, p[1] + t * dy];
                pieces.push(Shared { edges: [i, j], from: at(low), to: at(high) });
            }
        }
    }
    pieces
}

/// A piece of edge that two polygons have in common.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shared {
    /// Index of the edge in either polygon.
    pub edges: [usize; 2],
    /// Start, in the order of the first polygon.
    pub from: Point,
    /// End.
    pub to: Point,
}

/// Whether two edges that are not neighbours meet, or an edge has no length.
pub fn crosses_itself(points: &[Point]) -> bool {
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
pub fn side(a: Point, b: Point, c: Point) -> f64 {
    (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
}

/// Whether neighbouring edges run back over each other.
fn folds_back(i: usize, j: usize, first: (Point, Point), second: (Point, Point)) -> bool {
    // The common corner is the end of the earlier edge, or, for the last and the first edge, the end of the last.
    let (before, corner, after) = if j == i + 1 { (first.0, first.1, second.1) } else { (second.0, second.1, first.1) };
    let along = (before[0] - corner[0]) * (after[0] - corner[0]) + (before[1] - corner[1]) * (after[1] - corner[1]);
    side(before, corner, after) == 0.0 && along > 0.0
}

/// Whether two segments have a point in common.
fn meet((a, b): (Point, Point), (c, d): (Point, Point)) -> bool {
    let (s1, s2, s3, s4) = (side(a, b, c), side(a, b, d), side(c, d, a), side(c, d, b));
    let within = |a: Point, b: Point, p: Point| (0..2).all(|k| p[k] >= a[k].min(b[k]) && p[k] <= a[k].max(b[k]));
    (s1 * s2 < 0.0 && s3 * s4 < 0.0)
        || (s1 == 0.0 && within(a, b, c))
        || (s2 == 0.0 && within(a, b, d))
        || (s3 == 0.0 && within(c, d, a))
        || (s4 == 0.0 && within(c, d, b))
}

#[cfg(test)]
mod tests {
    use super::*;

    const SQUARE: [Point; 4] = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]];
    const L_SHAPE: [Point; 6] = [[0.0, 0.0], [2.0, 0.0], [2.0, 1.0], [1.0, 1.0], [1.0, 2.0], [0.0, 2.0]];

    #[test]
    fn outlines() {
        let bow_tie = [[0.0, 0.0], [1.0, 1.0], [1.0, 0.0], [0.0, 1.0]];
        let spike = [[0.0, 0.0], [2.0, 0.0], [1.0, 0.0], [1.0, 1.0]];
        let twice = [[0.0, 0.0], [1.0, 0.0], [1.0, 0.0], [0.0, 1.0]];
        let touching = [[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [1.0, 0.0], [0.0, 2.0]];
        assert!(!crosses_itself(&SQUARE));
        assert!(!crosses_itself(&L_SHAPE));
        assert!(!crosses_itself(&SQUARE[..3]));
        for bad in [&bow_tie[..], &spike, &twice, &touching] {
            assert!(crosses_itself(bad), "{bad:?}");
        }
        assert_eq!(signed_area(&L_SHAPE), 3.0);
        let clockwise: Vec<_> = SQUARE.iter().rev().copied().collect();
        assert_eq!(signed_area(&clockwise), -1.0);
    }

    /// Centre of area of an L of three unit squares: the mean of their centres.
    #[test]
    fn centres() {
        let [x, y] = centroid(&L_SHAPE);
        assert!((x - 2.5 / 3.0).abs() < 1e-15 && (y - 2.5 / 3.0).abs() < 1e-15, "{x} {y}");
        assert!(contains(&L_SHAPE, [0.5, 1.5]) && !contains(&L_SHAPE, [1.5, 1.5]));
    }

    /// A U cut across its arms: the area of both arms, though they are one list of points.
    #[test]
    fn pieces_keep_their_area() {
        let u: [Point; 8] =
            [[0.0, 0.0], [3.0, 0.0], [3.0, 2.0], [2.0, 2.0], [2.0, 1.0], [1.0, 1.0], [1.0, 2.0], [0.0, 2.0]];
        let mut out = Vec::new();
        clip(&u, 1, 1.5, true, &mut out);
        assert!((signed_area(&out) - 1.0).abs() < 1e-15);
        clip(&u, 1, 1.0, false, &mut out);
        assert!((signed_area(&out) - 3.0).abs() < 1e-15);
    }

    #[test]
    fn common_edges() {
        let right: Vec<Point> = SQUARE.iter().map(|p| [p[0] + 1.0, p[1] + 0.25]).collect();
        let found = shared(&SQUARE, &right, 1e-3);
        assert_eq!(found, [Shared { edges: [1, 3], from: [1.0, 0.25], to: [1.0, 1.0] }]);
        let apart: Vec<Point> = SQUARE.iter().map(|p| [p[0] + 1.01, p[1]]).collect();
        assert!(shared(&SQUARE, &apart, 1e-3).is_empty());
        assert_eq!(shared(&SQUARE, &apart, 0.02).len(), 1);
        let corner: Vec<Point> = SQUARE.iter().map(|p| [p[0] + 1.0, p[1] + 1.0]).collect();
        assert!(shared(&SQUARE, &corner, 1e-3).is_empty());
    }
}
