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
