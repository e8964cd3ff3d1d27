//! Marks: times known beforehand at which the equations change or something is to be reported.

use crate::analysis::supply::control::{Controls, ValveId};
use crate::component::schedule::{Course, StrokeEnd, TimeTable};
use crate::network::Network;
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

/// Marks of a network with its valves' courses as far as they are known.
pub fn of(network: &Network, controls: &Controls) -> Marks {
    let (start, end) = (network.duty.start, network.duty.end);
    let mut marks = Marks { times: vec![end], events: Vec::new(), jumps: Vec::new() };
    let water = controls.water.iter().map(|(k, course)| (ValveId::Water(*k), course));
    let gas = controls.gas.iter().enumerate().map(|(k, course)| (ValveId::Gas(k), course));
    let vents = controls.vents.iter().map(|(v, course)| (ValveId::Vent(*v), course));
    for (valve, course) in water.chain(gas).chain(vents) {
        marks.course(valve.name(network), &valve.subject(network), course);
    }
    marks.times.extend(controls.list.iter().filter_map(|control| control.trigger.armed_at));
    for panel in &network.panels {
        for load in [&panel.plume_pressure, &panel.heat_flux].into_iter().flatten() {
            marks.table(&load.over_time);
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

    fn course(&mut self, item: &str, subject: &str, course: &Course) {
        for stroke in course.strokes() {
            let jumps = stroke.until == stroke.from;
            if jumps && stroke.begins != stroke.ends {
                self.jumps.push(stroke.from);
            }
            let percent = 100.0 * stroke.ends;
            if stroke.end == StrokeEnd::Stuck {
                self.event(stroke.from, item, EventCode::ValveStuck, format!("{subject} sticks {percent:.4} % open"));
                continue;
            }
            let (code, what) = if stroke.ends > stroke.begins {
                (EventCode::ValveOpening, "begins to open")
            } else {
                (EventCode::ValveClosing, "begins to close")
            };
            self.event(stroke.from, item, code, format!("{subject} {what}"));
            let (code, what) = match stroke.ends {
                _ if stroke.end == StrokeEnd::Turned => {
                    self.times.push(stroke.until);
                    continue;
                }
                1.0 => (EventCode::ValveOpen, String::from("is fully open")),
                0.0 => (EventCode::ValveClosed, String::from("is shut")),
                _ => (EventCode::ValveSet, format!("stands {percent:.4} % open")),
            };
            self.event(stroke.until, item, code, format!("{subject} {what}"));
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

    /// Whether a valve, a plume or another mark but the end of the duty is still to come at or after a time.
    pub fn anything_after(&self, time: f64, end: f64) -> bool {
        self.times.iter().any(|&mark| mark >= time && mark < end)
    }
}
