//! YAML text -> a tree in which every key and value knows its place.
//!
//! Built from parser events with an explicit stack: no recursion, bounded depth, and a budget of nodes that grows
//! with the size of the text, so that aliases cannot blow it up.

use std::collections::{HashMap, HashSet};

use saphyr_parser::{Event, Parser, ScalarStyle, Span};

use super::diagnostic::{Collector, Place, Source, Spot};

/// Deepest nesting that is read; the contract needs 7.
const DEEPEST: usize = 64;
/// No file has more nodes, whatever its size: bounds the memory.
const MOST_NODES: usize = 8_000_000;

/// A value and its place.
#[derive(Debug, Clone)]
pub(crate) struct Node {
    pub value: Value,
    pub spot: Spot,
}

/// What a value is in YAML.
#[derive(Debug, Clone)]
pub(crate) enum Value {
    /// Nothing written, or `~` or `null`.
    Nothing,
    /// Text.
    Scalar(String),
    /// `[a, b]` or `- a`.
    List(Vec<Node>),
    /// `{a: 1}` or `a: 1`.
    Map(Vec<Entry>),
}

/// A key with its value.
#[derive(Debug, Clone)]
pub(crate) struct Entry {
    pub key: String,
    pub spot: Spot,
    pub node: Node,
}

impl Value {
    /// What it is, for messages.
    pub fn name(&self) -> &'static str {
        match self {
            Value::Nothing => "nothing",
            Value::Scalar(_) => "a single value",
            Value::List(_) => "a list",
            Value::Map(_) => "a group of keys",
        }
    }
}

impl Node {
    /// Value of a key when this is a map.
    pub fn get(&self, key: &str) -> Option<&Node> {
        self.entries().iter().find(|e| e.key == key).map(|e| &e.node)
    }

    /// Entries when this is a map, otherwise none.
    pub fn entries(&self) -> &[Entry] {
        if let Value::Map(entries) = &self.value { entries } else { &[] }
    }

    /// Number of nodes in it, itself included.
    fn size(&self) -> usize {
        let mut count = 0;
        let mut stack = vec![self];
        while let Some(node) = stack.pop() {
            count += 1;
            match &node.value {
                Value::List(items) => stack.extend(items),
                Value::Map(entries) => stack.extend(entries.iter().map(|e| &e.node)),
                _ => {}
            }
        }
        count
    }

    /// Depth of nesting below it: 0 for a scalar.
    fn depth(&self) -> usize {
        let mut deepest = 0;
        let mut stack = vec![(self, 0)];
        while let Some((node, depth)) = stack.pop() {
            deepest = deepest.max(depth);
            match &node.value {
                Value::List(items) => stack.extend(items.iter().map(|n| (n, depth + 1))),
                Value::Map(entries) => stack.extend(entries.iter().map(|e| (&e.node, depth + 1))),
                _ => {}
            }
        }
        deepest
    }
}

/// A list or map that is still open.
struct Frame {
    anchor: usize,
    spot: Spot,
    value: Value,
    key: Option<(String, Spot)>,
}

/// Text of bytes: UTF-8 without control characters.
pub(crate) fn text_of(bytes: &[u8], out: &mut Collector) -> Option<String> {
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text,
        Err(error) => {
            let good = bytes.get(..error.valid_up_to()).unwrap_or(&[]);
            let byte = bytes.get(error.valid_up_to()).copied().unwrap_or(0);
            let (line, column) = count(std::str::from_utf8(good).unwrap_or(""));
            let spot = Spot { source: Source::File, place: Place { line, column, length: 1 } };
            let hint = "a YAML text file in UTF-8".to_string();
            out.add(
                "not_text",
                spot,
                format!("this is not UTF-8 text: byte 0x{byte:02x} cannot stand here"),
                Some(hint),
            );
            return None;
        }
    };
    is_text(text, Source::File, 1, out).then(|| text.to_string())
}

/// Line and column, from 1, of the end of a text.
fn count(text: &str) -> (u32, u32) {
    let line = text.matches('\n').count() + 1;
    let column = text.rsplit('\n').next().unwrap_or("").chars().count() + 1;
    (u32::try_from(line).unwrap_or(u32::MAX), u32::try_from(column).unwrap_or(u32::MAX))
}

/// Whether a text has no control characters besides tab and line ends.
fn is_text(text: &str, source: Source, column_of_text: u32, out: &mut Collector) -> bool {
    let bad = text
        .char_indices()
        .find(|(i, c)| (c.is_control() && !matches!(c, '\t' | '\n' | '\r' | '\u{85}')) || (*c == '\u{feff}' && *i > 0));
    let Some((at, c)) = bad else { return true };
    let (line, column) = count(text.get(..at).unwrap_or(""));
    let spot = Spot { source, place: Place { line, column: column + column_of_text - 1, length: 1 } };
    let message = format!("this is not text: the control character U+{:04X} cannot stand here", u32::from(c));
    out.add("not_text", spot, message, Some("a YAML text file in UTF-8".into()));
    false
}

/// Tree of one YAML document; `None` after an error that leaves nothing to go on with.
///
/// `column_of_text` is the column at which the text begins in its source (1 for a file).
pub(crate) fn read(text: &str, source: Source, column_of_text: u32, out: &mut Collector) -> Option<Node> {
    if !is_text(text, source, column_of_text, out) {
        return None;
    }
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let (shift, whole) = ((0, column_of_text.saturating_sub(1)), source == Source::File);
    Builder { source, shift, whole, nodes: 0, budget: budget(text.len()), out }.read(text)
}

/// The same of a value by itself, which stands at a line and column of its source.
pub(crate) fn value_at(text: &str, source: Source, (line, column): (u32, u32), out: &mut Collector) -> Option<Node> {
    if !is_text(text, source, column, out) {
        return None;
    }
    let shift = (line.saturating_sub(1), column.saturating_sub(1));
    Builder { source, shift, whole: false, nodes: 0, budget: budget(text.len()), out }.read(text)
}

/// Nodes that a text of this many bytes may have, aliases unfolded. Without aliases a text cannot reach it below
/// the fixed limit: every node needs two bytes.
fn budget(bytes: usize) -> usize {
    (20_000 + bytes / 2).min(MOST_NODES)
}

struct Builder<'o> {
    source: Source,
    /// Lines and columns before the text.
    shift: (u32, u32),
    /// Whether it is a whole network file.
    whole: bool,
    nodes: usize,
    budget: usize,
    out: &'o mut Collector,
}

impl Builder<'_> {
    fn spot(&self, span: Span) -> Spot {
        let line = u32::try_from(span.start.line()).unwrap_or(u32::MAX);
        let mut column = u32::try_from(span.start.col() + 1).unwrap_or(u32::MAX);
        if line == 1 {
            column = column.saturating_add(self.shift.1);
        }
        let line = line.saturating_add(self.shift.0);
        let length = u32::try_from(span.end.index().saturating_sub(span.start.index())).unwrap_or(u32::MAX);
        Spot { source: self.source, place: Place { line, column, length } }
    }

    fn spend(&mut self, nodes: usize, spot: Spot, alias: bool) -> bool {
        self.nodes = self.nodes.saturating_add(nodes);
        if self.nodes <= self.budget {
            return true;
        }
        let (message, hint) = if alias {
            ("the aliases of this file unfold to more than its size allows", "the values written out, or `grids`")
        } else {
            ("the file has too many values", "a smaller network, or `grids` for equal panels")
        };
        self.out.add("too_large", spot, message, Some(hint.into()));
        false
    }

    fn read(mut self, text: &str) -> Option<Node> {
        let mut parser = Parser::new_from_str(text);
        let mut stack: Vec<Frame> = Vec::new();
        let mut anchors: HashMap<usize, (Node, usize, usize)> = HashMap::new();
        let mut root: Option<Node> = None;
        let mut documents = 0;
        while let Some(event) = parser.next_event() {
            let (event, span) = match event {
                Ok(pair) => pair,
                Err(error) => {
                    self.syntax_error(text, &error);
                    return None;
                }
            };
            let spot = self.spot(span);
            let mut done: Option<(Node, usize)> = None;
            match event {
                Event::Nothing | Event::StreamStart | Event::StreamEnd | Event::DocumentEnd => {}
                Event::DocumentStart(_) => {
                    documents += 1;
                    if documents > 1 {
                        let hint = Some("one document a file: one network".to_string());
                        self.out.add("yaml_syntax", spot, "a second YAML document begins here", hint);
                        return None;
                    }
                }
                Event::Alias(anchor) => {
                    let Some((node, size, depth)) = anchors.get(&anchor) else {
                        self.out.add("yaml_syntax", spot, "this alias stands inside what it refers to", None);
                        return None;
                    };
                    let (size, too_deep) = (*size, stack.len() + depth > DEEPEST);
                    if too_deep {
                        self.too_deep(spot);
                        return None;
                    }
                    if !self.spend(size, spot, true) {
                        return None;
                    }
                    done = Some((node.clone(), 0));
                }
                Event::Scalar(text, style, anchor, tag) => {
                    self.no_tag(tag.is_some(), spot);
                    let quoted = style != ScalarStyle::Plain;
                    let value = if !quoted && matches!(text.as_ref(), "" | "~" | "null" | "Null" | "NULL") {
                        Value::Nothing
                    } else {
                        Value::Scalar(text.into_owned())
                    };
                    if !self.spend(1, spot, false) {
                        return None;
                    }
                    done = Some((Node { value, spot }, anchor));
                }
                Event::SequenceStart(anchor, ref tag) | Event::MappingStart(anchor, ref tag) => {
                    self.no_tag(tag.is_some(), spot);
                    let list = matches!(event, Event::SequenceStart(..));
                    if list && stack.is_empty() && self.whole {
                        let hint = Some("title, site, tanks, pipes, panels ...".to_string());
                        self.out.add("wrong_type", spot, "a network file is a group of keys, not a list", hint);
                        return None;
                    }
                    if stack.len() >= DEEPEST {
                        self.too_deep(spot);
                        return None;
                    }
                    if stack.last().is_some_and(|f| matches!(f.value, Value::Map(_)) && f.key.is_none()) {
                        let hint = Some("a name as the key; quotes where it holds [ ] { } or #".to_string());
                        self.out.add("key_not_text", spot, "a key must be text, this is a list or a group", hint);
                        return None;
                    }
                    if !self.spend(1, spot, false) {
                        return None;
                    }
                    let value = if list { Value::List(Vec::new()) } else { Value::Map(Vec::new()) };
                    stack.push(Frame { anchor, spot, value, key: None });
                }
                Event::SequenceEnd | Event::MappingEnd => {
                    if let Some(mut frame) = stack.pop() {
                        if let Value::Map(entries) = &mut frame.value {
                            self.drop_duplicates(entries);
                        }
                        if frame.spot.place.line == spot.place.line {
                            // A flow collection on one line: mark all of it.
                            frame.spot.place.length =
                                (spot.place.column + 1).saturating_sub(frame.spot.place.column).max(1);
                        } else {
                            frame.spot.place.length = 1;
                        }
                        done = Some((Node { value: frame.value, spot: frame.spot }, frame.anchor));
                    }
                }
            }
            let Some((node, anchor)) = done else { continue };
            if anchor != 0 {
                let (size, depth) = (node.size(), node.depth());
                anchors.insert(anchor, (node.clone(), size, depth));
                // The kept copy counts as well: anchors inside anchors copy again and again.
                if !self.spend(size, node.spot, true) {
                    return None;
                }
            }
            match stack.last_mut() {
                None => root = Some(node),
                Some(frame) => match (&mut frame.value, frame.key.take()) {
                    (Value::Map(entries), Some((key, spot))) => entries.push(Entry { key, spot, node }),
                    (Value::Map(_), None) => match node.value {
                        Value::Scalar(text) => frame.key = Some((text, node.spot)),
                        Value::Nothing => frame.key = Some((String::new(), node.spot)),
                        _ => {
                            self.out.add("key_not_text", node.spot, "a key must be text", None);
                            return None;
                        }
                    },
                    (Value::List(items), _) => items.push(node),
                    _ => {}
                },
            }
        }
        let root =
            root.unwrap_or(Node { value: Value::Nothing, spot: Spot { source: self.source, ..Spot::default() } });
        Some(root)
    }

    fn too_deep(&mut self, spot: Spot) {
        let message = format!("nested deeper than {DEEPEST} levels");
        self.out.add("too_deep", spot, message, Some("the sections and items of a network: 7 levels at most".into()));
    }

    fn no_tag(&mut self, tagged: bool, spot: Spot) {
        if tagged {
            let hint = Some("the value alone, in quotes if it must begin with !".to_string());
            self.out.add("yaml_tag", spot, "YAML tags (`!...`) have no meaning here", hint);
        }
    }

    /// Reports keys that stand twice and keeps the first of each.
    fn drop_duplicates(&mut self, entries: &mut Vec<Entry>) {
        let twice: Vec<bool> = if entries.len() < 12 {
            (0..entries.len()).map(|i| entries[..i].iter().any(|e| e.key == entries[i].key)).collect()
        } else {
            let mut seen = HashSet::with_capacity(entries.len());
            entries.iter().map(|e| !seen.insert(e.key.as_str())).collect()
        };
        if !twice.contains(&true) {
            return;
        }
        let mut first: HashMap<String, u32> = HashMap::new();
        for (entry, twice) in entries.iter().zip(&twice) {
            if !twice {
                first.insert(entry.key.clone(), entry.spot.place.line);
                continue;
            }
            let line = first.get(&entry.key).copied().unwrap_or(0);
            let message = format!("`{}` is written twice, first on line {line}", entry.key);
            self.out.add("duplicate_key", entry.spot, message, Some("each key once".into()));
        }
        let mut twice = twice.into_iter();
        entries.retain(|_| !twice.next().unwrap_or(false));
    }

    fn syntax_error(&mut self, text: &str, error: &saphyr_parser::ScanError) {
        let mark = *error.marker();
        let spot = self.spot(Span::empty(mark));
        let line = text.lines().nth(mark.line().saturating_sub(1)).unwrap_or("");
        let indent: String = line.chars().take_while(|c| c.is_whitespace()).collect();
        let hint = if indent.contains('\t') || error.info().contains("tab") {
            Some("spaces to indent: YAML takes no tabs there".to_string())
        } else {
            Some("`key: value`, groups indented by the same number of spaces, text with `: ` or ` #` in quotes".into())
        };
        self.out.add("yaml_syntax", spot, format!("this is not YAML: {}", error.info()), hint);
    }
}
