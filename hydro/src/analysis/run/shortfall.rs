//! When each panel first falls short, and of what.

use super::cause::Scene;
use super::heat::{self, Heat, SHORT};
use super::locate::first_above;
use super::record::Segment;
use super::watch::{History, Watch};
use crate::analysis::loss_path::Joins;
use crate::analysis::supply::{Supply, SupplyError};
use crate::result::{Lack, PanelVerdict, Series, Shortfall};

/// Share of the time, at least s, to which a shortfall against the heat is located.
const LOCATED: f64 = 1e-9;

/// Takes a supply back to any time of a run.
struct Playback<'s, 'a> {
    supply: &'s mut Supply<'a>,
    segments: &'s [Segment],
    entered: usize,
    state: Vec<f64>,
}

impl Playback<'_, '_> {
    /// Makes the supply stand as it did at a time, s: at a restart, behind it.
    fn go(&mut self, time: f64) -> Result<(), SupplyError> {
        let at = self.segments.partition_point(|segment| segment.from <= time).saturating_sub(1);
        let Some(segment) = self.segments.get(at) else { return Ok(()) };
        if self.entered != at {
            segment.enter(self.supply);
            self.entered = at;
        }
        segment.state(time, &mut self.state);
        self.supply.evaluate(time, &self.state)
    }

    /// When a panel falls short of what its heat needs, between a time at which it does not and one at which it does.
    fn heat_short(&mut self, panel: usize, (from, to): (f64, f64)) -> Result<f64, SupplyError> {
        first_above(from, to, LOCATED * to.abs().max(1.0), |time| {
            self.go(time)?;
            let water = &self.supply.water;
            let needs = heat::needs(self.supply.network, water, panel, time);
            Ok(heat::margin_over(water, panel, &needs).map_or(-1.0, |margin| SHORT - margin))
        })
    }
}

/// Adds to every panel that falls short between ignition and the end of hold when it first does, of what, and why.
pub fn add(
    supply: &mut Supply<'_>,
    segments: &[Segment],
    series: &Series,
    (history, heat): (&History, &Heat<'_>),
    panels: &mut [PanelVerdict],
) {
    let network = supply.network;
    let (ignition, hold_ends) = (network.duty.ignition, network.duty.hold_ends());
    let end = segments.last().map_or(network.duty.end, |segment| segment.to);
    let state = vec![0.0; supply.dim()];
    let mut playback = Playback { supply, segments, entered: usize::MAX, state };
    let below = |watch: Watch| {
        let due = |(from, until): &(f64, f64)| {
            *from <= hold_ends && (*until > ignition || (from == until && *until >= ignition))
        };
        history.stretches(watch, false, end).into_iter().find(due).map(|(from, _)| from.max(ignition))
    };
    let mut found = Vec::new();
    for (k, panel) in panels.iter().enumerate() {
        let mut first: Option<(f64, Lack)> = None;
        let mut take = |time: Option<f64>, lack: Lack| {
            if let Some(time) = time
                && first.is_none_or(|(known, _)| time < known)
            {
                first = Some((time, lack));
            }
        };
        if panel.met == Some(false) {
            take(below(Watch::Flux(k)).or(panel.lowest_at), Lack::RequiredFlux);
        }
        if panel.cooling.is_some_and(|cooling| cooling.met == Some(false)) {
            let bracket = heat.first_short(k);
            take(bracket.map(|(from, to)| playback.heat_short(k, (from, to)).unwrap_or(to)), Lack::Heat);
        }
        if panel.plume_enters {
            take(below(Watch::Plume(k)), Lack::Pressure);
        }
        found.extend(first.map(|(time, lack)| (time, lack, k)));
    }
    found.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut rest, joins) = (None, Joins::new(network));
    for together in found.chunk_by(|a, b| a.0 == b.0) {
        let Some(&(time, ..)) = together.first() else { continue };
        let reached = playback.go(time).is_ok();
        let scene = reached
            .then(|| Scene::new(&*playback.supply, (time, &playback.state), series, &mut rest, &joins))
            .flatten();
        let mut reasons = match scene {
            Some(mut scene) => scene.reasons(&together.iter().map(|&(_, lack, k)| (k, lack)).collect::<Vec<_>>()),
            None => vec![None; together.len()],
        };
        for (&(time, lack, k), reason) in together.iter().zip(&mut reasons) {
            panels[k].shortfall = Some(Shortfall { time, lack, reason: reason.take() });
        }
    }
}
