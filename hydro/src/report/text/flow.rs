//! A steady result as text.

use super::{ALL_HEADERS, Page, margin, plate, worst_first};
use crate::report::format::{self, bar, bar_gauge, litres, number, percent, with_unit};
use crate::report::table::Table;
use crate::result::{FlowResult, LossPath, PanelFlow, TakeoffFlow, WeirState};

/// Most rows of the table along the headers.
const ALL_TAKEOFFS: usize = 80;

/// The whole text.
pub(super) fn text(result: &FlowResult) -> String {
    let mut page = Page::new(&result.title);
    page.paragraph(&summary(result));
    page.table(&tanks(result));
    if result.headers.len() <= ALL_HEADERS {
        page.table(&headers(result));
    }
    let joined: usize = result.headers.iter().map(|header| header.takeoffs.len()).sum();
    if joined <= ALL_TAKEOFFS {
        page.table(&takeoffs(result));
    }
    let weirs = weirs(result);
    if weirs.row_count() <= ALL_HEADERS {
        page.table(&weirs);
    }
    let (order, left_out) = worst_first(result.panels.len(), |k| result.panels.get(k).map_or(f64::MAX, rank));
    page.table(&panels(result, &order));
    if let Some(sentence) = left_out {
        page.paragraph(&sentence);
    }
    plate::add(&mut page, result, &order);
    if let Some(path) = &result.worst_path {
        page.table(&losses(path));
    }
    page.paragraph(&work(result));
    page.findings(&result.findings);
    page.finish()
}

/// A number that is lowest for the panel that is worst off: plume first, then flux against what is required, then flux.
fn rank(panel: &PanelFlow) -> f64 {
    let flux = margin(panel.flux, panel.required_flux).unwrap_or(1e6 + panel.flux);
    if panel.plume_enters { -1e6 + flux.min(1e5) } else { flux }
}

/// The panel that is worst off.
fn worst(panels: &[PanelFlow]) -> Option<&PanelFlow> {
    panels.iter().min_by(|a, b| rank(a).total_cmp(&rank(b)))
}

/// Does every panel get its water; how much leaves; which is the worst.
fn summary(result: &FlowResult) -> String {
    let short = result.panels.iter().filter(|p| p.met == Some(false)).count();
    let entered = result.panels.iter().filter(|p| p.plume_enters).count();
    let asked = result.panels.iter().filter(|p| p.met.is_some()).count();
    let verdict = match (asked, short) {
        (0, _) => "no panel has a required flux to be judged by".to_string(),
        (_, 0) if asked == result.panels.len() => "every panel gets its water".to_string(),
        (_, 0) => format!("all {asked} panels with a required flux get their water"),
        (_, n) => format!(
            "{n} of {} too little water",
            if asked == 1 { "1 panel gets".into() } else { format!("{asked} panels get") }
        ),
    };
    let mut text = format!("Steady flow at {}: {verdict}.", format::seconds(result.time));
    if entered > 0 {
        text += &format!(" The plume enters {}.", format::count(entered, "panel"));
    }
    let total = with_unit(&number(litres(result.total_flow), 5), "L/s");
    text += &format!(" {total} leave through {}.", format::count(result.panels.len(), "panel"));
    if let Some(panel) = worst(&result.panels) {
        let flux = with_unit(&number(litres(panel.flux), 4), "L/s/m2");
        text += &format!(" Worst off is {} with {flux}", panel.name);
        if let Some(required) = panel.required_flux {
            text += &format!(" where {} are required", number(litres(required), 4));
        }
        text.push('.');
    }
    text
}

/// Tanks.
fn tanks(result: &FlowResult) -> Table {
    let gauge = |p: f64| bar_gauge(p, result.ambient_pressure);
    Table::new("Tanks")
        .words("tank", result.tanks.iter().map(|t| t.name.as_str()))
        .numbers("gas", "bar(g)", 5, result.tanks.iter().map(|t| gauge(t.pressure)))
        .numbers("at outlet", "bar(g)", 5, result.tanks.iter().map(|t| gauge(t.outlet_pressure)))
        .numbers("outflow", "L/s", 5, result.tanks.iter().map(|t| litres(t.outflow)))
}

/// Headers.
fn headers(result: &FlowResult) -> Table {
    let gauge = |p: f64| bar_gauge(p, result.ambient_pressure);
    Table::new("Headers").words("header", result.headers.iter().map(|h| h.name.as_str())).numbers(
        "pressure",
        "bar(g)",
        5,
        result.headers.iter().map(|h| h.pressure.map(gauge)),
    )
}

/// Along the long headers: what leaves or enters at each place, and the pressures in the header there.
fn takeoffs(result: &FlowResult) -> Table {
    let rows: Vec<(&str, &TakeoffFlow)> =
        result.headers.iter().flat_map(|h| h.takeoffs.iter().map(|t| (h.name.as_str(), t))).collect();
    let gauge = |p: f64| bar_gauge(p, result.ambient_pressure);
    Table::new("Along the headers")
        .words("header", rows.iter().map(|(header, _)| *header))
        .words("item", rows.iter().map(|(_, t)| t.item.as_str()))
        .numbers("at", "m", 4, rows.iter().map(|(_, t)| t.at))
        .numbers("leaves", "L/s", 5, rows.iter().map(|(_, t)| litres(t.flow)))
        .numbers("before", "m/s", 4, rows.iter().map(|(_, t)| t.velocity_before))
        .numbers("behind", "m/s", 4, rows.iter().map(|(_, t)| t.velocity_behind))
        .numbers("static", "bar(g)", 5, rows.iter().map(|(_, t)| gauge(t.static_pressure)))
        .numbers("total", "bar(g)", 5, rows.iter().map(|(_, t)| gauge(t.total_pressure)))
}

/// Weir pipes: whether they run full, and the pressure at the apex.
fn weirs(result: &FlowResult) -> Table {
    let weirs: Vec<_> = result.passages.iter().filter_map(|p| p.weir.map(|state| (p, state))).collect();
    let gauge = |p: f64| bar_gauge(p, result.ambient_pressure);
    Table::new("Weir pipes")
        .words("weir pipe", weirs.iter().map(|(p, _)| p.name.as_str()))
        .numbers("flow", "L/s", 5, weirs.iter().map(|(p, _)| litres(p.flow)))
        .numbers("at apex", "bar(g)", 4, weirs.iter().map(|(p, _)| p.apex_pressure.map(gauge)))
        .words(
            "runs",
            weirs.iter().map(|(_, state)| match state {
                WeirState::Full => "full",
                WeirState::Aired => "with air behind the apex",
            }),
        )
}

/// Panels, in this order.
fn panels(result: &FlowResult, order: &[usize]) -> Table {
    let rows: Vec<&PanelFlow> = order.iter().filter_map(|k| result.panels.get(*k)).collect();
    let driest = |p: &PanelFlow| Some(litres(p.driest().filter(|_| p.cells.len() > 1)?.flux));
    let title = if rows.len() < result.panels.len() { "Panels, the driest first" } else { "Panels" };
    Table::new(title)
        .words("panel", rows.iter().map(|p| p.name.as_str()))
        .numbers("flow", "L/s", 5, rows.iter().map(|p| litres(p.flow)))
        .numbers("flux", "L/s/m2", 4, rows.iter().map(|p| litres(p.flux)))
        .numbers("driest cell", "L/s/m2", 4, rows.iter().map(|p| driest(p)))
        .numbers("required", "L/s/m2", 4, rows.iter().map(|p| p.required_flux.map(litres)))
        .numbers("margin", "%", 3, rows.iter().map(|p| margin(p.flux, p.required_flux)))
        .numbers("inside", "bar(g)", 4, rows.iter().map(|p| p.pressure.map(|v| bar_gauge(v, result.ambient_pressure))))
        .numbers("over plume", "bar", 4, rows.iter().map(|p| p.over_plume.map(bar)))
        .words(
            "water",
            rows.iter().map(|p| match (p.plume_enters, p.met) {
                (true, _) => "plume enters",
                (false, Some(true)) => "enough",
                (false, Some(false)) => "too little",
                (false, None) => "-",
            }),
        )
        .without_empty_columns()
}

/// Where the pressure goes.
pub(super) fn losses(path: &LossPath) -> Table {
    let total: f64 = path.items.iter().map(|i| i.loss).sum();
    let shares: f64 = path.items.iter().map(|i| i.share).sum();
    let kinds = path.items.iter().map(|i| if i.kind == i.name { String::new() } else { i.kind.replace('_', " ") });
    Table::new(format!("Where the pressure goes from {} to {}", path.tank, path.panel))
        .words("item", path.items.iter().map(|i| i.name.as_str()).chain(["together"]))
        .words("", kinds.chain([String::new()]))
        .numbers("loss", "bar", 4, path.items.iter().map(|i| bar(i.loss)).chain([bar(total)]))
        .numbers("share", "%", 3, path.items.iter().map(|i| percent(i.share)).chain([percent(shares)]))
}

/// What the solver did.
fn work(result: &FlowResult) -> String {
    let solver = &result.solver;
    let mut text = format!(
        "Solved in {}; flows balance to {}",
        format::count(solver.iterations, "iteration"),
        with_unit(&format::tiny(litres(solver.largest_imbalance)), "L/s")
    );
    if let Some(time) = solver.solve_time {
        text += &format!("; {}", format::clock(time));
    }
    text.push('.');
    text
}
