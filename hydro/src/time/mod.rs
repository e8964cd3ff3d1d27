//! Initial value problems `dy/dt = f(t, y)` with error-controlled steps, dense output and located events.
//!
//! Describe the problem as an [`OdeSystem`], make an [`Integrator`], and call [`Integrator::advance`] until it reports
//! [`Advance::Reached`]. At an [`Advance::Event`] the integrator stands at the event: change the equations, call
//! [`Integrator::restart`], go on. Everything that makes `f` or its slope jump must be an event or an end of
//! `advance`; steps never straddle one.
//!
//! Four methods: [`Method::DormandPrince`], explicit, order 5(4), for smooth problems that are not stiff, and
//! [`Method::RosenbrockW`], linearly implicit, order 3(2), L-stable, for stiff ones; its order does not depend on how
//! good the Jacobian is. [`Method::Rodas`], linearly implicit, order 4(3), L-stable, needs an exact one.
//! [`Method::Esdirk`], implicit, order 4(3), L-stable, asks the system itself to solve each stage: for
//! systems with unknowns that have no derivative of their own. A right-hand side that fails makes the step smaller a bounded number of times and is then
//! returned as a typed error; [`Integrator::t`] and [`Integrator::y`] keep the last good state. The theory is in
//! `docs/theory/integration.md`.
//!
//! ```
//! use hydro::time::{Advance, Direction, Integrator, OdeSystem, Options};
//! /// dy/dt = -y, and the moment it falls through 1/2.
//! struct Decay;
//! impl OdeSystem for Decay {
//!     type Error = std::convert::Infallible;
//!     fn dim(&self) -> usize { 1 }
//!     fn rhs(&mut self, _t: f64, y: &[f64], dydt: &mut [f64]) -> Result<(), Self::Error> {
//!         dydt[0] = -y[0];
//!         Ok(())
//!     }
//!     fn scale(&self, _component: usize) -> f64 { 1.0 }
//!     fn event_count(&self) -> usize { 1 }
//!     fn events(&mut self, _t: f64, y: &[f64], g: &mut [f64]) -> Result<(), Self::Error> {
//!         g[0] = y[0] - 0.5;
//!         Ok(())
//!     }
//!     fn direction(&self, _event: usize) -> Direction { Direction::Falling }
//! }
//! let mut integrator = Integrator::new(Options { rtol: 1e-9, ..Options::default() }, 0.0, &[1.0]);
//! let stop = integrator.advance(&mut Decay, 5.0, &mut |_step| {}).unwrap();
//! assert_eq!(stop, Advance::Event { time: integrator.t(), events: vec![0] });
//! assert!((integrator.t() - 2f64.ln()).abs() < 1e-8);
//! ```

mod control;
mod dense;
mod dormand_prince;
mod error;
mod esdirk;
mod events;
mod implicit;
mod integrator;
mod lu;
mod near;
mod options;
mod rosenbrock;
mod stepper;
mod system;
mod tableau;
#[cfg(test)]
mod tests;

pub use dense::DenseStep;
pub use error::IntegrationError;
pub use integrator::{Advance, Integrator};
pub use lu::Lu;
pub use near::{Mix, Near};
pub use options::{MOST_UNHELD, Method, Options, Stats};
pub use system::{Direction, OdeSystem};
