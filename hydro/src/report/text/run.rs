//! A run over time as text.

use super::{Page, margin, plate, shortfall, worst_first};
use crate::report::format::{self, bar_gauge, celsius, litres, number, percent, seconds, with_unit};
use crate::report::table::Table;
use crate::result::{Event, GasVesselSeries, PanelVerdict, RunResult};

/// Energy of one kilogram of TNT, J: 4.62 kJ a gram (University of California, Berkeley, EH&S, as quoted).
const TNT: f64 = 4.62e6;

/// Events of one kind in a row that are still listed one by one.
const LIKE_EVENTS: usize = 3;

/// The whole text.
pub(super) fn text(result: &RunResult) -> String {
    let mut page = Page::new(&result.title);
    page.paragraph(&verdict(result));
    page.paragraph(&supply(result));
    page.table(&events(result));
    let (order, left_out) = worst_first(result.panels.len(), |k| result.panels.get(k).map_or(f64::MAX, rank));
    page.table(&panels(result, &order));
    if let Some(sentence) = left_out {
        page.paragraph(&sentence);
    }
    if let Some(sentence) = plate::worst_cell(result) {
        page.paragraph(&sentence);
    }
    page.table(&plate::cells_of_run(result, &order));
    page.table(&shortfall::table(result, &order));
    page.table(&plate::heat_of_run(result, &order));
    page.table(&shortfall::over_plume(result, &order));
    page.table(&tanks(result));
    let gas: Vec<&GasVesselSeries> = result.series.gas_banks.iter().chain(&result.series.gas_headers).collect();
    page.table(&gas_vessels(result, &gas));
    page.table(&stored(result));
    if let Some(sentence) = bottles(result) {
        page.paragraph(&sentence);
    }
    page.paragraph(&work(result));
    page.findings(&result.findings);
    page.finish()
}

/// A number that is lowest for the panel that is worst off.
fn rank(panel: &PanelVerdict) -> f64 {
    let flux = panel.lowest_flux.unwrap_or(0.0);
    let flux = margin(flux, panel.required_flux).unwrap_or(1e6 + flux);
    if panel.plume_enters { -1e6 + flux.min(1e5) } else { flux }
}

/// Whether the requirement held, and from when to when all panels had their water.
fn verdict(result: &RunResult) -> String {
    let asked: Vec<&PanelVerdict> = result.panels.iter().filter(|p| p.met.is_some()).collect();
    let short: Vec<&PanelVerdict> = asked.iter().copied().filter(|p| p.met == Some(false)).collect();
    let entered: Vec<&PanelVerdict> = result.panels.iter().filter(|p| p.plume_enters).collect();
    let span =
        format!("from ignition at {} to the end of hold at {}", seconds(result.ignition), seconds(result.hold_ends));
    let mut text = match (asked.len(), short.first()) {
        (0, _) if result.panels.iter().any(|p| p.required_flux.is_some()) => {
            format!("The requirement was not judged: the run does not span the time {span}.")
        }
        (0, _) => "No panel has a required flux to be judged by.".to_string(),
        (n, None) => format!("Requirement held: {} had the required water {span}.", format::count(n, "panel")),
        (n, Some(first)) => {
            let worst = short.iter().min_by(|a, b| rank(a).total_cmp(&rank(b))).unwrap_or(first);
            format!("Requirement missed: {} of {n} fell short {span}, the worst of them {}.", short.len(), worst.name)
        }
    };
    match entered.as_slice() {
        [] => (),
        [one] => text += &format!(" The plume entered {}.", one.name),
        [first, ..] => text += &format!(" The plume entered {} panels, {} among them.", entered.len(), first.name),
    }
    let window = asked.iter().try_fold((f64::MIN, f64::MAX), |(from, until), p| {
        Some((from.max(p.met_from?), until.min(p.met_until?))).filter(|(from, until)| from < until)
    });
    if let (false, Some((from, until))) = (asked.is_empty(), window) {
        text += &format!(
            " Water was enough on all of them without a break from {} until {}.",
            seconds(from),
            seconds(until)
        );
    }
    text
}

/// How long the supply lasts, what it used, why the run ended.
fn supply(result: &RunResult) -> String {
    let lasts = match result.supply.lasts {
        Some(time) => format!("The supply lasts {}", seconds(time)),
        None => "The supply did not run out".to_string(),
    };
    let used = format!(
        "{} of water and {} of gas were used",
        with_unit(&number(result.supply.water_used, 4), "m3"),
        with_unit(&number(result.supply.gas_used, 4), "kg")
    );
    let end = result.series.time.last().map_or_else(String::new, |t| format!(" at {}", seconds(*t)));
    let vented = match result.supply.gas_vented {
        0.0 => String::new(),
        mass => format!(", {} of gas let out", with_unit(&number(mass, 4), "kg")),
    };
    let left = with_unit(&number(result.supply.water_left, 4), "m3");
    format!("{lasts}; {used}{vented}, {left} of water left. The run ended{end}: {}.", result.ended)
}

/// Events in order of time; long runs of one kind in one line.
fn events(result: &RunResult) -> Table {
    let mut rows: Vec<(f64, String, String, String)> = Vec::new();
    for group in result.events.chunk_by(|a, b| a.code == b.code) {
        let what = |e: &Event| e.code.label().replace('_', " ");
        match group {
            [first, .., last] if group.len() > LIKE_EVENTS => rows.push((
                first.time,
                what(first),
                format!("{} items", group.len()),
                format!("from {} to {} at {}", first.item, last.item, seconds(last.time)),
            )),
            _ => rows.extend(group.iter().map(|e| (e.time, what(e), e.item.clone(), e.text.clone()))),
        }
    }
    Table::new("Events")
        .numbers("time", "s", 5, rows.iter().map(|r| r.0))
        .words("event", rows.iter().map(|r| r.1.as_str()))
        .words("item", rows.iter().map(|r| r.2.as_str()))
        .words("", rows.iter().map(|r| r.3.as_str()))
        .without_empty_columns()
}

/// Panels, in this order.
fn panels(result: &RunResult, order: &[usize]) -> Table {
    let rows: Vec<&PanelVerdict> = order.iter().filter_map(|k| result.panels.get(*k)).collect();
    let title = if rows.len() < result.panels.len() { "Panels, the driest first" } else { "Panels" };
    Table::new(title)
        .words("panel", rows.iter().map(|p| p.name.as_str()))
        .numbers("reached", "s", 4, rows.iter().map(|p| p.start?.water_arrives))
        .numbers("95 % flow", "s", 4, rows.iter().map(|p| p.start?.supplied_from))
        .numbers("lead", "s", 4, rows.iter().map(|p| p.start?.lead))
        .numbers("water from", "s", 4, rows.iter().map(|p| p.met_from))
        .numbers("until", "s", 4, rows.iter().map(|p| p.met_until))
        .numbers("lowest flux", "L/s/m2", 4, rows.iter().map(|p| p.lowest_flux.map(litres)))
        .numbers("at", "s", 4, rows.iter().map(|p| p.lowest_at))
        .numbers("required", "L/s/m2", 4, rows.iter().map(|p| p.required_flux.map(litres)))
        .numbers("margin", "%", 3, rows.iter().map(|p| p.margin().map(percent)))
        .words(
            "water",
            rows.iter().map(|p| match (p.plume_enters, p.met) {
                (true, _) => "plume entered",
                (false, Some(true)) => "enough",
                (false, Some(false)) => "too little",
                (false, None) => "-",
            }),
        )
        .without_empty_columns()
}

/// Tanks at the start and at the end.
fn tanks(result: &RunResult) -> Table {
    let tanks = &result.series.tanks;
    let gauge = |p: f64| bar_gauge(p, result.ambient_pressure);
    Table::new("Tanks, start and end")
        .words("tank", tanks.iter().map(|t| t.name.as_str()))
        .numbers("gas", "bar(g)", 4, tanks.iter().map(|t| t.pressure.first().copied().map(gauge)))
        .numbers("end", "bar(g)", 4, tanks.iter().map(|t| t.pressure.last().copied().map(gauge)))
        .numbers("water", "m3", 4, tanks.iter().map(|t| t.water.first().copied()))
        .numbers("end", "m3", 4, tanks.iter().map(|t| t.water.last().copied()))
        .numbers("gas end", "degC", 4, tanks.iter().map(|t| t.gas_temperature.last().copied().map(celsius)))
        .numbers("coldest", "degC", 4, tanks.iter().map(|t| lowest(&t.gas_temperature).map(celsius)))
        .numbers("gas breaks through", "s", 4, result.tanks.iter().map(|t| t.breakthrough.map(|at| at.time)))
        .numbers("with", "m3", 4, result.tanks.iter().map(|t| t.breakthrough.map(|at| at.value)))
        .numbers("peak outflow", "L/s", 5, tanks.iter().map(|t| highest(&t.outflow).map(litres)))
}

/// Gas banks and gas headers at the start and at the end.
fn gas_vessels(result: &RunResult, vessels: &[&GasVesselSeries]) -> Table {
    let gauge = |p: f64| bar_gauge(p, result.ambient_pressure);
    Table::new("Gas banks and gas headers, start and end")
        .words("", vessels.iter().map(|v| v.name.as_str()))
        .numbers("pressure", "bar(g)", 5, vessels.iter().map(|v| v.pressure.first().copied().map(gauge)))
        .numbers("end", "bar(g)", 5, vessels.iter().map(|v| v.pressure.last().copied().map(gauge)))
        .numbers("temperature", "degC", 4, vessels.iter().map(|v| v.temperature.first().copied().map(celsius)))
        .numbers("end", "degC", 4, vessels.iter().map(|v| v.temperature.last().copied().map(celsius)))
        .numbers("coldest", "degC", 4, vessels.iter().map(|v| lowest(&v.temperature).map(celsius)))
        .numbers("gas", "kg", 5, vessels.iter().map(|v| v.mass.first().copied()))
        .numbers("end", "kg", 5, vessels.iter().map(|v| v.mass.last().copied()))
}

/// Energy stored in every volume of gas, its coldest metal, and what it let out.
fn stored(result: &RunResult) -> Table {
    let gas = &result.gas;
    Table::new("Energy stored in the gas, metal, gas let out")
        .words("", gas.iter().map(|g| g.name.as_str()))
        .numbers("stored", "MJ", 4, gas.iter().map(|g| g.stored_at_start / 1e6))
        .numbers("end", "MJ", 4, gas.iter().map(|g| g.stored_at_end / 1e6))
        .numbers("most", "MJ", 4, gas.iter().map(|g| g.most_stored.value / 1e6))
        .numbers("at", "s", 4, gas.iter().map(|g| g.most_stored.time))
        .numbers("coldest gas at", "s", 4, gas.iter().map(|g| g.lowest_gas.time))
        .numbers("coldest metal", "degC", 4, gas.iter().map(|g| g.lowest_wall.map(|at| celsius(at.value))))
        .numbers("at", "s", 4, gas.iter().map(|g| g.lowest_wall.map(|at| at.time)))
        .numbers("relief", "kg", 4, gas.iter().map(|g| g.relieved))
        .numbers("vented", "kg", 4, gas.iter().map(|g| g.vented))
        .without_empty_columns()
}

/// What the stored energy is worth, and how many more runs the bottles give.
fn bottles(result: &RunResult) -> Option<String> {
    let supply = &result.supply;
    let tnt = |energy: f64| with_unit(&number(energy / TNT, 2), "kg");
    let mut text = format!(
        "The gas stores {} at the start and {} at the end, as much as {} and {} of TNT.",
        with_unit(&number(supply.stored_at_start / 1e6, 3), "MJ"),
        with_unit(&number(supply.stored_at_end / 1e6, 3), "MJ"),
        tnt(supply.stored_at_start),
        tnt(supply.stored_at_end)
    );
    for gas in &result.gas {
        let Some(left) = gas.bottles else { continue };
        let gauge = |p: f64| with_unit(&number(bar_gauge(p, result.ambient_pressure), 4), "bar(g)");
        text += &format!(
            " Back at ambient temperature {} stands at {}, enough for {} of the same use.",
            gas.name,
            gauge(left.settled_pressure),
            format::count(left.more_runs as usize, "more run")
        );
    }
    if supply.more_runs.is_some() {
        text += " (Each takes the same gas, ends as cold, and has to end above the pressure that the bank feeds into.)";
    }
    (supply.stored_at_start > 0.0 || supply.stored_at_end > 0.0).then_some(text)
}

/// Least of a series.
fn lowest(values: &[f64]) -> Option<f64> {
    values.iter().copied().min_by(f64::total_cmp)
}

/// Greatest of a series.
fn highest(values: &[f64]) -> Option<f64> {
    values.iter().copied().max_by(f64::total_cmp)
}

/// Conservation, and what the solver did.
fn work(result: &RunResult) -> String {
    let mut text = format!(
        "Conserved: water to {}, gas to {}, energy of the gas to {}. {}, {}",
        with_unit(&format::tiny(result.balance.water_error.abs()), "m3"),
        with_unit(&format::tiny(result.balance.gas_error.abs()), "kg"),
        with_unit(&format::tiny(result.balance.energy_error.abs()), "J"),
        format::count(result.solver.steps, "time step"),
        format::count(result.solver.network_solves, "network solve"),
    );
    if let Some(time) = result.solver.solve_time {
        text += &format!("; {}", format::clock(time));
    }
    text.push('.');
    text
}
