//! Gas vessel: mass and energy of the gas in a bank, a gas header or over the water of a tank.
//!
//! ```text
//! dm/dt = sum of inflows
//! dU/dt = sum of (inflow x enthalpy where it comes from) - p dV/dt + UA (T_ambient - T)
//! ```
//!
//! Where water evaporates, vapour is in the gas: an ideal gas at the same temperature that adds its pressure (Dalton) and its
//! energy. Its mass is a state of its own; the energy is that of both.
//!
//! Source: first law for an open, well-mixed volume; kinetic and potential energy left out.

use super::vapour::{CP, CV, GAS_CONSTANT, Vapour};
use crate::fluid::gas::{Gas, GasError, GasState};

/// Most steps in which the temperature of moist gas is found.
const STEPS: usize = 40;

/// Gas in a volume.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Content {
    /// Mass of the gas without vapour, kg.
    pub mass: f64,
    /// Volume, m3.
    pub volume: f64,
    /// State, uniform. Of moist gas: that of gas without vapour at the whole pressure.
    pub state: GasState,
    /// Whether the temperature is held.
    pub isothermal: bool,
    /// Vapour in it, where water evaporates anywhere.
    pub moisture: Option<Moisture>,
}

/// Vapour in a gas.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moisture {
    /// Its properties.
    pub vapour: Vapour,
    /// Its mass, kg.
    pub mass: f64,
    /// State of the gas alone, at its part of the pressure.
    pub gas: GasState,
}

/// How fast a content changes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Rates {
    /// dm/dt of the gas, kg/s.
    pub mass: f64,
    /// dm/dt of the vapour, kg/s.
    pub vapour: f64,
    /// dU/dt of both, W.
    pub energy: f64,
    /// dV/dt, m3/s.
    pub volume: f64,
}

impl Rates {
    /// Adds so many times what a flow carries.
    pub fn takes(&mut self, carried: &Rates, times: f64) {
        self.mass += times * carried.mass;
        self.vapour += times * carried.vapour;
        self.energy += times * carried.energy;
    }
}

impl Content {
    /// State of the gas alone, at its part of the pressure.
    fn gas(&self) -> &GasState {
        self.moisture.as_ref().map_or(&self.state, |moisture| &moisture.gas)
    }

    /// Mass of vapour, kg.
    pub fn vapour(&self) -> f64 {
        self.moisture.map_or(0.0, |moisture| moisture.mass)
    }

    /// Pressure of the vapour, Pa: `m R T/V`.
    pub fn vapour_pressure(&self) -> f64 {
        self.vapour() * GAS_CONSTANT * self.state.temperature / self.volume
    }

    /// Share of vapour in the mass.
    pub fn vapour_share(&self) -> f64 {
        self.vapour() / (self.mass + self.vapour())
    }

    /// Internal energy of gas and vapour, J.
    pub fn energy(&self) -> f64 {
        let temperature = self.state.temperature;
        let vapour = self.moisture.map_or(0.0, |m| m.mass * m.vapour.internal_energy(temperature));
        self.mass * self.gas().internal_energy + vapour
    }

    /// Enthalpy of what leaves, J/kg.
    pub fn enthalpy(&self) -> f64 {
        let Some(moisture) = self.moisture else { return self.state.enthalpy };
        let share = self.vapour_share();
        (1.0 - share) * moisture.gas.enthalpy + share * moisture.vapour.enthalpy(self.state.temperature)
    }

    /// What a flow out of it, kg/s, brings elsewhere.
    pub fn carried(&self, flow: f64) -> Rates {
        if self.moisture.is_none() {
            return Rates { mass: flow, vapour: 0.0, energy: self.state.enthalpy * flow, volume: 0.0 };
        }
        let share = self.vapour_share();
        Rates { mass: (1.0 - share) * flow, vapour: share * flow, energy: self.enthalpy() * flow, volume: 0.0 }
    }

    /// How what a flow out of it, kg/s, brings changes at given rates of mass, energy and volume.
    pub fn carried_rate(&self, flow: f64, rates: &Rates) -> Rates {
        let share = self.vapour_share_rate(rates) * flow;
        Rates { mass: -share, vapour: share, energy: self.enthalpy_rate(rates) * flow, volume: 0.0 }
    }

    /// Flow of moist gas through an opening over that of gas without vapour at the same pressure and temperature: the root
    /// of the densities.
    pub fn lightness(&self) -> f64 {
        if self.vapour() == 0.0 {
            return 1.0;
        }
        ((self.mass + self.vapour()) / self.volume / self.state.density).sqrt()
    }

    /// dT/dt, K/s, at given rates of mass, energy and volume.
    ///
    /// ```text
    /// cv dT/dt = du/dt - (du/drho)_T drho/dt,   du/dt = (dU/dt - u dm/dt)/m,   drho/dt = (dm/dt - rho dV/dt)/V
    /// ```
    pub fn temperature_rate(&self, rates: &Rates) -> f64 {
        if self.isothermal {
            return 0.0;
        }
        let (gas, mut energy, mut cv) = (self.gas(), rates.energy, self.gas().cv);
        if let Some(moisture) = self.moisture {
            energy -= moisture.vapour.internal_energy(self.state.temperature) * rates.vapour;
            cv += CV * moisture.mass / self.mass;
        }
        let inner = (energy - gas.internal_energy * rates.mass) / self.mass;
        (inner - gas.du_drho() * self.density_rate(rates)) / cv
    }

    /// dp/dt, Pa/s, at given rates of mass, energy and volume.
    pub fn pressure_rate(&self, rates: &Rates) -> f64 {
        let vapour = self.moisture.map_or(0.0, |moisture| {
            let density = moisture.mass / self.volume;
            let denser = (rates.vapour - density * rates.volume) / self.volume;
            GAS_CONSTANT * (denser * self.state.temperature + density * self.temperature_rate(rates))
        });
        self.gas_pressure_rate(rates) + vapour
    }

    /// d(pressure of the vapour)/dt, Pa/s.
    pub fn vapour_pressure_rate(&self, rates: &Rates) -> f64 {
        self.pressure_rate(rates) - self.gas_pressure_rate(rates)
    }

    fn gas_pressure_rate(&self, rates: &Rates) -> f64 {
        let gas = self.gas();
        gas.dp_drho * self.density_rate(rates) + gas.dp_dt * self.temperature_rate(rates)
    }

    /// dh/dt of what leaves, J/(kg s), at given rates of mass, energy and volume: `h = u + p/rho`.
    pub fn enthalpy_rate(&self, rates: &Rates) -> f64 {
        let gas = self.gas();
        let GasState { pressure, density, cv, .. } = *gas;
        let thinner = self.density_rate(rates);
        let warmer = self.temperature_rate(rates);
        let inner = cv * warmer + gas.du_drho() * thinner;
        let of_gas = inner + (self.gas_pressure_rate(rates) - pressure * thinner / density) / density;
        let Some(moisture) = self.moisture else { return of_gas };
        let (share, by_share) =
            (self.vapour_share(), moisture.vapour.enthalpy(self.state.temperature) - moisture.gas.enthalpy);
        (1.0 - share) * of_gas + share * CP * warmer + by_share * self.vapour_share_rate(rates)
    }

    /// d(share of vapour in the mass)/dt, 1/s.
    pub fn vapour_share_rate(&self, rates: &Rates) -> f64 {
        let all = self.mass + self.vapour();
        (self.mass * rates.vapour - self.vapour() * rates.mass) / (all * all)
    }

    fn density_rate(&self, rates: &Rates) -> f64 {
        (rates.mass - self.gas().density * rates.volume) / self.volume
    }

    /// Gives moist gas a temperature, K, by its masses and volume.
    ///
    /// # Errors
    /// Where the gas has no such state.
    pub fn set_temperature(&mut self, gas: &Gas, moisture: Moisture, temperature: f64) -> Result<(), GasError> {
        let alone = gas.state_rho_t(self.mass / self.volume, temperature)?;
        let vapour = moisture.mass * GAS_CONSTANT * temperature / self.volume;
        self.state = gas.state_p_t(alone.pressure + vapour, temperature)?;
        self.moisture = Some(Moisture { gas: alone, ..moisture });
        Ok(())
    }

    /// Gives moist gas an energy, J, by its masses and volume; its temperature comes out to rounding.
    ///
    /// # Errors
    /// Where the gas has no such state.
    pub fn set_energy(&mut self, gas: &Gas, moisture: Moisture, energy: f64) -> Result<(), GasError> {
        let density = self.mass / self.volume;
        let (mut temperature, mut left) = (self.state.temperature, f64::NAN);
        for _ in 0..STEPS {
            let alone = gas.state_rho_t(density, temperature)?;
            let heat = self.mass * alone.cv + moisture.mass * CV;
            let has = self.mass * alone.internal_energy + moisture.mass * moisture.vapour.internal_energy(temperature);
            left = energy - has;
            let warmer = (left / heat).clamp(-0.3 * temperature, 0.3 * temperature);
            temperature += warmer;
            // Newton's method: what is left is about the square.
            if warmer.abs() <= 1e-9 * temperature {
                return self.set_temperature(gas, moisture, temperature);
            }
        }
        Err(GasError::NotConverged { unknown: "temperature", pressure: self.state.pressure, temperature, left })
    }
}
