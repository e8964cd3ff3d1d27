//! Tank: water under gas, in a vertical cylinder.

use super::gas_outlet::Relief;
use super::gas_wall::HeatPath;
use super::law::circle;
use super::vapour::Evaporation;
use crate::fluid::site::Site;

/// A gas-pressurised water tank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tank {
    /// Index of its node.
    pub node: usize,
    /// Index of its ullage among the gas vessels.
    pub vessel: usize,
    /// Total volume, m3.
    pub volume: f64,
    /// Inner diameter, m: level = water volume / area.
    pub diameter: f64,
    /// Water at the start, m3.
    pub water: f64,
    /// Water that cannot be used, m3.
    pub heel: f64,
    /// Rated pressure, Pa absolute.
    pub rating: Option<f64>,
    /// How the gas over the water changes.
    pub ullage: UllageModel,
    /// Relief valve.
    pub relief: Option<Relief>,
    /// Heat transfer between the gas and the water.
    pub to_water: Option<HeatPath>,
    /// How its water evaporates into its gas; `None`: not at all.
    pub evaporation: Option<Evaporation>,
    /// Whether its outlet has a vortex breaker.
    pub vortex_breaker: bool,
}

/// How the gas over the water changes as the tank empties.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum UllageModel {
    /// Energy balance with heat from the wall and from incoming gas.
    Energy,
    /// Constant temperature.
    Isothermal,
    /// Energy balance without heat from the wall.
    Adiabatic,
    /// p V^n constant; without gas inflow only.
    Polytropic {
        /// n.
        exponent: f64,
    },
}

impl Tank {
    /// Area of the water's surface, m2.
    pub fn surface(&self) -> f64 {
        circle(self.diameter)
    }

    /// Pressure at the outlet above that of the gas with a volume of water, m3: `rho g (water volume/area)`, Pa.
    pub fn head_of_water(&self, water: f64, site: &Site) -> f64 {
        site.water_density * site.gravity * water / self.surface()
    }
}
