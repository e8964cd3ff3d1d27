//! The plate as text: holes, cooling, how even the water is.

use super::flow::losses;
use super::{Page, margin};
use crate::report::format::{bar, celsius, litres, number, percent, seconds, with_unit};
use crate::report::table::Table;
use crate::result::{
    At, CellVerdict, CoolingCheck, EVEN_RATIO, Evenness, FlowResult, PanelFlow, PanelVerdict, RunResult,
};

/// Adds what a steady result says of the plate.
pub(super) fn add(page: &mut Page, result: &FlowResult, order: &[usize]) {
    let rows: Vec<&PanelFlow> = order.iter().filter_map(|k| result.panels.get(*k)).collect();
    page.table(&holes(&rows));
    let hot: Vec<(&PanelFlow, &CoolingCheck)> =
        rows.iter().filter_map(|p| Some((*p, p.cooling.as_ref()?))).filter(|(_, c)| c.worst_heat_flux > 0.0).collect();
    page.table(&cooling(&hot));
    page.table(&limits(&hot));
    if !hot.is_empty() && hot.iter().all(|(_, c)| c.needed.is_none()) {
        page.paragraph(
            "Heat is not judged: `cooling` names no utilisation, wetting and safety factor. The need lies between that \
             of water that evaporates fully and that of water that does not.",
        );
    }
    if let Some(even) = result.plate.as_ref().filter(|_| result.panels.len() > 1) {
        page.paragraph(&evenness(even));
        let told = result.worst_path.as_ref().map(|path| &path.panel);
        if let Some(path) = even.loss_path.as_ref().filter(|path| told != Some(&path.panel)) {
            page.table(&losses(path));
        }
    }
}

/// Holes.
fn holes(rows: &[&PanelFlow]) -> Table {
    Table::new("Holes")
        .words("panel", rows.iter().map(|p| p.name.as_str()))
        .numbers("drop", "bar", 4, rows.iter().map(|p| p.holes.drop.map(bar)))
        .numbers("cavitate at", "bar", 4, rows.iter().map(|p| p.holes.cavitates_above.map(bar)))
        .numbers("jets", "m/s", 4, rows.iter().map(|p| p.holes.velocity))
        .numbers("Cd", "", 3, rows.iter().map(|p| p.holes.discharge_coefficient))
        .numbers("of cold flow", "%", 4, rows.iter().map(|p| p.holes.cold_flow_share.map(percent)))
        .numbers("gap head", "% of drop", 3, rows.iter().map(|p| p.holes.gap_head_to_drop.map(percent)))
        .without_empty_columns()
}

/// Heat and what it needs.
fn cooling(rows: &[(&PanelFlow, &CoolingCheck)]) -> Table {
    Table::new("Heat, and the water that it needs")
        .words("panel", rows.iter().map(|(p, _)| p.name.as_str()))
        .numbers("heat", "MW/m2", 3, rows.iter().map(|(_, c)| c.worst_heat_flux / 1e6))
        .numbers("all steam", "L/s/m2", 3, rows.iter().map(|(_, c)| c.needed_evaporated.map(litres)))
        .numbers("no steam", "L/s/m2", 3, rows.iter().map(|(_, c)| c.needed_sensible.map(litres)))
        .numbers("needed", "L/s/m2", 4, rows.iter().map(|(_, c)| c.needed.map(litres)))
        .numbers("has", "L/s/m2", 4, rows.iter().map(|(_, c)| litres(c.flux)))
        .numbers("margin", "%", 3, rows.iter().map(|(_, c)| margin(c.flux, c.needed)))
        .without_empty_columns()
}

/// Where boiling and dry spots begin: the lines to be warned by.
fn limits(rows: &[(&PanelFlow, &CoolingCheck)]) -> Table {
    Table::new("Boiling and dry spots")
        .words("panel", rows.iter().map(|(p, _)| p.name.as_str()))
        .numbers("boils at", "degC", 4, rows.iter().map(|(_, c)| c.saturation_temperature.map(celsius)))
        .numbers("pool burns out", "MW/m2", 3, rows.iter().map(|(_, c)| c.critical_heat_flux.map(|q| q / 1e6)))
        .numbers("film closes", "L/s/m2", 3, rows.iter().map(|(_, c)| c.wetting_flux.map(litres)))
        .numbers("steel without film", "degC", 4, rows.iter().map(|(_, c)| c.dry_surface_temperature.map(celsius)))
        .without_empty_columns()
}

/// How even the water is, in a sentence or two.
fn evenness(even: &Evenness) -> String {
    let flux = |flux: f64| number(litres(flux), 4);
    let mut text = format!(
        "Even-ness: flux from {} ({}) over {} on the mean to {}.",
        flux(even.lowest_flux),
        even.driest,
        flux(even.mean_flux),
        with_unit(&flux(even.highest_flux), "L/s/m2")
    );
    if let (Some(drop), Some(variation)) = (even.hole_drop, even.pressure_variation) {
        text += &format!(
            " The holes drop {} where the pressure inside varies by {}",
            with_unit(&number(bar(drop), 3), "bar"),
            with_unit(&number(bar(variation), 3), "bar")
        );
        if let Some(ratio) = even.ratio {
            text +=
                &format!(": {} times; {} keep the flow of holes within 5 %", number(ratio, 3), number(EVEN_RATIO, 3));
        }
        text.push('.');
    }
    text
}

/// The panels with heat on them, over a run.
pub(super) fn heat_of_run(result: &RunResult, order: &[usize]) -> Table {
    let panels = order.iter().filter_map(|k| result.panels.get(*k));
    let rows: Vec<(&PanelVerdict, _)> = panels.filter_map(|p| Some((p, p.cooling?))).collect();
    Table::new("Heat, lowest margins from ignition to the end of hold")
        .words("panel", rows.iter().map(|(p, _)| p.name.as_str()))
        .numbers("margin", "%", 3, rows.iter().map(|(_, c)| c.lowest_margin.map(percent)))
        .numbers("at", "s", 4, rows.iter().map(|(_, c)| c.lowest_at))
        .numbers("if no steam", "%", 3, rows.iter().map(|(_, c)| c.lowest_margin_sensible.map(percent)))
        .numbers("if all steam", "%", 3, rows.iter().map(|(_, c)| c.lowest_margin_evaporated.map(percent)))
        .without_empty_columns()
}

/// The cells with the least water, and those that hold least against the plume, over a run.
pub(super) fn cells_of_run(result: &RunResult, order: &[usize]) -> Table {
    let panels = order.iter().filter_map(|k| result.panels.get(*k));
    let rows: Vec<(&PanelVerdict, &CellVerdict)> = panels.filter_map(|p| Some((p, p.driest()?))).collect();
    let weakest: Vec<Option<(&CellVerdict, At)>> =
        rows.iter().map(|(p, _)| p.weakest().and_then(|c| Some((c, c.over_plume?)))).collect();
    Table::new("Cells with the least water, and over the plume, from ignition to the end of hold")
        .words("panel", rows.iter().map(|(p, _)| p.name.as_str()))
        .numbers("x", "m", 4, rows.iter().map(|(_, c)| c.center[0]))
        .numbers("y", "m", 4, rows.iter().map(|(_, c)| c.center[1]))
        .numbers("lowest flux", "L/s/m2", 4, rows.iter().map(|(_, c)| litres(c.lowest_flux.value)))
        .numbers("at", "s", 4, rows.iter().map(|(_, c)| c.lowest_flux.time))
        .numbers("mean", "L/s/m2", 4, rows.iter().map(|(_, c)| litres(c.mean_flux)))
        .numbers("margin", "%", 3, rows.iter().map(|(p, c)| c.margin(p.required_flux).map(percent)))
        .numbers("x", "m", 4, weakest.iter().map(|w| w.map(|(c, _)| c.center[0])))
        .numbers("y", "m", 4, weakest.iter().map(|w| w.map(|(c, _)| c.center[1])))
        .numbers("over plume", "bar", 3, weakest.iter().map(|w| w.map(|(_, at)| bar(at.value))))
        .numbers("at", "s", 4, weakest.iter().map(|w| w.map(|(_, at)| at.time)))
        .without_empty_columns()
}

/// Which cell is worst off over a run, and when: by what is required, else by its water; `None` without cells.
pub(super) fn worst_cell(result: &RunResult) -> Option<String> {
    let rank = |p: &PanelVerdict, c: &CellVerdict| c.margin(p.required_flux).unwrap_or(1e6 + c.lowest_flux.value);
    let driest = result.panels.iter().filter_map(|p| Some((p, p.driest()?)));
    let (panel, cell) = driest.min_by(|(p, c), (q, d)| rank(p, c).total_cmp(&rank(q, d)))?;
    let at = |panel: &PanelVerdict, cell: &CellVerdict| {
        let [x, y] = cell.center.map(|x| with_unit(&number(x, 4), "m"));
        format!("that of {} at {x}, {y}", panel.name)
    };
    let mut text = format!(
        "The cell with the least water is {}: {} at {}",
        at(panel, cell),
        with_unit(&number(litres(cell.lowest_flux.value), 4), "L/s/m2"),
        seconds(cell.lowest_flux.time)
    );
    if let Some(required) = panel.required_flux {
        text += &format!(" where {} are required", number(litres(required), 4));
    }
    let weakest = result.panels.iter().filter_map(|p| p.weakest().and_then(|c| Some((p, c, c.over_plume?))));
    if let Some((panel, cell, over)) = weakest.min_by(|(.., a), (.., b)| a.value.total_cmp(&b.value)) {
        let pressure = with_unit(&number(bar(over.value.abs()), 3), "bar");
        let (at, side) = (at(panel, cell), if over.value < 0.0 { "below" } else { "above" });
        text += &format!("; least against the plume holds {at}: {pressure} {side} it at {}", seconds(over.time));
    }
    Some(text + ".")
}
