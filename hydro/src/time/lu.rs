//! Dense LU with row exchanges in place, for matrices most of whose numbers are zero; that of nalgebra allocates for every
//! matrix and skips none.

use nalgebra::DMatrix;

/// Factors of a small dense matrix `I - c A`, as Newton's method has it for a step of time.
#[derive(Debug, Clone)]
pub struct Lu {
    matrix: DMatrix<f64>,
    exchange: Vec<usize>,
}

impl Lu {
    /// Room for an `n` by `n` matrix.
    pub fn new(n: usize) -> Self {
        Self { matrix: DMatrix::zeros(n, n), exchange: vec![0; n] }
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
        true
    }

    /// Replaces a right-hand side of as many numbers by the solution.
    pub fn solve(&self, x: &mut [f64]) {
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
