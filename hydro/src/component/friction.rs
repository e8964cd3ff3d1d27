//! Friction in a full circular pipe.
//!
//! The laws are written on `phi(Re) = f Re^2`, which is what the pressure loss is proportional to at given water and
//! bore, and which is smooth and strictly rising through zero flow:
//!
//! ```text
//! laminar     Re <= 2000   phi = 64 Re
//! bridge  2000 < Re < 4000 cubic Hermite polynomial of phi in Re, value and slope matched at both ends
//! turbulent   Re >= 4000   phi = f Re^2,  1/sqrt(f) = -2 log10( (eps/D)/3.7 + 2.51/(Re sqrt(f)) )
//! ```

mod wright;

use crate::fluid::logarithm::ln;
use std::array;
use std::f64::consts::LN_10;

/// Reynolds number up to which the flow is taken as laminar.
pub const LAMINAR_UP_TO: f64 = 2000.0;
/// Reynolds number from which the flow is taken as turbulent.
pub const TURBULENT_FROM: f64 = 4000.0;

/// Darcy friction factor by Colebrook-White, and its slope in Re.
///
/// ```text
/// 1/sqrt(f) = -2 log10( (eps/D)/3.7 + 2.51/(Re sqrt(f)) )
/// ```
///
/// # Arguments
/// `reynolds`: Reynolds number, above 0. `relative_roughness`: eps/D, 0 (smooth) to 0.5.
///
/// # Range
/// Fitted for 4000 < Re < 1e8 and eps/D < 0.05; continued outside.
///
/// # Source
/// C. F. Colebrook, J. Inst. Civ. Eng. 11 (1939) 133; constants 3.7 and 2.51.
///
/// # Example
/// Value of `fluids.friction.Colebrook(Re=1e5, eD=1e-4)`:
/// ```
/// let (f, _) = hydro::component::friction::colebrook(1e5, 1e-4);
/// assert!((f / 0.018513866077471648 - 1.0).abs() < 1e-12);
/// ```
pub fn colebrook(reynolds: f64, relative_roughness: f64) -> (f64, f64) {
    let ([x], [y]) = root([reynolds], [relative_roughness]);
    let f = 1.0 / (x * x);
    (f, -2.0 * f * C / (reynolds * (y + C)))
}

/// 2/ln 10: the law is `x = -C ln(a + b x)` in `x = 1/sqrt(f)`, `a = (eps/D)/3.7`, `b = 2.51/Re`.
const C: f64 = 2.0 / LN_10;

/// The root x of the law of Colebrook and White in closed form, but for one function of one variable; with it y.
///
/// ```text
/// x = C ln(1/b) + v(z),  z = a/b + C ln(1/b),    y = a/b + x,    y + C ln y = z,  v = y - z = -C ln y
/// ```
///
/// y is Wright's omega function of z but for a scale, and so is v; [`wright::excess`] has it. Where `a/b` is large, v and the
/// logarithm are not: x keeps its digits.
#[inline(always)]
fn root<const N: usize>(reynolds: [f64; N], relative_roughness: [f64; N]) -> ([f64; N], [f64; N]) {
    let reach = reynolds.map(|re| re * (1.0 / 2.51));
    let smooth = ln(reach).map(|ln| C * ln);
    let rough: [f64; N] = array::from_fn(|k| relative_roughness[k] * (1.0 / 3.7) * reach[k]);
    let excess: [f64; N] = wright::excess(array::from_fn(|k| rough[k] + smooth[k]));
    let x: [f64; N] = array::from_fn(|k| smooth[k] + excess[k]);
    (x, array::from_fn(|k| rough[k] + x[k]))
}

/// `f Re^2` at any Reynolds number of either sign, and its slope in Re: odd, C1, strictly rising.
///
/// # Arguments
/// `reynolds`: signed Reynolds number. `turbulent_end`: value and slope at Re = 4000 from [`turbulent_end`].
#[inline]
pub fn resistance(reynolds: f64, relative_roughness: f64, turbulent_end: (f64, f64)) -> (f64, f64) {
    let re = reynolds.abs();
    let (phi, slope) = if re <= LAMINAR_UP_TO {
        laminar(re)
    } else if re < TURBULENT_FROM {
        bridge(re, turbulent_end)
    } else {
        turbulent([re], [relative_roughness])[0]
    };
    (phi.copysign(reynolds), slope)
}

/// `f Re^2` and its slope in Re in laminar flow, at a Reynolds number up to [`LAMINAR_UP_TO`].
#[inline]
pub fn laminar(reynolds: f64) -> (f64, f64) {
    (64.0 * reynolds, 64.0)
}

/// Value and slope of `f Re^2` where the bridge meets the turbulent law.
pub fn turbulent_end(relative_roughness: f64) -> (f64, f64) {
    turbulent([TURBULENT_FROM], [relative_roughness])[0]
}

/// Values of `f Re^2` and its slopes in Re by Colebrook-White, at several Reynolds numbers from [`TURBULENT_FROM`] on:
/// one alone waits for every step of it, several side by side keep the processor busy. Each result is that of one alone.
///
/// `(Re/x)^2` and `2 Re/x^2 y/(y + C)` in the terms of the private `root`.
#[inline(always)]
pub fn turbulent<const N: usize>(reynolds: [f64; N], relative_roughness: [f64; N]) -> [(f64, f64); N] {
    let (x, y) = root(reynolds, relative_roughness);
    array::from_fn(|k| {
        let by = 1.0 / (x[k] * (y[k] + C));
        let root = reynolds[k] * (y[k] + C) * by;
        (root * root, 2.0 * root * y[k] * by)
    })
}

/// Cubic Hermite polynomial between the laminar and the turbulent law. Rising, since the slopes at both ends are
/// below three times the secant's (Fritsch and Carlson 1980) for any roughness.
fn bridge(re: f64, (end, end_slope): (f64, f64)) -> (f64, f64) {
    let width = TURBULENT_FROM - LAMINAR_UP_TO;
    let t = (re - LAMINAR_UP_TO) / width;
    let (p0, m0) = (64.0 * LAMINAR_UP_TO, 64.0 * width);
    let (p1, m1) = (end, end_slope * width);
    let (t2, t3) = (t * t, t * t * t);
    let value =
        (2.0 * t3 - 3.0 * t2 + 1.0) * p0 + (t3 - 2.0 * t2 + t) * m0 + (3.0 * t2 - 2.0 * t3) * p1 + (t3 - t2) * m1;
    let slope = (6.0 * t2 - 6.0 * t) * p0
        + (3.0 * t2 - 4.0 * t + 1.0) * m0
        + (6.0 * t - 6.0 * t2) * p1
        + (3.0 * t2 - 2.0 * t) * m1;
    (value, slope / width)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The equation itself holds, to rounding, over the whole range and far outside.
    #[test]
    fn colebrook_solves_its_equation() {
        for eps in [0.0, 1e-9, 1e-6, 1e-4, 1e-3, 0.02, 0.05, 0.5] {
            for k in 0..=200 {
                let re = 10.0_f64.powf(2.0 + 0.05 * f64::from(k));
                let x = colebrook(re, eps).0.sqrt().recip();
                let right = -2.0 * (eps / 3.7 + 2.51 * x / re).log10();
                assert!((x - right).abs() <= 1e-13 * x.max(1.0), "Re {re} eps/D {eps}: {x} and {right}");
            }
        }
    }

    /// Both joints are C1 and the whole law rises, smooth to very rough.
    #[test]
    fn joints_are_smooth_and_the_law_rises() {
        for eps in [0.0, 1e-5, 1e-3, 0.02, 0.05, 0.2] {
            let end = turbulent_end(eps);
            for joint in [LAMINAR_UP_TO, TURBULENT_FROM] {
                let (below, slope_below) = resistance(joint * (1.0 - 1e-9), eps, end);
                let (above, slope_above) = resistance(joint * (1.0 + 1e-9), eps, end);
                assert!((above / below - 1.0).abs() < 1e-8, "{eps} {joint}");
                assert!((slope_above / slope_below - 1.0).abs() < 1e-6, "{eps} {joint}");
            }
            let mut last = -1.0;
            for k in 0..4000 {
                let (phi, slope) = resistance(1.5 * k as f64, eps, end);
                assert!(phi > last && slope > 0.0, "{eps} at Re {}", 1.5 * k as f64);
                last = phi;
            }
        }
    }
}
