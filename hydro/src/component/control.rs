//! Conditions on which a valve moves: a quantity of another item that passes a limit.

/// A condition that is met once, and then gives one order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trigger {
    /// What is measured.
    pub sensor: Sensor,
    /// Limit: Pa absolute, m or m3.
    pub limit: f64,
    /// Whether the condition is met at and below the limit, or at and above it.
    pub below: bool,
    /// Time from which it is looked at, s; `None`: from the start.
    pub armed_at: Option<f64>,
    /// Time between the condition and the begin of the stroke, s.
    pub dead_time: f64,
}

/// What a condition is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sensor {
    /// Pressure of the gas in a gas vessel (by its index), Pa absolute.
    GasPressure(usize),
    /// Total pressure of a water node (by its index), Pa absolute; never met where nothing ties it to a pressure.
    WaterPressure(usize),
    /// Level of the water of a tank (by its index) above its outlet, m.
    Level(usize),
    /// Water of a tank (by its index), m3.
    Water(usize),
}

impl Trigger {
    /// How far the reading is from meeting the condition, in the unit of the limit; 0 or less: met.
    pub fn margin(&self, reading: f64) -> f64 {
        if self.below { reading - self.limit } else { self.limit - reading }
    }
}
