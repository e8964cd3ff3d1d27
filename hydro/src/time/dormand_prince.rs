//! Dormand-Prince 5(4), explicit, with the slope at the end reused as that at the next start.
//!
//! Dormand and Prince, J. Comput. Appl. Math. 6 (1980) 19-26; dense output of Shampine after Hairer, Norsett, Wanner,
//! Solving ODEs I, 2nd ed. (1993), routine DOPRI5. Coefficients from memory, held to all order conditions by a test.

use super::error::Failure;
use super::options::Stats;
use super::stepper::{Start, rhs};
use super::system::OdeSystem;

const STAGES: usize = 7;
/// Stage times.
const C: [f64; STAGES] = [0.0, 1.0 / 5.0, 3.0 / 10.0, 4.0 / 5.0, 8.0 / 9.0, 1.0, 1.0];
/// Stage weights; the last row is the solution of order 5.
const A: [&[f64]; STAGES] = [
    &[],
    &[1.0 / 5.0],
    &[3.0 / 40.0, 9.0 / 40.0],
    &[44.0 / 45.0, -56.0 / 15.0, 32.0 / 9.0],
    &[19372.0 / 6561.0, -25360.0 / 2187.0, 64448.0 / 6561.0, -212.0 / 729.0],
    &[9017.0 / 3168.0, -355.0 / 33.0, 46732.0 / 5247.0, 49.0 / 176.0, -5103.0 / 18656.0],
    &[35.0 / 384.0, 0.0, 500.0 / 1113.0, 125.0 / 192.0, -2187.0 / 6784.0, 11.0 / 84.0],
];
/// Solution of order 5 minus that of order 4.
const E: [f64; STAGES] =
    [71.0 / 57600.0, 0.0, -71.0 / 16695.0, 71.0 / 1920.0, -17253.0 / 339200.0, 22.0 / 525.0, -1.0 / 40.0];
/// Quartic part of the dense output.
const D: [f64; STAGES] = [
    -12715105075.0 / 11282082432.0,
    0.0,
    87487479700.0 / 32700410799.0,
    -10690763975.0 / 1880347072.0,
    701980252875.0 / 199316789632.0,
    -1453857185.0 / 822651844.0,
    69997945.0 / 29380423.0,
];

/// Buffers of the method.
#[derive(Debug, Clone)]
pub(super) struct DormandPrince {
    /// Slopes of the stages after the first, which is that of the start.
    k: [Vec<f64>; STAGES - 1],
}

impl DormandPrince {
    /// Buffers for `dim` components.
    pub(super) fn new(dim: usize) -> Self {
        Self { k: std::array::from_fn(|_| vec![0.0; dim]) }
    }

    /// Computes one step.
    pub(super) fn step<S: OdeSystem + ?Sized>(
        &mut self,
        system: &mut S,
        start: Start<'_>,
        y1: &mut [f64],
        error: &mut [f64],
        stats: &mut Stats,
    ) -> Result<(), Failure<S::Error>> {
        for stage in 1..STAGES {
            let (before, rest) = self.k.split_at_mut(stage - 1);
            for (i, y) in y1.iter_mut().enumerate() {
                let slope: f64 = before.iter().zip(&A[stage][1..]).map(|(k, a)| a * k[i]).sum();
                *y = start.y[i] + start.h * (A[stage][0] * start.f[i] + slope);
            }
            rhs(system, start.t + C[stage] * start.h, y1, &mut rest[0], stats)?;
        }
        for (i, error) in error.iter_mut().enumerate() {
            *error = start.h * self.combine(&E, start, i);
        }
        Ok(())
    }

    /// Slope at the end of the last step.
    pub(super) fn last_slope(&self) -> &[f64] {
        &self.k[STAGES - 2]
    }

    /// Quartic part of the dense output of component `i`.
    pub(super) fn quartic(&self, start: Start<'_>, i: usize) -> f64 {
        start.h * self.combine(&D, start, i)
    }

    fn combine(&self, weights: &[f64; STAGES], start: Start<'_>, i: usize) -> f64 {
        weights[0] * start.f[i] + self.k.iter().zip(&weights[1..]).map(|(k, w)| w * k[i]).sum::<f64>()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// All 17 order conditions up to order 5 (Butcher), the first 8 for order 4 of the embedded solution and of the
    /// dense output at several places.
    #[test]
    fn order_conditions() {
        let a = |i: usize, j: usize| A[i].get(j).copied().unwrap_or(0.0);
        let apply =
            |v: [f64; STAGES]| -> [f64; STAGES] { std::array::from_fn(|i| (0..STAGES).map(|j| a(i, j) * v[j]).sum()) };
        let times = |u: [f64; STAGES], v: [f64; STAGES]| -> [f64; STAGES] { std::array::from_fn(|i| u[i] * v[i]) };
        let one = [1.0; STAGES];
        let ac = apply(C);
        assert!((0..STAGES).all(|i| (apply(one)[i] - C[i]).abs() < 1e-14));
        let c2 = times(C, C);
        let c3 = times(c2, C);
        // (elementary weight, density, order) of the rooted trees.
        let trees = [
            (one, 1.0, 1),
            (C, 2.0, 2),
            (c2, 3.0, 3),
            (ac, 6.0, 3),
            (c3, 4.0, 4),
            (times(C, ac), 8.0, 4),
            (apply(c2), 12.0, 4),
            (apply(ac), 24.0, 4),
            (times(c2, c2), 5.0, 5),
            (times(c2, ac), 10.0, 5),
            (times(ac, ac), 20.0, 5),
            (times(C, apply(c2)), 15.0, 5),
            (times(C, apply(ac)), 30.0, 5),
            (apply(c3), 20.0, 5),
            (apply(times(C, ac)), 40.0, 5),
            (apply(apply(c2)), 60.0, 5),
            (apply(apply(ac)), 120.0, 5),
        ];
        let b: [f64; STAGES] = std::array::from_fn(|i| a(STAGES - 1, i));
        let embedded: [f64; STAGES] = std::array::from_fn(|i| b[i] - E[i]);
        let dense = |s: f64| -> [f64; STAGES] {
            std::array::from_fn(|i| {
                let (first, last) = (f64::from(i == 0), f64::from(i == STAGES - 1));
                let bend = first - b[i];
                s * (b[i] + (1.0 - s) * (bend + s * (b[i] - last - bend + (1.0 - s) * D[i])))
            })
        };
        let dot = |u: [f64; STAGES], v: [f64; STAGES]| -> f64 { (0..STAGES).map(|i| u[i] * v[i]).sum() };
        for (tree, density, order) in trees {
            assert!((dot(b, tree) - 1.0 / density).abs() < 1e-14);
            if order <= 4 {
                assert!((dot(embedded, tree) - 1.0 / density).abs() < 1e-14);
                for s in [0.1, 0.25, 0.5, 0.75, 0.9] {
                    let exact = f64::powi(s, order) / density;
                    assert!((dot(dense(s), tree) - exact).abs() < 1e-14, "dense output, order {order}, at {s}");
                }
            }
        }
    }
}
