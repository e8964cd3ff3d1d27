//! Water that evaporates into the gas of the tanks: vapour in every gas vessel, where any tank's water evaporates.
//!
//! Its states, the last of the gas side: vapour in every vessel, and vapour that outlets have let out, kg. In the tank's
//! balances, with the flow `m` of what evaporates:
//!
//! ```text
//! d(vapour)/dt = m       dW/dt = -outflow - m/rho_water       dU/dt = ... + m h_vapour(T_water)
//! ```

use nalgebra::DMatrix;

use super::jacobian::{Effect, Effects};
use super::{Supply, SupplyError};
use crate::component::gas_vessel::{Content, Moisture, Rates};
use crate::component::gas_wall::HeatPath;
use crate::component::tank::UllageModel;
use crate::component::vapour::Vapour;
use crate::fluid::gas::{Gas, GasError};
use crate::network::{GasVessel, GasVesselKind, Network};

/// The vapour of a network; `None` where no tank's water evaporates.
pub(super) fn vapour(network: &Network) -> Result<Option<Vapour>, SupplyError> {
    let Some(tank) = network.tanks.iter().find(|tank| tank.evaporation.is_some()) else { return Ok(None) };
    let wrap = |source| SupplyError::Vapour { tank: network.nodes[tank.node].name.to_string(), source };
    Vapour::of(&network.site).map(Some).map_err(wrap)
}

/// Content of a vessel at the start, from that of gas without vapour at its pressure.
pub(super) fn at_start(
    network: &Network,
    gas: &Gas,
    vessel: &GasVessel,
    dry: Content,
    vapour: Option<Vapour>,
) -> Result<Content, SupplyError> {
    let Some(vapour) = vapour else { return Ok(dry) };
    let humidity = match vessel.kind {
        GasVesselKind::Ullage(tank) => network.tanks[tank].evaporation.map_or(0.0, |evaporation| evaporation.humidity),
        GasVesselKind::Bank { .. } | GasVesselKind::Header { .. } => 0.0,
    };
    let wrap = |source| SupplyError::Gas { item: vessel.name.clone(), time: network.duty.start, source };
    let (pressure, temperature) = (humidity * vapour.saturation, dry.state.temperature);
    let alone = gas.state_p_t(dry.state.pressure - pressure, temperature).map_err(wrap)?;
    let mass = Vapour::mass(pressure, dry.volume, temperature);
    let moisture = Moisture { vapour, mass, gas: alone };
    Ok(Content { mass: alone.density * dry.volume, moisture: Some(moisture), ..dry })
}

impl Supply<'_> {
    /// Whether vapour is in the gas.
    fn is_moist(&self) -> bool {
        self.start.first().is_some_and(|content| content.moisture.is_some())
    }

    /// Number of states of the vapour.
    pub(super) fn moisture_dim(&self) -> usize {
        if self.is_moist() { self.start.len() + 1 } else { 0 }
    }

    /// Place of the vapour of the first vessel in the state vector.
    pub(super) fn moisture_index(&self) -> usize {
        self.columns_at() - self.moisture_dim()
    }

    /// Place of the vapour of a vessel in the state vector.
    pub(super) fn vapour_index(&self, vessel: usize) -> Option<usize> {
        self.is_moist().then(|| self.moisture_index() + vessel)
    }

    /// Adds to the row of the vapour let out.
    pub(super) fn add_let_out(&self, j: &mut DMatrix<f64>, column: usize, by: f64) {
        if self.is_moist() {
            j[(self.columns_at() - 1, column)] += by;
        }
    }

    /// States of the vapour at the start, and their natural sizes: that of a vessel full of saturated vapour.
    pub(super) fn moisture_start(&self) -> Vec<(f64, f64)> {
        if !self.is_moist() {
            return Vec::new();
        }
        let full = |content: &Content, vessel: &GasVessel| {
            let volume = match vessel.kind {
                GasVesselKind::Ullage(tank) => self.network.tanks[tank].volume,
                GasVesselKind::Bank { .. } | GasVesselKind::Header { .. } => content.volume,
            };
            let saturated = |m: Moisture| Vapour::mass(m.vapour.saturation, volume, m.vapour.water_temperature);
            (content.vapour(), content.moisture.map_or(1.0, saturated))
        };
        let vessels = self.start.iter().zip(&self.network.gas_vessels);
        let mut states: Vec<_> = vessels.map(|(content, vessel)| full(content, vessel)).collect();
        states.push((0.0, states.iter().map(|(_, size)| size).sum()));
        states
    }

    /// Water in the vapour of all vessels and in what has been let out, m3.
    pub fn evaporated(&self, y: &[f64]) -> f64 {
        let vapour: f64 = y.iter().skip(self.moisture_index()).take(self.moisture_dim()).sum();
        vapour / self.network.site.water_density
    }

    /// State of a vessel that holds moist gas.
    pub(super) fn fill_moist(&mut self, v: usize, model: UllageModel, y: &[f64]) -> Result<(), GasError> {
        let at = self.moisture_index();
        let vessel = &self.network.gas_vessels[v];
        let content = &mut self.contents[v];
        let Some(moisture) = content.moisture else { return Ok(()) };
        let moisture = Moisture { mass: y[at + v], ..moisture };
        match model {
            UllageModel::Energy | UllageModel::Adiabatic => content.set_energy(&self.gas, moisture, y[2 * v + 1]),
            UllageModel::Isothermal => content.set_temperature(&self.gas, moisture, vessel.temperature),
            UllageModel::Polytropic { exponent } => {
                // Without gas inflow, and no water evaporates here: no vapour is in it.
                let pressure = vessel.pressure * (self.start[v].volume / content.volume).powf(exponent);
                let density = content.mass / content.volume;
                let state = self.gas.state_p_rho(pressure, density, content.state.temperature)?;
                content.state = state;
                content.moisture = Some(Moisture { gas: state, ..moisture });
                Ok(())
            }
        }
    }

    /// Heat transfer between the gas and the water of a tank, W/K; vapour that rises from the water moves the gas as warmth does.
    pub(super) fn transfer_to_water(&self, v: usize, path: HeatPath) -> f64 {
        let (content, site) = (&self.contents[v], &self.network.site);
        let state = &content.state;
        let lift = content
            .moisture
            .map_or(0.0, |moisture| moisture.vapour.virtual_difference(&self.gas, state, content.vapour_pressure()));
        let surface = site.water_temperature + if self.evaporating(v) { lift } else { 0.0 };
        match path {
            // Warm gas lies still on colder water.
            HeatPath::Natural { .. } if state.temperature >= surface => 0.0,
            path => path.transfer(&self.gas, state, surface, site.gravity),
        }
    }

    /// Whether the water below a vessel evaporates; what is left in a tank that is out does not.
    fn evaporating(&self, v: usize) -> bool {
        match self.network.gas_vessels[v].kind {
            GasVesselKind::Ullage(tank) => self.network.tanks[tank].evaporation.is_some() && !self.dry[tank],
            GasVesselKind::Bank { .. } | GasVesselKind::Header { .. } => false,
        }
    }

    /// Flow of what evaporates into a vessel, kg/s, per pascal that the vapour is below its saturation, with so much heat
    /// transfer to the water, W/K.
    pub(super) fn evaporation(&self, v: usize, to_water: f64) -> f64 {
        let content = &self.contents[v];
        match content.moisture {
            Some(moisture) if self.evaporating(v) => moisture.vapour.conductance(&self.gas, &content.state, to_water),
            _ => 0.0,
        }
    }

    /// What evaporates into a vessel: vapour, its energy, and the volume of the water that it leaves.
    pub(super) fn evaporates(&self, v: usize) -> Rates {
        let Some(moisture) = &self.contents[v].moisture else { return Rates::default() };
        let flow = self.gas_side.evaporation(v) * (moisture.vapour.saturation - self.contents[v].vapour_pressure());
        self.of_evaporation(moisture, flow)
    }

    fn of_evaporation(&self, moisture: &Moisture, flow: f64) -> Rates {
        let energy = flow * moisture.vapour.enthalpy(moisture.vapour.water_temperature);
        Rates { vapour: flow, energy, volume: flow / self.network.site.water_density, mass: 0.0 }
    }

    /// d(state)/dt of the vapour.
    pub(super) fn moisture_derivative(&self, dydt: &mut [f64]) {
        if !self.is_moist() {
            return;
        }
        let at = self.moisture_index();
        for (v, rates) in self.rates.iter().enumerate() {
            dydt[at + v] = rates.vapour;
        }
        let outlets = self.gas_side.outlets.iter().filter(|outlet| !outlet.inward);
        let out: f64 = outlets.map(|outlet| self.contents[outlet.vessel].carried(outlet.flow.mass_flow).vapour).sum();
        dydt[at + self.rates.len()] = out;
    }

    /// Adds how evaporation answers to the state.
    pub(super) fn moisture_jacobian(&self, j: &mut DMatrix<f64>, effects: &Effects) {
        if !self.is_moist() {
            return;
        }
        let at = self.moisture_index();
        for (k, tank) in self.network.tanks.iter().enumerate() {
            let (v, conductance) = (tank.vessel, self.gas_side.evaporation(tank.vessel));
            let (content, Some(moisture)) = (&self.contents[v], self.contents[v].moisture) else { continue };
            if conductance == 0.0 {
                continue;
            }
            for &Effect { column, change, .. } in effects.on(v) {
                let by = self.of_evaporation(&moisture, -conductance * content.vapour_pressure_rate(&change));
                j[(at + v, column)] += by.vapour;
                j[(self.water_index(k), column)] -= by.volume;
                j[(2 * v + 1, column)] += by.energy - content.state.pressure * by.volume;
            }
        }
    }
}
