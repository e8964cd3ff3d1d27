//! A sum that does not depend on the order of its terms.

use std::ops::AddAssign;

/// Terms are whole multiples of 2^-72.
const UNIT: f64 = (1u128 << 72) as f64;

/// Largest size of a term: with it, 2^31 terms cannot overflow.
pub const LARGEST: f64 = (1u64 << 24) as f64;

/// Sum of numbers of size up to [`LARGEST`], each rounded to 2^-72 (2e-22) and then added without any rounding: the
/// same terms in any order, and in any shares that are joined, give the same sum.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Sum(i128);

impl Sum {
    /// Adds a term. What is beyond [`LARGEST`] counts as that; the caller keeps such terms away.
    pub fn add(&mut self, term: f64) {
        // Scaling by a power of two is exact; `as` takes not-a-number for 0 and saturates.
        let whole = (term.clamp(-LARGEST, LARGEST) * UNIT).round() as i128;
        self.0 = self.0.saturating_add(whole);
    }

    /// The sum, correctly rounded.
    pub fn value(self) -> f64 {
        self.0 as f64 / UNIT
    }

    /// The sum as a whole number of 2^-72, for keeping.
    pub fn raw(self) -> i128 {
        self.0
    }

    /// The sum of a whole number of 2^-72.
    pub fn from_raw(raw: i128) -> Sum {
        Sum(raw)
    }
}

impl AddAssign for Sum {
    fn add_assign(&mut self, other: Sum) {
        self.0 = self.0.saturating_add(other.0);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn order_and_shares_change_nothing() {
        let terms: Vec<f64> = (0..1000).map(|k| ((k * 7919 % 1000) as f64).sin() * 10f64.powi(k % 11 - 6)).collect();
        let sum = |terms: &mut dyn Iterator<Item = &f64>| {
            let mut sum = Sum::default();
            terms.for_each(|&term| sum.add(term));
            sum
        };
        let whole = sum(&mut terms.iter());
        assert_eq!(whole, sum(&mut terms.iter().rev()));
        for parts in [3, 7] {
            let mut joined = Sum::default();
            terms.chunks(1000 / parts + 1).rev().for_each(|share| joined += sum(&mut share.iter()));
            assert_eq!(whole, joined);
        }
        // A plain sum rounds 1000 times, by half of 2e-10 at sizes of up to 2e6.
        assert!((whole.value() - terms.iter().sum::<f64>()).abs() < 1000.0 * 1.2e-10);
        assert_eq!(Sum::from_raw(whole.raw()), whole);
    }

    #[test]
    fn whole_numbers_are_exact() {
        let mut sum = Sum::default();
        for k in 1..=1000 {
            sum.add(f64::from(k) + 0.5);
        }
        assert_eq!(sum.value(), 501_000.0);
        sum.add(f64::NAN);
        assert_eq!(sum.value(), 501_000.0);
        sum.add(1e300);
        assert_eq!(sum.value(), 501_000.0 + LARGEST);
    }
}
