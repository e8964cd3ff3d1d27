//! Panel: two plates with a gap, fed at an edge, emptied through holes.

use super::Fill;
use super::cells::Cells;
use super::density::Density;
use super::hole::{self, HoleLaw};
use super::law::{Friction, Law, Quadratic, circle};
use super::load::Load;
use super::rib::Rib;
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
    /// Ribs inside the gap.
    pub ribs: Vec<Rib>,
    /// How the holes are spread; `None`: evenly.
    pub density: Option<Density>,
    /// Cells along x and y; `[1, 1]`: one pressure in the panel, no loss in the gap.
    pub cells: [u32; 2],
    /// Momentum along the gap of a panel of one row of cells; `None`: the gap only loses by friction.
    pub momentum: Option<Momentum>,
    /// Full or dry at the start.
    pub starts: Fill,
    /// Pressure outside the holes, Pa absolute; `None`: ambient.
    pub plume_pressure: Option<Load>,
    /// Heat load, W/m2.
    pub heat_flux: Option<Load>,
    /// Least water per area, m3/(s m2).
    pub required_flux: Option<f64>,
}

/// How far above another a pressure has to be to count as above it.
const NEARLY: f64 = 1.0 + 1e-9;

/// Whether a plume presses on holes: the pressure outside, Pa absolute, is above ambient.
pub fn plume_presses(outside: f64, site: &Site) -> bool {
    outside > site.ambient_pressure * NEARLY
}

/// Whether a plume enters holes: it presses on them, and not less than the pressure inside, Pa absolute. Where nothing
/// ties the inside to a known pressure, it holds nothing back.
pub fn plume_enters(inside: Option<f64>, outside: f64, site: &Site) -> bool {
    plume_presses(outside, site) && inside.is_none_or(|inside| inside <= outside * NEARLY)
}

/// Regain of static pressure along a row of cells, see [`crate::component::header::Junction::Regain`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Momentum {
    /// Share where the stream gives off water.
    pub dividing: f64,
    /// Share where it takes water up.
    pub combining: f64,
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
    /// Whether cavitation limits their flow; `None`: with `auto` only.
    pub cavitation: Option<bool>,
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
    /// Pressure outside the holes at a time, s, as a mean over the panel: Pa absolute.
    pub fn outside(&self, time: f64, site: &Site) -> f64 {
        self.plume_pressure.as_ref().map_or(site.ambient_pressure, |load| load.at(time))
    }

    /// Greatest pressure outside the holes at a time, s: Pa absolute.
    pub fn greatest_outside(&self, time: f64, site: &Site) -> f64 {
        self.plume_pressure.as_ref().map_or(site.ambient_pressure, |load| load.greatest_at(time))
    }

    /// Number of holes that are not plugged.
    pub fn open_holes(&self) -> f64 {
        f64::from(self.holes.count) * (1.0 - self.plugged)
    }

    /// Open area of the holes that are not plugged times their discharge coefficient at low drop, m2.
    pub fn effective_area(&self) -> f64 {
        self.holes.coefficient() * circle(self.holes.diameter) * self.open_holes()
    }

    /// Law of the open holes at a pressure outside, Pa absolute; `None` when every hole is plugged.
    ///
    /// No water comes back in: the law is used one way.
    pub fn hole_law(&self, outside: f64, site: &Site) -> Option<Law> {
        self.holes.law(self.open_holes(), outside, site)
    }
}

impl Panel {
    /// Whether the inside is one cell.
    pub fn is_lumped(&self) -> bool {
        self.cells == [1, 1]
    }

    /// The cells of the inside.
    pub fn inside(&self) -> Cells {
        match &self.density {
            _ if self.is_lumped() => Cells::lumped(&self.outline, self.area),
            Some(density) => Cells::new(&self.outline, self.cells, |p| density.at(p)),
            None => Cells::new(&self.outline, self.cells, |_| 1.0),
        }
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
    /// Discharge coefficient of one hole, attached and at high Reynolds number.
    pub fn coefficient(&self) -> f64 {
        match self.discharge_coefficient {
            DischargeCoefficient::Given(cd) => cd,
            DischargeCoefficient::Auto => hole::turbulent_coefficient(self.depth()),
        }
    }

    /// Thickness of the plate over the diameter; 0 where the thickness is not known.
    pub fn depth(&self) -> f64 {
        self.plate.unwrap_or(0.0) / self.diameter
    }

    /// Whether cavitation limits the flow: the law then depends on the pressure outside.
    pub fn is_limited(&self) -> bool {
        self.cavitation.unwrap_or(self.discharge_coefficient == DischargeCoefficient::Auto)
    }

    /// Law of `number` such holes at a pressure outside, Pa absolute; `None` where there are none.
    ///
    /// A given coefficient without cavitation: `q = n Cd A sqrt(2 dp/rho)`; else [`HoleLaw`].
    pub fn law(&self, number: f64, outside: f64, site: &Site) -> Option<Law> {
        let area = number * circle(self.diameter);
        let coefficient = self.coefficient();
        (area > 0.0).then(|| match self.discharge_coefficient {
            DischargeCoefficient::Given(_) if !self.is_limited() => {
                Law::Quadratic(Quadratic::new(1.0, coefficient * area, 1.0, site.water_density, 20.0))
            }
            kind => {
                let auto = kind == DischargeCoefficient::Auto;
                let reynolds = if auto { hole::reynolds_loss(self.depth()) } else { 0.0 };
                let outside = self.is_limited().then_some(outside);
                Law::Hole(HoleLaw::new(coefficient, reynolds, area, self.diameter, outside, site))
            }
        })
    }

    /// Pressure drop, Pa, from which the holes cavitate; `None` where they do not, or the file says that they do not.
    pub fn cavitation_drop(&self, outside: f64, site: &Site) -> Option<f64> {
        if self.cavitation == Some(false) {
            return None;
        }
        hole::cavitation_drop(self.coefficient(), outside, site.water_vapour_pressure)
    }
}
