//! When each panel has its water: the start of a run whose water is set moving.

use crate::analysis::supply::{Supply, SupplyError};
use crate::analysis::water::WaterSide;
use crate::network::Network;
use crate::nonlinear::newton::Options;
use crate::result::{Event, EventCode, PanelStart};
use std::collections::HashMap;

/// Share of the steady flow at which a panel counts as supplied.
const SUPPLIED: f64 = 0.95;

/// Compares the flow of each panel with the one that the network would settle at, row by row, until all have it.
pub struct Lead<'a> {
    network: &'a Network,
    /// The same network with water that follows at once; `None` when no panel is left to look at.
    rest: Option<WaterSide<'a>>,
    /// For each panel: time and share of the row before, and when it was first supplied.
    panels: Vec<((f64, f64), Option<f64>)>,
}

impl<'a> Lead<'a> {
    /// For one run. Does nothing where the water follows at once.
    ///
    /// # Errors
    /// Where the network is too large.
    pub fn new(supply: &Supply<'a>) -> Result<Self, SupplyError> {
        let network = supply.network;
        let rest = if supply.is_moving() { Some(WaterSide::new(network)?) } else { None };
        Ok(Lead { network, rest, panels: vec![((0.0, 0.0), None); network.panels.len()] })
    }

    /// Takes a row in.
    ///
    /// # Errors
    /// Where the network at rest cannot be solved.
    pub fn note(&mut self, supply: &Supply<'a>, time: f64, y: &[f64]) -> Result<(), SupplyError> {
        let Some(rest) = &mut self.rest else { return Ok(()) };
        supply.put_at_rest(rest, time, y);
        rest.solve(&Options::default())?;
        for (k, (before, supplied)) in self.panels.iter_mut().enumerate() {
            let steady = rest.panel_flow(k);
            let share = if steady > 0.0 { supply.water.panel_flow(k) / steady } else { 0.0 };
            if supplied.is_none() && share >= SUPPLIED {
                let (from, low) = *before;
                let part = if share > low && low > 0.0 { (SUPPLIED - low) / (share - low) } else { 1.0 };
                *supplied = Some(from + part.clamp(0.0, 1.0) * (time - from));
            }
            *before = (time, share);
        }
        if self.panels.iter().all(|(_, supplied)| supplied.is_some()) {
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
        let starts = network.panels.iter().zip(self.panels).map(|(panel, (_, supplied))| {
            supply.is_moving().then(|| PanelStart {
                water_arrives: reached.get(network.nodes[panel.node].name.as_str()).copied(),
                supplied_from: supplied,
                lead: supplied.map(|at| network.duty.ignition - at),
            })
        });
        starts.collect()
    }
}
