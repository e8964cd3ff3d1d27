//! What the integrator asks of a method.

use super::dense::DenseStep;
use super::dormand_prince::DormandPrince;
use super::error::Failure;
use super::esdirk::Esdirk;
use super::near::Near;
use super::options::{Method, Stats};
use super::rosenbrock::Rosenbrock;
use super::system::OdeSystem;
use super::tableau::Tableau;

/// Where a step starts, and how long it is.
#[derive(Clone, Copy)]
pub(super) struct Start<'a> {
    pub(super) t: f64,
    pub(super) y: &'a [f64],
    /// Slope `f(t, y)`.
    pub(super) f: &'a [f64],
    pub(super) h: f64,
}

/// A method with its buffers.
#[derive(Debug, Clone)]
pub(super) enum Stepper {
    DormandPrince(DormandPrince),
    Rosenbrock(Box<Rosenbrock>),
    Esdirk(Esdirk),
}

impl Stepper {
    /// Buffers for `dim` components.
    pub(super) fn new(method: Method, dim: usize) -> Self {
        match method {
            Method::DormandPrince => Self::DormandPrince(DormandPrince::new(dim)),
            Method::RosenbrockW => Self::Rosenbrock(Box::new(Rosenbrock::new(Tableau::ros34pw2(), dim))),
            Method::Rodas => Self::Rosenbrock(Box::new(Rosenbrock::new(Tableau::rodas(), dim))),
            Method::Esdirk => Self::Esdirk(Esdirk::new(dim)),
        }
    }

    /// Order of the error estimate plus one: the local error estimated is of this power of the step.
    pub(super) fn error_power(&self) -> f64 {
        match self {
            Self::DormandPrince(_) => 5.0,
            Self::Rosenbrock(method) => method.error_power(),
            Self::Esdirk(_) => 4.0,
        }
    }

    /// Computes one step: its end `y1` and the estimate of its local error.
    pub(super) fn step<S: OdeSystem + ?Sized>(
        &mut self,
        system: &mut S,
        start: Start<'_>,
        y1: &mut [f64],
        error: &mut [f64],
        stats: &mut Stats,
    ) -> Result<(), Failure<S::Error>> {
        match self {
            Self::DormandPrince(method) => method.step(system, start, y1, error, stats),
            Self::Rosenbrock(method) => method.step(system, start, y1, error, stats),
            Self::Esdirk(method) => method.step(system, start, y1, error, stats),
        }
    }

    /// After a step that is to be kept: the slope at its end and the solution inside.
    pub(super) fn finish<S: OdeSystem + ?Sized>(
        &mut self,
        system: &mut S,
        start: Start<'_>,
        (t1, y1): (f64, &[f64]),
        f1: &mut [f64],
        dense: &mut DenseStep,
        stats: &mut Stats,
    ) -> Result<(), Failure<S::Error>> {
        let (times, values) = ([start.t, t1], [start.y, y1]);
        match self {
            Self::DormandPrince(method) => {
                f1.copy_from_slice(method.last_slope());
                dense.set(times, values, [start.f, f1], |i| method.quartic(start, i));
            }
            Self::Esdirk(method) => {
                f1.copy_from_slice(method.last_slope());
                dense.set(times, values, [start.f, f1], |_| 0.0);
            }
            Self::Rosenbrock(method) => {
                match method.end(start.h) {
                    Some(mix) => rhs_near(system, (t1, y1), Near::End(mix), f1, stats)?,
                    None => rhs(system, t1, y1, f1, stats)?,
                }
                match method.inside() {
                    Some(coefficients) => dense.set_by(times, values, coefficients),
                    None => dense.set(times, values, [start.f, f1], |_| 0.0),
                }
            }
        }
        Ok(())
    }

    /// The last step was kept.
    pub(super) fn accepted(&mut self) {
        if let Self::Rosenbrock(method) = self {
            method.accepted();
        }
    }

    /// The last step was thrown away.
    pub(super) fn rejected(&mut self) {
        if let Self::Rosenbrock(method) = self {
            method.rejected();
        }
    }

    /// The equations changed.
    pub(super) fn restart(&mut self) {
        if let Self::Rosenbrock(method) = self {
            method.restart();
        }
    }
}

/// Counted right-hand side, checked to be finite.
pub(super) fn rhs<S: OdeSystem + ?Sized>(
    system: &mut S,
    t: f64,
    y: &[f64],
    dydt: &mut [f64],
    stats: &mut Stats,
) -> Result<(), Failure<S::Error>> {
    counted(system.rhs(t, y, dydt), dydt, stats)
}

/// As [`rhs`], near the state of the last Jacobian.
pub(super) fn rhs_near<S: OdeSystem + ?Sized>(
    system: &mut S,
    (t, y): (f64, &[f64]),
    which: Near<'_>,
    dydt: &mut [f64],
    stats: &mut Stats,
) -> Result<(), Failure<S::Error>> {
    counted(system.near(t, y, which, dydt), dydt, stats)
}

fn counted<E>(computed: Result<(), E>, dydt: &[f64], stats: &mut Stats) -> Result<(), Failure<E>> {
    stats.rhs_calls += 1;
    computed.map_err(Failure::System)?;
    if dydt.iter().all(|v| v.is_finite()) { Ok(()) } else { Err(Failure::NotFinite) }
}
