//! The plate in a result: holes, cooling, how even the water is.

use super::{At, LossPath};
use crate::few::Few;
use crate::name::Name;

/// A panel in a steady result.
#[derive(Debug, Clone, PartialEq)]
pub struct PanelFlow {
    /// Name in the file.
    pub name: Name,
    /// Area inside the outline, m2.
    pub area: f64,
    /// Water leaving through the holes, m3/s.
    pub flow: f64,
    /// Flow per area of the panel, m3/(s m2) = m/s.
    pub flux: f64,
    /// Total pressure inside, Pa: the mean over the area of the cells.
    pub pressure: Option<f64>,
    /// Pressure outside the holes, mean over the panel, Pa; `None` where the file gives none (ambient then).
    pub plume_pressure: Option<f64>,
    /// Greatest pressure outside the holes, Pa; of several cells that of their middles.
    pub greatest_plume_pressure: Option<f64>,
    /// Least flux that the file asks for, m/s.
    pub required_flux: Option<f64>,
    /// Whether the panel has its required flux; `None` where the file asks for none.
    pub met: Option<bool>,
    /// Pressure inside less that of the plume where that is least, Pa; `None` where either is not known.
    pub over_plume: Option<f64>,
    /// Whether the pressure inside does not hold against the plume, somewhere on the panel.
    pub plume_enters: bool,
    /// Its holes.
    pub holes: HoleFlow,
    /// Its water against the heat on it; `None` where the file gives no heat.
    pub cooling: Option<CoolingCheck>,
    /// How even the water is over its cells; `None` where it has one only.
    pub evenness: Option<Evenness>,
    /// The cells, row by row, along x first; at least one.
    pub cells: Few<CellFlow>,
}

impl PanelFlow {
    /// The cell with the least flux.
    pub fn driest(&self) -> Option<&CellFlow> {
        self.cells.iter().min_by(|a, b| a.flux.total_cmp(&b.flux))
    }

    /// Lowest total pressure inside, Pa.
    pub fn lowest_pressure(&self) -> Option<f64> {
        self.cells.iter().map(|cell| cell.pressure).try_fold(f64::INFINITY, |least, p| Some(least.min(p?)))
    }
}

/// A cell of a panel in a steady result.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CellFlow {
    /// Centre of its area on the plate plan: x, y, m.
    pub center: [f64; 2],
    /// Area inside the outline, m2.
    pub area: f64,
    /// Number of its holes, plugged ones included; need not be whole.
    pub holes: f64,
    /// Total pressure inside, Pa; `None` where nothing ties it to a known pressure.
    pub pressure: Option<f64>,
    /// Pressure outside the holes, Pa.
    pub plume_pressure: f64,
    /// Water leaving through the holes, m3/s.
    pub flow: f64,
    /// Flow per area, m/s.
    pub flux: f64,
    /// Mean velocity in its holes that are not plugged, m/s.
    pub hole_velocity: f64,
    /// Whether its holes cavitate.
    pub cavitates: bool,
    /// Whether the plume enters.
    pub plume_enters: bool,
    /// Flow over what the same pressure inside would pass against ambient pressure; `None` where that is nothing.
    pub cold_flow_share: Option<f64>,
    /// Heat flux, W/m2: of several cells that in its middle, of one the greatest; `None` where the file gives none.
    pub heat_flux: Option<f64>,
    /// Flux that the heat needs as the file judges it, m/s; `None` where it does not.
    pub needed_flux: Option<f64>,
}

/// The holes of a panel in a steady result.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HoleFlow {
    /// Pressure inside less that outside, Pa; `None` where nothing ties the inside to a known pressure.
    pub drop: Option<f64>,
    /// Mean velocity in a hole that is not plugged, m/s: that of the jet where it leaves the hole full.
    pub velocity: f64,
    /// Reynolds number of a hole, on that velocity.
    pub reynolds: f64,
    /// Discharge coefficient in effect: flow over that of all open holes without losses; `None` where nothing flows.
    pub discharge_coefficient: Option<f64>,
    /// Drop from which the holes cavitate, Pa; `None` where they do not.
    pub cavitates_above: Option<f64>,
    /// Whether they cavitate.
    pub cavitates: bool,
    /// Flow over what the same pressure inside would pass against ambient pressure; `None` where that is nothing.
    pub cold_flow_share: Option<f64>,
    /// Velocity head of the stream in the gap over the drop, where that is greatest; `None` where the gap is not known.
    pub gap_head_to_drop: Option<f64>,
}

/// What the water of a panel does against the heat on it: in the cell with the least margin, in a panel of one cell at
/// its hottest point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoolingCheck {
    /// Heat flux, mean over the panel, W/m2.
    pub heat_flux: f64,
    /// Heat flux at the place that this is about, W/m2.
    pub worst_heat_flux: f64,
    /// Water per area there, m/s.
    pub flux: f64,
    /// The place on the plate plan, m; `None` in a panel of one cell.
    pub place: Option<[f64; 2]>,
    /// Saturation temperature at the pressure outside, K; `None` where there is none above that of the water.
    pub saturation_temperature: Option<f64>,
    /// Flux needed where no water evaporates, m/s.
    pub needed_sensible: Option<f64>,
    /// Flux needed where all water evaporates, m/s.
    pub needed_evaporated: Option<f64>,
    /// Flux needed as the file judges it, m/s; `None` where it does not.
    pub needed: Option<f64>,
    /// Flux over that needed, less 1; `None` where heat is not judged, or where there is none.
    pub margin: Option<f64>,
    /// Whether the flux is what the heat needs; `None` where heat is not judged.
    pub met: Option<bool>,
    /// Critical heat flux of a pool at that saturation, W/m2: a line to be warned by.
    pub critical_heat_flux: Option<f64>,
    /// Temperature of a spot that no film cools, K.
    pub dry_surface_temperature: Option<f64>,
    /// Least flux at which the film closes over dry spots, m/s.
    pub wetting_flux: Option<f64>,
}

/// What the water of a panel did against the heat on it over a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CoolingVerdict {
    /// Lowest margin from ignition to the end of hold, as [`CoolingCheck::margin`].
    pub lowest_margin: Option<f64>,
    /// When, s.
    pub lowest_at: Option<f64>,
    /// Lowest margin over what is needed where no water evaporates.
    pub lowest_margin_sensible: Option<f64>,
    /// Lowest margin over what is needed where all water evaporates.
    pub lowest_margin_evaporated: Option<f64>,
    /// Whether the flux is what the heat needs throughout; `None` where heat is not judged.
    pub met: Option<bool>,
}

/// How even the water is over the cells of a panel, or of the plate.
#[derive(Debug, Clone, PartialEq)]
pub struct Evenness {
    /// Lowest flux, m/s.
    pub lowest_flux: f64,
    /// Flow over area, m/s.
    pub mean_flux: f64,
    /// Highest flux, m/s.
    pub highest_flux: f64,
    /// Panel of the cell with the lowest flux.
    pub driest: Name,
    /// Centre of that cell on the plate plan, m.
    pub driest_place: [f64; 2],
    /// Greatest pressure drop over holes, Pa.
    pub hole_drop: Option<f64>,
    /// Greatest less least pressure inside, Pa.
    pub pressure_variation: Option<f64>,
    /// Drop over variation; `None` where nothing varies.
    pub ratio: Option<f64>,
    /// Where the pressure goes between a tank and the driest cell; of the plate only, `None` when no water reaches it.
    pub loss_path: Option<LossPath>,
}

/// Ratio of the drop over the holes to the variation of the pressure inside that keeps their flows within 5 %.
///
/// `1/(1 - 0.95^2)`, from flow as the root of the drop. Perry's Chemical Engineers' Handbook gives the rule as 10 (from
/// memory).
pub const EVEN_RATIO: f64 = 1.0 / (1.0 - 0.95 * 0.95);

/// What a cell of a panel got from ignition to the end of hold of a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CellVerdict {
    /// Centre of its area on the plate plan: x, y, m.
    pub center: [f64; 2],
    /// Area inside the outline, m2.
    pub area: f64,
    /// Number of its holes, plugged ones included; need not be whole.
    pub holes: f64,
    /// Lowest flux, m/s, and when.
    pub lowest_flux: At,
    /// Mean flux over that time, m/s, by the trapezoidal rule.
    pub mean_flux: f64,
    /// Lowest pressure inside less that of the plume, Pa, and when; `None` where the file gives no plume, or nothing ever
    /// ties the inside to a known pressure.
    pub over_plume: Option<At>,
    /// Whether the plume enters.
    pub plume_enters: bool,
    /// Lowest flux over what the heat needs as the file judges it, less 1, and when; `None` where it is not judged.
    pub heat_margin: Option<At>,
}

impl CellVerdict {
    /// Lowest flux over a required one, m/s, less 1; `None` where none is required.
    pub fn margin(&self, required: Option<f64>) -> Option<f64> {
        required.filter(|&required| required > 0.0).map(|required| self.lowest_flux.value / required - 1.0)
    }
}
