//! A measured record: CSV with a header `SECTION.ITEM.QUANTITY [unit]`, one row a time, gaps left empty.

use crate::result::Series;
use crate::units::{self, Dimension, cut};

/// A measured column.
#[derive(Debug, Clone, PartialEq)]
pub struct Column {
    /// Section, item and quantity, as in the header.
    pub name: String,
    /// What it measures.
    pub dimension: Dimension,
    /// What of a run it is compared with.
    source: Source,
    /// Index of the time, and value, SI; without the gaps.
    pub values: Vec<(usize, f64)>,
}

/// A measured record.
#[derive(Debug, Clone, PartialEq)]
pub struct Record {
    /// Times, s, not falling.
    pub time: Vec<f64>,
    /// Columns.
    pub columns: Vec<Column>,
}

/// A series of a run.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Source {
    Tank(usize, Part),
    Bank(usize, Part),
    GasHeader(usize, Part),
    GasValve(usize),
    Panel(usize),
    Passage(usize),
    Pressure(usize),
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Part {
    Pressure,
    Water,
    Temperature,
    Outflow,
    Mass,
}

/// What is wrong with a record: line and column from 1, and words.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{line}:{column}: {text}")]
pub struct RecordError {
    /// Line, from 1.
    pub line: u64,
    /// Column of the table, from 1.
    pub column: usize,
    /// What is wrong and what would be right.
    pub text: String,
}

impl Source {
    fn of(self, series: &Series) -> Option<&[f64]> {
        match self {
            Source::Tank(k, part) => series.tanks.get(k).map(|tank| match part {
                Part::Water => tank.water.as_slice(),
                Part::Temperature => &tank.gas_temperature,
                Part::Outflow => &tank.outflow,
                _ => &tank.pressure,
            }),
            Source::Bank(k, part) | Source::GasHeader(k, part) => {
                let list = if matches!(self, Source::Bank(..)) { &series.gas_banks } else { &series.gas_headers };
                list.get(k).map(|vessel| match part {
                    Part::Temperature => vessel.temperature.as_slice(),
                    Part::Mass => &vessel.mass,
                    _ => &vessel.pressure,
                })
            }
            Source::GasValve(k) => series.gas_valves.get(k).map(|s| s.flow.as_slice()),
            Source::Panel(k) => series.panels.get(k).map(|s| s.flow.as_slice()),
            Source::Passage(k) => series.passages.get(k).map(|s| s.flow.as_slice()),
            Source::Pressure(k) => series.pressures.get(k).map(|s| s.pressure.as_slice()),
        }
    }

    /// The series that a name means, with its dimension; `series` is of any run of the file.
    fn named(name: &str, series: &Series) -> Option<(Source, Dimension)> {
        let (section, rest) = name.split_once('.')?;
        let (item, quantity) = rest.rsplit_once('.')?;
        let flow = |list: &[crate::result::FlowSeries]| list.iter().position(|s| s.name == item);
        let vessel = |list: &[crate::result::GasVesselSeries]| list.iter().position(|s| s.name == item);
        let gas = match quantity {
            "pressure" => Some((Part::Pressure, Dimension::Pressure)),
            "temperature" => Some((Part::Temperature, Dimension::Temperature)),
            "mass" => Some((Part::Mass, Dimension::Mass)),
            _ => None,
        };
        match (section, quantity) {
            ("tanks", _) => {
                let (part, dimension) = match quantity {
                    "pressure" => (Part::Pressure, Dimension::Pressure),
                    "water" => (Part::Water, Dimension::Volume),
                    "gas_temperature" => (Part::Temperature, Dimension::Temperature),
                    "outflow" => (Part::Outflow, Dimension::VolumeFlow),
                    _ => return None,
                };
                Some((Source::Tank(series.tanks.iter().position(|t| t.name == item)?, part), dimension))
            }
            ("gas_banks", _) => gas.and_then(|(p, d)| Some((Source::Bank(vessel(&series.gas_banks)?, p), d))),
            ("gas_headers", _) => gas.and_then(|(p, d)| Some((Source::GasHeader(vessel(&series.gas_headers)?, p), d))),
            ("gas_valves", "flow") => Some((Source::GasValve(flow(&series.gas_valves)?), Dimension::MassFlow)),
            ("panels", "flow") => Some((Source::Panel(flow(&series.panels)?), Dimension::VolumeFlow)),
            ("pipes" | "valves" | "weir_pipes" | "crossovers", "flow") => {
                Some((Source::Passage(flow(&series.passages)?), Dimension::VolumeFlow))
            }
            ("panels" | "headers", "pressure") => {
                let found = series.pressures.iter().position(|s| s.name == item)?;
                Some((Source::Pressure(found), Dimension::Pressure))
            }
            _ => None,
        }
    }
}

impl Column {
    /// Values of a run at some times, linear between its rows, at either end as there. Where the run ends with a jump its
    /// end is before it: a flow that stops with the last water says nothing of the flow that a longer run would have.
    pub fn of_run(&self, series: &Series, times: impl Iterator<Item = f64>) -> Option<Vec<f64>> {
        let values = self.source.of(series)?;
        let last = series.time.last().copied().unwrap_or(0.0);
        let end = series.time.partition_point(|&t| t < last);
        times
            .map(|time| {
                let after = series.time.partition_point(|&t| t < time).min(end).max(1);
                let (t, v) = (series.time.get(after - 1..=after)?, values.get(after - 1..=after)?);
                let share = if t[1] > t[0] { ((time - t[0]) / (t[1] - t[0])).clamp(0.0, 1.0) } else { 1.0 };
                Some(v[0] + share * (v[1] - v[0]))
            })
            .collect()
    }
}

impl Record {
    /// The record of a CSV text; `series` are those of any run of the file. `wanted` are the columns to use, `QUANTITY` or
    /// `QUANTITY=NAME IN THE RECORD`; where it is empty all are.
    ///
    /// # Errors
    /// The first thing that is wrong.
    pub fn read(text: &[u8], series: &Series, ambient_pressure: f64, wanted: &[String]) -> Result<Record, RecordError> {
        let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(text);
        let broken = |error: csv::Error| {
            let line = error.position().map_or(1, csv::Position::line);
            RecordError { line, column: 1, text: format!("this is no table: {error}") }
        };
        let headers = reader.headers().map_err(broken)?.clone();
        let mut columns: Vec<Column> = Vec::new();
        let mut units = Vec::new();
        let wanted: Vec<(&str, &str)> = (wanted.iter())
            .map(|text| text.split_once('=').map_or((text.trim(), text.trim()), |(q, name)| (q.trim(), name.trim())))
            .collect();
        // Which column of those used each of the table is.
        let mut uses: Vec<Option<usize>> = Vec::new();
        for (k, header) in headers.iter().enumerate() {
            let wrong = |text: String| RecordError { line: 1, column: k + 1, text };
            let own = header.rsplit_once('[').map_or(header, |(name, _)| name).trim();
            let chosen = wanted.iter().find(|(_, name)| *name == own || *name == header);
            if k > 0 && !wanted.is_empty() && chosen.is_none() {
                units.push(String::new());
                uses.push(None);
                continue;
            }
            let named = header.strip_suffix(']').and_then(|h| h.rsplit_once('['));
            let Some((name, unit)) = named.map(|(name, unit)| (name.trim(), unit.trim().to_string())) else {
                return Err(wrong(format!(
                    "`{}` has no unit; would be right: tanks.NAME.pressure [bar(g)]",
                    cut(header)
                )));
            };
            if k == 0 {
                if name != "time" {
                    return Err(wrong(format!("the first column is `{}`; would be right: time [s]", cut(name))));
                }
            } else {
                let name = chosen.map_or(name, |(quantity, _)| quantity);
                if columns.iter().any(|column| column.name == name) {
                    return Err(wrong(format!("`{}` is there twice; would be right: once", cut(name))));
                }
                let Some((source, dimension)) = Source::named(name, series) else {
                    let right = "tanks.NAME.pressure, .water, .gas_temperature or .outflow, gas_banks.NAME.pressure, \
                                 headers.NAME.pressure, panels.NAME.flow or .pressure, pipes.NAME.flow, gas_valves.NAME.flow";
                    return Err(wrong(format!("nothing of the file is `{}`; would be right: {right}", cut(name))));
                };
                columns.push(Column { name: name.to_string(), dimension, source, values: Vec::new() });
            }
            units.push(unit);
            uses.push(columns.len().checked_sub(1));
        }
        for (quantity, name) in &wanted {
            if !columns.iter().any(|column| column.name == *quantity) {
                let there: Vec<&str> = headers.iter().skip(1).take(8).collect();
                let text = format!("no column is named `{}`; there are {}", cut(name), cut(&there.join(", ")));
                return Err(RecordError { line: 1, column: 1, text });
            }
        }
        let mut time: Vec<f64> = Vec::new();
        for row in reader.records() {
            let row = row.map_err(broken)?;
            let line = row.position().map_or(1, csv::Position::line);
            for (k, cell) in row.iter().enumerate() {
                let used = uses.get(k).copied().flatten().filter(|_| k > 0);
                if used.is_none() && k > 0 {
                    continue;
                }
                let dimension = used.map_or(Dimension::Time, |used| columns[used].dimension);
                if cell.is_empty() && k > 0 {
                    continue;
                }
                let wrong = |text: String| RecordError { line, column: k + 1, text };
                let value = units::parse(&format!("{cell} {}", units[k]), dimension)
                    .map_err(|error| wrong(format!("{error}; would be right: a number, or nothing for a gap")))?
                    .resolve(ambient_pressure);
                if let Some(used) = used {
                    columns[used].values.push((time.len() - 1, value));
                } else if time.last().is_some_and(|last| value < *last) {
                    return Err(wrong("the times fall; would be right: rows in the order of time".into()));
                } else {
                    time.push(value);
                }
            }
        }
        Ok(Record { time, columns })
    }
}
