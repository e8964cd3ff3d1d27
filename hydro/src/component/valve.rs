//! Water valve: loss coefficient or Kv, stroke, one-way.

use super::schedule::Schedule;

/// A water valve. `K / x^2` at the opened share x; no flow at x = 0.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Valve {
    /// Bore, m.
    pub bore: f64,
    /// Loss coefficient fully open, on this bore (a Kv is turned into it when the file is read).
    pub loss_coefficient: f64,
    /// When it moves.
    pub schedule: Schedule,
    /// Whether it passes no water backwards.
    pub one_way: bool,
}
