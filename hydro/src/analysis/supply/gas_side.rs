//! What the gas exchanges with everything but gas valves: relief and vent-down, metal walls, water, surroundings.
//!
//! Its states, behind those of the water: gas that each outlet has let out, kg; temperature of each metal wall, K;
//! energy that has left gas and walls, J; vapour, where water evaporates.

use nalgebra::DMatrix;

use super::jacobian::{Effect, Effects, column};
use super::{Supply, SupplyError};
use crate::analysis::columns;
use crate::component::gas_outlet::{Lift, Relief};
use crate::component::gas_valve::{GasFlow, GasValveLaw};
use crate::component::gas_vessel::{Content, Rates};
use crate::component::tank::UllageModel;
use crate::component::weir_pipe::Vent;
use crate::fluid::gas::{Gas, GasError, GasState, Throat};
use crate::network::{GasVesselKind, Network, Passage, PassageKind};

/// A way of gas to the surroundings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlet {
    /// Vessel that it leaves.
    pub vessel: usize,
    /// What it is.
    pub kind: OutletKind,
    /// How a relief valve stands.
    pub lift: Lift,
    /// Its flow at the last instant.
    pub flow: GasFlow,
    /// Whether that comes in from outside.
    pub inward: bool,
    law: GasValveLaw,
    throat: Option<Throat>,
}

/// Kinds of outlets.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum OutletKind {
    /// Relief valve of a tank, by its index.
    Relief(usize, Relief),
    /// Vent-down of a vessel; index among the courses of vent-downs.
    VentDown(usize),
    /// Vent of a weir pipe that the gas of a tank comes to when it is out; index of the passage.
    Apex(usize),
}

/// Heat transfers of a vessel at the last instant, W/K, and what evaporates into it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Paths {
    wall: f64,
    ambient: f64,
    water: f64,
    /// kg/s per pascal that its vapour is below saturation.
    vapour: f64,
}

/// The gas side but gas vessels and gas valves.
#[derive(Debug, Clone)]
pub struct GasSide {
    /// Relief valves in the order of the tanks, then vent-downs in the order of the vessels, then the vents of weir pipes.
    pub outlets: Vec<Outlet>,
    /// Vessels that have a metal wall.
    walled: Vec<usize>,
    /// Temperature of the metal of each vessel at the last instant, K.
    pub walls: Vec<Option<f64>>,
    paths: Vec<Paths>,
    energy_leaves: f64,
    /// What comes in by vents: the gas at the pressure and the temperature of the surroundings; `None` without such vents.
    outside: Option<GasState>,
}

impl GasSide {
    /// At the start of a run.
    ///
    /// # Errors
    /// Where the gas cannot be at the state of the surroundings.
    pub fn new(network: &Network, gas: &Gas) -> Result<Self, GasError> {
        let throat = |bore, discharge_coefficient| GasValveLaw::Throat { bore, discharge_coefficient };
        let outlet = |vessel, kind, law| {
            let flow = GasFlow::NONE;
            Outlet { vessel, kind, lift: Lift::Shut, flow, inward: false, law, throat: None }
        };
        let reliefs = network.tanks.iter().enumerate().filter_map(|(k, tank)| {
            let relief = tank.relief?;
            let law = throat(relief.bore, relief.discharge_coefficient);
            Some(outlet(tank.vessel, OutletKind::Relief(k, relief), law))
        });
        let vents = network.gas_vessels.iter().enumerate().filter_map(|(v, vessel)| {
            let vent = vessel.vent_down.as_ref()?;
            Some((v, throat(vent.bore, vent.discharge_coefficient)))
        });
        let vents = vents.enumerate().map(|(course, (v, law))| outlet(v, OutletKind::VentDown(course), law));
        let apexes = apexes(network).into_iter().map(|(passage, tank, vent)| {
            let law = throat(vent.bore, vent.discharge_coefficient);
            outlet(network.tanks[tank].vessel, OutletKind::Apex(passage), law)
        });
        let walls = network.gas_vessels.iter();
        let outlets: Vec<Outlet> = reliefs.chain(vents).chain(apexes).collect();
        let (pressure, temperature) = (network.site.ambient_pressure, network.site.ambient_temperature);
        let aired = outlets.iter().any(|outlet| matches!(outlet.kind, OutletKind::Apex(_)));
        Ok(GasSide {
            outside: if aired { Some(gas.state_p_t(pressure, temperature)?) } else { None },
            outlets,
            walled: (0..network.gas_vessels.len()).filter(|&v| network.gas_vessels[v].wall.is_some()).collect(),
            walls: walls.map(|vessel| Some(vessel.wall?.temperature.unwrap_or(vessel.temperature))).collect(),
            paths: vec![Paths::default(); network.gas_vessels.len()],
            energy_leaves: 0.0,
        })
    }

    /// Flow of what evaporates into a vessel, kg/s, per pascal that its vapour is below saturation.
    pub(super) fn evaporation(&self, vessel: usize) -> f64 {
        self.paths[vessel].vapour
    }

    /// Number of its states but those of vapour.
    pub fn dim(&self) -> usize {
        self.outlets.len() + self.walled.len() + 1
    }
}

impl Outlet {
    /// Whether air can come in by it.
    fn breathes(&self) -> bool {
        matches!(self.kind, OutletKind::Apex(_))
    }

    /// What it lets out of its vessel at the last instant, less than nothing where air comes in.
    pub(super) fn carried(&self, content: &Content, outside: Option<&GasState>) -> Rates {
        match outside {
            Some(outside) if self.inward => brought(outside, self.flow.mass_flow),
            _ => content.carried(self.flow.mass_flow),
        }
    }
}

/// What a flow of air from outside, kg/s, is as one that leaves.
fn brought(outside: &GasState, flow: f64) -> Rates {
    Rates { mass: -flow, energy: -flow * outside.enthalpy, ..Rates::default() }
}

/// Vents of weir pipes that the gas of a tank can come to: passage, tank and vent.
fn apexes(network: &Network) -> Vec<(usize, usize, Vent)> {
    if !network.inertia {
        return Vec::new();
    }
    let ways = columns::ways(network);
    let of = |(k, passage): (usize, &Passage)| {
        let PassageKind::WeirPipe(weir) = &passage.kind else { return None };
        Some((k, columns::behind(network, &ways, k)[0]?, weir.vent?))
    };
    network.passages.iter().enumerate().filter_map(of).collect()
}

impl Supply<'_> {
    /// Place of the first state of the gas side.
    fn gas_side_index(&self) -> usize {
        2 * self.contents.len() + self.network.tanks.len() + 1
    }

    /// States of the gas side at the start, and their natural sizes.
    pub(super) fn gas_side_start(&self) -> Vec<(f64, f64)> {
        let mass: f64 = self.start.iter().map(|content| content.mass).sum();
        let energy: f64 = self.start.iter().map(|c| c.mass * c.state.cv * c.state.temperature).sum();
        let outlets = self.gas_side.outlets.iter().map(|_| (0.0, mass));
        let walls = self.gas_side.walled.iter().map(|&v| {
            let temperature = self.gas_side.walls[v].unwrap_or_default();
            (temperature, temperature)
        });
        outlets.chain(walls).chain([(0.0, energy)]).chain(self.moisture_start()).collect()
    }

    /// Gas that has left through outlets, kg.
    pub fn vented(&self, y: &[f64]) -> f64 {
        y.iter().skip(self.gas_side_index()).take(self.gas_side.outlets.len()).sum()
    }

    /// Gas that has left through one outlet, kg.
    pub fn vented_by(&self, outlet: usize, y: &[f64]) -> f64 {
        y.get(self.gas_side_index() + outlet).copied().unwrap_or(0.0)
    }

    /// Energy of gas and walls and what has left them, J: constant but for errors. Vessels whose temperature is given
    /// count as outside.
    pub fn energy(&self, y: &[f64]) -> f64 {
        let gas: f64 = y.iter().skip(1).step_by(2).take(self.contents.len()).sum();
        let first = self.gas_side_index() + self.gas_side.outlets.len();
        let walls = self.gas_side.walled.iter().enumerate();
        let metal: f64 = walls.map(|(k, &v)| self.capacity(v) * y[first + k]).sum();
        gas + metal + y[first + self.gas_side.walled.len()]
    }

    fn capacity(&self, vessel: usize) -> f64 {
        self.network.gas_vessels[vessel].wall.map_or(0.0, |wall| wall.capacity())
    }

    /// Takes the walls from the state and finds the heat transfers.
    pub(super) fn exchange_heat(&mut self, y: &[f64]) {
        let first = self.gas_side_index() + self.gas_side.outlets.len();
        for (k, &v) in self.gas_side.walled.iter().enumerate() {
            self.gas_side.walls[v] = Some(y[first + k]);
        }
        let site = &self.network.site;
        for (v, vessel) in self.network.gas_vessels.iter().enumerate() {
            let state = &self.contents[v].state;
            let mut paths = Paths { ambient: vessel.wall_heat_transfer, ..Paths::default() };
            if let (Some(wall), Some(metal)) = (vessel.wall, self.gas_side.walls[v]) {
                paths = Paths { wall: wall.inner.transfer(&self.gas, state, metal, site.gravity), ..Paths::default() };
            }
            if let GasVesselKind::Ullage(tank) = vessel.kind {
                let tank = &self.network.tanks[tank];
                paths.water = tank.to_water.map_or(0.0, |path| self.transfer_to_water(v, path));
                if tank.ullage == UllageModel::Adiabatic {
                    paths = Paths::default();
                }
                paths.vapour = self.evaporation(v, paths.water);
            }
            self.gas_side.paths[v] = paths;
        }
    }

    /// Heat that the gas of a vessel takes in, W.
    pub(super) fn heat(&self, vessel: usize) -> f64 {
        let (paths, temperature) = (self.gas_side.paths[vessel], self.contents[vessel].state.temperature);
        let site = &self.network.site;
        let metal = self.gas_side.walls[vessel].unwrap_or(temperature);
        paths.wall * (metal - temperature)
            + paths.ambient * (site.ambient_temperature - temperature)
            + paths.water * (site.water_temperature - temperature)
    }

    /// All heat transfer to the gas of a vessel, W/K.
    pub(super) fn heat_transfer(&self, vessel: usize) -> f64 {
        let paths = self.gas_side.paths[vessel];
        paths.wall + paths.ambient + paths.water
    }

    /// Lets gas out: flows of the outlets, added to the rates of their vessels.
    pub(super) fn pass_outlets(&mut self, time: f64) -> Result<(), SupplyError> {
        let ambient = self.network.site.ambient_pressure;
        for outlet in &mut self.gas_side.outlets {
            let content = &self.contents[outlet.vessel];
            let opened = match outlet.kind {
                OutletKind::Relief(_, relief) => relief.opened(outlet.lift, content.state.pressure),
                OutletKind::VentDown(k) => self.vent_motion[k].opened(&self.controls.vents[k].1, time),
                OutletKind::Apex(k) => f64::from(u8::from(self.water.vents_gas(k))),
            };
            (outlet.flow, outlet.inward) = (GasFlow::NONE, false);
            if opened <= 0.0 {
                continue;
            }
            let (upstream, downstream, lightness) = match &self.gas_side.outside {
                Some(outside) if outlet.breathes() && content.state.pressure < ambient => {
                    outlet.inward = true;
                    (outside, content.state.pressure, 1.0)
                }
                _ => (&content.state, ambient, content.lightness()),
            };
            let flow = outlet.law.flow_like(&self.gas, upstream, downstream, &mut outlet.throat);
            let item = &self.network.gas_vessels[outlet.vessel].name;
            let flow = flow.map_err(|source| SupplyError::Gas { item: item.clone(), time, source })?;
            outlet.flow = flow.times(opened * lightness);
            let carried = outlet.carried(content, self.gas_side.outside.as_ref());
            self.rates[outlet.vessel].takes(&carried, -1.0);
        }
        Ok(())
    }

    /// Lets the gas of the tank behind a line take in the air of its pocket, m3, at the state of the surroundings.
    pub(super) fn take_air(&mut self, line: usize, pocket: f64, y: &mut [f64]) {
        let Some((columns, _)) = self.water.columns() else { return };
        let passage = columns.lines[line].passage;
        let of_line = |outlet: &Outlet| outlet.kind == OutletKind::Apex(passage);
        let outlet = self.gas_side.outlets.iter().position(of_line);
        let (Some(outlet), Some(outside)) = (outlet, &self.gas_side.outside) else { return };
        let mass = outside.density * pocket;
        let v = self.gas_side.outlets[outlet].vessel;
        y[2 * v] += mass;
        y[self.gas_side_index() + outlet] -= mass;
        if !self.contents[v].isothermal {
            let energy = mass * outside.internal_energy;
            y[2 * v + 1] += energy;
            y[self.gas_side_index() + self.gas_side.outlets.len() + self.gas_side.walled.len()] -= energy;
        }
    }

    /// Energy that leaves gas and walls, W: work on the water, gas let out, heat to water and surroundings, and what
    /// goes into vessels whose temperature is given.
    pub(super) fn balance_energy(&mut self) {
        let site = &self.network.site;
        let mut leaves = 0.0;
        for (v, content) in self.contents.iter().enumerate() {
            let (paths, temperature) = (self.gas_side.paths[v], content.state.temperature);
            if !content.isothermal {
                leaves += content.state.pressure * self.rates[v].volume - self.evaporates(v).energy;
                leaves -= paths.ambient * (site.ambient_temperature - temperature);
                leaves -= paths.water * (site.water_temperature - temperature);
            }
            if let (Some(wall), Some(metal)) = (self.network.gas_vessels[v].wall, self.gas_side.walls[v]) {
                leaves -= wall.to_ambient * (site.ambient_temperature - metal);
            }
        }
        for outlet in self.gas_side.outlets.iter().filter(|outlet| !self.contents[outlet.vessel].isothermal) {
            leaves += outlet.carried(&self.contents[outlet.vessel], self.gas_side.outside.as_ref()).energy;
        }
        for (valve, passage) in self.network.gas_valves.iter().zip(&self.passages) {
            let (from, to) = (&self.contents[valve.from], &self.contents[valve.to]);
            let energy = passage.flow * if passage.flow >= 0.0 { from } else { to }.enthalpy();
            leaves += if to.isothermal { energy } else { 0.0 } - if from.isothermal { energy } else { 0.0 };
        }
        self.gas_side.energy_leaves = leaves;
    }

    /// d(state)/dt of the gas side.
    pub(super) fn gas_side_derivative(&self, dydt: &mut [f64]) {
        let first = self.gas_side_index();
        for (place, outlet) in dydt[first..].iter_mut().zip(&self.gas_side.outlets) {
            *place = outlet.carried(&self.contents[outlet.vessel], self.gas_side.outside.as_ref()).mass;
        }
        let first = first + self.gas_side.outlets.len();
        for (k, &v) in self.gas_side.walled.iter().enumerate() {
            dydt[first + k] = self.wall_rate(v);
        }
        dydt[first + self.gas_side.walled.len()] = self.gas_side.energy_leaves;
        self.moisture_derivative(dydt);
    }

    /// dT/dt of the metal of a vessel, K/s.
    fn wall_rate(&self, vessel: usize) -> f64 {
        let (Some(wall), Some(metal)) = (self.network.gas_vessels[vessel].wall, self.gas_side.walls[vessel]) else {
            return 0.0;
        };
        let to_gas = self.gas_side.paths[vessel].wall * (metal - self.contents[vessel].state.temperature);
        let from_ambient = wall.to_ambient * (self.network.site.ambient_temperature - metal);
        (from_ambient - to_gas) / wall.capacity()
    }

    /// Adds how outlets and walls answer to the state.
    pub(super) fn gas_side_jacobian(&self, j: &mut DMatrix<f64>, effects: &Effects) {
        let first = self.gas_side_index();
        let outlets = self.gas_side.outlets.iter().enumerate();
        for (k, outlet) in outlets.filter(|(_, outlet)| outlet.inward || outlet.flow.mass_flow > 0.0) {
            let (v, content) = (outlet.vessel, &self.contents[outlet.vessel]);
            for effect in effects.on(v) {
                let by = match &self.gas_side.outside {
                    Some(outside) if outlet.inward => brought(outside, outlet.flow.by_downstream * effect.pressure),
                    _ => {
                        let mut by = content.carried(self.outlet_by(outlet, content, effect));
                        by.takes(&content.carried_rate(outlet.flow.mass_flow, &effect.change), 1.0);
                        by
                    }
                };
                self.add_rates(j, v, effect.column, &by, -1.0);
                j[(first + k, effect.column)] += by.mass;
                self.add_let_out(j, effect.column, by.vapour);
            }
        }
        let first = first + self.gas_side.outlets.len();
        for (k, &v) in self.gas_side.walled.iter().enumerate() {
            let Some(wall) = self.network.gas_vessels[v].wall else { continue };
            let (row, transfer) = (first + k, self.gas_side.paths[v].wall);
            for effect in effects.on(v) {
                j[(row, effect.column)] += transfer * effect.temperature / wall.capacity();
            }
            j[(row, row)] -= (transfer + wall.to_ambient) / wall.capacity();
            j[(2 * v + 1, row)] += transfer;
        }
    }

    /// Adds so many times what a flow carries to the rows of a vessel.
    pub(super) fn add_rates(&self, j: &mut DMatrix<f64>, vessel: usize, at: usize, by: &Rates, times: f64) {
        let column = column(j, at);
        column[2 * vessel] += times * by.mass;
        column[2 * vessel + 1] += times * by.energy;
        if let Some(row) = self.vapour_index(vessel) {
            column[row] += times * by.vapour;
        }
    }

    /// Row of the energy that leaves: what the rows of gas and walls lose.
    pub(super) fn energy_row(&self, j: &mut DMatrix<f64>) {
        let vessels = 2 * self.contents.len();
        let first = self.gas_side_index() + self.gas_side.outlets.len();
        let row = first + self.gas_side.walled.len();
        let rows = j.nrows();
        for column in j.as_mut_slice().chunks_exact_mut(rows) {
            let gas: f64 = column[..vessels].as_chunks::<2>().0.iter().map(|[_, energy]| energy).sum();
            let walls = self.gas_side.walled.iter().zip(&column[first..row]);
            let metal: f64 = walls.map(|(&v, rate)| self.capacity(v) * rate).sum();
            column[row] = -gas - metal;
        }
    }

    /// d(flow)/d(state) of an outlet along an effect on its vessel.
    fn outlet_by(&self, outlet: &Outlet, content: &Content, effect: &Effect) -> f64 {
        let (flow, state) = (outlet.flow, &content.state);
        if flow.mass_flow <= 0.0 {
            return 0.0;
        }
        let mut by_pressure = flow.by_upstream;
        if let (OutletKind::Relief(_, relief), Lift::Modulating) = (outlet.kind, outlet.lift) {
            let opened = relief.opened(outlet.lift, state.pressure);
            if opened < 1.0 {
                by_pressure += flow.mass_flow / opened / (relief.set - relief.reseat);
            }
        }
        by_pressure * effect.pressure + flow.by_temperature * effect.temperature
    }

    /// How the relief valves stand.
    pub fn lifts(&self) -> Vec<Lift> {
        self.gas_side.outlets.iter().map(|outlet| outlet.lift).collect()
    }

    /// Sets how the relief valves stand.
    pub fn set_lifts(&mut self, lifts: &[Lift]) {
        for (outlet, lift) in self.gas_side.outlets.iter_mut().zip(lifts) {
            outlet.lift = *lift;
        }
        self.forget();
    }

    /// Pressure that is missing before a relief valve moves, Pa; above 0 while it is to be shut.
    pub fn relief_margin(&self, outlet: usize) -> f64 {
        let outlet = &self.gas_side.outlets[outlet];
        let pressure = self.contents[outlet.vessel].state.pressure;
        match outlet.kind {
            OutletKind::Relief(_, relief) => relief.margin(outlet.lift, pressure),
            OutletKind::VentDown(_) | OutletKind::Apex(_) => 1.0,
        }
    }

    /// Whether heat alone may yet open a relief valve or meet a condition.
    pub fn heat_may_order(&self) -> bool {
        let relief = |outlet: &Outlet| matches!(outlet.kind, OutletKind::Relief(..));
        let waits = self.gas_side.outlets.iter().any(relief) || self.controls.list.iter().any(|c| c.met.is_none());
        waits && (0..self.contents.len()).any(|v| self.heat_transfer(v) > 0.0)
    }

    /// Whether a vent-down is open, or opens before a time, s, by the orders known.
    pub fn vents_until(&self, end: f64) -> bool {
        self.controls.vents.iter().any(|(_, course)| {
            course.opened(end) > 0.0 || course.strokes().iter().any(|stroke| stroke.until < end && stroke.ends > 0.0)
        })
    }
}
