//! Where a symmetric matrix may have entries, and where their values live.

use thiserror::Error;

/// Pattern of a symmetric matrix: its lower triangle by columns, the diagonal always present.
///
/// Values belonging to a pattern are a plain `[f64]` of length [`Pattern::len`]. Column `j` occupies the slots
/// `diagonal(j)..diagonal(j + 1)`, the diagonal first, then the rows below in rising order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pattern {
    col_start: Vec<u32>,
    row: Vec<u32>,
    coupling: Vec<u32>,
}

/// Why a list of couplings is no pattern.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
pub enum PatternError {
    /// A coupling names a row or column that does not exist.
    #[error("coupling {index} joins {row} and {col}, but the rows are 0..{n}")]
    OutOfRange {
        /// Place of the coupling in the given list.
        index: usize,
        /// Row given.
        row: usize,
        /// Column given.
        col: usize,
        /// Number of rows.
        n: usize,
    },
    /// A coupling joins a row to itself; only the diagonal slot can take that.
    #[error("coupling {index} joins row {row} to itself")]
    OnDiagonal {
        /// Place of the coupling in the given list.
        index: usize,
        /// Row given.
        row: usize,
    },
    /// Rows plus couplings are more than indices of 31 bits can count.
    #[error("{n} rows and {couplings} couplings are too many")]
    TooLarge {
        /// Number of rows.
        n: usize,
        /// Number of couplings given.
        couplings: usize,
    },
}

impl Pattern {
    /// Pattern of an `n` by `n` matrix with the given off-diagonal couplings.
    ///
    /// A coupling `(row, col)` stands for the entry and its mirror image; order does not matter. Couplings given
    /// several times (parallel edges) share one slot.
    ///
    /// # Errors
    /// A coupling outside `0..n` or on the diagonal; more than `i32::MAX` rows and couplings together.
    pub fn new(n: usize, couplings: &[(usize, usize)]) -> Result<Self, PatternError> {
        let count = couplings.len();
        if n.saturating_add(count) >= i32::MAX as usize {
            return Err(PatternError::TooLarge { n, couplings: count });
        }
        for (index, &(row, col)) in couplings.iter().enumerate() {
            if row >= n || col >= n {
                return Err(PatternError::OutOfRange { index, row, col, n });
            }
            if row == col {
                return Err(PatternError::OnDiagonal { index, row });
            }
        }
        // Sorted by column, by counting, and in each column by row.
        let mut place = vec![0u32; n + 1];
        for &(row, col) in couplings {
            place[row.min(col) + 1] += 1;
        }
        for k in 0..n {
            place[k + 1] += place[k];
        }
        let mut sorted = vec![(0u32, 0u32); count];
        for (e, &(row, col)) in couplings.iter().enumerate() {
            let at = &mut place[row.min(col)];
            sorted[*at as usize] = (row.max(col) as u32, e as u32);
            *at += 1;
        }
        let mut col_start = Vec::with_capacity(n + 1);
        let mut rows: Vec<u32> = Vec::with_capacity(n + count);
        let mut slot = vec![0u32; count];
        let mut first = 0;
        for (j, &end) in place[..n].iter().enumerate() {
            col_start.push(rows.len() as u32);
            rows.push(j as u32);
            let column = &mut sorted[first..end as usize];
            first = end as usize;
            column.sort_unstable();
            for &mut (i, e) in column {
                if rows.last() != Some(&i) {
                    rows.push(i);
                }
                slot[e as usize] = rows.len() as u32 - 1;
            }
        }
        col_start.push(rows.len() as u32);
        rows.shrink_to_fit();
        Ok(Self { col_start, row: rows, coupling: slot })
    }

    /// Number of rows.
    pub fn n(&self) -> usize {
        self.col_start.len() - 1
    }

    /// Number of values.
    #[expect(clippy::len_without_is_empty, reason = "counts values of a matrix, it is no container")]
    pub fn len(&self) -> usize {
        self.row.len()
    }

    /// Slot of the diagonal entry of row `i`, `i < n`; `diagonal(n)` is [`Pattern::len`].
    pub fn diagonal(&self, i: usize) -> usize {
        self.col_start[i] as usize
    }

    /// Slot of the `index`-th coupling of the list given to [`Pattern::new`].
    pub fn coupling(&self, index: usize) -> usize {
        self.coupling[index] as usize
    }

    /// Starts of the columns, `n + 1` of them.
    pub fn col_start(&self) -> &[u32] {
        &self.col_start
    }

    /// Row of each slot.
    pub fn rows(&self) -> &[u32] {
        &self.row
    }

    /// Product `y = A x` with the whole symmetric matrix, all of length `n` (values of length [`Pattern::len`]).
    pub fn multiply(&self, values: &[f64], x: &[f64], y: &mut [f64]) {
        y.fill(0.0);
        for j in 0..self.n() {
            let column = self.diagonal(j)..self.diagonal(j + 1);
            let mut sum = 0.0;
            for (&row, &value) in self.row[column.clone()].iter().zip(&values[column]) {
                let i = row as usize;
                sum += value * x[i];
                if i != j {
                    y[i] += value * x[j];
                }
            }
            y[j] += sum;
        }
    }
}
