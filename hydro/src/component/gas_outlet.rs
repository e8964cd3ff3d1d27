//! Ways of gas to the surroundings: relief valve and vent-down.

use super::schedule::Schedule;

/// Relief valve of a tank: opens wholly at the set pressure, shuts where the pressure has fallen to the reseat.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Relief {
    /// Pressure at which it opens, Pa absolute.
    pub set: f64,
    /// Pressure at which it shuts again, Pa absolute, below `set`.
    pub reseat: f64,
    /// Bore, m.
    pub bore: f64,
    /// Discharge coefficient.
    pub discharge_coefficient: f64,
    /// Whether it is stuck open: it passes gas from the start to the end, whatever the pressure.
    pub stuck_open: bool,
}

/// Valve that lets the gas of a vessel out.
#[derive(Debug, Clone, PartialEq)]
pub struct VentDown {
    /// Bore, m.
    pub bore: f64,
    /// Discharge coefficient.
    pub discharge_coefficient: f64,
    /// When it opens.
    pub schedule: Schedule,
}

/// Share of the gauge set pressure by which a relief valve blows down before it shuts: 7 %, a usual setting (common
/// practice, no source).
pub const BLOWDOWN: f64 = 0.07;

/// Openings in one run from which a relief valve is followed as one that modulates.
pub const MOST_POPS: usize = 20;

/// How a relief valve stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lift {
    /// Shut.
    Shut,
    /// Open.
    Open,
    /// It has opened and shut so often that it chatters: its lift follows the pressure between reseat and set.
    Modulating,
}

impl Relief {
    /// Opened share at a pressure, Pa.
    pub fn opened(&self, lift: Lift, pressure: f64) -> f64 {
        if self.stuck_open {
            return 1.0;
        }
        match lift {
            Lift::Shut => 0.0,
            Lift::Open => 1.0,
            Lift::Modulating => ((pressure - self.reseat) / (self.set - self.reseat)).clamp(0.0, 1.0),
        }
    }

    /// Pressure that is missing before it moves, Pa: above 0 while it is to be shut. Of one that is stuck
    /// open -1, so that it opens at the first look and nothing shuts it.
    pub fn margin(&self, lift: Lift, pressure: f64) -> f64 {
        if self.stuck_open {
            return -1.0;
        }
        match lift {
            Lift::Shut => self.set - pressure,
            Lift::Open | Lift::Modulating => self.reseat - pressure,
        }
    }
}
