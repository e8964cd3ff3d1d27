//! Liquid water by IAPWS-IF97, and its viscosity and surface tension by IAPWS.
//!
//! The equations come from the crate `seuif97`; what it signals by special numbers is a typed error here, and all is
//! SI. See `docs/theory/water.md`.

use seuif97::{OCP, OD, ODV, OH, OST, OT, OV, OW, pt, px, tx};

/// Lowest and highest temperature of liquid water (region 1 of IF97), K.
pub const TEMPERATURE_RANGE: (f64, f64) = (273.15, 623.15);
/// Highest pressure (region 1 of IF97), Pa.
pub const HIGHEST_PRESSURE: f64 = 100e6;
/// Lowest and highest saturation pressure that is given: those at the ends of the temperature range, Pa.
pub const SATURATION_PRESSURE_RANGE: (f64, f64) = (611.212_677_444, 16.529_164_252_604_5e6);

/// Water on the saturation line counts as liquid within this share of its pressure, so that rounding does not decide.
const SATURATION_SLACK: f64 = 1e-9;

/// Why a property of water could not be given.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum WaterError {
    /// Temperature outside the range of liquid water, K.
    #[error("water at {temperature} K is outside {} to {} K", TEMPERATURE_RANGE.0, TEMPERATURE_RANGE.1)]
    Temperature {
        /// What was asked for, K.
        temperature: f64,
    },
    /// Pressure above the range, or not a pressure at all, Pa.
    #[error("water at {pressure} Pa (absolute) is outside 0 to {HIGHEST_PRESSURE} Pa")]
    Pressure {
        /// What was asked for, Pa.
        pressure: f64,
    },
    /// Saturation is not given at this pressure, Pa.
    #[error(
        "no saturation temperature at {pressure} Pa (absolute), outside {} to {} Pa",
        SATURATION_PRESSURE_RANGE.0,
        SATURATION_PRESSURE_RANGE.1
    )]
    SaturationPressure {
        /// What was asked for, Pa.
        pressure: f64,
    },
    /// The pressure is below the vapour pressure: steam, not water.
    #[error(
        "water at {temperature} K and {pressure} Pa (absolute) is steam: its vapour pressure is {vapour_pressure} Pa"
    )]
    Steam {
        /// Temperature, K.
        temperature: f64,
        /// Pressure, Pa.
        pressure: f64,
        /// Vapour pressure at the temperature, Pa.
        vapour_pressure: f64,
    },
    /// The equations gave no number in their range.
    #[error("no {property} of water at {temperature} K and {pressure} Pa (absolute)")]
    NoValue {
        /// What was sought.
        property: &'static str,
        /// Temperature, K.
        temperature: f64,
        /// Pressure, Pa.
        pressure: f64,
    },
}

/// Properties of liquid water at one temperature and pressure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Water {
    /// Temperature, K.
    pub temperature: f64,
    /// Pressure, Pa absolute.
    pub pressure: f64,
    /// Density, kg/m3.
    pub density: f64,
    /// Dynamic viscosity, Pa s.
    pub viscosity: f64,
    /// Vapour pressure at the temperature, Pa absolute.
    pub vapour_pressure: f64,
    /// Enthalpy, J/kg.
    pub enthalpy: f64,
    /// Isobaric heat, J/(kg K).
    pub cp: f64,
    /// Speed of sound, m/s.
    pub speed_of_sound: f64,
}

impl Water {
    /// Liquid water at a temperature (K) and a pressure (Pa absolute).
    ///
    /// # Range
    /// 273.15 to 623.15 K, from the vapour pressure to 100 MPa.
    ///
    /// # Source
    /// IAPWS R7-97(2012), region 1 and region 4; IAPWS R12-08 (viscosity, without its critical enhancement).
    ///
    /// # Errors
    /// Outside the range; steam.
    ///
    /// # Example
    /// ```
    /// let water = hydro::fluid::water::Water::at(300.0, 3e6)?;
    /// assert!((water.density * 0.100215168e-2 - 1.0).abs() < 1e-8); // IF97, table 5
    /// # Ok::<(), hydro::fluid::water::WaterError>(())
    /// ```
    pub fn at(temperature: f64, pressure: f64) -> Result<Self, WaterError> {
        Ok(Self {
            temperature,
            pressure,
            density: density(temperature, pressure)?,
            viscosity: viscosity(temperature, pressure)?,
            vapour_pressure: vapour_pressure(temperature)?,
            enthalpy: enthalpy(temperature, pressure)?,
            cp: cp(temperature, pressure)?,
            speed_of_sound: speed_of_sound(temperature, pressure)?,
        })
    }

    /// Bulk modulus, Pa: `rho w^2`.
    pub fn bulk_modulus(&self) -> f64 {
        self.density * self.speed_of_sound * self.speed_of_sound
    }
}

/// Saturated liquid and its vapour at one temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Saturation {
    /// Temperature, K.
    pub temperature: f64,
    /// Pressure, Pa absolute.
    pub pressure: f64,
    /// Density of the liquid, kg/m3.
    pub liquid_density: f64,
    /// Density of the vapour, kg/m3.
    pub vapour_density: f64,
    /// Enthalpy of the liquid, J/kg.
    pub liquid_enthalpy: f64,
    /// Enthalpy of the vapour, J/kg.
    pub vapour_enthalpy: f64,
}

impl Saturation {
    /// Saturation at a temperature, K.
    ///
    /// # Range
    /// 273.15 to 623.15 K.
    ///
    /// # Source
    /// IAPWS R7-97(2012), regions 1, 2 and 4.
    ///
    /// # Errors
    /// Outside the range.
    pub fn at_temperature(temperature: f64) -> Result<Self, WaterError> {
        let pressure = vapour_pressure(temperature)?;
        let at = |property, id, quality, scale| {
            let value = tx(temperature - 273.15, quality, id) * scale;
            positive(property, temperature, pressure, value)
        };
        Ok(Self {
            temperature,
            pressure,
            liquid_density: at("density of saturated water", OD, 0.0, 1.0)?,
            vapour_density: at("density of saturated steam", OD, 1.0, 1.0)?,
            // the enthalpy passes zero at the triple point
            liquid_enthalpy: region_1(OH, temperature, pressure) * 1e3,
            vapour_enthalpy: at("enthalpy of saturated steam", OH, 1.0, 1e3)?,
        })
    }

    /// Saturation at a pressure, Pa absolute; see `at_temperature`.
    ///
    /// # Errors
    /// Outside the range.
    pub fn at_pressure(pressure: f64) -> Result<Self, WaterError> {
        Self::at_temperature(saturation_temperature(pressure)?)
    }

    /// Latent heat of evaporation, J/kg.
    pub fn latent_heat(&self) -> f64 {
        self.vapour_enthalpy - self.liquid_enthalpy
    }
}

/// Density of liquid water, kg/m3, at a temperature (K) and a pressure (Pa absolute); range and errors as `Water::at`.
pub fn density(temperature: f64, pressure: f64) -> Result<f64, WaterError> {
    check_liquid(temperature, pressure)?;
    positive("density", temperature, pressure, 1.0 / region_1(OV, temperature, pressure))
}

/// Dynamic viscosity of liquid water, Pa s (IAPWS R12-08 without critical enhancement); range and errors as
/// `Water::at`.
pub fn viscosity(temperature: f64, pressure: f64) -> Result<f64, WaterError> {
    check_liquid(temperature, pressure)?;
    positive("viscosity", temperature, pressure, region_1(ODV, temperature, pressure))
}

/// Enthalpy of liquid water, J/kg (zero of the internal energy at the triple point); range and errors as `Water::at`.
pub fn enthalpy(temperature: f64, pressure: f64) -> Result<f64, WaterError> {
    check_liquid(temperature, pressure)?;
    Ok(region_1(OH, temperature, pressure) * 1e3)
}

/// Isobaric heat of liquid water, J/(kg K); range and errors as `Water::at`.
pub fn cp(temperature: f64, pressure: f64) -> Result<f64, WaterError> {
    check_liquid(temperature, pressure)?;
    positive("isobaric heat", temperature, pressure, region_1(OCP, temperature, pressure) * 1e3)
}

/// Speed of sound in liquid water, m/s; range and errors as `Water::at`.
pub fn speed_of_sound(temperature: f64, pressure: f64) -> Result<f64, WaterError> {
    check_liquid(temperature, pressure)?;
    positive("speed of sound", temperature, pressure, region_1(OW, temperature, pressure))
}

/// Vapour pressure of water, Pa absolute, at a temperature from 273.15 to 623.15 K (IF97 equation 30).
pub fn vapour_pressure(temperature: f64) -> Result<f64, WaterError> {
    check_temperature(temperature)?;
    positive("vapour pressure", temperature, 0.0, tx(temperature - 273.15, 0.0, seuif97::OP) * 1e6)
}

/// Saturation temperature of water, K, at a pressure (Pa absolute) of 611.213 Pa to 16.529 MPa (IF97 equation 31).
pub fn saturation_temperature(pressure: f64) -> Result<f64, WaterError> {
    let (lowest, highest) = SATURATION_PRESSURE_RANGE;
    if !(pressure >= lowest && pressure <= highest) {
        return Err(WaterError::SaturationPressure { pressure });
    }
    // at both ends rounding may lead out of the range by some 1e-10 K
    let temperature = px(pressure * 1e-6, 0.0, OT) + 273.15;
    positive("saturation temperature", 0.0, pressure, temperature)
        .map(|temperature| temperature.clamp(TEMPERATURE_RANGE.0, TEMPERATURE_RANGE.1))
}

/// Surface tension of water against its vapour, N/m, at a temperature from 273.15 to 623.15 K (IAPWS R1-76(2014)).
pub fn surface_tension(temperature: f64) -> Result<f64, WaterError> {
    let pressure = vapour_pressure(temperature)?;
    positive("surface tension", temperature, pressure, region_1(OST, temperature, pressure))
}

/// A property by the equations of region 1, in the units of the crate (MPa, degC, kJ).
fn region_1(id: i32, temperature: f64, pressure: f64) -> f64 {
    pt(pressure * 1e-6, temperature - 273.15, (id, 1))
}

/// The crate answers with negative numbers where it has none.
fn positive(property: &'static str, temperature: f64, pressure: f64, value: f64) -> Result<f64, WaterError> {
    if value.is_finite() && value > 0.0 {
        Ok(value)
    } else {
        Err(WaterError::NoValue { property, temperature, pressure })
    }
}

fn check_temperature(temperature: f64) -> Result<(), WaterError> {
    let (lowest, highest) = TEMPERATURE_RANGE;
    if temperature >= lowest && temperature <= highest { Ok(()) } else { Err(WaterError::Temperature { temperature }) }
}

fn check_liquid(temperature: f64, pressure: f64) -> Result<(), WaterError> {
    let vapour_pressure = vapour_pressure(temperature)?;
    if !(pressure > 0.0 && pressure <= HIGHEST_PRESSURE) {
        return Err(WaterError::Pressure { pressure });
    }
    if pressure < vapour_pressure * (1.0 - SATURATION_SLACK) {
        return Err(WaterError::Steam { temperature, pressure, vapour_pressure });
    }
    Ok(())
}

#[cfg(test)]
mod tests;
