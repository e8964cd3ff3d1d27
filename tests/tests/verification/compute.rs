//! What the column `compute` says, done with the library.
//!
//! ```text
//! law NAME; ARGUMENT ...                      a function of the library, see `laws`
//! flow FILE; [set PATH=VALUE;] WANTED         steady flow of a network file
//! run FILE; [set PATH=VALUE;] WANTED          a run over time
//! seek FILE; PATH = A to B UNIT; POINTER = X  the value of PATH, in UNIT, at which the steady flow has X at POINTER
//! ```
//! `WANTED` and `POINTER` look into the result's JSON, see `wanted`.

use crate::wanted::{self, Answer};
use crate::{laws, root};
use hydro::analysis::run::{RunOptions, run};
use hydro::analysis::steady::{FlowOptions, solve};
use hydro::input::{Input, read_text};
use hydro::report::json;

/// Rows of a series: enough for linear interpolation to a few parts in 1e8.
const ROWS: usize = 4001;

/// The value, in SI (of `seek`: in its unit).
pub fn value(text: &str) -> Result<f64, String> {
    let parts: Vec<&str> = text.split(';').map(str::trim).collect();
    let [head, middle @ .., last] = parts.as_slice() else { return Err("nothing to compute".into()) };
    let (verb, name) = head.split_once(' ').ok_or("a verb and a name")?;
    match verb {
        "law" => laws::value(name, last),
        "flow" => wanted::read(&steady(name, &sets(middle)?)?, last),
        "run" => wanted::read(&transient(name, &sets(middle)?)?, last),
        "seek" => seek(name, middle, last),
        _ => Err(format!("no verb `{verb}`")),
    }
}

fn sets(parts: &[&str]) -> Result<Vec<String>, String> {
    let set = |part: &&str| part.strip_prefix("set ").map(str::to_string).ok_or(format!("`{part}` is no `set`"));
    parts.iter().map(set).collect()
}

fn input(name: &str, sets: &[String]) -> Result<Input, String> {
    let path = root().join("tests/data/verification").join(name);
    let text = std::fs::read_to_string(&path).map_err(|e| format!("{name}: {e}"))?;
    read_text(name, &text, sets).map_err(|rejected| rejected.render())
}

fn steady(name: &str, sets: &[String]) -> Result<Answer, String> {
    let network = input(name, sets)?.network;
    let result = solve(&network, &FlowOptions::default()).map_err(|e| e.to_string())?;
    let json = serde_json::to_value(json::flow(&result)).map_err(|e| e.to_string())?;
    Ok(Answer { json, ambient: result.ambient_pressure })
}

fn transient(name: &str, sets: &[String]) -> Result<Answer, String> {
    let network = input(name, sets)?.network;
    let mut options = RunOptions { rows: ROWS, progress: &mut |_| {} };
    let result = run(&network, &mut options).map_err(|e| e.to_string())?;
    let json = serde_json::to_value(json::run(&result)).map_err(|e| e.to_string())?;
    Ok(Answer { json, ambient: result.ambient_pressure })
}

/// Secant method between two values of a key.
fn seek(name: &str, middle: &[&str], aim: &str) -> Result<f64, String> {
    let (range, more) = middle.split_last().ok_or("what to vary")?;
    let (path, range) = range.split_once(" = ").ok_or("PATH = A to B UNIT")?;
    let (a, rest) = range.split_once(" to ").ok_or("A to B")?;
    let (b, unit) = rest.split_once(' ').ok_or("B UNIT")?;
    let (pointer, aim) = aim.split_once(" = ").ok_or("POINTER = X")?;
    let number = |text: &str| text.parse::<f64>().map_err(|e| format!("{text}: {e}"));
    let aim = number(aim)?;
    let more = sets(more)?;
    let missed = |x: f64| {
        let mut sets = more.clone();
        sets.push(format!("{path}={x} {unit}"));
        Ok::<f64, String>(wanted::read(&steady(name, &sets)?, pointer)? / aim - 1.0)
    };
    let (mut x, mut last) = (number(b)?, number(a)?);
    let (mut now, mut before) = (missed(x)?, missed(last)?);
    for _ in 0..40 {
        if now.abs() < 1e-12 || now == before {
            break;
        }
        let next = x - now * (x - last) / (now - before);
        (last, before) = (x, now);
        x = next;
        now = missed(x)?;
    }
    if now.abs() < 1e-10 { Ok(x) } else { Err(format!("missed by {now} at {x} {unit}")) }
}
