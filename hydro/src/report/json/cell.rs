//! What the cells of a panel got over a run, as JSON.

use serde::Serialize;

use crate::result::{CellVerdict, PanelVerdict};

/// A panel of more than one cell.
#[derive(Serialize)]
pub(super) struct Inside {
    cells: usize,
    driest: Option<Cell>,
    #[serde(skip_serializing_if = "Option::is_none")]
    weakest: Option<Cell>,
}

impl Inside {
    /// The cells that are worst off; `None` for a panel of one cell, and where they were not followed.
    pub(super) fn of(panel: &PanelVerdict) -> Option<Self> {
        let cell = |cell| Cell::of(cell, panel.required_flux);
        let (driest, weakest) = (panel.driest().map(cell), panel.weakest().map(cell));
        (panel.cells.len() > 1).then_some(Inside { cells: panel.cells.len(), driest, weakest })
    }
}

#[derive(Serialize)]
pub(super) struct Cell {
    x_m: f64,
    y_m: f64,
    area_m2: f64,
    holes: f64,
    lowest_flux_m_s: f64,
    lowest_flux_at_s: f64,
    mean_flux_m_s: f64,
    margin: Option<f64>,
    lowest_over_plume_pa: Option<f64>,
    lowest_over_plume_at_s: Option<f64>,
    plume_enters: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    lowest_heat_margin: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    lowest_heat_margin_at_s: Option<f64>,
}

impl Cell {
    /// A cell of a panel with a required flux, m/s.
    pub(super) fn of(cell: &CellVerdict, required: Option<f64>) -> Self {
        Cell {
            x_m: cell.center[0],
            y_m: cell.center[1],
            area_m2: cell.area,
            holes: cell.holes,
            lowest_flux_m_s: cell.lowest_flux.value,
            lowest_flux_at_s: cell.lowest_flux.time,
            mean_flux_m_s: cell.mean_flux,
            margin: cell.margin(required),
            lowest_over_plume_pa: cell.over_plume.map(|at| at.value),
            lowest_over_plume_at_s: cell.over_plume.map(|at| at.time),
            plume_enters: cell.plume_enters,
            lowest_heat_margin: cell.heat_margin.map(|at| at.value),
            lowest_heat_margin_at_s: cell.heat_margin.map(|at| at.time),
        }
    }
}
