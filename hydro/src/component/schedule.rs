//! Schedules: how far a valve is open at a time, and quantities given over time.

use super::control::Trigger;

/// When and how far a valve opens and closes.
///
/// Orders come from times (`opens_at`, `closes_at`, `moves`) and from conditions that are met during a run. The opened
/// share moves towards the last order at one full stroke in `stroke`, and jumps where that is 0; an order during a
/// stroke turns it round where it stands.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Schedule {
    /// Time at which it begins to open, s.
    pub opens_at: Option<f64>,
    /// Time at which it begins to close, s.
    pub closes_at: Option<f64>,
    /// Orders by time.
    pub moves: Vec<Move>,
    /// Condition on which it opens.
    pub opens_when: Option<Trigger>,
    /// Condition on which it closes.
    pub closes_when: Option<Trigger>,
    /// Share opened before the first order; `None`: shut where something opens it, else open.
    pub open_at_start: Option<f64>,
    /// Time of a full stroke, s; 0 jumps.
    pub stroke: f64,
    /// How it fails to move.
    pub stuck: Option<Stuck>,
}

/// An order to a valve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Move {
    /// Time at which it begins to move, s.
    pub at: f64,
    /// Share opened that it moves to, 0 to 1.
    pub to: f64,
}

/// A valve that no longer follows its orders.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stuck {
    /// Time from which it is stuck, s; `None`: from the start.
    pub at: Option<f64>,
    /// Share at which it then stands; `None`: where it is at that time.
    pub open: Option<f64>,
}

/// Opened share of one valve over time: constant but in its strokes.
#[derive(Debug, Clone, PartialEq)]
pub struct Course {
    first: f64,
    strokes: Vec<Stroke>,
}

/// One movement of a valve; a jump where it begins and ends at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stroke {
    /// Begin, s.
    pub from: f64,
    /// End, s.
    pub until: f64,
    /// Share at the begin.
    pub begins: f64,
    /// Share at the end.
    pub ends: f64,
    /// Why it ends.
    pub end: StrokeEnd,
}

/// How a stroke ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StrokeEnd {
    /// Where it was ordered to.
    Done,
    /// By another order.
    Turned,
    /// Stuck.
    Stuck,
}

/// A quantity over time: linear between points, constant outside.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeTable {
    /// Times, s, strictly rising.
    pub time: Vec<f64>,
    /// Values, SI, one a time.
    pub value: Vec<f64>,
}

impl TimeTable {
    /// A quantity that does not change.
    pub fn constant(value: f64) -> Self {
        TimeTable { time: vec![0.0], value: vec![value] }
    }
}

impl TimeTable {
    /// Value at a time, s. An empty table gives 0.
    pub fn at(&self, time: f64) -> f64 {
        let Some((&first, &last)) = self.value.first().zip(self.value.last()) else { return 0.0 };
        let after = self.time.partition_point(|&t| t <= time);
        if after == 0 {
            return first;
        }
        let (Some(&t1), Some(&v1)) = (self.time.get(after), self.value.get(after)) else { return last };
        let (t0, v0) = (self.time[after - 1], self.value[after - 1]);
        v0 + (v1 - v0) * (time - t0) / (t1 - t0)
    }
}

impl Schedule {
    /// Always open.
    pub const OPEN: Schedule = Schedule {
        opens_at: None,
        closes_at: None,
        moves: Vec::new(),
        opens_when: None,
        closes_when: None,
        open_at_start: None,
        stroke: 0.0,
        stuck: None,
    };

    /// Opened share, 0 to 1, at a time, s, where no condition is met.
    ///
    /// At an instant at which it jumps the value behind the jump is given.
    pub fn opened(&self, time: f64) -> f64 {
        self.course(&[]).opened(time)
    }

    /// Opened share of the valve fully open: 1, or where it is stuck from the start.
    pub fn fully(&self) -> f64 {
        match self.stuck {
            Some(Stuck { at: None, open }) => open.unwrap_or_else(|| self.before()),
            _ => 1.0,
        }
    }

    /// Share before the first order.
    fn before(&self) -> f64 {
        let opens = self.opens_at.is_some() || self.opens_when.is_some() || !self.moves.is_empty();
        self.open_at_start.unwrap_or(if opens { 0.0 } else { 1.0 })
    }

    /// The whole course, with the orders that conditions have given.
    pub fn course(&self, conditions: &[Move]) -> Course {
        let by_time = self.opens_at.map(|at| Move { at, to: 1.0 }).into_iter();
        let by_time = by_time.chain(self.closes_at.map(|at| Move { at, to: 0.0 })).chain(self.moves.iter().copied());
        let mut orders: Vec<Move> = by_time.chain(conditions.iter().copied()).collect();
        orders.sort_by(|a, b| a.at.total_cmp(&b.at));
        let mut course = Course { first: self.before(), strokes: Vec::new() };
        let mut stands = course.first;
        for (k, order) in orders.iter().enumerate() {
            let next = orders.get(k + 1).map_or(f64::INFINITY, |order| order.at);
            let takes = self.stroke * (order.to - stands).abs();
            if order.to == stands || (next == order.at && self.stroke > 0.0) {
                continue;
            }
            let until = order.at + takes;
            let (until, ends, end) = if until <= next {
                (until, order.to, StrokeEnd::Done)
            } else {
                (next, stands + (order.to - stands) * (next - order.at) / takes, StrokeEnd::Turned)
            };
            course.strokes.push(Stroke { from: order.at, until, begins: stands, ends, end });
            stands = ends;
        }
        if let Some(stuck) = self.stuck {
            course.stick(stuck);
        }
        course
    }
}

impl Course {
    /// Opened share at a time, s; behind a jump.
    pub fn opened(&self, time: f64) -> f64 {
        let begun = self.strokes.partition_point(|stroke| stroke.from <= time);
        match begun.checked_sub(1).and_then(|last| self.strokes.get(last)) {
            None => self.first,
            Some(stroke) if time >= stroke.until => stroke.ends,
            Some(stroke) => {
                let share = (time - stroke.from) / (stroke.until - stroke.from);
                stroke.begins + (stroke.ends - stroke.begins) * share
            }
        }
    }

    /// Every movement, in order of time.
    pub fn strokes(&self) -> &[Stroke] {
        &self.strokes
    }

    fn stick(&mut self, stuck: Stuck) {
        let Some(at) = stuck.at else {
            (self.first, self.strokes) = (stuck.open.unwrap_or(self.first), Vec::new());
            return;
        };
        let stands = self.opened(at);
        self.strokes.retain(|stroke| stroke.from < at);
        if let Some(last) = self.strokes.last_mut().filter(|last| last.until > at) {
            (last.until, last.ends, last.end) = (at, stands, StrokeEnd::Turned);
        }
        let ends = stuck.open.unwrap_or(stands);
        self.strokes.push(Stroke { from: at, until: at, begins: stands, ends, end: StrokeEnd::Stuck });
    }
}

#[cfg(test)]
mod tests {
    use super::{Move, Schedule, Stuck};

    fn near(course: &super::Course, pairs: &[(f64, f64)]) {
        for &(time, share) in pairs {
            assert!((course.opened(time) - share).abs() < 1e-12, "{time}: {} {share}", course.opened(time));
        }
    }

    #[test]
    fn a_stroke_is_turned_round_where_it_stands() {
        let schedule = Schedule { opens_at: Some(1.0), closes_at: Some(2.0), stroke: 4.0, ..Schedule::OPEN };
        near(&schedule.course(&[]), &[(0.5, 0.0), (1.5, 0.125), (2.0, 0.25), (2.5, 0.125), (3.0, 0.0), (9.0, 0.0)]);
    }

    #[test]
    fn moves_run_at_the_speed_of_a_full_stroke() {
        let moves = vec![Move { at: 0.0, to: 0.5 }, Move { at: 3.0, to: 0.75 }, Move { at: 5.0, to: 0.0 }];
        let schedule = Schedule { moves, stroke: 2.0, ..Schedule::OPEN };
        let course = schedule.course(&[Move { at: 4.0, to: 1.0 }]);
        near(&course, &[(0.5, 0.25), (1.0, 0.5), (3.0, 0.5), (3.5, 0.75), (4.25, 0.875), (4.5, 1.0), (6.0, 0.5)]);
        near(&course, &[(7.0, 0.0)]);
    }

    #[test]
    fn a_stuck_valve_stays() {
        let stuck = |at, open| Schedule {
            opens_at: Some(0.0),
            closes_at: Some(5.0),
            stroke: 2.0,
            stuck: Some(Stuck { at, open }),
            ..Schedule::OPEN
        };
        near(&stuck(Some(0.5), None).course(&[]), &[(0.25, 0.125), (0.5, 0.25), (9.0, 0.25)]);
        near(&stuck(Some(0.5), Some(0.9)).course(&[]), &[(0.25, 0.125), (0.5, 0.9), (9.0, 0.9)]);
        near(&stuck(None, Some(0.4)).course(&[]), &[(-1.0, 0.4), (9.0, 0.4)]);
        near(&stuck(None, None).course(&[]), &[(9.0, 0.0)]);
    }
}
