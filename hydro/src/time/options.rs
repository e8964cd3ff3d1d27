//! What the caller chooses, and what the work was.

/// Integration method.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Method {
    /// Explicit Runge-Kutta pair of order 5(4): fewest right-hand sides while the problem is not stiff.
    #[default]
    DormandPrince,
    /// Linearly implicit W-method ROS34PW2 of order 3(2): L-stable, for stiff problems.
    RosenbrockW,
    /// Linearly implicit method RODAS of order 4(3): L-stable, for stiff problems whose Jacobian is exact.
    Rodas,
    /// Diagonally implicit ESDIRK of order 4(3): L-stable, stiffly accurate; each stage is solved by the system.
    Esdirk,
}

/// Choices of the caller.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// Integration method.
    pub method: Method,
    /// Local error of a step relative to `max(scale, |y|)`; 1e-12 to 1e-2 is sensible.
    pub rtol: f64,
    /// Longest step, in the unit of `t`.
    pub max_step: f64,
    /// Length of a step that is kept whatever its error, in the unit of `t`; 0: none. For equations that jump where nothing
    /// tells of it: a step this short does no harm. After [`MOST_UNHELD`] such steps none is kept.
    pub least_step: f64,
    /// Most steps, accepted and rejected, in the life of the integrator.
    pub max_steps: usize,
    /// Points inside each step, besides its end, where event functions are looked at. A function that changes its sign
    /// and back between two neighbouring points is missed.
    pub event_checks: usize,
}

impl Default for Options {
    fn default() -> Self {
        Self {
            method: Method::default(),
            rtol: 1e-7,
            max_step: f64::INFINITY,
            least_step: 0.0,
            max_steps: 1_000_000,
            event_checks: 1,
        }
    }
}

/// Most steps in the life of an integrator that are kept for their shortness.
pub const MOST_UNHELD: usize = 1000;

/// Work done since the integrator was made.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Stats {
    /// Steps taken.
    pub accepted: usize,
    /// Steps taken whose error was above the tolerance, kept for their shortness ([`Options::least_step`]).
    pub unheld: usize,
    /// Time at which the first of these began.
    pub first_unheld: Option<f64>,
    /// Steps tried and thrown away, for their error or because something failed.
    pub rejected: usize,
    /// Right-hand sides computed, those for finite differences included.
    pub rhs_calls: usize,
    /// Jacobians computed.
    pub jacobians: usize,
    /// Times all event functions were computed.
    pub event_calls: usize,
}
