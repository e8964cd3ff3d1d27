//! What a problem tells the integrator.

use super::near::Near;
use nalgebra::DMatrix;

/// Which sign changes of an event function count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Direction {
    /// From negative to positive.
    Rising,
    /// From positive to negative.
    Falling,
    /// Both.
    #[default]
    Any,
}

/// A system of ordinary differential equations `dy/dt = f(t, y)` with event functions `g(t, y)`.
///
/// All methods take `&mut self`, so that an inner solve may keep its last answer as the next start. The answer must
/// not depend on that start by more than a small part of the tolerance, or the error estimate sees noise.
pub trait OdeSystem {
    /// Why a right-hand side or an event function could not be computed.
    type Error;

    /// Number of components of `y`; may change only together with [`Integrator::restart`](super::Integrator::restart).
    fn dim(&self) -> usize;

    /// Writes `f(t, y)` to `dydt`.
    ///
    /// # Errors
    /// Any failure; the integrator first tries smaller steps.
    fn rhs(&mut self, t: f64, y: &[f64], dydt: &mut [f64]) -> Result<(), Self::Error>;

    /// As [`Self::rhs`], at a state near that of the last [`Self::jacobian`]: a system with an inner solve may begin it there, or
    /// take its unknowns through the stages; see [`Near`].
    ///
    /// # Errors
    /// As [`Self::rhs`].
    fn near(&mut self, t: f64, y: &[f64], _which: Near<'_>, dydt: &mut [f64]) -> Result<(), Self::Error> {
        self.rhs(t, y, dydt)
    }

    /// Size, above zero, below which a component is no longer resolved relative to itself (its unit is that of `y`).
    ///
    /// The local error of a component is kept below `rtol * max(scale, |y|)`.
    fn scale(&self, component: usize) -> f64;

    /// Writes an approximation of `df_i/dy_j` to row `i`, column `j` and returns `true`; or returns `false` (as here),
    /// and finite differences are used.
    ///
    /// Asked for by the linearly implicit methods only, and at every step, so it should cost less than `dim` right-hand sides. A
    /// poor one costs steps, not accuracy; [`Method::Rodas`](super::Method::Rodas) then takes many.
    ///
    /// # Errors
    /// Any failure; the integrator first tries smaller steps.
    fn jacobian(&mut self, _t: f64, _y: &[f64], _jacobian: &mut DMatrix<f64>) -> Result<bool, Self::Error> {
        Ok(false)
    }

    /// Whether `f` depends on the state alone; then the linearly implicit methods save one right-hand side a step. Asked for
    /// at every step.
    fn autonomous(&self) -> bool {
        false
    }

    /// Solves `y = base + reach f(t, y)` for `y`, whose guess it is given; `false` where that does not converge. Asked for by
    /// [`Method::Esdirk`](super::Method::Esdirk) only. As here, Newton's method on the right-hand side; a system with
    /// unknowns or constraints of its own solves them together.
    ///
    /// # Errors
    /// Any failure; the integrator first tries smaller steps.
    fn stage(&mut self, t: f64, base: &[f64], reach: f64, y: &mut [f64]) -> Result<bool, Self::Error> {
        super::implicit::stage(self, t, base, reach, y)
    }

    /// Number of event functions.
    fn event_count(&self) -> usize {
        0
    }

    /// Which sign changes of an event function count; asked once at each start.
    fn direction(&self, _event: usize) -> Direction {
        Direction::Any
    }

    /// Writes the event functions to `g`; each must be continuous between restarts.
    ///
    /// # Errors
    /// Any failure; the integrator first tries smaller steps.
    fn events(&mut self, _t: f64, _y: &[f64], _g: &mut [f64]) -> Result<(), Self::Error> {
        Ok(())
    }
}
