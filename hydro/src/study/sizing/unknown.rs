//! Unknowns: a path with bounds, looked at on a lattice of values that are short as text.

use crate::input::schema::{self, Type};
use crate::result::SizedUnknown;
use crate::units::{self, Dimension, UnitError};

/// Steps that a continuous unknown has at least, and at most ten times as many.
const STEPS: f64 = 1e4;
/// Steps that any unknown may have.
const MOST_STEPS: f64 = 1e7;

/// Why an unknown cannot be used.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum UnknownError {
    /// It is not written as it must be.
    #[error("`{0}` is no unknown: PATH=LOW..HIGH UNIT, such as tanks.*.pressure=6..16 bar(g)")]
    Form(String),
    /// The path leads to no key, or to one that is no quantity.
    #[error("`{0}` is no quantity of a network file that can be varied")]
    Path(String),
    /// A bound is not what it must be.
    #[error("`{text}`: {error}; {hint}")]
    Value {
        /// As written.
        text: String,
        /// What is wrong.
        error: UnitError,
        /// What would be right.
        hint: String,
    },
    /// The bounds leave nothing to vary.
    #[error("`{0}`: the lower bound must be below the upper one, a step above 0 and no longer than they are apart")]
    Empty(String),
    /// A count with a fraction.
    #[error("`{0}` is a count: its bounds and step are whole numbers")]
    NotWhole(String),
    /// There are too many values.
    #[error("`{0}` has more than 10000000 values: a larger step")]
    TooMany(String),
}

/// An unknown on its lattice: position 0 is the easiest value, `steps` the hardest.
#[derive(Debug, Clone, PartialEq)]
pub struct Unknown {
    /// As it is reported.
    pub sized: SizedUnknown,
    /// Number of steps between the bounds.
    pub steps: u64,
    dimension: Dimension,
    decimals: usize,
    greatest: bool,
}

impl Unknown {
    /// Reads `PATH=LOW..HIGH UNIT [step SIZE]`. With `greatest` the position 0 is the upper bound.
    ///
    /// # Errors
    /// [`UnknownError`].
    pub fn read(text: &str, greatest: bool) -> Result<Unknown, UnknownError> {
        let form = || UnknownError::Form(text.to_string());
        let (path, range) = split_path(text).ok_or_else(form)?;
        let (low, rest) = range.split_once("..").ok_or_else(form)?;
        let (high, step) = rest.split_once(" step ").map_or((rest, None), |(high, step)| (high, Some(step)));
        let (low, low_unit) = number(low).ok_or_else(form)?;
        let (high, unit) = number(high).ok_or_else(form)?;
        let step = step.map(|step| number(step).ok_or_else(form)).transpose()?;
        let foreign = |other: &str| !other.is_empty() && other != unit;
        if foreign(low_unit) || step.is_some_and(|(_, other)| foreign(other)) {
            return Err(form());
        }
        let key = schema::key_of_path(path).ok_or_else(|| UnknownError::Path(path.to_string()))?;
        let (dimension, count) = match key.ty {
            Type::Count(..) => (Dimension::Pure, true),
            Type::Value(dimension, _) | Type::ValueOr(dimension, _, _) | Type::Table(dimension, _) => {
                (dimension, false)
            }
            Type::Absolute(_) => (Dimension::Pressure, false),
            _ => return Err(UnknownError::Path(path.to_string())),
        };
        let span = high.0 - low.0;
        let step = match step {
            Some((step, _)) => step,
            None if count => (1.0, 0),
            None => {
                let decimals = (STEPS / span).log10().ceil().clamp(0.0, 15.0) as usize;
                (10f64.powi(-(decimals as i32)).min(span), decimals)
            }
        };
        if !(span > 0.0 && step.0 > 0.0 && step.0 <= span * (1.0 + 1e-9)) {
            return Err(UnknownError::Empty(text.to_string()));
        }
        let whole = |value: f64| value.fract() == 0.0;
        if count && !(whole(low.0) && whole(high.0) && whole(step.0)) {
            return Err(UnknownError::NotWhole(text.to_string()));
        }
        let steps = (span / step.0 + 1e-9).floor();
        if steps > MOST_STEPS {
            return Err(UnknownError::TooMany(text.to_string()));
        }
        let (path, unit) = (path.to_string(), unit.to_string());
        let sized = SizedUnknown { path, unit, low: low.0, high: high.0, step: step.0, count };
        let decimals = low.1.max(step.1).max(high.1);
        let unknown = Unknown { sized, steps: steps as u64, dimension, decimals, greatest };
        for position in [0, unknown.steps] {
            unknown.parsed(position).map_err(|error| UnknownError::Value {
                text: text.to_string(),
                hint: error.hint(dimension),
                error,
            })?;
        }
        Ok(unknown)
    }

    /// The value at a position as it is written, without its unit.
    fn digits(&self, position: u64) -> String {
        let index = if self.greatest { self.steps.saturating_sub(position) } else { position };
        let value = self.sized.low + index.min(self.steps) as f64 * self.sized.step;
        format!("{value:.*}", self.decimals)
    }

    /// The value at a position, in the unit of the bounds.
    pub fn value(&self, position: u64) -> f64 {
        self.digits(position).parse().unwrap_or(f64::NAN)
    }

    fn text(&self, position: u64) -> String {
        format!("{} {}", self.digits(position), self.sized.unit).trim_end().to_string()
    }

    fn parsed(&self, position: u64) -> Result<units::Quantity, UnitError> {
        units::parse(&self.text(position), self.dimension)
    }

    /// The value at a position, SI.
    pub fn si(&self, position: u64, ambient_pressure: f64) -> f64 {
        self.parsed(position).map_or(f64::NAN, |quantity| quantity.resolve(ambient_pressure))
    }

    /// The option that sets the value at a position.
    pub fn set(&self, position: u64) -> String {
        format!("{}={}", self.sized.path, self.text(position))
    }

    /// Step that is still worth a difference.
    pub fn small(&self) -> u64 {
        (self.steps / 1000).max(1)
    }
}

/// Path and value of an option, split at the first `=` outside quotes.
pub fn split_path(text: &str) -> Option<(&str, &str)> {
    let mut quoted = false;
    let at = text.char_indices().find_map(|(at, c)| {
        quoted ^= c == '"';
        (c == '=' && !quoted).then_some(at)
    })?;
    Some((text.get(..at)?.trim(), text.get(at + 1..)?.trim()))
}

/// A number with its count of decimals, and the unit behind it.
fn number(text: &str) -> Option<((f64, usize), &str)> {
    let text = text.trim();
    let end = text.find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | '-' | '+'))).unwrap_or(text.len());
    let (digits, unit) = (text.get(..end)?, text.get(end..)?.trim());
    let value: f64 = digits.parse().ok()?;
    let decimals = digits.split_once('.').map_or(0, |(_, after)| after.len().min(15));
    value.is_finite().then_some(((value, decimals), unit))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_are_short_texts_on_a_lattice() {
        let p = Unknown::read("tanks.*.pressure=6..16 bar(g)", false).unwrap();
        assert_eq!(
            (p.steps, p.set(0), p.set(10_000)),
            (10_000, "tanks.*.pressure=6.000 bar(g)".into(), "tanks.*.pressure=16.000 bar(g)".into())
        );
        assert!((p.si(3_500, 1e5) - 10.5e5).abs() < 1e-6);
        let n = Unknown::read("gas_valves.gv.open=1..12", false).unwrap();
        assert_eq!((n.steps, n.set(4), n.sized.count), (11, "gas_valves.gv.open=5".into(), true));
        let b = Unknown::read("pipes.\"a=b.c\".bore = 100 mm..400 mm step 25", false).unwrap();
        assert_eq!((b.steps, b.set(1)), (12, "pipes.\"a=b.c\".bore=125 mm".into()));
        let most = Unknown::read("panels.*.plugged=0..50 % step 0.5", true).unwrap();
        assert_eq!((most.value(0), most.value(100), most.set(1)), (50.0, 0.0, "panels.*.plugged=49.5 %".into()));
    }

    #[test]
    fn what_is_no_unknown_is_said() {
        for (text, wanted) in [
            ("tanks.t.pressure", "PATH=LOW..HIGH"),
            ("tanks.t.pressure=6 bar(g)", "PATH=LOW..HIGH"),
            ("tanks.t.presure=6..7 bar(g)", "no quantity"),
            ("tanks.t.ullage=1..2", "no quantity"),
            ("tanks.t.pressure=6..7 bar", "(g)"),
            ("tanks.t.pressure=7..6 bar(g)", "below the upper"),
            ("gas_valves.v.open=1..2.5", "whole numbers"),
            ("tanks.t.volume=1..2 m3 step 0.00000001", "larger step"),
            ("tanks.t.pressure=6 kPa(g)..7 bar(g)", "PATH=LOW..HIGH"),
        ] {
            let error = Unknown::read(text, false).unwrap_err().to_string();
            assert!(error.contains(wanted), "{text}: {error}");
        }
    }
}
