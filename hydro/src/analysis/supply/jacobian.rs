//! How the derivative of a supply's state answers to the state.

use nalgebra::DMatrix;

use super::Supply;
use super::passage::{GasPassage, REGULATION_TIME};
use crate::component::gas_valve::GasValve;
use crate::component::gas_vessel::Rates;
use crate::network::GasVesselKind;

impl Supply<'_> {
    /// d(derivative)/d(state) at the last instant: how the gas answers to the state of the vessels, and how the water
    /// network answers to the heads of the tanks, which where a valve holds them apart is faster than either.
    pub fn jacobian(&mut self, j: &mut DMatrix<f64>) {
        j.fill(0.0);
        self.water_jacobian(j);
        for (v, content) in self.contents.iter().enumerate() {
            for (column, change) in self.columns(v) {
                let heat = self.heat_transfer(v) * content.temperature_rate(&change);
                j[(2 * v + 1, column)] -= heat + self.rates[v].volume * content.pressure_rate(&change);
            }
        }
        self.gas_side_jacobian(j);
        self.moisture_jacobian(j);
        let mut by_state = vec![0.0; self.dim()];
        for &k in &self.order {
            let valve = &self.network.gas_valves[k];
            let passage = &self.passages[k];
            let (source, sink) = if passage.reversed { (valve.to, valve.from) } else { (valve.from, valve.to) };
            by_state.fill(0.0);
            let [of_holding, of_capacity] = passage.shares;
            if of_holding > 0.0 {
                self.holding_by_state(valve, passage.holding.unwrap_or(0.0), j, &mut by_state);
                by_state.iter_mut().for_each(|by| *by *= of_holding);
            }
            if of_capacity > 0.0 {
                self.flow_by_state(passage, (source, sink), of_capacity, &mut by_state);
            }
            let up = &self.contents[source];
            for (end, sign) in [(source, -1.0), (sink, 1.0)] {
                for (column, by) in by_state.iter().enumerate().filter(|(_, by)| **by != 0.0) {
                    self.add_rates(j, end, column, &up.carried(*by), sign);
                }
                for (column, change) in self.columns(source) {
                    self.add_rates(j, end, column, &up.carried_rate(passage.flow.abs(), &change), sign);
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
    fn water_jacobian(&mut self, j: &mut DMatrix<f64>) {
        let Some(response) = self.water.response() else { return };
        let left = self.water_index(self.network.tanks.len());
        for (k, tank) in self.network.tanks.iter().enumerate() {
            let content = &self.contents[tank.vessel];
            for (column, change) in self.columns(tank.vessel) {
                let mut head = content.pressure_rate(&change);
                if column == self.water_index(k) {
                    head += tank.head_of_water(1.0, &self.network.site);
                }
                for (i, outlet) in self.network.tanks.iter().enumerate() {
                    let outflow = response[(i, k)] * head;
                    // Behind a tank that is out a line drains.
                    if !self.dry[i] {
                        j[(self.water_index(i), column)] -= outflow;
                    }
                    j[(2 * outlet.vessel + 1, column)] -= self.contents[outlet.vessel].state.pressure * outflow;
                    j[(left, column)] += outflow;
                }
            }
        }
    }

    /// Components of the state that a vessel's gas depends on, and the change that each one means.
    pub(super) fn columns(&self, vessel: usize) -> impl Iterator<Item = (usize, Rates)> {
        let water = match self.network.gas_vessels[vessel].kind {
            GasVesselKind::Ullage(tank) => Some((self.water_index(tank), Rates { volume: -1.0, ..Rates::default() })),
            _ => None,
        };
        let gas = [
            (2 * vessel, Rates { mass: 1.0, ..Rates::default() }),
            (2 * vessel + 1, Rates { energy: 1.0, ..Rates::default() }),
        ];
        let vapour = self.vapour_index(vessel).map(|at| (at, Rates { vapour: 1.0, ..Rates::default() }));
        gas.into_iter().chain(water).chain(vapour)
    }

    /// Adds a share of d(flow)/d(state) of an unlimited gas valve.
    fn flow_by_state(&self, passage: &GasPassage, (source, sink): (usize, usize), share: f64, by_state: &mut [f64]) {
        let flow = passage.capacity.times(share);
        let (up, down) = (&self.contents[source], &self.contents[sink]);
        let (by_up, by_temperature) = (flow.by_upstream, flow.by_temperature);
        for (column, change) in self.columns(source) {
            by_state[column] += by_up * up.pressure_rate(&change) + by_temperature * up.temperature_rate(&change);
        }
        for (column, change) in self.columns(sink) {
            by_state[column] += flow.by_downstream * down.pressure_rate(&change);
        }
    }

    /// d(flow)/d(state) of a gas valve that holds its outlet: it makes up for what the flows before it do there.
    fn holding_by_state(&self, valve: &GasValve, holding: f64, j: &DMatrix<f64>, by_state: &mut [f64]) {
        let outlet = &self.contents[valve.to];
        for (column, by) in by_state.iter_mut().enumerate() {
            let volume = match self.network.gas_vessels[valve.to].kind {
                GasVesselKind::Ullage(tank) => -j[(self.water_index(tank), column)],
                _ => 0.0,
            };
            let others = Rates {
                mass: j[(2 * valve.to, column)],
                vapour: self.vapour_index(valve.to).map_or(0.0, |at| j[(at, column)]),
                energy: j[(2 * valve.to + 1, column)],
                volume,
            };
            *by = -outlet.pressure_rate(&others);
        }
        for (column, change) in self.columns(valve.to) {
            by_state[column] -= outlet.pressure_rate(&change) / REGULATION_TIME;
        }
        // What a flow brings changes with the gas where it comes from.
        for (column, change) in self.columns(valve.from) {
            by_state[column] -= holding * outlet.pressure_rate(&self.contents[valve.from].carried_rate(1.0, &change));
        }
        let gain = self.gain(valve);
        by_state.iter_mut().for_each(|by| *by /= gain);
    }
}
