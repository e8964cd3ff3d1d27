//! The block `set`: changes that a file carries itself, as `--set` gives them, and a file with more of them.

use super::diagnostic::Spot;
use super::tree::{Node, Value};

/// Entries of the block `set`, each with its place; what is no text is left to the validation.
pub(super) fn entries(root: &Node) -> Vec<(String, Spot)> {
    let Some(Node { value: Value::List(items), .. }) = root.get("set") else { return Vec::new() };
    let text = |node: &Node| match &node.value {
        Value::Scalar(text) => Some((text.clone(), node.spot)),
        _ => None,
    };
    items.iter().filter_map(text).collect()
}

/// The text without its blocks `spread` and `set`, and with a block `set` of these options; all else as it is, comments
/// included.
///
/// # Errors
/// In words, where the sections of the file do not begin at the beginning of a line each.
pub(super) fn with(text: &str, root: &Node, options: &[String]) -> Result<String, String> {
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    let mut keep = vec![true; lines.len()];
    let starts: Vec<usize> = root.entries().iter().map(|entry| entry.spot.place.line as usize).collect();
    if root.entries().iter().any(|entry| entry.spot.place.column != 1) {
        return Err("the sections of the file do not begin at the beginning of a line each: write them so".into());
    }
    for (entry, &start) in root.entries().iter().zip(&starts) {
        if !matches!(entry.key.as_str(), "spread" | "set") {
            continue;
        }
        let next = starts.iter().copied().filter(|&line| line > start).min().unwrap_or(lines.len() + 1);
        let own = lines.iter().enumerate().take(next - 1).skip(start - 1);
        // Comments and empty lines at its end belong to what follows.
        let last =
            own.filter(|(_, line)| !line.trim().is_empty() && !line.starts_with('#')).map(|(k, _)| k).next_back();
        if let Some(last) = last {
            keep.iter_mut().take(last + 1).skip(start - 1).for_each(|keep| *keep = false);
        }
    }
    let mut written: String = lines.iter().zip(&keep).filter(|(_, keep)| **keep).map(|(line, _)| *line).collect();
    if !options.is_empty() {
        if !written.ends_with('\n') {
            written.push('\n');
        }
        written.push_str("set:\n");
        for option in options {
            written += &format!("  - '{}'\n", option.replace('\'', "''"));
        }
    }
    Ok(written)
}
