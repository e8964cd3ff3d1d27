//! What the result of a run says beside its numbers.

use crate::analysis::columns::lines_behind;
use crate::analysis::findings::{flux, gauge};
use crate::finding::{Finding, Level};
use crate::network::Network;
use crate::result::{EventCode, RunResult};
use crate::time::Stats;

/// Share of the water used that may be unaccounted for without a word. Sound networks stay below 1e-9.
const WATER_TOLERATED: f64 = 1e-5;

/// What tanks that are out leave in their lines without inertia, and how long it would have lasted.
fn water_in_lines(network: &Network, result: &RunResult) -> Vec<(usize, String)> {
    let empty = result.events.iter().filter(|event| event.code == EventCode::TankEmpty);
    let told = empty.filter_map(|event| {
        let tank = network.tanks.iter().position(|tank| network.nodes[tank.node].name == event.item)?;
        // Of the rows at the instant the first is the one before it.
        let row = result.series.time.partition_point(|&time| time < event.time);
        let flow = *result.series.tanks[tank].outflow.get(row)?;
        let lines = lines_behind(network, tank);
        let left: f64 = lines.iter().map(|(_, volume)| volume).sum();
        if flow <= 0.0 || left <= 0.0 {
            return None;
        }
        let held = match lines.as_slice() {
            [(line, _)] => network.passages[*line].name.to_string(),
            lines => format!("the {} lines behind it", lines.len()),
        };
        let text = format!(
            "is out at {:.3} s with {left:.3} m3 of water in {held}, which stops with it: with inertia gas would push it \
             out, in about {:.2} s at the flow of that moment",
            event.time,
            left / flow
        );
        Some((tank, text))
    });
    told.collect()
}

/// Says where the error of steps was not held to the tolerance.
pub fn add_unheld(work: &Stats, result: &mut RunResult) {
    if let Some(time) = work.first_unheld {
        let text = format!(
            "from {time:.4} s on {} of {} time steps were kept for their shortness though their error was above the \
             tolerance: there something shuts or comes to rest from one instant to the next, mostly about air shut in \
             between columns of water; see whether the flows about that time make sense",
            work.unheld, work.accepted
        );
        result.findings.push(Finding::warn("error_not_held", "", text));
    }
}

/// Adds the findings of a run.
pub fn add(network: &Network, result: &mut RunResult) {
    let ambient = result.ambient_pressure;
    let (ignition, hold_ends) = (result.ignition, result.hold_ends);
    let mut found = Vec::new();
    let mut find = |level, code, item: &str, text| found.push(Finding { level, code, item: item.to_owned(), text });
    let reached = result.series.time.last().copied().unwrap_or(network.duty.start);
    for panel in &result.panels {
        if let (Some(required), Some(false), Some(lowest)) = (panel.required_flux, panel.met, panel.lowest_flux) {
            let first = result.events.iter().find(|event| {
                event.item == panel.name
                    && event.code == EventCode::PanelShort
                    && (ignition..=hold_ends).contains(&event.time)
            });
            let when =
                first.map_or_else(|| String::from("from ignition on"), |event| format!("first at {:.3} s", event.time));
            let text = format!("falls to {} of the {} that it needs, {when}", flux(lowest), flux(required));
            find(Level::Fail, "panel_short", &panel.name, text);
        }
        if let Some((margin, at)) =
            panel.cooling.filter(|c| c.met == Some(false)).and_then(|c| c.lowest_margin.zip(c.lowest_at))
        {
            let text = format!("gets {:.1} % less water than its heat needs, at {at:.3} s", -margin * 100.0);
            find(Level::Fail, "heat_short", &panel.name, text);
        }
        if panel.plume_enters {
            let text = String::from("the plume enters between ignition and the end of hold");
            find(Level::Fail, "plume_enters", &panel.name, text);
        }
    }
    for (tank, series) in network.tanks.iter().zip(&result.series.tanks) {
        let highest = series.pressure.iter().copied().fold(0.0, f64::max);
        if let Some(rating) = tank.rating.filter(|&rating| highest > rating) {
            let text = format!(
                "its pressure reaches {}, above its rating of {}",
                gauge(highest, ambient),
                gauge(rating, ambient)
            );
            find(Level::Warn, "above_rating", &series.name, text);
        }
        let coldest = series.gas_temperature.iter().copied().fold(f64::INFINITY, f64::min);
        if coldest < 273.15 && coldest < network.site.ambient_temperature - 1.0 {
            let text = format!("its gas cools to {:.1} degC: frost and brittle steel are possible", coldest - 273.15);
            find(Level::Note, "cold_gas", &series.name, text);
        }
    }
    for bank in &result.series.gas_banks {
        let coldest = bank.temperature.iter().copied().fold(f64::INFINITY, f64::min);
        if coldest < 253.15 {
            let text = format!(
                "its gas cools to {:.1} degC: mind the lowest temperature of bottles and valves",
                coldest - 273.15
            );
            find(Level::Note, "cold_gas", &bank.name, text);
        }
    }
    for event in result.events.iter().filter(|event| event.code == EventCode::TankEmpty && event.time < hold_ends) {
        let text = format!("is empty at {:.3} s, before the end of hold at {hold_ends:.3} s", event.time);
        find(Level::Note, "empty_in_hold", &event.item, text);
    }
    if !network.inertia {
        for (k, text) in water_in_lines(network, result) {
            find(Level::Note, "water_in_lines", &network.nodes[network.tanks[k].node].name, text);
        }
    }
    if reached < hold_ends && network.duty.end < hold_ends {
        let text = format!(
            "the run stops at {reached:.3} s, before the end of hold at {hold_ends:.3} s: the rest is not judged"
        );
        find(Level::Warn, "hold_not_reached", "", text);
    }
    let (lost, used) = (result.balance.water_error.abs(), result.supply.water_used);
    if lost > WATER_TOLERATED * used.abs() {
        let text = format!(
            "{lost:.1e} m3 of the {used:.3} m3 that left the tanks are not accounted for: somewhere a wide passage \
             loses next to nothing, and rounding decides what it passes"
        );
        find(Level::Warn, "water_balance", "", text);
    }
    if !network.panels.is_empty() && network.panels.iter().all(|panel| panel.required_flux.is_none()) {
        find(Level::Note, "nothing_required", "", String::from("no panel has a required_flux: nothing is judged"));
    }
    result.findings.extend(found);
}
