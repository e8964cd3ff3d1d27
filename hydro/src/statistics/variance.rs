//! Variance-based indices: which share of an outcome's variance each input makes.

use super::sum::{LARGEST, Sum};

/// Rows are put into this many groups in turn, from which the standard errors come.
pub const GROUPS: usize = 8;

/// Sums over the rows of one group.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Group {
    /// Rows.
    pub rows: u64,
    /// Sum over `a` and `b`.
    pub sum: Sum,
    /// Sum over their squares.
    pub squares: Sum,
    /// For each input, the sum of `(b - ab)^2 / 2`.
    pub first: Vec<Sum>,
    /// For each input, the sum of `(a - ab)^2 / 2`.
    pub total: Vec<Sum>,
}

/// Sums from which the indices of one outcome come.
///
/// A row is the outcome at two independent points A and B, and for each input i at the point AB_i: A with input i of
/// B. With V the variance over all A and B,
///
/// ```text
/// first_i = 1 - mean((b - ab_i)^2) / (2 V)      share of V that input i makes by itself
/// total_i =     mean((a - ab_i)^2) / (2 V)      share of V that would go if only i were not known
/// ```
///
/// # Source
/// M. J. W. Jansen, Comput. Phys. Commun. 117 (1999) 35-43; both in table 2 of A. Saltelli et al., Comput. Phys.
/// Commun. 181 (2010) 259-270. Inputs that depend on each other count as one: J. Jacques, C. Lavergne & N. Devictor,
/// Reliab. Eng. Syst. Saf. 91 (2006) 1126-1134.
#[derive(Debug, Clone, PartialEq)]
pub struct VarianceSums {
    middle: f64,
    scale: f64,
    /// The groups, [`GROUPS`] of them.
    pub groups: Vec<Group>,
}

/// Indices of one input.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Index {
    /// First-order index.
    pub first: f64,
    /// Its standard error.
    pub first_error: f64,
    /// Total index.
    pub total: f64,
    /// Its standard error.
    pub total_error: f64,
}

impl VarianceSums {
    /// Nothing summed, for this many inputs. Outcomes are summed from `middle` in units of `scale` (above 0): an
    /// outcome near the one expected and its usual size; they must be the same in all shares.
    pub fn new(inputs: usize, middle: f64, scale: f64) -> VarianceSums {
        let group =
            Group { first: vec![Sum::default(); inputs], total: vec![Sum::default(); inputs], ..Group::default() };
        VarianceSums { middle, scale, groups: vec![group; GROUPS] }
    }

    /// Whether an outcome is of a size that can be summed.
    pub fn holds(&self, outcome: f64) -> bool {
        // Squares of differences of two must stay below the largest term.
        (0.5 * (outcome - self.middle) / self.scale).abs() < LARGEST.sqrt() / 2.0
    }

    /// Adds a row: its index, the outcomes at A and B, and at every AB_i.
    pub fn add(&mut self, row: u64, a: f64, b: f64, ab: &[f64]) {
        let size = |x: f64| (x - self.middle) / self.scale;
        let (a, b) = (size(a), size(b));
        let ab: Vec<f64> = ab.iter().map(|&x| size(x)).collect();
        let Some(group) = self.groups.get_mut((row % GROUPS as u64) as usize) else { return };
        group.rows += 1;
        group.sum.add(a);
        group.sum.add(b);
        group.squares.add(a * a);
        group.squares.add(b * b);
        for ((first, total), x) in group.first.iter_mut().zip(&mut group.total).zip(ab) {
            first.add(0.5 * (b - x) * (b - x));
            total.add(0.5 * (a - x) * (a - x));
        }
    }

    /// Adds all that another has summed.
    pub fn join(&mut self, other: &VarianceSums) {
        for (ours, theirs) in self.groups.iter_mut().zip(&other.groups) {
            ours.add(theirs);
        }
    }

    /// Rows summed.
    pub fn rows(&self) -> u64 {
        self.groups.iter().map(|group| group.rows).sum()
    }

    /// Variance of the outcome, in its unit squared.
    pub fn variance(&self) -> f64 {
        self.without(None).variance() * self.scale * self.scale
    }

    /// Indices of all inputs; `None` where the outcome does not vary, or with fewer rows than two a group.
    ///
    /// Standard errors by leaving out one group after the other (B. Efron & C. Stein, Ann. Stat. 9 (1981) 586-596).
    pub fn indices(&self) -> Option<Vec<Index>> {
        if self.groups.iter().any(|group| group.rows < 2) {
            return None;
        }
        let all = self.without(None);
        let variance = all.variance();
        // Rounding of outcomes that are all alike is no variance.
        if variance <= 1e-20 {
            return None;
        }
        let shares: Vec<Group> = (0..GROUPS).map(|k| self.without(Some(k))).collect();
        let error = |of: &dyn Fn(&Group) -> f64| {
            let values: Vec<f64> = shares.iter().map(of).collect();
            let mean = values.iter().sum::<f64>() / GROUPS as f64;
            let squares: f64 = values.iter().map(|v| (v - mean) * (v - mean)).sum();
            (squares * (GROUPS as f64 - 1.0) / GROUPS as f64).sqrt()
        };
        let index = |i: usize| Index {
            first: all.first(i),
            first_error: error(&|group| group.first(i)),
            total: all.total(i),
            total_error: error(&|group| group.total(i)),
        };
        Some((0..all.first.len()).map(index).collect())
    }

    /// All groups joined, without one.
    fn without(&self, left_out: Option<usize>) -> Group {
        let mut joined: Option<Group> = None;
        for (_, group) in self.groups.iter().enumerate().filter(|(k, _)| Some(*k) != left_out) {
            match &mut joined {
                None => joined = Some(group.clone()),
                Some(joined) => joined.add(group),
            }
        }
        joined.unwrap_or_default()
    }
}

impl Group {
    fn add(&mut self, other: &Group) {
        self.rows += other.rows;
        self.sum += other.sum;
        self.squares += other.squares;
        self.first.iter_mut().zip(&other.first).for_each(|(a, b)| *a += *b);
        self.total.iter_mut().zip(&other.total).for_each(|(a, b)| *a += *b);
    }

    fn variance(&self) -> f64 {
        let n = 2.0 * self.rows as f64;
        let mean = self.sum.value() / n;
        (self.squares.value() / n - mean * mean).max(0.0) * n / (n - 1.0).max(1.0)
    }

    fn first(&self, input: usize) -> f64 {
        let sum = self.first.get(input).copied().unwrap_or_default();
        1.0 - sum.value() / self.rows as f64 / self.variance()
    }

    fn total(&self, input: usize) -> f64 {
        let sum = self.total.get(input).copied().unwrap_or_default();
        sum.value() / self.rows as f64 / self.variance()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::sampling::{Design, Sampling};

    /// Sums over rows of a function of inputs between 0 and 1, some rows of it.
    fn sums(inputs: usize, rows: std::ops::Range<u64>, f: &dyn Fn(&[f64]) -> f64) -> VarianceSums {
        let design = Design::new(Sampling::Sobol, 11, 1, 1 << 14, 2 * inputs);
        let mut sums = VarianceSums::new(inputs, 0.5, 2.0);
        for row in rows {
            let point = design.point(row);
            let (a, b) = point.split_at(inputs);
            let swapped =
                |i: usize| a.iter().enumerate().map(|(k, &u)| if k == i { b[k] } else { u }).collect::<Vec<_>>();
            let ab: Vec<f64> = (0..inputs).map(|i| f(&swapped(i))).collect();
            assert!(ab.iter().all(|x| sums.holds(*x)));
            sums.add(row, f(a), f(b), &ab);
        }
        sums
    }

    fn ishigami(u: &[f64]) -> f64 {
        let x: Vec<f64> = u.iter().map(|u| std::f64::consts::PI * (2.0 * u - 1.0)).collect();
        x[0].sin() + 7.0 * x[1].sin().powi(2) + 0.1 * x[2].powi(4) * x[0].sin()
    }

    /// T. Ishigami & T. Homma, ISUMA 1990, 398-403, with a = 7, b = 0.1; the closed forms give (also printed in
    /// Saltelli et al., Global Sensitivity Analysis: The Primer, 2008): first 0.3139, 0.4424, 0; total 0.5576, 0.4424,
    /// 0.2437; variance 13.8446. Tolerance: 5e-3, several of the standard errors that 16384 rows have.
    #[test]
    fn indices_of_the_ishigami_function() {
        let sums = sums(3, 0..1 << 14, &ishigami);
        assert!((sums.variance() / 13.8446 - 1.0).abs() < 5e-3, "{}", sums.variance());
        let found = sums.indices().unwrap();
        for (index, (first, total)) in found.iter().zip([(0.3139, 0.5576), (0.4424, 0.4424), (0.0, 0.2437)]) {
            assert!((index.first - first).abs() < 5e-3 && (index.total - total).abs() < 5e-3, "{found:?}");
        }
    }

    /// The g function of I. M. Sobol' (Math. Model. Comput. Exp. 1 (1993) 407-414) with a = 0, 1, 4.5, 9, 99 (values of
    /// Saltelli et al. 2010), whose indices are closed forms: `V_i = 1/(3 (1 + a_i)^2)`, `V = prod(1 + V_i) - 1`,
    /// `first = V_i/V`, `total = V_i/(1 + V_i) prod(1 + V_j)/V`.
    #[test]
    fn indices_of_the_sobol_g_function() {
        let a = [0.0, 1.0, 4.5, 9.0, 99.0];
        let g = |u: &[f64]| u.iter().zip(a).map(|(u, a)| ((4.0 * u - 2.0).abs() + a) / (1.0 + a)).product::<f64>();
        let part = a.map(|a| 1.0 / (3.0 * (1.0 + a) * (1.0 + a)));
        let product: f64 = part.iter().map(|v| 1.0 + v).product();
        let sums = sums(5, 0..1 << 14, &g);
        assert!((sums.variance() / (product - 1.0) - 1.0).abs() < 1e-2);
        for (index, v) in sums.indices().unwrap().iter().zip(part) {
            let (first, total) = (v / (product - 1.0), v / (1.0 + v) * product / (product - 1.0));
            assert!(
                (index.first - first).abs() < 5e-3 && (index.total - total).abs() < 5e-3,
                "{index:?} {first} {total}"
            );
        }
    }

    /// Standard errors mean what they say: of 60 plain repetitions, 68 % should be within one of the exact value and
    /// 95 % within two; 8 groups make the tails heavier (Student's t with 7 degrees: 65 % and 91 %). Bounds: three
    /// standard deviations of a binomial share.
    #[test]
    fn standard_errors_cover() {
        let mut within = [0; 2];
        for seed in 0..60 {
            let design = Design::new(Sampling::LatinHypercube, seed, 1, 256, 6);
            let mut sums = VarianceSums::new(3, 3.5, 5.0);
            for row in 0..256 {
                let point = design.point(row);
                let at = |i: usize| {
                    let mut u = point[..3].to_vec();
                    u[i] = point[3 + i];
                    ishigami(&u)
                };
                sums.add(row, ishigami(&point[..3]), ishigami(&point[3..]), &[at(0), at(1), at(2)]);
            }
            let index = sums.indices().unwrap()[2];
            for (count, size) in within.iter_mut().zip([1.0, 2.0]) {
                *count += i32::from((index.total - 0.2437).abs() < size * index.total_error);
            }
        }
        assert!((28..=50).contains(&within[0]) && within[1] >= 48, "{within:?}");
    }

    #[test]
    fn shares_join_exactly() {
        let whole = sums(3, 0..1000, &ishigami);
        for parts in [3, 7] {
            let mut joined = VarianceSums::new(3, 0.5, 2.0);
            for part in (0..parts).rev() {
                joined.join(&sums(3, part * 1000 / parts..(part + 1) * 1000 / parts, &ishigami));
            }
            assert_eq!(joined, whole);
        }
        assert_eq!(sums(3, 0..9, &ishigami).indices(), None);
        assert_eq!(sums(3, 0..100, &|_| 0.3).indices(), None);
    }
}
