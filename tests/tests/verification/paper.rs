//! The table for people.

use crate::{Case, rows};
use std::fmt::Write;

const HEAD: &str = "\
<!-- Generated from tests/data/verification; `UPDATE=1 cargo test -p hydro-tests --test verification` writes it anew. -->

# Verification

What `hydro` computes beside what others have published. Each row is a test. The computed column comes from the
library: where a file is named, from reading that network file (in `tests/data/verification`) to the result that
`hydro flow` or `hydro run` would print; where a law is named, from that function alone. The difference is relative.

How a value was come by stands with its source. A worked example *seen in a transcription* was read in a public
collection of the book's examples worked by others, not in the book. *Recomputed* values come from another library or
from a formula evaluated apart from `hydro`, and say which. Values *from memory* should be looked up before they are
relied on.

A new row is a line in one of the CSV files of `tests/data/verification`, and a network file beside it where it needs one;
`tests/tests/verification/compute.rs` says what its column `compute` may hold.
";

/// `docs/verification.md`.
pub fn text(cases: &[Case]) -> String {
    let mut out = String::from(HEAD);
    let worst = cases.iter().filter(|(row, value)| value.as_ref().is_ok_and(|&v| row.holds(v))).count();
    let _ = writeln!(out, "\n{worst} of {} values are within their tolerance.", cases.len());
    for (file, heading) in rows::FILES {
        let _ = writeln!(out, "\n## {heading}\n");
        out.push_str(
            "| case | source | published | computed | difference | tolerance and why |\n|---|---|---|---|---|---|\n",
        );
        for (row, value) in cases.iter().filter(|(row, _)| row.file == file) {
            let from = row.compute.split(';').next().unwrap_or("");
            let (_, name) = from.split_once(' ').unwrap_or(("", from));
            let (computed, difference) = match value {
                Ok(v) => (digits(*v), difference(row.difference(*v))),
                Err(_) => ("none".into(), "failed".into()),
            };
            let (published, unit) = (digits(row.published), if row.unit == "1" { "" } else { &row.unit });
            let _ = writeln!(
                out,
                "| {} (`{name}`) | {}; {} | {published} {unit} | {computed} {unit} | {difference} | {}: {} |",
                row.what,
                row.source,
                row.seen,
                row.tolerance_text(),
                row.why
            );
        }
    }
    while out.contains("  |") {
        out = out.replace("  |", " |");
    }
    out
}

/// Six digits.
fn digits(value: f64) -> String {
    let size = value.abs().log10().floor();
    if !(-4.0..7.0).contains(&size) {
        let (mantissa, exponent) =
            format!("{value:.5e}").split_once('e').map(|(m, e)| (m.to_string(), e.to_string())).unwrap_or_default();
        return format!("{}e{exponent}", trim(&mantissa));
    }
    trim(&format!("{value:.*}", (5.0 - size).max(0.0) as usize)).to_string()
}

fn trim(text: &str) -> &str {
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { text }
}

/// One digit, so that rounding on another machine leaves the paper as it is.
fn difference(relative: f64) -> String {
    match relative.abs() {
        d if d < 1e-9 => "< 1e-9".into(),
        d if d < 1e-6 => "< 1e-6".into(),
        d if d < 1e-4 => format!("{relative:+.0e}"),
        _ => format!("{:+.2} %", relative * 100.0),
    }
}
