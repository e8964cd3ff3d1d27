//! An answer to a question of size as text.

use super::Page;
use crate::report::format::{self, bar_gauge, litres, number, seconds, with_unit};
use crate::report::table::Table;
use crate::result::{Binding, Requirement, SizeQuantity, SizeResult, SizeTrial};

/// The whole text.
pub(super) fn text(result: &SizeResult) -> String {
    let mut page = Page::new(&result.title);
    page.paragraph(&answer(result));
    page.table(&trials(result));
    page.paragraph(&work(result));
    page.findings(&result.findings);
    page.finish()
}

/// Digits, at least five and at most nine, with which two numbers are told apart; five for two that are the same.
fn digits(a: f64, b: f64) -> i32 {
    (5..9).find(|&digits| a == b || number(a, digits) != number(b, digits)).unwrap_or(9)
}

/// A value of the sized quantity with its unit, to so many digits.
fn print(result: &SizeResult, value: f64, digits: i32) -> String {
    match result.quantity {
        SizeQuantity::TankPressure => with_unit(&number(bar_gauge(value, result.ambient_pressure), digits), "bar(g)"),
        SizeQuantity::OpenValves => with_unit(&format!("{value:.0}"), "open"),
    }
}

/// The same, so that the answer and its neighbour below are told apart.
fn value(result: &SizeResult, value: f64) -> String {
    let below = result.below.as_ref().unwrap_or(&result.at_answer).value;
    let [below, answer] = [below, result.at_answer.value].map(|value| bar_gauge(value, result.ambient_pressure));
    print(result, value, digits(below, answer))
}

/// The answer, or by how much the best within the bounds falls short.
fn answer(result: &SizeResult) -> String {
    let items = result.items.join(", ");
    let Some(least) = result.answer.filter(|_| result.feasible) else {
        let mut text = match result.quantity {
            SizeQuantity::TankPressure => format!("No pressure of {items} within the bounds meets the requirement."),
            SizeQuantity::OpenValves => format!("No number of open valves of {items} meets the requirement."),
        };
        if let Some(b) = &result.at_answer.binding {
            let best = value(result, result.at_answer.value);
            text += &format!(" Even at {best}, {} is short by {} at {}.", b.panel, shortfall(b), seconds(b.time));
        }
        return text;
    };
    let mut text = match result.quantity {
        SizeQuantity::TankPressure => format!("Least gas pressure of {items}: {}.", value(result, least)),
        SizeQuantity::OpenValves => format!("Fewest open valves of {items}: {least:.0}."),
    };
    match (&result.below, &result.at_answer.binding) {
        (Some(SizeTrial { binding: Some(b), value: below, .. }), _) => {
            let below = value(result, *below);
            text += &format!(" At {below}, {} would be short by {} at {}.", b.panel, shortfall(b), seconds(b.time));
        }
        (_, Some(b)) => text += &format!(" The tightest panel is {} at {}.", b.panel, seconds(b.time)),
        _ => (),
    }
    text
}

/// What is missing, with its unit.
fn shortfall(binding: &Binding) -> String {
    match binding.requirement {
        Requirement::Flux => with_unit(&number(litres(binding.shortfall()), 3), "L/s/m2"),
        Requirement::PlumePressure => {
            format!("{} against the plume", with_unit(&number(format::bar(binding.shortfall()), 3), "bar"))
        }
    }
}

/// Panel, time, what is required and what is reached, in words; nothing where no requirement binds.
fn binding_cells(result: &SizeResult, trial: &SizeTrial) -> [String; 4] {
    let Some(binding) = &trial.binding else {
        return [const { String::new() }; 4];
    };
    let (in_unit, unit): (&dyn Fn(f64) -> f64, _) = match binding.requirement {
        Requirement::Flux => (&litres, "L/s/m2"),
        Requirement::PlumePressure => (&|v| bar_gauge(v, result.ambient_pressure), "bar(g)"),
    };
    let [required, reached] = [binding.required, binding.reached].map(in_unit);
    // Told apart where one is missed.
    let digits = if trial.met { 5 } else { digits(required, reached) };
    let print = |v: f64| with_unit(&number(v, digits), unit);
    [binding.panel.clone(), seconds(binding.time), print(required), print(reached)]
}

/// The answer and its neighbour below.
fn trials(result: &SizeResult) -> Table {
    let trials: Vec<&SizeTrial> = result.below.iter().chain([&result.at_answer]).collect();
    let cells: Vec<[String; 4]> = trials.iter().map(|t| binding_cells(result, t)).collect();
    Table::new("Tried")
        .words("value", trials.iter().map(|t| value(result, t.value)))
        .words("requirement", trials.iter().map(|t| if t.met { "met" } else { "missed" }))
        .words("tightest panel", cells.iter().map(|[panel, ..]| panel.as_str()))
        .words("at", cells.iter().map(|[_, at, ..]| at.as_str()))
        .words("required", cells.iter().map(|[.., required, _]| required.as_str()))
        .words("reached", cells.iter().map(|[.., reached]| reached.as_str()))
        .without_empty_columns()
}

/// Bounds, and what the search did.
fn work(result: &SizeResult) -> String {
    let mut text = format!(
        "Searched from {} ({}) to {} ({}); {}",
        print(result, result.lower.value, 5),
        result.lower.source,
        print(result, result.upper.value, 5),
        result.upper.source,
        format::count(result.evaluations, "evaluation"),
    );
    if let Some(time) = result.solve_time {
        text += &format!("; {}", format::clock(time));
    }
    text.push('.');
    text
}
