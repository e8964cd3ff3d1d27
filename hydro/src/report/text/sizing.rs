//! A design found, or a front of designs, as text.

use super::Page;
use crate::report::format::{self, percent, seconds, with_unit};
use crate::report::table::Table;
use crate::result::{Criterion, Design, Margin, SizingResult};
use crate::units::{digits, readable};

/// The whole text.
pub(super) fn text(result: &SizingResult) -> String {
    let mut page = Page::new(&result.title);
    page.paragraph(&answer(result));
    if !result.front.is_empty() {
        page.table(&designs(
            "Neither can be less without more of the other",
            result,
            &result.front.iter().collect::<Vec<_>>(),
        ));
    }
    if let Some(design) = result.answer.as_ref().or(result.best.as_ref()) {
        page.table(&margins(result, design));
    }
    page.table(&neighbours(result));
    page.table(&moves(result));
    page.paragraph(&work(result));
    if let Some(answer) = &result.answer {
        let sets: Vec<String> = answer.sets.iter().map(|s| format!("--set '{}'", s.replace('\'', "'\\''"))).collect();
        page.paragraph(&format!("To see it: hydro run FILE {}", sets.join(" ")));
    }
    page.findings(&result.findings);
    page.finish()
}

/// A number and its unit; pure numbers have none.
fn unit_of(number: &str, unit: &str) -> String {
    if unit.is_empty() { number.to_string() } else { with_unit(number, unit) }
}

/// Path and value of every unknown.
fn values(design: &Design) -> String {
    design.sets.iter().map(|set| set.replacen('=', " = ", 1).replace(' ', "\u{a0}")).collect::<Vec<_>>().join(", ")
}

fn answer(result: &SizingResult) -> String {
    let Some(answer) = &result.answer else {
        return "No design within the bounds meets every requirement; the best of them is shown.".to_string();
    };
    let what = match (result.unknowns.len(), result.greatest) {
        (1, true) => "Greatest that meets every requirement".to_string(),
        (1, false) => "Least that meets every requirement".to_string(),
        (2, _) if result.front.len() == 1 => "One design meets every requirement with the least of both".to_string(),
        (2, _) => format!("{} designs meet every requirement, the first of them", result.front.len()),
        _ => "Design of least cost that was found to meet every requirement".to_string(),
    };
    let mut text = format!("{what}: {}.", values(answer));
    if let Some(cost) = answer.cost {
        text += &format!(" Its cost is {}.", digits(cost));
    }
    if let Some(binding) = answer.trial.binding() {
        let of = if binding.item.is_empty() { String::new() } else { format!(" of {}", binding.item) };
        text += &format!(" What binds is the {}{of}.", label(binding.criterion));
    }
    text
}

fn label(criterion: Criterion) -> String {
    match criterion {
        Criterion::Lasts => "time it lasts".to_string(),
        other => other.label().replace('_', " "),
    }
}

/// A value of a requirement with its unit.
fn print(margin: &Margin, value: f64, ambient: f64) -> String {
    readable(value, margin.criterion.dimension(), ambient)
}

/// Designs with what binds each.
fn designs(title: &str, result: &SizingResult, designs: &[&Design]) -> Table {
    let mut table = Table::new(title);
    for (k, unknown) in result.unknowns.iter().enumerate() {
        let cells = designs.iter().map(|design| {
            let value = design.values.get(k).copied().unwrap_or(f64::NAN);
            unit_of(&digits(value), &unknown.unit)
        });
        table = table.words(&unknown.path, cells);
    }
    table
        .words("binds", designs.iter().map(|d| d.trial.binding().map_or(String::new(), |m| label(m.criterion))))
        .words("item", designs.iter().map(|d| d.trial.binding().map_or(String::new(), |m| m.item.clone())))
        .numbers("margin", "%", 3, designs.iter().map(|d| d.trial.binding().map(|m| percent(m.share))))
        .without_empty_columns()
}

/// Every requirement of one design.
fn margins(result: &SizingResult, design: &Design) -> Table {
    let margins = &design.trial.margins;
    let ambient = result.ambient_pressure;
    Table::new(if result.feasible { "Requirements at the answer" } else { "Requirements at the best" })
        .words("requirement", margins.iter().map(|m| label(m.criterion)))
        .words("tightest at", margins.iter().map(|m| m.item.as_str()))
        .words("at", margins.iter().map(|m| m.time.map_or(String::new(), seconds)))
        .words(
            "wanted",
            margins.iter().map(|m| {
                format!(
                    "{} {}",
                    if m.criterion.is_limit() { "at most" } else { "at least" },
                    print(m, m.required, ambient)
                )
            }),
        )
        .words("reached", margins.iter().map(|m| print(m, m.reached, ambient)))
        .numbers("margin", "%", 3, margins.iter().map(|m| percent(m.share)))
        .without_empty_columns()
}

/// One step easier, and not enough.
fn neighbours(result: &SizingResult) -> Table {
    let rows = &result.neighbours;
    let binding: Vec<Option<&Margin>> = rows.iter().map(|n| n.design.trial.binding()).collect();
    Table::new("One step easier is not enough")
        .words("design", rows.iter().map(|n| values(&n.design).replace('\u{a0}', " ")))
        .words("misses", binding.iter().map(|m| m.map_or("could not be run".to_string(), |m| label(m.criterion))))
        .words("item", binding.iter().map(|m| m.map_or("", |m| m.item.as_str())))
        .words(
            "reached",
            binding.iter().map(|m| m.map_or(String::new(), |m| print(m, m.reached, result.ambient_pressure))),
        )
        .without_empty_columns()
}

/// How the answer moves when what binds becomes harder.
fn moves(result: &SizingResult) -> Table {
    let rows = &result.sensitivities;
    let unit = |path: &str| result.unknowns.iter().find(|u| u.path == path).map_or("", |u| u.unit.as_str());
    Table::new("How it moves when the requirement that binds becomes harder")
        .words("unknown", rows.iter().map(|s| s.path.as_str()))
        .words(
            "for 1 %",
            rows.iter().map(|s| {
                s.per_percent.map_or(String::new(), |by| {
                    unit_of(&format!("{}{}", if by >= 0.0 { "+" } else { "" }, digits(by)), unit(&s.path))
                })
            }),
        )
        .numbers("stays as it is up to", "%", 3, rows.iter().map(|s| percent(s.spare)))
        .without_empty_columns()
}

/// Bounds, and what the search did.
fn work(result: &SizingResult) -> String {
    let bounds: Vec<String> = result
        .unknowns
        .iter()
        .map(|u| {
            format!(
                "{} from {} to {} in steps of {}",
                u.path,
                digits(u.low),
                unit_of(&digits(u.high), &u.unit),
                digits(u.step)
            )
        })
        .collect();
    let mut text =
        format!("Looked at {}; {} over the duty", bounds.join("; "), format::count(result.evaluations, "run"));
    if let Some(time) = result.solve_time {
        text += &format!("; {}", format::clock(time));
    }
    text + "."
}
