//! Loads of the plume: a value, a table over time, or a pattern over position.

use super::diagnostic::Spot;
use super::schema::{Group, Key, Range};
use super::tree::{Node, Value};
use super::validate::Validator;
use crate::component::load::{Excess, Load, Pattern};
use crate::component::schedule::TimeTable;
use crate::units::{Dimension, cut};

const TABLE_TIME: Range =
    Range { min: -1e7, above: false, max: 1e7, below: false, text: "from -10000000 s to 10000000 s" };

impl Validator<'_> {
    /// A load, with the dimension and range of its values and the keys of its pattern.
    pub(super) fn load(
        &mut self,
        node: &Node,
        key: &'static Key,
        key_spot: Spot,
        (dimension, range, pattern): (Dimension, Range, &'static Group),
    ) -> Option<Load> {
        let Value::Map(entries) = &node.value else {
            return self.table(node, key, dimension, range).map(Load::over_time);
        };
        if entries.iter().any(|e| e.key == "time" || e.key == "value") {
            return self.table(node, key, dimension, range).map(Load::over_time);
        }
        let wrong = self.out.len();
        let fields = self.group(node, pattern, &format!("`{}`", key.name), key_spot);
        if self.out.len() > wrong {
            return None;
        }
        let ambient = if dimension == Dimension::Pressure { self.ambient_pressure } else { 0.0 };
        let far = fields.number("far").unwrap_or(ambient);
        let excess = match fields.text("file") {
            Some(file) => self.grid(file, fields.spot_of("file"), dimension, range, far)?,
            None => Excess::Radial {
                centre: fields.pair("centre")?,
                half_width: fields.number("half_width")?,
                peak: fields.number("peak")? - far,
            },
        };
        let share = fields.table("over_time").unwrap_or_else(|| TimeTable::constant(1.0));
        let load = Load::patterned(Pattern { far, excess }, share);
        // Shares above 1 or values below `far` may lead out of the range that holds for a plain value.
        let lowest = load.pattern.as_ref().map_or(0.0, |pattern| pattern.excess.least());
        let shares = &load.over_time.value;
        let out_of_range = |excess: f64| shares.iter().any(|share| !range.holds(far + excess * share));
        if out_of_range(load.greatest) || out_of_range(lowest) {
            let message = format!("`{}`: the pattern leads out of the range over time", key.name);
            self.out.add("out_of_range", key_spot, message, Some(range.text.to_string()));
            return None;
        }
        Some(load)
    }

    /// The grid of a CSV file.
    fn grid(&mut self, file: &str, spot: Spot, dimension: Dimension, range: Range, far: f64) -> Option<Excess> {
        let ambient = self.ambient_pressure;
        match self.files.grid(file, dimension, ambient) {
            Ok(grid) => {
                if let Some(value) = grid.value.iter().find(|value| !range.holds(**value)) {
                    let message = format!("`{}` holds a value out of range: {value} in SI", cut(file));
                    self.out.add("out_of_range", spot, message, Some(range.text.to_string()));
                    return None;
                }
                let value = grid.value.iter().map(|value| value - far).collect();
                Some(Excess::Grid { x: grid.x.clone(), y: grid.y.clone(), value })
            }
            Err(faults) => {
                for fault in faults {
                    self.out.add("bad_file", spot, fault.message, Some(fault.hint));
                }
                None
            }
        }
    }

    /// A value over time.
    pub(super) fn table(
        &mut self,
        node: &Node,
        key: &'static Key,
        dimension: Dimension,
        range: Range,
    ) -> Option<TimeTable> {
        let entries = match &node.value {
            Value::Map(entries) => entries,
            _ => return self.value(node, key, dimension, range, true).map(TimeTable::constant),
        };
        for entry in entries.iter().filter(|e| e.key != "time" && e.key != "value") {
            let what = format!("the table `{}`", key.name);
            self.unknown_key(&entry.key, entry.spot, ["time", "value"].into_iter(), &what);
        }
        let example = || Some(format!("{{time: [0 s, 6 s], value: [{0}, {0}]}}", dimension.example()));
        let (Some(times), Some(values)) = (node.get("time"), node.get("value")) else {
            let message = format!("the table `{}` needs both `time` and `value`", key.name);
            self.out.add("bad_table", node.spot, message, example());
            return None;
        };
        let (times_list, values_list) = (self.list(times, key)?, self.list(values, key)?);
        if times_list.len() != values_list.len() || times_list.is_empty() {
            let (t, v) = (times_list.len(), values_list.len());
            let message = format!("the table `{}` has {t} times and {v} values", key.name);
            self.out.add("bad_table", node.spot, message, Some("as many values as times, at least one".into()));
            return None;
        }
        let time: Vec<Option<f64>> =
            times_list.iter().map(|n| self.value(n, key, Dimension::Time, TABLE_TIME, true)).collect();
        let value: Vec<Option<f64>> = values_list.iter().map(|n| self.value(n, key, dimension, range, true)).collect();
        for (pair, node) in time.windows(2).zip(times_list.iter().skip(1)) {
            if let [Some(before), Some(after)] = pair
                && after <= before
            {
                let message = format!("the times of the table `{}` must rise from one to the next", key.name);
                self.out.add("bad_table", node.spot, message, example());
                return None;
            }
        }
        Some(TimeTable {
            time: time.into_iter().collect::<Option<_>>()?,
            value: value.into_iter().collect::<Option<_>>()?,
        })
    }
}
