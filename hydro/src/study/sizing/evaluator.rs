//! Designs run in batches, each once.

use std::collections::HashMap;
use std::ops::ControlFlow;
use std::sync::atomic::Ordering;

use serde::{Deserialize, Serialize};

use super::SizingError;
use super::needs;
use super::unknown::Unknown;
use crate::input::study::Sizing;
use crate::input::{Input, Template};
use crate::result::{Design, DesignTrial};
use crate::study::log::Log;
use crate::study::variants::{Frame, Outcome, Progress, one};
use crate::study::{ordered, verdict};

/// A line of the log.
#[derive(Serialize, Deserialize)]
struct Kept {
    sets: Vec<String>,
    trial: DesignTrial,
}

/// Runs designs, at positions of the unknowns, and remembers them.
pub struct Evaluator<'e, 'f> {
    template: &'e Template,
    unknowns: &'e [Unknown],
    needs: &'e Sizing,
    ambient_pressure: f64,
    frame: &'e mut Frame<'f>,
    known: HashMap<Vec<String>, DesignTrial>,
    resumed: u64,
    /// Runs asked for, each design once.
    asked: std::collections::HashSet<Vec<String>>,
}

impl<'e, 'f> Evaluator<'e, 'f> {
    /// An evaluator that knows what the log of its frame holds.
    pub fn new(
        template: &'e Template,
        input: &Input,
        unknowns: &'e [Unknown],
        needs: &'e Sizing,
        frame: &'e mut Frame<'f>,
    ) -> Result<Self, SizingError> {
        let mut known = HashMap::new();
        let resumed = match frame.log.as_mut().map(|log: &mut Log| {
            log.replay(|_, kept: Kept| {
                known.insert(kept.sets, kept.trial);
            })
        }) {
            Some(count) => count?,
            None => 0,
        };
        let ambient_pressure = input.network.site.ambient_pressure;
        let asked = std::collections::HashSet::new();
        Ok(Evaluator { template, unknowns, needs, ambient_pressure, frame, known, resumed, asked })
    }

    /// Designs run so far.
    pub fn evaluations(&self) -> usize {
        self.asked.len()
    }

    /// The options of a design.
    pub fn sets(&self, point: &[u64]) -> Vec<String> {
        self.unknowns.iter().zip(point).map(|(unknown, &position)| unknown.set(position)).collect()
    }

    /// Runs designs in parallel; their trials in the same order.
    ///
    /// # Errors
    /// [`SizingError`] where it is interrupted, or the log or the threads fail. A design that cannot be run is a trial.
    pub fn batch(&mut self, points: &[Vec<u64>]) -> Result<Vec<DesignTrial>, SizingError> {
        let wanted: Vec<Vec<String>> = points.iter().map(|point| self.sets(point)).collect();
        let mut fresh: Vec<&Vec<String>> = Vec::new();
        for sets in &wanted {
            if self.asked.insert(sets.clone()) && !self.known.contains_key(sets) {
                fresh.push(sets);
            }
        }
        let (template, needs) = (self.template, self.needs);
        let compute = |input: &Input| {
            let result = verdict::run(&input.network)?;
            Ok(needs::judge(&input.network, &result, needs))
        };
        let job = |index: u64| {
            let sets = usize::try_from(index).ok().and_then(|k| fresh.get(k)).map_or(&[][..], |sets| sets.as_slice());
            match one(template, sets, &compute) {
                Outcome::Solved(trial) => trial,
                Outcome::Failed(failure) => DesignTrial { margins: Vec::new(), error: Some(failure.text) },
            }
        };
        let Frame { threads, interrupt, progress, log } = &mut *self.frame;
        let mut broken = None;
        let (known, resumed) = (&mut self.known, self.resumed);
        let done = ordered::run(0..fresh.len() as u64, *threads, interrupt, &job, &mut |index, trial: DesignTrial| {
            let Some(sets) = usize::try_from(index).ok().and_then(|k| fresh.get(k)) else {
                return ControlFlow::Break(());
            };
            if let Some(log) = log
                && let Err(error) = log.write(&Kept { sets: (*sets).clone(), trial: trial.clone() })
            {
                broken = Some(error);
                return ControlFlow::Break(());
            }
            known.insert((*sets).clone(), trial);
            progress(Progress { done: known.len() as u64, count: 0, resumed, about: false });
            ControlFlow::Continue(())
        })?;
        if let Some(error) = broken {
            return Err(SizingError::Study(error.into()));
        }
        if done < fresh.len() as u64 || interrupt.load(Ordering::Relaxed) {
            return Err(SizingError::Interrupted { runs: self.known.len() });
        }
        let missing = || DesignTrial { margins: Vec::new(), error: Some("it was not run".to_string()) };
        Ok(wanted.iter().map(|sets| self.known.get(sets).cloned().unwrap_or_else(missing)).collect())
    }

    /// Runs one design.
    ///
    /// # Errors
    /// As [`Evaluator::batch`].
    pub fn at(&mut self, point: &[u64]) -> Result<DesignTrial, SizingError> {
        let trial = self.batch(&[point.to_vec()])?.pop();
        Ok(trial.unwrap_or(DesignTrial { margins: Vec::new(), error: Some("it was not run".to_string()) }))
    }

    /// A design with its trial.
    pub fn design(&self, point: &[u64], trial: DesignTrial, cost: Option<f64>) -> Design {
        let values = self.unknowns.iter().zip(point);
        Design {
            values: values.clone().map(|(unknown, &p)| unknown.value(p)).collect(),
            si: values.map(|(unknown, &p)| unknown.si(p, self.ambient_pressure)).collect(),
            sets: self.sets(point),
            cost,
            trial,
        }
    }
}
