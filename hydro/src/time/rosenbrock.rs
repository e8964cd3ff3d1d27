//! Linearly implicit methods of Rosenbrock and Wanner, each by its [`Tableau`].
//!
//! ```text
//! (I - h g J) u_i = h g (f(t + a_i h, y + sum_j<i a_ij u_j) + sum_j<i c_ij u_j / h + h g_i f_t)
//! y1 = y + sum_i m_i u_i
//! ```
//! with a Jacobian J and a slope `f_t` with time at fixed state at the start of the step. Form without products with J: Hairer,
//! Wanner, Solving ODEs II, 2nd ed., section IV.7.

use super::error::Failure;
use super::lu::Lu;
use super::near::{Mix, Near};
use super::options::Stats;
use super::stepper::{Start, rhs, rhs_near};
use super::system::OdeSystem;
use super::tableau::Tableau;
use nalgebra::DMatrix;

/// Increment of finite differences relative to `max(scale, |y|)`: an inner solve need be no better than 1e-8.
const INCREMENT: f64 = 1e-6;
/// How much later, as a share of the step, the slope with time is looked at.
const LATER: f64 = 1e-3;
/// Bounds of the use of a Jacobian by finite differences, in steps.
const MIN_AGE: usize = 8;
const MAX_AGE: usize = 20;

/// Buffers of a method and the Jacobian in use.
#[derive(Debug, Clone)]
pub(super) struct Rosenbrock {
    tableau: Tableau,
    u: Vec<Vec<f64>>,
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

impl Rosenbrock {
    /// Buffers for `dim` components.
    pub(super) fn new(tableau: Tableau, dim: usize) -> Self {
        Self {
            u: vec![vec![0.0; dim]; tableau.stages()],
            tableau,
            jacobian: DMatrix::zeros(dim, dim),
            time_slope: vec![0.0; dim],
            lu: Lu::new(dim),
            age: None,
            max_age: 0,
            factored: None,
            work: vec![0.0; dim],
        }
    }

    /// Order of the error estimate plus one.
    pub(super) fn error_power(&self) -> f64 {
        self.tableau.error_power
    }

    /// How unknowns of a system's own follow at the end of a step, where the method takes them along.
    pub(super) fn end(&self, h: f64) -> Option<Mix<'_>> {
        self.tableau.mix(self.tableau.stages(), h)
    }

    /// Coefficients of each component inside the step just computed, all but the first, where the method has its own.
    pub(super) fn inside(&self) -> Option<impl Fn(usize) -> [f64; 3]> {
        let of = |weights: &[f64], i: usize| weights.iter().zip(&self.u).map(|(weight, u)| weight * u[i]).sum();
        let weights = self.tableau.inside.as_ref()?;
        Some(move |i: usize| [of(&weights[0], i), of(&weights[1], i), 0.0])
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
        let tableau = &self.tableau;
        let reach = h * tableau.gamma;
        if self.factored != Some(h) {
            self.factored = None;
            if !self.lu.factor(reach, &self.jacobian) {
                return Err(Failure::NotFinite);
            }
            self.factored = Some(h);
        }
        for stage in 0..tableau.stages() {
            let (before, rest) = self.u.split_at_mut(stage);
            let u = &mut rest[0];
            if stage == 0 {
                u.copy_from_slice(f);
            } else {
                y1.copy_from_slice(y);
                add_all(y1, before, &tableau.a[stage], 1.0);
                let which = tableau.mix(stage, h).map_or(Near::Alone, Near::Stage);
                rhs_near(system, (t + tableau.times[stage] * h, y1), which, u, stats)?;
                add_all(u, before, &tableau.c[stage], 1.0 / h);
            }
            let later = h * tableau.slopes[stage];
            for (u, slope) in u.iter_mut().zip(&self.time_slope) {
                *u = reach * (*u + later * slope);
            }
            self.lu.solve(u);
        }
        y1.copy_from_slice(y);
        add_all(y1, &self.u, &tableau.ends, 1.0);
        error.fill(0.0);
        add_all(error, &self.u, &tableau.errors, 1.0);
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
            let most = if self.tableau.any_jacobian { MAX_AGE } else { 1 };
            // So many steps that the differences cost about a quarter of the stages.
            self.max_age = y.len().clamp(MIN_AGE, MAX_AGE).min(most);
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
        let later = t + LATER * h;
        self.time_slope.fill(0.0);
        if later > t && !system.autonomous() {
            let which = if self.tableau.mixes.is_empty() { Near::Alone } else { Near::Later(later - t) };
            rhs_near(system, (later, y), which, &mut self.work, stats)?;
            for (slope, (new, old)) in self.time_slope.iter_mut().zip(self.work.iter().zip(f)) {
                *slope = (new - old) / (later - t);
            }
        }
        // Of a Jacobian that is not finite the factorisation tells.
        if !self.time_slope.iter().all(|v| v.is_finite()) {
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

/// Adds the sum of some vectors by their weights, times a factor.
fn add_all(to: &mut [f64], vectors: &[Vec<f64>], weights: &[f64], factor: f64) {
    for (vector, weight) in vectors.iter().zip(weights).filter(|(_, weight)| **weight != 0.0) {
        to.iter_mut().zip(vector).for_each(|(to, v)| *to += factor * weight * v);
    }
}
