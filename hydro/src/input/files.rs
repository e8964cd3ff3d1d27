//! Files that a network file names, read by whoever holds the files.

use std::collections::BTreeMap;
use std::path::{Component, Path};

use crate::units::{Dimension, cut, parse};

/// Reads a file that a network file names, given as a path relative to the network file.
pub type FileReader<'a> = dyn FnMut(&Path) -> std::io::Result<Vec<u8>> + 'a;

/// Most points of a grid.
const MOST_POINTS: usize = 1_000_000;
/// Most faults that are reported of one file.
const MOST_FAULTS: usize = 20;

/// What is wrong with a file.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Fault {
    pub message: String,
    pub hint: String,
}

/// Values on a grid.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Grid {
    /// Rising positions along x, m.
    pub x: Vec<f64>,
    /// Rising positions along y, m.
    pub y: Vec<f64>,
    /// SI, row by row of y.
    pub value: Vec<f64>,
}

/// Files read so far.
pub(crate) struct Files<'a> {
    read: Box<FileReader<'a>>,
    grids: BTreeMap<(String, String), Result<Grid, Vec<Fault>>>,
}

impl<'a> Files<'a> {
    /// Files that `read` reads.
    pub fn new(read: impl FnMut(&Path) -> std::io::Result<Vec<u8>> + 'a) -> Self {
        Files { read: Box::new(read), grids: BTreeMap::new() }
    }

    /// The grid of a CSV file with values of a dimension; each file is read once.
    pub(super) fn grid(&mut self, file: &str, dimension: Dimension, ambient: f64) -> Result<&Grid, Vec<Fault>> {
        let key = (file.to_string(), dimension.name().to_string());
        if !self.grids.contains_key(&key) {
            let grid = self.text(file).and_then(|text| grid(file, &text, dimension, ambient));
            self.grids.insert(key.clone(), grid);
        }
        match self.grids.get(&key) {
            Some(Ok(grid)) => Ok(grid),
            Some(Err(faults)) => Err(faults.clone()),
            None => Err(Vec::new()),
        }
    }

    /// Text of a file.
    fn text(&mut self, file: &str) -> Result<String, Vec<Fault>> {
        let fault = |message: String, hint: &str| vec![Fault { message, hint: hint.to_string() }];
        let path = Path::new(file);
        let inside = path.components().all(|part| matches!(part, Component::Normal(_) | Component::CurDir));
        if !inside || file.trim().is_empty() {
            let message = format!("`{}` is not a file beside the network file", cut(file));
            return Err(fault(message, "a file in the folder of the network file, such as plume.csv"));
        }
        let bytes = (self.read)(path)
            .map_err(|error| fault(format!("cannot read `{}`: {error}", cut(file)), "the name of a CSV file"))?;
        String::from_utf8(bytes).map_err(|error| {
            let at = error.utf8_error().valid_up_to();
            fault(format!("`{}` is not text: byte {at} is not UTF-8", cut(file)), "a CSV file in UTF-8")
        })
    }
}

/// What the columns must be.
fn header_hint(dimension: Dimension) -> String {
    let unit = dimension.usual_units().get(1).or(dimension.usual_units().first()).unwrap_or(&"");
    format!("a header `x [m], y [m], value [{unit}]`")
}

/// Reads a grid: header `x [unit], y [unit], NAME [unit]`, then a row for each point of the grid.
fn grid(file: &str, text: &str, dimension: Dimension, ambient: f64) -> Result<Grid, Vec<Fault>> {
    let file = cut(file);
    let mut reader = csv::ReaderBuilder::new()
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .flexible(true)
        .from_reader(text.trim_start_matches('\u{feff}').as_bytes());
    let whole = |message: String, hint: String| vec![Fault { message, hint }];
    let header = reader.headers().map_err(|error| whole(format!("`{file}`: {error}"), header_hint(dimension)))?.clone();
    let columns: Vec<Option<(&str, &str)>> = header.iter().map(column).collect();
    let [Some(("x", x_unit)), Some(("y", y_unit)), Some((_, unit))] = columns.as_slice() else {
        let written = header.iter().collect::<Vec<_>>().join(", ");
        let message = format!("`{file}`, line 1: the header is `{}`", cut(&written));
        return Err(whole(message, header_hint(dimension)));
    };
    let kinds = [("x", x_unit, Dimension::Length), ("y", y_unit, Dimension::Length), ("value", unit, dimension)];
    let mut faults = Vec::new();
    let mut points: Vec<([f64; 3], u64)> = Vec::new();
    for record in reader.records() {
        if faults.len() >= MOST_FAULTS {
            break;
        }
        let record = match record {
            Ok(record) => record,
            Err(error) => {
                faults.extend(whole(format!("`{file}`: {error}"), "three numbers a line".into()));
                break;
            }
        };
        let line = record.position().map_or(0, csv::Position::line);
        if record.len() != 3 {
            let message = format!("`{file}`, line {line}: {} values", record.len());
            faults.push(Fault { message, hint: "three: x, y and the value".into() });
            continue;
        }
        let mut numbers = [0.0; 3];
        for ((number, cell), (name, unit, dimension)) in numbers.iter_mut().zip(&record).zip(kinds) {
            match parse(&format!("{cell} {unit}"), dimension) {
                Ok(quantity) => *number = quantity.resolve(ambient),
                Err(error) => {
                    let message = format!("`{file}`, line {line}, {name}: {error}");
                    faults.push(Fault { message, hint: error.hint(dimension) });
                }
            }
        }
        if points.len() >= MOST_POINTS {
            return Err(whole(format!("`{file}` has more points than can be held"), format!("at most {MOST_POINTS}")));
        }
        points.push((numbers, line));
    }
    if faults.is_empty() { arrange(&file, points).map_err(|fault| vec![fault]) } else { Err(faults) }
}

/// Name and unit of a column: `x [m]`.
fn column(header: &str) -> Option<(&str, &str)> {
    let (name, rest) = header.split_once('[')?;
    let unit = rest.trim_end().strip_suffix(']')?;
    Some((name.trim(), unit.trim()))
}

/// Points in order: each pair of an x and a y must be there once.
fn arrange(file: &str, points: Vec<([f64; 3], u64)>) -> Result<Grid, Fault> {
    let axis = |k: usize| {
        let mut all: Vec<f64> = points.iter().map(|(point, _)| point[k]).collect();
        all.sort_by(f64::total_cmp);
        all.dedup();
        all
    };
    let (x, y) = (axis(0), axis(1));
    let hint = "one row for each x with each y".to_string();
    if points.is_empty() {
        return Err(Fault { message: format!("`{file}` holds no points"), hint });
    }
    if x.len().saturating_mul(y.len()) > MOST_POINTS {
        let message = format!("`{file}`: {} values of x and {} of y make no grid", x.len(), y.len());
        return Err(Fault { message, hint });
    }
    let mut value: Vec<Option<f64>> = vec![None; x.len() * y.len()];
    for ([px, py, at], line) in points {
        let place = |list: &[f64], position: f64| list.partition_point(|&other| other < position);
        let Some(slot) = value.get_mut(place(&y, py) * x.len() + place(&x, px)) else { continue };
        if slot.replace(at).is_some() {
            let message = format!("`{file}`, line {line}: the point x = {px} m, y = {py} m is there twice");
            return Err(Fault { message, hint });
        }
    }
    if let Some(k) = value.iter().position(Option::is_none) {
        let (px, py) = (x.get(k % x.len()), y.get(k / x.len()));
        let (px, py) = (px.copied().unwrap_or_default(), py.copied().unwrap_or_default());
        let message = format!("`{file}`: the point x = {px} m, y = {py} m is missing");
        return Err(Fault { message, hint });
    }
    Ok(Grid { x, y, value: value.into_iter().flatten().collect() })
}
