//! Air that water pushes out through an opening: the pressure ahead of the water against the volume that it displaces.
//!
//! ```text
//! phi = Q/(Cd A),   phi^2/(7 R T) = e (1 - e)^5,   p = p_outside (1 - e)^(-7/2)
//! ```
//! with Q the volume of air at the pressure `p` and the temperature `T` ahead of the water, `e` the share of its enthalpy that
//! becomes velocity in the opening: isentropic flow of an ideal gas of gamma = 7/5 from rest. It chokes at e = 1/6; no more than
//! phi = 0.5787 sqrt(gamma R T) can leave, 198.6 m/s at 20 degC, at any pressure.

use super::law::{Loss, Quadratic, SMOOTH_VELOCITY};
use crate::fluid::site::Site;

/// Specific gas constant of air, J/(kg K).
pub const GAS_CONSTANT: f64 = 287.05;

/// Share at which the tangent takes over, a little before the flow chokes: there the pressure is 89 % above that outside, and each
/// more time the pressure outside makes the flow larger by 0.05 %.
const NEAR_CHOKED: f64 = 0.1665;

/// Velocity of natural size in an opening, m/s.
const NATURAL: f64 = 20.0;

/// An opening that air leaves by.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirOutlet {
    /// Discharge coefficient times area, m2.
    pub area: f64,
    /// Pressure outside, Pa.
    pub outside: f64,
    /// 7 R T, m2/s2.
    seven_rt: f64,
}

impl AirOutlet {
    /// An opening of an effective area, m2, above 0, to a pressure, Pa; the air has the temperature of the surroundings.
    pub fn new(area: f64, outside: f64, site: &Site) -> Self {
        AirOutlet { area, outside, seven_rt: 7.0 * GAS_CONSTANT * site.ambient_temperature }
    }

    /// Density of air outside, kg/m3.
    pub fn density(site: &Site) -> f64 {
        site.ambient_pressure / (GAS_CONSTANT * site.ambient_temperature)
    }

    /// Pressure above that outside, Pa, at a flow of either sign, m3/s. Below [`SMOOTH_VELOCITY`] an odd cubic with the same value
    /// and slope.
    pub fn loss(&self, flow: f64) -> Loss {
        let edge = SMOOTH_VELOCITY * self.area;
        let (size, sign) = (flow.abs(), flow.signum());
        if size >= edge {
            let at = self.outward(size / self.area);
            return Loss { value: sign * at.value, slope: at.slope / self.area };
        }
        let at = self.outward(SMOOTH_VELOCITY);
        Quadratic { k: at.value / (edge * edge), smooth: edge, natural: edge }.loss(flow)
    }

    /// The outlet with a share of the stream.
    pub fn share(&self, share: f64) -> Self {
        AirOutlet { area: share * self.area, ..*self }
    }

    /// A flow of natural size, m3/s.
    pub fn natural_flow(&self) -> f64 {
        NATURAL * self.area
    }

    /// Flow from which on the law is its tangent, m3/s.
    pub fn tangent_from(&self) -> f64 {
        self.area * self.near_choked()
    }

    /// Velocity from which on the law is its tangent, m/s.
    fn near_choked(&self) -> f64 {
        (self.seven_rt * NEAR_CHOKED * (1.0 - NEAR_CHOKED).powi(5)).sqrt()
    }

    /// Pressure against the velocity `Q/(Cd A)`, m/s, above 0, with its slope in it.
    fn outward(&self, velocity: f64) -> Loss {
        let choked = self.near_choked();
        let beyond = (velocity - choked).max(0.0);
        let velocity = velocity.min(choked);
        let square = velocity * velocity / self.seven_rt;
        let mut share = square / (1.0 - 5.0 * square);
        share = share.min(NEAR_CHOKED);
        // e (1 - e)^5 rises up to e = 1/6 and is concave: from below Newton's method does not overshoot.
        for _ in 0..40 {
            let rest = 1.0 - share;
            let step = (square - share * rest.powi(5)) / (rest.powi(4) * (1.0 - 6.0 * share));
            share = (share + step).clamp(0.0, NEAR_CHOKED);
            if step.abs() <= 1e-15 * share {
                break;
            }
        }
        let rest = 1.0 - share;
        let by_share = 3.5 * self.outside * rest.powf(-4.5);
        let slope = by_share * 2.0 * velocity / (self.seven_rt * rest.powi(4) * (1.0 - 6.0 * share));
        let value = self.outside * (-3.5 * (-share).ln_1p()).exp_m1() + slope * beyond;
        Loss { value, slope }
    }
}

#[cfg(test)]
mod tests {
    use super::AirOutlet;
    use crate::fluid::gas::{Gas, GasKind, GasModel};
    use crate::fluid::site::Site;

    fn site() -> Site {
        Site::of_20_degc(1e5)
    }

    #[test]
    fn the_pressure_is_that_which_a_nozzle_asks_for() {
        // The same nozzle by the other way round: mass flux of the ideal gas from the pressure found, over its density.
        let (site, gas) = (site(), Gas::new(GasKind::Air, GasModel::Ideal));
        let outlet = AirOutlet::new(0.02, 1.2e5, &site);
        for velocity in [0.5, 5.0, 40.0, 120.0, 180.0, 197.0] {
            let pressure = outlet.outside + outlet.loss(0.02 * velocity).value;
            let state = gas.state_p_t(pressure, 293.15).unwrap_or_else(|error| panic!("{error}"));
            let flux = gas.mass_flux(&state, outlet.outside, None).unwrap_or_else(|error| panic!("{error}")).mass_flux;
            // The gas constants of the two differ by 5e-6.
            assert!((flux / state.density / velocity - 1.0).abs() < 2e-5, "{velocity}: {}", flux / state.density);
        }
    }

    #[test]
    fn slow_air_loses_its_velocity_head() {
        let site = site();
        let loss = AirOutlet::new(0.02, 1e5, &site).loss(0.02 * 2.0).value;
        assert!((loss / (0.5 * AirOutlet::density(&site) * 4.0) - 1.0).abs() < 1e-4, "{loss}");
    }

    #[test]
    fn its_slope_is_exact() {
        // Short of choking, where the slope changes too fast for differences; there it is held between its neighbours below.
        let outlet = AirOutlet::new(0.02, 1.2e5, &site());
        for velocity in [5e-4, 2e-3, 0.1, 3.0, 30.0, 120.0, 180.0, 230.0] {
            let (flow, step) = (0.02 * velocity, 2e-8 * velocity);
            let difference = (outlet.loss(flow + step).value - outlet.loss(flow - step).value) / (2.0 * step);
            assert!((difference / outlet.loss(flow).slope - 1.0).abs() < 1e-5, "{velocity}: {difference}");
        }
    }

    #[test]
    fn it_rises_smoothly_through_zero_and_where_it_chokes() {
        let outlet = AirOutlet::new(0.02, 1e5, &site());
        let mut before = outlet.loss(-5.0);
        for k in 1..20_000 {
            let flow = -5.0 + 10.0 * f64::from(k) / 20_000.0;
            let at = outlet.loss(flow);
            assert!(at.slope > 0.0 && at.value > before.value, "{flow}");
            let mean = (at.value - before.value) / (10.0 / 20_000.0);
            let (low, high) = (at.slope.min(before.slope), at.slope.max(before.slope));
            assert!(mean > 0.999 * low - 1.0 && mean < 1.001 * high + 1.0, "{flow}: {mean} between {low} and {high}");
            before = at;
        }
        assert!(outlet.loss(0.02 * 199.0).value > 8e4, "no more than 198.6 m/s can leave");
    }
}
