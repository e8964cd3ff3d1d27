//! Findings: what a person should know beside the numbers.

/// How much a finding matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Level {
    /// A requirement is not met.
    Fail,
    /// The result may not be what was meant.
    Warn,
    /// Good to know.
    Note,
}

impl Level {
    /// The level's name in results: `fail`, `warn` or `note`.
    pub fn label(self) -> &'static str {
        match self {
            Level::Fail => "fail",
            Level::Warn => "warn",
            Level::Note => "note",
        }
    }
}

/// One thing found in a network or in its result.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    /// How much it matters.
    pub level: Level,
    /// Stable code, lower case with underscores.
    pub code: &'static str,
    /// Name of the item it is about; empty when it is about the whole network.
    pub item: String,
    /// One sentence for people.
    pub text: String,
}

impl Finding {
    /// A finding that the result may not be what was meant.
    pub fn warn(code: &'static str, item: &str, text: impl Into<String>) -> Self {
        Finding { level: Level::Warn, code, item: item.to_owned(), text: text.into() }
    }

    /// A finding that is good to know.
    pub fn note(code: &'static str, item: &str, text: impl Into<String>) -> Self {
        Finding { level: Level::Note, code, item: item.to_owned(), text: text.into() }
    }
}
