//! Dense LU with row exchanges in place; that of nalgebra allocates for every matrix.

use nalgebra::DMatrix;

/// Factors of a small dense matrix.
#[derive(Debug, Clone)]
pub(super) struct Lu {
    matrix: DMatrix<f64>,
    exchange: Vec<usize>,
}

impl Lu {
    /// Room for an `n` by `n` matrix.
    pub(super) fn new(n: usize) -> Self {
        Self { matrix: DMatrix::zeros(n, n), exchange: vec![0; n] }
    }

    /// Factorises `I - c A`; `false` if that is singular or not finite.
    pub(super) fn factor(&mut self, c: f64, a: &DMatrix<f64>) -> bool {
        let m = &mut self.matrix;
        m.copy_from(a);
        *m *= -c;
        let n = m.nrows();
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
        true
    }

    /// Replaces a right-hand side by the solution.
    pub(super) fn solve(&self, x: &mut [f64]) {
        let n = x.len();
        for (k, &other) in self.exchange.iter().enumerate() {
            x.swap(k, other);
        }
        let columns = self.matrix.as_slice();
        for k in 0..n {
            let (head, below) = x.split_at_mut(k + 1);
            below.iter_mut().zip(&columns[k * n + k + 1..(k + 1) * n]).for_each(|(x, l)| *x -= l * head[k]);
        }
        for k in (0..n).rev() {
            let (above, rest) = x.split_at_mut(k);
            rest[0] /= columns[k * n + k];
            above.iter_mut().zip(&columns[k * n..k * n + k]).for_each(|(x, u)| *x -= u * rest[0]);
        }
    }
}
