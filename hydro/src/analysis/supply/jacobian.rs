//! How the derivative of a supply's state answers to the state.

use nalgebra::DMatrix;

use super::Supply;
use super::passage::{GasPassage, REGULATION_TIME};
use crate::component::gas_valve::GasValve;
use crate::component::gas_vessel::Rates;
use crate::network::GasVesselKind;

/// What a component of the state does to the gas of a vessel, a unit of it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Effect {
    /// Its place in the state.
    pub column: usize,
    /// The change that it means.
    pub change: Rates,
    /// Changes of the pressure, Pa, and of the temperature, K.
    pub pressure: f64,
    pub temperature: f64,
}

/// Effects on all vessels.
#[derive(Debug, Default)]
pub(super) struct Effects {
    list: Vec<Effect>,
    ends: Vec<usize>,
}

impl Effects {
    /// Those on a vessel: of its mass, its energy, the water below it and its vapour.
    pub fn on(&self, vessel: usize) -> &[Effect] {
        let first = vessel.checked_sub(1).map_or(0, |before| self.ends[before]);
        &self.list[first..self.ends[vessel]]
    }
}

/// A column of the Jacobian.
pub(super) fn column(j: &mut DMatrix<f64>, column: usize) -> &mut [f64] {
    let n = j.nrows();
    &mut j.as_mut_slice()[column * n..(column + 1) * n]
}

impl Supply<'_> {
    /// d(derivative)/d(state) at the last instant: how the gas answers to the state of the vessels, and how the water
    /// network answers to the heads of the tanks, which where a valve holds them apart is faster than either.
    pub fn jacobian(&mut self, j: &mut DMatrix<f64>) {
        j.as_mut_slice().fill(0.0);
        let effects = self.effects();
        self.water_jacobian(j, &effects);
        for v in 0..self.contents.len() {
            let (heat, volume) = (self.heat_transfer(v), self.rates[v].volume);
            for effect in effects.on(v) {
                column(j, effect.column)[2 * v + 1] -= heat * effect.temperature + volume * effect.pressure;
            }
        }
        self.gas_side_jacobian(j, &effects);
        self.moisture_jacobian(j, &effects);
        let mut by_state = Vec::with_capacity(self.dim());
        for &k in &self.order {
            let valve = &self.network.gas_valves[k];
            let passage = &self.passages[k];
            let (source, sink) = if passage.reversed { (valve.to, valve.from) } else { (valve.from, valve.to) };
            by_state.clear();
            let [of_holding, of_capacity] = passage.shares;
            if of_holding > 0.0 {
                self.holding_by_state(valve, passage.holding.unwrap_or(0.0), of_holding, j, &effects, &mut by_state);
            }
            if of_capacity > 0.0 {
                flow_by_state(passage, [effects.on(source), effects.on(sink)], of_capacity, &mut by_state);
            }
            let up = &self.contents[source];
            let carried = up.carried(1.0);
            for &(column, by) in by_state.iter().filter(|(_, by)| *by != 0.0) {
                self.add_rates(j, source, column, &carried, -by);
                self.add_rates(j, sink, column, &carried, by);
            }
            if passage.flow != 0.0 {
                for effect in effects.on(source) {
                    let carried = up.carried_rate(passage.flow.abs(), &effect.change);
                    self.add_rates(j, source, effect.column, &carried, -1.0);
                    self.add_rates(j, sink, effect.column, &carried, 1.0);
                }
            }
        }
        for (v, content) in self.contents.iter().enumerate() {
            if content.isothermal {
                j.row_mut(2 * v + 1).fill(0.0);
            }
        }
        self.energy_row(j);
    }

    /// Rows of the tanks' water and of the water that has left, and the work of the gas on it.
    fn water_jacobian(&mut self, j: &mut DMatrix<f64>, effects: &Effects) {
        let Some(response) = self.water.response() else { return };
        let network = self.network;
        let tanks = network.tanks.len();
        let (first, left) = (self.water_index(0), self.water_index(tanks));
        self.answers.tanks.clear();
        for (k, (tank, response)) in
            network.tanks.iter().zip(response.as_slice().chunks_exact(tanks.max(1))).enumerate()
        {
            if response.iter().all(|&answer| answer == 0.0) {
                continue;
            }
            let of_water = tank.head_of_water(1.0, &network.site);
            for effect in effects.on(tank.vessel) {
                let head = effect.pressure + if effect.column == first + k { of_water } else { 0.0 };
                self.answers.tanks.push((k, effect.column, head));
                let column = column(j, effect.column);
                let mut leaves = 0.0;
                for (i, (outlet, answer)) in network.tanks.iter().zip(response).enumerate() {
                    let outflow = answer * head;
                    // Behind a tank that is out a line drains.
                    if !self.dry[i] {
                        column[first + i] -= outflow;
                    }
                    column[2 * outlet.vessel + 1] -= self.contents[outlet.vessel].state.pressure * outflow;
                    leaves += outflow;
                }
                column[left] += leaves;
            }
        }
    }

    /// Components of the state that the gas of each vessel depends on.
    fn effects(&self) -> Effects {
        let vessels = self.contents.len();
        let mut effects = Effects { list: Vec::with_capacity(4 * vessels), ends: Vec::with_capacity(vessels) };
        let moist = self.vapour_index(0);
        for (v, (content, vessel)) in self.contents.iter().zip(&self.network.gas_vessels).enumerate() {
            let mut add = |column: usize, change: Rates| {
                let (pressure, temperature) = (content.pressure_rate(&change), content.temperature_rate(&change));
                effects.list.push(Effect { column, change, pressure, temperature });
            };
            add(2 * v, Rates { mass: 1.0, ..Rates::default() });
            add(2 * v + 1, Rates { energy: 1.0, ..Rates::default() });
            if let GasVesselKind::Ullage(tank) = vessel.kind {
                add(self.water_index(tank), Rates { volume: -1.0, ..Rates::default() });
            }
            if let Some(first) = moist {
                add(first + v, Rates { vapour: 1.0, ..Rates::default() });
            }
            effects.ends.push(effects.list.len());
        }
        effects
    }

    /// Adds a share of d(flow)/d(state) of a gas valve that holds its outlet: it makes up for what the flows before it do there.
    fn holding_by_state(
        &self,
        valve: &GasValve,
        holding: f64,
        share: f64,
        j: &DMatrix<f64>,
        effects: &Effects,
        by_state: &mut Vec<(usize, f64)>,
    ) {
        let outlet = &self.contents[valve.to];
        let own = effects.on(valve.to);
        // A flow that raises the pressure by so much.
        let flow = share / self.gain(valve);
        for (column, rates) in j.as_slice().chunks_exact(j.nrows()).enumerate() {
            // A component of the state changes by the row of its own.
            let rise: f64 = own.iter().map(|effect| effect.pressure * rates[effect.column]).sum();
            if rise != 0.0 {
                by_state.push((column, -rise * flow));
            }
        }
        by_state.extend(own.iter().map(|effect| (effect.column, -effect.pressure / REGULATION_TIME * flow)));
        // What a flow brings changes with the gas where it comes from.
        let source = &self.contents[valve.from];
        by_state.extend(effects.on(valve.from).iter().map(|effect| {
            let rise = outlet.pressure_rate(&source.carried_rate(1.0, &effect.change));
            (effect.column, -holding * rise * flow)
        }));
    }
}

/// Adds a share of d(flow)/d(state) of an unlimited gas valve; effects on where it comes from and where it goes.
fn flow_by_state(passage: &GasPassage, [source, sink]: [&[Effect]; 2], share: f64, by_state: &mut Vec<(usize, f64)>) {
    let flow = passage.capacity.times(share);
    by_state.extend(
        source.iter().map(|effect| {
            (effect.column, flow.by_upstream * effect.pressure + flow.by_temperature * effect.temperature)
        }),
    );
    by_state.extend(sink.iter().map(|effect| (effect.column, flow.by_downstream * effect.pressure)));
}
