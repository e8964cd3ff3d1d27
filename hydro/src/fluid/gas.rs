//! Nitrogen and air, real or ideal: states, and the mass flux of an isentropic expansion.
//!
//! Everything is SI and per kilogram. Iterative functions take their start as an argument and keep nothing, so that
//! equal arguments give equal results. See `docs/theory/gas.md`.

mod gerg2008;
mod helmholtz;
mod ideal;
mod ideal_part;
mod lanes;
mod nozzle;
mod real;
#[cfg(test)]
mod tests;
mod transport;

pub use nozzle::{Flux, Throat};

use ideal::Ideal;
use real::Real;

/// The pressurising gas.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GasKind {
    /// Nitrogen.
    Nitrogen,
    /// Dry air.
    Air,
}

/// Equation of state of the gas.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GasModel {
    /// GERG-2008.
    Real,
    /// Ideal with constant heats.
    Ideal,
}

/// State of the gas. Energies count from a zero that depends on kind and model, so only differences mean something.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GasState {
    /// Pressure, Pa absolute.
    pub pressure: f64,
    /// Temperature, K.
    pub temperature: f64,
    /// Density, kg/m3.
    pub density: f64,
    /// Internal energy, J/kg.
    pub internal_energy: f64,
    /// Enthalpy, J/kg.
    pub enthalpy: f64,
    /// Entropy, J/(kg K).
    pub entropy: f64,
    /// Isobaric heat, J/(kg K).
    pub cp: f64,
    /// Isochoric heat, J/(kg K).
    pub cv: f64,
    /// Speed of sound, m/s.
    pub speed_of_sound: f64,
    /// dp/drho at constant temperature, Pa m3/kg.
    pub dp_drho: f64,
    /// dp/dT at constant density, Pa/K.
    pub dp_dt: f64,
}

impl GasState {
    /// du/drho at constant temperature, J m3/kg2: `(p - T dp/dT)/rho^2`.
    pub fn du_drho(&self) -> f64 {
        (self.pressure - self.temperature * self.dp_dt) / (self.density * self.density)
    }

    /// How much warmer, K, a state of another density (kg/m3) and internal energy (J/kg) is, to first order.
    pub fn warming_to(&self, density: f64, internal_energy: f64) -> f64 {
        (internal_energy - self.internal_energy - self.du_drho() * (density - self.density)) / self.cv
    }
}

/// Why a state or a flow of gas could not be given.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum GasError {
    /// Temperature outside the range of the equation, K.
    #[error("the gas is at {temperature} K, outside {lowest} to {highest} K")]
    Temperature {
        /// What was asked for or reached, K.
        temperature: f64,
        /// Lowest, K.
        lowest: f64,
        /// Highest, K.
        highest: f64,
    },
    /// Pressure outside the range of the equation, Pa.
    #[error("the gas is at {pressure} Pa, outside 0 to {highest} Pa (absolute)")]
    Pressure {
        /// What was asked for or reached, Pa.
        pressure: f64,
        /// Highest, Pa.
        highest: f64,
    },
    /// Density not positive, not finite or beyond any gas, kg/m3.
    #[error("the density of the gas is {density} kg/m3, which no state has")]
    Density {
        /// What was asked for, kg/m3.
        density: f64,
    },
    /// Internal energy outside the range of the equation, J/kg.
    #[error(
        "the gas of {density} kg/m3 has an internal energy of {internal_energy} J/kg, outside {lowest} to {highest} J/kg: too cold or too hot"
    )]
    Energy {
        /// What was asked for, J/kg.
        internal_energy: f64,
        /// Density, kg/m3.
        density: f64,
        /// At the lowest temperature, J/kg.
        lowest: f64,
        /// At the highest temperature, J/kg.
        highest: f64,
    },
    /// The state lies where part or all of the gas is liquid.
    #[error("the gas would condense: {pressure} Pa, {temperature} K, {density} kg/m3")]
    Condenses {
        /// Pressure, Pa.
        pressure: f64,
        /// Temperature, K.
        temperature: f64,
        /// Density, kg/m3.
        density: f64,
    },
    /// An iteration did not end.
    #[error("no {unknown} of the gas found from {pressure} Pa and {temperature} K: {left} left over")]
    NotConverged {
        /// What was sought.
        unknown: &'static str,
        /// Pressure (upstream), Pa.
        pressure: f64,
        /// Temperature (upstream), K.
        temperature: f64,
        /// What was left of the equation, in its own unit.
        left: f64,
    },
}

#[derive(Debug, Clone, Copy)]
enum Equation {
    Ideal(Ideal),
    Real(Real),
}

/// A gas: its kind and its equation of state. Cheap to copy.
///
/// # Range
/// Real: 60 to 700 K and up to 70 MPa, gas only (the normal range of GERG-2008 is 90 to 450 K and 35 MPa, where it
/// states 0.1 % in density). Supersaturated gas is accepted up to the limit of stability, because fast expansion
/// does pass there; `is_supersaturated` tells. Ideal: any positive finite density and temperature.
///
/// # Source
/// Real: GERG-2008, see `docs/theory/gas.md`. Ideal: ratio of the heats 1.4.
///
/// # Example
/// ```
/// use hydro::fluid::gas::{Gas, GasKind, GasModel};
///
/// let gas = Gas::new(GasKind::Nitrogen, GasModel::Real);
/// let state = gas.state_p_t(300e5, 300.0)?;
/// // 294.78 kg/m3: Span et al. (2000), from which GERG-2008 differs by less than 0.1 %
/// assert!((state.density - 294.7812).abs() < 1e-3 * 294.7812);
/// # Ok::<(), hydro::fluid::gas::GasError>(())
/// ```
#[derive(Debug, Clone, Copy)]
pub struct Gas {
    kind: GasKind,
    model: GasModel,
    equation: Equation,
}

impl PartialEq for Gas {
    fn eq(&self, other: &Self) -> bool {
        (self.kind, self.model) == (other.kind, other.model)
    }
}

/// Share by which a state may differ from another to be found from it to first order.
const NEAR: f64 = 3e-6;

impl Gas {
    /// The gas of this kind by this equation of state.
    pub fn new(kind: GasKind, model: GasModel) -> Self {
        let equation = match model {
            GasModel::Ideal => Equation::Ideal(Ideal::new(kind)),
            GasModel::Real => Equation::Real(Real::new(kind)),
        };
        Self { kind, model, equation }
    }

    /// Kind of the gas.
    pub fn kind(&self) -> GasKind {
        self.kind
    }

    /// Equation of state.
    pub fn model(&self) -> GasModel {
        self.model
    }

    /// Molar mass, kg/mol.
    pub fn molar_mass(&self) -> f64 {
        match &self.equation {
            Equation::Ideal(_) => ideal::molar_mass(self.kind),
            Equation::Real(real) => real.helmholtz.molar_mass,
        }
    }

    /// Specific gas constant, J/(kg K).
    pub fn gas_constant(&self) -> f64 {
        match &self.equation {
            Equation::Ideal(ideal) => ideal.gas_constant,
            Equation::Real(real) => real.helmholtz.gas_constant,
        }
    }

    /// State at a density (kg/m3) and a temperature (K).
    ///
    /// # Errors
    /// Outside the range, or where the gas would condense.
    pub fn state_rho_t(&self, density: f64, temperature: f64) -> Result<GasState, GasError> {
        match &self.equation {
            Equation::Ideal(ideal) => ideal.state_rho_t(density, temperature),
            Equation::Real(real) => real.state_rho_t(density, temperature),
        }
    }

    /// State at a pressure (Pa absolute) and a temperature (K). The pressure comes out to 1e-13 or better.
    ///
    /// # Errors
    /// Outside the range, or where the gas would condense (here: above the saturation pressure).
    pub fn state_p_t(&self, pressure: f64, temperature: f64) -> Result<GasState, GasError> {
        match &self.equation {
            Equation::Ideal(ideal) => ideal.state_p_t(pressure, temperature),
            Equation::Real(real) => real.state_p_t(pressure, temperature),
        }
    }

    /// State at a density (kg/m3) and an internal energy (J/kg), from a guess of the temperature (K).
    ///
    /// Temperature, pressure and energies come out to 1e-13 or better, heats and derivatives to 1e-7.
    ///
    /// # Errors
    /// Outside the range, or where the gas would condense.
    pub fn state_rho_u(
        &self,
        density: f64,
        internal_energy: f64,
        temperature_guess: f64,
    ) -> Result<GasState, GasError> {
        match &self.equation {
            Equation::Ideal(ideal) => ideal.state_rho_u(density, internal_energy),
            Equation::Real(real) => real.state_rho_u(density, internal_energy, temperature_guess),
        }
    }

    /// State at a density (kg/m3) and an internal energy (J/kg) next to a known state of this gas, to first order from
    /// there; `None` where density or temperature differ by more than 3e-6 of themselves.
    ///
    /// ```text
    /// dT = (du - (du/drho) drho)/cv,    dp = (dp/drho) drho + (dp/dT) dT,    T ds = du - p/rho^2 drho
    /// ```
    ///
    /// Energy and density are those asked for, pressure, temperature and entropy come out to 1e-11, heats, derivatives
    /// and speed of sound stay: to 1e-5.
    pub fn state_near(&self, known: &GasState, density: f64, internal_energy: f64) -> Option<GasState> {
        let drho = density - known.density;
        let du = internal_energy - known.internal_energy;
        let dt = known.warming_to(density, internal_energy);
        if !(drho.abs() <= NEAR * known.density && dt.abs() <= NEAR * known.temperature) {
            return None;
        }
        let pressure = known.pressure + known.dp_drho * drho + known.dp_dt * dt;
        let heat = du - known.pressure / (known.density * known.density) * drho;
        Some(GasState {
            pressure,
            temperature: known.temperature + dt,
            density,
            internal_energy,
            enthalpy: internal_energy + pressure / density,
            entropy: known.entropy + heat / known.temperature,
            ..*known
        })
    }

    /// State at a pressure (Pa absolute) and a density (kg/m3), from a guess of the temperature (K).
    ///
    /// # Errors
    /// Outside the range, or where the gas would condense.
    pub fn state_p_rho(&self, pressure: f64, density: f64, temperature_guess: f64) -> Result<GasState, GasError> {
        let mut temperature = temperature_guess;
        let mut left = f64::INFINITY;
        for _ in 0..40 {
            let state = self.state_rho_t(density, temperature)?;
            left = pressure - state.pressure;
            if left.abs() <= 1e-13 * pressure.abs() {
                return Ok(state);
            }
            temperature += (left / state.dp_dt).clamp(-0.3 * temperature, 0.3 * temperature);
        }
        let state = self.state_rho_t(density, temperature)?;
        if left.abs() <= 1e-9 * pressure.abs() {
            return Ok(state);
        }
        Err(GasError::NotConverged { unknown: "temperature", pressure, temperature, left })
    }

    /// Saturation pressure of the vapour (air: dew pressure), Pa; none for an ideal gas or above the temperature
    /// where the saturated vapour ends (nitrogen 126.192 K, air 132.6312 K).
    pub fn saturation_pressure(&self, temperature: f64) -> Option<f64> {
        match &self.equation {
            Equation::Ideal(_) => None,
            Equation::Real(real) if temperature > 0.0 => real.saturation_pressure(temperature),
            Equation::Real(_) => None,
        }
    }

    /// True where the gas is colder than its saturation, so that some of it condenses if there is time.
    pub fn is_supersaturated(&self, state: &GasState) -> bool {
        self.saturation_pressure(state.temperature).is_some_and(|saturation| state.pressure > saturation)
    }

    /// Greatest mass flux of an isentropic expansion from a state at rest, `max rho sqrt(2 (h0 - h))` at constant
    /// entropy, to 1e-9, and the throat where it occurs, to 1e-6.
    ///
    /// `guess` is the result of a similar state upstream; without it the iteration takes some steps more. The gas may
    /// be supersaturated at the throat.
    ///
    /// # Errors
    /// When the iteration does not end.
    pub fn critical_flow(&self, upstream: &GasState, guess: Option<&Throat>) -> Result<Throat, GasError> {
        match &self.equation {
            Equation::Ideal(ideal) => Ok(nozzle::critical_ideal(ideal, upstream)),
            Equation::Real(real) => nozzle::critical_real(real, upstream, guess),
        }
    }

    /// Mass flux of an isentropic expansion from a state at rest to a pressure downstream (Pa absolute), or to the
    /// pressure of greatest flux where that is higher. Flow of a throat: discharge coefficient x area x this.
    ///
    /// `guess` is the throat of a similar computation. The flux is C1 at the change from subsonic to choked, and
    /// tends to `sqrt(2 rho (p_up - p_down))` as the drop vanishes: its slope is then infinite, so a user that needs
    /// a finite one has to join a law of its own at some small drop. Without a drop the flux is zero, and the
    /// derivative is given as zero.
    ///
    /// # Errors
    /// When an iteration does not end, or the pressure downstream is not finite.
    pub fn mass_flux(
        &self,
        upstream: &GasState,
        downstream_pressure: f64,
        guess: Option<&Throat>,
    ) -> Result<Flux, GasError> {
        if !downstream_pressure.is_finite() {
            return Err(GasError::Pressure { pressure: downstream_pressure, highest: real::HIGHEST_PRESSURE });
        }
        if downstream_pressure >= upstream.pressure {
            return Ok(nozzle::at_rest(upstream, downstream_pressure));
        }
        match &self.equation {
            Equation::Ideal(ideal) => Ok(nozzle::flux_ideal(ideal, upstream, downstream_pressure)),
            Equation::Real(real) => nozzle::flux_real(real, upstream, downstream_pressure, guess),
        }
    }
}
