//! The face of the factorisation: analyse once, then factor and solve as often as wanted.

use super::Pattern;
use super::blocked::BlockedFactor;
use super::table::TableFactor;
use faer::sparse::linalg::cholesky::{
    CholeskySymbolicParams, SymbolicCholesky, SymbolicCholeskyRaw, SymmetricOrdering, factorize_symbolic_cholesky,
};
use faer::sparse::{SymbolicSparseColMat, linalg::SupernodalThreshold};
use faer::{Side, sparse::FaerError};
use std::sync::Arc;
use thiserror::Error;

/// Up to this many multiply-subtracts the elimination is written out as a table; see
/// `docs/decisions/small-cholesky.md` for the measurements.
const TABLE_LIMIT: usize = 50_000;

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

/// Sparse Cholesky factorisation with a fill-reducing order (approximate minimum degree), reused for many matrices of
/// one [`Pattern`].
///
/// Sequential, so results do not depend on the number of threads. A clone shares the analysis and has its own numbers,
/// so each thread of an ensemble takes a clone.
#[derive(Debug, Clone)]
pub struct Cholesky {
    n: usize,
    entries: usize,
    factor: Factor,
}

#[derive(Debug, Clone)]
enum Factor {
    Table(TableFactor),
    Blocked(BlockedFactor),
}

impl Cholesky {
    /// Analyses a pattern: order, elimination tree, places of all numbers, buffers.
    ///
    /// # Errors
    /// The factor does not fit in memory or in 31-bit indices.
    pub fn new(pattern: &Pattern) -> Result<Self, AnalysisError> {
        Self::with_table_limit(pattern, TABLE_LIMIT)
    }

    /// As [`Cholesky::new`], with the size given up to which the elimination is written out as a table.
    pub(super) fn with_table_limit(pattern: &Pattern, limit: usize) -> Result<Self, AnalysisError> {
        let (n, entries) = (pattern.n(), pattern.len());
        let too_large = |_: FaerError| AnalysisError { n, entries };
        let matrix =
            SymbolicSparseColMat::new_checked(n, n, pattern.col_start().to_vec(), None, pattern.rows().to_vec());
        let analyse = |supernodal_flop_ratio_threshold| {
            factorize_symbolic_cholesky(
                matrix.as_ref(),
                Side::Lower,
                SymmetricOrdering::Amd,
                CholeskySymbolicParams { supernodal_flop_ratio_threshold, ..Default::default() },
            )
        };
        let symbolic: SymbolicCholesky<u32> = analyse(SupernodalThreshold::AUTO).map_err(too_large)?;
        // The table needs the structure entry by entry, which is worth asking for only when it can be small.
        if symbolic.len_val() <= limit {
            let simplicial = analyse(SupernodalThreshold::FORCE_SIMPLICIAL).map_err(too_large)?;
            if let SymbolicCholeskyRaw::Simplicial(structure) = simplicial.raw()
                && let Some(perm) = simplicial.perm()
                && let Some(table) = TableFactor::new(pattern, structure, perm, limit)
            {
                return Ok(Self { n, entries, factor: Factor::Table(table) });
            }
        }
        let blocked = BlockedFactor::new(matrix, Arc::new(symbolic)).map_err(too_large)?;
        Ok(Self { n, entries, factor: Factor::Blocked(blocked) })
    }

    /// Number of rows.
    pub fn n(&self) -> usize {
        self.n
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
                Factor::Table(factor) => factor.solve(column),
                Factor::Blocked(factor) => factor.solve(column),
            }
        }
    }
}
