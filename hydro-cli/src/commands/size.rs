//! `hydro size FILE`: the least that meets the requirement.

use std::time::Instant;

use hydro::analysis::size;
use hydro::network::Network;
use hydro::report::{json, text};
use hydro::study::sizing::{Question as Sizing, SizingError};

use crate::args::Source;
use crate::output::{self, Failure, Status};
use crate::{source, study};

/// Arguments of `size`.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    pub source: Source,
    #[command(flatten)]
    pub question: Question,
    /// Vary a value of the file between bounds, as in 'tanks.*.pressure=6..16 bar(g)' or
    /// 'gas_valves.gv-burst.open=1..12'; repeated, for the front of two or a design of least cost of more
    #[arg(long, value_name = "PATH=LOW..HIGH UNIT", conflicts_with = "Question")]
    pub vary: Vec<String>,
    /// Least time that the supply must last, as in "30 s"
    #[arg(long, value_name = "TIME", value_parser = crate::args::time, conflicts_with = "Question")]
    pub lasts: Option<f64>,
    /// Least flow of all panels together, as in "2 m3/s"
    #[arg(long, value_name = "FLOW", conflicts_with = "Question")]
    pub total_flow: Option<String>,
    /// Look for the greatest value of the one unknown that still meets every requirement, not for the least
    #[arg(long, conflicts_with = "Question")]
    pub greatest: bool,
    #[command(flatten)]
    pub study: study::Many,
    /// Add the time of the search to the result
    #[arg(long)]
    pub timing: bool,
}

/// What `size` is to find; without any of it what the block `sizing` of the file varies.
#[derive(Debug, clap::Args)]
#[group(multiple = false)]
pub struct Question {
    /// Least common gas pressure of these tanks, of all tanks when none is named; give FILE first
    #[arg(long, value_name = "TANK,...", num_args = 0..=1)]
    pub tank_pressure: Option<Vec<String>>,
    /// Fewest open valves of this gas valve
    #[arg(long, value_name = "NAME")]
    pub open_valves: Option<String>,
}

/// Searches and prints.
pub fn run(args: &Args) -> Result<Status, Failure> {
    match &args.question {
        Question { tank_pressure: None, open_valves: None } => vary(args),
        _ => ask(args),
    }
}

/// What any values of the file must be: `--vary`, or the block `sizing`.
fn vary(args: &Args) -> Result<Status, Failure> {
    let mut set = args.source.set.clone();
    set.extend(args.lasts.map(|time| format!("sizing.lasts={time} s")));
    set.extend(args.total_flow.as_ref().map(|flow| format!("sizing.total_flow={flow}")));
    let template = source::template(&Source { file: args.source.file.clone(), set, json: args.source.json })?;
    let mut input = template.input(&[]).map_err(|rejected| Failure::wrong(rejected.render()))?;
    let question = Sizing::new(&template, &input, &args.vary, args.greatest);
    let question = question.map_err(|error| Failure::wrong(format!("error: {error}")))?;
    let started = Instant::now();
    let mut unsolved = None;
    let answer = study::framed(&args.study, &question.header(&template), |frame| {
        match question.answer(&template, &input, frame) {
            Err(SizingError::Study(error)) => Err(error),
            Err(error) => {
                unsolved = Some(Failure::unsolved(&error));
                Ok(None)
            }
            Ok(result) => Ok(Some(result)),
        }
    })?;
    let Some(mut result) = answer else {
        return Err(unsolved.unwrap_or_else(|| Failure::wrong("error: no answer")));
    };
    result.solve_time = args.timing.then(|| started.elapsed().as_secs_f64());
    result.findings.append(&mut input.findings);
    output::result(args.source.json, || json::sizing(&result), || text::sizing(&result))?;
    Ok(Status::solved(result.requirements_met()))
}

/// The two questions that have a name.
fn ask(args: &Args) -> Result<Status, Failure> {
    let mut input = source::read(&args.source)?;
    let network = &input.network;
    let started = Instant::now();
    let outcome = match (&args.question.tank_pressure, &args.question.open_valves) {
        (_, Some(valve)) => {
            let valves: Vec<&str> = network.gas_valves.iter().map(|v| v.name.as_str()).collect();
            known(valve, "gas valve", &valves)?;
            size::open_valves(network, valve)
        }
        (named, None) => size::tank_pressure(network, &chosen_tanks(network, named.as_deref().unwrap_or_default())?),
    };
    let mut result = outcome.map_err(|error| Failure::unsolved(&error))?;
    result.solve_time = args.timing.then(|| started.elapsed().as_secs_f64());
    result.findings.append(&mut input.findings);
    output::result(args.source.json, || json::size(&result), || text::size(&result))?;
    Ok(Status::solved(result.requirements_met()))
}

/// The tanks named, of the whole network when none is; a name with a comma is taken whole where there is such a tank.
fn chosen_tanks(network: &Network, named: &[String]) -> Result<Vec<String>, Failure> {
    let tanks: Vec<&str> =
        network.tanks.iter().filter_map(|t| network.nodes.get(t.node)).map(|n| n.name.as_str()).collect();
    if named.is_empty() {
        return Ok(tanks.iter().map(ToString::to_string).collect());
    }
    let mut chosen: Vec<String> = Vec::new();
    for text in named {
        let parts = if tanks.contains(&text.as_str()) { vec![text.as_str()] } else { text.split(',').collect() };
        for name in parts.iter().map(|part| part.trim()) {
            known(name, "tank", &tanks)?;
            if !chosen.iter().any(|c| c == name) {
                chosen.push(name.to_string());
            }
        }
    }
    Ok(chosen)
}

/// Fails with the names there are when `name` is not among them.
fn known(name: &str, kind: &str, names: &[&str]) -> Result<(), Failure> {
    if names.contains(&name) {
        return Ok(());
    }
    let there = match names {
        [] => "the file has none".to_string(),
        _ => format!("the file has {}", names.join(", ")),
    };
    Err(Failure::wrong(format!("error: no {kind} is named \"{name}\"; {there}")))
}

#[cfg(test)]
mod tests {
    use clap::Parser;

    use crate::args::{Cli, Command};

    #[test]
    fn one_question_of_size_is_needed() {
        let parse = |args: &[&str]| {
            Cli::try_parse_from(["hydro", "size", "f.yaml"].iter().chain(args)).map(|cli| match cli.command {
                Command::Size(size) => (size.question.tank_pressure, size.question.open_valves),
                other => panic!("{other:?}"),
            })
        };
        assert_eq!(parse(&[]).unwrap(), (None, None));
        assert!(parse(&["--vary", "tanks.*.pressure=6..16 bar(g)"]).is_ok());
        assert!(parse(&["--vary", "tanks.*.pressure=6..16 bar(g)", "--open-valves", "gas"]).is_err());
        assert!(parse(&["--lasts", "30 s", "--open-valves", "gas"]).is_err());
        assert!(parse(&["--tank-pressure", "--open-valves", "gas"]).is_err());
        assert_eq!(parse(&["--tank-pressure"]).unwrap(), (Some(vec![]), None));
        assert_eq!(parse(&["--tank-pressure", "a,b"]).unwrap(), (Some(vec!["a,b".to_string()]), None));
        assert_eq!(parse(&["--open-valves", "gas"]).unwrap(), (None, Some("gas".to_string())));
    }
}
