//! Quantities that vary between bounds, and a file with other numbers.

use super::diagnostic::{Collector, Source, Spot};
use super::names::Nearest;
use super::resolve;
use super::set::{self, Overrides};
use super::tree::{Node, Value};
use super::vary::{self, Follow, Place};
use crate::units::{self, Dimension};

/// A quantity that varies: one value for all places that its path names.
#[derive(Debug, Clone, PartialEq)]
pub struct Varied {
    /// Path, as given.
    pub path: String,
    /// What it measures.
    pub dimension: Dimension,
    /// Least and greatest value, SI.
    pub bounds: [f64; 2],
    /// Value in the file, SI, where it gives one.
    pub start: Option<f64>,
    /// Places that take the value.
    pub places: Vec<Place>,
    /// Pressure of the surroundings, Pa absolute.
    ambient_pressure: f64,
    /// Where each is written in the file by itself, with its text.
    written: Vec<Option<(Spot, String)>>,
}

/// Reads `PATH=LEAST..MOST`.
pub(super) fn read(root: &mut Node, overrides: &mut Overrides, text: &str) -> Result<Varied, String> {
    let form =
        || format!("`{text}` does not say what varies: PATH=LEAST..MOST, as in pipes.feed.loss_coefficient=0.1..5");
    let (path, range) = text.rsplit_once('=').ok_or_else(form)?;
    let (low, high) = range.split_once("..").ok_or_else(form)?;
    let path = path.trim();
    let ambient_pressure = resolve::ambient_pressure(root);
    let mut out = Collector::default();
    let spot = Spot { source: Source::Set(0), ..Spot::default() };
    let targets = set::targets(root, overrides, path, spot, &mut Nearest::default(), &mut out);
    let mut found = Vec::new();
    for target in targets {
        if let Some(admits) = vary::admits(&target, spot, &mut out) {
            found.push((target, admits));
        }
    }
    if let Some(wrong) = out.finish(&[]).into_iter().next() {
        let hint = wrong.hint.map_or(String::new(), |hint| format!("; would be right: {hint}"));
        return Err(format!("`{text}`: {}{hint}", wrong.message));
    }
    let Some((_, first)) = found.first() else { return Err(form()) };
    let (dimension, range) = (first.dimension, first.range);
    if found.iter().any(|(_, admits)| admits.dimension != dimension || admits.count.is_some()) {
        return Err(format!("`{text}`: the path names whole numbers, or quantities of different kinds"));
    }
    let value = |text: &str| units::parse(text, dimension).map(|q| q.resolve(ambient_pressure));
    let wrong = |error: units::UnitError| format!("`{text}`: {error}; would be right: {}", error.hint(dimension));
    let high_value = value(high).map_err(wrong)?;
    // The unit may stand once, at the end.
    let unit = high.trim().trim_start_matches(|c: char| c.is_ascii_digit() || "+-.eE".contains(c));
    let low_value = value(low).or_else(|_| value(&format!("{} {unit}", low.trim()))).map_err(wrong)?;
    if low_value >= high_value || !range.holds(low_value) || !range.holds(high_value) {
        return Err(format!("`{text}`: the bounds must rise and be {}", range.text));
    }
    let mut varied = Varied {
        path: path.to_string(),
        dimension,
        bounds: [low_value, high_value],
        start: None,
        places: Vec::new(),
        ambient_pressure,
        written: Vec::new(),
    };
    for (target, admits) in &found {
        let base = vary::base(target, admits, ambient_pressure);
        if base.as_ref().is_some_and(|base| base.time.is_some()) {
            return Err(format!("`{text}`: a table over time is no single value"));
        }
        let start = base.as_ref().and_then(|base| base.values.first()).map(|[_, value]| *value);
        varied.start = varied.start.or(start);
        let level = if base.as_ref().is_some_and(|base| base.gauge) { ambient_pressure } else { 0.0 };
        varied.places.push(vary::place(target, admits, base.as_ref(), Follow::Value, level));
        varied.written.push(match &target.node {
            Some(Node { value: Value::Scalar(text), spot }) if target.own && spot.source == Source::File => {
                Some((*spot, text.clone()))
            }
            _ => None,
        });
    }
    Ok(varied)
}

/// The text with other values, and the options that say the same.
pub(super) fn rewrite(
    text: &str,
    sets: &[String],
    changes: &[(&Varied, f64)],
) -> Result<(String, Vec<String>), String> {
    if !sets.is_empty() {
        return Err("values set on the command line are not in the file: write them there first".to_string());
    }
    let mut edits = Vec::new();
    let mut options = Vec::new();
    for (varied, value) in changes {
        for (place, written) in varied.places.iter().zip(&varied.written) {
            let by_hand = || format!("`{}` is not written in the file by itself: write it there first", place.path);
            let (spot, old) = written.as_ref().ok_or_else(by_hand)?;
            let new = units::rewritten(old, *value, varied.dimension, varied.ambient_pressure).ok_or_else(by_hand)?;
            options.push(format!("{}={new}", place.path));
            edits.push((*spot, old.clone(), new, place.path.clone()));
        }
    }
    let mut lines: Vec<String> = text.split_inclusive('\n').map(str::to_string).collect();
    // From the end, so that places before a change stay.
    edits.sort_by_key(|(spot, ..)| std::cmp::Reverse(*spot));
    for (spot, old, new, path) in edits {
        let by_hand = || format!("`{path}` cannot be found where it was read: change it by hand");
        let line = lines.get_mut((spot.place.line as usize).wrapping_sub(1)).ok_or_else(by_hand)?;
        let column = (spot.place.column as usize).saturating_sub(1);
        let start = line.char_indices().nth(column).map(|(at, _)| at).ok_or_else(by_hand)?;
        // A quoted value begins at its quote.
        let at = line[start..].find(&old).filter(|at| *at <= 1).map(|at| start + at).ok_or_else(by_hand)?;
        line.replace_range(at..at + old.len(), &new);
    }
    Ok((lines.concat(), options))
}
