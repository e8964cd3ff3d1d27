//! Schedules: how far a valve is open at a time, and quantities given over time.

/// When a valve opens and closes.
///
/// The opened share grows linearly over `stroke` from `opens_at`, falls the same way from `closes_at`, and jumps
/// where the stroke is 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Schedule {
    /// Time at which it begins to open, s; `None`: open from the start.
    pub opens_at: Option<f64>,
    /// Time at which it begins to close, s; `None`: never.
    pub closes_at: Option<f64>,
    /// Time of a full stroke, s; 0 jumps.
    pub stroke: f64,
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

impl Schedule {
    /// Always open.
    pub const OPEN: Schedule = Schedule { opens_at: None, closes_at: None, stroke: 0.0 };

    /// Opened share, 0 to 1, at a time, s.
    ///
    /// At an instant at which it jumps the value behind the jump is given.
    pub fn opened(&self, time: f64) -> f64 {
        let risen = self.opens_at.map_or(1.0, |t| self.stroked(time - t));
        let fallen = self.closes_at.map_or(0.0, |t| self.stroked(time - t));
        (risen - fallen).clamp(0.0, 1.0)
    }

    /// Share of a stroke done after a time, s.
    fn stroked(&self, after: f64) -> f64 {
        if after < 0.0 {
            0.0
        } else if self.stroke > 0.0 {
            (after / self.stroke).min(1.0)
        } else {
            1.0
        }
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
