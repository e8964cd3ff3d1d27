//! What every cell of the panels gets from ignition to the end of hold: running extremes and sums, no series.

use crate::analysis::panels::{Need, UptakeMemo, heat_at, margin};
use crate::analysis::supply::Supply;
use crate::component::cells::Cell;
use crate::component::panel::{Panel, plume_enters};
use crate::network::Network;
use crate::result::{At, CellVerdict};

/// The cells of all panels so far.
#[derive(Debug)]
pub struct Cells<'a> {
    network: &'a Network,
    /// Panel by panel.
    panels: Vec<Vec<Track>>,
    memos: Vec<UptakeMemo>,
    /// Time taken in first and last, s.
    taken: Option<(f64, f64)>,
}

/// One cell.
#[derive(Debug, Clone, Copy)]
struct Track {
    cell: Cell,
    lowest: At,
    over_plume: Option<At>,
    heat: Option<At>,
    enters: bool,
    /// Flux at the time taken in last, m/s, and its integral up to then, m.
    flux: f64,
    integral: f64,
}

/// Replaces what is above a value.
fn lower(lowest: &mut Option<At>, value: f64, time: f64) {
    if lowest.is_none_or(|lowest| value < lowest.value) {
        *lowest = Some(At { value, time });
    }
}

impl Track {
    fn new(cell: &Cell) -> Self {
        let lowest = At { value: f64::INFINITY, time: 0.0 };
        Track { cell: *cell, lowest, over_plume: None, heat: None, enters: false, flux: 0.0, integral: 0.0 }
    }

    /// Takes in a flux, m/s, after a time, s, in which it was linear.
    fn take(&mut self, flux: f64, after: f64, time: f64) {
        self.integral += 0.5 * (self.flux + flux) * after;
        self.flux = flux;
        if flux < self.lowest.value {
            self.lowest = At { value: flux, time };
        }
    }

    fn verdict(&self, span: f64, holes: f64) -> CellVerdict {
        CellVerdict {
            center: self.cell.center,
            area: self.cell.area,
            holes: self.cell.holes * holes,
            lowest_flux: self.lowest,
            mean_flux: if span > 0.0 { self.integral / span } else { self.flux },
            over_plume: self.over_plume,
            plume_enters: self.enters,
            heat_margin: self.heat,
        }
    }
}

impl<'a> Cells<'a> {
    /// Nothing known yet.
    pub fn new(supply: &Supply<'a>) -> Self {
        let insides = &supply.water.plate().insides;
        let panels: Vec<Vec<Track>> =
            insides.iter().map(|inside| inside.cells.cells.iter().map(Track::new).collect()).collect();
        let memos = vec![UptakeMemo::default(); panels.len()];
        Cells { network: supply.network, panels, memos, taken: None }
    }

    /// Whether the end of a step, s, is worth a look of its own: it counts, and some panel has several cells.
    pub fn looks_at(&self, time: f64) -> bool {
        self.network.duty.applies(time) && self.panels.iter().any(|cells| cells.len() > 1)
    }

    /// Takes in the instant that the supply stands at; times do not fall.
    pub fn note(&mut self, supply: &Supply<'_>, time: f64) {
        if !self.network.duty.applies(time) {
            return;
        }
        let (network, water) = (self.network, &supply.water);
        let site = &network.site;
        let (first, last) = self.taken.unwrap_or((time, time));
        for (k, (panel, tracks)) in network.panels.iter().zip(&mut self.panels).enumerate() {
            let judged = panel.heat_flux.as_ref().filter(|_| network.cooling.judged.is_some());
            for (c, track) in tracks.iter_mut().enumerate() {
                track.take(water.cell_flow(k, c) / track.cell.area, time - last, time);
                if panel.plume_pressure.is_some() {
                    let inside = water.cell_pressure(k, c);
                    let outside = match panel.is_lumped() {
                        true => panel.greatest_outside(time, site),
                        false => water.cell_outside(k, c),
                    };
                    track.enters |= plume_enters(inside, outside, site);
                    if let Some(inside) = inside {
                        lower(&mut track.over_plume, inside - outside, time);
                    }
                }
                let Some(load) = judged else { continue };
                let heat = heat_at(load, panel, &track.cell, time);
                let need = Need::of(network, heat, water.cell_outside(k, c), &mut self.memos[k]);
                if let Some(margin) = need.judged.and_then(|need| margin(track.flux, need)) {
                    lower(&mut track.heat, margin, time);
                }
            }
        }
        self.taken = Some((first, time));
    }

    /// Takes in that no water comes from a time on.
    fn dry_from(&mut self, from: f64) {
        let (network, ends) = (self.network, self.network.duty.hold_ends());
        let (first, last) = self.taken.unwrap_or((from, from));
        for (k, (panel, tracks)) in network.panels.iter().zip(&mut self.panels).enumerate() {
            let judged = panel.heat_flux.as_ref().filter(|_| network.cooling.judged.is_some());
            let outside = panel.outside(from, &network.site);
            for track in tracks.iter_mut() {
                track.take(track.flux, from - last, from);
                track.take(0.0, 0.0, from);
                let Some(load) = judged else { continue };
                let later = load.over_time.time.iter().copied().filter(|time| (from..=ends).contains(time));
                let hot = [from].into_iter().chain(later).chain([ends]);
                let needs = |time: f64, memo: &mut UptakeMemo| {
                    Need::of(network, heat_at(load, panel, &track.cell, time), outside, memo).judged
                };
                let first =
                    hot.into_iter().find(|&time| needs(time, &mut self.memos[k]).is_some_and(|need| need > 0.0));
                if let Some(time) = first {
                    lower(&mut track.heat, -1.0, time);
                }
            }
        }
        self.taken = Some((first, ends));
    }

    /// The verdicts, panel by panel; empty where the run does not reach ignition.
    ///
    /// `dry_from`: from when on no water comes, s, in a duty that goes on.
    pub fn finish(mut self, dry_from: Option<f64>) -> Vec<Vec<CellVerdict>> {
        if let Some(from) = dry_from {
            self.dry_from(from);
        }
        let Some((first, last)) = self.taken else { return vec![Vec::new(); self.panels.len()] };
        let panels = self.panels.iter().zip(&self.network.panels);
        let verdicts = |(tracks, panel): (&Vec<Track>, &Panel)| {
            let holes = f64::from(panel.holes.count);
            tracks.iter().map(|track| track.verdict(last - first, holes)).collect()
        };
        panels.map(verdicts).collect()
    }
}
