//! Gas vessel: mass and energy of the gas in a bank, a gas header or over the water of a tank.
//!
//! ```text
//! dm/dt = sum of inflows
//! dU/dt = sum of (inflow x enthalpy where it comes from) - p dV/dt + UA (T_ambient - T)
//! ```
//!
//! Source: first law for an open, well-mixed volume; kinetic and potential energy left out.

use crate::fluid::gas::GasState;

/// Gas in a volume.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Content {
    /// Mass, kg.
    pub mass: f64,
    /// Volume, m3.
    pub volume: f64,
    /// State, uniform.
    pub state: GasState,
    /// Whether the temperature is held.
    pub isothermal: bool,
}

/// How fast a content changes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Rates {
    /// dm/dt, kg/s.
    pub mass: f64,
    /// dU/dt, W.
    pub energy: f64,
    /// dV/dt, m3/s.
    pub volume: f64,
}

impl Content {
    /// dT/dt, K/s, at given rates of mass, energy and volume.
    ///
    /// ```text
    /// cv dT/dt = du/dt - (du/drho)_T drho/dt,   du/dt = (dU/dt - u dm/dt)/m,   drho/dt = (dm/dt - rho dV/dt)/V
    /// ```
    pub fn temperature_rate(&self, rates: &Rates) -> f64 {
        if self.isothermal {
            return 0.0;
        }
        let inner = (rates.energy - self.state.internal_energy * rates.mass) / self.mass;
        (inner - self.state.du_drho() * self.density_rate(rates)) / self.state.cv
    }

    /// dp/dt, Pa/s, at given rates of mass, energy and volume.
    pub fn pressure_rate(&self, rates: &Rates) -> f64 {
        self.state.dp_drho * self.density_rate(rates) + self.state.dp_dt * self.temperature_rate(rates)
    }

    /// dh/dt, J/(kg s), at given rates of mass, energy and volume: `h = u + p/rho`.
    pub fn enthalpy_rate(&self, rates: &Rates) -> f64 {
        let GasState { pressure, density, cv, .. } = self.state;
        let thinner = self.density_rate(rates);
        let inner = cv * self.temperature_rate(rates) + self.state.du_drho() * thinner;
        inner + (self.pressure_rate(rates) - pressure * thinner / density) / density
    }

    fn density_rate(&self, rates: &Rates) -> f64 {
        (rates.mass - self.state.density * rates.volume) / self.volume
    }
}
