//! Why an integration ended early.

use thiserror::Error;

/// Why an integration ended before its end; the integrator keeps the last good state.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum IntegrationError<E> {
    /// The system could not be computed, even with much smaller steps.
    #[error("the equations could not be computed after t = {t}")]
    System {
        /// Last good time.
        t: f64,
        /// What the system said at the smallest step tried.
        source: E,
    },
    /// The system gave a number that is not finite, even with much smaller steps; or the end time is not finite.
    #[error("a number is not finite after t = {t}")]
    NotFinite {
        /// Last good time.
        t: f64,
    },
    /// An implicit stage did not converge, even with much smaller steps.
    #[error("the implicit equations could not be solved after t = {t}")]
    Unsolved {
        /// Last good time.
        t: f64,
    },
    /// The step that meets the tolerance is below the resolution of time.
    #[error("the step needed after t = {t} is too small ({h})")]
    StepTooSmall {
        /// Last good time.
        t: f64,
        /// Step that was still too large.
        h: f64,
    },
    /// The number of steps allowed is used up.
    #[error("{steps} steps did not reach beyond t = {t}")]
    TooManySteps {
        /// Last good time.
        t: f64,
        /// Steps tried.
        steps: usize,
    },
}

/// Why one step could not be computed.
#[derive(Debug)]
pub(super) enum Failure<E> {
    System(E),
    NotFinite,
    /// An implicit stage did not converge.
    Unsolved,
}

impl<E> Failure<E> {
    /// The error after which the integration stays at `t`.
    pub(super) fn at(self, t: f64) -> IntegrationError<E> {
        match self {
            Self::System(source) => IntegrationError::System { t, source },
            Self::NotFinite => IntegrationError::NotFinite { t },
            Self::Unsolved => IntegrationError::Unsolved { t },
        }
    }
}
