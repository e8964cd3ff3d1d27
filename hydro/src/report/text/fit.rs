//! Fitted coefficients as text.

use super::Page;
use crate::report::format::{count, number};
use crate::report::table::Table;
use crate::result::{FitParameter, FitResult};
use crate::units::{Dimension, digits, readable};

/// The whole text.
pub(super) fn text(result: &FitResult) -> String {
    let mut page = Page::new(&result.title);
    page.table(&parameters(result));
    page.table(&correlations(result));
    page.table(&columns(result));
    page.paragraph(&format!(
        "{} and {}. Residual variance {} (1 where model and noise are right). Errors are standard errors: 68 % lie \
         within one, 95 % within two, where the model is right.",
        count(result.iterations, "iteration"),
        count(result.runs, "run"),
        number(result.residual_variance, 3),
    ));
    page.findings(&result.findings);
    page.finish()
}

/// A difference in words.
fn difference(value: f64, dimension: Dimension) -> String {
    match dimension {
        Dimension::Pressure => readable(value, Dimension::PressureDifference, 0.0),
        Dimension::Temperature => format!("{} K", digits(value)),
        other => readable(value, other, 0.0),
    }
}

fn parameters(result: &FitResult) -> Table {
    let shown = |value: f64, p: &FitParameter| readable(value, p.dimension, result.ambient_pressure);
    let all = &result.parameters;
    Table::new("Fitted")
        .words("parameter", all.iter().map(|p| p.name.as_str()))
        .words("value", all.iter().map(|p| shown(p.value, p)))
        .words("+-", all.iter().map(|p| p.error.map_or_else(|| "-".to_string(), |e| difference(e, p.dimension))))
        .words("before", all.iter().map(|p| shown(p.start, p)))
        .words("from", all.iter().map(|p| shown(p.bounds[0], p)))
        .words("to", all.iter().map(|p| shown(p.bounds[1], p)))
}

fn correlations(result: &FitResult) -> Table {
    let mut rows: Vec<(String, String, f64)> = Vec::new();
    for (i, a) in result.parameters.iter().enumerate() {
        for (k, b) in result.parameters.iter().enumerate().skip(i + 1) {
            let value = result.correlations.get(i).and_then(|row| row.get(k)).copied().unwrap_or(0.0);
            rows.push((a.name.clone(), b.name.clone(), value));
        }
    }
    Table::new("Correlation of their errors")
        .words("parameter", rows.iter().map(|row| row.0.as_str()))
        .words("with", rows.iter().map(|row| row.1.as_str()))
        .words("coefficient", rows.iter().map(|row| format!("{:+.3}", row.2)))
}

fn columns(result: &FitResult) -> Table {
    let all = &result.columns;
    Table::new("Record")
        .words("column", all.iter().map(|c| c.name.as_str()))
        .words("data", all.iter().map(|c| c.rows.len().to_string()))
        .words("noise", all.iter().map(|c| difference(c.noise, c.dimension)))
        .words("which is", all.iter().map(|c| if c.noise_given { "given" } else { "estimated" }))
        .words("residuals (rms)", all.iter().map(|c| difference(c.rms, c.dimension)))
}
