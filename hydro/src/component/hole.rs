//! Hole through a plate: discharge coefficient from its shape, friction at low Reynolds number, cavitation.

use super::law::{Loss, Quadratic};
use crate::fluid::site::Site;

/// Contraction of the jet behind a sharp edge: the share of the hole's area that it fills.
///
/// # Source
/// Nurick, J. Fluids Eng. 98 (1976) 681, after Kirchhoff's free jet, pi/(pi + 2) = 0.611; 0.62 from memory.
pub const CONTRACTION: f64 = 0.62;

/// Half the width over which the two regimes of [`HoleLaw`] are joined, as a share of `p_outside - p_vapour`.
pub const CAVITATION_SMOOTHING: f64 = 0.02;

/// Deepest hole, in diameters, that the laws of the coefficient are published for.
pub const DEEPEST: f64 = 10.0;

/// Discharge coefficient of a hole with a square edge in a thick plate, without friction inside.
///
/// ```text
/// c    = [1 - 0.5 (r/1.4)^2.5 - 0.5 (r/1.4)^3]^4.5         r = thickness/diameter, at most 1.4
/// zeta = 0.183 + 2.6309 c + 1.387 (1 - c)                  loss on the hole's velocity, jet energy included
/// Cd   = 1/sqrt(zeta)
/// ```
///
/// # Range
/// A hole that is small beside the plate, at high Reynolds number, without cavitation.
///
/// # Source
/// Rennels and Hudson, Pipe Flow (2012), thick-edged orifice with d/D -> 0; constants seen on a public page, not in
/// the book itself.
pub fn thick_plate_coefficient(thickness_to_diameter: f64) -> f64 {
    let r = (thickness_to_diameter / 1.4).clamp(0.0, 1.0);
    let c = (1.0 - 0.5 * r.powf(2.5) - 0.5 * r.powi(3)).max(0.0).powf(4.5);
    let zeta = 0.183 + c * 1.622 * 1.622 + (1.0 - c) * 1.387;
    1.0 / zeta.sqrt()
}

/// Discharge coefficient of a hole at high Reynolds number, friction of a deep hole included.
///
/// ```text
/// Cd = thick_plate_coefficient(r) - 0.0085 (r - 2)         r = thickness/diameter; the second term from 2 to 10
/// ```
///
/// # Range
/// 0 to 10 diameters; beyond, the value at 10.
///
/// # Source
/// The fall with depth: Lichtarowicz, Duggins and Markland, J. Mech. Eng. Sci. 7 (1965) 210, `0.827 - 0.0085 r` (from
/// memory), which lies 0.012 above this.
pub fn turbulent_coefficient(thickness_to_diameter: f64) -> f64 {
    thick_plate_coefficient(thickness_to_diameter) - 0.0085 * (thickness_to_diameter.clamp(2.0, DEEPEST) - 2.0)
}

/// Loss that falls with the Reynolds number of the hole, as `C` in `1/Cd^2 = 1/Cdu^2 + C/Re`.
///
/// ```text
/// C = 40 (1 + 2.25 r)                r = thickness/diameter, at most 10;  Re = rho V d/mu, V in the hole
/// ```
///
/// # Range
/// To first order in 1/Re the law of the source, `1/Cd = 1/Cdu + 20 (1 + 2.25 r)/Re_i` with Re_i on the velocity
/// without losses: equal within 1 % above Re 1000, too much loss below (up to 2 times), which is the safe side. The
/// source's last term, up to 3 % more flow about Re 7000, is left out. Below 2 diameters it is extrapolated.
///
/// # Source
/// Lichtarowicz, Duggins and Markland, J. Mech. Eng. Sci. 7 (1965) 210: r from 2 to 10, Re from 10 to 20 000; from
/// memory.
pub fn reynolds_loss(thickness_to_diameter: f64) -> f64 {
    40.0 * (1.0 + 2.25 * thickness_to_diameter.clamp(0.0, DEEPEST))
}

/// Loss of a stream past the holes on their way in, in velocity heads of that stream.
pub const CROSSING: f64 = 1.67;

/// Most that a stream may take, as a share of the drop over the holes: beyond, no published law holds.
pub const MOST_CROSSING: f64 = 0.5;

/// What a stream in the gap takes from the total pressure that drives the holes, Pa.
///
/// ```text
/// 1.67 rho u^2/2              u in the gap; at most half of the drop
/// ```
///
/// So `1/Cd^2` rises by 1.67 times the velocity head of the gap over that of the hole.
///
/// # Range
/// A stream along the plate that is slow beside the holes' own: to some 0.2 of the drop. Trusted to a factor of 1.5.
///
/// # Source
/// Hudson, Uhler and Bailey, J. Environ. Eng. Div. ASCE 105 (1979) 745: entry loss of short laterals,
/// `(1.67 (u/V)^2 + 0.7) V^2/2` (the form seen in an abstract, the coefficient from memory).
pub fn crossing_loss(velocity_head: f64, drop: f64) -> f64 {
    (CROSSING * velocity_head).min(MOST_CROSSING * drop)
}

/// Pressure drop, Pa, at which the jet's narrowest place inside a hole reaches the vapour pressure.
///
/// ```text
/// Cd sqrt(dp) = Cc sqrt(dp + p_outside - p_vapour)    ->    dp = (p_outside - p_vapour) Cc^2/(Cd^2 - Cc^2)
/// ```
///
/// `None` for a coefficient not above [`CONTRACTION`]: its jet does not lie against the wall.
///
/// # Source
/// Nurick, J. Fluids Eng. 98 (1976) 681 (from memory): one-dimensional flow, vapour pressure in the contraction.
pub fn cavitation_drop(coefficient: f64, outside: f64, vapour_pressure: f64) -> Option<f64> {
    let (cd, cc) = (coefficient * coefficient, CONTRACTION * CONTRACTION);
    (cd > cc).then(|| spare(outside, vapour_pressure) * cc / (cd - cc))
}

/// Pressure outside over the vapour pressure, Pa, at least 1 Pa.
fn spare(outside: f64, vapour_pressure: f64) -> f64 {
    (outside - vapour_pressure).max(1.0)
}

/// Pressure drop over holes against their flow: attached, and limited by cavitation.
///
/// ```text
/// attached      a = k q^2 + l q                       k = rho/(2 (n Cd A)^2),  l = C mu/(2 d n A)
/// cavitating    b = k' q^2 - S                        k' = rho/(2 (n Cc A)^2),  S = p_outside - p_vapour
/// drop          max(a, b);  within |b - a| < w:  a + (b - a + w)^2/(4 w),  w = 0.02 S
/// ```
///
/// b is a flow that the pressure outside no longer changes: `n Cc A sqrt(2 (p_inside - p_vapour)/rho)`. The greater of
/// two rising functions rises, so the law is strictly monotone and C1. A jet that comes off the wall (hydraulic flip)
/// passes less, `n Cc A sqrt(2 dp/rho)`; whether it does depends on what went before, so it is no part of the law.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HoleLaw {
    /// k, with its smoothing about zero flow.
    pub attached: Quadratic,
    /// l, Pa s/m3.
    pub viscous: f64,
    /// k', Pa s2/m6; 0 where cavitation is not reckoned with.
    pub cavitating: f64,
    /// S, Pa.
    pub spare: f64,
}

impl HoleLaw {
    /// The law of open holes of `area` in all, m2.
    ///
    /// `coefficient`: attached, at high Reynolds number; `reynolds_loss`: C as in [`reynolds_loss`], 0 for none;
    /// `diameter`, m; `outside`: pressure outside, Pa absolute, where cavitation is reckoned with.
    pub fn new(
        coefficient: f64,
        reynolds_loss: f64,
        area: f64,
        diameter: f64,
        outside: Option<f64>,
        site: &Site,
    ) -> Self {
        let contracted = CONTRACTION * area;
        HoleLaw {
            attached: Quadratic::new(1.0, coefficient * area, 1.0, site.water_density, 20.0),
            viscous: reynolds_loss * site.water_viscosity / (2.0 * diameter * area),
            cavitating: outside.map_or(0.0, |_| site.water_density / (2.0 * contracted * contracted)),
            spare: outside.map_or(0.0, |outside| spare(outside, site.water_vapour_pressure)),
        }
    }

    /// The law of a share of the holes.
    pub fn share(&self, share: f64) -> Self {
        HoleLaw {
            attached: self.attached.share(share),
            viscous: self.viscous / share,
            cavitating: self.cavitating / (share * share),
            spare: self.spare,
        }
    }

    /// Drop at a flow of either sign, m3/s.
    #[inline]
    pub fn loss(&self, flow: f64) -> Loss {
        self.limited(self.attached.loss(flow), flow)
    }

    /// The law with the attached part replaced by one of its own, such as a coarser one.
    #[inline]
    pub(super) fn limited(&self, quadratic: Loss, flow: f64) -> Loss {
        let attached = Loss { value: quadratic.value + self.viscous * flow, slope: quadratic.slope + self.viscous };
        let size = flow.abs();
        let excess = self.cavitating * size * size - self.spare - attached.value.abs();
        let width = CAVITATION_SMOOTHING * self.spare;
        if self.cavitating == 0.0 || excess <= -width {
            return attached;
        }
        let cavitating = 2.0 * self.cavitating * size;
        if excess >= width {
            return Loss { value: (attached.value.abs() + excess).copysign(flow), slope: cavitating };
        }
        let share = 0.5 * (excess + width) / width;
        Loss {
            value: (attached.value.abs() + share * share * width).copysign(flow),
            slope: attached.slope + share * (cavitating - attached.slope),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SITE: Site = Site::of_20_degc(101_325.0);

    /// The closed forms on either side of the join, and how little the join moves.
    #[test]
    fn cavitation_takes_over_where_the_two_flows_are_equal() {
        let law = HoleLaw::new(0.8, 0.0, 0.01, 0.004, Some(101_325.0), &SITE);
        let spare = 101_325.0 - 2339.0;
        let onset = cavitation_drop(0.8, 101_325.0, 2339.0).unwrap();
        assert!((onset / spare - 1.5039).abs() < 1e-4, "{onset}"); // 0.3844/(0.64 - 0.3844)
        let flow = |cd: f64, drop: f64| cd * 0.01 * (2.0 * drop / 998.2).sqrt();
        let drop = |q: f64| law.loss(q).value;
        assert!((drop(flow(0.8, 0.9 * onset)) / (0.9 * onset) - 1.0).abs() < 1e-12);
        let far = 5.0 * onset;
        assert!((drop(flow(0.62, far + spare)) / far - 1.0).abs() < 1e-12);
        let at = drop(flow(0.8, onset));
        assert!(at >= onset && at < 1.004 * onset, "{at}");
    }

    /// Without cavitation and friction the law is the plain one to the last bit.
    #[test]
    fn a_given_coefficient_is_a_square() {
        let law = HoleLaw::new(0.8, 0.0, 0.01, 0.004, None, &SITE);
        for q in [0.0, 1e-9, 0.1, -3.0] {
            assert_eq!(law.loss(q), law.attached.loss(q));
        }
    }
}
