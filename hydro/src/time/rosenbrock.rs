//! ROS34PW2: a linearly implicit W-method of four stages, order 3(2), stiffly accurate and L-stable.
//!
//! ```text
//! (I - h g J) k_i = h f(t + a_i h, y + sum_j<i a_ij k_j) + h J sum_j<i g_ij k_j + h^2 g_i f_t
//! y1 = y + sum_i b_i k_i
//! ```
//! with `a_i`, `g_i` the row sums of `a_ij`, `g_ij` (`g_ii = g`). The order holds for any `J` and any `f_t`, so the
//! Jacobian is kept over several steps and both may be finite differences.
//!
//! Rang and Angermann, BIT Numer. Math. 45 (2005) 761-787. Coefficients from memory, held to all order conditions,
//! those for an arbitrary `J` included, by a test.

use super::error::Failure;
use super::lu::Lu;
use super::options::Stats;
use super::stepper::{Start, rhs};
use super::system::OdeSystem;
use nalgebra::DMatrix;

const STAGES: usize = 4;
const GAMMA: f64 = 4.358_665_215_084_59e-1;
/// Strictly lower `a_ij`.
const A: [[f64; STAGES]; STAGES] = [
    [0.0; STAGES],
    [8.717_330_430_169_18e-1, 0.0, 0.0, 0.0],
    [8.445_706_001_536_942e-1, -1.129_906_423_648_418_5e-1, 0.0, 0.0],
    [0.0, 0.0, 1.0, 0.0],
];
/// Strictly lower `g_ij`.
const G: [[f64; STAGES]; STAGES] = [
    [0.0; STAGES],
    [-8.717_330_430_169_18e-1, 0.0, 0.0, 0.0],
    [-9.033_805_701_304_408e-1, 5.418_067_238_809_533e-2, 0.0, 0.0],
    [2.421_238_070_609_534_6e-1, -1.223_250_583_904_514_7, 5.452_602_553_351_021e-1, 0.0],
];
const B: [f64; STAGES] = [2.421_238_070_609_534_6e-1, -1.223_250_583_904_514_7, 1.545_260_255_335_102, GAMMA];
/// Weights of the embedded solution of order 2.
const B_HAT: [f64; STAGES] = [3.781_090_314_581_937e-1, -9.604_229_221_242_318e-2, 0.5, 2.179_332_607_542_295e-1];

/// Increment of finite differences relative to `max(scale, |y|)`: an inner solve need be no better than 1e-8.
const INCREMENT: f64 = 1e-6;
/// Bounds of the use of a Jacobian by finite differences, in steps.
const MIN_AGE: usize = 8;
const MAX_AGE: usize = 20;

/// Buffers of the method and the Jacobian in use.
#[derive(Debug, Clone)]
pub(super) struct RosenbrockW {
    k: [Vec<f64>; STAGES],
    jacobian: DMatrix<f64>,
    /// Slope of `f` with `t` at fixed `y`.
    time_slope: Vec<f64>,
    lu: Lu,
    /// Steps the Jacobian has served; `None` when there is none.
    age: Option<usize>,
    /// Steps it may serve.
    max_age: usize,
    /// Step the factors belong to.
    factored: Option<f64>,
    work: Vec<f64>,
}

impl RosenbrockW {
    /// Buffers for `dim` components.
    pub(super) fn new(dim: usize) -> Self {
        Self {
            k: std::array::from_fn(|_| vec![0.0; dim]),
            jacobian: DMatrix::zeros(dim, dim),
            time_slope: vec![0.0; dim],
            lu: Lu::new(dim),
            age: None,
            max_age: 0,
            factored: None,
            work: vec![0.0; dim],
        }
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
        let Start { t, y, f, h } = start;
        if self.age.is_none_or(|age| age >= self.max_age) {
            self.linearise(system, start, y1, stats)?;
        }
        if self.factored != Some(h) {
            self.factored = None;
            if !self.lu.factor(h * GAMMA, &self.jacobian) {
                return Err(Failure::NotFinite);
            }
            self.factored = Some(h);
        }
        for stage in 0..STAGES {
            let (before, rest) = self.k.split_at_mut(stage);
            let k = &mut rest[0];
            if stage == 0 {
                k.copy_from_slice(f);
            } else {
                for (i, y1) in y1.iter_mut().enumerate() {
                    *y1 = y[i] + before.iter().zip(&A[stage]).map(|(k, a)| a * k[i]).sum::<f64>();
                }
                rhs(system, t + A[stage].iter().sum::<f64>() * h, y1, k, stats)?;
                for (i, work) in self.work.iter_mut().enumerate() {
                    *work = before.iter().zip(&G[stage]).map(|(k, g)| g * k[i]).sum::<f64>();
                }
                for (column, &work) in self.jacobian.column_iter().zip(&self.work) {
                    k.iter_mut().zip(column.iter()).for_each(|(k, j)| *k += j * work);
                }
            }
            let g = GAMMA + G[stage].iter().sum::<f64>();
            for (k, slope) in k.iter_mut().zip(&self.time_slope) {
                *k = h * (*k + h * g * slope);
            }
            self.lu.solve(k);
        }
        for (i, y1) in y1.iter_mut().enumerate() {
            *y1 = y[i] + self.k.iter().zip(&B).map(|(k, b)| b * k[i]).sum::<f64>();
        }
        for (i, error) in error.iter_mut().enumerate() {
            *error = self.k.iter().zip(B.iter().zip(&B_HAT)).map(|(k, (b, hat))| (b - hat) * k[i]).sum();
        }
        Ok(())
    }

    /// Computes the Jacobian and the slope with time at the start of a step.
    fn linearise<S: OdeSystem + ?Sized>(
        &mut self,
        system: &mut S,
        Start { t, y, f, h }: Start<'_>,
        moved: &mut [f64],
        stats: &mut Stats,
    ) -> Result<(), Failure<S::Error>> {
        (self.age, self.factored) = (None, None);
        stats.jacobians += 1;
        if system.jacobian(t, y, &mut self.jacobian).map_err(Failure::System)? {
            self.max_age = 1;
        } else {
            // So many steps that the differences cost about a quarter of the stages.
            self.max_age = y.len().clamp(MIN_AGE, MAX_AGE);
            moved.copy_from_slice(y);
            for j in 0..y.len() {
                // Where the solution goes; the other way if that cannot be computed.
                let size = INCREMENT * y[j].abs().max(system.scale(j));
                let towards = if f[j] < 0.0 { -size } else { size };
                moved[j] = y[j] + towards;
                if rhs(system, t, moved, &mut self.work, stats).is_err() {
                    moved[j] = y[j] - towards;
                    rhs(system, t, moved, &mut self.work, stats)?;
                }
                let increment = moved[j] - y[j];
                for (entry, (new, old)) in self.jacobian.column_mut(j).iter_mut().zip(self.work.iter().zip(f)) {
                    *entry = (new - old) / increment;
                }
                moved[j] = y[j];
            }
        }
        let later = t + 0.01 * h;
        self.time_slope.fill(0.0);
        if later > t && !system.autonomous() {
            rhs(system, later, y, &mut self.work, stats)?;
            for (slope, (new, old)) in self.time_slope.iter_mut().zip(self.work.iter().zip(f)) {
                *slope = (new - old) / (later - t);
            }
        }
        if !self.jacobian.iter().chain(&self.time_slope).all(|v| v.is_finite()) {
            return Err(Failure::NotFinite);
        }
        self.age = Some(0);
        Ok(())
    }

    /// The last step was kept.
    pub(super) fn accepted(&mut self) {
        self.age = self.age.map(|age| age + 1);
    }

    /// The last step was thrown away: an old Jacobian may be the reason.
    pub(super) fn rejected(&mut self) {
        self.age = self.age.filter(|&age| age == 0);
    }

    /// The equations changed.
    pub(super) fn restart(&mut self) {
        self.age = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    type Vector = [f64; STAGES];

    fn dot(u: Vector, v: Vector) -> f64 {
        (0..STAGES).map(|i| u[i] * v[i]).sum()
    }

    fn apply(matrix: [Vector; STAGES], v: Vector) -> Vector {
        matrix.map(|row| dot(row, v))
    }

    /// Conditions of order 3 (solution) and 2 (embedded) of W-methods: those of Runge-Kutta methods for `a_ij`, and
    /// every term in which some `a_ij` is replaced by `g_ij` vanishes (Hairer, Wanner, Solving ODEs II, 2nd ed.,
    /// section IV.7, from memory).
    #[test]
    fn order_conditions() {
        let mut g = G;
        (0..STAGES).for_each(|i| g[i][i] = GAMMA);
        let one = [1.0; STAGES];
        let (a_sum, g_sum) = (apply(A, one), apply(g, one));
        for b in [B, B_HAT] {
            for (value, wanted) in [(dot(b, one), 1.0), (dot(b, a_sum), 0.5), (dot(b, g_sum), 0.0)] {
                assert!((value - wanted).abs() < 1e-14);
            }
        }
        let third = [
            (dot(B, a_sum.map(|a| a * a)), 1.0 / 3.0),
            (dot(B, apply(A, a_sum)), 1.0 / 6.0),
            (dot(B, apply(A, g_sum)), 0.0),
            (dot(B, apply(g, a_sum)), 0.0),
            (dot(B, apply(g, g_sum)), 0.0),
        ];
        for (value, wanted) in third {
            assert!((value - wanted).abs() < 1e-14);
        }
        // The embedded solution is not of order 3, or there were no error estimate.
        assert!((dot(B_HAT, apply(A, a_sum)) - 1.0 / 6.0).abs() > 1e-2);
    }

    /// Stiffly accurate: the solution is the last stage.
    #[test]
    fn stiffly_accurate() {
        for i in 0..STAGES {
            let last = A[STAGES - 1][i] + if i == STAGES - 1 { GAMMA } else { G[STAGES - 1][i] };
            assert!((B[i] - last).abs() < 1e-15);
        }
    }
}
