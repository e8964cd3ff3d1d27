//! `--set PATH=VALUE`: changes of the tree before it is validated.
//!
//! A path is the section, the item's name where the section has items, and keys: `tanks.burst-1.pressure`,
//! `tanks.burst-1.relief.set`, `duty.end`, `tolerance`. Names may hold dots and spaces (the longest name that fits is
//! taken), may stand in double quotes, and may hold `*` for any run of characters. A key of one side of a choice
//! (`water`) takes the place of the other side (`filled`).

use super::pattern::fits;
use std::collections::HashMap;

use super::diagnostic::{Collector, Place, Source, Spot};
use super::grids::{self, Part};
use super::names::Nearest;
use super::schema::{self, GRID_CROSSOVER, GRID_PANEL, Group, Key, Kind, SECTIONS, SectionType, Type};
use super::tree::{self, Entry, Node, Value};
use super::written;
use crate::component::fitting;
use crate::units::cut;

/// Panels and crossovers of grids that differ from their grid, by name.
pub(crate) type Overrides = HashMap<String, Node>;

/// Most items of grids that `--set` may change one by one.
const MOST_OVERRIDES: usize = 100_000;

/// Applies the block `set` of the file and then the options to the tree; panels of grids that are addressed one by one
/// come back as overrides.
pub(crate) fn apply(root: &mut Node, sets: &[String], nearest: &mut Nearest, out: &mut Collector) -> Overrides {
    let mut overrides = Overrides::new();
    let own = written::entries(root);
    let own = own.iter().map(|(text, spot)| (text.as_str(), spot.source, (spot.place.line, spot.place.column)));
    let given = sets.iter().enumerate().map(|(index, text)| {
        let source = Source::Set(u32::try_from(index).unwrap_or(u32::MAX));
        (text.as_str(), source, (1, 1))
    });
    // Grids first: their panels begin as the grid says.
    let (grids, others): (Vec<_>, Vec<_>) = own.chain(given).partition(|(s, ..)| s.trim().starts_with("grids."));
    for (text, source, at) in grids.into_iter().chain(others) {
        let mut one = Setter { root, overrides: &mut overrides, nearest, out, text, source, at, found: None };
        one.apply();
    }
    overrides
}

struct Setter<'a> {
    root: &'a mut Node,
    overrides: &'a mut Overrides,
    nearest: &'a mut Nearest,
    out: &'a mut Collector,
    text: &'a str,
    source: Source,
    /// Line and column at which the text begins.
    at: (u32, u32),
    /// Where the places that a path leads to are gathered, nothing being set.
    found: Option<Vec<Target>>,
}

/// A place that a path leads to.
pub(crate) struct Target {
    /// Path of this place alone, for `--set`.
    pub path: String,
    /// The key; `None` for a fitting.
    pub key: Option<&'static Key>,
    /// What is written there.
    pub node: Option<Node>,
    /// Whether it is written for this place alone, not for a whole grid.
    pub own: bool,
}

/// The places that a path leads to (names may hold `*`); nothing, with a diagnostic at the path, where there is none.
///
/// `text` is the path, without `=`, which stands at `spot`. The tree stays as it is.
pub(crate) fn targets(
    root: &mut Node,
    overrides: &mut Overrides,
    text: &str,
    spot: Spot,
    nearest: &mut Nearest,
    out: &mut Collector,
) -> Vec<Target> {
    let (source, at) = (spot.source, (spot.place.line, spot.place.column));
    let mut one = Setter { root, overrides, nearest, out, text, source, at, found: Some(Vec::new()) };
    let nothing = Node { value: Value::Nothing, spot };
    one.place(text.len(), &nothing);
    one.found.unwrap_or_default()
}

/// Byte position of the first `sought` outside double quotes.
fn find_unquoted(text: &str, sought: char) -> Option<usize> {
    let mut quoted = false;
    text.char_indices().find_map(|(i, c)| {
        quoted ^= c == '"';
        (c == sought && !quoted).then_some(i)
    })
}

impl Setter<'_> {
    fn spot(&self, from: usize, to: usize) -> Spot {
        let chars = |end: usize| self.text.get(..end).map_or(0, |t| t.chars().count());
        let (start, end) = (chars(from), chars(to));
        let number = |n: usize| u32::try_from(n).unwrap_or(u32::MAX);
        let (line, column) = (self.at.0, self.at.1.saturating_add(number(start)));
        let place = Place { line, column, length: number(end.saturating_sub(start)) };
        Spot { source: self.source, place }
    }

    fn fail(&mut self, from: usize, to: usize, message: String, hint: Option<String>) {
        let spot = self.spot(from, to);
        self.out.add("set", spot, message, hint);
    }

    fn apply(&mut self) -> Option<()> {
        let text = self.text;
        let Some(equals) = find_unquoted(text, '=') else {
            let hint = Some("PATH=VALUE, such as tanks.NAME.pressure=\"12 bar(g)\"".to_string());
            self.fail(0, text.len(), "this option sets no value".into(), hint);
            return None;
        };
        let path = text.get(..equals)?;
        let value_text = text.get(equals + 1..)?;
        let column = u32::try_from(text.get(..=equals)?.chars().count()).unwrap_or(u32::MAX);
        let at = (self.at.0, self.at.1.saturating_add(column));
        let value = tree::value_at(value_text, self.source, at, self.out)?;
        if matches!(value.value, Value::Nothing) {
            self.fail(equals, text.len(), format!("nothing is written after `{}=`", cut(path)), None);
            return None;
        }
        self.place(equals, &value)
    }

    /// Puts a value where the path that ends at `equals` leads to.
    fn place(&mut self, equals: usize, value: &Node) -> Option<()> {
        let path = self.text.get(..equals)?;
        let end = find_unquoted(path, '.').unwrap_or(path.len());
        let name = path.get(..end)?.trim();
        let Some(section) = schema::section(name) else {
            let near = self.nearest.of(name, SECTIONS.iter().map(|s| s.name));
            let hint = near.map_or_else(
                || format!("one of {}", SECTIONS.iter().map(|s| s.name).collect::<Vec<_>>().join(", ")),
                |n| format!("`{n}`"),
            );
            self.fail(0, end, format!("there is no section `{}`", cut(name)), Some(hint));
            return None;
        };
        let rest = path.get(end + 1..).unwrap_or("");
        match section.ty {
            SectionType::Key(_) if name == "set" => {
                self.fail(0, end, "`set` cannot be set: it stands in the file".into(), None);
            }
            SectionType::Key(_) if rest.is_empty() => {
                let top = Step::plain(section.name, self.spot(0, end));
                self.put(&[top], value);
            }
            SectionType::Key(_) => self.fail(end + 1, equals, format!("`{name}` has no keys of its own"), None),
            _ if rest.is_empty() => {
                let hint = Some(match section.ty {
                    SectionType::Items(_, group) => format!("{name}.NAME.KEY=VALUE, KEY one of {}", keys_of(group)),
                    SectionType::One(group, _) => format!("{name}.KEY=VALUE, KEY one of {}", keys_of(group)),
                    SectionType::Key(_) => String::new(),
                });
                self.fail(0, end, format!("`{name}` is a whole section; only single keys can be set"), hint);
            }
            SectionType::One(group, _) => {
                let what = format!("`{name}`");
                let mut steps = vec![Step::plain(section.name, self.spot(0, end))];
                steps.extend(self.keys(group, end + 1, equals, &what)?);
                self.put(&steps, value);
            }
            SectionType::Items(kind, group) => self.items(section.name, kind, group, end + 1, equals, value)?,
        }
        Some(())
    }

    /// Sets a key of the items that a path names.
    fn items(
        &mut self,
        section: &'static str,
        kind: Kind,
        group: &'static Group,
        start: usize,
        end: usize,
        value: &Node,
    ) -> Option<()> {
        let rest = self.text.get(start..end)?;
        let (names, keys) = match rest.strip_prefix('"') {
            Some(quoted) => {
                let Some(close) = quoted.find('"') else {
                    self.fail(start, end, "the quote is not closed".into(), None);
                    return None;
                };
                let after = start + close + 2;
                let name = quoted.get(..close)?;
                (self.matching(section, kind, name, false), (name, after))
            }
            None => self.longest(section, kind, group, rest, start),
        };
        let (name, after) = keys;
        if names.is_empty() {
            let known = self.known(section, kind);
            let near = self.nearest.of(name, known.iter().map(String::as_str));
            let hint = near.map_or_else(|| format!("one of {}", some_of(&known)), |n| format!("`{n}`"));
            self.fail(start, after.max(start), format!("there is no `{}` in `{section}`", cut(name)), Some(hint));
            return None;
        }
        if after >= end {
            let hint = Some(format!("{section}.{}.KEY=VALUE, KEY one of {}", cut(name), keys_of(group)));
            let message = format!("`{}` is a whole item; only single keys can be set", cut(name));
            self.fail(start, end, message, hint);
            return None;
        }
        let what = kind.a();
        for found in names {
            match found {
                Found::Item(name) => {
                    let spot = self.spot(start, after);
                    let mut steps = vec![Step::plain(section, spot), Step::plain(&name, spot)];
                    steps.extend(self.keys(group, after + 1, end, what)?);
                    self.put(&steps, value);
                }
                Found::InGrid(name, grid, part) => {
                    let (inner, key) = match part {
                        Part::Panel => (&GRID_PANEL, "panel"),
                        Part::Crossover => (&GRID_CROSSOVER, "crossover"),
                    };
                    let what = format!("{what} of the grid `{}`", cut(&grid));
                    let steps = self.keys(inner, after + 1, end, &what)?;
                    if let Some(found) = &mut self.found {
                        let base = || self.root.get("grids").and_then(|g| g.get(&grid)).and_then(|g| g.get(key));
                        let item = self.overrides.get(&name).or_else(base);
                        let target = Target::new(section, Some(&name), &steps, inner, item);
                        found.push(Target { own: self.overrides.contains_key(&name), ..target });
                        continue;
                    }
                    if !self.overrides.contains_key(&name) {
                        let base = self.root.get("grids").and_then(|g| g.get(&grid)).and_then(|g| g.get(key));
                        let base = base?.clone();
                        if self.overrides.len() >= MOST_OVERRIDES {
                            let hint = Some(format!("grids.{}.{key}... for all of them", cut(&grid)));
                            self.fail(start, end, "too many items of grids are set one by one".into(), hint);
                            return None;
                        }
                        self.overrides.insert(name.clone(), base);
                    }
                    put(self.overrides.get_mut(&name)?, &steps, value);
                }
            }
        }
        Some(())
    }

    /// Puts a value at the end of a path below the root, or notes the place.
    fn put(&mut self, steps: &[Step], value: &Node) {
        let Some(found) = &mut self.found else {
            put(self.root, steps, value);
            return;
        };
        let Some((top, rest)) = steps.split_first() else { return };
        let Some(section) = schema::section(&top.name) else { return };
        let node = self.root.get(section.name);
        found.push(match (&section.ty, rest.split_first()) {
            (SectionType::Items(_, group), Some((item, keys))) => {
                let node = node.and_then(|n| n.get(&item.name));
                Target::new(section.name, Some(&item.name), keys, group, node)
            }
            (SectionType::One(group, _), _) => Target::new(section.name, None, rest, group, node),
            _ => Target {
                path: top.name.clone(),
                key: schema::key_at(section.name, &[]),
                node: node.cloned(),
                own: true,
            },
        });
    }

    /// Items that the longest leading part of a path names, and that part with its end.
    fn longest<'r>(
        &self,
        section: &str,
        kind: Kind,
        group: &'static Group,
        rest: &'r str,
        start: usize,
    ) -> (Vec<Found>, (&'r str, usize)) {
        let cuts: Vec<usize> = rest.char_indices().filter(|(_, c)| *c == '.').map(|(i, _)| i).take(64).collect();
        for end in std::iter::once(rest.len()).chain(cuts.iter().rev().copied()) {
            let Some(name) = rest.get(..end) else { continue };
            let found = self.matching(section, kind, name, name.contains('*'));
            let key = rest.get(end + 1..).unwrap_or("").split('.').next().unwrap_or("");
            // A pattern fits many cuts: take the one that a key follows.
            let fits = end == rest.len() || !name.contains('*') || group.key(key.trim()).is_some();
            if !found.is_empty() && fits && !(end == rest.len() && name.contains('*') && !cuts.is_empty()) {
                return (found, (name, start + end));
            }
        }
        // Nothing fits: say so of the part before the first key that is known, or before the last dot.
        let known = cuts.iter().copied().find(|&i| {
            let key = rest.get(i + 1..).unwrap_or("").split('.').next().unwrap_or("");
            group.key(key.trim()).is_some()
        });
        let end = known.or(cuts.last().copied()).unwrap_or(rest.len());
        (Vec::new(), (rest.get(..end).unwrap_or(rest), start + end))
    }

    /// Items of a section with this name, or that fit it as a pattern.
    fn matching(&self, section: &str, kind: Kind, name: &str, pattern: bool) -> Vec<Found> {
        let part = match kind {
            Kind::Panel => Some(Part::Panel),
            Kind::Crossover => Some(Part::Crossover),
            _ => None,
        };
        let items = self.root.get(section).map_or(&[][..], Node::entries);
        let grids = self.root.get("grids").map_or(&[][..], Node::entries);
        if !pattern {
            if items.iter().any(|e| e.key == name) {
                return vec![Found::Item(name.to_string())];
            }
            let grid = part.and_then(|part| grids::find(grids, name, part).map(|e| (e, part)));
            return grid.map(|(e, part)| Found::InGrid(name.to_string(), e.key.clone(), part)).into_iter().collect();
        }
        let mut found: Vec<Found> =
            items.iter().filter(|e| fits(&e.key, name)).map(|e| Found::Item(e.key.clone())).collect();
        if let Some(part) = part {
            for grid in grids {
                let names = grids::names(std::slice::from_ref(grid), part).filter(|n| fits(n, name));
                let room = MOST_OVERRIDES + 1;
                found.extend(names.take(room).map(|n| Found::InGrid(n, grid.key.clone(), part)));
            }
        }
        found
    }

    fn known(&self, section: &str, kind: Kind) -> Vec<String> {
        let items = self.root.get(section).map_or(&[][..], Node::entries);
        let mut names: Vec<String> = items.iter().map(|e| e.key.clone()).collect();
        let grids = self.root.get("grids").map_or(&[][..], Node::entries);
        match kind {
            Kind::Panel => names.extend(grids::names(grids, Part::Panel).take(10_000)),
            Kind::Crossover => names.extend(grids::names(grids, Part::Crossover).take(10_000)),
            _ => {}
        }
        names
    }

    /// The keys of the rest of a path, checked against the schema.
    fn keys(&mut self, group: &'static Group, start: usize, end: usize, what: &str) -> Option<Vec<Step>> {
        let mut group = Some(group);
        let mut fittings = false;
        let mut steps = Vec::new();
        let mut at = start;
        for name in self.text.get(start..end)?.split('.') {
            let to = at + name.len();
            let name = name.trim();
            let spot = self.spot(at, to);
            if fittings {
                if !fitting::is_known(name) {
                    let near = self.nearest.of(name, fitting::names());
                    let hint = near.map(|n| format!("`{n}`"));
                    self.fail(at, to, format!("there is no fitting `{}`", cut(name)), hint);
                    return None;
                }
                steps.push(Step::plain(name, spot));
                (fittings, group) = (false, None);
            } else if let Some(inner) = group {
                let Some(key) = inner.key(name) else {
                    let near = self.nearest.of(name, inner.names());
                    let hint = near.map_or_else(|| format!("one of {}", keys_of(inner)), |n| format!("`{n}`"));
                    self.fail(at, to, format!("{what} has no key `{}`", cut(name)), Some(hint));
                    return None;
                };
                steps.push(Step { name: name.to_string(), spot, instead_of: other_sides(inner, key) });
                (group, fittings) = match key.ty {
                    Type::Group(next) | Type::ShareOrGroup(_, _, next) | Type::Load(_, _, next) => (Some(next), false),
                    Type::Fittings => (None, true),
                    _ => (None, false),
                };
            } else {
                let last = steps.last().map_or("", |s| s.name.as_str()).to_string();
                self.fail(at, to, format!("`{last}` has no keys of its own"), None);
                return None;
            }
            at = to + 1;
        }
        Some(steps)
    }
}

/// An item that a path names.
enum Found {
    Item(String),
    /// Name, grid, and what it is in the grid.
    InGrid(String, String, Part),
}

impl Target {
    /// The place below an item (or a section of one group) that keys lead to.
    fn new(section: &str, name: Option<&str>, steps: &[Step], group: &'static Group, item: Option<&Node>) -> Target {
        let mut path = section.to_string();
        if let Some(name) = name {
            let plain = !name.contains(['.', '*', '=', ' ']) || name.contains('"');
            path += &if plain { format!(".{name}") } else { format!(".\"{name}\"") };
        }
        let (mut key, mut inner, mut node) = (None, Some(group), item);
        for step in steps {
            path += &format!(".{}", step.name);
            key = inner.and_then(|group| group.key(&step.name));
            inner = match key.map(|key| key.ty) {
                Some(Type::Group(next) | Type::ShareOrGroup(_, _, next)) => Some(next),
                _ => None,
            };
            node = node.and_then(|node| node.get(&step.name));
        }
        Target { path, key, node: node.cloned(), own: true }
    }
}

/// One key of a path.
struct Step {
    name: String,
    spot: Spot,
    /// Keys that go when this one is set.
    instead_of: Vec<&'static str>,
}

impl Step {
    fn plain(name: &str, spot: Spot) -> Step {
        Step { name: name.to_string(), spot, instead_of: Vec::new() }
    }
}

/// Keys of the other sides of the choice that a key belongs to.
fn other_sides(group: &Group, key: &Key) -> Vec<&'static str> {
    let choice = group.choices.iter().find(|c| c.options.iter().any(|o| o.contains(&key.name)));
    let Some(choice) = choice else { return Vec::new() };
    let others = choice.options.iter().filter(|o| !o.contains(&key.name));
    others.flat_map(|o| o.iter().copied()).collect()
}

/// Puts a value at the end of a path of keys; keys are added, and what was no map made one, where need be.
fn put(node: &mut Node, steps: &[Step], value: &Node) {
    let Some((step, rest)) = steps.split_first() else {
        *node = value.clone();
        return;
    };
    let mut entries = match std::mem::replace(&mut node.value, Value::Nothing) {
        Value::Map(entries) => entries,
        _ => Vec::new(),
    };
    if !step.instead_of.is_empty() {
        entries.retain(|e| !step.instead_of.contains(&e.key.as_str()));
    }
    match entries.iter_mut().find(|e| e.key == step.name) {
        Some(entry) => put(&mut entry.node, rest, value),
        None => {
            let mut node = Node { value: Value::Nothing, spot: step.spot };
            put(&mut node, rest, value);
            entries.push(Entry { key: step.name.clone(), spot: step.spot, node });
        }
    }
    node.value = Value::Map(entries);
}

fn keys_of(group: &Group) -> String {
    group.names().collect::<Vec<_>>().join(", ")
}

/// Some names of a list, for a hint.
pub(crate) fn some_of(names: &[String]) -> String {
    let mut text = names.iter().take(8).map(|n| cut(n)).collect::<Vec<_>>().join(", ");
    if names.len() > 8 {
        text.push_str(", ...");
    }
    if text.is_empty() { "none: the file has none".into() } else { text }
}
