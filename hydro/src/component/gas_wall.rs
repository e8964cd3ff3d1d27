//! Heat between the gas of a vessel, its metal wall, the water below it and the surroundings.

use crate::fluid::gas::{Gas, GasState};

/// Metal of a vessel that the gas exchanges heat with: one temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wall {
    /// Mass, kg.
    pub mass: f64,
    /// Specific heat, J/(kg K).
    pub specific_heat: f64,
    /// Heat transfer between gas and metal.
    pub inner: HeatPath,
    /// Heat transfer between metal and surroundings, W/K.
    pub to_ambient: f64,
    /// Temperature at the start, K; `None`: that of the gas.
    pub temperature: Option<f64>,
}

/// How well heat passes between a gas and a surface.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum HeatPath {
    /// Given, W/K.
    Given(f64),
    /// By free convection of the gas on an area, m2.
    Natural {
        /// Area, m2.
        area: f64,
    },
}

/// Specific heat of carbon steel at 20 degC, J/(kg K).
///
/// ```text
/// c = 425 + 0.773 T - 1.69e-3 T^2 + 2.22e-6 T^3       T in degC
/// ```
///
/// # Source
/// EN 1993-1-2:2005, 3.4.1.2 (formula from memory).
pub const STEEL: f64 = 439.8;

impl Wall {
    /// Heat that warms it by one kelvin, J/K.
    pub fn capacity(&self) -> f64 {
        self.mass * self.specific_heat
    }
}

impl HeatPath {
    /// Heat transfer, W/K, between a gas and a surface at a temperature, K.
    pub fn transfer(&self, gas: &Gas, state: &GasState, surface: f64, gravity: f64) -> f64 {
        match *self {
            HeatPath::Given(given) => given,
            HeatPath::Natural { area } => area * natural(gas, state, surface, gravity),
        }
    }
}

/// Heat transfer coefficient of free turbulent convection, W/(m2 K). The length drops out.
///
/// ```text
/// Nu = 0.13 Ra^(1/3)   ->   h = 0.13 k (rho^2 g beta |Tw - T| cp/(mu k))^(1/3)
/// ```
///
/// Properties are those of the bulk of the gas, beta = (dp/dT)_rho / (rho (dp/drho)_T).
///
/// # Range
/// Ra above 1e9 (metres of gas and kelvins of difference: always here); forced flow of incoming gas takes heat faster.
///
/// # Source
/// The usual form for turbulent free convection on vertical and upward-facing surfaces (from memory).
pub fn natural(gas: &Gas, state: &GasState, surface: f64, gravity: f64) -> f64 {
    let conductivity = gas.conductivity(state);
    let expansion = state.dp_dt / (state.density * state.dp_drho);
    let buoyancy = state.density * state.density * gravity * expansion * (surface - state.temperature).abs();
    let group = buoyancy * state.cp / (gas.viscosity(state) * conductivity);
    0.13 * conductivity * group.max(0.0).cbrt()
}

#[cfg(test)]
mod tests {
    use super::natural;
    use crate::fluid::gas::{Gas, GasKind, GasModel};

    #[test]
    fn still_air_by_a_wall() {
        // Air at 300 K and 1 atm, tables of any textbook: k 0.0263 W/(m K), nu 15.9e-6, alpha 22.5e-6 m2/s (from
        // memory); by hand with 20 K: Ra/L^3 = 9.81/300 x 20/(15.9e-6 x 22.5e-6) = 1.828e9, h = 0.13 k 1223 = 4.18.
        let gas = Gas::new(GasKind::Air, GasModel::Real);
        let state = gas.state_p_t(101325.0, 300.0).unwrap();
        let found = natural(&gas, &state, 320.0, 9.81);
        // Books differ by some per cent in these properties.
        assert!((found / 4.18 - 1.0).abs() < 0.02, "{found}");
        assert_eq!(natural(&gas, &state, 300.0, 9.81), 0.0);
    }
}
