//! Spread of the outcomes of a supply as JSON.

use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};

use super::{FindingView, by_name, findings};
use crate::result::{Chance, SpreadKind, SpreadOutcome, SpreadPanel, SpreadQuantity, SpreadResult};

/// The document.
pub(super) fn view(result: &SpreadResult) -> impl Serialize + '_ {
    Spread {
        kind: "spread",
        title: &result.title,
        samples: result.samples,
        seed: result.seed,
        sampling: result.sampling,
        index_rows: result.index_rows,
        runs: result.runs,
        quantile_resolution: result.resolution,
        correlation_noise: result.correlation_noise,
        quantities: by_name(&result.quantities, |q| (&q.name, quantity(q))),
        chance: chance(result, &result.chance),
        duty: Outcomes { result, outcomes: &result.duty, chance: None },
        panels: by_name(&result.panels, |panel: &SpreadPanel| {
            (&panel.name, Outcomes { result, outcomes: &panel.outcomes, chance: Some(panel.chance) })
        }),
        broken: Broken {
            count: result.broken,
            runs: result
                .broken_named
                .iter()
                .map(|run| BrokenRun {
                    number: run.number,
                    part_of: if run.is_sample { "samples" } else { "indices" },
                    stage: &run.stage,
                    text: &run.text,
                    alone: result.alone(run),
                })
                .collect(),
        },
        findings: findings(&result.findings),
    }
}

#[derive(Serialize)]
struct Spread<'a, Q, P> {
    kind: &'a str,
    title: &'a str,
    samples: u64,
    seed: u64,
    sampling: &'a str,
    index_rows: u64,
    runs: u64,
    quantile_resolution: f64,
    correlation_noise: f64,
    quantities: Q,
    chance: ChanceView,
    duty: Outcomes<'a>,
    panels: P,
    broken: Broken<'a>,
    findings: Vec<FindingView<'a>>,
}

#[derive(Serialize)]
struct Quantity<'a> {
    distribution: &'a str,
    paths: &'a [String],
    driver: &'a str,
}

fn quantity(quantity: &SpreadQuantity) -> Quantity<'_> {
    Quantity { distribution: &quantity.words, paths: &quantity.paths, driver: &quantity.driver }
}

#[derive(Serialize)]
struct ChanceView {
    met: u64,
    of: u64,
    estimate: f64,
    low: f64,
    high: f64,
    confidence: f64,
    interval: &'static str,
}

fn chance(result: &SpreadResult, chance: &Chance) -> ChanceView {
    let [low, high] = chance.interval;
    let (met, of, confidence) = (chance.met, chance.of, result.confidence);
    ChanceView { met, of, estimate: chance.share(), low, high, confidence, interval: "wilson" }
}

/// The outcomes of a panel or of the duty, each under its name.
struct Outcomes<'a> {
    result: &'a SpreadResult,
    outcomes: &'a [SpreadOutcome],
    chance: Option<Chance>,
}

impl Serialize for Outcomes<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(None)?;
        if let Some(own) = &self.chance {
            map.serialize_entry("chance", &chance(self.result, own))?;
        }
        for outcome in self.outcomes {
            map.serialize_entry(SpreadKind::label(outcome.kind), &Outcome { result: self.result, outcome })?;
        }
        map.end()
    }
}

struct Outcome<'a> {
    result: &'a SpreadResult,
    outcome: &'a SpreadOutcome,
}

#[derive(Serialize)]
struct Index {
    first: f64,
    first_error: f64,
    total: f64,
    total_error: f64,
}

impl Serialize for Outcome<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let outcome = self.outcome;
        let mut map = serializer.serialize_map(None)?;
        map.serialize_entry("nominal", &outcome.nominal)?;
        let quantiles = outcome.quantiles.map_or([None; 3], |values| values.map(Some));
        for (name, value) in ["p05", "p50", "p95"].iter().zip(quantiles) {
            map.serialize_entry(name, &value)?;
        }
        let extremes = outcome.extremes.map_or([None; 2], |values| values.map(Some));
        map.serialize_entry("least", &extremes[0])?;
        map.serialize_entry("most", &extremes[1])?;
        if !outcome.rank_correlations.is_empty() {
            let pairs: Vec<(&String, Option<f64>)> =
                self.result.quantities.iter().map(|q| &q.name).zip(outcome.rank_correlations.iter().copied()).collect();
            map.serialize_entry("rank_correlations", &by_name(&pairs, |(name, value)| (*name, *value)))?;
        }
        if !outcome.indices.is_empty() {
            let view = |index: &crate::result::SpreadIndex| {
                let ([first, first_error], [total, total_error]) = (index.first, index.total);
                Index { first, first_error, total, total_error }
            };
            map.serialize_entry("indices", &by_name(&outcome.indices, |index| (&index.driver, view(index))))?;
        }
        map.end()
    }
}

#[derive(Serialize)]
struct Broken<'a> {
    count: u64,
    runs: Vec<BrokenRun<'a>>,
}

#[derive(Serialize)]
struct BrokenRun<'a> {
    number: u64,
    part_of: &'a str,
    stage: &'a str,
    text: &'a str,
    alone: String,
}
