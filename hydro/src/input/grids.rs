//! Grids: rectangles of equal panels.

use super::tree::{Entry, Node, Value};
use crate::units::{Dimension, parse};

/// Size of a grid as the tree says it, before validation.
pub(crate) fn size_of(grid: &Node) -> Option<(u32, u32)> {
    let whole = |key: &str| {
        let Value::Scalar(text) = &grid.get(key)?.value else { return None };
        let value = parse(text, Dimension::Pure).ok()?.resolve(0.0);
        let most = f64::from(super::schema::MOST_LINES);
        (value.fract() == 0.0 && (1.0..=most).contains(&value)).then_some(value as u32)
    };
    Some((whole("columns")?, whole("rows")?))
}

/// Name of a panel.
pub(crate) fn panel_name(grid: &str, column: u32, row: u32) -> String {
    format!("{grid}-{column}-{row}")
}

/// Names of the crossovers of a panel: to the right, up.
pub(crate) fn crossover_names(panel: &str) -> [String; 2] {
    [format!("{panel}:right"), format!("{panel}:up")]
}

/// What a name stands for in a grid: the panel of a column and row, or the crossover from it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Part {
    Panel,
    Crossover,
}

/// The grid, among `grids`, in which a panel or crossover of this name lies.
pub(crate) fn find<'t>(grids: &'t [Entry], name: &str, part: Part) -> Option<&'t Entry> {
    let (panel, direction) = match (part, name.rsplit_once(':')) {
        (Part::Panel, _) => (name, None),
        (Part::Crossover, Some((panel, direction @ ("right" | "up")))) => (panel, Some(direction)),
        (Part::Crossover, _) => return None,
    };
    let (rest, row) = panel.rsplit_once('-')?;
    let (grid, column) = rest.rsplit_once('-')?;
    let number = |text: &str| -> Option<u32> {
        let plain = text.bytes().all(|b| b.is_ascii_digit()) && !text.starts_with('0');
        if plain { text.parse().ok() } else { None }
    };
    let (column, row) = (number(column)?, number(row)?);
    let entry = grids.iter().find(|e| e.key == grid)?;
    let (columns, rows) = size_of(&entry.node)?;
    let (last_column, last_row) = match direction {
        Some("right") => (columns - 1, rows),
        Some(_) => (columns, rows - 1),
        None => (columns, rows),
    };
    (column <= last_column && row <= last_row).then_some(entry)
}

/// Names of all panels, or all crossovers, of the grids.
pub(crate) fn names(grids: &[Entry], part: Part) -> impl Iterator<Item = String> + '_ {
    grids.iter().flat_map(move |entry| {
        let (columns, rows) = size_of(&entry.node).unwrap_or((0, 0));
        (1..=rows).flat_map(move |row| {
            (1..=columns).flat_map(move |column| {
                let panel = panel_name(&entry.key, column, row);
                let mut list = Vec::with_capacity(2);
                match part {
                    Part::Panel => list.push(panel),
                    Part::Crossover => {
                        let [right, up] = crossover_names(&panel);
                        list.extend((column < columns).then_some(right));
                        list.extend((row < rows).then_some(up));
                    }
                }
                list
            })
        })
    })
}
