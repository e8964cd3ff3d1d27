//! The two functions that friction at high Reynolds number is made of, from tables that the compiler works out.
//!
//! Each is a short power series about the middle of a narrow piece of its range, to rounding. The piece is read off the
//! bits of the argument, so nothing is searched and nothing iterated: half a million ducts are asked for in every round of
//! a plate of cells.

use super::C;
use std::array;
use std::f64::consts::{LN_2, SQRT_2};

/// Bits of a mantissa.
const MANTISSA: u32 = 52;

/// Natural logarithms of normal numbers above 0, to 5e-16 of themselves or of 1.
///
/// `u = m 2^e`, m from 1/sqrt(2) to sqrt(2); with c the middle of the piece that m is in, `ln m = ln c + ln(1 + (m - c)/c)`.
#[inline(always)]
pub(super) fn ln<const N: usize>(u: [f64; N]) -> [f64; N] {
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
const fn slow_ln(u: f64) -> f64 {
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

/// `v(z) = y - z`, where `y + C ln y = z`: minus `C ln y`.
///
/// Terms left out are below 1e-16 of the value in the range of the table; outside it is iterated.
#[inline(always)]
pub(super) fn excess<const N: usize>(z: [f64; N]) -> [f64; N] {
    let (mut t, mut terms, mut within) = ([0.0; N], [&EXCESS[0]; N], true);
    for k in 0..N {
        let bits = z[k].to_bits();
        let piece = bits.wrapping_sub(FIRST.to_bits()) >> (MANTISSA - BITS);
        let middle = (bits >> (MANTISSA - BITS) << (MANTISSA - BITS)) | 1 << (MANTISSA - BITS - 1);
        t[k] = z[k] - f64::from_bits(middle);
        // Below the range, and for what is no number, the difference of the bits is large.
        match EXCESS.get(piece as usize) {
            Some(found) => terms[k] = found,
            None => within = false,
        }
    }
    let v = array::from_fn(|k| {
        let [a, b, c, d, e, f, g, h] = *terms[k];
        let (t, t2) = (t[k], t[k] * t[k]);
        let (low, high) = ((a + b * t) + t2 * (c + d * t), (e + f * t) + t2 * (g + h * t));
        low + t2 * t2 * high
    });
    if within { v } else { array::from_fn(|k| if (FIRST..LAST).contains(&z[k]) { v[k] } else { iterated(z[k]) }) }
}

/// The range of the table, in powers of 2, and the pieces that each doubling is cut into: 2^5.
const FIRST: f64 = 2.0;
const LAST: f64 = (1u64 << (1 + DOUBLINGS)) as f64;
const DOUBLINGS: usize = 23;
const BITS: u32 = 5;
const PIECES: usize = DOUBLINGS << BITS;

/// Power series of v about the middle of each piece.
static EXCESS: [[f64; 8]; PIECES] = {
    let mut table = [[0.0; 8]; PIECES];
    let mut k = 0;
    while k < PIECES {
        let z = f64::from_bits(FIRST.to_bits() + ((2 * k as u64 + 1) << (MANTISSA - BITS - 1)));
        table[k] = series(z);
        k += 1;
    }
    table
};

/// Power series of v about z. From `(y + C) v' = -C` with `y = z + v`, term by term, without differences of what is alike:
/// `(y0 + C) (n + 1) v[n+1] = -n v[n] - sum over i from 1 to n of v[i] (n + 1 - i) v[n+1-i]`.
const fn series(z: f64) -> [f64; 8] {
    let mut v = -C * slow_ln(z);
    let mut round = 0;
    while round < 5 {
        // Newton's step for v + C ln(z + v) = 0.
        let y = z + v;
        v -= (v + C * slow_ln(y)) * y / (y + C);
        round += 1;
    }
    let divisor = z + v + C;
    let mut terms = [v, -C / divisor, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0];
    let mut n = 1;
    while n < 7 {
        let (mut sum, mut i) = (n as f64 * terms[n], 1);
        while i <= n {
            sum += terms[i] * (n + 1 - i) as f64 * terms[n + 1 - i];
            i += 1;
        }
        terms[n + 1] = -sum / (divisor * (n + 1) as f64);
        n += 1;
    }
    terms
}

/// v where the table does not reach: at Reynolds numbers below some 25, and far beyond what is fully rough.
#[cold]
fn iterated(z: f64) -> f64 {
    // y + C ln y rises and bends down: from below its root Newton's method stays below and rises.
    let mut y = if z > 1.0 { z - C * z.ln() } else { (z / C).exp().min(1.0) }.max(f64::MIN_POSITIVE);
    for _ in 0..60 {
        let by = (z - y - C * y.ln()) * y / (y + C);
        y += by;
        if by.abs() <= 1e-15 * y {
            break;
        }
    }
    -C * y.ln()
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

    /// v solves its equation, on both sides of the ends of the table too, as far as rounding of `z + v` lets it be seen.
    #[test]
    fn the_excess_solves_its_equation() {
        for k in 0..40_000 {
            let z = -8.0 + 1e-3 * f64::from(k) + 1.0008_f64.powi(k);
            let [v] = excess([z]);
            let y = z + v;
            let rest = v + C * y.ln();
            assert!(rest.abs() <= 2e-15 * v.abs().max(1.0) * (1.0 + 1.0 / y), "{z}: {v} leaves {rest}");
        }
    }
}
