//! What is summed over the runs of a spread: whole numbers only, so that shares join exactly.

use serde::{Deserialize, Serialize};

use super::outcome::{Run, kinds, scale};
use super::plan::Plan;
use crate::input::{Input, Template};
use crate::result::SpreadKind;
use crate::statistics::histogram::{Bin, Histogram, InputSums};
use crate::statistics::sum::Sum;
use crate::statistics::variance::VarianceSums;
use crate::study::log::fingerprint;
use crate::study::variants::{Failure, Outcome, Stage};

/// Broken runs that are named; all are counted.
const NAMED: usize = 100;

/// Outcomes times quantities up to which every panel's own drivers are kept: bounds the memory.
const MOST_DRIVEN: usize = 4000;

/// One quantity, as results need it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Quantity {
    /// Name.
    pub name: String,
    /// Distribution in words.
    pub words: String,
    /// Paths.
    pub paths: Vec<String>,
}

/// What is summed of one outcome.
#[derive(Debug, Clone, PartialEq)]
pub struct Sums {
    /// Its value with the file as it is.
    pub nominal: f64,
    /// Values of the samples.
    pub histogram: Histogram,
    /// Sums for the indices.
    pub variance: VarianceSums,
}

/// A share of a spread, or several joined.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(into = "super::share::kept::Kept", try_from = "super::share::kept::Kept")]
pub struct Share {
    /// Parts in it, from 1, rising.
    pub parts: Vec<u32>,
    /// Of how many.
    pub of: u32,
    /// SHA-256 of everything that the results depend on.
    pub fingerprint: String,
    /// Title of the file.
    pub title: String,
    /// Pa absolute.
    pub ambient_pressure: f64,
    /// Seed.
    pub seed: u64,
    /// Whether samples are of a Sobol' sequence.
    pub sobol: bool,
    /// Samples of the whole.
    pub samples: u64,
    /// Rows of the design for indices of the whole.
    pub rows: u64,
    /// Quantities.
    pub quantities: Vec<Quantity>,
    /// Drivers: name and indices of quantities.
    pub drivers: Vec<(String, Vec<usize>)>,
    /// Panels: name, and whether a flux is required.
    pub panels: Vec<(String, bool)>,
    /// Findings on the plan: code, item and words.
    pub notes: Vec<(String, String, String)>,
    /// Whether every panel's own drivers are kept.
    pub driven: bool,
    /// Samples computed.
    pub solved: u64,
    /// Samples that meet everything.
    pub met: u64,
    /// Samples in which each panel meets what is required of it.
    pub panels_met: Vec<u64>,
    /// Samples in which no tank was empty and water still flowed at the end.
    pub outlasts: u64,
    /// Samples that could not be computed.
    pub broken_samples: u64,
    /// Runs of the design for indices that could not be computed.
    pub broken_rows: u64,
    /// The first of both, by number.
    pub broken: Vec<(u64, Failure)>,
    /// Sums of the quantities' probabilities over the samples computed.
    pub inputs: InputSums,
    /// What is summed of each outcome, in the order of [`kinds`].
    pub sums: Vec<Sums>,
}

/// Why shares cannot be joined.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum JoinError {
    /// They are of different studies.
    #[error("these are shares of different studies: the file, its options or the version differ")]
    Different,
    /// A part is there twice.
    #[error("part {0} is there twice")]
    Twice(u32),
    /// Parts are missing.
    #[error("of {of} parts these are missing: {}", words(.missing))]
    Missing {
        /// Which.
        missing: Vec<u32>,
        /// Of how many.
        of: u32,
    },
}

fn words(parts: &[u32]) -> String {
    let mut text = parts.iter().take(20).map(u32::to_string).collect::<Vec<_>>().join(", ");
    if parts.len() > 20 {
        text += ", ...";
    }
    text
}

impl Share {
    /// Nothing computed yet, of no part.
    pub(super) fn new(template: &Template, more: &[String], input: &Input, plan: &Plan, nominal: Run) -> Share {
        let spread = plan.spread();
        let quantities: Vec<Quantity> = spread
            .quantities
            .iter()
            .map(|q| Quantity {
                name: q.name.clone(),
                words: q.words.clone(),
                paths: q.places.iter().map(|place| place.path.clone()).collect(),
            })
            .collect();
        let network = &input.network;
        let name = |node: usize| network.nodes.get(node).map_or(String::new(), |node| node.name.to_string());
        let panels: Vec<(String, bool)> =
            network.panels.iter().map(|panel| (name(panel.node), panel.required_flux.is_some())).collect();
        let required: Vec<bool> = panels.iter().map(|(_, required)| *required).collect();
        let kinds = kinds(&required);
        let driven = kinds.len() * quantities.len() <= MOST_DRIVEN;
        let drivers = plan.drivers().len();
        let sums = |((panel, kind), nominal): (&(Option<usize>, SpreadKind), &f64)| {
            let inputs = if driven || panel.is_none() { drivers } else { 0 };
            // Sums are of differences from the file's own value, in units of its size.
            let variance = VarianceSums::new(inputs, *nominal, scale(*kind, *nominal));
            Sums { nominal: *nominal, histogram: Histogram::default(), variance }
        };
        let much_cut = plan.much_cut().map(|(name, kept)| {
            let text = format!("its range cuts the distribution to {:.1} % of it", 100.0 * kept);
            ("much_cut".to_string(), name.to_string(), text)
        });
        let options = template.sets().iter().chain(more).map(String::as_str);
        let version = env!("CARGO_PKG_VERSION");
        Share {
            parts: Vec::new(),
            of: 0,
            fingerprint: fingerprint([version, template.text()].into_iter().chain(options)),
            title: network.title.clone(),
            ambient_pressure: network.site.ambient_pressure,
            seed: u64::from(spread.seed),
            sobol: spread.sobol,
            samples: plan.samples(),
            rows: plan.rows(),
            inputs: InputSums::new(quantities.len()),
            quantities,
            drivers: plan.drivers().to_vec(),
            panels_met: vec![0; panels.len()],
            panels,
            notes: much_cut.collect(),
            driven,
            solved: 0,
            met: 0,
            outlasts: 0,
            broken_samples: 0,
            broken_rows: 0,
            broken: Vec::new(),
            sums: kinds.iter().zip(&nominal.values).map(sums).collect(),
        }
    }

    /// Kinds of the outcomes.
    pub fn kinds(&self) -> Vec<(Option<usize>, SpreadKind)> {
        kinds(&self.panels.iter().map(|(_, required)| *required).collect::<Vec<_>>())
    }

    /// Takes a sample that was drawn at these probabilities.
    pub(super) fn sample(&mut self, number: u64, probabilities: &[f64], outcome: &Outcome<Run>) {
        match self.usable(outcome) {
            Err(failure) => {
                self.broken_samples += 1;
                self.name(number, failure);
            }
            Ok(run) => {
                self.solved += 1;
                self.met += u64::from(run.met);
                self.outlasts += u64::from(run.outlasts);
                self.panels_met.iter_mut().zip(&run.panels_met).for_each(|(count, met)| *count += u64::from(*met));
                self.inputs.add(probabilities);
                for (sums, value) in self.sums.iter_mut().zip(&run.values) {
                    let driven = sums.variance.groups.first().is_some_and(|group| !group.first.is_empty());
                    sums.histogram.add(*value, if driven { probabilities } else { &[] });
                }
            }
        }
    }

    /// Takes a row of the design for indices; its first run has the number `first`.
    pub(super) fn row(&mut self, row: u64, first: u64, outcomes: &[Outcome<Run>]) {
        let usable: Vec<Result<&Run, Failure>> = outcomes.iter().map(|outcome| self.usable(outcome)).collect();
        let mut runs = Vec::with_capacity(usable.len());
        let mut failures = Vec::new();
        for (number, outcome) in (first..).zip(usable) {
            match outcome {
                Ok(run) => runs.push(run),
                Err(failure) => failures.push((number, failure)),
            }
        }
        self.broken_rows += failures.len() as u64;
        let whole = failures.is_empty();
        failures.into_iter().for_each(|(number, failure)| self.name(number, failure));
        let (true, [a, b, mixed @ ..]) = (whole, runs.as_slice()) else { return };
        for (k, sums) in self.sums.iter_mut().enumerate() {
            let at = |run: &Run| run.values.get(k).copied().unwrap_or(0.0);
            let mixed: Vec<f64> = mixed.iter().map(|run| at(run)).collect();
            sums.variance.add(row, at(a), at(b), &mixed);
        }
    }

    /// A run that can be summed: computed, as many outcomes as there should be, and of a size that has room.
    fn usable<'r>(&self, outcome: &'r Outcome<Run>) -> Result<&'r Run, Failure> {
        let run = match outcome {
            Outcome::Solved(run) => run,
            Outcome::Failed(failure) => return Err(failure.clone()),
        };
        let fits = |(value, sums): (&f64, &Sums)| value.is_finite() && sums.variance.holds(*value);
        if run.values.len() == self.sums.len() && run.values.iter().zip(&self.sums).all(fits) {
            return Ok(run);
        }
        Err(Failure {
            stage: Stage::Internal,
            text: "its outcomes are out of all proportion to those of the file".into(),
        })
    }

    fn name(&mut self, number: u64, failure: Failure) {
        self.broken.push((number, failure));
        self.broken.sort_by_key(|(number, _)| *number);
        self.broken.truncate(NAMED);
    }

    /// Joins another share.
    ///
    /// # Errors
    /// [`JoinError`] where they are of different studies or have a part in common.
    pub fn join(&mut self, other: &Share) -> Result<(), JoinError> {
        let same = self.fingerprint == other.fingerprint && self.of == other.of && self.sums.len() == other.sums.len();
        // Files that the network file names are in what it gives as it is.
        let nominal = |share: &Share| share.sums.iter().map(|sums| sums.nominal.to_bits()).collect::<Vec<_>>();
        let same = same && nominal(self) == nominal(other);
        if !same || self.panels != other.panels || self.quantities != other.quantities {
            return Err(JoinError::Different);
        }
        if let Some(twice) = other.parts.iter().find(|part| self.parts.contains(part)) {
            return Err(JoinError::Twice(*twice));
        }
        self.parts.extend(&other.parts);
        self.parts.sort_unstable();
        self.solved += other.solved;
        self.met += other.met;
        self.panels_met.iter_mut().zip(&other.panels_met).for_each(|(a, b)| *a += b);
        self.outlasts += other.outlasts;
        self.broken_samples += other.broken_samples;
        self.broken_rows += other.broken_rows;
        for (number, failure) in &other.broken {
            self.name(*number, failure.clone());
        }
        self.inputs.join(&other.inputs);
        for (ours, theirs) in self.sums.iter_mut().zip(&other.sums) {
            ours.histogram.join(&theirs.histogram);
            ours.variance.join(&theirs.variance);
        }
        Ok(())
    }

    /// Whether every part is in it.
    ///
    /// # Errors
    /// [`JoinError::Missing`] where not.
    pub fn complete(&self) -> Result<(), JoinError> {
        let missing: Vec<u32> = (1..=self.of).filter(|part| !self.parts.contains(part)).take(1000).collect();
        if missing.is_empty() { Ok(()) } else { Err(JoinError::Missing { missing, of: self.of }) }
    }
}

/// The form in which a share is kept: whole numbers that JSON cannot hold as texts.
pub mod kept {
    use super::*;

    /// One bin: place, count, least, greatest, sums of probabilities.
    type KeptBin = (i32, u64, f64, f64, Vec<u64>);

    /// One group: rows, sum, sum of squares, for each driver the sums of its first and total index.
    type KeptGroup = (u64, String, String, Vec<[String; 2]>);

    /// What is summed of one outcome.
    #[derive(Debug, Clone, Serialize, Deserialize)]
    pub struct KeptSums {
        nominal: f64,
        bins: Vec<KeptBin>,
        groups: Vec<KeptGroup>,
    }

    /// A [`Share`] as it is kept.
    #[derive(Debug, Clone, Serialize, Deserialize)]
    pub struct Kept {
        kind: String,
        version: String,
        parts: Vec<u32>,
        of: u32,
        fingerprint: String,
        title: String,
        ambient_pressure_pa: f64,
        seed: u64,
        sobol: bool,
        samples: u64,
        rows: u64,
        quantities: Vec<Quantity>,
        drivers: Vec<(String, Vec<usize>)>,
        panels: Vec<(String, bool)>,
        notes: Vec<(String, String, String)>,
        driven: bool,
        solved: u64,
        met: u64,
        panels_met: Vec<u64>,
        outlasts: u64,
        broken_samples: u64,
        broken_rows: u64,
        broken: Vec<(u64, Failure)>,
        inputs: Vec<(u64, String)>,
        sums: Vec<KeptSums>,
    }

    const KIND: &str = "spread_share";

    impl From<Share> for Kept {
        fn from(share: Share) -> Kept {
            let sums = |sums: &Sums| KeptSums {
                nominal: sums.nominal,
                bins: sums
                    .histogram
                    .bins
                    .iter()
                    .map(|(place, bin)| (*place, bin.count, bin.least, bin.most, bin.ranks.clone()))
                    .collect(),
                groups: sums
                    .variance
                    .groups
                    .iter()
                    .map(|group| {
                        let text = |sum: &Sum| sum.raw().to_string();
                        let each = group.first.iter().zip(&group.total).map(|(f, t)| [text(f), text(t)]).collect();
                        (group.rows, text(&group.sum), text(&group.squares), each)
                    })
                    .collect(),
            };
            Kept {
                kind: KIND.into(),
                version: env!("CARGO_PKG_VERSION").into(),
                sums: share.sums.iter().map(sums).collect(),
                inputs: share.inputs.sums.iter().map(|(sum, square)| (*sum, square.to_string())).collect(),
                parts: share.parts,
                of: share.of,
                fingerprint: share.fingerprint,
                title: share.title,
                ambient_pressure_pa: share.ambient_pressure,
                seed: share.seed,
                sobol: share.sobol,
                samples: share.samples,
                rows: share.rows,
                quantities: share.quantities,
                drivers: share.drivers,
                panels: share.panels,
                notes: share.notes,
                driven: share.driven,
                solved: share.solved,
                met: share.met,
                panels_met: share.panels_met,
                outlasts: share.outlasts,
                broken_samples: share.broken_samples,
                broken_rows: share.broken_rows,
                broken: share.broken,
            }
        }
    }

    impl TryFrom<Kept> for Share {
        type Error = String;

        fn try_from(kept: Kept) -> Result<Share, String> {
            if kept.kind != KIND {
                return Err(format!("its kind is `{}`, not `{KIND}`", kept.kind));
            }
            let number = |text: &String| text.parse::<i128>().map(Sum::from_raw).map_err(|_| "a sum is no number");
            let read = |((_, kind), kept): (&(Option<usize>, SpreadKind), KeptSums)| -> Result<Sums, String> {
                let mut histogram = Histogram::default();
                for (place, count, least, most, ranks) in kept.bins {
                    histogram.bins.insert(place, Bin { count, least, most, ranks });
                }
                let drivers = kept.groups.first().map_or(0, |group| group.3.len());
                let mut variance = VarianceSums::new(drivers, kept.nominal, scale(*kind, kept.nominal));
                if variance.groups.len() != kept.groups.len() {
                    return Err("a group is missing".into());
                }
                for (group, (rows, sum, squares, each)) in variance.groups.iter_mut().zip(kept.groups) {
                    (group.rows, group.sum, group.squares) = (rows, number(&sum)?, number(&squares)?);
                    group.first = each.iter().map(|[first, _]| number(first)).collect::<Result<_, _>>()?;
                    group.total = each.iter().map(|[_, total]| number(total)).collect::<Result<_, _>>()?;
                }
                Ok(Sums { nominal: kept.nominal, histogram, variance })
            };
            let input = |(sum, square): (u64, String)| Ok((sum, square.parse().map_err(|_| "a sum is no number")?));
            let inputs: Result<Vec<(u64, u128)>, &str> = kept.inputs.into_iter().map(input).collect();
            let required: Vec<bool> = kept.panels.iter().map(|(_, required)| *required).collect();
            let sums: Result<Vec<Sums>, String> = kinds(&required).iter().zip(kept.sums).map(read).collect();
            let share = Share {
                inputs: InputSums { sums: inputs? },
                sums: sums?,
                parts: kept.parts,
                of: kept.of,
                fingerprint: kept.fingerprint,
                title: kept.title,
                ambient_pressure: kept.ambient_pressure_pa,
                seed: kept.seed,
                sobol: kept.sobol,
                samples: kept.samples,
                rows: kept.rows,
                quantities: kept.quantities,
                drivers: kept.drivers,
                panels: kept.panels,
                notes: kept.notes,
                driven: kept.driven,
                solved: kept.solved,
                met: kept.met,
                panels_met: kept.panels_met,
                outlasts: kept.outlasts,
                broken_samples: kept.broken_samples,
                broken_rows: kept.broken_rows,
                broken: kept.broken,
            };
            let whole = share.sums.len() == share.kinds().len()
                && share.panels_met.len() == share.panels.len()
                && share.inputs.sums.len() == share.quantities.len();
            if whole { Ok(share) } else { Err("something is missing".into()) }
        }
    }
}
