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
    let c = 2.0 / LN_10;
    let a = relative_roughness / 3.7;
    let b = 2.51 / reynolds;
    // x = 1/sqrt(f) is the root of x + c ln(a + b x), a concave rising function: Newton from a point near it.
    let mut x = -c * (a + 6.97 * b * 0.9).max(1e-300).ln();
    for _ in 0..8 {
        let inside = a + b * x.max(1e-3);
        let step = (x + c * inside.ln()) / (1.0 + c * b / inside);
        x -= step;
        if step.abs() <= 1e-9 * x.abs() {
            break; // the next error is the square of this one
        }
    }
    let inside = a + b * x;
    let dx = c * b * x / (reynolds * inside) / (1.0 + c * b / inside);
    let f = 1.0 / (x * x);
    (f, -2.0 * f / x * dx)
}

/// `f Re^2` at any Reynolds number of either sign, and its slope in Re: odd, C1, strictly rising.
///
/// # Arguments
/// `reynolds`: signed Reynolds number. `turbulent_end`: value and slope at Re = 4000 from [`turbulent_end`].
pub fn resistance(reynolds: f64, relative_roughness: f64, turbulent_end: (f64, f64)) -> (f64, f64) {
    let re = reynolds.abs();
    let (phi, slope) = if re <= LAMINAR_UP_TO {
        (64.0 * re, 64.0)
    } else if re < TURBULENT_FROM {
        bridge(re, turbulent_end)
    } else {
        let (f, df) = colebrook(re, relative_roughness);
        (f * re * re, df * re * re + 2.0 * f * re)
    };
    (phi.copysign(reynolds), slope)
}

/// Value and slope of `f Re^2` where the bridge meets the turbulent law.
pub fn turbulent_end(relative_roughness: f64) -> (f64, f64) {
    let re = TURBULENT_FROM;
    let (f, df) = colebrook(re, relative_roughness);
    (f * re * re, df * re * re + 2.0 * f * re)
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
