//! A diagonally implicit Runge-Kutta method with an explicit first stage: order 4(3), L-stable, stiffly accurate, stage
//! order 2.
//!
//! ```text
//! y_i = y + h sum_j<i a_ij k_j + h g k_i,   k_i = f(t + c_i h, y_i)
//! y1  = y_6
//! ```
//! Every stage is asked of the system as the solution of `y_i = base + reach f(t_i, y_i)` ([`OdeSystem::stage`]); `k_i` is
//! then `(y_i - base)/reach`. So a system may hold unknowns of its own that follow from the state without a
//! derivative, and constraints on the state, as a differential-algebraic system does.
//!
//! Kennedy and Carpenter, Appl. Numer. Math. 44 (2003) 139-181, ARK4(3)6L\[2\]SA, the implicit part. Coefficients from
//! memory, held to all order conditions by a test.

use super::error::Failure;
use super::options::Stats;
use super::stepper::Start;
use super::system::OdeSystem;

const STAGES: usize = 6;
const GAMMA: f64 = 0.25;
const C: [f64; STAGES] = [0.0, 0.5, 83.0 / 250.0, 31.0 / 50.0, 17.0 / 20.0, 1.0];
/// Strictly lower `a_ij`; the diagonal is [`GAMMA`] but for the first stage, which is explicit.
const A: [[f64; STAGES]; STAGES] = [
    [0.0; STAGES],
    [0.25, 0.0, 0.0, 0.0, 0.0, 0.0],
    [8_611.0 / 62_500.0, -1_743.0 / 31_250.0, 0.0, 0.0, 0.0, 0.0],
    [5_012_029.0 / 34_652_500.0, -654_441.0 / 2_922_500.0, 174_375.0 / 388_108.0, 0.0, 0.0, 0.0],
    [
        15_267_082_809.0 / 155_376_265_600.0,
        -71_443_401.0 / 120_774_400.0,
        730_878_875.0 / 902_184_768.0,
        2_285_395.0 / 8_070_912.0,
        0.0,
        0.0,
    ],
    [82_889.0 / 524_892.0, 0.0, 15_625.0 / 83_664.0, 69_875.0 / 102_672.0, -2_260.0 / 8_211.0, 0.0],
];
const B: [f64; STAGES] =
    [82_889.0 / 524_892.0, 0.0, 15_625.0 / 83_664.0, 69_875.0 / 102_672.0, -2_260.0 / 8_211.0, GAMMA];
/// Weights of the embedded solution of order 3.
const B_HAT: [f64; STAGES] = [
    4_586_570_599.0 / 29_645_900_160.0,
    0.0,
    178_811_875.0 / 945_068_544.0,
    814_220_225.0 / 1_159_782_912.0,
    -3_700_637.0 / 11_593_932.0,
    61_727.0 / 225_920.0,
];

/// Weights of the slopes before a stage in its guess: the polynomial through them, continued to the time of the stage.
const AHEAD: [[f64; STAGES]; STAGES] = ahead();

const fn ahead() -> [[f64; STAGES]; STAGES] {
    let mut weights = [[0.0; STAGES]; STAGES];
    let mut stage = 1;
    while stage < STAGES {
        let mut j = 0;
        while j < stage {
            weights[stage][j] = 1.0;
            let mut other = 0;
            while other < stage {
                if other != j {
                    weights[stage][j] *= (C[stage] - C[other]) / (C[j] - C[other]);
                }
                other += 1;
            }
            j += 1;
        }
        stage += 1;
    }
    weights
}

/// Buffers of the method.
#[derive(Debug, Clone)]
pub(super) struct Esdirk {
    k: [Vec<f64>; STAGES],
    base: Vec<f64>,
}

impl Esdirk {
    /// Buffers for `dim` components.
    pub(super) fn new(dim: usize) -> Self {
        Self { k: std::array::from_fn(|_| vec![0.0; dim]), base: vec![0.0; dim] }
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
        let reach = GAMMA * h;
        self.k[0].copy_from_slice(f);
        for stage in 1..STAGES {
            let (before, rest) = self.k.split_at_mut(stage);
            self.base.fill(0.0);
            y1.fill(0.0);
            for ((k, &a), &ahead) in before.iter().zip(&A[stage]).zip(&AHEAD[stage]) {
                for ((base, slope), k) in self.base.iter_mut().zip(&mut *y1).zip(k) {
                    *base += a * k;
                    *slope += ahead * k;
                }
            }
            // The guess: where the stages before were going.
            for ((base, y1), y) in self.base.iter_mut().zip(&mut *y1).zip(y) {
                *base = y + h * *base;
                *y1 = *base + reach * *y1;
            }
            stats.rhs_calls += 1;
            if !system.stage(t + C[stage] * h, &self.base, reach, y1).map_err(Failure::System)? {
                return Err(Failure::Unsolved);
            }
            for ((k, y1), base) in rest[0].iter_mut().zip(&*y1).zip(&self.base) {
                *k = (y1 - base) / reach;
            }
        }
        error.fill(0.0);
        for (k, (b, hat)) in self.k.iter().zip(B.iter().zip(&B_HAT)) {
            error.iter_mut().zip(k).for_each(|(error, k)| *error += (b - hat) * k);
        }
        error.iter_mut().for_each(|error| *error *= h);
        let finite = y1.iter().chain(&*error).all(|v| v.is_finite());
        if finite { Ok(()) } else { Err(Failure::NotFinite) }
    }

    /// Slope at the end of the last step.
    pub(super) fn last_slope(&self) -> &[f64] {
        &self.k[STAGES - 1]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Conditions of order 4 (solution) and 3 (embedded), row sums, stage order 2, stiff accuracy: Hairer, Norsett,
    /// Wanner, Solving ODEs I, 2nd ed., section II.2, table 2.1, from memory.
    #[test]
    fn order_conditions() {
        let mut a = A;
        (1..STAGES).for_each(|i| a[i][i] = GAMMA);
        let dot = |u: [f64; STAGES], v: [f64; STAGES]| (0..STAGES).map(|i| u[i] * v[i]).sum::<f64>();
        let apply = |v: [f64; STAGES]| a.map(|row| dot(row, v));
        let (one, square) = ([1.0; STAGES], C.map(|c| c * c));
        let (cube, times) =
            (C.map(|c| c * c * c), |u: [f64; STAGES], v: [f64; STAGES]| std::array::from_fn(|i| u[i] * v[i]));
        for i in 0..STAGES {
            assert!((apply(one)[i] - C[i]).abs() < 1e-14, "row {i}");
            assert!((apply(C)[i] - 0.5 * square[i]).abs() < 1e-14, "stage order of row {i}");
            assert!((a[STAGES - 1][i] - B[i]).abs() < 1e-15, "last row");
        }
        for (b, order) in [(B, 4), (B_HAT, 3)] {
            let third =
                [(dot(b, one), 1.0), (dot(b, C), 0.5), (dot(b, square), 1.0 / 3.0), (dot(b, apply(C)), 1.0 / 6.0)];
            let fourth = [
                (dot(b, cube), 0.25),
                (dot(b, times(C, apply(C))), 0.125),
                (dot(b, apply(square)), 1.0 / 12.0),
                (dot(b, apply(apply(C))), 1.0 / 24.0),
            ];
            for (value, wanted) in third.iter().chain(fourth.iter().filter(|_| order == 4)) {
                assert!((value - wanted).abs() < 1e-13, "{value} for {wanted}");
            }
        }
        // The embedded solution is not of order 4, or there were no error estimate.
        assert!((dot(B_HAT, cube) - 0.25).abs() > 1e-4);
    }

    /// L-stable: at infinite stiffness nothing of the start is left. With an explicit first stage that is
    /// `1 - b A^-1 1` over the implicit stages with the first one's share moved to the right-hand side.
    #[test]
    fn forgets_the_start_where_stiff() {
        struct Stiff;
        impl OdeSystem for Stiff {
            type Error = std::convert::Infallible;
            fn dim(&self) -> usize {
                1
            }
            fn rhs(&mut self, _t: f64, y: &[f64], dydt: &mut [f64]) -> Result<(), Self::Error> {
                dydt[0] = -1e12 * y[0];
                Ok(())
            }
            fn scale(&self, _component: usize) -> f64 {
                1.0
            }
            fn stage(&mut self, _t: f64, base: &[f64], reach: f64, y: &mut [f64]) -> Result<bool, Self::Error> {
                y[0] = base[0] / (1.0 + 1e12 * reach);
                Ok(true)
            }
        }
        let (mut y1, mut error) = ([0.0], [0.0]);
        let start = Start { t: 0.0, y: &[1.0], f: &[-1e12], h: 1.0 };
        let mut method = Esdirk::new(1);
        method.step(&mut Stiff, start, &mut y1, &mut error, &mut Stats::default()).unwrap();
        assert!(y1[0].abs() < 1e-10, "{y1:?}");
    }
}
