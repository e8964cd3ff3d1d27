//! Order and structure of the factor of a small matrix: minimum degree on sets of bits.
//!
//! `faer` orders matrices of any size by the approximate minimum degree. Its care for large ones (quotient graphs, bounds on
//! degrees, supervariables, a tree and its postorder) costs 9 us at 51 rows, a tenth of a whole solve. A row of so small a matrix
//! is a set of bits in a few words: joining the neighbours of an eliminated row is an `or`, its exact degree a count of bits,
//! and what is left of a row when it is eliminated is its column of the factor. See `docs/decisions/small-order.md`.

use super::Pattern;
use faer::perm::PermRef;
use faer::sparse::linalg::cholesky::simplicial::SymbolicSimplicialCholesky;

/// Most rows that are ordered here.
pub(super) const MOST_ROWS: usize = 128;

/// Order of elimination, and places of the entries of the factor; row and column count eliminated rows.
#[derive(Debug)]
pub(super) struct Structure {
    /// Original row of each eliminated row.
    pub original: Vec<u32>,
    /// Eliminated row of each original row.
    pub eliminated: Vec<u32>,
    /// Start of each column of the factor, the diagonal first.
    pub start: Vec<u32>,
    /// Row of each place, rising in each column.
    pub row: Vec<u32>,
}

impl Structure {
    /// As `faer` finds it.
    pub fn of(structure: &SymbolicSimplicialCholesky<u32>, perm: PermRef<'_, u32>) -> Self {
        let (original, eliminated) = perm.arrays();
        Structure {
            original: original.to_vec(),
            eliminated: eliminated.to_vec(),
            start: structure.col_ptr().to_vec(),
            row: structure.row_idx().to_vec(),
        }
    }
}

/// Orders a matrix of at most [`MOST_ROWS`] rows; `None` for a larger one.
pub(super) fn minimum_degree(pattern: &Pattern) -> Option<Structure> {
    match pattern.n() {
        0..=64 => Some(ordered::<1>(pattern)),
        65..=MOST_ROWS => Some(ordered::<2>(pattern)),
        _ => None,
    }
}

/// A set of rows, in `W` words of 64 bits.
#[derive(Debug, Clone, Copy)]
struct Rows<const W: usize>([u64; W]);

impl<const W: usize> Rows<W> {
    const NONE: Self = Rows([0; W]);

    #[inline(always)]
    fn insert(&mut self, row: usize) {
        self.0[row / 64 % W] |= 1 << (row % 64);
    }

    #[inline(always)]
    fn remove(&mut self, row: usize) {
        self.0[row / 64 % W] &= !(1 << (row % 64));
    }

    #[inline(always)]
    fn join(&mut self, other: &Self) {
        for (own, other) in self.0.iter_mut().zip(&other.0) {
            *own |= other;
        }
    }

    #[inline(always)]
    fn count(&self) -> u32 {
        self.0.iter().map(|word| word.count_ones()).sum()
    }

    /// Calls a function with each row, rising.
    #[inline(always)]
    fn each(&self, mut call: impl FnMut(usize)) {
        for (at, &word) in self.0.iter().enumerate() {
            let mut rest = word;
            while rest != 0 {
                call(64 * at + rest.trailing_zeros() as usize);
                rest &= rest - 1;
            }
        }
    }
}

/// Orders rows that sets of `W` words hold.
fn ordered<const W: usize>(pattern: &Pattern) -> Structure {
    let n = pattern.n();
    // Neighbours of each row that are not yet eliminated; of an eliminated row those at its elimination.
    let mut near = vec![Rows::<W>::NONE; n];
    for (j, column) in pattern.col_start().windows(2).enumerate() {
        for &i in &pattern.rows()[column[0] as usize + 1..column[1] as usize] {
            near[j].insert(i as usize);
            near[i as usize].insert(j);
        }
    }
    // Degree and, below it, number of each row: the least is that of the first row of least degree. In 16 bits, with a sign:
    // the least of many such numbers is found side by side on any processor.
    let rank = |near: &Rows<W>, row: usize| (near.count() << BITS | row as u32) as i16;
    let mut ranks: Vec<i16> = near.iter().enumerate().map(|(row, near)| rank(near, row)).collect();
    let (mut original, mut eliminated) = (Vec::with_capacity(n), vec![0; n]);
    let mut start = Vec::with_capacity(n + 1);
    let mut filled = 0;
    start.push(filled);
    for k in 0..n as u32 {
        let least = ranks.iter().copied().fold(i16::MAX, i16::min) as u32;
        let pivot = (least & ((1 << BITS) - 1)) as usize;
        ranks[pivot] = i16::MAX;
        (eliminated[pivot], filled) = (k, filled + 1 + (least >> BITS));
        original.push(pivot as u32);
        start.push(filled);
        let joined = near[pivot];
        joined.each(|row| {
            let own = &mut near[row];
            own.join(&joined);
            own.remove(row);
            own.remove(pivot);
            ranks[row] = rank(own, row);
        });
    }
    let mut row = Vec::with_capacity(filled as usize);
    for (k, &pivot) in original.iter().enumerate() {
        row.push(k as u32);
        let mut below = Rows::<W>::NONE;
        near[pivot as usize].each(|row| below.insert(eliminated[row] as usize));
        below.each(|below| row.push(below as u32));
    }
    Structure { original, eliminated, start, row }
}

/// Bits of the number of a row.
const BITS: u32 = MOST_ROWS.ilog2();

#[cfg(test)]
mod tests {
    use super::*;
    use faer::Side;
    use faer::sparse::SymbolicSparseColMat;
    use faer::sparse::linalg::cholesky::{CholeskySymbolicParams, SymmetricOrdering, factorize_symbolic_cholesky};

    fn filled_by_faer(pattern: &Pattern) -> usize {
        let n = pattern.n();
        let matrix =
            SymbolicSparseColMat::new_checked(n, n, pattern.col_start().to_vec(), None, pattern.rows().to_vec());
        let params = CholeskySymbolicParams::default();
        factorize_symbolic_cholesky(matrix.as_ref(), Side::Lower, SymmetricOrdering::Amd, params).unwrap().len_val()
    }

    /// Numbers below a bound, from a linear congruential generator (the multiplier and increment of Knuth's MMIX).
    fn numbers(mut state: u64) -> impl FnMut(usize) -> usize {
        move |below| {
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            ((state >> 33) % below as u64) as usize
        }
    }

    /// Graphs of three kinds: trees with near neighbours joined, any two rows joined, grids of any width, the last with or
    /// without one diagonal in each square.
    fn graph(kind: usize, n: usize, below: &mut impl FnMut(usize) -> usize) -> Pattern {
        let mut joined = Vec::new();
        match kind {
            0 => {
                joined.extend((1..n).map(|k| (k, below(k))));
                joined.extend((0..2 * n / 5).map(|_| below(n - 1)).map(|a| (a, a + 1)));
                joined.extend((0..n / 5).map(|_| below(n - 3)).map(|a| (a, a + 3)));
            }
            1 => {
                for _ in 0..2 * n {
                    let (a, by) = (below(n), 1 + below(n - 1));
                    joined.push((a, (a + by) % n));
                }
            }
            _ => {
                let wide = 2 + below(n / 2 - 1);
                for k in 0..n {
                    let ends =
                        [(k % wide > 0, 1), (k >= wide, wide), (kind == 3 && k % wide > 0 && k > wide, wide + 1)];
                    joined.extend(ends.into_iter().filter(|&(there, _)| there).map(|(_, by)| (k, k - by)));
                }
            }
        }
        Pattern::new(n, &joined).unwrap()
    }

    /// The order has each row once, and the structure is what elimination in that order leaves.
    #[test]
    fn structure_is_that_of_elimination() {
        let mut below = numbers(1);
        for n in [5, 12, 40, 63, 64, 65, 100, 127, 128] {
            for kind in 0..4 {
                let pattern = graph(kind, n, &mut below);
                let found = minimum_degree(&pattern).unwrap();
                for (k, &row) in found.original.iter().enumerate() {
                    assert_eq!(found.eliminated[row as usize] as usize, k);
                }
                let mut matrix = vec![false; n * n];
                for j in 0..n {
                    for &i in &pattern.rows()[pattern.diagonal(j)..pattern.diagonal(j + 1)] {
                        let [i, j] = [i as usize, j].map(|row| found.eliminated[row] as usize);
                        (matrix[i * n + j], matrix[j * n + i]) = (true, true);
                    }
                }
                for k in 0..n {
                    let rows: Vec<u32> = (k..n).filter(|&i| matrix[i * n + k]).map(|i| i as u32).collect();
                    assert_eq!(
                        &found.row[found.start[k] as usize..found.start[k + 1] as usize],
                        rows,
                        "{kind} {n} {k}"
                    );
                    for &i in &rows {
                        rows.iter().for_each(|&j| matrix[i as usize * n + j as usize] = true);
                    }
                }
                assert_eq!(found.start.len(), n + 1);
            }
        }
    }

    /// Beside the order of faer the factor is no larger by more than a percent, but for grids with a diagonal in each
    /// square: there faer's degrees, which leave rows of equal neighbours out, lead to less, by up to 5 % at 128 rows.
    #[test]
    fn fills_as_little_as_faer() {
        let mut below = numbers(2);
        for n in [10, 51, 64, 65, 128] {
            for kind in 0..4 {
                let (mut ours, mut theirs) = (0, 0);
                for _ in 0..100 {
                    let pattern = graph(kind, n, &mut below);
                    ours += minimum_degree(&pattern).unwrap().row.len();
                    theirs += filled_by_faer(&pattern);
                }
                let more = if kind == 3 { 1.05 } else { 1.01 };
                assert!(ours as f64 <= more * theirs as f64, "{kind} {n}: {ours} beside {theirs}");
            }
        }
    }

    #[test]
    fn larger_ones_and_none() {
        assert!(minimum_degree(&Pattern::new(MOST_ROWS + 1, &[]).unwrap()).is_none());
        let none = minimum_degree(&Pattern::new(0, &[]).unwrap()).unwrap();
        assert_eq!((none.start, none.row), (vec![0], vec![]));
    }
}
