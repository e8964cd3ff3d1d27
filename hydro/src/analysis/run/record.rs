//! The record of a run: the state over time, kept as the integrator's own interpolation, and the series read from it.

use super::cells::Cells;
use super::heat::Heat;
use super::lead::Lead;
use crate::analysis::columns::Standing;
use crate::analysis::hydraulics::Inside;
use crate::analysis::supply::gas_side::OutletKind;
use crate::analysis::supply::{Regulation, Supply, SupplyError};
use crate::component::gas_outlet::Lift;
use crate::network::{GasVesselKind, Network, NodeKind};
use crate::result::{FlowSeries, GasSideSeries, GasVesselSeries, PressureSeries, Series, TankSeries};
use crate::time::DenseStep;

/// A stretch of time without restart.
#[derive(Debug, Clone)]
pub struct Segment {
    /// Start, s.
    pub from: f64,
    /// End, s.
    pub to: f64,
    /// Marks between which the valves stand or move as one.
    pub marks: (f64, f64),
    /// Tanks that are out.
    pub dry: Vec<bool>,
    /// How the relief valves stand.
    pub lifts: Vec<Lift>,
    /// What the regulated gas valves do.
    pub regulations: Vec<Regulation>,
    /// How the water stands in the columns.
    pub standing: Option<Standing>,
    /// State at the start.
    pub start: Vec<f64>,
    /// Interpolations, one a step, in order.
    pub steps: Vec<DenseStep>,
    /// The water network inside each step, where it is known there.
    pub insides: Vec<Option<Inside>>,
    /// Parameters of the water network at the start and at the ends of the steps, where they are kept.
    pub parameters: Vec<Vec<f64>>,
}

impl Segment {
    /// State at a time within.
    pub fn state(&self, time: f64, y: &mut [f64]) {
        match self.steps.get(self.step_of(time)).or(self.steps.last()) {
            Some(step) => step.at(time.min(self.to), y),
            None => y.copy_from_slice(&self.start),
        }
    }

    /// The step that a time within belongs to.
    fn step_of(&self, time: f64) -> usize {
        self.steps.partition_point(|step| step.end() < time)
    }

    /// Computes a supply that stands in this stretch at a time within and its state: from the solution inside the step, where the
    /// network is known there, or solved from where it was about that time.
    ///
    /// # Errors
    /// Those of the supply.
    fn evaluate(&self, supply: &mut Supply<'_>, time: f64, y: &[f64]) -> Result<(), SupplyError> {
        let after = self.step_of(time);
        if let (Some(step), Some(Some(inside))) = (self.steps.get(after), self.insides.get(after)) {
            return supply.evaluate_inside((time, y), inside, step.share(time));
        }
        if let (Some(step), Some([before, behind])) = (self.steps.get(after), self.parameters.get(after..after + 2)) {
            supply.water.begin_between([before, behind], step.share(time));
        }
        supply.evaluate(time, y)
    }

    /// Makes the supply stand as it does in this stretch.
    pub fn enter(&self, supply: &mut Supply<'_>) {
        supply.set_segment(self.marks.0, self.marks.1);
        supply.set_dry_all(&self.dry);
        supply.set_lifts(&self.lifts);
        supply.set_regulations(&self.regulations);
        if let Some(standing) = &self.standing {
            supply.set_standing(standing);
        }
    }
}

/// The last stretch that has begun at a time.
fn segment_of(segments: &[Segment], time: f64) -> usize {
    segments.partition_point(|segment| segment.from <= time).saturating_sub(1)
}

/// Makes a supply stand at one instant of a run after the other.
pub struct Reader<'s> {
    segments: &'s [Segment],
    /// The stretch that the supply stands in.
    entered: usize,
}

impl<'s> Reader<'s> {
    /// One that has not begun.
    pub fn new(segments: &'s [Segment]) -> Self {
        Reader { segments, entered: usize::MAX }
    }

    /// Goes to a time, in the last stretch that has begun then, with its state.
    ///
    /// # Errors
    /// Those of the supply.
    pub fn go_to(&mut self, supply: &mut Supply<'_>, time: f64, y: &mut [f64]) -> Result<(), SupplyError> {
        self.go(supply, (time, segment_of(self.segments, time)), y)
    }

    /// Goes to a time in a stretch, with its state.
    fn go(&mut self, supply: &mut Supply<'_>, (time, at): (f64, usize), y: &mut [f64]) -> Result<(), SupplyError> {
        let segment = &self.segments[at];
        if self.entered != at {
            segment.enter(supply);
            self.entered = at;
        }
        segment.state(time, y);
        segment.evaluate(supply, time, y)
    }
}

/// Times of the rows: `count` equally spaced with both ends, those of the events, and one more where flows jump.
///
/// Each row is a time and the stretch that it is read from.
pub fn rows(segments: &[Segment], count: usize, events: &[f64], jumps: &[f64]) -> Vec<(f64, usize)> {
    let (Some(first), Some(last)) = (segments.first(), segments.last()) else { return Vec::new() };
    let (start, end) = (first.from, last.to);
    let parts = count.max(2) - 1;
    let even = (0..=parts).map(|k| if k == parts { end } else { start + (end - start) * k as f64 / parts as f64 });
    let mut times: Vec<f64> = even.chain(events.iter().copied().filter(|&t| (start..=end).contains(&t))).collect();
    times.sort_by(f64::total_cmp);
    times.dedup();
    let mut rows = Vec::with_capacity(times.len() + jumps.len());
    for time in times {
        // The last stretch that has begun: at a restart, the state behind it.
        let at = segment_of(segments, time);
        if jumps.contains(&time) && at > 0 && segments[at].from == time {
            rows.push((time, at - 1));
        }
        rows.push((time, at));
    }
    rows
}

/// What takes in the instants of a run: the series, the heat, when the water comes, the cells.
type Readers<'r, 'a, 'n> = (&'r mut Series, &'r mut Heat<'n>, Option<&'r mut Lead<'a>>, Option<&'r mut Cells<'a>>);

/// The instants that are read: the rows, each as `true`, and in the times that count the ends of the steps, as `false`.
fn instants(segments: &[Segment], rows: &[(f64, usize)], counts: impl Fn(f64) -> bool) -> Vec<(f64, usize, bool)> {
    let mut all: Vec<(f64, usize, bool)> = rows.iter().map(|&(time, at)| (time, at, true)).collect();
    for (at, segment) in segments.iter().enumerate() {
        let ends = segment.steps.iter().map(DenseStep::end).filter(|&end| end < segment.to && counts(end));
        all.extend(ends.map(|end| (end, at, false)));
    }
    all.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)).then(b.2.cmp(&a.2)));
    all.dedup_by_key(|&mut (time, at, _)| (time, at));
    all
}

/// Reads the series at given rows, and the margins over the heat; the cells also at the ends of the steps.
///
/// # Errors
/// Where the supply cannot be computed at a row; the rows before it are kept in `series`.
pub fn series<'a>(
    supply: &mut Supply<'a>,
    segments: &[Segment],
    rows: &[(f64, usize)],
    (series, heat, mut lead, mut cells): Readers<'_, 'a, '_>,
) -> Result<(), SupplyError> {
    let network = supply.network;
    *series = empty(network, rows.len());
    let mut reader = Reader::new(segments);
    let mut y = vec![0.0; supply.dim()];
    let instants = instants(segments, rows, |time| cells.as_ref().is_some_and(|cells| cells.looks_at(time)));
    for (time, at, is_row) in instants {
        reader.go(supply, (time, at), &mut y)?;
        if let Some(cells) = cells.as_mut() {
            cells.note(supply, time);
        }
        if !is_row {
            continue;
        }
        push(series, supply, time, &y);
        heat.note(supply, time);
        if let Some(lead) = lead.as_mut() {
            lead.note(supply, (time, &y), |supply, between| {
                let mut y = vec![0.0; supply.dim()];
                reader.go_to(supply, between, &mut y)?;
                Ok(y)
            })?;
        }
    }
    Ok(())
}

/// A series with room for so many rows.
fn empty(network: &Network, rows: usize) -> Series {
    let room = || Vec::with_capacity(rows);
    let flows = |names: Vec<&str>| -> Vec<FlowSeries> {
        names.into_iter().map(|name| FlowSeries { name: name.to_owned(), flow: room() }).collect()
    };
    let vessels = |banks: bool| {
        let wanted = |kind: &GasVesselKind| match kind {
            GasVesselKind::Bank { .. } => banks,
            GasVesselKind::Header { .. } => !banks,
            GasVesselKind::Ullage(_) => false,
        };
        let chosen = network.gas_vessels.iter().filter(|vessel| wanted(&vessel.kind));
        chosen.map(|vessel| GasVesselSeries { name: vessel.name.clone(), ..GasVesselSeries::default() }).collect()
    };
    Series {
        time: room(),
        tanks: network
            .tanks
            .iter()
            .map(|tank| TankSeries { name: network.nodes[tank.node].name.to_string(), ..TankSeries::default() })
            .collect(),
        gas_banks: vessels(true),
        gas_headers: vessels(false),
        gas_valves: flows(network.gas_valves.iter().map(|valve| valve.name.as_str()).collect()),
        panels: flows(network.panels.iter().map(|panel| network.nodes[panel.node].name.as_str()).collect()),
        passages: flows(network.passages.iter().map(|passage| passage.name.as_str()).collect()),
        pressures: inner_nodes(network)
            .map(|node| PressureSeries { name: network.nodes[node].name.to_string(), pressure: room() })
            .collect(),
    }
}

/// Headers, then panels.
fn inner_nodes(network: &Network) -> impl Iterator<Item = usize> + '_ {
    let headers = (0..network.nodes.len()).filter(|&node| matches!(network.nodes[node].kind, NodeKind::Header));
    headers.chain(network.panels.iter().map(|panel| panel.node))
}

fn push(series: &mut Series, supply: &Supply<'_>, time: f64, y: &[f64]) {
    let network = supply.network;
    series.time.push(time);
    for (k, (tank, data)) in series.tanks.iter_mut().zip(&network.tanks).enumerate() {
        let state = &supply.contents[data.vessel].state;
        tank.pressure.push(state.pressure);
        tank.water.push(y[supply.water_index(k)]);
        tank.gas_temperature.push(state.temperature);
        tank.outflow.push(supply.outflows[k]);
        push_side(&mut tank.side, supply, data.vessel);
    }
    let (mut banks, mut headers) = (series.gas_banks.iter_mut(), series.gas_headers.iter_mut());
    for (v, (vessel, content)) in network.gas_vessels.iter().zip(&supply.contents).enumerate() {
        let place = match vessel.kind {
            GasVesselKind::Bank { .. } => banks.next(),
            GasVesselKind::Header { .. } => headers.next(),
            GasVesselKind::Ullage(_) => None,
        };
        if let Some(place) = place {
            place.pressure.push(content.state.pressure);
            place.temperature.push(content.state.temperature);
            place.mass.push(content.mass);
            push_side(&mut place.side, supply, v);
        }
    }
    for (place, passage) in series.gas_valves.iter_mut().zip(&supply.passages) {
        place.flow.push(passage.flow);
    }
    for (k, place) in series.panels.iter_mut().enumerate() {
        place.flow.push(supply.water.panel_flow(k));
    }
    for (k, place) in series.passages.iter_mut().enumerate() {
        place.flow.push(supply.water.flow(k));
    }
    for (place, node) in series.pressures.iter_mut().zip(inner_nodes(network)) {
        place.pressure.push(supply.water.pressure(node).unwrap_or(f64::NAN));
    }
}

/// Metal and outlets of a gas vessel.
fn push_side(side: &mut GasSideSeries, supply: &Supply<'_>, vessel: usize) {
    side.wall_temperature.extend(supply.gas_side.walls[vessel]);
    let content = &supply.contents[vessel];
    side.vapour_pressure.extend(content.moisture.map(|_| content.vapour_pressure()));
    for outlet in supply.gas_side.outlets.iter().filter(|outlet| outlet.vessel == vessel) {
        let place = match outlet.kind {
            OutletKind::Relief(..) => &mut side.relief,
            OutletKind::VentDown(_) => &mut side.vent_down,
            OutletKind::Apex(_) => continue,
        };
        place.push(outlet.flow.mass_flow);
    }
}
