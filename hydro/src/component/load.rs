//! Load of the plume on the plate, pressure or heat: over time, over position, or over both.

use std::sync::Arc;

use super::outline::{self, Point};
use super::schedule::TimeTable;

/// A load as it acts on one place of the plate: a panel, or a part of one.
///
/// ```text
/// over time alone     value = table(t)
/// over position       value = far + excess(x, y) s(t)        s: share over time, 1 where none is given
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct Load {
    /// The value over time; with a pattern its share s.
    pub over_time: TimeTable,
    /// Dependence on the position.
    pub pattern: Option<Arc<Pattern>>,
    /// Mean of the excess over the place.
    pub mean: f64,
    /// Greatest excess in the place.
    pub greatest: f64,
}

/// A load over position.
#[derive(Debug, Clone, PartialEq)]
pub struct Pattern {
    /// Value far from the plume, SI.
    pub far: f64,
    /// What is added to it.
    pub excess: Excess,
}

/// What a load adds to its value far away, over position.
#[derive(Debug, Clone, PartialEq)]
pub enum Excess {
    /// `peak 2^-(r/half_width)^2`, r the distance from the centre: a Gauss curve, half of its peak at the half-width.
    Radial {
        /// Centre on the plate plan, m.
        centre: Point,
        /// Distance at which half of the peak is left, m.
        half_width: f64,
        /// Excess at the centre, SI.
        peak: f64,
    },
    /// Values on a grid, bilinear between, those of the edge outside.
    Grid {
        /// Rising positions along x, m.
        x: Vec<f64>,
        /// Rising positions along y, m.
        y: Vec<f64>,
        /// Excess, SI, row by row of y.
        value: Vec<f64>,
    },
}

/// Fewest and most points along either side of a place over which a load is averaged.
const SAMPLES: (f64, f64) = (4.0, 48.0);

impl Load {
    /// The same everywhere, over time.
    pub fn over_time(table: TimeTable) -> Self {
        Load { over_time: table, pattern: None, mean: 0.0, greatest: 0.0 }
    }

    /// The same everywhere and always.
    pub fn constant(value: f64) -> Self {
        Load::over_time(TimeTable::constant(value))
    }

    /// Over position, its excess in `share` over time. Until [`Self::on`] says where, it is taken at its greatest.
    pub fn patterned(pattern: Pattern, share: TimeTable) -> Self {
        let greatest = pattern.excess.greatest();
        Load { over_time: share, pattern: Some(Arc::new(pattern)), mean: greatest, greatest }
    }

    /// The load on a place, given by its corners on the plate plan, m.
    ///
    /// The mean is that over a lattice of points inside, at least 8 to a half-width (or to a step of the grid) as far as
    /// 48 a side allow; the greatest is the greatest of these and of the centre, where that lies inside.
    pub fn on(&self, corners: &[Point]) -> Load {
        let Some(pattern) = &self.pattern else { return self.clone() };
        let excess = &pattern.excess;
        let [low, high] = outline::bounds(corners);
        let size = (high[0] - low[0]).max(high[1] - low[1]);
        let count = (8.0 * size / excess.scale()).ceil().clamp(SAMPLES.0, SAMPLES.1);
        let at = |k: u32, axis: usize| low[axis] + (high[axis] - low[axis]) * (f64::from(k) + 0.5) / count;
        let steps = count as u32;
        let lattice = (0..steps).flat_map(|j| (0..steps).map(move |i| (i, j)));
        let inside = lattice.map(|(i, j)| [at(i, 0), at(j, 1)]).filter(|&point| outline::contains(corners, point));
        let (mut sum, mut number, mut greatest) = (0.0, 0.0, f64::NEG_INFINITY);
        for value in inside.map(|point| excess.at(point)) {
            sum += value;
            number += 1.0;
            greatest = greatest.max(value);
        }
        if let Excess::Radial { centre, peak, .. } = excess
            && outline::contains(corners, *centre)
        {
            greatest = greatest.max(*peak);
        }
        if number == 0.0 {
            // A sliver between the points of the lattice.
            let middle = [0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1])];
            (sum, number, greatest) = (excess.at(middle), 1.0, greatest.max(excess.at(middle)));
        }
        Load { mean: sum / number, greatest, ..self.clone() }
    }

    /// Excess at a point of the plate plan; `None` for a load that is the same everywhere.
    pub fn excess_at(&self, point: Point) -> Option<f64> {
        self.pattern.as_ref().map(|pattern| pattern.excess.at(point))
    }

    /// Mean over the place at a time, s.
    pub fn at(&self, time: f64) -> f64 {
        self.value(self.mean, time)
    }

    /// Greatest value in the place at a time, s.
    pub fn greatest_at(&self, time: f64) -> f64 {
        self.value(self.greatest, time)
    }

    /// Value where the excess is known, at a time, s.
    pub fn value(&self, excess: f64, time: f64) -> f64 {
        let over_time = self.over_time.at(time);
        self.pattern.as_ref().map_or(over_time, |pattern| pattern.far + excess * over_time)
    }
}

impl Excess {
    /// Excess at a point of the plate plan.
    pub fn at(&self, [px, py]: Point) -> f64 {
        match self {
            Excess::Radial { centre: [cx, cy], half_width, peak } => {
                let square = ((px - cx).powi(2) + (py - cy).powi(2)) / (half_width * half_width);
                peak * (-square).exp2()
            }
            Excess::Grid { x, y, value } => {
                let ((i, across), (j, up)) = (between(x, px), between(y, py));
                let last = |list: &[f64]| list.len().saturating_sub(1);
                let node =
                    |i: usize, j: usize| value.get(j.min(last(y)) * x.len() + i.min(last(x))).copied().unwrap_or(0.0);
                let row = |j| node(i, j) * (1.0 - across) + node(i + 1, j) * across;
                row(j) * (1.0 - up) + row(j + 1) * up
            }
        }
    }

    /// Greatest excess anywhere.
    fn greatest(&self) -> f64 {
        match self {
            Excess::Radial { peak, .. } => *peak,
            Excess::Grid { value, .. } => value.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        }
    }

    /// Least excess anywhere.
    pub fn least(&self) -> f64 {
        match self {
            Excess::Radial { peak, .. } => peak.min(0.0),
            Excess::Grid { value, .. } => value.iter().copied().fold(f64::INFINITY, f64::min),
        }
    }

    /// Length over which it changes, m: the half-width, or the least step of the grid.
    fn scale(&self) -> f64 {
        match self {
            Excess::Radial { half_width, .. } => *half_width,
            Excess::Grid { x, y, .. } => {
                let steps = x.windows(2).chain(y.windows(2)).map(|pair| pair[1] - pair[0]);
                8.0 * steps.fold(f64::INFINITY, f64::min)
            }
        }
    }
}

/// Index of the step of a rising list that a position lies in, and how far along it, 0 to 1; ends outside.
fn between(list: &[f64], position: f64) -> (usize, f64) {
    let after = list.partition_point(|&at| at <= position);
    match (after.checked_sub(1).and_then(|k| list.get(k)), list.get(after)) {
        (Some(a), Some(b)) => (after - 1, (position - a) / (b - a)),
        (None, _) => (0, 0.0),
        (Some(_), None) => (after - 1, 0.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SQUARE: [[f64; 2]; 4] = [[0.0, 0.0], [3.0, 0.0], [3.0, 3.0], [0.0, 3.0]];

    fn radial(centre: [f64; 2], half_width: f64) -> Load {
        let excess = Excess::Radial { centre, half_width, peak: 100.0 };
        Load::patterned(Pattern { far: 10.0, excess }, TimeTable { time: vec![0.0, 2.0], value: vec![0.0, 1.0] })
    }

    /// Half of the peak at the half-width; the mean over a square against the closed form with the error function.
    #[test]
    fn a_radial_profile() {
        let load = radial([0.0, 0.0], 2.0);
        let pattern = load.pattern.clone().unwrap();
        assert!((pattern.excess.at([0.0, 2.0]) - 50.0).abs() < 1e-12);
        // mean of 2^-(r/2)^2 over [0, 3]^2: (sqrt(pi)/(2 a) erf(3 a)/3)^2 with a = sqrt(ln 2)/2; erf(1.24883) = 0.922623
        // (recomputed with scipy)
        let a = 0.5 * std::f64::consts::LN_2.sqrt();
        let mean = (std::f64::consts::PI.sqrt() / (2.0 * a) * 0.922_623_4 / 3.0).powi(2);
        let on = load.on(&SQUARE);
        assert!((on.mean / (100.0 * mean) - 1.0).abs() < 1e-3, "{} {mean}", on.mean);
        assert_eq!((on.at(0.0), load.on(&SQUARE).greatest_at(0.0)), (10.0, 10.0));
        assert!((on.at(1.0) - (10.0 + 0.5 * on.mean)).abs() < 1e-12);
        assert_eq!(radial([1.0, 1.0], 0.1).on(&SQUARE).greatest, 100.0, "its centre lies inside");
    }

    #[test]
    fn a_grid_is_bilinear_and_constant_outside() {
        let grid =
            Excess::Grid { x: vec![0.0, 1.0, 3.0], y: vec![0.0, 2.0], value: vec![0.0, 1.0, 5.0, 2.0, 3.0, 7.0] };
        for (point, wanted) in [([0.5, 0.0], 0.5), ([2.0, 1.0], 4.0), ([9.0, 9.0], 7.0), ([-1.0, 1.0], 1.0)] {
            assert!((grid.at(point) - wanted).abs() < 1e-12, "{point:?} {}", grid.at(point));
        }
        // A plane x + y has its mean at the middle.
        let plane = Excess::Grid { x: vec![0.0, 3.0], y: vec![0.0, 3.0], value: vec![0.0, 3.0, 3.0, 6.0] };
        let on = Load::patterned(Pattern { far: 0.0, excess: plane }, TimeTable::constant(1.0)).on(&SQUARE);
        assert!((on.mean - 3.0).abs() < 1e-12);
    }
}
