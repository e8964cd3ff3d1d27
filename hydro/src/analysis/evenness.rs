//! How even the water is over the cells of a panel, or of the plate.

use super::loss_path::{self, Joins};
use super::water::WaterSide;
use crate::network::Network;
use crate::result::{CellFlow, Evenness, PanelFlow};

/// The evenness over the cells of some panels, given by name and cells; `None` where there are none.
pub fn of(panels: &[(&str, &[CellFlow])]) -> Option<Evenness> {
    let cells = || panels.iter().flat_map(|(name, cells)| cells.iter().map(move |cell| (*name, cell)));
    let (driest, lowest) = cells().min_by(|(_, a), (_, b)| a.flux.total_cmp(&b.flux))?;
    let highest_flux = cells().map(|(_, cell)| cell.flux).fold(f64::NEG_INFINITY, f64::max);
    let (flow, area) = cells().fold((0.0, 0.0), |(flow, area), (_, cell)| (flow + cell.flow, area + cell.area));
    let known = cells().all(|(_, cell)| cell.pressure.is_some());
    let inside = || cells().filter_map(|(_, cell)| cell.pressure);
    let variation = inside().fold(f64::NEG_INFINITY, f64::max) - inside().fold(f64::INFINITY, f64::min);
    let drop = cells().filter_map(|(_, cell)| Some(cell.pressure? - cell.plume_pressure)).max_by(f64::total_cmp);
    let pressure_variation = known.then_some(variation);
    Some(Evenness {
        lowest_flux: lowest.flux,
        mean_flux: flow / area,
        highest_flux,
        driest: driest.to_string(),
        driest_place: lowest.center,
        hole_drop: drop,
        pressure_variation,
        ratio: drop.zip(pressure_variation).filter(|(_, v)| *v > 0.0).map(|(drop, variation)| drop / variation),
        loss_path: None,
    })
}

/// The evenness of the plate, with the way of the water to its driest cell.
pub fn of_plate(
    network: &Network,
    water: &WaterSide<'_>,
    joins: &Joins,
    panels: &[PanelFlow],
    time: f64,
) -> Option<Evenness> {
    let all: Vec<(&str, &[CellFlow])> =
        panels.iter().map(|panel| (panel.name.as_str(), panel.cells.as_slice())).collect();
    let even = of(&all)?;
    let panel = panels.iter().position(|panel| panel.name == even.driest)?;
    let cell = panels[panel].cells.iter().position(|cell| cell.center == even.driest_place)?;
    Some(Evenness { loss_path: loss_path::find(network, water, joins, panel, Some(cell), time), ..even })
}
