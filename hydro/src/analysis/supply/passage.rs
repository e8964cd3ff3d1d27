//! Gas valves at an instant: free flow, and the flow that a regulator lets through.

use super::{Motion, Supply, SupplyError};
use crate::component::gas_valve::{GasFlow, GasValve};

/// Time, s, in which a regulated valve would take the outlet back to its set pressure. Short enough that the outlet
/// stays within 0.1 % of the set pressure while it is throttled, long enough not to be followed step by step.
pub(super) const REGULATION_TIME: f64 = 1e-3;

/// Share of its capacity over which a regulated valve comes to its stops: without it the integrator steps back and
/// forth over the stop. It moves the set pressure by less than a thousandth of what the whole flow raises the outlet by
/// in [`REGULATION_TIME`].
const REGULATION_EASE: f64 = 1e-3;

/// A gas valve at an instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GasPassage {
    /// Flow, kg/s, positive `from` -> `to`.
    pub flow: f64,
    /// What the open valves would pass without a limit, kg/s, 0 or more.
    pub capacity: GasFlow,
    /// What would hold the outlet at the set pressure, kg/s; regulated valves only.
    pub holding: Option<f64>,
    /// d(flow)/d(holding) and d(flow)/d(capacity).
    pub shares: [f64; 2],
    /// Whether the gas runs against the direction of the valve.
    pub reversed: bool,
}

impl GasPassage {
    /// Nothing passes.
    pub fn none(reversed: bool) -> Self {
        GasPassage { flow: 0.0, capacity: GasFlow::NONE, holding: None, shares: [0.0, 1.0], reversed }
    }
}

/// What a regulated valve does through a stretch of time. Each is a smooth law, also beyond the end of the stretch, so that a
/// step which crosses that finds no kink.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Regulation {
    /// Whatever the state asks for, rounded where that changes.
    Any,
    /// It holds its outlet.
    Holding,
    /// It is fully open.
    Open,
    /// It is shut.
    Shut,
}

impl Supply<'_> {
    /// Flow of a gas valve, added to the rates of the vessels at its ends.
    pub(super) fn pass(&mut self, k: usize, time: f64) -> Result<(), SupplyError> {
        let valve = &self.network.gas_valves[k];
        let opened = match self.gas_motion[k] {
            Motion::Still(opened) => opened,
            motion => motion.opened(&self.controls.gas[k], time),
        };
        let (from, to) = (&self.contents[valve.from], &self.contents[valve.to]);
        let reversed = to.state.pressure > from.state.pressure;
        let (source, sink) = if reversed { (to, from) } else { (from, to) };
        let passage = &mut self.passages[k];
        *passage = GasPassage::none(reversed);
        if opened <= 0.0 || valve.open == 0 || (reversed && valve.regulated_to.is_some()) {
            return Ok(());
        }
        let needs_capacity = match self.regulations[k] {
            _ if valve.regulated_to.is_none() => true,
            Regulation::Any | Regulation::Open => true,
            // What it could pass is asked for where the state stays.
            Regulation::Holding | Regulation::Shut => !self.on_the_way,
        };
        if needs_capacity {
            let flow = valve.law.flow_like(&self.gas, &source.state, sink.state.pressure, &mut self.throats[k]);
            let flow = flow.map_err(|source| SupplyError::Gas { item: valve.name.clone(), time, source })?;
            passage.capacity = flow.times(opened * f64::from(valve.open) * source.lightness());
            passage.flow = if reversed { -passage.capacity.mass_flow } else { passage.capacity.mass_flow };
        }
        if let Some(set) = valve.regulated_to {
            let still = to.pressure_rate(&self.rates[valve.to]);
            let gain = to.pressure_rate(&from.carried(1.0));
            let holding = ((set - to.state.pressure) / REGULATION_TIME - still) / gain;
            passage.holding = Some(holding);
            (passage.flow, passage.shares) = match self.regulations[k] {
                Regulation::Any => regulated(holding, passage.capacity.mass_flow),
                Regulation::Holding => (holding, [1.0, 0.0]),
                Regulation::Open => (passage.capacity.mass_flow, [0.0, 1.0]),
                Regulation::Shut => (0.0, [0.0; 2]),
            };
        }
        let flow = passage.flow;
        let carried = if flow >= 0.0 { from } else { to }.carried(flow);
        self.rates[valve.from].takes(&carried, -1.0);
        self.rates[valve.to].takes(&carried, 1.0);
        Ok(())
    }

    /// Rise of the outlet's pressure per mass that a valve lets in, Pa/kg.
    pub(super) fn gain(&self, valve: &GasValve) -> f64 {
        let inflow = self.contents[valve.from].carried(1.0);
        self.contents[valve.to].pressure_rate(&inflow)
    }
}

/// Flow, kg/s, of a regulated valve that would hold its outlet by a flow, kg/s, of either sign, and can pass no more
/// than its capacity; with its slopes in both.
///
/// The flow from 0 to the capacity that is nearest, rounded over [`REGULATION_EASE`] of the capacity.
pub(super) fn regulated(holding: f64, capacity: f64) -> (f64, [f64; 2]) {
    let ease = REGULATION_EASE * capacity;
    let (opened, by_holding) = rounded(holding, ease);
    let (spare, by_opened) = rounded(capacity - opened, ease);
    (capacity - spare, [by_opened * by_holding, 1.0 - by_opened])
}

/// A number, where it is above 0, else 0; a parabola joins both from `-ease` to `ease`. With its slope.
fn rounded(x: f64, ease: f64) -> (f64, f64) {
    if x <= -ease {
        (0.0, 0.0)
    } else if x < ease {
        ((x + ease) * (x + ease) / (4.0 * ease), (x + ease) / (2.0 * ease))
    } else {
        (x, 1.0)
    }
}

/// Order of evaluation: a regulated valve after every valve that leaves its outlet, since it makes up for them.
/// Valves in a circle stay in the order of the file.
pub(super) fn order(valves: &[GasValve]) -> Vec<usize> {
    let mut graph = petgraph::graphmap::DiGraphMap::<usize, ()>::new();
    for k in 0..valves.len() {
        graph.add_node(k);
    }
    for (k, valve) in valves.iter().enumerate().filter(|(_, valve)| valve.regulated_to.is_some()) {
        for (other, leaving) in valves.iter().enumerate() {
            let plain_at_outlet = leaving.regulated_to.is_none() && leaving.to == valve.to;
            if other != k && (leaving.from == valve.to || plain_at_outlet) {
                graph.add_edge(other, k, ());
            }
        }
    }
    petgraph::algo::toposort(&graph, None).unwrap_or_else(|_| (0..valves.len()).collect())
}
