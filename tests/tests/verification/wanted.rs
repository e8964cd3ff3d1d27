//! What is wanted of a result.
//!
//! ```text
//! POINTER                 number at a JSON pointer
//! gauge POINTER           pressure there less ambient
//! less POINTER POINTER    the first number less the second
//! over POINTER POINTER    the first number over the second
//! first|last POINTER      end of a series
//! change POINTER          last less first, without sign
//! when POINTER = X        first time at which a series passes X, linear between its rows
//! until POINTER = X       the last such time
//! event CODE ITEM         time of an event
//! finding CODE            how many findings of this code
//! ```

use serde_json::Value;

/// A result of the library as it writes it.
pub struct Answer {
    /// The JSON.
    pub json: Value,
    /// Pressure of the surroundings, Pa.
    pub ambient: f64,
}

/// The number that `text` asks for.
pub fn read(answer: &Answer, text: &str) -> Result<f64, String> {
    let (verb, rest) = text.split_once(' ').unwrap_or(("", text));
    match verb {
        "" => answer.number(rest),
        "gauge" => Ok(answer.number(rest)? - answer.ambient),
        "less" | "over" => {
            let (a, b) = rest.split_once(' ').ok_or("two pointers")?;
            let (a, b) = (answer.number(a)?, answer.number(b)?);
            Ok(if verb == "less" { a - b } else { a / b })
        }
        "first" => answer.series(rest)?.first().copied().ok_or_else(|| format!("{rest} is empty")),
        "last" => answer.series(rest)?.last().copied().ok_or_else(|| format!("{rest} is empty")),
        "change" => Ok((read(answer, &format!("last {rest}"))? - read(answer, &format!("first {rest}"))?).abs()),
        "when" => answer.when(rest, false),
        "until" => answer.when(rest, true),
        "event" => answer.event(rest),
        "finding" => Ok(answer.list("/findings")?.iter().filter(|f| f["code"] == rest).count() as f64),
        _ => Err(format!("no `{verb}`")),
    }
}

impl Answer {
    fn at(&self, pointer: &str) -> Result<&Value, String> {
        self.json.pointer(pointer).ok_or_else(|| format!("nothing at {pointer}"))
    }

    fn number(&self, pointer: &str) -> Result<f64, String> {
        self.at(pointer)?.as_f64().ok_or_else(|| format!("no number at {pointer}"))
    }

    fn list(&self, pointer: &str) -> Result<&Vec<Value>, String> {
        self.at(pointer)?.as_array().ok_or_else(|| format!("no list at {pointer}"))
    }

    fn series(&self, pointer: &str) -> Result<Vec<f64>, String> {
        let number = |v: &Value| v.as_f64().ok_or_else(|| format!("{pointer} has a gap"));
        self.list(pointer)?.iter().map(number).collect()
    }

    fn when(&self, text: &str, last: bool) -> Result<f64, String> {
        let (pointer, x) = text.split_once(" = ").ok_or("POINTER = X")?;
        let x: f64 = x.parse().map_err(|e| format!("{x}: {e}"))?;
        let (times, values) = (self.series("/series/time_s")?, self.series(pointer)?);
        let pairs = times.windows(2).zip(values.windows(2));
        let mut passes = pairs.filter(|(_, v)| (v[0] - x) * (v[1] - x) <= 0.0 && v[0] != v[1]);
        let found = if last { passes.next_back() } else { passes.next() };
        let (t, v) = found.ok_or_else(|| format!("{pointer} does not pass {x}"))?;
        Ok(t[0] + (t[1] - t[0]) * (x - v[0]) / (v[1] - v[0]))
    }

    fn event(&self, text: &str) -> Result<f64, String> {
        let (code, item) = text.split_once(' ').ok_or("CODE ITEM")?;
        let event = self.list("/events")?.iter().find(|e| e["code"] == code && e["item"] == item);
        event.and_then(|e| e["time_s"].as_f64()).ok_or_else(|| format!("no event {code} of {item}"))
    }
}
