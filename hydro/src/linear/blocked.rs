//! Factorisation by `faer`: simplicial or supernodal as it finds better, `L L^T`, sequential.

use super::NotPositiveDefinite;
use faer::dyn_stack::{MemBuffer, MemStack, StackReq};
use faer::linalg::cholesky::llt::factor::{LltError, LltRegularization};
use faer::sparse::linalg::cholesky::{LltRef, SymbolicCholesky, SymbolicCholeskyRaw};
use faer::sparse::{FaerError, SparseColMatRef, SymbolicSparseColMat};
use faer::{Conj, MatMut, Par, Side, Spec};
use std::fmt;
use std::sync::Arc;

/// Numbers and buffers of one factorisation; the analysis is shared between clones.
pub(super) struct BlockedFactor {
    matrix: Arc<SymbolicSparseColMat<u32>>,
    symbolic: Arc<SymbolicCholesky<u32>>,
    lower: Vec<f64>,
    buffer: MemBuffer,
}

impl BlockedFactor {
    /// Prepares numbers and buffers for an analysed matrix.
    pub(super) fn new(matrix: SymbolicSparseColMat<u32>, symbolic: SymbolicCholesky<u32>) -> Result<Self, FaerError> {
        let mut lower = Vec::new();
        lower.try_reserve_exact(symbolic.len_val()).map_err(|_| FaerError::OutOfMemory)?;
        lower.resize(symbolic.len_val(), 0.0);
        let buffer = MemBuffer::try_new(scratch(&symbolic)).map_err(|_| FaerError::OutOfMemory)?;
        Ok(Self { matrix: Arc::new(matrix), symbolic: Arc::new(symbolic), lower, buffer })
    }

    /// Factorises the matrix with the given values.
    pub(super) fn factor(&mut self, values: &[f64]) -> Result<(), NotPositiveDefinite> {
        if let Some(slot) = values.iter().position(|v| !v.is_finite()) {
            return Err(NotPositiveDefinite { row: self.matrix.row_idx()[slot] as usize });
        }
        let result = self.symbolic.factorize_numeric_llt(
            &mut self.lower,
            SparseColMatRef::new((*self.matrix).as_ref(), values),
            Side::Lower,
            LltRegularization::default(),
            Par::Seq,
            MemStack::new(&mut self.buffer),
            Spec::default(),
        );
        match result {
            Ok(_) => Ok(()),
            Err(LltError::NonPositivePivot { index }) => {
                // The simplicial routine of faer counts pivots from one, the supernodal one from zero.
                let pivot = match self.symbolic.raw() {
                    SymbolicCholeskyRaw::Simplicial(_) => index.saturating_sub(1),
                    SymbolicCholeskyRaw::Supernodal(_) => index,
                };
                let row = self.symbolic.perm().map_or(pivot, |perm| perm.arrays().0[pivot] as usize);
                Err(NotPositiveDefinite { row })
            }
        }
    }

    /// Replaces a right-hand side by the solution.
    pub(super) fn solve(&mut self, rhs: &mut [f64]) {
        let n = rhs.len();
        LltRef::new(&self.symbolic, &self.lower).solve_in_place_with_conj(
            Conj::No,
            MatMut::from_column_major_slice_mut(rhs, n, 1),
            Par::Seq,
            MemStack::new(&mut self.buffer),
        );
    }
}

/// Workspace that serves both factor and solve.
fn scratch(symbolic: &SymbolicCholesky<u32>) -> StackReq {
    let factor = symbolic.factorize_numeric_llt_scratch::<f64>(Par::Seq, Spec::default());
    factor.or(symbolic.solve_in_place_scratch::<f64>(1, Par::Seq))
}

impl Clone for BlockedFactor {
    fn clone(&self) -> Self {
        Self {
            matrix: Arc::clone(&self.matrix),
            symbolic: Arc::clone(&self.symbolic),
            lower: self.lower.clone(),
            buffer: MemBuffer::new(scratch(&self.symbolic)),
        }
    }
}

impl fmt::Debug for BlockedFactor {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("BlockedFactor").field("symbolic", &self.symbolic).finish_non_exhaustive()
    }
}
