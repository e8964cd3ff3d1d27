//! What the sums of a spread say.

use super::share::{Share, Sums};
use crate::finding::{Finding, Level};
use crate::result::{
    BrokenRun, Chance, SpreadIndex, SpreadKind, SpreadOutcome, SpreadPanel, SpreadQuantity, SpreadResult,
};
use crate::statistics::distribution::NORMAL_95;
use crate::statistics::histogram::RESOLUTION;
use crate::statistics::interval::wilson;

/// The result of a whole study.
pub fn result(share: &Share) -> SpreadResult {
    let of = share.solved + share.broken_samples;
    let chance = |met: u64| Chance { met, of, interval: wilson(met, of, NORMAL_95) };
    let kinds = share.kinds();
    let outcomes = |wanted: Option<usize>| {
        let own = kinds.iter().zip(&share.sums).filter(|((panel, _), _)| *panel == wanted);
        own.map(|((_, kind), sums)| outcome(share, *kind, sums)).collect::<Vec<_>>()
    };
    let panels = share.panels.iter().enumerate().map(|(k, (name, _))| SpreadPanel {
        name: name.clone(),
        chance: chance(share.panels_met.get(k).copied().unwrap_or(0)),
        outcomes: outcomes(Some(k)),
    });
    let driver = |quantity: usize| {
        let found = share.drivers.iter().find(|(_, members)| members.contains(&quantity));
        found.map_or(String::new(), |(name, _)| name.clone())
    };
    let quantities = share.quantities.iter().enumerate().map(|(k, q)| SpreadQuantity {
        name: q.name.clone(),
        words: q.words.clone(),
        paths: q.paths.clone(),
        driver: driver(k),
    });
    let broken_named = share.broken.iter().map(|(number, failure)| BrokenRun {
        number: *number,
        is_sample: *number < share.samples,
        stage: failure.stage.label().to_string(),
        text: failure.text.clone(),
    });
    SpreadResult {
        title: share.title.clone(),
        ambient_pressure: share.ambient_pressure,
        samples: share.samples,
        seed: share.seed,
        sampling: if share.sobol { "sobol" } else { "latin_hypercube" },
        index_rows: share.rows,
        runs: share.samples + share.rows * (share.drivers.len() as u64 + 2),
        confidence: 0.95,
        resolution: RESOLUTION,
        correlation_noise: NORMAL_95 / (share.solved.saturating_sub(1).max(1) as f64).sqrt(),
        quantities: quantities.collect(),
        chance: chance(share.met),
        duty: outcomes(None),
        panels: panels.collect(),
        broken: share.broken_samples + share.broken_rows,
        broken_named: broken_named.collect(),
        findings: findings(share),
    }
}

fn outcome(share: &Share, kind: SpreadKind, sums: &Sums) -> SpreadOutcome {
    let quantile = |p: f64| sums.histogram.quantile(p);
    let quantiles = quantile(0.05).zip(quantile(0.5)).zip(quantile(0.95)).map(|((a, b), c)| [a, b, c]);
    let driven = sums.variance.groups.first().is_some_and(|group| !group.first.is_empty());
    let mut indices: Vec<SpreadIndex> = sums
        .variance
        .indices()
        .unwrap_or_default()
        .iter()
        .zip(&share.drivers)
        .map(|(index, (driver, _))| SpreadIndex {
            driver: driver.clone(),
            first: [index.first, index.first_error],
            total: [index.total, index.total_error],
        })
        .collect();
    indices.sort_by(|a, b| b.total[0].total_cmp(&a.total[0]));
    let correlations = (0..share.quantities.len()).map(|k| sums.histogram.rank_correlation(k, &share.inputs));
    SpreadOutcome {
        kind,
        nominal: sums.nominal,
        quantiles,
        extremes: sums.histogram.extremes(),
        rank_correlations: if driven { correlations.collect() } else { Vec::new() },
        indices,
    }
}

fn findings(share: &Share) -> Vec<Finding> {
    let mut findings = Vec::new();
    if share.broken_samples > 0 {
        let text = format!(
            "{} of {} samples could not be computed; they count as not meeting the requirement and have no quantiles",
            share.broken_samples,
            share.solved + share.broken_samples
        );
        findings.push(Finding { level: Level::Warn, code: "broken_samples", item: String::new(), text });
    }
    if share.broken_rows > 0 {
        let text = format!("{} runs for the indices could not be computed; their rows are left out", share.broken_rows);
        findings.push(Finding { level: Level::Warn, code: "broken_rows", item: String::new(), text });
    }
    if share.outlasts > 0 {
        let text = format!(
            "in {} of {} samples no tank was empty when the run ended: the supply lasts longer than that",
            share.outlasts, share.solved
        );
        findings.push(Finding::note("outlasts", "", text));
    }
    if share.panels.iter().all(|(_, required)| !required) {
        findings.push(Finding::note("nothing_required", "", "no panel has a required_flux"));
    }
    if share.rows > 0 && share.rows < 16 {
        let text = "fewer than 16 rows have no standard errors: no indices are given";
        findings.push(Finding::note("few_rows", "", text));
    }
    if !share.driven {
        let text = "the file has too many panels and quantities: drivers are kept for the duty only";
        findings.push(Finding::note("drivers_of_duty", "", text));
    }
    findings.extend(share.notes.iter().map(|(code, item, text)| {
        let code = if code == "much_cut" { "much_cut" } else { "note" };
        Finding::note(code, item, text.clone())
    }));
    findings
}
