//! Port: where a pipe or a crossover opens into a panel.

use super::outline::{Point, inward};

/// One opening of a passage into a panel; several ports of one passage are equal.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Port {
    /// A piece of the edge.
    Edge {
        /// Start.
        from: Point,
        /// End.
        to: Point,
        /// Unit vector into the panel.
        inward: Point,
    },
    /// A rectangle of one of the plates.
    Inside {
        /// Lower left corner.
        low: Point,
        /// Upper right corner.
        high: Point,
    },
}

impl Port {
    /// A port of a bore, m, in an edge (run counter-clockwise) about a point on it, as far as the edge goes.
    pub fn in_edge(edge: (Point, Point), at: Point, bore: f64) -> Port {
        let (a, b) = edge;
        let length = (b[0] - a[0]).hypot(b[1] - a[1]);
        let unit = [(b[0] - a[0]) / length, (b[1] - a[1]) / length];
        let along = (at[0] - a[0]) * unit[0] + (at[1] - a[1]) * unit[1];
        let half = 0.5 * bore.min(length);
        let middle = along.clamp(half, length - half);
        let point = |s: f64| [a[0] + s * unit[0], a[1] + s * unit[1]];
        Port::Edge { from: point(middle - half), to: point(middle + half), inward: inward(edge) }
    }

    /// The same port run the other way: common edges of two panels run in opposite directions.
    pub fn turned(self) -> Port {
        match self {
            Port::Edge { from, to, inward } => Port::Edge { from: to, to: from, inward },
            Port::Inside { .. } => self,
        }
    }

    /// A port of a bore, m, through one of the plates about a point: a square of the same area.
    pub fn in_plate(at: Point, bore: f64) -> Port {
        let half = 0.25 * std::f64::consts::PI.sqrt() * bore;
        Port::Inside { low: [at[0] - half, at[1] - half], high: [at[0] + half, at[1] + half] }
    }
}
