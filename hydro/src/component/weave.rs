//! Weave: ducts between the cells of a gap, straight and diagonal, that lose alike in every direction.
//!
//! In a gap the loss follows the size of the velocity; in ducts along x and y each follows its own. A uniform stream
//! along the diagonal of square cells then loses 0.71 of what it should. With two diagonal ducts more in every block of
//! 2 x 2 cells the widths of all are chosen so that it does not.

/// Exponent of the dissipation in the gradient: of a loss with the square of the velocity, and close to that of a linear one.
const POWERS: [f64; 2] = [1.5, 1.999];

/// Directions from 0 to 90 degrees over which the squares are summed.
const DIRECTIONS: usize = 36;

/// Share of a side that its straight duct keeps at least.
const LEAST: f64 = 0.05;

/// Longer over shorter side of a cell up to which diagonals are used.
const LONGEST: f64 = 3.0;

/// Widths by which ducts pass what they should, as shares: where the loss goes with the square of the velocity, and where
/// it is linear.
pub type Widths = [f64; 2];

/// Ducts of cells of one shape.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weave {
    /// Of the straight ducts along x and y between two blocks, over the side.
    pub straight: [Widths; 2],
    /// Of the diagonal ducts, over the root of the area of a cell.
    pub diagonal: Widths,
}

/// A width and a length over the true one that give a duct both its widths.
///
/// A loss with the square of the velocity goes with length/width^2, a linear one with length/width.
pub fn duct([square, linear]: Widths) -> (f64, f64) {
    (square * square / linear, (square / linear).powi(2))
}

impl Weave {
    /// Ducts of cells of an extent along x and y, m; `None` where they are too long for diagonals to help.
    ///
    /// With the dissipation `E` of a uniform gradient at an angle t, over that of an even gap, and phi the angle of the
    /// diagonal of length d:
    ///
    /// ```text
    /// E(t) = Cx/dy |cos t|^p + Cy/dx |sin t|^p + Cd d/(dx dy) (|cos(t - phi)|^p + |cos(t + phi)|^p)
    /// ```
    ///
    /// p: 3/2 where the loss goes with the square of the velocity, 2 where it is linear (then E = 1 in every direction).
    /// Along x and y E is 1; Cd is that for which E is 1 along the diagonal too, or, where less, that of the least sum of
    /// (E - 1)^2 over all directions; no straight duct is narrower than 1/20 of its side.
    ///
    /// The flow at a given gradient is E times what it should be: of square cells 1 at 0, 45 and 90 degrees and at most
    /// 1.028 between; 0.97 to 1.04 at 3:2; 0.98 to 1.065 at 2:1; 1 to 1.11 at 3:1. Without diagonals it is up to 1.19. The
    /// stream of square cells turns at most 4 degrees off the gradient, without diagonals 13.
    pub fn new([dx, dy]: [f64; 2]) -> Option<Weave> {
        if dx.max(dy) > LONGEST * dx.min(dy) {
            return None;
        }
        let [squares, linear] = POWERS.map(|power| shares(dy / dx, power));
        let pair = |k: usize| [squares[k], linear[k]];
        Some(Weave { straight: [pair(0), pair(1)], diagonal: pair(2) })
    }
}

/// Shares of the straight ducts along x and y and of the diagonals, for cells of a height over width.
fn shares(aspect: f64, p: f64) -> [f64; 3] {
    // Cells of area 1.
    let (dx, dy) = (1.0 / aspect.sqrt(), aspect.sqrt());
    let (d, phi) = (dx.hypot(dy), aspect.atan());
    let (along, across) = (phi.cos().powf(p), phi.sin().powf(p));
    // E without diagonals, and what a diagonal of width 1 adds while the straight ducts give way to it.
    let straight = |t: f64| [t.cos().abs().powf(p), t.sin().abs().powf(p)];
    let plain = |t: f64| straight(t).iter().sum::<f64>();
    let adds = |t: f64| {
        let [x, y] = straight(t);
        let diagonals = (t - phi).cos().abs().powf(p) + (t + phi).cos().abs().powf(p);
        d * (diagonals - 2.0 * along * x - 2.0 * across * y)
    };
    let exact = (1.0 - plain(phi)) / adds(phi);
    let (mut above, mut below) = (0.0, 0.0);
    for k in 0..=DIRECTIONS {
        let t = std::f64::consts::FRAC_PI_2 * k as f64 / DIRECTIONS as f64;
        above += adds(t) * (1.0 - plain(t));
        below += adds(t) * adds(t);
    }
    let most = (1.0 - LEAST) / (2.0 * d * along.max(across));
    let diagonal = exact.min(above / below).min(most);
    [1.0 - 2.0 * d * diagonal * along, 1.0 - 2.0 * d * diagonal * across, diagonal]
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Square cells in closed form: straight ducts of 1/(1 + 2^(1 - p/2)) of the side, diagonals of that over the root of 2.
    #[test]
    fn square_cells() {
        let weave = Weave::new([0.2, 0.2]).unwrap();
        let square = 1.0 / (1.0 + 2f64.powf(0.25));
        let [x, y] = weave.straight;
        assert!((x[0] - square).abs() < 1e-12 && (y[0] - square).abs() < 1e-12, "{weave:?}");
        assert!((weave.diagonal[0] - square / 2f64.sqrt()).abs() < 1e-12, "{weave:?}");
        assert!((x[1] - 0.5).abs() < 2e-4 && (weave.diagonal[1] - 0.5 / 2f64.sqrt()).abs() < 2e-4, "{weave:?}");
        let (width, length) = duct(x);
        assert!((width / length.sqrt() - x[0]).abs() < 1e-12 && (width / length - x[1]).abs() < 1e-12);
    }

    /// Turned cells have turned ducts; long cells none.
    #[test]
    fn long_cells() {
        let [a, b] = [Weave::new([0.3, 0.2]).unwrap(), Weave::new([0.2, 0.3]).unwrap()];
        for k in 0..2 {
            assert!((a.straight[0][k] - b.straight[1][k]).abs() < 1e-9 && (a.diagonal[k] - b.diagonal[k]).abs() < 1e-9);
        }
        assert!(Weave::new([0.5, 0.2]).is_some_and(|weave| weave.straight[0][0] >= LEAST - 1e-12));
        assert_eq!(Weave::new([1.0, 0.3]), None);
    }
}
