//! What a steady result says beside its numbers.

use super::plate_findings;
use crate::component::header::Takeoffs;
use crate::finding::{Finding, Level};
use crate::network::{Network, NodeKind, PassageKind};
use crate::result::{FlowResult, PanelFlow, TakeoffFlow, WeirState};

/// A pressure level, Pa absolute, for a sentence.
pub fn gauge(pressure: f64, ambient: f64) -> String {
    format!("{:.3} bar(g)", (pressure - ambient) / 1e5)
}

/// A flux, m/s, for a sentence.
pub fn flux(flux: f64) -> String {
    format!("{:.2} L/s/m2", flux * 1e3)
}

/// Pressure inside and outside where the plume enters a panel, Pa; `None` where either is not known.
fn weakest(panel: &PanelFlow) -> Option<(f64, f64)> {
    if panel.cells.len() < 2 {
        return panel.pressure.zip(panel.greatest_plume_pressure);
    }
    let entered = panel.cells.iter().filter(|cell| cell.plume_enters);
    let ends = entered.filter_map(|cell| Some((cell.pressure?, cell.plume_pressure)));
    ends.min_by(|a, b| (a.0 - a.1).total_cmp(&(b.0 - b.1)))
}

/// Adds the findings of a steady result.
pub fn add(network: &Network, result: &mut FlowResult) {
    let ambient = result.ambient_pressure;
    let mut found = Vec::new();
    let mut find = |level, code, item: &str, text| found.push(Finding { level, code, item: item.to_owned(), text });
    for panel in &result.panels {
        if let (Some(required), Some(false)) = (panel.required_flux, panel.met) {
            let text = format!("gets {} of the {} that it needs", flux(panel.flux), flux(required));
            find(Level::Fail, "panel_short", &panel.name, text);
        }
        if panel.plume_enters
            && let Some((inside, outside)) = weakest(panel)
        {
            let text = format!(
                "the plume enters: {} inside against {} outside the holes",
                gauge(inside, ambient),
                gauge(outside, ambient)
            );
            find(Level::Fail, "plume_enters", &panel.name, text);
        }
    }
    plate_findings::add(network, result, &mut find);
    for panel in result.panels.iter().filter(|panel| panel.flow > 0.0 && !panel.plume_enters) {
        let dry = panel.cells.iter().filter(|cell| cell.flow <= 0.0 && cell.holes > 0.0).count();
        if dry > 0 {
            let text = format!("{dry} of its {} cells get no water", panel.cells.len());
            find(Level::Warn, "dry_cells", &panel.name, text);
        }
    }
    for passage in &result.passages {
        let Some(apex) = passage.apex_pressure else { continue };
        if passage.weir == Some(WeirState::Aired) {
            let text = String::from("the vent admits air: the leg behind the apex does not run full");
            find(Level::Note, "vent_admits_air", &passage.name, text);
        } else if apex < result.water.vapour_pressure {
            let text = format!(
                "the apex would have to be at {:.3} bar(a), below the vapour pressure of {:.4} bar(a): the column breaks and less flows",
                apex / 1e5,
                result.water.vapour_pressure / 1e5
            );
            find(Level::Warn, "apex_below_vapour", &passage.name, text);
        } else if apex < ambient * (1.0 - 1e-9) {
            let text = format!("the apex is below ambient, at {:.3} bar(a): it runs as a siphon", apex / 1e5);
            find(Level::Note, "siphon", &passage.name, text);
        }
    }
    for tank in &network.tanks {
        let name = &network.nodes[tank.node].name;
        let pressure = network.gas_vessels[tank.vessel].pressure;
        if let Some(rating) = tank.rating.filter(|&rating| pressure > rating) {
            let text = format!(
                "its pressure of {} is above its rating of {}",
                gauge(pressure, ambient),
                gauge(rating, ambient)
            );
            find(Level::Warn, "above_rating", name, text);
        }
        if tank.water <= tank.heel {
            find(Level::Warn, "tank_empty", name, String::from("holds no water above its heel and passes nothing"));
        }
    }
    for header in result.headers.iter().filter(|header| header.pressure.is_none()) {
        let text = String::from("nothing ties it to a pressure: every valve around it is shut");
        find(Level::Note, "cut_off", &header.name, text);
    }
    for header in &network.long_headers {
        let Some(found) = result.headers.iter().find(|h| h.name == network.nodes[header.node].name) else { continue };
        let apart = |t: &&TakeoffFlow| t.velocity_before * t.velocity_behind < 0.0;
        if let (Takeoffs::Tees { .. }, Some(t)) = (header.takeoffs, found.takeoffs.iter().find(apart)) {
            let text = format!(
                "at {} the branch takes or feeds the flow of both sides, for which the source has no coefficients",
                t.item
            );
            find(Level::Note, "tee_both_sides", &found.name, text);
        }
        let lowest = found.takeoffs.iter().min_by(|a, b| a.static_pressure.total_cmp(&b.static_pressure));
        if let Some(t) = lowest.filter(|t| t.static_pressure < result.water.vapour_pressure) {
            let text = format!(
                "its static pressure at {} would have to be {:.3} bar(a), below the vapour pressure: the stream breaks",
                t.item,
                t.static_pressure / 1e5
            );
            find(Level::Warn, "below_vapour", &found.name, text);
        }
    }
    if !network.panels.is_empty() && network.panels.iter().all(|panel| panel.required_flux.is_none()) {
        let text = String::from("no panel has a required_flux: nothing is judged");
        find(Level::Note, "nothing_required", "", text);
    }
    below_vapour(network, result, &mut find);
    result.findings.extend(found);
}

/// A heat flux, W/m2, for a sentence.
pub fn heat(heat_flux: f64) -> String {
    format!("{:.2} MW/m2", heat_flux / 1e6)
}

/// Headers and panels whose pressure is below the vapour pressure: no such state exists.
fn below_vapour(network: &Network, result: &FlowResult, find: &mut impl FnMut(Level, &'static str, &str, String)) {
    let vented = |node: usize| {
        network.passages.iter().any(|passage| {
            (passage.to == node || passage.from == node)
                && matches!(&passage.kind, PassageKind::WeirPipe(weir) if weir.vent.is_some())
        })
    };
    let pressures = result
        .headers
        .iter()
        .map(|header| (&header.name, header.pressure))
        .chain(result.panels.iter().map(|panel| (&panel.name, panel.pressure)));
    for (name, pressure) in pressures {
        let Some(pressure) = pressure.filter(|&p| p < result.water.vapour_pressure) else { continue };
        let node = network.nodes.iter().position(|node| node.name == *name && !matches!(node.kind, NodeKind::Tank(_)));
        if node.is_some_and(vented) {
            continue;
        }
        let text =
            format!("would have to be at {:.3} bar(a), below the vapour pressure: the column breaks", pressure / 1e5);
        find(Level::Warn, "below_vapour", name, text);
    }
}
