//! When each panel has its water: the start of a run whose water is set moving.

use super::locate::Looks;
use crate::analysis::supply::{Supply, SupplyError};
use crate::analysis::water::WaterSide;
use crate::network::Network;
use crate::nonlinear::newton::Options;
use crate::result::{Event, EventCode, PanelStart};
use std::collections::HashMap;

/// Share of the steady flow at which a panel counts as supplied.
const SUPPLIED: f64 = 0.95;

/// Share of the time, at least s, to which that is located.
const LOCATED: f64 = 1e-6;

/// Compares the flow of each panel with the one that the network would settle at, row by row, until all have it. When a panel has
/// it first is located between the rows.
pub struct Lead<'a> {
    network: &'a Network,
    /// The same network with water that follows at once; `None` when no panel is left to look at.
    rest: Option<WaterSide<'a>>,
    /// Time of the row before, and of each panel by how much its share was above [`SUPPLIED`] there.
    before: Option<(f64, Vec<f64>)>,
    /// When each panel was first supplied.
    supplied: Vec<Option<f64>>,
}

/// By how much the share that each panel has of its steady flow is above [`SUPPLIED`], at the instant that a supply stands at.
fn above<'a>(rest: &mut WaterSide<'a>, supply: &Supply<'a>, (time, y): (f64, &[f64])) -> Result<Vec<f64>, SupplyError> {
    supply.put_at_rest(rest, time, y);
    rest.solve(&Options::default())?;
    let share = |k: usize| {
        let steady = rest.panel_flow(k);
        if steady > 0.0 { supply.water.panel_flow(k) / steady } else { 0.0 }
    };
    Ok((0..supply.network.panels.len()).map(|k| share(k) - SUPPLIED).collect())
}

impl<'a> Lead<'a> {
    /// For one run. Does nothing where the water follows at once.
    ///
    /// # Errors
    /// Where the network is too large.
    pub fn new(supply: &Supply<'a>) -> Result<Self, SupplyError> {
        let network = supply.network;
        let rest = if supply.is_moving() { Some(WaterSide::new(network)?) } else { None };
        Ok(Lead { network, rest, before: None, supplied: vec![None; network.panels.len()] })
    }

    /// Takes a row in. `go`: makes the supply stand at another time since the row before, and gives its state.
    ///
    /// # Errors
    /// Where the supply or the network at rest cannot be solved.
    pub fn note(
        &mut self,
        supply: &mut Supply<'a>,
        (time, y): (f64, &[f64]),
        mut go: impl FnMut(&mut Supply<'a>, f64) -> Result<Vec<f64>, SupplyError>,
    ) -> Result<(), SupplyError> {
        let Some(rest) = &mut self.rest else { return Ok(()) };
        let now = above(rest, supply, (time, y))?;
        let reached = |k: &usize| self.supplied[*k].is_none() && now[*k] >= 0.0;
        let reached: Vec<usize> = (0..now.len()).filter(reached).collect();
        let mut looks = Looks::default();
        let before = self.before.take().filter(|&(from, _)| from < time);
        let of = |values: &[f64]| -> Vec<f64> { reached.iter().map(|&k| values[k]).collect() };
        for (at, values) in before.iter().map(|(from, values)| (*from, values)).chain([(time, &now)]) {
            looks.add(at, of(values));
        }
        for (which, &k) in reached.iter().enumerate() {
            let tolerance = LOCATED * time.abs().max(1.0);
            let found = looks.first_above(which, (tolerance, false), |at| {
                let y = go(supply, at)?;
                Ok::<_, SupplyError>(of(&above(rest, supply, (at, &y))?))
            })?;
            self.supplied[k] = Some(found);
        }
        self.before = Some((time, now));
        if self.supplied.iter().all(Option::is_some) {
            self.rest = None;
        }
        Ok(())
    }

    /// The start of each panel; `None` where the water follows at once.
    pub fn finish(self, supply: &Supply<'_>, events: &[Event]) -> Vec<Option<PanelStart>> {
        let network = self.network;
        let arrivals = events.iter().filter(|event| event.code == EventCode::WaterArrives);
        // The first of each item stays.
        let reached: HashMap<&str, f64> = arrivals.rev().map(|event| (event.item.as_str(), event.time)).collect();
        let starts = network.panels.iter().zip(self.supplied).map(|(panel, supplied)| {
            supply.is_moving().then(|| PanelStart {
                water_arrives: reached.get(network.nodes[panel.node].name.as_str()).copied(),
                supplied_from: supplied,
                lead: supplied.map(|at| network.duty.ignition - at),
            })
        });
        starts.collect()
    }
}
