//! The water of every panel against the heat and the plume on it, from ignition to the end of hold.

use crate::analysis::panels::{Need, UptakeMemo, heat_at, margin};
use crate::analysis::supply::Supply;
use crate::analysis::water::WaterSide;
use crate::network::Network;
use crate::result::{At, CoolingVerdict};

/// Margin from which on a panel is short of what its heat needs: rounding is not.
pub const SHORT: f64 = -1e-9;

/// Flux that the heat on each cell of a panel needs as the file judges it, m/s, at the instant of a water side.
pub fn needs(network: &Network, water: &WaterSide<'_>, k: usize, time: f64) -> Vec<Option<f64>> {
    let panel = &network.panels[k];
    let Some(load) = &panel.heat_flux else { return Vec::new() };
    let mut memo = UptakeMemo::default();
    let cells = water.plate().insides[k].cells.cells.iter().enumerate();
    cells
        .map(|(c, cell)| {
            Need::of(network, heat_at(load, panel, cell, time), water.cell_outside(k, c), &mut memo).judged
        })
        .collect()
}

/// Lowest margin of the cells of a panel over what each needs, m/s; `None` where none needs any.
pub fn margin_over(water: &WaterSide<'_>, k: usize, needs: &[Option<f64>]) -> Option<f64> {
    let cells = &water.plate().insides[k].cells.cells;
    let margins = cells.iter().zip(needs).enumerate();
    let margins = margins.filter_map(|(c, (cell, need))| margin(water.cell_flow(k, c) / cell.area, (*need)?));
    margins.min_by(f64::total_cmp)
}

/// The lowest margins of every panel so far.
#[derive(Debug)]
pub struct Heat<'a> {
    network: &'a Network,
    /// One a panel; `None` where the file gives no heat.
    verdicts: Vec<Option<CoolingVerdict>>,
    /// Panels where the need could not be told at some time.
    unknown: Vec<bool>,
    memos: Vec<UptakeMemo>,
    /// For each panel: the time known before its first shortfall, and the first known in it, s.
    short: Vec<Option<(f64, f64)>>,
    /// For each panel: lowest pressure inside less that of the plume, Pa.
    over_plume: Vec<Option<At>>,
    /// Last time taken in, s.
    before: f64,
}

impl<'a> Heat<'a> {
    /// Nothing known yet.
    pub fn new(network: &'a Network) -> Self {
        let start = CoolingVerdict {
            lowest_margin: None,
            lowest_at: None,
            lowest_margin_sensible: None,
            lowest_margin_evaporated: None,
            met: None,
        };
        let panels = network.panels.len();
        Heat {
            network,
            verdicts: network.panels.iter().map(|panel| panel.heat_flux.as_ref().map(|_| start)).collect(),
            unknown: vec![false; panels],
            memos: vec![UptakeMemo::default(); panels],
            short: vec![None; panels],
            over_plume: vec![None; panels],
            before: network.duty.ignition,
        }
    }

    /// Takes in the instant that the supply stands at.
    pub fn note(&mut self, supply: &Supply<'_>, time: f64) {
        if !self.network.duty.applies(time) {
            return;
        }
        for (k, panel) in self.network.panels.iter().enumerate() {
            if panel.plume_pressure.is_some()
                && let (Some(inside), outside) = supply.water.weakest(k)
                && self.over_plume[k].is_none_or(|lowest| inside - outside < lowest.value)
            {
                self.over_plume[k] = Some(At { value: inside - outside, time });
            }
            let Some(load) = &panel.heat_flux else { continue };
            let insides = &supply.water.plate().insides;
            for (c, cell) in insides[k].cells.cells.iter().enumerate() {
                let flux = supply.water.cell_flow(k, c) / cell.area;
                self.take(k, time, flux, heat_at(load, panel, cell, time), supply.water.cell_outside(k, c));
            }
        }
        self.before = time;
    }

    /// Takes in that no water comes from a time on.
    pub fn dry_from(&mut self, from: f64) {
        let network = self.network;
        for (k, panel) in network.panels.iter().enumerate() {
            let Some(load) = &panel.heat_flux else { continue };
            let later = load.over_time.time.iter().copied().filter(|&time| time > from);
            for time in [from, network.duty.hold_ends()].into_iter().chain(later) {
                if self.network.duty.applies(time) {
                    self.take(k, time, 0.0, load.greatest_at(time), panel.outside(time, &network.site));
                }
            }
        }
    }

    /// Takes in one place.
    fn take(&mut self, k: usize, time: f64, flux: f64, heat: f64, outside: f64) {
        let Some(verdict) = &mut self.verdicts[k] else { return };
        let need = Need::of(self.network, heat, outside, &mut self.memos[k]);
        self.unknown[k] |= need.uptake.is_none();
        if self.network.cooling.judged.is_some() {
            verdict.met.get_or_insert(true);
        }
        let over = |needed: Option<f64>| needed.and_then(|needed| margin(flux, needed));
        if let Some(margin) = over(need.judged) {
            if verdict.lowest_margin.is_none_or(|lowest| margin < lowest) {
                (verdict.lowest_margin, verdict.lowest_at) = (Some(margin), Some(time));
            }
            verdict.met = Some(verdict.met != Some(false) && margin >= SHORT);
            if margin < SHORT {
                self.short[k].get_or_insert((self.before.min(time), time));
            }
        }
        let lower = |lowest: &mut Option<f64>, margin: Option<f64>| {
            *lowest = [*lowest, margin].into_iter().flatten().min_by(f64::total_cmp);
        };
        lower(&mut verdict.lowest_margin_sensible, over(need.sensible));
        lower(&mut verdict.lowest_margin_evaporated, over(need.evaporated));
    }

    /// The verdicts; a panel whose need was not known throughout is judged only where it fell short.
    pub fn finish(&mut self) -> Vec<Option<CoolingVerdict>> {
        for (verdict, unknown) in self.verdicts.iter_mut().zip(&self.unknown) {
            if let Some(verdict) = verdict
                && *unknown
                && verdict.met == Some(true)
            {
                verdict.met = None;
            }
        }
        self.verdicts.clone()
    }

    /// The time known before the first shortfall of a panel, and the first known in it, s; `None` where it has none.
    pub fn first_short(&self, panel: usize) -> Option<(f64, f64)> {
        self.short[panel]
    }

    /// Lowest pressure inside a panel less that of the plume, Pa, and when.
    pub fn over_plume(&self, panel: usize) -> Option<At> {
        self.over_plume[panel]
    }
}
