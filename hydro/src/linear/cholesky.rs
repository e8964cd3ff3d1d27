//! The face of the factorisation: analyse once, then factor and solve as often as wanted.

use super::blocked::BlockedFactor;
use super::order::Structure;
use super::small::SmallFactor;
use super::table::TableFactor;
use super::{Pattern, order};
use faer::Side;
use faer::sparse::linalg::cholesky::{
    CholeskySymbolicParams, SymbolicCholeskyRaw, SymmetricOrdering, factorize_symbolic_cholesky,
};
use faer::sparse::{FaerError, SymbolicSparseColMat};
use thiserror::Error;

/// The elimination is written out as a table up to this many products, or
const TABLE_PRODUCTS: usize = 100_000;
/// up to this many for each entry of the factor, which takes in networks of any size that are nearly trees; see
/// `docs/decisions/small-cholesky.md` for the measurements.
const TABLE_PRODUCTS_PER_ENTRY: usize = 8;

/// A pattern for which no factorisation can be prepared: its factor is too large for memory or for 31-bit indices.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error("the factor of {n} rows with {entries} entries is too large")]
pub struct AnalysisError {
    /// Number of rows.
    pub n: usize,
    /// Number of entries of the lower triangle of the matrix.
    pub entries: usize,
}

/// A matrix that is not positive definite, or holds a number that is not finite.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error("the matrix is not positive definite: elimination of row {row} leaves no positive pivot")]
pub struct NotPositiveDefinite {
    /// Row, in the caller's numbering, whose pivot is not positive (or where a number is not finite).
    pub row: usize,
}

/// Sparse Cholesky factorisation with a fill-reducing order (minimum degree, of large matrices approximate), reused for many matrices of
/// one [`Pattern`].
///
/// Sequential, so results do not depend on the number of threads. A clone shares the analysis and has its own numbers,
/// so each thread of an ensemble takes a clone.
#[derive(Debug, Clone)]
pub struct Cholesky {
    n: usize,
    entries: usize,
    /// Entries of the factor.
    filled: usize,
    factor: Factor,
}

#[derive(Debug, Clone)]
enum Factor {
    Small(SmallFactor),
    Table(TableFactor),
    Blocked(BlockedFactor),
}

impl Cholesky {
    /// Analyses a pattern: order, elimination tree, places of all numbers, buffers.
    ///
    /// # Errors
    /// The factor does not fit in memory or in 31-bit indices.
    pub fn new(pattern: &Pattern) -> Result<Self, AnalysisError> {
        let limit = |entries| TABLE_PRODUCTS.max(TABLE_PRODUCTS_PER_ENTRY.saturating_mul(entries));
        Self::with_limits(pattern, order::MOST_ROWS, limit)
    }

    /// As [`Cholesky::new`], with the most rows that are ordered as a small matrix, and the length of the table allowed for a
    /// number of entries of the factor.
    pub(super) fn with_limits(
        pattern: &Pattern,
        small: usize,
        limit: impl Fn(usize) -> usize,
    ) -> Result<Self, AnalysisError> {
        let (n, entries) = (pattern.n(), pattern.len());
        if n <= small
            && let Some(structure) = order::minimum_degree(pattern)
        {
            let filled = structure.row.len();
            if let Some(small) = SmallFactor::new(pattern, &structure) {
                return Ok(Self { n, entries, filled, factor: Factor::Small(small) });
            }
            if let Some(table) = TableFactor::new(pattern, structure, limit(filled)) {
                return Ok(Self { n, entries, filled, factor: Factor::Table(table) });
            }
        }
        let too_large = |_: FaerError| AnalysisError { n, entries };
        let matrix =
            SymbolicSparseColMat::new_checked(n, n, pattern.col_start().to_vec(), None, pattern.rows().to_vec());
        let symbolic = factorize_symbolic_cholesky(
            matrix.as_ref(),
            Side::Lower,
            SymmetricOrdering::Amd,
            CholeskySymbolicParams::default(),
        )
        .map_err(too_large)?;
        let filled = symbolic.len_val();
        // Where faer goes supernodal, products outnumber entries by 40 and more: never a case for the table.
        if let SymbolicCholeskyRaw::Simplicial(structure) = symbolic.raw()
            && let Some(perm) = symbolic.perm()
            && let Some(table) = TableFactor::new(pattern, Structure::of(structure, perm), limit(structure.len_val()))
        {
            return Ok(Self { n, entries, filled, factor: Factor::Table(table) });
        }
        let blocked = BlockedFactor::new(matrix, symbolic).map_err(too_large)?;
        Ok(Self { n, entries, filled, factor: Factor::Blocked(blocked) })
    }

    /// Number of rows.
    pub fn n(&self) -> usize {
        self.n
    }

    /// Whether a factorisation takes longer than a solve and a handful of passes over the entries of the matrix: the
    /// factor has some eleven entries a row or more (`docs/performance.md`).
    pub fn is_costly(&self) -> bool {
        let per_row = self.filled as f64 / self.n.max(1) as f64;
        per_row * per_row > 2.0 * per_row + 90.0
    }

    /// Factorises the matrix with the given values, in the slots of the pattern.
    ///
    /// # Errors
    /// [`NotPositiveDefinite`] with the row where it shows. The former factorisation is lost then, and a solve before
    /// the next successful one returns meaningless numbers.
    ///
    /// # Panics
    /// If `values` does not have the length [`Pattern::len`] (an error of the program, not of the data).
    pub fn factor(&mut self, values: &[f64]) -> Result<(), NotPositiveDefinite> {
        assert_eq!(values.len(), self.entries, "values do not belong to the pattern");
        match &mut self.factor {
            Factor::Small(factor) => factor.factor(values),
            Factor::Table(factor) => factor.factor(values),
            Factor::Blocked(factor) => factor.factor(values),
        }
    }

    /// Replaces `rhs` by the solution `x` of `A x = rhs`.
    ///
    /// `rhs` has length `n`, or a multiple of it: several right-hand sides one after the other.
    ///
    /// # Panics
    /// If the length is no multiple of `n` (an error of the program, not of the data).
    pub fn solve(&mut self, rhs: &mut [f64]) {
        if self.n == 0 {
            return assert!(rhs.is_empty(), "a system without rows takes no right-hand side");
        }
        assert_eq!(rhs.len() % self.n, 0, "right-hand sides do not belong to the pattern");
        for column in rhs.chunks_exact_mut(self.n) {
            match &mut self.factor {
                Factor::Small(factor) => factor.solve(column),
                Factor::Table(factor) => factor.solve(column),
                Factor::Blocked(factor) => factor.solve(column),
            }
        }
    }
}
