//! Numbers side by side, as many as the processor takes: one operation on all of them, none fused with another, so that the
//! results are the same on any.

use pulp::Simd;

/// Numbers that are always whole sets of lanes, of any processor.
pub(super) const WIDEST: usize = 8;

/// A number of entries, rounded up to whole sets of lanes.
pub(super) fn whole(entries: usize) -> usize {
    entries.next_multiple_of(WIDEST)
}

/// A few numbers.
pub(super) struct Lanes<S: Simd> {
    by: S,
    numbers: S::f64s,
}

/// Which of a few numbers something holds for.
pub(super) struct Mask<S: Simd> {
    by: S,
    bits: S::m64s,
}

impl<S: Simd> Clone for Lanes<S> {
    #[inline(always)]
    fn clone(&self) -> Self {
        *self
    }
}

impl<S: Simd> Copy for Lanes<S> {}

impl<S: Simd> Clone for Mask<S> {
    #[inline(always)]
    fn clone(&self) -> Self {
        *self
    }
}

impl<S: Simd> Copy for Mask<S> {}

impl<S: Simd> Lanes<S> {
    #[inline(always)]
    pub fn all(by: S, number: f64) -> Self {
        Lanes { by, numbers: by.splat_f64s(number) }
    }

    /// What they are taken by.
    #[inline(always)]
    pub fn by(self) -> S {
        self.by
    }

    #[inline(always)]
    pub fn abs(self) -> Self {
        Lanes { numbers: self.by.abs_f64s(self.numbers), ..self }
    }

    /// The lesser of each two; the other where this is no number.
    #[inline(always)]
    pub fn min(self, other: Self) -> Self {
        Lanes { numbers: self.by.min_f64s(self.numbers, other.numbers), ..self }
    }

    /// The greater of each two; the other where this is no number.
    #[inline(always)]
    pub fn max(self, other: Self) -> Self {
        Lanes { numbers: self.by.max_f64s(self.numbers, other.numbers), ..self }
    }

    /// The greatest.
    #[inline(always)]
    pub fn most(self) -> f64 {
        self.by.reduce_max_f64s(self.numbers)
    }

    #[inline(always)]
    pub fn is_less(self, other: Self) -> Mask<S> {
        Mask { by: self.by, bits: self.by.less_than_f64s(self.numbers, other.numbers) }
    }

    #[inline(always)]
    pub fn is_at_most(self, other: Self) -> Mask<S> {
        Mask { by: self.by, bits: self.by.less_than_or_equal_f64s(self.numbers, other.numbers) }
    }

    #[inline(always)]
    pub fn is(self, other: Self) -> Mask<S> {
        Mask { by: self.by, bits: self.by.equal_f64s(self.numbers, other.numbers) }
    }
}

impl<S: Simd> Mask<S> {
    #[inline(always)]
    pub fn and(self, other: Self) -> Self {
        Mask { bits: self.by.and_m64s(self.bits, other.bits), ..self }
    }

    #[inline(always)]
    pub fn or(self, other: Self) -> Self {
        Mask { bits: self.by.or_m64s(self.bits, other.bits), ..self }
    }

    #[inline(always)]
    pub fn differs(self, other: Self) -> Self {
        Mask { bits: self.by.xor_m64s(self.bits, other.bits), ..self }
    }

    #[inline(always)]
    pub fn not(self) -> Self {
        Mask { bits: self.by.not_m64s(self.bits), ..self }
    }

    /// One number where it holds, another where not.
    #[inline(always)]
    pub fn choose(self, yes: Lanes<S>, no: Lanes<S>) -> Lanes<S> {
        Lanes { numbers: self.by.select_f64s(self.bits, yes.numbers, no.numbers), ..yes }
    }
}

/// An operation on each two.
macro_rules! operate {
    ($($name:ident $function:ident $by:ident),*) => {$(
        impl<S: Simd> std::ops::$name for Lanes<S> {
            type Output = Self;
            #[inline(always)]
            fn $function(self, other: Self) -> Self {
                Lanes { numbers: self.by.$by(self.numbers, other.numbers), ..self }
            }
        }
    )*};
}

operate!(Add add add_f64s, Sub sub sub_f64s, Mul mul mul_f64s, Div div div_f64s);

/// A list of numbers, a few at a time.
pub(super) struct List<'l, S: Simd> {
    by: S,
    numbers: &'l [S::f64s],
}

impl<'l, S: Simd> List<'l, S> {
    /// The first so many numbers of a list.
    #[inline(always)]
    pub fn new(by: S, numbers: &'l [f64], count: usize) -> Self {
        List { by, numbers: S::as_simd_f64s(&numbers[..count]).0 }
    }

    #[inline(always)]
    pub fn at(&self, set: usize) -> Lanes<S> {
        Lanes { by: self.by, numbers: self.numbers[set] }
    }
}

/// A list of numbers to be written, a few at a time.
pub(super) struct Out<'l, S: Simd> {
    by: S,
    numbers: &'l mut [S::f64s],
}

impl<'l, S: Simd> Out<'l, S> {
    /// The first so many numbers of a list.
    #[inline(always)]
    pub fn new(by: S, numbers: &'l mut [f64], count: usize) -> Self {
        Out { by, numbers: S::as_mut_simd_f64s(&mut numbers[..count]).0 }
    }

    #[inline(always)]
    pub fn at(&self, set: usize) -> Lanes<S> {
        Lanes { by: self.by, numbers: self.numbers[set] }
    }

    #[inline(always)]
    pub fn put(&mut self, set: usize, lanes: Lanes<S>) {
        self.numbers[set] = lanes.numbers;
    }
}

/// Sets of lanes in so many numbers.
#[inline(always)]
pub(super) fn sets<S: Simd>(count: usize) -> usize {
    count / S::F64_LANES
}

/// Notes of up to 64 sets of lanes which of their numbers something holds for.
pub(super) struct Notes<S: Simd> {
    by: S,
    bits: S::u64s,
    next: S::u64s,
}

impl<S: Simd> Notes<S> {
    #[inline(always)]
    pub fn new(by: S) -> Self {
        Notes { by, bits: by.splat_u64s(0), next: by.splat_u64s(1) }
    }

    /// Takes in the next set.
    #[inline(always)]
    pub fn note(&mut self, mask: Mask<S>) {
        let by = self.by;
        self.bits = by.or_u64s(self.bits, by.select_u64s(mask.bits, self.next, by.splat_u64s(0)));
        self.next = by.add_u64s(self.next, self.next);
    }

    /// Calls for each number that something holds for.
    #[inline(always)]
    pub fn each(self, mut call: impl FnMut(usize)) {
        let mut lanes = [0; WIDEST];
        if let [bits, ..] = S::as_mut_simd_u64s(&mut lanes).0 {
            *bits = self.bits;
        }
        for (lane, mut bits) in lanes.into_iter().enumerate().take(S::F64_LANES) {
            while bits != 0 {
                call(bits.trailing_zeros() as usize * S::F64_LANES + lane);
                bits &= bits - 1;
            }
        }
    }
}
