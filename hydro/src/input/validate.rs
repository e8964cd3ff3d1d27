//! Validation: a group of keys in the tree against the schema, giving SI values.
//!
//! Everything that is wrong is reported and what is right is kept, so that the rest can still be checked.

mod lists;

use super::diagnostic::{Collector, Spot};
use super::files::Files;
use super::names::Nearest;
use super::schema::{Group, Key, Need, Range, Type};
use super::tree::{Node, Value};
use crate::component::fitting;
use crate::component::load::Load;
use crate::component::schedule::TimeTable;
use crate::units::{self, Dimension, UnitError, cut};

/// A validated value.
#[derive(Debug, Clone)]
pub(crate) enum Datum<'t> {
    Number(f64),
    Text(&'t str),
    Table(TimeTable),
    Load(Load),
    Count(u32),
    Switch(bool),
    Word(&'static str),
    Reference(&'t str),
    Group(Fields<'t>),
    List(Vec<Fields<'t>>),
    Pair([f64; 2]),
    Polygon(Vec<[f64; 2]>),
    Cells([u32; 2]),
    Numbers(Vec<f64>),
    Rows(Vec<Vec<f64>>),
    Fittings(Vec<(&'t str, u32, Spot)>),
    Texts(Vec<(&'t str, Spot)>),
    Raw(&'t Node),
}

/// A validated key.
#[derive(Debug, Clone)]
pub(crate) struct Field<'t> {
    pub name: &'static str,
    pub spot: Spot,
    pub datum: Datum<'t>,
}

/// The valid keys of a group.
#[derive(Debug, Clone, Default)]
pub(crate) struct Fields<'t> {
    pub spot: Spot,
    list: Vec<Field<'t>>,
    /// Known keys that are written, valid or not.
    written: Vec<&'static str>,
}

macro_rules! getter {
    ($(#[$doc:meta])* $name:ident, $arm:ident, $out:ty, $get:expr) => {
        $(#[$doc])*
        pub fn $name(&self, key: &str) -> Option<$out> {
            match self.get(key).map(|f| &f.datum) {
                Some(Datum::$arm(value)) => Some($get(value)),
                _ => None,
            }
        }
    };
}

impl<'t> Fields<'t> {
    /// The field of a key.
    pub fn get(&self, key: &str) -> Option<&Field<'t>> {
        self.list.iter().find(|f| f.name == key)
    }

    /// Whether a key is written, its value right or wrong.
    pub fn is_written(&self, key: &str) -> bool {
        self.written.contains(&key)
    }

    /// Where the value of a key stands, or the group when the key is left out.
    pub fn spot_of(&self, key: &str) -> Spot {
        self.get(key).map_or(self.spot, |f| f.spot)
    }

    getter!(number, Number, f64, |v: &f64| *v);
    getter!(count, Count, u32, |v: &u32| *v);
    getter!(switch, Switch, bool, |v: &bool| *v);
    getter!(word, Word, &'static str, |v: &&'static str| *v);
    getter!(text, Text, &'t str, |v: &&'t str| *v);
    getter!(reference, Reference, &'t str, |v: &&'t str| *v);
    getter!(pair, Pair, [f64; 2], |v: &[f64; 2]| *v);
    getter!(cells, Cells, [u32; 2], |v: &[u32; 2]| *v);
    getter!(table, Table, TimeTable, |v: &TimeTable| v.clone());
    getter!(load, Load, Load, |v: &Load| v.clone());

    getter!(numbers, Numbers, Vec<f64>, |v: &Vec<f64>| v.clone());
    getter!(rows, Rows, Vec<Vec<f64>>, |v: &Vec<Vec<f64>>| v.clone());

    /// Points of a polygon, or single ones.
    pub fn polygon(&self, key: &str) -> Option<&[[f64; 2]]> {
        if let Datum::Polygon(points) = &self.get(key)?.datum { Some(points) } else { None }
    }

    /// Fittings: name, count, place.
    pub fn fittings(&self, key: &str) -> &[(&'t str, u32, Spot)] {
        if let Some(Datum::Fittings(list)) = self.get(key).map(|f| &f.datum) { list } else { &[] }
    }

    /// Groups of a list.
    pub fn list(&self, key: &str) -> &[Fields<'t>] {
        if let Some(Datum::List(list)) = self.get(key).map(|f| &f.datum) { list } else { &[] }
    }

    /// Texts of a list, each with its place.
    pub fn texts(&self, key: &str) -> &[(&'t str, Spot)] {
        if let Some(Datum::Texts(list)) = self.get(key).map(|f| &f.datum) { list } else { &[] }
    }

    /// What is written, as it is.
    pub fn raw(&self, key: &str) -> Option<&'t Node> {
        if let Datum::Raw(node) = &self.get(key)?.datum { Some(node) } else { None }
    }

    /// A group inside.
    pub fn group(&self, key: &str) -> Option<&Fields<'t>> {
        if let Datum::Group(fields) = &self.get(key)?.datum { Some(fields) } else { None }
    }
}

/// Reads groups and values, collecting what is wrong.
pub(crate) struct Validator<'o> {
    pub out: &'o mut Collector,
    /// Files that the network file names.
    pub files: Files<'o>,
    pub nearest: Nearest,
    /// Pressure of the surroundings, Pa absolute.
    pub ambient_pressure: f64,
}

impl Validator<'_> {
    /// The valid keys of a group; `what` names it in messages (`tank \`burst-1\``), `spot` is the place of its name.
    pub fn group<'t>(&mut self, node: &'t Node, group: &'static Group, what: &str, spot: Spot) -> Fields<'t> {
        let mut fields = Fields { spot, list: Vec::new(), written: Vec::new() };
        let entries = match &node.value {
            Value::Map(entries) => entries.as_slice(),
            Value::Nothing => &[],
            other => {
                let message = format!("{what} must be a group of keys, not {}", other.name());
                self.out.add("wrong_type", node.spot, message, Some(example_of(group)));
                return fields;
            }
        };
        fields.list.reserve(entries.len());
        for entry in entries {
            match group.key(&entry.key) {
                Some(key) => {
                    fields.written.push(key.name);
                    if let Some(datum) = self.datum(&entry.node, key, entry.spot, what) {
                        fields.list.push(Field { name: key.name, spot: entry.node.spot, datum });
                    }
                }
                None => self.unknown_key(&entry.key, entry.spot, group.names(), what),
            }
        }
        let written = |name: &str| entries.iter().any(|e| e.key == name);
        for key in group.keys {
            let missing = match key.need {
                Need::Required => !written(key.name),
                Need::Unless(other) => !written(key.name) && !written(other),
                Need::Optional(_) | Need::Choice => false,
            };
            if missing {
                let hint = match key.need {
                    Need::Unless(other) => format!("{}: {} (or `{other}`)", key.name, key.example),
                    _ => format!("{}: {}", key.name, key.example),
                };
                self.out.add("missing_key", spot, format!("{what} has no `{}`", key.name), Some(hint));
            }
        }
        for choice in group.choices {
            let begun: Vec<_> = choice.options.iter().filter(|keys| keys.iter().any(|k| written(k))).collect();
            let place = entries.iter().find(|e| choice.options.iter().any(|o| o.contains(&e.key.as_str())));
            let place = place.map_or(spot, |e| e.spot);
            match begun.as_slice() {
                [] => {
                    let message = format!("{what} does not say {}", choice.what);
                    self.out.add("choice_missing", spot, message, Some(choice.words()));
                }
                [keys] => {
                    for key in keys.iter().filter(|k| !written(k)) {
                        let example = group.key(key).map_or("", |k| k.example);
                        let message = format!("{what} has no `{key}`");
                        self.out.add("missing_key", place, message, Some(format!("{key}: {example}")));
                    }
                }
                _ => {
                    let message = format!("{what} says {} more than once", choice.what);
                    let hint = format!("one of {}", choice.words());
                    self.out.add("choice_twice", place, message, Some(hint));
                }
            }
        }
        fields
    }

    /// Reports an unknown key with the nearest known one.
    pub fn unknown_key(&mut self, key: &str, spot: Spot, known: impl Iterator<Item = &'static str>, what: &str) {
        let known: Vec<&str> = known.collect();
        let hint = match self.nearest.of(key, known.iter().copied()) {
            Some(near) => format!("`{near}`"),
            None => format!("one of {}", known.join(", ")),
        };
        self.out.add("unknown_key", spot, format!("{what} has no key `{}`", cut(key)), Some(hint));
    }

    /// The valid value of a key.
    pub fn datum<'t>(&mut self, node: &'t Node, key: &'static Key, key_spot: Spot, what: &str) -> Option<Datum<'t>> {
        if matches!(node.value, Value::Nothing) {
            let hint = Some(format!("{}: {}", key.name, key.example));
            self.out.add("missing_value", key_spot, format!("nothing is written after `{}`", key.name), hint);
            return None;
        }
        match key.ty {
            Type::Text => Some(Datum::Text(self.scalar(node, key)?)),
            Type::Value(dimension, range) => Some(Datum::Number(self.value(node, key, dimension, range, true)?)),
            Type::ValueOr(dimension, range, word) => match &node.value {
                Value::Scalar(text) if text == word => Some(Datum::Word(word)),
                _ => Some(Datum::Number(self.value(node, key, dimension, range, true)?)),
            },
            Type::Absolute(range) => Some(Datum::Number(self.value(node, key, Dimension::Pressure, range, false)?)),
            Type::Table(dimension, range) => self.table(node, key, dimension, range).map(Datum::Table),
            Type::Load(dimension, range, pattern) => {
                self.load(node, key, key_spot, (dimension, range, pattern)).map(Datum::Load)
            }
            Type::Count(min, max) => self.count(node, key, min, max).map(Datum::Count),
            Type::Switch => {
                let text = self.scalar(node, key)?;
                match text {
                    "on" | "true" | "On" | "True" | "ON" | "TRUE" => Some(Datum::Switch(true)),
                    "off" | "false" | "Off" | "False" | "OFF" | "FALSE" => Some(Datum::Switch(false)),
                    _ => {
                        let message = format!("`{}` is neither on nor off", cut(text));
                        self.out.add("unknown_word", node.spot, message, Some("on, off, true or false".into()));
                        None
                    }
                }
            }
            Type::Words(words) => {
                let text = self.scalar(node, key)?;
                if let Some(word) = words.iter().find(|w| **w == text) {
                    return Some(Datum::Word(word));
                }
                let near = self.nearest.of(text, words.iter().copied());
                let hint = near.map_or_else(|| format!("one of {}", words.join(", ")), |w| format!("`{w}`"));
                let message = format!("`{}` is no `{}`", cut(text), key.name);
                self.out.add("unknown_word", node.spot, message, Some(hint));
                None
            }
            Type::Reference(_) => Some(Datum::Reference(self.scalar(node, key)?)),
            Type::Group(group) => {
                let what = format!("`{}` of {what}", key.name);
                Some(Datum::Group(self.group(node, group, &what, key_spot)))
            }
            Type::List(group) => {
                let items = self.list(node, key)?;
                if items.len() > MOST_LISTED {
                    let message = format!("`{}` has {} entries", key.name, items.len());
                    self.out.add("too_large", node.spot, message, Some(format!("at most {MOST_LISTED}")));
                    return None;
                }
                let what = format!("an entry of `{}` of {what}", key.name);
                Some(Datum::List(items.iter().map(|item| self.group(item, group, &what, item.spot)).collect()))
            }
            Type::ShareOrGroup(words, range, group) => match &node.value {
                Value::Map(_) => {
                    let what = format!("`{}` of {what}", key.name);
                    Some(Datum::Group(self.group(node, group, &what, key_spot)))
                }
                Value::Scalar(text) if words.contains(&text.as_str()) => {
                    words.iter().find(|word| *word == text).map(|word| Datum::Word(word))
                }
                Value::Scalar(text) if !text.starts_with(|c: char| c.is_ascii_digit() || "+-.".contains(c)) => {
                    let hint = format!("{}, a share such as 40 %, or {}", words.join(", "), key.example);
                    self.out.add(
                        "unknown_word",
                        node.spot,
                        format!("`{}` is no `{}`", cut(text), key.name),
                        Some(hint),
                    );
                    None
                }
                _ => Some(Datum::Number(self.value(node, key, Dimension::Share, range, true)?)),
            },
            Type::Point => self.pair(node, key, ANYWHERE).map(Datum::Pair),
            Type::Size => self.pair(node, key, EXTENT).map(Datum::Pair),
            Type::Polygon => self.polygon(node, key).map(Datum::Polygon),
            Type::Cells => {
                let [x, y] = self.list_of_two(node, key)?;
                let (x, y) = (self.count(x, key, 1, MOST_LINES), self.count(y, key, 1, MOST_LINES));
                Some(Datum::Cells([x?, y?]))
            }
            Type::Points => self.points(node, key).map(Datum::Polygon),
            Type::Numbers(dimension, range) => self.numbers(node, key, dimension, range).map(Datum::Numbers),
            Type::Rows(dimension, range) => self.rows(node, key, dimension, range).map(Datum::Rows),
            Type::Fittings => self.fittings(node, key).map(Datum::Fittings),
            Type::Texts => {
                let items = self.list(node, key)?;
                let texts: Vec<_> = items.iter().map(|n| Some((self.scalar(n, key)?, n.spot))).collect();
                texts.into_iter().collect::<Option<_>>().map(Datum::Texts)
            }
            Type::Matrix => Some(Datum::Raw(node)),
        }
    }

    /// Text of a single value.
    fn scalar<'t>(&mut self, node: &'t Node, key: &Key) -> Option<&'t str> {
        if let Value::Scalar(text) = &node.value {
            return Some(text);
        }
        let message = format!("`{}` must be a single value, not {}", key.name, node.value.name());
        self.out.add("wrong_type", node.spot, message, Some(format!("{}: {}", key.name, key.example)));
        None
    }

    /// SI value in its range.
    pub(super) fn value(
        &mut self,
        node: &Node,
        key: &Key,
        dimension: Dimension,
        range: Range,
        gauge: bool,
    ) -> Option<f64> {
        let text = self.scalar(node, key)?;
        let quantity = match units::parse(text, dimension) {
            Ok(quantity) => quantity,
            Err(error) => {
                let message = format!("`{}`: {error}", key.name);
                self.out.add(code_of(&error), node.spot, message, Some(error.hint(dimension)));
                return None;
            }
        };
        if quantity.is_gauge() && !gauge {
            let message = format!("`{}` must be absolute: gauge pressures are measured from it", key.name);
            self.out.add("pressure_reference", node.spot, message, Some(format!("{}: {}", key.name, key.example)));
            return None;
        }
        let value = quantity.resolve(self.ambient_pressure);
        if range.holds(value) {
            return Some(value);
        }
        let mut hint = range.text.to_string();
        if dimension == Dimension::Share && value > 1.0 && value <= 100.0 && !text.contains('%') {
            hint = format!("{text} % (a bare number is a share from 0 to 1)");
        }
        let message = format!("`{}` is out of range: `{}`", key.name, cut(text));
        self.out.add("out_of_range", node.spot, message, Some(hint));
        None
    }

    fn count(&mut self, node: &Node, key: &Key, min: u32, max: u32) -> Option<u32> {
        let text = self.scalar(node, key)?;
        let wanted = format!("a whole number from {min} to {max}");
        match units::parse(text, Dimension::Pure).map(|q| q.resolve(0.0)) {
            Ok(value) if value.fract() != 0.0 => {
                let message = format!("`{}` must be a whole number, not `{}`", key.name, cut(text));
                self.out.add("not_whole", node.spot, message, Some(wanted));
                None
            }
            Ok(value) if value >= f64::from(min) && value <= f64::from(max) => Some(value as u32),
            Ok(_) => {
                let message = format!("`{}` is out of range: `{}`", key.name, cut(text));
                self.out.add("out_of_range", node.spot, message, Some(wanted));
                None
            }
            Err(error) => {
                self.out.add(code_of(&error), node.spot, format!("`{}`: {error}", key.name), Some(wanted));
                None
            }
        }
    }

    pub(super) fn list<'t>(&mut self, node: &'t Node, key: &Key) -> Option<&'t [Node]> {
        if let Value::List(items) = &node.value {
            return Some(items);
        }
        let message = format!("`{}` must be a list, not {}", key.name, node.value.name());
        self.out.add("wrong_type", node.spot, message, Some(format!("{}: {}", key.name, key.example)));
        None
    }

    fn list_of_two<'t>(&mut self, node: &'t Node, key: &Key) -> Option<[&'t Node; 2]> {
        let items = self.list(node, key)?;
        if let [x, y] = items {
            return Some([x, y]);
        }
        let message = format!("`{}` must hold two values, not {}", key.name, items.len());
        self.out.add("wrong_type", node.spot, message, Some(format!("{}: {}", key.name, key.example)));
        None
    }

    fn pair(&mut self, node: &Node, key: &Key, range: Range) -> Option<[f64; 2]> {
        let [x, y] = self.list_of_two(node, key)?;
        let x = self.value(x, key, Dimension::Length, range, true);
        let y = self.value(y, key, Dimension::Length, range, true);
        Some([x?, y?])
    }

    fn polygon(&mut self, node: &Node, key: &Key) -> Option<Vec<[f64; 2]>> {
        let items = self.list(node, key)?;
        if items.len() < 3 || items.len() > MOST_POINTS {
            let message = format!("`{}` has {} points", key.name, items.len());
            let hint = Some(format!("from 3 to {MOST_POINTS} points: {}", key.example));
            self.out.add("bad_outline", node.spot, message, hint);
            return None;
        }
        let points: Vec<_> = items.iter().map(|n| self.pair(n, key, ANYWHERE)).collect();
        points.into_iter().collect()
    }

    fn fittings<'t>(&mut self, node: &'t Node, key: &'static Key) -> Option<Vec<(&'t str, u32, Spot)>> {
        let Value::Map(entries) = &node.value else {
            let message = format!("`{}` must be fittings by name with their counts", key.name);
            self.out.add("wrong_type", node.spot, message, Some(format!("{}: {}", key.name, key.example)));
            return None;
        };
        let mut list = Vec::with_capacity(entries.len());
        for entry in entries {
            let count = self.count(&entry.node, key, 0, 10_000);
            if fitting::is_known(&entry.key) {
                list.extend(count.map(|count| (entry.key.as_str(), count, entry.spot)));
                continue;
            }
            let hint = match self.nearest.of(&entry.key, fitting::names()) {
                Some(near) => format!("`{near}`"),
                None => format!("one of {}", fitting::names().collect::<Vec<_>>().join(", ")),
            };
            let message = format!("there is no fitting `{}`", cut(&entry.key));
            self.out.add("unknown_fitting", entry.spot, message, Some(hint));
        }
        Some(list)
    }
}

/// Most entries of a list.
const MOST_LISTED: usize = 1000;
/// Most cells of a panel along x, and along y.
const MOST_LINES: u32 = 1000;
/// Most corners of an outline; the check for crossing edges looks at all pairs.
const MOST_POINTS: usize = 200;
const ANYWHERE: Range = Range { min: -1e5, above: false, max: 1e5, below: false, text: "from -100 km to 100 km" };
const EXTENT: Range = Range { min: 0.0, above: true, max: 1e4, below: false, text: "above 0 m and at most 10 km" };

/// The required keys of a group with their examples; the first two where none is required.
fn example_of(group: &Group) -> String {
    let required = || group.keys.iter().filter(|k| k.need == Need::Required);
    let keys: Vec<&Key> =
        if required().next().is_some() { required().collect() } else { group.keys.iter().take(2).collect() };
    let keys: Vec<String> = keys.iter().map(|k| format!("{}: {}", k.name, k.example)).collect();
    format!("{{{}}}", keys.join(", "))
}

pub(super) fn code_of(error: &UnitError) -> &'static str {
    match error {
        UnitError::NotANumber { .. } | UnitError::Separator { .. } => "not_a_number",
        UnitError::NotFinite { .. } => "not_finite",
        UnitError::MissingUnit { .. } => "unit_missing",
        UnitError::UnknownUnit { .. } | UnitError::Ambiguous { .. } => "unit_unknown",
        UnitError::WrongDimension { .. } => "unit_wrong",
        UnitError::ReferenceMissing { .. } | UnitError::ReferenceNotWanted { .. } => "pressure_reference",
    }
}
