//! Diagnostics: what is wrong in a file, where, and what would be right.

/// Where in a text something stands; all counted in characters from 1.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Place {
    /// Line, from 1.
    pub line: u32,
    /// Column, from 1.
    pub column: u32,
    /// Length in characters; 0 marks a point.
    pub length: u32,
}

/// Which text a place is in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub enum Source {
    /// The network file.
    #[default]
    File,
    /// The text of the `--set` option with this index.
    Set(u32),
}

/// A place and the text it is in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Spot {
    /// Text.
    pub source: Source,
    /// Place in it.
    pub place: Place,
}

/// Which text a diagnostic is about, with the text of an option.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Origin {
    /// The network file.
    File,
    /// The `--set` option with this index, and its text.
    SetOption(usize, String),
}

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Diagnostic {
    /// Short fixed name of what is wrong, for programs.
    pub code: &'static str,
    /// What is wrong, for people.
    pub message: String,
    /// Where; `None` when it is about the file as a whole.
    pub place: Option<Place>,
    /// In which text.
    pub origin: Origin,
    /// What would be right.
    pub hint: Option<String>,
}

/// Collects diagnostics while a file is read.
#[derive(Debug, Default)]
pub(crate) struct Collector {
    found: Vec<(Option<Spot>, &'static str, String, Option<String>)>,
}

/// More than this many are not kept: nobody reads them, and memory stays bounded.
pub(crate) const KEPT: usize = 10_000;

impl Collector {
    /// Adds what is wrong at a spot.
    pub fn add(&mut self, code: &'static str, spot: Spot, message: impl Into<String>, hint: Option<String>) {
        if self.found.len() < KEPT {
            self.found.push((Some(spot), code, message.into(), hint));
        }
    }

    /// Adds what is wrong with the file as a whole.
    pub fn add_file(&mut self, code: &'static str, message: impl Into<String>, hint: Option<String>) {
        if self.found.len() < KEPT {
            self.found.push((None, code, message.into(), hint));
        }
    }

    /// Whether no more are kept: nothing is left to look for.
    pub fn is_full(&self) -> bool {
        self.found.len() >= KEPT
    }

    /// How many are kept.
    pub fn len(&self) -> usize {
        self.found.len()
    }

    /// Whether nothing is wrong.
    pub fn is_empty(&self) -> bool {
        self.found.is_empty()
    }

    /// All, in the order of the text and each once.
    pub fn finish(mut self, sets: &[String]) -> Vec<Diagnostic> {
        self.found.sort_by(|a, b| (a.0, &a.2).cmp(&(b.0, &b.2)));
        self.found.dedup();
        let origin = |spot: &Option<Spot>| match spot.map(|s| s.source) {
            Some(Source::Set(i)) => {
                let i = i as usize;
                Origin::SetOption(i, sets.get(i).cloned().unwrap_or_default())
            }
            _ => Origin::File,
        };
        self.found
            .into_iter()
            .map(|(spot, code, message, hint)| Diagnostic {
                code,
                message,
                place: spot.map(|s| s.place),
                origin: origin(&spot),
                hint,
            })
            .collect()
    }
}
