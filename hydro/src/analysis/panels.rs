//! The panels of a solved state: their cells, holes, and their water against the heat on them.

use super::evenness;
use super::water::WaterSide;
use crate::component::cells::Cell;
use crate::component::cooling::{self, Uptake};
use crate::component::law::{Law, circle};
use crate::component::load::Load;
use crate::component::panel::{Panel, plume_enters};
use crate::few::Few;
use crate::network::Network;
use crate::result::{CellFlow, CoolingCheck, HoleFlow, PanelFlow};

/// What water takes up, kept for the pressure asked for last: neighbours are pressed on alike, and loads stand still for
/// most of a run.
#[derive(Debug, Clone, Copy, Default)]
pub struct UptakeMemo {
    last: Option<(f64, Option<Uptake>)>,
}

impl UptakeMemo {
    /// What the water of a network takes up at a pressure, Pa absolute.
    pub fn at(&mut self, pressure: f64, network: &Network) -> Option<Uptake> {
        match self.last {
            Some((known, uptake)) if known == pressure => uptake,
            _ => {
                let uptake = Uptake::at(pressure, &network.site);
                self.last = Some((pressure, uptake));
                uptake
            }
        }
    }
}

/// A panel; `through` as [`WaterSide::through`] gives it. Inlined, for it is large and then made where it is kept.
#[inline]
pub fn panel(
    network: &Network,
    water: &WaterSide<'_>,
    k: usize,
    time: f64,
    through: &[f64],
    memo: &mut UptakeMemo,
) -> PanelFlow {
    let (site, panel) = (&network.site, &network.panels[k]);
    let name = &network.nodes[panel.node].name;
    let pressure = water.pressure(panel.node);
    let (inside, outside) = water.weakest(k);
    let mut flow_of = |(c, cell)| self::cell(network, water, (k, c), cell, time, memo);
    let cells = match &water.plate().insides[k].cells.cells {
        Few::One([one]) => Few::One([flow_of((0, one))]),
        Few::Many(cells) => Few::Many(cells.iter().enumerate().map(flow_of).collect()),
    };
    let flow = cells.iter().map(|cell| cell.flow).sum();
    let flux = flow / panel.area;
    let pressed = panel.plume_pressure.as_ref();
    let greatest = cells.iter().map(|cell| cell.plume_pressure).fold(f64::NEG_INFINITY, f64::max);
    let several = cells.len() > 1;
    PanelFlow {
        name: name.clone(),
        area: panel.area,
        flow,
        flux,
        pressure,
        plume_pressure: pressed.map(|load| load.at(time)),
        greatest_plume_pressure: pressed.map(|load| if several { greatest } else { load.greatest_at(time) }),
        over_plume: pressed.and(inside).map(|inside| inside - outside),
        required_flux: panel.required_flux,
        met: panel.required_flux.map(|required| flux >= required),
        plume_enters: plume_enters(inside, outside, site),
        holes: holes(network, water, k, &cells, (flow, pressure), through),
        cooling: cooling(network, panel, &cells, time, memo),
        evenness: if several { evenness::of([(name, &*cells)].into_iter()).map(|(even, _)| even) } else { None },
        cells,
    }
}

/// A cell of a panel: its index in the panel, and both numbers.
#[inline]
fn cell(
    network: &Network,
    water: &WaterSide<'_>,
    (k, c): (usize, usize),
    cell: &Cell,
    time: f64,
    memo: &mut UptakeMemo,
) -> CellFlow {
    let (site, panel) = (&network.site, &network.panels[k]);
    let flow = water.cell_flow(k, c);
    let (inside, outside) = (water.cell_pressure(k, c), water.cell_outside(k, c));
    let greatest = if panel.is_lumped() { panel.greatest_outside(time, site) } else { outside };
    let open = open_area(panel) * cell.holes;
    // The stream in the gap takes as much from either.
    let driving = inside.map(|inside| inside - water.crossing(k, c));
    let cold = cold_flow(network, panel, driving).map(|cold| cold * cell.holes);
    let heat_flux = panel.heat_flux.as_ref().map(|load| heat_at(load, panel, cell, time));
    CellFlow {
        center: cell.center,
        area: cell.area,
        holes: cell.holes * f64::from(panel.holes.count),
        pressure: inside,
        plume_pressure: outside,
        flow,
        flux: flow / cell.area,
        hole_velocity: if open > 0.0 { flow / open } else { 0.0 },
        cavitates: flow > 0.0 && cavitates(network, panel, inside, outside),
        plume_enters: plume_enters(inside, greatest, site),
        cold_flow_share: cold.map(|cold| flow / cold),
        heat_flux,
        needed_flux: heat_flux.and_then(|heat| Need::of(network, heat, outside, memo).judged),
    }
}

/// Area of the open holes of a panel, m2.
fn open_area(panel: &Panel) -> f64 {
    circle(panel.holes.diameter) * panel.open_holes()
}

/// Flow of all holes of a panel against ambient pressure, m3/s; `None` where that is nothing.
fn cold_flow(network: &Network, panel: &Panel, inside: Option<f64>) -> Option<f64> {
    let ambient = network.site.ambient_pressure;
    let drop = inside.map(|inside| inside - ambient).filter(|&drop| drop > 0.0)?;
    let law: Law = panel.hole_law(ambient, &network.site)?;
    Some(law.flow_at(drop)).filter(|&flow| flow > 0.0)
}

fn cavitates(network: &Network, panel: &Panel, inside: Option<f64>, outside: f64) -> bool {
    let above = panel.holes.cavitation_drop(outside, &network.site);
    inside.zip(above).is_some_and(|(inside, above)| inside - outside > above)
}

/// Heat flux on a cell at a time, s, W/m2: of several cells that in its middle, of one the greatest.
pub fn heat_at(load: &Load, panel: &Panel, cell: &Cell, time: f64) -> f64 {
    match load.excess_at(cell.center) {
        Some(excess) if !panel.is_lumped() => load.value(excess, time),
        _ => load.greatest_at(time),
    }
}

/// The holes of a panel, of its flow and the pressure inside: means over its cells.
fn holes(
    network: &Network,
    water: &WaterSide<'_>,
    k: usize,
    cells: &[CellFlow],
    (flow, pressure): (f64, Option<f64>),
    through: &[f64],
) -> HoleFlow {
    let (site, panel) = (&network.site, &network.panels[k]);
    let area = open_area(panel);
    let velocity = if area > 0.0 { flow / area } else { 0.0 };
    let outside = cells.iter().map(|cell| cell.plume_pressure * cell.area).sum::<f64>() / panel.area;
    let drop = pressure.map(|inside| inside - outside);
    let ideal = |drop: f64| (2.0 * drop / site.water_density).sqrt();
    let cold: f64 =
        cells.iter().filter_map(|cell| Some(cell.flow / cell.cold_flow_share?)).filter(|q| q.is_finite()).sum();
    let cold = if let [one] = cells { one.cold_flow_share } else { (cold > 0.0).then(|| flow / cold) };
    let heads = water.gap_heads(k, through).unwrap_or_default();
    let shares = heads.iter().zip(cells).filter_map(|(head, cell)| {
        let drop = cell.pressure? - cell.plume_pressure;
        (drop > 0.0).then(|| head / drop)
    });
    HoleFlow {
        gap_head_to_drop: shares.max_by(f64::total_cmp),
        drop,
        velocity,
        reynolds: site.water_density * velocity * panel.holes.diameter / site.water_viscosity,
        discharge_coefficient: drop.filter(|&drop| drop > 0.0 && velocity > 0.0).map(|drop| velocity / ideal(drop)),
        cavitates_above: panel.holes.cavitation_drop(outside, site),
        cavitates: cells.iter().any(|cell| cell.cavitates),
        cold_flow_share: cold,
    }
}

/// The water of a panel against the heat on it, where it falls shortest; `None` where the file gives no heat.
fn cooling(
    network: &Network,
    panel: &Panel,
    cells: &[CellFlow],
    time: f64,
    memo: &mut UptakeMemo,
) -> Option<CoolingCheck> {
    let (site, load, given) = (&network.site, panel.heat_flux.as_ref()?, &network.cooling);
    // Heat over flux: the need is nearly a multiple of the heat, and this ranks also where it is not judged.
    let shortest = |cell: &CellFlow| cell.heat_flux.unwrap_or(0.0) / cell.flux.max(f64::MIN_POSITIVE);
    let judged = |cell: &CellFlow| cell.needed_flux.map(|needed| needed / cell.flux.max(f64::MIN_POSITIVE));
    let rank = |cell: &CellFlow| judged(cell).unwrap_or_else(|| shortest(cell));
    let worst = cells.iter().max_by(|a, b| rank(a).total_cmp(&rank(b)))?;
    let heat = worst.heat_flux?;
    let need = Need::of(network, heat, worst.plume_pressure, memo);
    let plate = panel.holes.plate.zip(given.conductivity);
    // Holes in squares: the film runs from one row to the next.
    let run = (worst.area / (worst.holes * (1.0 - panel.plugged))).sqrt();
    Some(CoolingCheck {
        heat_flux: load.at(time),
        worst_heat_flux: heat,
        flux: worst.flux,
        place: (cells.len() > 1).then_some(worst.center),
        saturation_temperature: need.uptake.map(|uptake| uptake.saturation_temperature),
        needed_sensible: need.sensible,
        needed_evaporated: need.evaporated,
        needed: need.judged,
        margin: need.judged.and_then(|needed| margin(worst.flux, needed)),
        met: need.judged.map(|needed| worst.flux >= needed),
        critical_heat_flux: need.uptake.map(|uptake| uptake.critical_heat_flux),
        dry_surface_temperature: plate.map(|(t, k)| cooling::dry_surface(heat, t, k, site)),
        wetting_flux: given.wetting_limit.filter(|_| run.is_finite()).and_then(|limit| limit.flux(run, site)),
    })
}

/// Flux over that needed, less 1; `None` where none is needed.
pub fn margin(flux: f64, needed: f64) -> Option<f64> {
    (needed > 0.0).then(|| flux / needed - 1.0)
}

/// Flux that a heat flux needs, m/s.
#[derive(Debug, Clone, Copy)]
pub struct Need {
    /// What the water takes up.
    pub uptake: Option<Uptake>,
    /// Where no water evaporates.
    pub sensible: Option<f64>,
    /// Where all water evaporates.
    pub evaporated: Option<f64>,
    /// As the file judges it.
    pub judged: Option<f64>,
}

impl Need {
    /// The need of a heat flux, W/m2, at a pressure outside, Pa absolute.
    pub fn of(network: &Network, heat: f64, outside: f64, memo: &mut UptakeMemo) -> Need {
        let (site, uptake) = (&network.site, memo.at(outside, network));
        let judged = network.cooling.judged;
        Need {
            uptake,
            sensible: uptake.map(|uptake| uptake.needed(heat, 0.0, site)),
            evaporated: uptake.map(|uptake| uptake.needed(heat, 1.0, site)),
            judged: judged.zip(uptake).map(|(judged, uptake)| judged.needed(&uptake, heat, site)),
        }
    }
}
