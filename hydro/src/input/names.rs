//! Names: which item a name is, and the nearest name to a mistyped one.

use std::collections::HashMap;

use super::diagnostic::Spot;
use super::schema::Kind;

/// Looks for the nearest word, with a bound on the work over a whole file.
#[derive(Debug)]
pub(crate) struct Nearest {
    comparisons: usize,
}

impl Default for Nearest {
    fn default() -> Self {
        Nearest { comparisons: 1_000_000 }
    }
}

impl Nearest {
    /// The candidate nearest to `word`, if one is near enough to be what was meant.
    pub fn of<'c>(&mut self, word: &str, candidates: impl Iterator<Item = &'c str>) -> Option<&'c str> {
        let length = word.chars().take(101).count();
        if length == 0 || length > 100 || self.comparisons == 0 {
            return None;
        }
        let lower = word.to_lowercase();
        let allowed = (length / 3).max(1);
        let mut best: Option<(usize, &str)> = None;
        for candidate in candidates {
            if self.comparisons == 0 {
                break;
            }
            self.comparisons -= 1;
            if candidate.len().abs_diff(word.len()) > 4 * allowed || candidate.len() > 400 {
                continue;
            }
            let distance = strsim::osa_distance(&lower, &candidate.to_lowercase());
            if distance <= allowed && best.is_none_or(|(d, _)| distance < d) {
                best = Some((distance, candidate));
            }
        }
        best.map(|(_, c)| c)
    }
}

/// An item by name.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Named {
    pub kind: Kind,
    pub spot: Spot,
    /// Index among the network's nodes, for water items that hold a pressure.
    pub node: Option<usize>,
    /// Index among the network's gas vessels, for gas items that hold gas and for tanks.
    pub vessel: Option<usize>,
}

/// All names of a file.
#[derive(Debug, Default)]
pub(crate) struct Names {
    by_name: HashMap<String, Named>,
    /// Names of each kind in the order of the file: looking for a near one must not walk through all items.
    by_kind: HashMap<Kind, Vec<String>>,
}

impl Names {
    /// Adds a name; the earlier item when it is taken.
    pub fn add(&mut self, name: &str, named: Named) -> Option<Named> {
        if let Some(earlier) = self.by_name.get(name) {
            return Some(*earlier);
        }
        self.by_name.insert(name.to_string(), named);
        self.by_kind.entry(named.kind).or_default().push(name.to_string());
        None
    }

    /// The item of a name.
    pub fn get(&self, name: &str) -> Option<Named> {
        self.by_name.get(name).copied()
    }

    /// Whether some item has a name for which this holds.
    pub fn any(&self, holds: impl Fn(&str) -> bool) -> bool {
        self.by_name.keys().any(|name| holds(name))
    }

    /// Sets the place of an item in the network.
    pub fn place(&mut self, name: &str, node: Option<usize>, vessel: Option<usize>) {
        if let Some(named) = self.by_name.get_mut(name) {
            (named.node, named.vessel) = (node, vessel);
        }
    }

    /// All names, kind by kind.
    pub fn all(&self) -> impl Iterator<Item = &str> {
        Kind::ALL.iter().filter_map(|kind| self.by_kind.get(kind)).flatten().map(String::as_str)
    }

    /// Names of some kinds, kind by kind, each in the order of the file.
    pub fn of_kinds<'s>(&'s self, kinds: &'s [Kind]) -> impl Iterator<Item = &'s str> {
        kinds.iter().filter_map(|kind| self.by_kind.get(kind)).flatten().map(String::as_str)
    }
}
