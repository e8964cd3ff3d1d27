//! Ideal gas with constant heats: every relation in closed form.
//!
//! Source: any text on gas dynamics, such as A. H. Shapiro, The Dynamics and Thermodynamics of Compressible Fluid
//! Flow, vol. 1 (1953), ch. 4.

use super::{GasError, GasKind, GasState};

/// Molar gas constant, J/(mol K) (CODATA 2018, exact).
const GAS_CONSTANT: f64 = 8.314_462_618;

/// Ratio of the heats.
pub(super) const GAMMA: f64 = 1.4;

/// Molar mass of the ideal gas, kg/mol.
pub(super) fn molar_mass(kind: GasKind) -> f64 {
    match kind {
        GasKind::Nitrogen => 28.0134e-3,
        GasKind::Air => 28.96546e-3,
    }
}

/// An ideal gas.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Ideal {
    /// Specific gas constant, J/(kg K).
    pub gas_constant: f64,
    /// Isochoric heat, J/(kg K).
    pub cv: f64,
}

impl Ideal {
    pub fn new(kind: GasKind) -> Self {
        let gas_constant = GAS_CONSTANT / molar_mass(kind);
        Self { gas_constant, cv: gas_constant / (GAMMA - 1.0) }
    }

    pub fn state_rho_t(&self, density: f64, temperature: f64) -> Result<GasState, GasError> {
        if !(density.is_finite() && density > 0.0) {
            return Err(GasError::Density { density });
        }
        if !(temperature.is_finite() && temperature > 0.0) {
            return Err(GasError::Temperature { temperature, lowest: 0.0, highest: f64::MAX });
        }
        let r = self.gas_constant;
        let cp = self.cv + r;
        Ok(GasState {
            pressure: density * r * temperature,
            temperature,
            density,
            internal_energy: self.cv * temperature,
            enthalpy: cp * temperature,
            entropy: self.cv * temperature.ln() - r * density.ln(),
            cp,
            cv: self.cv,
            speed_of_sound: (GAMMA * r * temperature).sqrt(),
            dp_drho: r * temperature,
            dp_dt: density * r,
        })
    }

    pub fn state_p_t(&self, pressure: f64, temperature: f64) -> Result<GasState, GasError> {
        if !(pressure.is_finite() && pressure > 0.0) {
            return Err(GasError::Pressure { pressure, highest: f64::MAX });
        }
        self.state_rho_t(pressure / (self.gas_constant * temperature), temperature)
    }

    pub fn state_rho_u(&self, density: f64, internal_energy: f64) -> Result<GasState, GasError> {
        self.state_rho_t(density, internal_energy / self.cv)
    }
}

/// Density, temperature and pressure over those upstream where the flux is greatest, in that order.
pub(super) fn critical_ratios() -> [f64; 3] {
    let temperature = 2.0 / (GAMMA + 1.0);
    let density = temperature.powf(1.0 / (GAMMA - 1.0));
    [density, temperature, density * temperature]
}
