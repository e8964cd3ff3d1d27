//! Dense LU with row exchanges in place, for matrices most of whose numbers are zero; that of nalgebra allocates for every
//! matrix and skips none.

use nalgebra::DMatrix;
use std::ops::Range;

/// Factors of a small dense matrix `I - c A`, as Newton's method has it for a step of time.
#[derive(Debug, Clone)]
pub struct Lu {
    matrix: DMatrix<f64>,
    exchange: Vec<usize>,
    /// Rows of the numbers of the factors off the diagonal that are not zero, column by column, with the numbers.
    entries: Vec<(u32, f64)>,
    /// Where those above the diagonal of each column are among them, and those below.
    columns: Vec<[Range<usize>; 2]>,
}

impl Lu {
    /// Room for an `n` by `n` matrix.
    pub fn new(n: usize) -> Self {
        Self { matrix: DMatrix::zeros(n, n), exchange: vec![0; n], entries: Vec::new(), columns: Vec::new() }
    }

    /// Factorises `I - c A`, where of A the first rows and columns count; `false` if that is singular or not finite.
    ///
    /// # Panics
    /// If A is smaller than that (an error of the program, not of the data).
    pub fn factor(&mut self, c: f64, a: &DMatrix<f64>) -> bool {
        let m = &mut self.matrix;
        let n = m.nrows();
        m.copy_from(&a.view((0, 0), (n, n)));
        *m *= -c;
        for k in 0..n {
            m[(k, k)] += 1.0;
        }
        for k in 0..n {
            let best = (k + 1..n).fold(k, |best, i| if m[(i, k)].abs() > m[(best, k)].abs() { i } else { best });
            self.exchange[k] = best;
            if best != k {
                m.swap_rows(k, best);
            }
            let pivot = m[(k, k)];
            if pivot == 0.0 || !pivot.is_finite() {
                return false;
            }
            let (done, later) = m.as_mut_slice().split_at_mut((k + 1) * n);
            let below = &mut done[k * n + k + 1..];
            if below.iter().all(|&x| x == 0.0) {
                continue;
            }
            below.iter_mut().for_each(|x| *x /= pivot);
            for column in later.chunks_exact_mut(n) {
                // Many states act on few others.
                let top = column[k];
                if top != 0.0 {
                    column[k + 1..].iter_mut().zip(&*below).for_each(|(x, l)| *x -= l * top);
                }
            }
        }
        self.gather();
        true
    }

    /// Gathers what is not zero.
    fn gather(&mut self) {
        self.entries.clear();
        self.columns.clear();
        let n = self.exchange.len();
        for (k, column) in self.matrix.as_slice().chunks_exact(n.max(1)).enumerate() {
            let ranges = [0..k, k + 1..n].map(|rows| {
                let from = self.entries.len();
                for (row, &x) in (rows.start as u32..).zip(&column[rows]) {
                    if x != 0.0 {
                        self.entries.push((row, x));
                    }
                }
                from..self.entries.len()
            });
            self.columns.push(ranges);
        }
    }

    /// Replaces a right-hand side of as many numbers by the solution.
    pub fn solve(&self, x: &mut [f64]) {
        for (k, &other) in self.exchange.iter().enumerate() {
            x.swap(k, other);
        }
        for (k, [_, below]) in self.columns.iter().enumerate() {
            let known = x[k];
            self.entries[below.clone()].iter().for_each(|&(row, l)| x[row as usize] -= l * known);
        }
        for (k, [above, _]) in self.columns.iter().enumerate().rev() {
            x[k] /= self.matrix[(k, k)];
            let known = x[k];
            self.entries[above.clone()].iter().for_each(|&(row, u)| x[row as usize] -= u * known);
        }
    }
}
