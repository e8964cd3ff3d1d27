//! The driver: integrates from cut to cut and notes what happens.

mod changes;
mod still;

use super::ahead::Ahead;
use super::marks::{self, Marks};
use super::record::Segment;
use super::system::System;
use super::watch::{End, History, Watch};
use super::{RunFailure, events};
use crate::analysis::columns::LineStand;
use crate::analysis::supply::{Regulation, Supply, SupplyError};
use crate::component::gas_outlet::{Lift, MOST_POPS};
use crate::result::Event;
use crate::time::{DenseStep, Integrator, Method, Options, Stats};

/// Why a run ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ended {
    /// The end of the duty.
    Duty,
    /// Every tank is empty.
    Empty,
    /// Nothing flows and nothing is due.
    Still,
}

impl Ended {
    /// The reason as a clause.
    pub fn reason(self) -> &'static str {
        match self {
            Ended::Duty => "the end of the duty",
            Ended::Empty => "every tank is empty",
            Ended::Still => "nothing flows any more and nothing is due",
        }
    }
}

/// What a run has left behind.
pub struct Done {
    pub segments: Vec<Segment>,
    pub events: Vec<Event>,
    pub jumps: Vec<f64>,
    pub history: History,
    /// Time reached, s.
    pub time: f64,
    /// When the last flow of water ended.
    pub stopped: Option<f64>,
    pub work: Stats,
    pub water_error: f64,
    pub gas_error: f64,
    pub energy_error: f64,
    /// Times that each outlet of gas has opened.
    pub opened: Vec<usize>,
    /// State at the end.
    pub state: Vec<f64>,
}

/// Restarts that one watched quantity may cause between two marks; more are chatter about zero, which is followed
/// without a restart.
const MOST_RESTARTS: u32 = 20;

/// Share of the time, at least s, to which a change is located: one of the state or an order, and one that is only told or that the
/// flows decide.
const LOCATED: f64 = 1e-10;
const TOLD: f64 = 1e-8;

/// Share of the length that a step would have had with which water that is set moving goes on behind a change: it settles
/// fast at first, and a longer step is thrown away.
const BEHIND: f64 = 0.3;

/// Length of a step, s, that is kept whatever its error: moving water goes on a micrometre in it.
const SHORT: f64 = 1e-7;

/// Integrates a supply over its duty.
pub struct Driver<'s, 'a> {
    supply: &'s mut Supply<'a>,
    marks: Marks,
    watches: Vec<Watch>,
    history: History,
    restarts: Vec<u32>,
    events: Vec<Event>,
    jumps: Vec<f64>,
    segments: Vec<Segment>,
    time: f64,
    state: Vec<f64>,
    first: Vec<f64>,
    work: Stats,
    largest: (f64, f64),
    flowed_until: Option<f64>,
    /// When the last flow of water has ended, once the run has and it had.
    stopped: Option<f64>,
    /// Air has just come behind a column: a tank is out, or a fall is empty.
    dried: bool,
    /// A condition was met here: courses and marks behind it are others.
    ordered: Option<f64>,
    /// Times that each outlet of gas has opened.
    opened: Vec<usize>,
    /// What is in sight.
    ahead: Ahead,
}

/// What a step has led to.
enum Stop {
    Nothing,
    Restart,
    Ended(Ended),
}

impl<'s, 'a> Driver<'s, 'a> {
    /// A driver at the start of the duty.
    pub fn new(supply: &'s mut Supply<'a>) -> Self {
        let network = supply.network;
        let watches = Watch::all(supply);
        let marks = marks::of(network, &supply.controls);
        let state = supply.initial();
        Driver {
            history: History::new(&watches),
            restarts: vec![0; watches.len()],
            watches,
            events: Vec::new(),
            jumps: Vec::new(),
            marks,
            segments: Vec::new(),
            time: network.duty.start,
            first: state.clone(),
            state,
            work: Stats::default(),
            largest: (0.0, 0.0),
            flowed_until: None,
            stopped: None,
            dried: false,
            ordered: None,
            opened: vec![0; supply.gas_side.outlets.len()],
            ahead: Ahead::default(),
            supply,
        }
    }

    /// Runs to the end.
    ///
    /// # Errors
    /// Where an instant cannot be computed or the integration cannot go on; what was reached stays.
    pub fn advance(&mut self, progress: &mut dyn FnMut(f64)) -> Result<Ended, RunFailure> {
        let ended = self.integrate(progress)?;
        if ended == Ended::Still {
            self.end_still();
        }
        self.stopped = self.end_of_flow(ended);
        Ok(ended)
    }

    /// Integrates to the end of a step at which the run ends.
    fn integrate(&mut self, progress: &mut dyn FnMut(f64)) -> Result<Ended, RunFailure> {
        let network = self.supply.network;
        let duty = network.duty;
        let scale = self.supply.scale();
        let method = match (self.supply.is_moving(), self.supply.answers_exactly()) {
            (true, _) => Method::Esdirk,
            (false, true) => Method::Rodas,
            (false, false) => Method::RosenbrockW,
        };
        let least_step = f64::from(self.supply.is_moving()) * SHORT;
        let options = Options { method, rtol: network.tolerance, least_step, ..Options::default() };
        let mut integrator = Integrator::new(options, self.time, &self.state);
        let mut mark = self.time;
        let mut hint = None;
        loop {
            let Some(next) = self.marks.after(self.time) else { return Ok(Ended::Duty) };
            self.supply.set_segment(mark, next);
            self.settle()?;
            self.supply.evaluate(self.time, &self.state)?;
            let moved = self.look();
            self.regulate();
            if let Some(time) = self.ordered.take() {
                mark = time;
                continue;
            }
            if moved {
                continue;
            }
            let emptied = self.supply.dry().iter().all(|&dry| dry) && !self.supply.dry().is_empty();
            self.open_segment(mark, next);
            if emptied && !self.supply.is_draining() && !self.supply.vents_until(duty.end) {
                return Ok(Ended::Empty);
            }
            let hinted = hint.map(|step: f64| step.min(self.supply.longest_first_step(self.time, next)));
            integrator.restart(self.time, &self.state, hinted);
            self.ahead.restart();
            let stop = loop {
                let aim = self.aim(&integrator, next);
                let mut system = System { supply: self.supply, scale: &scale };
                integrator.step(&mut system, aim).map_err(RunFailure::Integration)?;
                self.work = *integrator.stats();
                match self.follow(integrator.last_step().clone(), integrator.y())? {
                    Stop::Nothing if self.time >= next => break Stop::Nothing,
                    Stop::Nothing => {}
                    stop => break stop,
                }
                progress((self.time - duty.start) / (duty.end - duty.start));
            };
            hint = integrator.proposed_step();
            match stop {
                Stop::Ended(ended) => return Ok(ended),
                Stop::Restart => {
                    mark = self.ordered.take().unwrap_or(mark);
                    if self.supply.is_moving() {
                        hint = hint.map(|step| BEHIND * step);
                    }
                }
                Stop::Nothing => {
                    mark = next;
                    self.restarts.fill(0);
                }
            }
            progress((self.time - duty.start) / (duty.end - duty.start));
        }
    }

    /// What has been reached.
    pub fn finish(mut self) -> Done {
        self.events.extend(self.marks.events);
        self.jumps.extend(self.marks.jumps);
        let vessels = self.supply.contents.len();
        let sum = |y: &[f64], from: usize, step: usize, count: usize| -> f64 {
            y.iter().skip(from).step_by(step).take(count).sum()
        };
        let tanks = self.supply.network.tanks.len();
        let columns = |y: &[f64]| {
            let columns = self.supply.water_columns();
            columns.map_or(0.0, |(columns, _)| columns.water(self.supply.column_states(y)))
        };
        let water = |y: &[f64]| sum(y, 2 * vessels, 1, tanks + 1) + columns(y) + self.supply.evaporated(y);
        let gas = |y: &[f64]| sum(y, 0, 2, vessels) + self.supply.vented(y);
        Done {
            stopped: self.stopped,
            water_error: water(&self.first) - water(&self.state),
            gas_error: gas(&self.first) - gas(&self.state),
            energy_error: self.supply.energy(&self.first) - self.supply.energy(&self.state),
            opened: self.opened,
            state: self.state,
            segments: self.segments,
            events: self.events,
            jumps: self.jumps,
            history: self.history,
            time: self.time,
            work: self.work,
        }
    }

    /// Says what the regulated gas valves do from here on: each by a law of its own up to the next restart.
    fn regulate(&mut self) {
        let mut regulations = self.supply.regulations().to_vec();
        for (k, watch) in self.watches.iter().enumerate() {
            let Watch::Regulator(valve, End::Open) = *watch else { continue };
            // Both ends of its range are watched, one behind the other.
            regulations[valve] = match [k, k + 1].map(|k| self.history.last(k).filter(|_| self.cuts(k))) {
                [Some(_), Some(false)] => Regulation::Shut,
                [Some(true), Some(true)] => Regulation::Holding,
                [Some(false), Some(true)] => Regulation::Open,
                _ => Regulation::Any,
            };
        }
        self.supply.set_regulations(&regulations);
    }

    /// Whether the integration restarts where the sign of a watch changes.
    fn cuts(&self, watch: usize) -> bool {
        let kind = &self.watches[watch];
        kind.restarts() && (kind.orders() || self.restarts[watch] < MOST_RESTARTS)
    }

    /// Where the next step is to end at most.
    fn aim(&mut self, integrator: &Integrator, next: f64) -> f64 {
        let Some(length) = integrator.proposed_step() else { return next };
        let mut ahead = std::mem::take(&mut self.ahead);
        let turns = |k: usize| self.history.last(k).filter(|_| self.cuts(k));
        let aim = ahead.aim(self.supply, (&self.watches, &turns), integrator.last_step(), (length, next));
        self.ahead = ahead;
        aim
    }

    fn open_segment(&mut self, mark: f64, next: f64) {
        self.segments.push(Segment {
            from: self.time,
            to: self.time,
            marks: (mark, next),
            dry: self.supply.dry().to_vec(),
            lifts: self.supply.lifts(),
            regulations: self.supply.regulations().to_vec(),
            standing: self.supply.water_columns().map(|(_, standing)| standing.clone()),
            start: self.state.clone(),
            steps: Vec::new(),
            insides: Vec::new(),
            parameters: self.supply.water.parameters().into_iter().collect(),
        });
    }

    /// Notes the signs behind a cut; those that differ from before it have jumped. True where tanks or columns of water stand
    /// otherwise by that: what restarts at one may empty its twin as well, or let air in at a vent.
    fn look(&mut self) -> bool {
        let mut jumped = Vec::new();
        for index in 0..self.watches.len() {
            let again = matches!(self.watches[index], Watch::Front(_));
            if self.history.last_time(index) == Some(self.time) && !again {
                continue; // just located here, to the last digits
            }
            let above = self.watches[index].value(self.supply, self.time, &self.state) > 0.0;
            let moves =
                matches!(self.watches[index], Watch::Water(_) | Watch::Vent(_) | Watch::Fall(_) | Watch::Drain(_));
            // What chatters is followed where it is found within a step.
            if self.note(index, self.time, above) && moves && self.cuts(index) {
                self.restarts[index] += 1;
                jumped.push(index);
            }
        }
        let dried = self.take_out(&jumped);
        self.change_lines(&jumped) || dried
    }

    /// Takes out the tanks that have just been noted to be empty; true where there are any.
    fn take_out(&mut self, watches: &[usize]) -> bool {
        let mut dried = false;
        for &index in watches {
            if let Watch::Water(tank) = self.watches[index] {
                self.supply.set_dry(tank);
                self.jumps.push(self.time);
                dried = true;
            }
        }
        self.dried |= dried;
        dried
    }

    /// Notes a sign; true where it differs from the last one known.
    fn note(&mut self, index: usize, time: f64, above: bool) -> bool {
        let first = self.history.last(index).is_none();
        let changed = self.history.note(index, time, above);
        let told = matches!(self.watches[index], Watch::Relief(_) | Watch::Submergence(_)) && first && !above;
        // A condition may be met from the first look on.
        let order = match self.watches[index] {
            Watch::Condition(k) if !above && self.supply.controls.list[k].met.is_none() => Some(k),
            _ => None,
        };
        if (changed || told || order.is_some())
            && let Some((code, item, text)) = self.watches[index].event(self.supply, above)
        {
            self.events.push(Event { time, item, code, text });
        }
        if let Some(k) = order {
            self.order(k, time);
        }
        if let Watch::Relief(k) = self.watches[index] {
            self.lift(k, !above, time);
        }
        changed
    }

    /// Opens or shuts a relief valve.
    fn lift(&mut self, outlet: usize, open: bool, time: f64) {
        let mut lifts = self.supply.lifts();
        if open == (lifts[outlet] != Lift::Shut) {
            return;
        }
        self.opened[outlet] += usize::from(open);
        lifts[outlet] = match open {
            true if self.opened[outlet] > MOST_POPS => Lift::Modulating,
            true => Lift::Open,
            false => Lift::Shut,
        };
        self.supply.set_lifts(&lifts);
        self.jumps.push(time);
        self.ordered = Some(time);
    }

    /// Takes in that a condition is met: the valve's course and the marks behind this time are others.
    fn order(&mut self, condition: usize, time: f64) {
        self.supply.meet(condition, time);
        self.marks = marks::of(self.supply.network, &self.supply.controls);
        for segment in self.segments.iter_mut().rev().take_while(|segment| segment.marks.1 > time) {
            segment.marks.1 = time;
        }
        self.ordered = Some(time);
    }

    /// Takes a step in: finds what changed its sign within, cuts the step at the first change that restarts.
    fn follow(&mut self, step: DenseStep, end: &[f64]) -> Result<Stop, SupplyError> {
        let (from, to) = (step.start(), step.end());
        self.supply.evaluate(to, end)?;
        let (parameters, inside) = (self.supply.water.parameters(), self.supply.water.take_inside(from));
        let values: Vec<f64> = self.watches.iter().map(|watch| watch.value(self.supply, to, end)).collect();
        let changed: Vec<usize> =
            (0..values.len()).filter(|&k| self.history.last(k) != Some(values[k] > 0.0)).collect();
        self.ahead.note(to, values);
        let mut found = self.locate(&changed, (&step, inside.as_ref()), end)?;
        found.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let cut = found.iter().find(|&&(_, k)| self.cuts(k));
        let cut = cut.map(|&(time, _)| time).filter(|&time| time < to);
        let until = cut.unwrap_or(to);
        // Orders given at one instant are located an instant apart; the first must not keep the others from being met.
        let together = until + 4.0 * LOCATED * until.abs().max(1.0);
        let due = |time: f64, index: usize| time <= until || (time <= together && self.watches[index].orders());
        found.retain(|&(time, index)| due(time, index));
        for &(time, index) in &found {
            let time = time.min(until);
            let above = self.history.last(index) != Some(true);
            self.note(index, time, above);
            if self.watches[index].restarts() {
                self.restarts[index] += 1;
            }
        }
        let parts: Vec<_> = found.iter().map(|&(_, k)| k).collect();
        if until < to {
            step.at(until, &mut self.state);
        } else {
            self.state.copy_from_slice(end);
        }
        self.time = until;
        let dried = self.take_out(&parts);
        let still = self.is_still();
        let parted = self.change_lines(&parts);
        if let Some(segment) = self.segments.last_mut() {
            segment.to = until;
            segment.steps.push(step);
            segment.insides.push(inside);
            segment.parameters.extend(parameters);
        }
        if until < to || dried || parted || self.ordered.is_some() {
            return Ok(Stop::Restart);
        }
        debug_assert!(from < to);
        Ok(if still { Stop::Ended(Ended::Still) } else { Stop::Nothing })
    }

    /// Takes in what has happened to the columns of water, as their watches say after it; true where something has.
    fn change_lines(&mut self, watches: &[usize]) -> bool {
        let Some((columns, standing)) = self.supply.water_columns() else { return false };
        let mut changes = Vec::new();
        let mut arrived = false;
        for &index in watches {
            let above = self.history.last(index) == Some(true);
            match self.watches[index] {
                Watch::Vent(passage) => {
                    // Gas that lies at the vent goes out there; no legs part or meet.
                    changes.extend(columns.line_of(passage).and_then(|line| match (standing.lines[line], above) {
                        (LineStand::Parted, true) => Some((line, LineStand::Full)),
                        (LineStand::Full | LineStand::Draining(_), false) => Some((line, LineStand::Parted)),
                        _ => None,
                    }));
                }
                Watch::Fall(line) => changes.push((line, if above { LineStand::Parted } else { LineStand::Falling })),
                Watch::Drain(line) if !above => {
                    self.jumps.push(self.time);
                    let to = columns.run_out(standing, line);
                    changes.push((line, to));
                    // Of a vented weir pipe the rise is empty, and next is the fall.
                    if to == LineStand::Venting {
                        self.history.note(index, self.time, true);
                    }
                }
                Watch::Front(_) | Watch::Basin(_) => arrived = true,
                _ => {}
            }
        }
        for &(line, to) in &changes {
            self.dried |= matches!(to, LineStand::Falling | LineStand::Venting | LineStand::Drained(_));
            self.supply.change_line(line, to, &mut self.state);
        }
        arrived || !changes.is_empty()
    }

    /// Brings the columns of water up to date at a restart and notes what arrived and what stopped.
    fn settle(&mut self) -> Result<(), SupplyError> {
        let (arrivals, stopped) = self.supply.settle(self.time, &mut self.state)?;
        let network = self.supply.network;
        let Some((columns, _)) = self.supply.water_columns() else { return Ok(()) };
        // Gas follows the water there: nothing stops it.
        let stopped = if std::mem::take(&mut self.dried) { Vec::new() } else { stopped };
        for (code, item, text) in events::of(network, columns, &arrivals, &stopped) {
            self.events.push(Event { time: self.time, item, code, text });
            self.jumps.push(self.time);
        }
        Ok(())
    }
}
