//! Natural logarithm of several numbers side by side, from a table that the compiler works out.

use std::array;
use std::f64::consts::{LN_2, SQRT_2};

/// Bits of a mantissa.
const MANTISSA: u32 = 52;

/// Natural logarithms of normal numbers above 0, to 5e-16 of themselves or of 1.
///
/// `u = m 2^e`, m from 1/sqrt(2) to sqrt(2); with c the middle of the piece that m is in, `ln m = ln c + ln(1 + (m - c)/c)`.
#[inline(always)]
pub fn ln<const N: usize>(u: [f64; N]) -> [f64; N] {
    let (mut r, mut whole) = ([0.0; N], [0.0; N]);
    for k in 0..N {
        let shifted = u[k].to_bits().wrapping_sub(LOWEST);
        let exponent = (shifted as i64 >> MANTISSA) as i32;
        let m = f64::from_bits((shifted & ((1 << MANTISSA) - 1)).wrapping_add(LOWEST));
        let [reciprocal, middle, logarithm] = LOGARITHMS[(shifted >> (MANTISSA - LN_BITS)) as usize % (1 << LN_BITS)];
        r[k] = (m - middle) * reciprocal;
        whole[k] = f64::from(exponent) * LN_2 + logarithm;
    }
    array::from_fn(|k| {
        let (r, r2) = (r[k], r[k] * r[k]);
        let series = r2 * (-0.5 + r * (1.0 / 3.0)) + r2 * r2 * (-0.25 + r * 0.2 - r2 * (1.0 / 6.0));
        whole[k] + (r + series)
    })
}

/// Bits of 1/sqrt(2), where the range of mantissas begins.
const LOWEST: u64 = (0.5 * SQRT_2).to_bits();

/// Pieces of the range of mantissas: 2^7.
const LN_BITS: u32 = 7;

/// 1/c, c, ln c of each piece.
static LOGARITHMS: [[f64; 3]; 1 << LN_BITS] = {
    let mut table = [[0.0; 3]; 1 << LN_BITS];
    let mut k = 0;
    while k < table.len() {
        let middle = f64::from_bits(LOWEST + ((2 * k as u64 + 1) << (MANTISSA - LN_BITS - 1)));
        table[k] = [1.0 / middle, middle, slow_ln(middle)];
        k += 1;
    }
    table
};

/// Natural logarithm by its series, for the compiler.
pub(crate) const fn slow_ln(u: f64) -> f64 {
    let (mut m, mut exponent) = (u, 0.0);
    while m > SQRT_2 {
        m *= 0.5;
        exponent += 1.0;
    }
    while m < 0.5 * SQRT_2 {
        m *= 2.0;
        exponent -= 1.0;
    }
    let s = (m - 1.0) / (m + 1.0);
    let s2 = s * s;
    // 2 atanh(s), |s| < 0.172: the terms left out are below 1e-19.
    let (mut sum, mut k) = (0.0, 23);
    while k >= 1 {
        sum = sum * s2 + 1.0 / k as f64;
        k -= 2;
    }
    exponent * LN_2 + 2.0 * s * sum
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Beside the logarithm of the platform.
    #[test]
    fn the_logarithm_is_exact_to_rounding() {
        for k in -70_000..70_000 {
            let u = 1.01_f64.powi(k) * 1.0001;
            if u.is_normal() {
                let [ln] = ln([u]);
                assert!((ln - u.ln()).abs() <= 5e-16 * u.ln().abs().max(1.0), "{u}: {ln} and {}", u.ln());
            }
        }
    }
}
