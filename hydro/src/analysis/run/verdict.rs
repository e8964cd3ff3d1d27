//! The verdict on a run: what each panel got, how long the supply lasts, what it used.

use super::cells::Cells;
use super::heat::Heat;
use super::watch::{History, Watch};
use crate::network::{GasVesselKind, Network};
use crate::result::{At, Event, EventCode, GasVerdict, PanelVerdict, Series, Supply, TankSeries, TankVerdict};

/// What each panel got.
///
/// `ends`: the end of the run; `exhausted`: nothing flows after it, so that a duty which goes on is not met.
pub fn panels(
    network: &Network,
    series: &Series,
    (history, heat, cells): (&History, &mut Heat<'_>, Option<Cells<'_>>),
    ends: f64,
    exhausted: bool,
) -> Vec<PanelVerdict> {
    let (ignition, hold_ends) = (network.duty.ignition, network.duty.hold_ends());
    let dry_from = (exhausted && ends < hold_ends).then_some(ends.max(ignition));
    if let Some(from) = dry_from {
        heat.dry_from(from);
    }
    let cooling = heat.finish();
    let cells = cells.map_or_else(|| vec![Vec::new(); network.panels.len()], |cells| cells.finish(dry_from));
    network
        .panels
        .iter()
        .zip(&series.panels)
        .zip(cooling.into_iter().zip(cells))
        .enumerate()
        .map(|(k, ((panel, flows), (cooling, cells)))| {
            let window = (0..series.time.len()).filter(|&k| (ignition..=hold_ends).contains(&series.time[k]));
            let fluxes = window.map(|k| At { value: flows.flow[k] / panel.area, time: series.time[k] });
            let mut lowest = fluxes.min_by(|a, b| a.value.total_cmp(&b.value));
            if let Some(time) = dry_from
                && lowest.is_none_or(|lowest| lowest.value > 0.0)
            {
                lowest = Some(At { value: 0.0, time });
            }
            let (lowest, lowest_at) = (lowest.map(|at| at.value), lowest.map(|at| at.time));
            let required = panel.required_flux;
            let met_in = history.stretches(Watch::Flux(k), true, ends);
            let longest =
                met_in.iter().copied().max_by(|(a, b), (c, d)| (b - a).total_cmp(&(d - c)).then(c.total_cmp(a)));
            let plume_in = history.stretches(Watch::Plume(k), false, ends);
            PanelVerdict {
                name: flows.name.clone(),
                required_flux: required,
                met_from: longest.map(|(from, _)| from),
                met_until: longest.map(|(_, until)| until),
                lowest_flux: lowest,
                lowest_at,
                over_plume: heat.over_plume(k),
                met: required.zip(lowest).map(|(required, lowest)| lowest >= required * (1.0 - 1e-9)),
                plume_enters: plume_in.iter().any(|&(from, until)| from <= hold_ends && until >= ignition),
                cooling,
                shortfall: None,
                start: None,
                cells,
            }
        })
        .collect()
}

/// Every tank: what is left, and when gas first broke through.
pub fn tanks(series: &Series, events: &[Event]) -> Vec<TankVerdict> {
    let verdict = |tank: &TankSeries| {
        let event = events.iter().find(|event| event.code == EventCode::GasBreakthrough && event.item == tank.name);
        let breakthrough = event.and_then(|event| {
            let row = series.time.iter().position(|&time| time >= event.time)?;
            Some(At { value: *tank.water.get(row)?, time: event.time })
        });
        let water_left = tank.water.last().copied().unwrap_or(0.0);
        TankVerdict { name: tank.name.clone(), water_left, breakthrough }
    };
    series.tanks.iter().map(verdict).collect()
}

/// How long the supply lasts and what it used.
///
/// `stopped`: when the last flow of water ended, where it did before the end of the run.
pub fn supply(
    network: &Network,
    series: &Series,
    gas_vessels: &[GasVerdict],
    events: &[Event],
    stopped: Option<f64>,
) -> Supply {
    let start = network.duty.start;
    let empty = events.iter().find(|event| event.code == EventCode::TankEmpty).map(|event| event.time);
    let water = series.tanks.iter().filter_map(|t| t.water.first().zip(t.water.last())).map(|(a, b)| a - b).sum();
    let gas = if network.gas_vessels.iter().any(|vessel| matches!(vessel.kind, GasVesselKind::Bank { .. })) {
        series.gas_banks.iter().filter_map(|b| b.mass.first().zip(b.mass.last())).map(|(a, b)| a - b).sum()
    } else {
        0.0
    };
    let left = series.tanks.iter().filter_map(|t| t.water.last()).sum();
    let sum = |part: fn(&GasVerdict) -> f64| gas_vessels.iter().map(part).sum();
    let lasts = [empty, stopped].into_iter().flatten().min_by(f64::total_cmp).map(|time| time - start);
    Supply {
        lasts,
        water_used: water,
        water_left: left,
        gas_used: gas,
        gas_vented: sum(|gas| gas.relieved.unwrap_or(0.0) + gas.vented.unwrap_or(0.0)),
        stored_at_start: sum(|gas| gas.stored_at_start),
        stored_at_end: sum(|gas| gas.stored_at_end),
        more_runs: gas_vessels.iter().filter_map(|gas| Some(gas.bottles?.more_runs)).min(),
    }
}
