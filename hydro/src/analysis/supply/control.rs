//! The valves' courses through a run, and the conditions that are still waited for.

use super::Supply;
use crate::component::control::{Sensor, Trigger};
use crate::component::schedule::{Course, Move, Schedule};
use crate::network::{Network, PassageKind};

/// A valve of any kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ValveId {
    /// Water valve; index of its passage.
    Water(usize),
    /// Gas valve; its index.
    Gas(usize),
    /// Vent-down; index of its gas vessel.
    Vent(usize),
}

/// A condition with the valve that it moves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Control {
    /// The valve.
    pub valve: ValveId,
    /// The condition.
    pub trigger: Trigger,
    /// Share opened that the valve moves to.
    pub to: f64,
    /// When it was met, s.
    pub met: Option<f64>,
}

/// The courses of all valves as far as they are known, and every condition.
#[derive(Debug, Clone, PartialEq)]
pub struct Controls {
    /// Water valves: passage and course.
    pub water: Vec<(usize, Course)>,
    /// Gas valves.
    pub gas: Vec<Course>,
    /// Vent-downs: gas vessel and course.
    pub vents: Vec<(usize, Course)>,
    /// Conditions.
    pub list: Vec<Control>,
}

/// Share opened up to which the first step of a run goes where a water valve leaves its seat: a flow that begins so is no
/// polynomial of the time, and a longer step is thrown away.
const LEFT_SEAT: f64 = 1e-3;

impl Supply<'_> {
    /// Longest step with which to begin at a time, s, on the way to another; infinite where no water valve leaves its seat.
    pub fn longest_first_step(&self, from: f64, to: f64) -> f64 {
        let opened = self.controls.water.iter().map(|(_, course)| (course.opened(from), course.opened(to)));
        let leaving = opened.filter(|&(before, behind)| before == 0.0 && behind > 0.0);
        leaving.map(|(_, behind)| LEFT_SEAT * (to - from) / behind).fold(f64::INFINITY, f64::min)
    }
}

impl Controls {
    /// Courses at the start of a run, before any condition is met.
    pub fn new(network: &Network) -> Self {
        let mut list = Vec::new();
        let mut listen = |valve, schedule: &Schedule| {
            for (trigger, to) in [(schedule.opens_when, 1.0), (schedule.closes_when, 0.0)] {
                list.extend(trigger.map(|trigger| Control { valve, trigger, to, met: None }));
            }
        };
        let (mut water, mut gas) = (Vec::new(), Vec::new());
        for (k, passage) in network.passages.iter().enumerate() {
            if let PassageKind::Valve(valve) = &passage.kind {
                water.push((k, valve.schedule.course(&[])));
                listen(ValveId::Water(k), &valve.schedule);
            }
        }
        for (k, valve) in network.gas_valves.iter().enumerate() {
            gas.push(valve.schedule.course(&[]));
            listen(ValveId::Gas(k), &valve.schedule);
        }
        let mut vents = Vec::new();
        for (v, vessel) in network.gas_vessels.iter().enumerate() {
            if let Some(vent) = &vessel.vent_down {
                vents.push((v, vent.schedule.course(&[])));
                listen(ValveId::Vent(v), &vent.schedule);
            }
        }
        Controls { water, gas, vents, list }
    }

    /// Notes that a condition is met and plans what it orders.
    pub fn meet(&mut self, network: &Network, index: usize, time: f64) {
        self.list[index].met = Some(time);
        let valve = self.list[index].valve;
        let orders: Vec<Move> = (self.list.iter())
            .filter(|control| control.valve == valve)
            .filter_map(|control| Some(Move { at: control.met? + control.trigger.dead_time, to: control.to }))
            .collect();
        match valve {
            ValveId::Water(passage) => {
                if let PassageKind::Valve(data) = &network.passages[passage].kind {
                    let course = data.schedule.course(&orders);
                    let place = self.water.iter_mut().find(|(k, _)| *k == passage);
                    place.into_iter().for_each(|place| place.1 = course.clone());
                }
            }
            ValveId::Gas(k) => self.gas[k] = network.gas_valves[k].schedule.course(&orders),
            ValveId::Vent(v) => {
                if let Some(vent) = &network.gas_vessels[v].vent_down {
                    let course = vent.schedule.course(&orders);
                    let place = self.vents.iter_mut().find(|(vessel, _)| *vessel == v);
                    place.into_iter().for_each(|place| place.1 = course.clone());
                }
            }
        }
    }
}

impl ValveId {
    /// Name in the file.
    pub fn name(self, network: &Network) -> &str {
        match self {
            ValveId::Water(k) => &network.passages[k].name,
            ValveId::Gas(k) => &network.gas_valves[k].name,
            ValveId::Vent(v) => &network.gas_vessels[v].name,
        }
    }

    /// Name in a sentence.
    pub fn subject(self, network: &Network) -> String {
        match self {
            ValveId::Vent(_) => format!("the vent-down of {}", self.name(network)),
            _ => self.name(network).to_owned(),
        }
    }
}

impl Control {
    /// The condition as a clause: `the pressure of bank-a has fallen to 20 bar(g)`.
    pub fn clause(&self, network: &Network) -> String {
        let moved = if self.trigger.below { "fallen" } else { "risen" };
        let limit = self.trigger.limit;
        let pressure = || format!("{:.4} bar(g)", (limit - network.site.ambient_pressure) / 1e5);
        let tank = |k: usize| &network.nodes[network.tanks[k].node].name;
        match self.trigger.sensor {
            Sensor::GasPressure(k) => {
                format!("the gas pressure of {} has {moved} to {}", network.gas_vessels[k].name, pressure())
            }
            Sensor::WaterPressure(k) => {
                format!("the pressure of {} has {moved} to {}", network.nodes[k].name, pressure())
            }
            Sensor::Level(k) => format!("the level of {} has {moved} to {limit:.4} m", tank(k)),
            Sensor::Water(k) => format!("the water of {} has {moved} to {limit:.4} m3", tank(k)),
        }
    }
}

impl Supply<'_> {
    /// How far a condition is from being met at the last instant; 0 or less where it is, and ever after.
    pub fn control_margin(&self, index: usize, time: f64, y: &[f64]) -> f64 {
        let control = &self.controls.list[index];
        if control.met.is_some() {
            return -1.0;
        }
        if control.trigger.armed_at.is_some_and(|armed| time < armed) {
            return 1.0;
        }
        let reading = match control.trigger.sensor {
            Sensor::GasPressure(k) => Some(self.contents[k].state.pressure),
            Sensor::WaterPressure(k) => self.water.pressure(k),
            Sensor::Level(k) => Some(y[self.water_index(k)] / self.network.tanks[k].surface()),
            Sensor::Water(k) => Some(y[self.water_index(k)]),
        };
        reading.map_or(1.0, |reading| control.trigger.margin(reading))
    }

    /// Plans what a condition orders that is met at a time, s.
    pub fn meet(&mut self, index: usize, time: f64) {
        self.controls.meet(self.network, index, time);
    }
}
