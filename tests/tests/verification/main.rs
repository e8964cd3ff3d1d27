//! Verification against the world outside: every row of `data/verification/*.csv` is computed by the library and held
//! against its published value. `docs/verification.md` is the same table for people;
//! `UPDATE=1 cargo test -p hydro-tests --test verification` writes it anew.

mod compute;
mod laws;
mod paper;
mod rows;
mod wanted;

use rows::Row;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

/// A row and its value from the library, in the unit of the row.
type Case = (Row, Result<f64, String>);

/// Root of the repository.
fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).parent().map(Path::to_path_buf).unwrap_or_default()
}

/// All rows with their values, computed once.
fn cases() -> &'static [Case] {
    static CASES: OnceLock<Vec<Case>> = OnceLock::new();
    CASES.get_or_init(|| {
        let compute = |row: Row| {
            let value = compute::value(&row.compute).map(|si| si / row.unit_si);
            (row, value)
        };
        rows::all().into_iter().map(compute).collect()
    })
}

#[test]
fn every_case_is_within_its_tolerance() {
    let mut wrong = Vec::new();
    for (row, value) in cases() {
        match value {
            Err(e) => wrong.push(format!("{}: {} failed: {e}", row.id, row.compute)),
            Ok(value) if !row.holds(*value) => wrong.push(format!(
                "{}: {value} {} instead of {} within {} ({})",
                row.id,
                row.unit,
                row.published,
                row.tolerance_text(),
                row.compute
            )),
            Ok(_) => {}
        }
    }
    assert!(wrong.is_empty(), "{} of {} cases:\n{}", wrong.len(), cases().len(), wrong.join("\n"));
}

#[test]
fn paper_is_fresh() {
    let path = root().join("docs/verification.md");
    let text = paper::text(cases());
    if std::env::var_os("UPDATE").is_some() {
        std::fs::write(&path, text).unwrap();
    } else {
        let kept = std::fs::read_to_string(&path).unwrap_or_default();
        assert!(kept == text, "docs/verification.md is stale: UPDATE=1 cargo test -p hydro-tests --test verification");
    }
}

/// Every row says where its value comes from and why its tolerance, and a tolerance is never a licence.
#[test]
fn rows_are_whole() {
    let mut ids = BTreeSet::new();
    for (row, _) in cases() {
        assert!(ids.insert(&row.id), "{} stands twice", row.id);
        for (column, text) in [("what", &row.what), ("source", &row.source), ("seen", &row.seen), ("why", &row.why)] {
            assert!(!text.trim().is_empty(), "{}: `{column}` is empty", row.id);
        }
        assert!(row.tolerance > 0.0 && row.tolerance <= 0.05, "{}: tolerance {}", row.id, row.tolerance);
        assert!(row.published != 0.0 && row.unit_si > 0.0, "{}", row.id);
        let off = row.published * (1.0 + 2.0 * row.tolerance);
        assert!(row.holds(row.published) && !row.holds(off), "{}", row.id);
    }
}

/// No network lies beside the table unused.
#[test]
fn every_network_is_used() {
    for file in std::fs::read_dir(root().join("tests/data/verification")).unwrap() {
        let name = file.unwrap().file_name().to_string_lossy().into_owned();
        let used = cases().iter().any(|(row, _)| row.compute.contains(&name));
        assert!(used || !name.ends_with(".yaml"), "no row uses {name}");
    }
}

/// Where rounding decides what a passage passes, the table's own cases would go wrong: the run says so.
#[test]
fn a_feed_that_loses_next_to_nothing_is_reported() {
    let wide = "set pipes.feed.bore=1 m; set pipes.feed.loss_coefficient=1e-6; ";
    for (sets, expected) in [("", 0.0), (wide, 1.0)] {
        assert_eq!(compute::value(&format!("run cengel-5-2.yaml; {sets}finding water_balance")), Ok(expected));
    }
}

/// Constant pressure over a falling level heats the gas of the equation of state: a run that breaks off says why.
#[test]
fn a_run_that_breaks_off_names_its_cause() {
    let text = "
site: {ambient_pressure: 1 bar(a), water_temperature: 20 degC}
tanks: {t: {volume: 1 m3, diameter: 0.9 m, bottom: 0 m, water: 0.8 m3, pressure: 1 bar(g), ullage: polytropic, polytropic_exponent: 0}}
pipes: {feed: {from: t, to: p, length: 1 m, bore: 100 mm, friction_factor: 0.01, loss_coefficient: 0.5}}
panels: {p: {at: [0 m, 0 m], size: [1 m, 1 m], elevation: 0 m, holes: {count: 1, diameter: 13 mm, discharge_coefficient: 1}}}
";
    let network = hydro::input::read_text("hot.yaml", text, &[]).unwrap().network;
    let mut options = hydro::analysis::run::RunOptions { rows: 3, progress: &mut |_| {} };
    let failure = hydro::analysis::run::run(&network, &mut options).unwrap_err().error;
    let mut cause: &dyn std::error::Error = &failure;
    while let Some(next) = cause.source() {
        cause = next;
    }
    assert!(cause.to_string().contains("outside 60 to 700 K"), "{cause}");
}
