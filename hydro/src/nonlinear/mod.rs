//! Newton's method for networks of strictly rising laws. Knows nothing of what flows.
//!
//! [`newton::solve`] drives any [`NetworkEquations`]: a system whose Newton matrix is symmetric positive definite
//! but for a few [`OneSided`] couplings.

mod coupled;
pub mod newton;

use crate::linear::{NotPositiveDefinite, Pattern};

/// A coupling that stands on one side of the diagonal only: `matrix[row][col] -= weight`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneSided {
    /// Row.
    pub row: usize,
    /// Column.
    pub col: usize,
    /// Weight, above 0.
    pub weight: f64,
}

/// A system of equations that Newton's method can solve.
///
/// It holds two states: the base, from which a step is taken, and the trial, to which it leads. The merit is a sum
/// of squares that is 0 only at the solution and whose gradient is that of the equations, so that a short enough
/// Newton step lowers it.
pub trait NetworkEquations {
    /// Places of the matrix.
    fn pattern(&self) -> &Pattern;
    /// Puts the trial where a cold start begins: fills the matrix and right-hand side of a linear system in the
    /// unknowns themselves.
    fn assemble_start(&mut self, values: &mut [f64], rhs: &mut [f64]);
    /// Puts the trial at the solution of the start system, or at another of its size that is nearer to that of the laws in
    /// force.
    fn start(&mut self, unknowns: &[f64]);
    /// Puts a coarser form of the laws in force, smoothed below a share of their natural flows, on which a cold start
    /// finds its way faster; 0: the laws themselves.
    fn blur(&mut self, share: f64);
    /// Evaluates the laws at the trial; gives the merit there.
    fn evaluate(&mut self) -> f64;
    /// Makes the trial the base. What the trial holds then is not defined until the next [`Self::step`] or
    /// [`Self::rest`].
    fn accept(&mut self);
    /// Puts the trial at the base, where a solve ends.
    fn rest(&mut self);
    /// Fills the matrix and right-hand side of the Newton step from the base. True where the matrix differs from the
    /// one before by its weights only, so that a factor of that one is an approximation to it.
    fn assemble(&mut self, values: &mut [f64], rhs: &mut [f64]) -> bool;
    /// Merit at the trial below which only rounding is left.
    fn rounding(&self) -> f64;
    /// Whether the flows at the trial balance well enough to stop there.
    fn balanced(&self) -> bool;
    /// Couplings of the matrix that [`Self::assemble`] could not put into a symmetric one.
    fn one_sided(&self) -> &[OneSided];
    /// Number of corrections: pressures that depend on several elements at once, not necessarily rising with any, and
    /// so are left out of the matrix. [`Self::assemble`] takes them as they are at the base.
    fn corrections(&self) -> usize {
        0
    }
    /// Adds to a right-hand side what changes of the corrections do.
    fn spread(&self, _changes: &[f64], _rhs: &mut [f64]) {}
    /// Changes of the corrections, to first order: with `changes`, those that this step of the unknowns and these
    /// changes of the corrections themselves bring about; without, those that the step of [`Self::assemble`] does.
    fn respond(&self, _step: &[f64], _changes: Option<&[f64]>, out: &mut [f64]) {
        out.fill(0.0);
    }
    /// Takes the changes of the corrections that belong to the step.
    fn correct(&mut self, _changes: &[f64]) {}
    /// Puts the trial at the base plus a share of the step; gives the size of the change (1e-6: a millionth).
    ///
    /// With `bent`, the trial may be moved along the laws to where the next step will be better; only with share 1.
    fn step(&mut self, step: &[f64], share: f64, bent: bool) -> f64;
    /// Puts the trial at the base plus the step along the tangents, without a look at the laws, where it changes by no more than
    /// `most` and nothing opens or shuts on the way; false where it does, or cannot say. The base stays, so that the next solve
    /// may begin there, where the laws are known.
    fn glide(&mut self, _step: &[f64], _most: f64) -> bool {
        false
    }
    /// Puts a trial that a glide has led no further than `most` from the base back there.
    fn glide_back(&mut self, _most: f64) {}
}

/// Why no solution was found.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NonlinearError {
    /// The matrix could not be factorised.
    #[error("the equations cannot be solved for row {}", .0.row)]
    Singular(NotPositiveDefinite),
    /// The iteration limit was reached.
    #[error("not solved after {iterations} iterations; the last change was {change:.1e}")]
    NotConverged {
        /// Iterations made.
        iterations: usize,
        /// Size of the last change.
        change: f64,
    },
    /// No step lowers the error.
    #[error("no step lowers the error after {iterations} iterations (merit {merit:.1e})")]
    NoDescent {
        /// Iterations made.
        iterations: usize,
        /// Merit where it stopped.
        merit: f64,
    },
    /// A number is not finite.
    #[error("a number is not finite after {iterations} iterations")]
    NotFinite {
        /// Iterations made.
        iterations: usize,
    },
}

impl NonlinearError {
    /// Iterations made before it gave up; 0 where the matrix failed.
    pub fn iterations(&self) -> usize {
        match self {
            NonlinearError::Singular(_) => 0,
            NonlinearError::NotConverged { iterations, .. }
            | NonlinearError::NoDescent { iterations, .. }
            | NonlinearError::NotFinite { iterations } => *iterations,
        }
    }
}

/// Work of one solve.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct NonlinearStats {
    /// Linear systems solved.
    pub iterations: usize,
    /// Matrices factorised for them.
    pub factorisations: usize,
    /// Steps that had to be shortened.
    pub shortened: usize,
}
