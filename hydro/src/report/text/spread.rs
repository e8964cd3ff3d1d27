//! Spread of the outcomes of a supply as text.

use super::Page;
use crate::report::format::{count, litres, number, percent, with_unit};
use crate::report::table::Table;
use crate::result::{Chance, SpreadKind, SpreadOutcome, SpreadPanel, SpreadResult};

/// Broken runs listed.
const ALL_BROKEN: usize = 5;

/// The whole text.
pub(super) fn text(result: &SpreadResult) -> String {
    let mut page = Page::new(&result.title);
    page.paragraph(&answer(result));
    page.table(&quantities(result));
    page.table(&duty(result));
    page.table(&panels(result));
    for outcome in &result.duty {
        page.table(&drivers(result, outcome));
    }
    page.table(&broken(result));
    page.paragraph(&work(result));
    page.findings(&result.findings);
    page.finish()
}

/// A share and its interval: `98.2 % (97.1 to 98.9 %)`.
fn words(chance: &Chance) -> String {
    let [low, high] = chance.interval.map(|p| number(percent(p), 4));
    format!("{} ({low} to {})", with_unit(&number(percent(chance.share()), 4), "%"), with_unit(&high, "%"))
}

fn answer(result: &SpreadResult) -> String {
    format!(
        "Chance that every requirement is met: {}; {} of {}.",
        words(&result.chance),
        result.chance.met,
        count(usize::try_from(result.chance.of).unwrap_or(usize::MAX), "sample"),
    )
}

fn quantities(result: &SpreadResult) -> Table {
    Table::new("Drawn")
        .words("quantity", result.quantities.iter().map(|q| q.name.as_str()))
        .words("distribution", result.quantities.iter().map(|q| q.words.as_str()))
        .words("depends on", result.quantities.iter().map(|q| if q.driver == q.name { "" } else { q.driver.as_str() }))
        .without_empty_columns()
}

/// What an outcome is, in words, with its unit and its size in it.
fn named(kind: SpreadKind) -> (&'static str, &'static str, f64) {
    match kind {
        SpreadKind::Flux => ("lowest flux", "L/s/m2", litres(1.0)),
        SpreadKind::MetFor => ("flux met for", "s", 1.0),
        SpreadKind::Margin => ("least margin of flux", "%", percent(1.0)),
        SpreadKind::Lasts => ("supply lasts", "s", 1.0),
    }
}

fn duty(result: &SpreadResult) -> Table {
    let value = |outcome: &SpreadOutcome, place: usize| {
        let scale = named(outcome.kind).2;
        outcome.quantiles.map_or_else(|| "-".to_string(), |q| number(q[place] * scale, 4))
    };
    let all = &result.duty;
    Table::new("Duty")
        .words("", all.iter().map(|o| named(o.kind).0))
        .words("unit", all.iter().map(|o| named(o.kind).1))
        .words("file", all.iter().map(|o| number(o.nominal * named(o.kind).2, 4)))
        .words("5 %", all.iter().map(|o| value(o, 0)))
        .words("50 %", all.iter().map(|o| value(o, 1)))
        .words("95 %", all.iter().map(|o| value(o, 2)))
}

fn panels(result: &SpreadResult) -> Table {
    let of = |panel: &SpreadPanel, kind: SpreadKind, place: usize| {
        let outcome = panel.outcomes.iter().find(|o| o.kind == kind)?;
        Some(outcome.quantiles?[place] * named(kind).2)
    };
    // The least certain first.
    let mut panels: Vec<&SpreadPanel> = result.panels.iter().collect();
    panels.sort_by_key(|panel| panel.chance.met);
    let column = |kind, place| panels.iter().map(move |panel| of(panel, kind, place)).collect::<Vec<_>>();
    Table::new("Panels: chance of what is required, flux and time at 5, 50 and 95 % of the samples")
        .words("panel", panels.iter().map(|p| p.name.as_str()))
        .words("met", panels.iter().map(|p| words(&p.chance)))
        .numbers("flux 5 %", "L/s/m2", 4, column(SpreadKind::Flux, 0))
        .numbers("50 %", "", 4, column(SpreadKind::Flux, 1))
        .numbers("95 %", "", 4, column(SpreadKind::Flux, 2))
        .numbers("met for 5 %", "s", 4, column(SpreadKind::MetFor, 0))
        .numbers("50 %", "", 4, column(SpreadKind::MetFor, 1))
        .numbers("95 %", "", 4, column(SpreadKind::MetFor, 2))
        .without_empty_columns()
}

/// What drives an outcome of the duty: quantities by their rank correlation, and indices.
fn drivers(result: &SpreadResult, outcome: &SpreadOutcome) -> Table {
    let mut rows: Vec<(&str, Option<f64>)> =
        result.quantities.iter().map(|q| q.name.as_str()).zip(outcome.rank_correlations.iter().copied()).collect();
    rows.retain(|(_, correlation)| correlation.is_some());
    rows.sort_by(|a, b| b.1.map(f64::abs).partial_cmp(&a.1.map(f64::abs)).unwrap_or(std::cmp::Ordering::Equal));
    let index = |name: &str, first: bool| {
        let quantity = result.quantities.iter().find(|q| q.name == name);
        let found = outcome.indices.iter().find(|index| quantity.is_some_and(|q| q.driver == index.driver));
        found.map_or(String::new(), |index| {
            let [value, error] = if first { index.first } else { index.total };
            format!("{value:.3} +- {error:.3}")
        })
    };
    Table::new(format!("What drives it: {}", named(outcome.kind).0))
        .words("quantity", rows.iter().map(|row| row.0))
        .words("rank correlation", rows.iter().map(|row| row.1.map_or(String::new(), |c| format!("{c:+.3}"))))
        .words("first-order index", rows.iter().map(|row| index(row.0, true)))
        .words("total index", rows.iter().map(|row| index(row.0, false)))
        .without_empty_columns()
}

fn broken(result: &SpreadResult) -> Table {
    let rows: Vec<_> = result.broken_named.iter().take(ALL_BROKEN).collect();
    Table::new("Runs that could not be computed, with the command that writes the network file of each")
        .words("number", rows.iter().map(|run| run.number.to_string()))
        .words("stage", rows.iter().map(|run| run.stage.as_str()))
        .words("why", rows.iter().map(|run| run.text.lines().next().unwrap_or("")))
        .words("alone", rows.iter().map(|run| result.alone(run)))
}

fn work(result: &SpreadResult) -> String {
    let mut text = format!(
        "{} in all, seed {}, {}. Intervals are Wilson's, {} % confidence, as for independent samples. Quantiles are \
         within {} % of those of the samples. A rank correlation below {} in size may be chance.",
        count(usize::try_from(result.runs).unwrap_or(usize::MAX), "run"),
        result.seed,
        if result.sampling == "sobol" { "Sobol' sequence" } else { "Latin hypercube" },
        percent(result.confidence),
        number(percent(result.resolution), 2),
        number(result.correlation_noise, 2),
    );
    if result.index_rows > 0 {
        text += &format!(" Indices from {} rows, with standard errors.", result.index_rows);
    }
    text
}
