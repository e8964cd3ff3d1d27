//! Input: one YAML network file -> [`Network`], or everything that is wrong with it.
//!
//! Text -> tree with places (`tree`) -> changes by `--set` (`set`) -> validation by the one table of keys
//! ([`schema`], `validate`) -> references, defaults and checks between keys (`resolve`).

pub mod diagnostic;
mod files;
mod grids;
pub mod json_schema;
mod load;
pub mod manual;
mod names;
mod not_computed;
mod pattern;
mod render;
mod resolve;
pub mod schema;
mod set;
pub mod spread;
pub mod study;
mod template;
mod tree;
mod validate;
pub mod varied;
pub mod vary;
mod written;

use std::io::Read;
use std::path::Path;

use crate::finding::Finding;
use crate::network::Network;

pub use diagnostic::{Diagnostic, Origin, Place};
pub use files::FileReader;
pub(crate) use pattern::fits;
pub use study::Studies;
pub use template::Template;

/// Largest file that is read, bytes.
const LARGEST_FILE: u64 = 64 << 20;

/// What a file says.
#[derive(Debug, Clone, PartialEq)]
pub struct Input {
    /// The network.
    pub network: Network,
    /// What the reader has to say about it, weightiest first.
    pub findings: Vec<Finding>,
    /// What it says of studies of many variants.
    pub studies: Studies,
}

/// A file that could not be read as a network, with everything that is wrong.
#[derive(Debug, Clone, PartialEq)]
pub struct Rejected {
    /// Name of the file, as in the messages.
    pub name: String,
    /// What is wrong, in the order of the file.
    pub diagnostics: Vec<Diagnostic>,
    excerpts: Vec<Option<render::Excerpt>>,
}

impl Rejected {
    /// The diagnostics as text: `FILE:LINE:COLUMN: what is wrong`, the line, a mark, and what would be right.
    pub fn render(&self) -> String {
        render::render(&self.name, &self.diagnostics, &self.excerpts)
    }

    fn whole_file(name: String, code: &'static str, message: String, hint: &str) -> Rejected {
        let diagnostic = Diagnostic { code, message, place: None, origin: Origin::File, hint: Some(hint.to_string()) };
        Rejected { name, diagnostics: vec![diagnostic], excerpts: vec![None] }
    }
}

impl std::fmt::Display for Rejected {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.render())
    }
}

impl std::error::Error for Rejected {}

/// The network of a file, changed by the options `sets` (`PATH=VALUE`).
///
/// # Errors
/// Everything that is wrong with the file and the options, at once; also when the file cannot be read.
pub fn read_file(path: &Path, sets: &[String]) -> Result<Input, Rejected> {
    Template::read_file(path, sets)?.into_input()
}

/// Text of a file, UTF-8 and no larger than 64 MiB.
fn text_of_file(path: &Path, sets: &[String]) -> Result<String, Rejected> {
    let name = path.display().to_string();
    let failed = |message: String, hint: &str| Rejected::whole_file(name.clone(), "cannot_read", message, hint);
    let file = std::fs::File::open(path)
        .map_err(|e| failed(format!("cannot open the file: {e}"), "the path of a network file"))?;
    if file.metadata().is_ok_and(|m| m.is_dir()) {
        return Err(failed("this is a directory".into(), "the path of a network file"));
    }
    let bytes = all_of(file).map_err(|e| failed(format!("cannot read the file: {e}"), "the path of a network file"))?;
    let Some(bytes) = bytes else {
        return Err(failed("the file is larger than 64 MiB".into(), "a smaller file: `grids` for equal panels"));
    };
    let mut out = diagnostic::Collector::default();
    tree::text_of(&bytes, &mut out).ok_or_else(|| {
        let diagnostics = out.finish(sets);
        let excerpts = vec![None; diagnostics.len()];
        Rejected { name, diagnostics, excerpts }
    })
}

/// Reads a file beside the network file: in its folder, where there is one.
fn beside(folder: Option<&Path>, named: &Path) -> std::io::Result<Vec<u8>> {
    let folder = folder.ok_or_else(|| std::io::Error::other("this text has no folder to look in"))?;
    let bytes = all_of(std::fs::File::open(folder.join(named))?)?;
    bytes.ok_or_else(|| std::io::Error::other("it is larger than 64 MiB"))
}

/// All bytes of a file; `None` where it is larger than [`LARGEST_FILE`].
fn all_of(file: std::fs::File) -> std::io::Result<Option<Vec<u8>>> {
    let mut bytes = Vec::new();
    file.take(LARGEST_FILE + 1).read_to_end(&mut bytes)?;
    Ok((bytes.len() as u64 <= LARGEST_FILE).then_some(bytes))
}

/// The network of a text; `name` stands for the file in messages. Files that it names cannot be read: see
/// [`read_text_with`].
///
/// # Errors
/// As [`read_file`].
///
/// # Example
/// ```
/// let text = "
/// site: {ambient_pressure: 101.325 kPa(a), water_temperature: 18 degC}
/// tanks: {t: {volume: 2 m3, diameter: 1 m, bottom: 3 m, filled: 80 %, pressure: 2 bar}}
/// ";
/// let rejected = hydro::input::read_text("net.yaml", text, &[]).unwrap_err();
/// assert!(rejected.render().starts_with("net.yaml:3:79: `pressure`: `2 bar` does not say whether"));
/// ```
pub fn read_text(name: &str, text: &str, sets: &[String]) -> Result<Input, Rejected> {
    Template::read_text(name, text, sets)?.into_input()
}

/// The network of a text; `files` reads the files that it names, by their path relative to the network file.
///
/// # Errors
/// As [`read_file`].
pub fn read_text_with(name: &str, text: &str, sets: &[String], files: &mut FileReader<'_>) -> Result<Input, Rejected> {
    Template::read_text(name, text, sets)?.into_input_with(files)
}
