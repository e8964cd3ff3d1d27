//! The function that friction at high Reynolds number is made of beside the logarithm, from a table that the compiler works out.
//!
//! It is a short power series about the middle of a narrow piece of its range, to rounding. The piece is read off the
//! bits of the argument, so nothing is searched and nothing iterated: half a million ducts are asked for in every round of
//! a plate of cells.

use super::C;
use crate::fluid::logarithm::slow_ln;
use std::array;

/// Bits of a mantissa.
const MANTISSA: u32 = 52;

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
