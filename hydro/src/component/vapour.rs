//! Water vapour in the gas over the water of a tank: its properties, and how fast water evaporates into it.

use crate::fluid::gas::{Gas, GasState};
use crate::fluid::site::Site;
use crate::fluid::water::{Saturation, WaterError};

/// Specific gas constant of water vapour, J/(kg K).
///
/// # Source
/// IAPWS R7-97(2012).
pub const GAS_CONSTANT: f64 = 461.526;

/// Molar mass of water, kg/mol.
///
/// # Source
/// IAPWS R7-97(2012).
pub const MOLAR_MASS: f64 = 18.015_257e-3;

/// Isobaric heat of water vapour as an ideal gas, J/(kg K): that of 300 K.
///
/// # Range
/// 1857 at 250 K to 1890 at 370 K.
///
/// # Source
/// Ideal-gas part of IAPWS-95 (value from memory; the live checks compare it with CoolProp).
pub const CP: f64 = 1864.0;

/// Isochoric heat of water vapour as an ideal gas, J/(kg K).
pub const CV: f64 = CP - GAS_CONSTANT;

/// How a tank's water evaporates into its gas.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evaporation {
    /// Vapour in the gas at the start, as a share of what saturates it at the temperature of the water.
    pub humidity: f64,
}

/// Water vapour over water of one temperature: an ideal gas. Its energies count from liquid water of that temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vapour {
    /// Temperature of the water, K.
    pub water_temperature: f64,
    /// Pressure of the vapour where it is saturated over the water, Pa.
    pub saturation: f64,
    /// Heat of evaporation at the temperature of the water, J/kg.
    pub latent: f64,
}

impl Vapour {
    /// Vapour over the water of a site.
    ///
    /// # Errors
    /// Where the temperature of the water is outside 273.15 to 623.15 K.
    pub fn of(site: &Site) -> Result<Self, WaterError> {
        Ok(Vapour {
            water_temperature: site.water_temperature,
            saturation: site.water_vapour_pressure,
            latent: Saturation::at_temperature(site.water_temperature)?.latent_heat(),
        })
    }

    /// Enthalpy, J/kg, at a temperature, K: `L + cp (T - T_water)`.
    pub fn enthalpy(&self, temperature: f64) -> f64 {
        self.latent + CP * (temperature - self.water_temperature)
    }

    /// Internal energy, J/kg, at a temperature, K: `h - R T`.
    pub fn internal_energy(&self, temperature: f64) -> f64 {
        self.enthalpy(temperature) - GAS_CONSTANT * temperature
    }

    /// Mass, kg, of vapour at a pressure, Pa, in a volume, m3, at a temperature, K.
    pub fn mass(pressure: f64, volume: f64, temperature: f64) -> f64 {
        pressure * volume / (GAS_CONSTANT * temperature)
    }

    /// Difference of temperature, K, that moves the gas over the water as the lighter vapour does.
    ///
    /// ```text
    /// dT = T (1 - M_vapour/M_gas) (p_saturation - p_vapour)/p
    /// ```
    pub fn virtual_difference(&self, gas: &Gas, state: &GasState, pressure: f64) -> f64 {
        let lighter = 1.0 - MOLAR_MASS / gas.molar_mass();
        state.temperature * lighter * (self.saturation - pressure) / state.pressure
    }

    /// Flow of evaporating water, kg/s, per pascal that the vapour is below its saturation, from the heat transfer between
    /// gas and water, W/K.
    ///
    /// ```text
    /// m/(p_saturation - p_vapour) = UA/(rho cp Le^(2/3)) / (R T_water),   Le = k/(rho cp D)
    /// ```
    /// with the properties of the bulk of the gas at its whole pressure.
    ///
    /// # Range
    /// Vapour a small part of the gas: p_saturation below a tenth of p (the flow that evaporation itself makes is left out,
    /// half that part).
    ///
    /// # Source
    /// Analogy of heat and mass transfer, Chilton and Colburn, Ind. Eng. Chem. 26 (1934) 1183: `St Pr^(2/3) = St_m Sc^(2/3)`.
    pub fn conductance(&self, gas: &Gas, state: &GasState, heat_transfer: f64) -> f64 {
        let carried = state.density * state.cp;
        let lewis = gas.conductivity(state) / (carried * diffusivity(state.pressure, state.temperature));
        heat_transfer / (carried * lewis.powf(2.0 / 3.0)) / (GAS_CONSTANT * self.water_temperature)
    }
}

/// Diffusivity of water vapour in air or nitrogen, m2/s, at a pressure, Pa, and a temperature, K.
///
/// ```text
/// D = 1.87e-10 T^2.072/(p/101325)
/// ```
///
/// # Range
/// Air, 280 to 450 K; nitrogen differs by a few per cent, and so does the equation in colder gas. Inverse to the pressure as
/// far as the gas is ideal.
///
/// # Source
/// Marrero and Mason, J. Phys. Chem. Ref. Data 1 (1972) 3 (coefficients from memory).
pub fn diffusivity(pressure: f64, temperature: f64) -> f64 {
    1.87e-10 * temperature.powf(2.072) / (pressure / 101_325.0)
}

#[cfg(test)]
mod tests {
    use super::{CP, GAS_CONSTANT, Vapour, diffusivity};
    use crate::fluid::gas::{Gas, GasKind, GasModel};
    use crate::fluid::site::Site;

    #[test]
    fn diffusivity_of_textbooks() {
        // 0.26 cm2/s at 298 K and 1 atm (the usual table of binary diffusivities; from memory, two digits).
        assert!((diffusivity(101_325.0, 298.15) / 0.26e-4 - 1.0).abs() < 0.04);
        assert_eq!(diffusivity(202_650.0, 298.15), 0.5 * diffusivity(101_325.0, 298.15));
    }

    #[test]
    fn a_wet_bulb_of_a_psychrometer() {
        // Heat that air brings to wet cloth evaporates its water: UA (T - Tw) = m L. The psychrometer coefficient of a
        // well aspirated instrument, (p_saturation - p)/(T - Tw), is 6.62e-4/K times the pressure (WMO guide 8, Assmann type,
        // as quoted; forced flow on thin cylinders): 67.1 Pa/K. The analogy gives cp p Le^(2/3)/(0.622 L) of it.
        let vapour = Vapour { water_temperature: 288.15, saturation: 1705.0, latent: 2.4655e6 };
        let gas = Gas::new(GasKind::Air, GasModel::Real);
        let state = gas.state_p_t(101_325.0, 293.15).unwrap();
        let found = 1.0 / (vapour.conductance(&gas, &state, 1.0) * vapour.latent);
        // Radiation and conduction into the stem are in the instrument's coefficient, not in the analogy: 15 %.
        assert!((found / 67.1 - 1.0).abs() < 0.15, "{found}");
    }

    #[test]
    fn saturated_steam() {
        // Steam tables, 20 degC (IAPWS-IF97): rho 0.01731 kg/m3, L 2453.5 kJ/kg. Last digit.
        let site = Site::of_20_degc(101_325.0);
        let vapour = Vapour::of(&site).unwrap();
        assert!((vapour.latent / 2453.5e3 - 1.0).abs() < 1e-3, "{}", vapour.latent);
        assert!((Vapour::mass(2339.0, 1.0, 293.15) - 0.01731).abs() < 4e-5);
        assert!((vapour.enthalpy(300.0) - vapour.internal_energy(300.0) - GAS_CONSTANT * 300.0).abs() < 1e-6);
        assert!((vapour.enthalpy(301.0) - vapour.enthalpy(300.0) - CP).abs() < 1e-6);
    }
}
