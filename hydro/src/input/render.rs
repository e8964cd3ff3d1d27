//! Diagnostics as text: `FILE:LINE:COLUMN: what is wrong`, the line itself, and what would be right.

use std::fmt::Write;

use super::diagnostic::{Diagnostic, KEPT, Origin, Place};

/// So many are printed; the rest is counted.
const PRINTED: usize = 100;
/// Longer lines are cut to a window of so many characters around the place.
const WINDOW: usize = 110;

/// A cut of a line and the marked part of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Excerpt {
    text: String,
    before: usize,
    marked: usize,
}

impl Excerpt {
    /// Cut of `line` (without its end) around a place.
    fn of(line: &str, place: Place) -> Excerpt {
        let start = (place.column as usize).saturating_sub(1);
        let first = if start > WINDOW * 2 / 3 { start - WINDOW / 3 } else { 0 };
        let mut rest = line.chars().skip(first);
        let mut text: String = if first > 0 { "... ".into() } else { String::new() };
        let lead = text.len();
        text.extend(rest.by_ref().take(WINDOW).map(|c| if c.is_control() { ' ' } else { c }));
        let shown = text.chars().count().saturating_sub(lead);
        if rest.next().is_some() {
            text.push_str(" ...");
        }
        let before = (start - first).min(shown) + lead;
        let marked = (place.length as usize).clamp(1, (shown + lead).saturating_sub(before).max(1));
        // Comments and blanks after a value are not part of it.
        Excerpt { text: text.trim_end().to_string(), before, marked }
    }
}

/// Excerpts of the diagnostics that will be printed, read in one pass over the text.
pub(crate) fn excerpts(diagnostics: &[Diagnostic], text: &str) -> Vec<Option<Excerpt>> {
    let mut lines = lines(text);
    let mut current: Option<(u32, &str)> = None;
    let mut number = 0;
    diagnostics
        .iter()
        .take(PRINTED)
        .map(|d| {
            let place = d.place?;
            if let Origin::SetOption(_, text) = &d.origin {
                return Some(Excerpt::of(text, place));
            }
            // Sorted by line, so the text is walked through once.
            while current.is_none_or(|(n, _)| n < place.line) {
                let line = lines.next()?;
                number += 1;
                current = Some((number, line));
            }
            current.filter(|(n, _)| *n == place.line).map(|(_, line)| Excerpt::of(line, place))
        })
        .collect()
}

/// Lines as YAML counts them: ended by LF, CR LF or CR.
fn lines(text: &str) -> impl Iterator<Item = &str> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut rest = Some(text);
    std::iter::from_fn(move || {
        let text = rest?;
        match text.find(['\n', '\r']) {
            None => {
                rest = None;
                Some(text)
            }
            Some(end) => {
                let skip = if text[end..].starts_with("\r\n") { 2 } else { 1 };
                rest = text.get(end + skip..);
                text.get(..end)
            }
        }
    })
}

/// All diagnostics of a file as text.
pub(crate) fn render(name: &str, diagnostics: &[Diagnostic], excerpts: &[Option<Excerpt>]) -> String {
    let mut out = String::new();
    for (i, d) in diagnostics.iter().take(PRINTED).enumerate() {
        let source = match &d.origin {
            Origin::File => name,
            Origin::SetOption(..) => "--set",
        };
        let _ = match d.place {
            Some(p) => writeln!(out, "{source}:{}:{}: {}", p.line, p.column, d.message),
            None => writeln!(out, "{source}: {}", d.message),
        };
        if let Some(Some(e)) = excerpts.get(i) {
            let _ = writeln!(out, "    {}", e.text);
            let _ = writeln!(out, "    {}{}", " ".repeat(e.before), "^".repeat(e.marked));
        }
        if let Some(hint) = &d.hint {
            let _ = writeln!(out, "    would be right: {hint}");
        }
    }
    let more = diagnostics.len().saturating_sub(PRINTED);
    if more > 0 {
        let at_least = if diagnostics.len() >= KEPT { "at least " } else { "" };
        let _ = writeln!(out, "and {at_least}{more} more");
    }
    out
}
