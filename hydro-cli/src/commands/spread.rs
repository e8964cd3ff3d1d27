//! `hydro spread FILE`: what uncertain quantities do to the supply.

use std::path::{Path, PathBuf};

use hydro::report::{json, text};
use hydro::study::log::Header;
use hydro::study::spread::{self, Part, Share, SpreadError, Study, summary};
use hydro::study::variants::Outcome;
use serde_json::json;

use crate::args::Source;
use crate::output::{self, Failure, Status};
use crate::source;
use crate::study;

/// Arguments of `spread`.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    pub source: Source,
    /// Samples, in place of `spread.samples` of the file
    #[arg(long, value_name = "N")]
    pub samples: Option<u32>,
    /// Seed, in place of `spread.seed`
    #[arg(long, value_name = "N")]
    pub seed: Option<u32>,
    /// Rows of the design for variance-based indices, in place of `spread.index_rows`
    #[arg(long, value_name = "N")]
    pub index_rows: Option<u32>,
    /// Compute share K of N only and print it as JSON; `hydro merge` joins the shares
    #[arg(long, value_name = "K/N", value_parser = part)]
    pub part: Option<Part>,
    /// Compute this run alone: its values as --set options, and what becomes of it
    #[arg(long, value_name = "NUMBER", conflicts_with_all = ["part", "log", "resume"])]
    pub sample: Option<u64>,
    /// Write the network file of that run, to be read by every command: the file with the drawn values in its block `set`
    #[arg(long, value_name = "FILE", requires = "sample")]
    pub write: Option<PathBuf>,
    #[command(flatten)]
    pub study: study::Many,
}

/// `K/N` with 1 <= K <= N.
fn part(text: &str) -> Result<Part, String> {
    let number = |text: &str| text.trim().parse::<u32>().ok();
    match text.split_once('/').map(|(part, parts)| (number(part), number(parts))) {
        Some((Some(part), Some(parts))) if (1..=parts).contains(&part) && parts <= 1_000_000 => {
            Ok(Part { part, parts })
        }
        _ => Err("two whole numbers, as in 2/7: the second of seven shares".to_string()),
    }
}

/// Draws, runs and prints.
pub fn run(args: &Args) -> Result<Status, Failure> {
    let template = source::template(&args.source)?;
    let given = [("samples", args.samples), ("seed", args.seed), ("index_rows", args.index_rows)];
    let more: Vec<String> =
        given.iter().filter_map(|(key, value)| value.map(|value| format!("spread.{key}={value}"))).collect();
    let study = spread::prepare(&template, &more).map_err(|error| match error {
        SpreadError::Rejected(rejected) => Failure::wrong(rejected.render()),
        SpreadError::Nominal(_) => Failure::unsolved(&error),
        _ => Failure::wrong(format!("error: {error}")),
    })?;
    if let Some(number) = args.sample {
        return alone(args, &template, &study, number);
    }
    let part = args.part.unwrap_or(Part::WHOLE);
    let begun = study.begin(part);
    let place = format!("{}/{}", part.part, part.parts);
    let header = Header::new("spread", study.count(part), [begun.fingerprint.as_str(), &place]);
    let (share, whole) = study::framed(&args.study, &header, |frame| study.compute(&template, part, frame))?;
    if !whole {
        let go_on = match args.study.log {
            Some(_) => "go on with the same command and --resume",
            None => "nothing was kept: --log FILE keeps what is finished",
        };
        let done = share.solved + share.broken_samples;
        return Err(Failure::wrong(format!("stopped after {done} of {} samples; {go_on}", study.plan.samples())));
    }
    if args.part.is_some() {
        output::write(|out| {
            serde_json::to_writer(&mut *out, &share)?;
            writeln!(out)
        })?;
        return Ok(Status::Met);
    }
    print(args.source.json, &share)
}

/// Prints the result of a whole study.
fn print(json: bool, share: &Share) -> Result<Status, Failure> {
    let result = summary::result(share);
    output::result(json, || json::spread(&result), || text::spread(&result))?;
    Ok(Status::solved(result.requirements_met()))
}

/// One run by itself.
fn alone(args: &Args, template: &hydro::input::Template, study: &Study, number: u64) -> Result<Status, Failure> {
    let Some((options, outcome)) = study.alone(template, number) else {
        let last = study.plan.runs().saturating_sub(1);
        return Err(Failure::wrong(format!("error: there is no run {number}; they are numbered from 0 to {last}")));
    };
    if let Some(path) = &args.write {
        let failed =
            |error: &dyn std::fmt::Display| Failure::wrong(format!("error: cannot write {}: {error}", path.display()));
        let folder = path.parent().unwrap_or(Path::new(""));
        let text = template.written_with(&options, folder).map_err(|error| failed(&error))?;
        std::fs::write(path, text).map_err(|error| failed(&error))?;
    }
    let (status, verdict, why) = match &outcome {
        Outcome::Solved(run) if run.met => (Status::Met, "it meets every requirement", None),
        Outcome::Solved(_) => (Status::Missed, "it does not meet every requirement", None),
        Outcome::Failed(failure) => (Status::Unsolved, "it could not be computed", Some(failure)),
    };
    let values = study.plan.values(number);
    let names = study.plan.spread().quantities.iter().map(|q| q.name.clone());
    let document = || {
        let values: serde_json::Map<String, serde_json::Value> =
            names.clone().zip(&values).map(|(name, value)| (name, json!(value))).collect();
        let failure = why.map(|failure| json!({"stage": failure.stage.label(), "text": failure.text}));
        json!({
            "kind": "spread_sample", "number": number, "values": values, "set": options,
            "met": matches!(status, Status::Met), "broken": failure,
        })
    };
    let words = || {
        let mut text = format!("Run {number}: {verdict}.\n\n  hydro run {}", args.source.file.display());
        for option in args.source.set.iter().chain(&options) {
            text += &format!(" \\\n    --set {}", quoted(option));
        }
        text.push('\n');
        if let Some(path) = &args.write {
            text += &format!("\nThe same without options: hydro run {}\n", path.display());
        }
        if let Some(failure) = why {
            text += &format!("\n{}: {}\n", failure.stage.label(), failure.text);
        }
        text
    };
    output::result(args.source.json, document, words)?;
    Ok(status)
}

/// A text as one word of a shell.
fn quoted(text: &str) -> String {
    format!("'{}'", text.replace('\'', r"'\''"))
}

/// Arguments of `merge`.
#[derive(Debug, clap::Args)]
pub struct MergeArgs {
    /// Shares, as `hydro spread --part K/N` prints them: all of one study, in any order
    #[arg(required = true, value_name = "SHARE")]
    pub files: Vec<PathBuf>,
    /// Print one JSON document instead of tables
    #[arg(long)]
    pub json: bool,
}

/// `hydro merge SHARE ...`: joins the shares of a spread and prints what the whole would have.
pub fn merge(args: &MergeArgs) -> Result<Status, Failure> {
    let mut joined: Option<Share> = None;
    for path in &args.files {
        let wrong = |error: &dyn std::fmt::Display| Failure::wrong(format!("error: {}: {error}", path.display()));
        let bytes = std::fs::read(path).map_err(|error| wrong(&error))?;
        let share: Share =
            serde_json::from_slice(&bytes).map_err(|error| wrong(&format!("this is no share of a spread: {error}")))?;
        match &mut joined {
            None => joined = Some(share),
            Some(joined) => joined.join(&share).map_err(|error| wrong(&error))?,
        }
    }
    let Some(joined) = joined else { return Err(Failure::wrong("error: no share is named")) };
    joined.complete().map_err(|error| Failure::wrong(format!("error: {error}")))?;
    print(args.json, &joined)
}

#[cfg(test)]
mod tests {
    use super::{part, quoted};

    #[test]
    fn parts_are_counted_from_one() {
        assert_eq!(part("2/7").map(|p| (p.part, p.parts)), Ok((2, 7)));
        for wrong in ["0/7", "8/7", "7", "a/b", "1/0", ""] {
            assert!(part(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn options_are_words_of_a_shell() {
        assert_eq!(quoted("a b"), "'a b'");
        assert_eq!(quoted("it's"), r"'it'\''s'");
    }
}
