//! What failures do, as text.

use super::Page;
use crate::report::format::{self, number, percent, seconds, with_unit};
use crate::report::table::Table;
use crate::result::{DutyVerdict, FaultCase, FaultsResult, WorstPanel};

/// Items that are listed by name in a sentence.
const NAMED: usize = 12;

/// The whole text.
pub(super) fn text(result: &FaultsResult) -> String {
    let mut page = Page::new(&result.title);
    page.paragraph(&counts(result));
    page.paragraph(&planned(&result.planned));
    page.paragraph(&cannot_lose(result));
    page.table(&cases(result));
    if let Some(worst) = result.cases.iter().find(|case| case.outcome.is_ok() && !case.met()) {
        let quoted = |set: &String| format!("--set '{}'", set.replace('\'', "'\\''"));
        let sets: Vec<String> = worst.sets.iter().map(quoted).collect();
        page.paragraph(&format!("{} alone: hydro run FILE {}", worst.name, sets.join(" ")));
    }
    page.findings(&result.findings);
    page.finish()
}

/// How many failures there are, and how many of them the supply stands.
fn counts(result: &FaultsResult) -> String {
    let cases = &result.cases;
    let met = cases.iter().filter(|case| case.met()).count();
    let lost = cases.iter().filter(|case| case.outcome.is_err()).count();
    let mut text = format!(
        "{} over the whole duty, from ignition at {} to the end of hold at {}: {met} met the requirement, {} missed it",
        format::count(cases.len(), "failure"),
        seconds(result.ignition),
        seconds(result.hold_ends),
        cases.len() - met - lost,
    );
    if lost > 0 {
        text += &format!(", {lost} could not be computed");
    }
    if cases.len() < result.wanted {
        text += &format!("; interrupted before the other {}", result.wanted - cases.len());
    }
    if let Some(time) = result.solve_time {
        text += &format!("; {}", format::clock(time));
    }
    text + "."
}

/// The duty with nothing failed.
fn planned(case: &FaultCase) -> String {
    let Ok(verdict) = &case.outcome else { return "As planned it could not be computed.".to_string() };
    let mut text = format!("With nothing failed the requirement is {}", if verdict.met { "met" } else { "missed" });
    if let Some(worst) = &verdict.worst {
        text += &format!(": the tightest panel, {}, has {}", worst.panel, margin(worst));
    }
    text + "."
}

/// The share over or under what is needed, in words.
fn margin(worst: &WorstPanel) -> String {
    let margin = percent(worst.margin());
    let side = if margin < 0.0 { "less" } else { "more" };
    format!("{} {side} than it needs", with_unit(&number(margin.abs(), 3), "%"))
}

/// Items that the supply cannot lose.
fn cannot_lose(result: &FaultsResult) -> String {
    if !result.planned.met() {
        return "What it can lose is not judged: the requirement is not met with nothing failed.".to_string();
    }
    match result.cannot_lose.as_slice() {
        [] => "No item lost by itself, of those that were computed, makes it miss the requirement.".to_string(),
        [worst, rest @ ..] => {
            let mut text = format!("It cannot lose {worst}");
            for item in rest.iter().take(NAMED - 1) {
                text += &format!(", {item}");
            }
            match rest.len().saturating_sub(NAMED - 1) {
                0 => text + if rest.is_empty() { "." } else { " (the worst first)." },
                more => format!("{text} and {more} more (the worst first)."),
            }
        }
    }
}

/// The failures, the worst first.
fn cases(result: &FaultsResult) -> Table {
    let cases = &result.cases;
    let solved = |case: &FaultCase| case.outcome.as_ref().ok().cloned();
    let verdicts: Vec<Option<DutyVerdict>> = cases.iter().map(solved).collect();
    let worst: Vec<Option<&WorstPanel>> = verdicts.iter().map(|v| v.as_ref()?.worst.as_ref()).collect();
    let cooling = || verdicts.iter().map(|v| v.as_ref().and_then(|v| v.cooling.as_ref()));
    Table::new("Failures, the worst first")
        .words("failure", cases.iter().map(|c| c.name.as_str()))
        .words("duty", verdicts.iter().map(|v| v.as_ref().map_or("not computed".to_string(), duty)))
        .words("tightest panel", worst.iter().map(|w| w.map_or("-", |w| w.panel.as_str())))
        .numbers("short from", "s", 4, worst.iter().map(|w| w.and_then(|w| w.short_from)))
        .numbers("for", "s", 4, worst.iter().map(|w| w.filter(|w| w.short_from.is_some()).map(|w| w.short_for)))
        .numbers("margin", "%", 3, worst.iter().map(|w| w.map(|w| percent(w.margin()))))
        .words("least cooled", cooling().map(|c| c.map_or("", |c| c.panel.as_str())))
        .numbers("at", "s", 4, cooling().map(|c| c.map(|c| c.at)))
        .numbers("over its need", "%", 3, cooling().map(|c| c.map(|c| percent(c.margin))))
        .numbers("lasts", "s", 4, verdicts.iter().map(|v| v.as_ref().and_then(|v| v.lasts)))
        .without_empty_columns()
}

/// How a duty went, in few words.
fn duty(verdict: &DutyVerdict) -> String {
    let mut parts = Vec::new();
    if verdict.panels_short > 0 {
        parts.push(format!("{} short", verdict.panels_short));
    }
    if let Some(hot) = verdict.cooling.as_ref().filter(|cooling| cooling.short > 0) {
        parts.push(format!("{} too hot", hot.short));
    }
    if !verdict.plume_enters.is_empty() {
        parts.push(format!("plume in {}", verdict.plume_enters.len()));
    }
    match (verdict.met, parts.is_empty()) {
        (true, _) => "met".to_string(),
        (false, true) => "missed".to_string(),
        (false, false) => parts.join(", "),
    }
}
