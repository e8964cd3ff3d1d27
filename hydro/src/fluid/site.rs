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
