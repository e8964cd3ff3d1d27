//! Correlated uniform quantities: a Gaussian copula.

use nalgebra::{Cholesky, DMatrix, DVector};

use super::distribution::{normal_probability, normal_quantile};

/// A matrix of correlation coefficients is none.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("no quantities can be correlated like this: the matrix is not positive definite")]
pub struct NotPositive;

/// A Gaussian copula: normal quantities with given correlation coefficients, turned back to probabilities.
#[derive(Debug, Clone, PartialEq)]
pub struct Copula {
    lower: DMatrix<f64>,
}

impl Copula {
    /// The copula of a matrix of correlation coefficients of the underlying normal quantities: symmetric, with ones on
    /// its diagonal; only its lower half is read.
    ///
    /// # Errors
    /// [`NotPositive`] where the matrix is not positive definite.
    pub fn new(correlation: &[Vec<f64>]) -> Result<Copula, NotPositive> {
        let n = correlation.len();
        let at = |i: usize, j: usize| correlation.get(i).and_then(|row| row.get(j)).copied().unwrap_or(0.0);
        let matrix = DMatrix::from_fn(n, n, |i, j| at(i.max(j), i.min(j)));
        // What is singular to rounding has no unique factor.
        let lower = Cholesky::new(matrix).ok_or(NotPositive)?.l();
        if lower.diagonal().iter().all(|d| *d > 1e-7) { Ok(Copula { lower }) } else { Err(NotPositive) }
    }

    /// Turns independent probabilities (above 0, below 1) into correlated ones, in place.
    pub fn apply(&self, probabilities: &mut [f64]) {
        let normal = DVector::from_iterator(self.lower.nrows(), probabilities.iter().map(|&p| normal_quantile(p)));
        let correlated = &self.lower * normal;
        let inside = |z: f64| normal_probability(z).clamp(f64::MIN_POSITIVE, 1.0 - f64::EPSILON);
        probabilities.iter_mut().zip(correlated.iter()).for_each(|(p, z)| *p = inside(*z));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::sampling::{Design, Sampling};

    /// Rank correlation of a Gaussian copula: `6/pi asin(rho/2)` (K. Pearson 1907; W. H. Kruskal, J. Am. Stat. Assoc.
    /// 53 (1958) 814-861). 16384 points of a net: within 2e-3.
    #[test]
    fn rank_correlation_is_that_of_the_gaussian_copula() {
        let rho = 0.7;
        let copula = Copula::new(&[vec![1.0, rho], vec![rho, 1.0]]).unwrap();
        let design = Design::new(Sampling::Sobol, 1, 0, 16384, 2);
        let mut sums = [0.0; 3];
        for k in 0..16384 {
            let mut u = design.point(k);
            copula.apply(&mut u);
            sums[0] += u[0];
            sums[1] += u[1];
            sums[2] += (u[0] - 0.5) * (u[1] - 0.5);
        }
        assert!((sums[0] / 16384.0 - 0.5).abs() < 1e-4 && (sums[1] / 16384.0 - 0.5).abs() < 1e-3, "{sums:?}");
        let expected = 6.0 / std::f64::consts::PI * (rho / 2.0f64).asin();
        assert!((sums[2] / 16384.0 * 12.0 - expected).abs() < 2e-3, "{sums:?} {expected}");
    }

    #[test]
    fn what_cannot_be_is_refused() {
        let matrix = [vec![1.0], vec![0.9, 1.0], vec![0.9, -0.9, 1.0]];
        assert_eq!(Copula::new(&matrix), Err(NotPositive));
        assert_eq!(Copula::new(&[vec![1.0], vec![1.0, 1.0]]), Err(NotPositive));
    }
}
