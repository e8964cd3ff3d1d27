//! Panel: two plates with a gap, fed at an edge, emptied through holes.

use super::Fill;
use super::cells::Cells;
use super::law::{Friction, Law, Quadratic, circle};
use super::schedule::TimeTable;
use crate::fluid::site::Site;

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
    /// Roughness of the walls of the gap, m.
    pub gap_roughness: f64,
    /// Cells along x and y; `[1, 1]`: one pressure in the panel, no loss in the gap.
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

impl Panel {
    /// Pressure outside the holes at a time, s: Pa absolute.
    pub fn outside(&self, time: f64, site: &Site) -> f64 {
        self.plume_pressure.as_ref().map_or(site.ambient_pressure, |table| table.at(time))
    }

    /// Whether the plume enters at a time, s: the pressure outside the holes is above ambient and not below the one
    /// inside, Pa absolute. A panel whose pressure nothing ties to a known one holds nothing back.
    pub fn plume_enters(&self, pressure: Option<f64>, time: f64, site: &Site) -> bool {
        let outside = self.outside(time, site);
        let nearly = 1.0 + 1e-9;
        outside > site.ambient_pressure * nearly && pressure.is_none_or(|inside| inside <= outside * nearly)
    }

    /// Open area of the holes that are not plugged times their discharge coefficient, m2.
    pub fn effective_area(&self) -> f64 {
        self.holes.coefficient() * circle(self.holes.diameter) * f64::from(self.holes.count) * (1.0 - self.plugged)
    }

    /// Law of the open holes: `q = n Cd A sqrt(2 dp/rho)`, written as the loss `rho q|q|/(2 (n Cd A)^2)`.
    ///
    /// `None` when every hole is plugged. No water comes back in: the law is used one way.
    pub fn hole_law(&self, site: &Site) -> Option<Law> {
        let area = self.effective_area();
        (area > 0.0).then(|| Law::Quadratic(Quadratic::new(1.0, area, 1.0, site.water_density, 20.0)))
    }
}

impl Panel {
    /// Whether the inside is one cell.
    pub fn is_lumped(&self) -> bool {
        self.cells == [1, 1]
    }

    /// The cells of the inside.
    pub fn inside(&self) -> Cells {
        if self.is_lumped() { Cells::lumped(&self.outline) } else { Cells::new(&self.outline, self.cells, |_| 1.0) }
    }

    /// Law of a stretch of the gap: friction as in a pipe of the hydraulic diameter of two wide plates, twice the gap.
    ///
    /// `width` across the stream and `length` along it, m; `loss_coefficient` on the velocity in the gap.
    pub fn gap_law(&self, width: f64, length: f64, loss_coefficient: f64, site: &Site) -> Law {
        let gap = self.gap.unwrap_or(1.0);
        Law::Friction(Friction::duct(length, 2.0 * gap, width * gap, self.gap_roughness, loss_coefficient, None, site))
    }
}

impl Holes {
    /// Discharge coefficient of one hole.
    pub fn coefficient(&self) -> f64 {
        match self.discharge_coefficient {
            DischargeCoefficient::Given(cd) => cd,
            DischargeCoefficient::Auto => thick_plate_coefficient(self.plate.unwrap_or(0.0) / self.diameter),
        }
    }
}

/// Discharge coefficient of a hole with a square edge in a thick plate.
///
/// ```text
/// c    = [1 - 0.5 (r/1.4)^2.5 - 0.5 (r/1.4)^3]^4.5         r = thickness/diameter, at most 1.4
/// zeta = 0.183 + 2.6309 c + 1.387 (1 - c)                  loss on the hole's velocity, jet energy included
/// Cd   = 1/sqrt(zeta)
/// ```
///
/// # Range
/// A hole that is small beside the plate, at high Reynolds number, without cavitation.
///
/// # Source
/// Rennels and Hudson, Pipe Flow (2012), thick-edged orifice with d/D -> 0; constants seen on a public page, not in
/// the book itself.
pub fn thick_plate_coefficient(thickness_to_diameter: f64) -> f64 {
    let r = (thickness_to_diameter / 1.4).clamp(0.0, 1.0);
    let c = (1.0 - 0.5 * r.powf(2.5) - 0.5 * r.powi(3)).max(0.0).powf(4.5);
    let zeta = 0.183 + c * 1.622 * 1.622 + (1.0 - c) * 1.387;
    1.0 / zeta.sqrt()
}
