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
            m.swap_rows(k, best);
            let pivot = m[(k, k)];
            if pivot == 0.0 || !pivot.is_finite() {
                return false;
            }
            for i in k + 1..n {
                m[(i, k)] /= pivot;
            }
            for j in k + 1..n {
                let top = m[(k, j)];
                for i in k + 1..n {
                    m[(i, j)] -= m[(i, k)] * top;
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
        for k in 0..n {
            for i in k + 1..n {
                x[i] -= self.matrix[(i, k)] * x[k];
            }
        }
        for k in (0..n).rev() {
            x[k] /= self.matrix[(k, k)];
            for i in 0..k {
                x[i] -= self.matrix[(i, k)] * x[k];
            }
        }
    }
}
