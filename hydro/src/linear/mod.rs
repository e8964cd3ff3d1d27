//! Sparse systems `A x = b` with `A` symmetric positive definite and a pattern that outlives many `A`.
//!
//! A [`Pattern`] says where entries may be and hands out *slots*, so that assembly is `values[slot] += w` without
//! searching. A [`Cholesky`] orders and analyses a pattern once; [`Cholesky::factor`] and [`Cholesky::solve`] are then
//! called for each new set of values and allocate nothing.
//!
//! Positive definite is the caller's promise. A pivot that is not positive is reported with its row, but a matrix that
//! is singular only exactly (a part of the network tied to nothing) may pass with a tiny pivot and return huge numbers:
//! look at the connectivity first.
//!
//! ```
//! use hydro::linear::{Cholesky, Pattern};
//! // Two unknowns in a chain 0 - 1, conductance 2 between them, row 0 tied to a known value with conductance 1.
//! let pattern = Pattern::new(2, &[(0, 1)]).unwrap();
//! let mut values = vec![0.0; pattern.len()];
//! values[pattern.diagonal(0)] += 1.0 + 2.0;
//! values[pattern.diagonal(1)] += 2.0;
//! values[pattern.coupling(0)] -= 2.0;
//! let mut solver = Cholesky::new(&pattern).unwrap();
//! solver.factor(&values).unwrap();
//! let mut x = [1.0, 0.0];
//! solver.solve(&mut x);
//! assert!((x[0] - 1.0).abs() < 1e-15 && (x[1] - 1.0).abs() < 1e-15);
//! ```

mod blocked;
mod cholesky;
mod order;
mod pattern;
mod small;
mod table;
#[cfg(test)]
mod tests;

pub use cholesky::{AnalysisError, Cholesky, NotPositiveDefinite};
pub use pattern::{Pattern, PatternError};
