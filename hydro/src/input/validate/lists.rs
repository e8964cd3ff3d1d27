//! Lists of values and of points.

use super::{ANYWHERE, MOST_LISTED, Validator};
use crate::input::schema::{Key, Range};
use crate::input::tree::{Node, Value};
use crate::units::Dimension;

impl Validator<'_> {
    /// One point `[x, y]`, or a list of points.
    pub(super) fn points(&mut self, node: &Node, key: &Key) -> Option<Vec<[f64; 2]>> {
        let items = self.list(node, key)?;
        if !items.iter().any(|item| matches!(item.value, Value::List(_))) {
            return self.pair(node, key, ANYWHERE).map(|point| vec![point]);
        }
        self.not_too_many(items, node, key)?;
        let points: Vec<_> = items.iter().map(|item| self.pair(item, key, ANYWHERE)).collect();
        points.into_iter().collect()
    }

    /// A list of values, at least one.
    pub(super) fn numbers(&mut self, node: &Node, key: &Key, dimension: Dimension, range: Range) -> Option<Vec<f64>> {
        let items = self.list(node, key)?;
        self.not_too_many(items, node, key)?;
        let values: Vec<_> = items.iter().map(|item| self.value(item, key, dimension, range, true)).collect();
        values.into_iter().collect()
    }

    /// A list of values, or several of equal length one below the other.
    pub(super) fn rows(&mut self, node: &Node, key: &Key, dimension: Dimension, range: Range) -> Option<Vec<Vec<f64>>> {
        let items = self.list(node, key)?;
        if !items.iter().any(|item| matches!(item.value, Value::List(_))) {
            return self.numbers(node, key, dimension, range).map(|row| vec![row]);
        }
        self.not_too_many(items, node, key)?;
        let rows: Vec<_> = items.iter().map(|item| self.numbers(item, key, dimension, range)).collect();
        rows.into_iter().collect()
    }

    fn not_too_many(&mut self, items: &[Node], node: &Node, key: &Key) -> Option<()> {
        if (1..=MOST_LISTED).contains(&items.len()) {
            return Some(());
        }
        let message = format!("`{}` has {} entries", key.name, items.len());
        self.out.add("wrong_length", node.spot, message, Some(format!("from 1 to {MOST_LISTED}: {}", key.example)));
        None
    }
}
