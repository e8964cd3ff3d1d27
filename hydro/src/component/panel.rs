//! Panel: two plates with a gap, fed at an edge, emptied through holes.

use super::Fill;
use super::schedule::TimeTable;

/// A perforated panel.
#[derive(Debug, Clone, PartialEq)]
pub struct Panel {
    /// Index of its node.
    pub node: usize,
    /// Outline on the plate plan, m; counter-clockwise.
    pub outline: Vec<[f64; 2]>,
    /// Area inside the outline, m2.
    pub area: f64,
    /// Holes.
    pub holes: Holes,
    /// Share of holes blocked, 0 .. 1.
    pub plugged: f64,
    /// Gap between the plates, m.
    pub gap: Option<f64>,
    /// Cells along x and y.
    pub cells: [u32; 2],
    /// Full or dry at the start.
    pub starts: Fill,
    /// Pressure outside the holes over time, Pa absolute; `None`: ambient.
    pub plume_pressure: Option<TimeTable>,
    /// Heat load over time, W/m2.
    pub heat_flux: Option<TimeTable>,
    /// Least water per area, m3/(s m2).
    pub required_flux: Option<f64>,
}

/// A pattern of equal holes through a plate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Holes {
    /// Number of holes.
    pub count: u32,
    /// Diameter, m.
    pub diameter: f64,
    /// Thickness of the plate, m.
    pub plate: Option<f64>,
    /// Discharge coefficient.
    pub discharge_coefficient: DischargeCoefficient,
}

/// Discharge coefficient of the holes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DischargeCoefficient {
    /// As given.
    Given(f64),
    /// From thickness to diameter.
    Auto,
}
