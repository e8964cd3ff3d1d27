//! `hydro size FILE`: the least that meets the requirement.

use std::time::Instant;

use hydro::analysis::size;
use hydro::network::Network;
use hydro::report::{json, text};

use crate::args::Source;
use crate::output::{self, Failure, Status};
use crate::source;

/// Arguments of `size`.
#[derive(Debug, clap::Args)]
pub struct Args {
    #[command(flatten)]
    pub source: Source,
    #[command(flatten)]
    pub question: Question,
    /// Add the time of the search to the result
    #[arg(long)]
    pub timing: bool,
}

/// What `size` is to find.
#[derive(Debug, clap::Args)]
#[group(required = true, multiple = false)]
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
        assert!(parse(&[]).is_err());
        assert!(parse(&["--tank-pressure", "--open-valves", "gas"]).is_err());
        assert_eq!(parse(&["--tank-pressure"]).unwrap(), (Some(vec![]), None));
        assert_eq!(parse(&["--tank-pressure", "a,b"]).unwrap(), (Some(vec!["a,b".to_string()]), None));
        assert_eq!(parse(&["--open-valves", "gas"]).unwrap(), (None, Some("gas".to_string())));
    }
}
