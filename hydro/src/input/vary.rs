//! Quantities of a file that a study changes: where they are written, and how a number becomes a `--set` option.

use super::diagnostic::{Collector, Spot};
use super::schema::{Range, Type};
use super::set::Target;
use super::tree::{Node, Value};
use crate::component::schedule::TimeTable;
use crate::units::{self, Dimension, cut};

/// A place in the file that a variable sets: every value there is `a + b x`, SI, where x is the variable.
#[derive(Debug, Clone, PartialEq)]
pub struct Place {
    /// Path, as in `--set`.
    pub path: String,
    /// What stands there.
    pub form: Form,
}

/// What stands at a [`Place`].
#[derive(Debug, Clone, PartialEq)]
pub enum Form {
    /// A value with a unit.
    Value {
        /// What it measures.
        dimension: Dimension,
        /// Pressure from which it is written, Pa absolute: 0, or that of the surroundings for a gauge pressure.
        level: f64,
        /// a and b.
        line: [f64; 2],
    },
    /// A whole number, rounded.
    Count {
        /// Least and greatest.
        range: [u32; 2],
        /// a and b.
        line: [f64; 2],
    },
    /// A table over time.
    Table {
        /// What its values measure.
        dimension: Dimension,
        /// As for a value.
        level: f64,
        /// Times, s.
        time: Vec<f64>,
        /// a and b of every value.
        lines: Vec<[f64; 2]>,
    },
}

impl Place {
    /// The option that sets this place for a value of the variable.
    pub fn option(&self, x: f64) -> String {
        let at = |line: &[f64; 2]| line[0] + line[1] * x;
        let value = match &self.form {
            Form::Value { dimension, level, line } => written(at(line), *dimension, *level),
            Form::Count { range: [least, most], line } => {
                format!("{}", at(line).round().clamp(f64::from(*least), f64::from(*most)))
            }
            Form::Table { dimension, level, time, lines } => {
                let times: Vec<String> = time.iter().map(|&t| units::exact(t, Dimension::Time)).collect();
                let values: Vec<String> = lines.iter().map(|line| written(at(line), *dimension, *level)).collect();
                format!("{{time: [{}], value: [{}]}}", times.join(", "), values.join(", "))
            }
        };
        format!("{}={value}", self.path)
    }
}

/// A value as it is written in the file, with all its digits; a gauge pressure as one.
pub fn written(value: f64, dimension: Dimension, level: f64) -> String {
    match dimension {
        Dimension::Pressure if level > 0.0 => format!("{} Pa(g)", value - level),
        Dimension::Temperature => format!("{value} K"),
        _ => units::exact(value, dimension),
    }
}

/// How a place follows its variable.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Follow {
    /// The variable is the value, SI.
    Value,
    /// It is added to the value, SI.
    Shift,
    /// The number as written is multiplied by it.
    Factor,
}

/// What a key admits.
pub(super) struct Admits {
    pub dimension: Dimension,
    pub range: Range,
    pub count: Option<[u32; 2]>,
    pub table: bool,
}

/// What a target admits; `None`, with a diagnostic, where it is no number.
pub(super) fn admits(target: &Target, spot: Spot, out: &mut Collector) -> Option<Admits> {
    let plain = |dimension, range| Some(Admits { dimension, range, count: None, table: false });
    let found = match target.key.map(|key| key.ty) {
        Some(Type::Value(dimension, range) | Type::ValueOr(dimension, range, _)) => plain(dimension, range),
        Some(Type::Absolute(range)) => plain(Dimension::Pressure, range),
        Some(Type::Table(dimension, range) | Type::Load(dimension, range, _)) => {
            Some(Admits { dimension, range, count: None, table: true })
        }
        Some(Type::Count(min, max)) => {
            let range = Range { min: f64::from(min), above: false, max: f64::from(max), below: false, text: "" };
            Some(Admits { dimension: Dimension::Pure, range, count: Some([min, max]), table: false })
        }
        _ => None,
    };
    if found.is_none() {
        let message = format!("`{}` is no number: it cannot be varied", cut(&target.path));
        out.add("cannot_vary", spot, message, Some("a path to a value, a count or a table".into()));
    }
    found
}

/// The base of a place: its value at a factor of 0 and of 1, SI, and whether it is gauge.
pub(super) struct Base {
    /// Values: one, or those of a table with their times.
    pub values: Vec<[f64; 2]>,
    /// Times of a table, s.
    pub time: Option<Vec<f64>>,
    pub gauge: bool,
}

/// What is written at a target; `None` where nothing is, or no number.
pub(super) fn base(target: &Target, admits: &Admits, ambient_pressure: f64) -> Option<Base> {
    let one = |node: &Node| {
        let Value::Scalar(text) = &node.value else { return None };
        ends(text, admits.dimension, ambient_pressure)
    };
    let node = target.node.as_ref()?;
    if !matches!(node.value, Value::Map(_)) {
        let (values, gauge) = one(node)?;
        return Some(Base { values: vec![values], time: None, gauge });
    }
    let list = |key: &str| match &node.get(key)?.value {
        Value::List(items) => Some(items),
        _ => None,
    };
    let seconds = |node: &Node| match &node.value {
        Value::Scalar(text) => Some(units::parse(text, Dimension::Time).ok()?.resolve(0.0)),
        _ => None,
    };
    let time: Option<Vec<f64>> = list("time")?.iter().map(seconds).collect();
    let values: Option<Vec<([f64; 2], bool)>> = list("value")?.iter().map(one).collect();
    let values = values?;
    let gauge = values.iter().all(|(_, gauge)| *gauge);
    let table = TimeTable { time: time?, value: Vec::new() };
    let fits = admits.table && table.time.len() == values.len() && !values.is_empty();
    fits.then(|| Base { values: values.into_iter().map(|(v, _)| v).collect(), time: Some(table.time), gauge })
}

/// A value as written at a factor of 0 and of 1, SI, and whether it is gauge.
pub(super) fn ends(text: &str, dimension: Dimension, ambient_pressure: f64) -> Option<([f64; 2], bool)> {
    let [none, whole] = [0.0, 1.0].map(|factor| units::parse_scaled(text, factor, dimension).ok());
    let whole = whole?;
    Some(([none?.resolve(ambient_pressure), whole.resolve(ambient_pressure)], whole.is_gauge()))
}

/// A place that follows a variable.
pub(super) fn place(target: &Target, admits: &Admits, base: Option<&Base>, follow: Follow, level: f64) -> Place {
    let line = |ends: &[f64; 2]| match follow {
        Follow::Value => [0.0, 1.0],
        Follow::Shift => [ends[1], 1.0],
        Follow::Factor => [ends[0], ends[1] - ends[0]],
    };
    let first = base.and_then(|base| base.values.first()).map_or([0.0, 1.0], line);
    let form = match (admits.count, base.and_then(|base| base.time.as_ref().zip(Some(&base.values)))) {
        (Some(range), _) => Form::Count { range, line: first },
        (None, Some((time, values))) if follow != Follow::Value => Form::Table {
            dimension: admits.dimension,
            level,
            time: time.clone(),
            lines: values.iter().map(line).collect(),
        },
        _ => Form::Value { dimension: admits.dimension, level, line: first },
    };
    Place { path: target.path.clone(), form }
}

/// Values of the variable for which a place stays in its key's range.
pub(super) fn bounds(place: &Place, admits: &Admits) -> [f64; 2] {
    let range = admits.range;
    let least = if range.above { range.min.next_up() } else { range.min };
    let most = if range.below { range.max.next_down() } else { range.max };
    let lines: &[[f64; 2]] = match &place.form {
        Form::Value { line, .. } | Form::Count { line, .. } => std::slice::from_ref(line),
        Form::Table { lines, .. } => lines,
    };
    let mut bounds = [f64::NEG_INFINITY, f64::INFINITY];
    for [a, b] in lines.iter().filter(|line| line[1] != 0.0) {
        let (x, y) = ((least - a) / b, (most - a) / b);
        bounds = [bounds[0].max(x.min(y)), bounds[1].min(x.max(y))];
    }
    bounds
}
