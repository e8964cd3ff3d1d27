//! Four numbers side by side, as many processors take them: one operation on all of them, none fused with another, so that
//! the results are the same on any.

use pulp::f64x4;

/// How four numbers are taken together.
pub(super) trait Four: Copy {
    fn add(self, a: f64x4, b: f64x4) -> f64x4;
    fn sub(self, a: f64x4, b: f64x4) -> f64x4;
    fn mul(self, a: f64x4, b: f64x4) -> f64x4;
    fn max(self, a: f64x4, b: f64x4) -> f64x4;
    /// Sums of each.
    fn sums(self, a: f64x4, b: f64x4, c: f64x4, d: f64x4) -> f64x4;
    /// 2 to the power that stands in the last bits.
    fn power_of_two(self, bits: f64x4) -> f64x4;
}

/// One after the other.
#[derive(Debug, Clone, Copy)]
pub(super) struct OneByOne;

impl OneByOne {
    #[inline(always)]
    fn each(a: f64x4, b: f64x4, by: impl Fn(f64, f64) -> f64) -> f64x4 {
        f64x4(by(a.0, b.0), by(a.1, b.1), by(a.2, b.2), by(a.3, b.3))
    }
}

impl Four for OneByOne {
    #[inline(always)]
    fn add(self, a: f64x4, b: f64x4) -> f64x4 {
        Self::each(a, b, |a, b| a + b)
    }

    #[inline(always)]
    fn sub(self, a: f64x4, b: f64x4) -> f64x4 {
        Self::each(a, b, |a, b| a - b)
    }

    #[inline(always)]
    fn mul(self, a: f64x4, b: f64x4) -> f64x4 {
        Self::each(a, b, |a, b| a * b)
    }

    #[inline(always)]
    fn max(self, a: f64x4, b: f64x4) -> f64x4 {
        Self::each(a, b, |a, b| if a > b { a } else { b })
    }

    #[inline(always)]
    fn sums(self, a: f64x4, b: f64x4, c: f64x4, d: f64x4) -> f64x4 {
        let sum = |x: f64x4| (x.0 + x.1) + (x.2 + x.3);
        f64x4(sum(a), sum(b), sum(c), sum(d))
    }

    #[inline(always)]
    fn power_of_two(self, bits: f64x4) -> f64x4 {
        Self::each(bits, bits, |bits, _| f64::from_bits(bits.to_bits().wrapping_add(1023) << 52))
    }
}

#[cfg(target_arch = "x86_64")]
impl Four for pulp::x86::V3 {
    #[inline(always)]
    fn add(self, a: f64x4, b: f64x4) -> f64x4 {
        pulp::Simd::add_f64s(self, a, b)
    }

    #[inline(always)]
    fn sub(self, a: f64x4, b: f64x4) -> f64x4 {
        pulp::Simd::sub_f64s(self, a, b)
    }

    #[inline(always)]
    fn mul(self, a: f64x4, b: f64x4) -> f64x4 {
        pulp::Simd::mul_f64s(self, a, b)
    }

    #[inline(always)]
    fn max(self, a: f64x4, b: f64x4) -> f64x4 {
        pulp::Simd::max_f64s(self, a, b)
    }

    #[inline(always)]
    fn sums(self, a: f64x4, b: f64x4, c: f64x4, d: f64x4) -> f64x4 {
        let (ab, cd) = (
            self.avx._mm256_hadd_pd(pulp::cast(a), pulp::cast(b)),
            self.avx._mm256_hadd_pd(pulp::cast(c), pulp::cast(d)),
        );
        let low = self.avx._mm256_permute2f128_pd::<0x20>(ab, cd);
        let high = self.avx._mm256_permute2f128_pd::<0x31>(ab, cd);
        pulp::cast(self.avx._mm256_add_pd(low, high))
    }

    #[inline(always)]
    fn power_of_two(self, bits: f64x4) -> f64x4 {
        let bits = pulp::Simd::add_u64s(self, pulp::cast(bits), pulp::Simd::splat_u64s(self, 1023));
        pulp::cast(self.shl_const_u64x4::<52>(bits))
    }
}

/// Four numbers.
#[derive(Clone, Copy)]
pub(super) struct Lanes<S> {
    by: S,
    numbers: f64x4,
}

impl<S: Four> Lanes<S> {
    #[inline(always)]
    pub fn new(by: S, [a, b, c, d]: [f64; 4]) -> Self {
        Lanes { by, numbers: f64x4(a, b, c, d) }
    }

    #[inline(always)]
    pub fn all(by: S, number: f64) -> Self {
        Self::new(by, [number; 4])
    }

    #[inline(always)]
    pub fn get(self) -> [f64; 4] {
        let f64x4(a, b, c, d) = self.numbers;
        [a, b, c, d]
    }

    /// Sum of each of four.
    #[inline(always)]
    pub fn sums([a, b, c, d]: [Self; 4]) -> [f64; 4] {
        Lanes { numbers: a.by.sums(a.numbers, b.numbers, c.numbers, d.numbers), ..a }.get()
    }

    /// `exp(-x)` of numbers that are 0 or more, to 3e-16 of themselves; of those above 700 that of 700.
    #[inline(always)]
    pub fn exp_of_minus(self) -> Self {
        let all = |number| Self::all(self.by, number);
        // Below this the exponential is no part of any sum here.
        let x = Lanes { numbers: self.by.max((all(-0.0) - self).numbers, all(-700.0).numbers), ..self };
        let shifted = x * all(std::f64::consts::LOG2_E) + all(ROUNDING);
        let whole = shifted - all(ROUNDING);
        let rest = x - whole * all(LN_2[0]) - whole * all(LN_2[1]);
        let [mut value, ..] = [all(EXPONENTIAL[11])];
        for k in (0..11).rev() {
            value = value * rest + all(EXPONENTIAL[k]);
        }
        value * Lanes { numbers: self.by.power_of_two(shifted.numbers), ..self }
    }
}

impl<S: Four> std::ops::Add for Lanes<S> {
    type Output = Self;
    #[inline(always)]
    fn add(self, other: Self) -> Self {
        Lanes { numbers: self.by.add(self.numbers, other.numbers), ..self }
    }
}

impl<S: Four> std::ops::Sub for Lanes<S> {
    type Output = Self;
    #[inline(always)]
    fn sub(self, other: Self) -> Self {
        Lanes { numbers: self.by.sub(self.numbers, other.numbers), ..self }
    }
}

impl<S: Four> std::ops::Mul for Lanes<S> {
    type Output = Self;
    #[inline(always)]
    fn mul(self, other: Self) -> Self {
        Lanes { numbers: self.by.mul(self.numbers, other.numbers), ..self }
    }
}

/// ln 2 in a part with 32 zeros behind, of which whole numbers of times are exact, and the rest.
const LN_2: [f64; 2] = [f64::from_bits(std::f64::consts::LN_2.to_bits() & !0xffff_ffff), 4.749_325_039_031_672_6e-7];

/// Adding it to a number of size up to 2^51 rounds to a whole one, which then stands in the last bits.
const ROUNDING: f64 = 6_755_399_441_055_744.0;

/// Polynomial of exp on +-ln 2/2 with the least greatest relative error, 3e-18.
const EXPONENTIAL: [f64; 12] = [
    1.0,
    1.0,
    0.500_000_000_000_001_8,
    0.166_666_666_666_661_7,
    0.041_666_666_666_492_77,
    0.008_333_333_333_559_27,
    0.001_388_888_895_122_398_7,
    0.000_198_412_693_247_926_79,
    2.480_148_652_142_746_3e-5,
    2.755_762_253_087_225_5e-6,
    2.763_229_327_945_987_7e-7,
    2.499_430_488_481_720_8e-8,
];
