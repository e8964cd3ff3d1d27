//! Points in the unit cube, each found from its index alone.

use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{Rng, SeedableRng};
use sobol_burley::NUM_DIMENSIONS;
use sobol_burley::parts::{owen_scramble_rev, sobol_rev};

/// Most points of a Sobol' sequence.
pub const LONGEST_SOBOL: u64 = 1 << 16;

/// Most dimensions of a Sobol' sequence.
pub const MOST_DIMENSIONS: usize = NUM_DIMENSIONS as usize;

/// How points are spread over the unit cube.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sampling {
    /// In every dimension exactly one point in each of `count` equal strata, at random within it, the strata of the
    /// dimensions paired at random (McKay, Beckman & Conover, Technometrics 21 (1979) 239-245).
    LatinHypercube,
    /// Sobol' sequence with the direction numbers of Joe & Kuo (SIAM J. Sci. Comput. 30 (2008) 2635-2654), scrambled
    /// after Owen by a hash (Burley, J. Comput. Graph. Tech. 9 (2020) 1-20). Up to [`LONGEST_SOBOL`] points in up to
    /// [`MOST_DIMENSIONS`] dimensions.
    Sobol,
}

/// Points of one seed.
#[derive(Debug, Clone)]
pub struct Design {
    sampling: Sampling,
    seed: u64,
    count: u64,
    /// One a dimension: of the pairing of its strata, or of its scrambling.
    keys: Vec<[u32; ROUNDS]>,
}

const ROUNDS: usize = 6;

impl Design {
    /// `count` points in `dimensions` dimensions. `purpose` keeps designs of one seed apart.
    pub fn new(sampling: Sampling, seed: u64, purpose: u64, count: u64, dimensions: usize) -> Design {
        let mut random = ChaCha8Rng::seed_from_u64(seed ^ purpose.wrapping_mul(0x9e37_79b9_7f4a_7c15));
        let keys = (0..dimensions).map(|_| std::array::from_fn(|_| random.next_u32())).collect();
        Design { sampling, seed: seed.wrapping_add(purpose), count, keys }
    }

    /// Point `index`, below `count`: every coordinate is above 0 and below 1.
    pub fn point(&self, index: u64) -> Vec<f64> {
        match self.sampling {
            Sampling::LatinHypercube => {
                // One stream of random numbers a point.
                let mut random = ChaCha8Rng::seed_from_u64(self.seed);
                random.set_stream(index.wrapping_add(1));
                let within = |random: &mut ChaCha8Rng| (f64::from(random.next_u32()) + 0.5) / 4_294_967_296.0;
                let count = self.count.max(1);
                let stratum = |key: &[u32; ROUNDS]| permute(index.min(count - 1), count, key) as f64;
                let place = |(key, random): (_, &mut ChaCha8Rng)| (stratum(key) + within(random)) / count as f64;
                self.keys.iter().map(|key| place((key, &mut random)).clamp(f64::EPSILON, 1.0 - f64::EPSILON)).collect()
            }
            Sampling::Sobol => {
                let index = u32::try_from(index % LONGEST_SOBOL).unwrap_or(0).reverse_bits();
                let coordinate = |(dimension, key): (u32, &[u32; ROUNDS])| {
                    let scrambled = owen_scramble_rev(sobol_rev(index, dimension % NUM_DIMENSIONS), key[0]);
                    (f64::from(scrambled.reverse_bits()) + 0.5) / 4_294_967_296.0
                };
                (0..).zip(&self.keys).map(coordinate).collect()
            }
        }
    }
}

/// Where a keyed permutation of `0 .. count` sends `index`: a Feistel network on the least even number of bits that
/// holds `count`, walked until it is inside (M. Luby & C. Rackoff, SIAM J. Comput. 17 (1988) 373-386; cycle walking:
/// J. Black & P. Rogaway, CT-RSA 2002). Nothing is kept, whatever `count` is.
fn permute(index: u64, count: u64, keys: &[u32; ROUNDS]) -> u64 {
    let half = (64 - count.saturating_sub(1).leading_zeros()).div_ceil(2).max(1);
    let mask = (1u64 << half) - 1;
    let mut value = index;
    loop {
        let (mut left, mut right) = (value >> half, value & mask);
        for key in keys {
            (left, right) = (right, left ^ (mix(right, *key) & mask));
        }
        value = (left << half) | right;
        if value < count {
            return value;
        }
    }
}

/// A well mixed function of a number and a key: the finaliser of SplitMix64 (Steele, Lea & Flood, OOPSLA 2014).
fn mix(value: u64, key: u32) -> u64 {
    let mut z = value.wrapping_add(u64::from(key).wrapping_mul(0x9e37_79b9_7f4a_7c15));
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_latin_hypercube_has_one_point_in_every_stratum() {
        for count in [1, 2, 7, 64, 1000] {
            let design = Design::new(Sampling::LatinHypercube, 3, 0, count, 4);
            let points: Vec<Vec<f64>> = (0..count).map(|k| design.point(k)).collect();
            for dimension in 0..4 {
                let mut strata: Vec<u64> = points.iter().map(|p| (p[dimension] * count as f64) as u64).collect();
                strata.sort_unstable();
                assert_eq!(strata, (0..count).collect::<Vec<_>>());
            }
        }
        let design = |seed| Design::new(Sampling::LatinHypercube, seed, 0, 100, 2).point(17);
        assert_eq!(design(1), design(1));
        assert_ne!(design(1), design(2));
    }

    /// The strata of two dimensions are paired at random: their correlation over 1000 points has a standard error of
    /// 1/sqrt(1000) = 0.032; 4.5 of them.
    #[test]
    fn dimensions_of_a_latin_hypercube_are_independent() {
        for seed in 0..20 {
            let design = Design::new(Sampling::LatinHypercube, seed, 0, 1000, 2);
            let sum: f64 = (0..1000).map(|k| design.point(k)).map(|p| (p[0] - 0.5) * (p[1] - 0.5)).sum();
            assert!((sum / 1000.0 * 12.0).abs() < 4.5 / 1000f64.sqrt(), "{seed}: {sum}");
        }
    }

    /// Every elementary interval in base 2 of the first two dimensions holds its one point: the property by which a
    /// (0, m, 2)-net is defined (Sobol', USSR Comput. Math. Math. Phys. 7 (1967) 86-112); scrambling keeps it.
    #[test]
    fn a_sobol_sequence_is_a_net() {
        let design = Design::new(Sampling::Sobol, 5, 0, 256, 2);
        for wide in 0..=8 {
            let (across, up) = (1 << wide, 256 >> wide);
            let mut hit = vec![0; 256];
            for point in (0..256).map(|k| design.point(k)) {
                hit[(point[0] * f64::from(across)) as usize * up as usize + (point[1] * f64::from(up)) as usize] += 1;
            }
            assert!(hit.iter().all(|&n| n == 1), "{across} x {up}");
        }
    }

    /// Many dimensions are even: mean of each over 4096 points.
    #[test]
    fn all_dimensions_are_even() {
        let design = Design::new(Sampling::Sobol, 1, 0, 4096, MOST_DIMENSIONS);
        let mut mean = vec![0.0; MOST_DIMENSIONS];
        for point in (0..4096).map(|k| design.point(k)) {
            assert!(point.iter().all(|u| *u > 0.0 && *u < 1.0));
            mean.iter_mut().zip(point).for_each(|(m, u)| *m += u / 4096.0);
        }
        // One point in each of 4096 strata: the mean is within half a stratum of 1/2 by far.
        assert!(mean.iter().all(|m| (m - 0.5).abs() < 1.2e-4));
    }
}
