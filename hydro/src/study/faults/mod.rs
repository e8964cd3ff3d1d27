//! Failures: every single one listed from the file itself, and pairs, each over the full duty.

pub mod list;

use std::cmp::Ordering;

use super::log::Header;
use super::variants::{Frame, Outcome, StudyError, evaluate};
use super::verdict;
use crate::analysis::findings::gauge;
use crate::finding::{Finding, Level};
use crate::input::{Input, Template};
use crate::result::{DutyVerdict, FaultCase, FaultError, FaultsResult};
use list::{Fault, ListError};

/// What is to be computed: the duty as planned, and the failures.
#[derive(Debug, Clone, PartialEq)]
pub struct Plan {
    faults: Vec<Fault>,
    title: String,
    ambient_pressure: f64,
    ignition: f64,
    hold_ends: f64,
}

impl Plan {
    /// Every single failure of a file, the pairs that it names and those in `pairs` (`ITEM/KIND + ITEM/KIND`), and
    /// with `all_pairs` every two.
    ///
    /// # Errors
    /// [`ListError`] where a pair names no failures of the file, or there are too many.
    pub fn new(input: &Input, pairs: &[String], all_pairs: bool) -> Result<Plan, ListError> {
        let mut faults = list::singles(input);
        let named = [input.studies.faults.pairs.as_slice(), pairs].concat();
        let pairs = list::pairs(&faults, &named, all_pairs)?;
        faults.extend(pairs);
        let network = &input.network;
        Ok(Plan {
            faults,
            title: network.title.clone(),
            ambient_pressure: network.site.ambient_pressure,
            ignition: network.duty.ignition,
            hold_ends: network.duty.hold_ends(),
        })
    }

    /// The failures, in the order in which they are computed.
    pub fn faults(&self) -> &[Fault] {
        &self.faults
    }

    /// First line of the log of this study of a file.
    pub fn header(&self, template: &Template) -> Header {
        let faults = self.faults.iter().flat_map(|fault| std::iter::once(&fault.name).chain(&fault.sets));
        let parts = std::iter::once(template.text()).chain(template.sets().iter().map(String::as_str));
        Header::new("faults", self.faults.len() as u64 + 1, parts.chain(faults.map(String::as_str)))
    }

    /// Computes them all.
    ///
    /// # Errors
    /// [`StudyError`] where the log or the threads fail; a failure that cannot be computed is kept as such.
    pub fn run(&self, template: &Template, frame: &mut Frame<'_>) -> Result<FaultsResult, StudyError> {
        let fault = |index: u64| usize::try_from(index).ok()?.checked_sub(1).and_then(|k| self.faults.get(k));
        let sets = |index: u64| fault(index).map_or_else(Vec::new, |fault| fault.sets.clone());
        let compute = |input: &Input| -> Result<DutyVerdict, String> {
            let result = verdict::run(&input.network)?;
            Ok(verdict::of(&input.network, &result))
        };
        let mut outcomes: Vec<Outcome<DutyVerdict>> = Vec::new();
        let count = self.faults.len() as u64 + 1;
        evaluate(template, count, &sets, &compute, frame, &mut |_, outcome| outcomes.push(outcome))?;
        Ok(self.result(outcomes))
    }

    fn result(&self, outcomes: Vec<Outcome<DutyVerdict>>) -> FaultsResult {
        let mut outcomes = outcomes.into_iter().map(|outcome| match outcome {
            Outcome::Solved(verdict) => Ok(verdict),
            Outcome::Failed(failure) => Err(FaultError { stage: failure.stage.label(), text: failure.text }),
        });
        let not_begun = || Err(FaultError { stage: "unsolved", text: "it was interrupted".to_string() });
        let planned = FaultCase {
            name: "as planned".to_string(),
            items: Vec::new(),
            text: "nothing failed".to_string(),
            sets: Vec::new(),
            outcome: outcomes.next().unwrap_or_else(not_begun),
        };
        let mut cases: Vec<(&Fault, FaultCase)> = self
            .faults
            .iter()
            .zip(outcomes)
            .map(|(fault, outcome)| {
                let Fault { name, items, text, sets, .. } = fault.clone();
                (fault, FaultCase { name, items, text, sets, outcome })
            })
            .collect();
        cases.sort_by(|(_, a), (_, b)| worse(a, b));
        let mut cannot_lose: Vec<String> = Vec::new();
        for (fault, case) in &cases {
            let lost = fault.kind.is_some_and(|kind| kind.takes_away()) && case.outcome.is_ok() && !case.met();
            if lost && planned.met() {
                cannot_lose
                    .extend(case.items.iter().filter(|item| !cannot_lose.contains(item)).cloned().collect::<Vec<_>>());
            }
        }
        let mut result = FaultsResult {
            title: self.title.clone(),
            ambient_pressure: self.ambient_pressure,
            ignition: self.ignition,
            hold_ends: self.hold_ends,
            planned,
            cases: cases.into_iter().map(|(_, case)| case).collect(),
            cannot_lose,
            wanted: self.faults.len(),
            solve_time: None,
            findings: Vec::new(),
        };
        describe(&mut result);
        result
    }
}

/// The worse of two cases first: what could not be computed, what misses the requirement, what has the least margin,
/// what lasts shortest; those alike stay in their order.
fn worse(a: &FaultCase, b: &FaultCase) -> Ordering {
    let rank = |case: &FaultCase| match &case.outcome {
        Err(_) => (0, f64::NEG_INFINITY, f64::NEG_INFINITY),
        Ok(verdict) => (
            1 + u8::from(verdict.met),
            verdict.least_margin().unwrap_or(f64::INFINITY),
            verdict.lasts.unwrap_or(f64::INFINITY),
        ),
    };
    let (a, b) = (rank(a), rank(b));
    a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).then(a.2.total_cmp(&b.2))
}

fn describe(result: &mut FaultsResult) {
    let mut found = Vec::new();
    let planned = &result.planned;
    if planned.outcome.is_ok() && !planned.met() {
        let text = "the requirement is missed with nothing failed: see `hydro run`".to_string();
        found.push(Finding { level: Level::Fail, code: "planned_missed", item: String::new(), text });
    }
    if planned.outcome.as_ref().is_ok_and(|verdict| verdict.worst.is_none() && verdict.cooling.is_none()) {
        let text = "no panel has a required_flux: only the plume is judged";
        found.push(Finding::warn("nothing_required", "", text));
    }
    for item in &result.cannot_lose {
        let text = "the requirement is missed without it".to_string();
        found.push(Finding { level: Level::Fail, code: "cannot_lose", item: item.clone(), text });
    }
    for case in [planned].into_iter().chain(&result.cases) {
        match &case.outcome {
            Err(error) => {
                let text = format!("could not be computed: {}", error.text.trim_end());
                found.push(Finding::warn("not_solved", &case.name, text));
            }
            Ok(verdict) => {
                for above in &verdict.above_rating {
                    let [highest, rating] = [above.highest, above.rating].map(|p| gauge(p, result.ambient_pressure));
                    let text =
                        format!("the pressure of {} reaches {highest}, above its rating of {rating}", above.tank);
                    found.push(Finding::warn("above_rating", &case.name, text));
                }
            }
        }
    }
    if result.cases.len() < result.wanted {
        let text = format!("interrupted: {} of {} failures were computed", result.cases.len(), result.wanted);
        found.push(Finding::warn("interrupted", "", text));
    }
    result.findings.extend(found);
}
