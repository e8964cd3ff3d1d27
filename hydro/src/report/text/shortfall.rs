//! When and why panels fall short, and how near the plume came, as tables.

use crate::report::format::{bar, number, percent};
use crate::report::table::Table;
use crate::result::{Cause, Lack, LossItem, PanelVerdict, Reason, RunResult, Shortfall};

/// Causes that are named.
const NAMED: usize = 3;

/// The first shortfall of every panel that has one, in this order.
pub(super) fn table(result: &RunResult, order: &[usize]) -> Table {
    let panels = order.iter().filter_map(|k| result.panels.get(*k));
    let rows: Vec<(&PanelVerdict, &Shortfall)> = panels.filter_map(|p| Some((p, p.shortfall.as_ref()?))).collect();
    Table::new("First shortfall and why: margins of the steady flow with one thing put right")
        .words("panel", rows.iter().map(|(p, _)| p.name.as_str()))
        .numbers("at", "s", 4, rows.iter().map(|(_, s)| s.time))
        .words("short of", rows.iter().map(|(_, s)| lacks(s.lack)))
        .words("why", rows.iter().map(|(_, s)| s.reason.as_ref().map_or_else(|| String::from("-"), why)))
}

/// Pressure inside over that of the plume.
pub(super) fn over_plume(result: &RunResult, order: &[usize]) -> Table {
    let panels = order.iter().filter_map(|k| result.panels.get(*k));
    let rows: Vec<(&PanelVerdict, _)> = panels.filter_map(|p| Some((p, p.over_plume?))).collect();
    Table::new("Pressure inside over the plume, lowest from ignition to the end of hold")
        .words("panel", rows.iter().map(|(p, _)| p.name.as_str()))
        .numbers("over", "bar", 3, rows.iter().map(|(_, over)| bar(over.value)))
        .numbers("at", "s", 4, rows.iter().map(|(_, over)| over.time))
}

fn lacks(lack: Lack) -> &'static str {
    match lack {
        Lack::RequiredFlux => "flux",
        Lack::Heat => "flux for its heat",
        Lack::Pressure => "pressure over the plume",
    }
}

/// A margin in brackets.
fn with(margin: Option<f64>) -> String {
    match margin {
        Some(margin) => format!("{}{} %", if margin < 0.0 { "" } else { "+" }, number(percent(margin), 3)),
        None => String::from("held"),
    }
}

fn clause(cause: &Cause) -> String {
    format!("{} (else {})", cause.text, with(cause.margin))
}

fn clauses<'a>(causes: impl Iterator<Item = &'a Cause>) -> String {
    let all: Vec<String> = causes.map(clause).collect();
    let mut text = all.iter().take(NAMED).cloned().collect::<Vec<_>>().join("; ");
    if all.len() > NAMED {
        text += &format!("; and {} more", all.len() - NAMED);
    }
    text
}

fn takes(most: &LossItem) -> String {
    let item = match most.kind {
        "holes" => String::from("its holes take"),
        "lift" => String::from("the lift takes"),
        _ => format!("{} takes", most.name),
    };
    format!("{item} {} % of the pressure", number(percent(most.share), 2))
}

/// Why, as a sentence without its dot.
fn why(reason: &Reason) -> String {
    if reason.sufficient().next().is_some() {
        return clauses(reason.sufficient());
    }
    if !reason.network_too_small {
        let all = with(reason.margin_with_all);
        return format!("no one thing alone, all of them together ({all}): {}", clauses(reason.causes.iter()));
    }
    let mut text = match &reason.most_loss {
        Some(most) => format!("the network itself is too small: {}", takes(most)),
        None => String::from("no water reaches it"),
    };
    if let Some(best) = reason.causes.first() {
        text += &format!("; most helps: {}", clause(best));
    }
    text
}
