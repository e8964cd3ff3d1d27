//! Marks: times known beforehand at which the equations change or something is to be reported.

use crate::component::schedule::{Schedule, TimeTable};
use crate::network::{Network, PassageKind};
use crate::result::{Event, EventCode};

/// Times at which a run restarts, and the events reported there.
#[derive(Debug, Clone, PartialEq)]
pub struct Marks {
    /// Rising times after the start, up to and with the end of the duty.
    pub times: Vec<f64>,
    /// Events in order of time.
    pub events: Vec<Event>,
    /// Times at which something jumps: flows differ on either side.
    pub jumps: Vec<f64>,
}

/// Marks of a network.
pub fn of(network: &Network) -> Marks {
    let (start, end) = (network.duty.start, network.duty.end);
    let mut marks = Marks { times: vec![end], events: Vec::new(), jumps: Vec::new() };
    for passage in &network.passages {
        if let PassageKind::Valve(valve) = &passage.kind {
            marks.schedule(&passage.name, &valve.schedule);
        }
    }
    for valve in &network.gas_valves {
        marks.schedule(&valve.name, &valve.schedule);
    }
    for panel in &network.panels {
        for table in [&panel.plume_pressure, &panel.heat_flux].into_iter().flatten() {
            marks.table(table);
        }
    }
    let ignition = String::from("the requirement begins to apply");
    marks.event(network.duty.ignition, "", EventCode::Ignition, ignition);
    marks.event(network.duty.hold_ends(), "", EventCode::HoldEnds, String::from("the requirement ends"));
    marks.events.retain(|event| (start..=end).contains(&event.time));
    marks.events.sort_by(|a, b| a.time.total_cmp(&b.time));
    marks.times.retain(|&time| time > start && time <= end);
    marks.times.sort_by(f64::total_cmp);
    marks.times.dedup();
    marks
}

impl Marks {
    fn event(&mut self, time: f64, item: &str, code: EventCode, text: String) {
        self.times.push(time);
        self.events.push(Event { time, item: item.to_owned(), code, text });
    }

    fn schedule(&mut self, item: &str, schedule: &Schedule) {
        let stroke = schedule.stroke;
        let moves = [
            (schedule.opens_at, EventCode::ValveOpening, "begins to open", EventCode::ValveOpen, "is fully open"),
            (schedule.closes_at, EventCode::ValveClosing, "begins to close", EventCode::ValveClosed, "is shut"),
        ];
        for (at, begins, begins_text, ends, ends_text) in moves {
            let Some(at) = at else { continue };
            // A valve told to close before it is fully open turns round: it ends no stroke in between.
            let turns = ends == EventCode::ValveOpen && schedule.closes_at.is_some_and(|closes| closes < at + stroke);
            self.event(at, item, begins, format!("{item} {begins_text}"));
            if !turns {
                self.event(at + stroke, item, ends, format!("{item} {ends_text}"));
            }
            if stroke == 0.0 {
                self.jumps.push(at);
            }
        }
    }

    fn table(&mut self, table: &TimeTable) {
        if table.time.len() > 1 {
            self.times.extend(&table.time);
        }
    }

    /// The next mark after a time.
    pub fn after(&self, time: f64) -> Option<f64> {
        self.times.iter().copied().find(|&mark| mark > time)
    }

    /// Whether something jumps at a time.
    pub fn jumps_at(&self, time: f64) -> bool {
        self.jumps.contains(&time)
    }

    /// Whether a valve, a plume or another mark but the end of the duty is still to come after a time.
    pub fn anything_after(&self, time: f64, end: f64) -> bool {
        self.times.iter().any(|&mark| mark > time && mark < end)
    }
}
