//! Counts on a fixed grid: quantiles and rank correlations in bounded memory, which join exactly.

use std::collections::BTreeMap;

/// Bins of an octave are 2^this.
const BITS: u32 = 11;

/// What is smaller counts as zero.
const FLOOR: f64 = 1.0 / (1u64 << 40) as f64;

/// Resolution of the grid: no bin is wider than this share of the values in it.
pub const RESOLUTION: f64 = 1.0 / (1u32 << BITS) as f64;

/// Probabilities are summed as whole multiples of 2^-32.
const RANK_UNIT: f64 = 4_294_967_296.0;

/// One bin.
#[derive(Debug, Clone, PartialEq)]
pub struct Bin {
    /// Values in it.
    pub count: u64,
    /// Least of them.
    pub least: f64,
    /// Greatest of them.
    pub most: f64,
    /// For each input, the sum of its probabilities over these values, in 2^-32.
    pub ranks: Vec<u64>,
}

/// Values counted in bins of [`RESOLUTION`] of their size, whose edges are the same for all files: so the content
/// depends neither on the order of the values nor on how they were shared out, and the number of bins is bounded by
/// the range of the values, not by their number. Each bin keeps its least and greatest value, so that quantiles come
/// closer than the grid, and are exact where a bin holds one or two values, or many equal ones.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Histogram {
    /// The bins, by their place on the grid.
    pub bins: BTreeMap<i32, Bin>,
}

/// Place of a value on the grid: the leading bits of a floating-point number, which rise with it.
fn place(value: f64) -> i32 {
    let leading = |size: f64| i32::try_from(size.to_bits() >> (52 - BITS)).unwrap_or(i32::MAX);
    if value.abs() < FLOOR {
        return 0;
    }
    let place = leading(value.abs()) - leading(FLOOR) + 1;
    if value < 0.0 { -place } else { place }
}

/// A probability as a whole number.
fn whole(probability: f64) -> u64 {
    (probability.clamp(0.0, 1.0) * RANK_UNIT) as u64
}

impl Histogram {
    /// Counts a value that came of inputs at these probabilities; what is no number is not counted.
    pub fn add(&mut self, value: f64, probabilities: &[f64]) {
        if !value.is_finite() {
            return;
        }
        let empty = || Bin { count: 0, least: value, most: value, ranks: vec![0; probabilities.len()] };
        let bin = self.bins.entry(place(value)).or_insert_with(empty);
        bin.count = bin.count.saturating_add(1);
        bin.least = bin.least.min(value);
        bin.most = bin.most.max(value);
        for (sum, p) in bin.ranks.iter_mut().zip(probabilities) {
            *sum = sum.saturating_add(whole(*p));
        }
    }

    /// Adds all that another has counted.
    pub fn join(&mut self, other: &Histogram) {
        for (place, theirs) in &other.bins {
            match self.bins.get_mut(place) {
                None => drop(self.bins.insert(*place, theirs.clone())),
                Some(ours) => {
                    ours.count = ours.count.saturating_add(theirs.count);
                    ours.least = ours.least.min(theirs.least);
                    ours.most = ours.most.max(theirs.most);
                    ours.ranks.iter_mut().zip(&theirs.ranks).for_each(|(a, b)| *a = a.saturating_add(*b));
                }
            }
        }
    }

    /// Values counted.
    pub fn count(&self) -> u64 {
        self.bins.values().map(|bin| bin.count).sum()
    }

    /// Least and greatest value.
    pub fn extremes(&self) -> Option<[f64; 2]> {
        Some([self.bins.values().next()?.least, self.bins.values().next_back()?.most])
    }

    /// Value below which the share `probability` of the values lies; `None` where nothing was counted.
    ///
    /// Between the values in order, at the place `(n - 1) p` counted from 0 (definition 7 of Hyndman & Fan, Am. Stat.
    /// 50 (1996) 361-365). Within a bin the values count as equally spaced from its least to its greatest: within
    /// [`RESOLUTION`] of the value.
    pub fn quantile(&self, probability: f64) -> Option<f64> {
        let count = self.count();
        let at = count.checked_sub(1)? as f64 * probability.clamp(0.0, 1.0);
        let (index, share) = (at.floor() as u64, at.fract());
        let here = self.nth(index)?;
        Some(if share > 0.0 { here + share * (self.nth((index + 1).min(count - 1))? - here) } else { here })
    }

    /// The value of an index in order, from 0.
    fn nth(&self, index: u64) -> Option<f64> {
        let mut before = 0;
        for bin in self.bins.values() {
            if index < before + bin.count {
                let steps = bin.count.saturating_sub(1).max(1);
                return Some(bin.least + (bin.most - bin.least) * ((index - before) as f64 / steps as f64));
            }
            before += bin.count;
        }
        None
    }

    /// Rank correlation (Spearman) of the values with one input, -1 .. 1; `None` where either does not vary.
    ///
    /// An input's rank is its probability, which it was drawn by; a value's rank is its place in order, values of one
    /// bin sharing the middle of their places. `inputs` holds the sums over the same values.
    pub fn rank_correlation(&self, input: usize, inputs: &InputSums) -> Option<f64> {
        let n = self.count() as f64;
        let (mut before, mut products, mut squares) = (0.0, 0.0, 0.0);
        for bin in self.bins.values() {
            let count = bin.count as f64;
            // From the middle of all places, so that little cancels.
            let rank = before + 0.5 * (count - 1.0) - 0.5 * (n - 1.0);
            products += rank * (*bin.ranks.get(input)? as f64 / RANK_UNIT);
            squares += rank * rank * count;
            before += count;
        }
        let (sum, square) = inputs.of(input)?;
        let variance = square - sum * sum / n;
        let scale = (squares * variance).sqrt();
        (scale > 0.0).then(|| (products / scale).clamp(-1.0, 1.0))
    }
}

/// Sums over the probabilities of the inputs, and over their squares.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct InputSums {
    /// For each input: sum in 2^-32, sum of squares in 2^-64.
    pub sums: Vec<(u64, u128)>,
}

impl InputSums {
    /// Nothing summed, for this many inputs.
    pub fn new(inputs: usize) -> InputSums {
        InputSums { sums: vec![(0, 0); inputs] }
    }

    /// Adds the probabilities of one sample.
    pub fn add(&mut self, probabilities: &[f64]) {
        for ((sum, square), p) in self.sums.iter_mut().zip(probabilities) {
            let whole = whole(*p);
            *sum = sum.saturating_add(whole);
            *square = square.saturating_add(u128::from(whole) * u128::from(whole));
        }
    }

    /// Adds all that another has summed.
    pub fn join(&mut self, other: &InputSums) {
        for ((sum, square), (s, q)) in self.sums.iter_mut().zip(&other.sums) {
            *sum = sum.saturating_add(*s);
            *square = square.saturating_add(*q);
        }
    }

    /// Sum and sum of squares of an input's probabilities.
    fn of(&self, input: usize) -> Option<(f64, f64)> {
        let (sum, square) = self.sums.get(input)?;
        Some((*sum as f64 / RANK_UNIT, *square as f64 / RANK_UNIT / RANK_UNIT))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::statistics::sampling::{Design, Sampling};

    fn filled(values: &[(f64, Vec<f64>)]) -> Histogram {
        let mut histogram = Histogram::default();
        values.iter().for_each(|(value, u)| histogram.add(*value, u));
        histogram
    }

    #[test]
    fn places_rise_with_values() {
        let mut values: Vec<f64> = (-300..300).map(|k| f64::from(k) / 7.0).collect();
        values.extend([1e-30, -1e-30, 1e9, -1e9, 3e-12, f64::MAX]);
        values.sort_by(f64::total_cmp);
        for pair in values.windows(2) {
            assert!(place(pair[0]) <= place(pair[1]), "{pair:?}");
        }
        // A bin is no wider than the resolution.
        for k in 1..3000 {
            let value = 0.01 * f64::from(k);
            assert!(place(value * (1.0 + 1.001 * RESOLUTION)) > place(value), "{value}");
        }
    }

    /// 20,000 normal values: quantiles of the histogram against those of the sorted values.
    #[test]
    fn quantiles_are_those_of_the_sorted_values() {
        let design = Design::new(Sampling::LatinHypercube, 9, 0, 20_000, 1);
        let values: Vec<(f64, Vec<f64>)> = (0..20_000)
            .map(|k| design.point(k))
            .map(|u| (0.03 + 0.004 * crate::statistics::distribution::normal_quantile(u[0]), u))
            .collect();
        let histogram = filled(&values);
        let mut sorted: Vec<f64> = values.iter().map(|(v, _)| *v).collect();
        sorted.sort_by(f64::total_cmp);
        for p in [0.0, 0.01, 0.05, 0.5, 0.95, 0.99, 1.0] {
            let at: f64 = 19_999.0 * p;
            let exact =
                sorted[at as usize] + at.fract() * (sorted[(at as usize + 1).min(19_999)] - sorted[at as usize]);
            let found = histogram.quantile(p).unwrap();
            assert!((found / exact - 1.0).abs() < RESOLUTION, "{p}: {found} {exact}");
        }
        assert!(histogram.bins.len() < 4000, "{}", histogram.bins.len());
        for parts in [3, 7] {
            let mut joined = Histogram::default();
            values.chunks(20_000 / parts + 1).rev().for_each(|share| joined.join(&filled(share)));
            assert_eq!(joined, histogram);
        }
    }

    /// Few and equal values are exact.
    #[test]
    fn atoms_are_exact() {
        let histogram = filled(&[(15.0, vec![]), (15.0, vec![]), (15.0, vec![]), (0.0, vec![]), (7.1, vec![])]);
        assert_eq!(histogram.quantile(0.0), Some(0.0));
        assert_eq!(histogram.quantile(0.25), Some(7.1));
        assert_eq!(histogram.quantile(0.5), Some(15.0));
        assert_eq!(histogram.quantile(0.125), Some(3.55));
        assert_eq!(histogram.extremes(), Some([0.0, 15.0]));
        assert_eq!(Histogram::default().quantile(0.5), None);
    }

    /// Spearman's coefficient against its definition on sorted lists, and the closed form of a monotone relation.
    #[test]
    fn rank_correlations_are_spearmans() {
        let n = 2000u32;
        let design = Design::new(Sampling::LatinHypercube, 4, 0, u64::from(n), 3);
        let points: Vec<Vec<f64>> = (0..u64::from(n)).map(|k| design.point(k)).collect();
        let values: Vec<(f64, Vec<f64>)> =
            points.iter().map(|u| ((2.0 * u[0]).exp() - u[1] * u[1], u.clone())).collect();
        let histogram = filled(&values);
        let mut inputs = InputSums::new(3);
        points.iter().for_each(|u| inputs.add(u));
        let rank = |of: &dyn Fn(usize) -> f64| {
            let mut order: Vec<usize> = (0..n as usize).collect();
            order.sort_by(|a, b| of(*a).total_cmp(&of(*b)));
            let mut ranks = vec![0.0; n as usize];
            order.iter().enumerate().for_each(|(place, k)| ranks[*k] = place as f64);
            ranks
        };
        let y = rank(&|k| values[k].0);
        for input in [0, 1, 2] {
            let x = rank(&|k| points[k][input]);
            let squares: f64 = x.iter().zip(&y).map(|(a, b)| (a - b) * (a - b)).sum();
            let n = f64::from(n);
            let expected = 1.0 - 6.0 * squares / (n * (n * n - 1.0));
            let found = histogram.rank_correlation(input, &inputs).unwrap();
            // A probability is a rank but for the place within its stratum, and values of a bin share a rank.
            assert!((found - expected).abs() < 1e-3, "{input}: {found} {expected}");
        }
        let same = filled(&points.iter().map(|u| (u[0].powi(3) + 1.0, u.clone())).collect::<Vec<_>>());
        assert!(same.rank_correlation(0, &inputs).unwrap() > 0.999);
        assert_eq!(filled(&[(1.0, vec![0.2]), (1.0, vec![0.7])]).rank_correlation(0, &InputSums::new(1)), None);
    }
}
