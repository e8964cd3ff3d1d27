//! How even the water is over the cells of a panel, or of the plate.

use super::loss_path::{self, Joins};
use super::water::WaterSide;
use crate::name::Name;
use crate::network::Network;
use crate::result::{CellFlow, Evenness, PanelFlow};

/// The evenness over the cells of some panels, given by name and cells, and which panel and cell is the driest; `None` where
/// there are none.
pub fn of<'a>(panels: impl Iterator<Item = (&'a Name, &'a [CellFlow])>) -> Option<(Evenness, [usize; 2])> {
    let mut driest: Option<(&Name, &CellFlow, [usize; 2])> = None;
    let (mut flow, mut area, mut highest_flux) = (0.0, 0.0, f64::NEG_INFINITY);
    let (mut least, mut most, mut known) = (f64::INFINITY, f64::NEG_INFINITY, true);
    let mut hole_drop: Option<f64> = None;
    for (panel, (name, cells)) in panels.enumerate() {
        for (c, cell) in cells.iter().enumerate() {
            if driest.is_none_or(|(_, driest, _)| cell.flux.total_cmp(&driest.flux).is_lt()) {
                driest = Some((name, cell, [panel, c]));
            }
            highest_flux = highest_flux.max(cell.flux);
            (flow, area) = (flow + cell.flow, area + cell.area);
            let Some(inside) = cell.pressure else {
                known = false;
                continue;
            };
            (least, most) = (least.min(inside), most.max(inside));
            let drop = inside - cell.plume_pressure;
            if hole_drop.is_none_or(|most| drop.total_cmp(&most).is_gt()) {
                hole_drop = Some(drop);
            }
        }
    }
    let (name, lowest, place) = driest?;
    let pressure_variation = known.then_some(most - least);
    let even = Evenness {
        lowest_flux: lowest.flux,
        mean_flux: flow / area,
        highest_flux,
        driest: name.clone(),
        driest_place: lowest.center,
        hole_drop,
        pressure_variation,
        ratio: hole_drop.zip(pressure_variation).filter(|(_, v)| *v > 0.0).map(|(drop, variation)| drop / variation),
        loss_path: None,
    };
    Some((even, place))
}

/// The evenness of the plate, with the way of the water to its driest cell.
pub fn of_plate(
    network: &Network,
    water: &WaterSide<'_>,
    joins: &Joins,
    panels: &[PanelFlow],
    time: f64,
) -> Option<Evenness> {
    let (even, [panel, cell]) = of(panels.iter().map(|panel| (&panel.name, &*panel.cells)))?;
    Some(Evenness { loss_path: loss_path::find(network, water, joins, panel, Some(cell), time), ..even })
}
