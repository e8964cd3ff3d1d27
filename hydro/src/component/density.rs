//! Density: how the holes of a panel are spread over the plate plan.

use super::outline::Point;

/// Relative density of the holes over position: linear between its points, constant outside. Its unit does not matter.
#[derive(Debug, Clone, PartialEq)]
pub enum Density {
    /// Over the distance from a centre.
    Radial {
        /// Centre on the plate plan.
        center: Point,
        /// Distances, m, rising.
        radius: Vec<f64>,
        /// Density at each distance, 0 or more.
        value: Vec<f64>,
    },
    /// Over x and y.
    Table {
        /// x, m, rising.
        x: Vec<f64>,
        /// y, m, rising.
        y: Vec<f64>,
        /// Density at each x, for one y after the other, 0 or more.
        value: Vec<f64>,
    },
}

impl Density {
    /// Density at a point.
    pub fn at(&self, p: Point) -> f64 {
        match self {
            Density::Radial { center, radius, value } => {
                let (k, t) = place(radius, (p[0] - center[0]).hypot(p[1] - center[1]));
                between(value, k, t)
            }
            Density::Table { x, y, value } => {
                let ((i, s), (j, t)) = (place(x, p[0]), place(y, p[1]));
                let row = |j: usize| value.get(j * x.len()..(j + 1) * x.len()).map_or(0.0, |row| between(row, i, s));
                if t == 0.0 { row(j) } else { row(j) * (1.0 - t) + row(j + 1) * t }
            }
        }
    }
}

/// The point of rising points before a position, and the share of the way to the next.
fn place(points: &[f64], at: f64) -> (usize, f64) {
    let next = points.partition_point(|&point| point <= at);
    match (next.checked_sub(1), points.get(next)) {
        (None, _) => (0, 0.0),
        (Some(last), None) => (last, 0.0),
        (Some(k), Some(b)) => (k, (at - points[k]) / (b - points[k])),
    }
}

/// Between a value and the next one.
fn between(values: &[f64], k: usize, t: f64) -> f64 {
    let value = |k: usize| values.get(k).copied().unwrap_or(0.0);
    if t == 0.0 { value(k) } else { value(k) * (1.0 - t) + value(k + 1) * t }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn linear_between_points_and_constant_outside() {
        let radial = Density::Radial { center: [1.0, 0.0], radius: vec![0.5, 1.5], value: vec![4.0, 2.0] };
        assert_eq!([radial.at([1.0, 0.0]), radial.at([2.0, 0.0]), radial.at([1.0, 9.0])], [4.0, 3.0, 2.0]);
        let value = vec![1.0, 3.0, 5.0, 7.0];
        let table = Density::Table { x: vec![0.0, 2.0], y: vec![0.0, 1.0], value };
        assert_eq!([table.at([1.0, 0.5]), table.at([-1.0, 2.0]), table.at([2.0, 0.25])], [4.0, 5.0, 4.0]);
        let one_row = Density::Table { x: vec![0.0, 2.0], y: vec![0.0], value: vec![1.0, 3.0] };
        assert_eq!(one_row.at([1.0, 7.0]), 2.0);
    }
}
