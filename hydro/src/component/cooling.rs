//! Cooling of the plate by its water: what the heat asks for, where boiling and dry spots begin.

use crate::fluid::site::Site;
use crate::fluid::water::{self, Saturation};

/// How the water is taken to cool the plate.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Cooling {
    /// What heat is judged by; `None`: it is not judged.
    pub judged: Option<Judged>,
    /// Thermal conductivity of the plate, W/(m K).
    pub conductivity: Option<f64>,
    /// For the least flux that keeps a film closed.
    pub wetting_limit: Option<WettingLimit>,
}

/// What heat is judged by. None of these has a customary value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judged {
    /// Share of the water on the plate that evaporates, 0 to 1.
    pub utilisation: f64,
    /// Share of the water from the holes that stays on the plate, above 0, to 1.
    pub wetting: f64,
    /// Factor on the water needed, 1 or more.
    pub safety_factor: f64,
}

/// For the least flux that keeps a film closed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WettingLimit {
    /// Contact angle of the water on the plate, rad.
    pub contact_angle: f64,
    /// What drives the film.
    pub drive: Drive,
}

/// What drives a film.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Drive {
    /// Its weight on a plate at this angle from the horizontal, rad.
    Weight(f64),
    /// Shear of the gas, Pa.
    Shear(f64),
}

/// Coefficient of [`critical_heat_flux`] after Zuber; others give 0.12 to 0.18, Lienhard and Dhir 0.149.
pub const ZUBER: f64 = 0.131;

/// What water takes up at one pressure outside the plate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Uptake {
    /// Saturation temperature, K.
    pub saturation_temperature: f64,
    /// From the site's water to saturated water, J/kg.
    pub sensible: f64,
    /// From saturated water to steam, J/kg.
    pub latent: f64,
    /// Critical heat flux of a pool at saturation, W/m2.
    pub critical_heat_flux: f64,
}

impl Uptake {
    /// What the site's water takes up at a pressure, Pa absolute.
    ///
    /// `None` where the pressure has no saturation temperature (below 611 Pa, above 16.5 MPa), or one that is not above
    /// the water's.
    ///
    /// # Source
    /// IAPWS-IF97.
    pub fn at(pressure: f64, site: &Site) -> Option<Uptake> {
        let saturation = Saturation::at_pressure(pressure).ok()?;
        let cold = water::enthalpy(site.water_temperature, pressure).ok()?;
        let sensible = saturation.liquid_enthalpy - cold;
        (sensible > 0.0).then_some(Uptake {
            saturation_temperature: saturation.temperature,
            sensible,
            latent: saturation.latent_heat(),
            critical_heat_flux: critical_heat_flux(&saturation, ZUBER, site.gravity)?,
        })
    }

    /// Water that a heat flux, W/m2, needs, as a volume of the site's water per area and time, m/s.
    ///
    /// ```text
    /// q/(rho (sensible + utilisation latent))          utilisation: share that evaporates, 0 to 1
    /// ```
    ///
    /// Steady energy balance of the film; no heat goes back with splashing water or steam above saturation.
    pub fn needed(&self, heat_flux: f64, utilisation: f64, site: &Site) -> f64 {
        heat_flux / (site.water_density * (self.sensible + utilisation * self.latent))
    }
}

impl Judged {
    /// Water from the holes that a heat flux, W/m2, needs, m/s: `safety_factor/wetting` times that on the plate.
    pub fn needed(&self, uptake: &Uptake, heat_flux: f64, site: &Site) -> f64 {
        self.safety_factor / self.wetting * uptake.needed(heat_flux, self.utilisation, site)
    }
}

/// Critical heat flux of a pool of saturated water, W/m2; `None` without a surface tension.
///
/// ```text
/// q = C h_fg sqrt(rho_v) [sigma g (rho_l - rho_v)]^(1/4)
/// ```
///
/// # Range
/// Large flat heater facing upwards, saturated water at rest. Subcooled water that runs or strikes the plate carries
/// more: a line to be warned by, no limit of the design.
///
/// # Source
/// Zuber, AEC report AECU-4439 (1959), C = 0.131 (pi/24); the same form Kutateladze (1948). C seen in Kreith, Manglik
/// and Bohn, example 10.1, in a transcription.
pub fn critical_heat_flux(saturation: &Saturation, coefficient: f64, gravity: f64) -> Option<f64> {
    let tension = water::surface_tension(saturation.temperature).ok()?;
    let (liquid, vapour) = (saturation.liquid_density, saturation.vapour_density);
    let buoyancy = (tension * gravity * (liquid - vapour).max(0.0)).powf(0.25);
    Some(coefficient * saturation.latent_heat() * vapour.sqrt() * buoyancy)
}

/// Temperature, K, of the hot face of a plate between its holes where no film cools it.
///
/// ```text
/// T = T_water + q t/k
/// ```
///
/// Steady conduction through the thickness alone. Hot face: the whole heat flux enters, nothing leaves with water. Cold
/// face: at the temperature of the water behind it. Too low for the boundary layer there, too high for what goes
/// sideways into the walls of the holes. A face that the film wets stays near the saturation temperature instead.
pub fn dry_surface(heat_flux: f64, thickness: f64, conductivity: f64, site: &Site) -> f64 {
    site.water_temperature + heat_flux * thickness / conductivity
}

impl WettingLimit {
    /// Least film flow per width, kg/(m s), that closes over a dry spot; `None` without a surface tension.
    ///
    /// ```text
    /// weight   G = 15^0.6/3 (mu rho/(g sin a))^(1/5) [sigma (1 - cos b)]^(3/5)
    /// shear    G = rho tau d^2/(2 mu),   d = [6 mu^2 sigma (1 - cos b)/(rho tau^2)]^(1/3)
    /// ```
    ///
    /// a: inclination, b: contact angle, tau: shear stress. Properties at the water's temperature, which is the safe side.
    ///
    /// # Range
    /// Laminar film without heat; the balance of forces at the upstream edge of a dry spot.
    ///
    /// # Source
    /// Hartley and Murgatroyd, Int. J. Heat Mass Transfer 7 (1964) 1003 (from memory); derived anew.
    pub fn film(&self, site: &Site) -> Option<f64> {
        let (rho, mu) = (site.water_density, site.water_viscosity);
        let pull = water::surface_tension(site.water_temperature).ok()? * (1.0 - self.contact_angle.cos());
        Some(match self.drive {
            Drive::Weight(inclination) => {
                let weight = site.gravity * inclination.sin();
                15f64.powf(0.6) / 3.0 * (mu * rho / weight).powf(0.2) * pull.powf(0.6)
            }
            Drive::Shear(shear) => {
                let film = (6.0 * mu * mu * pull / (rho * shear * shear)).cbrt();
                rho * shear * film * film / (2.0 * mu)
            }
        })
    }

    /// Least flux, m/s, where the film gathers over the distance `run`, m, between a row of holes and the next.
    pub fn flux(&self, run: f64, site: &Site) -> Option<f64> {
        (run > 0.0).then(|| self.film(site).map(|film| film / (site.water_density * run)))?
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn site(temperature: f64) -> Site {
        Site {
            ambient_pressure: 101_325.0,
            ambient_temperature: temperature,
            water_temperature: temperature,
            gravity: 9.81,
            water_density: water::density(temperature, 101_325.0).unwrap(),
            water_viscosity: water::viscosity(temperature, 101_325.0).unwrap(),
            water_vapour_pressure: water::vapour_pressure(temperature).unwrap(),
        }
    }

    /// The two forms in the film's thickness, worked back: force of the film on the spot equals the pull of its edge.
    #[test]
    fn a_film_just_holds_a_dry_spot() {
        let site = site(293.15);
        let (rho, mu) = (site.water_density, site.water_viscosity);
        let pull = water::surface_tension(293.15).unwrap() * (1.0 - 1f64.cos());
        let film = |drive| WettingLimit { contact_angle: 1.0, drive }.film(&site).unwrap();
        // Weight: flow = rho^2 g' d^3/(3 mu); stagnation force rho^3 g'^2 d^5/(15 mu^2).
        let weight = site.gravity * 0.7f64.sin();
        let thick = (film(Drive::Weight(0.7)) * 3.0 * mu / (rho * rho * weight)).cbrt();
        let force = rho.powi(3) * weight * weight * thick.powi(5) / (15.0 * mu * mu);
        assert!((force / pull - 1.0).abs() < 1e-12, "{force} {pull}");
        // Shear: flow = rho tau d^2/(2 mu); stagnation force rho tau^2 d^3/(6 mu^2).
        let thick = (film(Drive::Shear(50.0)) * 2.0 * mu / (rho * 50.0)).sqrt();
        let force = rho * 2500.0 * thick.powi(3) / (6.0 * mu * mu);
        assert!((force / pull - 1.0).abs() < 1e-12, "{force} {pull}");
    }

    #[test]
    fn what_boils_at_once_takes_up_nothing() {
        assert_eq!(Uptake::at(1000.0, &site(293.15)), None, "below the vapour pressure");
        assert_eq!(Uptake::at(5e7, &site(293.15)), None, "no saturation");
        let uptake = Uptake::at(3e5, &site(293.15)).unwrap();
        assert!(uptake.needed(0.0, 0.5, &site(293.15)) == 0.0);
        assert!(uptake.needed(1e6, 0.0, &site(293.15)) > uptake.needed(1e6, 1.0, &site(293.15)));
    }
}
