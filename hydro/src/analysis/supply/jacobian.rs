//! How the derivative of a supply's state answers to the state.

use nalgebra::DMatrix;

use super::{GasPassage, REGULATION_TIME, Supply};
use crate::component::gas_valve::GasValve;
use crate::component::gas_vessel::Rates;
use crate::network::GasVesselKind;

impl Supply<'_> {
    /// The fast part of d(derivative)/d(state) at the last instant: how the gas answers to the state of the vessels.
    /// The answer of the water network is left out; it comes over seconds.
    pub fn jacobian(&self, j: &mut DMatrix<f64>) {
        j.fill(0.0);
        for (v, content) in self.contents.iter().enumerate() {
            for (column, change) in self.columns(v) {
                let heat = self.heat_transfer(v) * content.temperature_rate(&change);
                j[(2 * v + 1, column)] -= heat + self.rates[v].volume * content.pressure_rate(&change);
            }
        }
        self.gas_side_jacobian(j);
        let mut by_state = vec![0.0; self.dim()];
        for &k in &self.order {
            let valve = &self.network.gas_valves[k];
            let passage = &self.passages[k];
            let (source, sink) = if passage.reversed { (valve.to, valve.from) } else { (valve.from, valve.to) };
            by_state.fill(0.0);
            match passage.holding.filter(|&holding| holding < passage.capacity.mass_flow) {
                Some(holding) if holding <= 0.0 => continue,
                Some(_) => self.holding_by_state(valve, j, &mut by_state),
                None => self.flow_by_state(passage, source, sink, &mut by_state),
            }
            let up = &self.contents[source];
            for (end, sign) in [(source, -1.0), (sink, 1.0)] {
                for (column, by) in by_state.iter().enumerate().filter(|(_, by)| **by != 0.0) {
                    j[(2 * end, column)] += sign * by;
                    j[(2 * end + 1, column)] += sign * up.state.enthalpy * by;
                }
                for (column, change) in self.columns(source) {
                    j[(2 * end + 1, column)] += sign * passage.flow.abs() * up.enthalpy_rate(&change);
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
        gas.into_iter().chain(water)
    }

    /// d(flow)/d(state) of an unlimited gas valve: a flow that is a pressure times a function of the ratio of the
    /// pressures, over the root of the temperature.
    fn flow_by_state(&self, passage: &GasPassage, source: usize, sink: usize, by_state: &mut [f64]) {
        let flow = passage.capacity;
        let (up, down) = (&self.contents[source], &self.contents[sink]);
        let ratio = down.state.pressure / up.state.pressure;
        let by_up = flow.mass_flow / up.state.pressure - ratio * flow.by_downstream;
        let by_temperature = -0.5 * flow.mass_flow / up.state.temperature;
        for (column, change) in self.columns(source) {
            by_state[column] += by_up * up.pressure_rate(&change) + by_temperature * up.temperature_rate(&change);
        }
        for (column, change) in self.columns(sink) {
            by_state[column] += flow.by_downstream * down.pressure_rate(&change);
        }
    }

    /// d(flow)/d(state) of a gas valve that holds its outlet: it makes up for what the flows before it do there.
    fn holding_by_state(&self, valve: &GasValve, j: &DMatrix<f64>, by_state: &mut [f64]) {
        let outlet = &self.contents[valve.to];
        for (column, by) in by_state.iter_mut().enumerate() {
            let others = Rates { mass: j[(2 * valve.to, column)], energy: j[(2 * valve.to + 1, column)], volume: 0.0 };
            *by = -outlet.pressure_rate(&others);
        }
        for (column, change) in self.columns(valve.to) {
            by_state[column] -= outlet.pressure_rate(&change) / REGULATION_TIME;
        }
        let gain = self.gain(valve);
        by_state.iter_mut().for_each(|by| *by /= gain);
    }
}
