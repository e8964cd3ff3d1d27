//! Rib: a line inside the gap of a panel that closes it, or lets water through a share of it.

use super::outline::{Point, side};

/// A straight rib.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rib {
    /// One end.
    pub from: Point,
    /// The other.
    pub to: Point,
    /// Loss coefficient on the velocity in the gap before it; `None`: closed.
    pub loss_coefficient: Option<f64>,
}

impl Rib {
    /// Loss coefficient that the rib adds to a way from one point to another, on the velocity along the way;
    /// `None`: it closes the way.
    ///
    /// ```text
    /// K/n^2        n: component of the rib's normal along the way
    /// ```
    /// A stream at a right angle to the rib has n times its velocity along the way, so it loses K on its own velocity
    /// whatever the ways of the grid. A point on the rib counts as on its left.
    pub fn on_way(&self, from: Point, to: Point) -> Option<f64> {
        let (a, b) = (side(self.from, self.to, from), side(self.from, self.to, to));
        if (a >= 0.0) == (b >= 0.0) {
            return Some(0.0);
        }
        let t = a / (a - b);
        let at = [from[0] + t * (to[0] - from[0]), from[1] + t * (to[1] - from[1])];
        let (dx, dy) = (self.to[0] - self.from[0], self.to[1] - self.from[1]);
        let square = dx * dx + dy * dy;
        let along = ((at[0] - self.from[0]) * dx + (at[1] - self.from[1]) * dy) / square;
        if !(0.0..=1.0).contains(&along) {
            return Some(0.0);
        }
        let normal = (b - a).abs() / (square.sqrt() * (to[0] - from[0]).hypot(to[1] - from[1]));
        self.loss_coefficient.map(|k| k / (normal * normal).max(1e-6))
    }
}

/// Loss coefficient of a thin wall of which a share is open, on the velocity before it.
///
/// ```text
/// K = (0.707 sqrt(1 - x) + 1 - x)^2/x^2        x: open share, above 0 to 1
/// ```
///
/// # Source
/// Idelchik, Handbook of Hydraulic Resistance, diagram 8-1 (thin perforated plate, sharp edges, high Reynolds number);
/// the closed form from memory.
///
/// # Example
/// A wall that is 10 % open, from the same formula written as Cd = 1/(x sqrt(K)) = 0.637 (as computed elsewhere):
/// ```
/// let k = hydro::component::rib::thin_wall_coefficient(0.1);
/// assert!((1.0 / (0.1 * k.sqrt()) - 0.637).abs() < 5e-4);
/// ```
pub fn thin_wall_coefficient(open: f64) -> f64 {
    let shut = 1.0 - open;
    ((0.5_f64.sqrt() * shut.sqrt() + shut) / open).powi(2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ways_across_a_rib_lose() {
        let rib = Rib { from: [1.0, 0.0], to: [1.0, 2.0], loss_coefficient: Some(3.0) };
        assert_eq!(rib.on_way([0.5, 1.0], [1.5, 1.0]), Some(3.0));
        assert_eq!(rib.on_way([0.5, 2.5], [1.5, 2.5]), Some(0.0));
        assert_eq!(rib.on_way([0.5, 0.5], [0.5, 1.5]), Some(0.0));
        // On the rib itself: one of the two ways crosses.
        let both = [rib.on_way([0.0, 1.0], [1.0, 1.0]), rib.on_way([1.0, 1.0], [2.0, 1.0])];
        assert_eq!(both, [Some(0.0), Some(3.0)]);
        let slanted = Rib { from: [0.0, 0.0], to: [2.0, 2.0], loss_coefficient: Some(3.0) };
        assert!((slanted.on_way([0.5, 1.0], [1.5, 1.0]).unwrap() - 6.0).abs() < 1e-12);
        let shut = Rib { loss_coefficient: None, ..rib };
        assert_eq!(shut.on_way([0.5, 1.0], [1.5, 1.0]), None);
    }
}
