//! Surroundings of the stand and the properties of its water.

/// Surroundings and the properties of the water, constant through a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Site {
    /// Pressure of the surroundings, Pa absolute.
    pub ambient_pressure: f64,
    /// Temperature of the surroundings, K.
    pub ambient_temperature: f64,
    /// Temperature of the water, K.
    pub water_temperature: f64,
    /// Acceleration of gravity, m/s2.
    pub gravity: f64,
    /// Density of the water, kg/m3.
    pub water_density: f64,
    /// Dynamic viscosity of the water, Pa s.
    pub water_viscosity: f64,
    /// Vapour pressure of the water, Pa absolute.
    pub water_vapour_pressure: f64,
}

/// Standard acceleration of gravity, m/s2.
pub const STANDARD_GRAVITY: f64 = 9.806_65;

impl Site {
    /// Surroundings and water of 20 degC under standard gravity, at a pressure of the surroundings, Pa absolute: what a file is
    /// read with until its own site is known.
    ///
    /// # Source
    /// Density and vapour pressure: IAPWS-IF97; viscosity: IAPWS 2008; to the digits given, at 101 325 Pa.
    pub const fn of_20_degc(ambient_pressure: f64) -> Site {
        Site {
            ambient_pressure,
            ambient_temperature: 293.15,
            water_temperature: 293.15,
            gravity: STANDARD_GRAVITY,
            water_density: 998.2,
            water_viscosity: 1.0016e-3,
            water_vapour_pressure: 2339.0,
        }
    }
}
