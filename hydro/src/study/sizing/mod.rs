//! Sizing with any unknowns: the least that meets every requirement over the duty.
//!
//! One unknown: the easiest value, shown by its neighbour that is not enough. Two: the whole front of designs of which
//! neither can be eased without the other. Three or more: a design of least cost.

mod design;
mod evaluator;
mod front;
mod line;
mod needs;
pub mod unknown;

use super::log::{Header, LogError};
use super::ordered::ThreadsError;
use super::variants::{Frame, StudyError};
use crate::finding::{Finding, Level};
use crate::input::study::Sizing;
use crate::input::{Input, Template};
use crate::result::{Criterion, DesignTrial, Margin, Neighbour, Sensitivity, SizingResult};
use crate::units::readable;
use evaluator::Evaluator;
use line::{Found, Line};
use unknown::{Unknown, UnknownError, split_path};

/// Why a question of size has no answer, not even that nothing is enough.
#[derive(Debug, thiserror::Error)]
pub enum SizingError {
    /// There is nothing to vary.
    #[error("nothing is to vary: --vary PATH=LOW..HIGH, or `vary` in the block `sizing` of the file")]
    Nothing,
    /// Two unknowns share a path.
    #[error("`{0}` is to vary twice")]
    Twice(String),
    /// The greatest value is asked for of more than one unknown.
    #[error("--greatest goes with one unknown; there are {0}")]
    Greatest(usize),
    /// An unknown is not as it must be.
    #[error(transparent)]
    Unknown(#[from] UnknownError),
    /// A weight is not as it must be.
    #[error("`{0}` is no weight: PATH=NUMBER, PATH one of those to vary")]
    Weight(String),
    /// A bound makes no network.
    #[error("at a bound, {set}:\n{text}")]
    Rejected {
        /// The option.
        set: String,
        /// What is wrong.
        text: String,
    },
    /// It was asked to stop.
    #[error("interrupted after {runs} runs: no answer yet; with --log FILE it can go on, with --resume")]
    Interrupted {
        /// Runs made.
        runs: usize,
    },
    /// The log or the threads failed.
    #[error(transparent)]
    Study(#[from] StudyError),
}

impl From<LogError> for SizingError {
    fn from(error: LogError) -> Self {
        SizingError::Study(error.into())
    }
}

impl From<ThreadsError> for SizingError {
    fn from(error: ThreadsError) -> Self {
        SizingError::Study(error.into())
    }
}

/// A question of size.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    unknowns: Vec<Unknown>,
    weights: Vec<f64>,
    needs: Sizing,
    greatest: bool,
}

impl Question {
    /// The question of a file: `vary` takes the place of what its block `sizing` varies, where it is not empty.
    ///
    /// # Errors
    /// [`SizingError`] where an unknown or a weight is wrong, or a bound makes no network.
    pub fn new(template: &Template, input: &Input, vary: &[String], greatest: bool) -> Result<Question, SizingError> {
        let needs = input.studies.sizing.clone();
        let texts = if vary.is_empty() { &needs.vary } else { vary };
        if texts.is_empty() {
            return Err(SizingError::Nothing);
        }
        if greatest && texts.len() > 1 {
            return Err(SizingError::Greatest(texts.len()));
        }
        let unknowns: Vec<Unknown> =
            texts.iter().map(|text| Unknown::read(text, greatest)).collect::<Result<_, _>>()?;
        for (k, unknown) in unknowns.iter().enumerate() {
            if unknowns.iter().take(k).any(|earlier| earlier.sized.path == unknown.sized.path) {
                return Err(SizingError::Twice(unknown.sized.path.clone()));
            }
        }
        for unknown in &unknowns {
            // A lower bound may clash with the other values of the file (more open than installed); a wrong path or
            // unit shows at both.
            let tried = [0, unknown.steps].map(|p| template.input(&[unknown.set(p)]).map_err(|e| (p, e)));
            if let [Err((position, rejected)), Err(_)] = tried {
                return Err(SizingError::Rejected { set: unknown.set(position), text: rejected.render() });
            }
        }
        let mut weights: Vec<f64> = unknowns.iter().map(|u| 1.0 / (u.sized.high - u.sized.low)).collect();
        if !needs.cost.is_empty() {
            weights.fill(0.0);
        }
        for text in &needs.cost {
            let wrong = || SizingError::Weight(text.clone());
            let (path, weight) = split_path(text).ok_or_else(wrong)?;
            let at = unknowns.iter().position(|unknown| unknown.sized.path == path).ok_or_else(wrong)?;
            let weight: f64 = weight.parse().map_err(|_| wrong())?;
            let place = weights.get_mut(at).filter(|_| weight.is_finite() && weight >= 0.0).ok_or_else(wrong)?;
            *place = weight;
        }
        Ok(Question { unknowns, weights, needs, greatest })
    }

    /// First line of the log of this question.
    pub fn header(&self, template: &Template) -> Header {
        let unknowns: Vec<String> =
            self.unknowns.iter().map(|u| format!("{} {} {}", u.set(0), u.set(u.steps), u.steps)).collect();
        let parts = std::iter::once(template.text()).chain(template.sets().iter().map(String::as_str));
        Header::new("size", 0, parts.chain(unknowns.iter().map(String::as_str)))
    }

    /// Answers it.
    ///
    /// # Errors
    /// [`SizingError`] where it is interrupted, or the log or the threads fail.
    pub fn answer(
        &self,
        template: &Template,
        input: &Input,
        frame: &mut Frame<'_>,
    ) -> Result<SizingResult, SizingError> {
        let mut eval = Evaluator::new(template, input, &self.unknowns, &self.needs, frame)?;
        let mut result = SizingResult {
            title: input.network.title.clone(),
            ambient_pressure: input.network.site.ambient_pressure,
            unknowns: self.unknowns.iter().map(|unknown| unknown.sized.clone()).collect(),
            greatest: self.greatest,
            feasible: false,
            answer: None,
            front: Vec::new(),
            best: None,
            neighbours: Vec::new(),
            sensitivities: Vec::new(),
            monotone: None,
            front_whole: None,
            front_proven: None,
            searches: Vec::new(),
            evaluations: 0,
            solve_time: None,
            findings: Vec::new(),
        };
        let point = match self.unknowns.as_slice() {
            [one] => self.one(&mut eval, one, &mut result)?,
            [first, second] => self.front(&mut eval, first, second, &mut result)?,
            _ => {
                let (chosen, searches) = design::search(&mut eval, &self.unknowns, &self.weights)?;
                result.searches = searches;
                let cost = Some(design::cost(&self.unknowns, &self.weights, &chosen.point));
                let design = eval.design(&chosen.point, chosen.trial, cost);
                *if chosen.met { &mut result.answer } else { &mut result.best } = Some(design);
                chosen.met.then_some(chosen.point)
            }
        };
        result.feasible = result.answer.is_some();
        if let Some(point) = point {
            self.about(&mut eval, &point, &mut result)?;
        }
        result.evaluations = eval.evaluations();
        describe(&mut result);
        Ok(result)
    }

    fn one(
        &self,
        eval: &mut Evaluator<'_, '_>,
        unknown: &Unknown,
        result: &mut SizingResult,
    ) -> Result<Option<Vec<u64>>, SizingError> {
        let line = Line { point: vec![0], axis: 0, from: 0, steps: unknown.steps, rises: false };
        let Some(Found { met, best, again, monotone, whole, .. }) = line::search(eval, &[line])?.pop() else {
            return Ok(None);
        };
        result.monotone = Some(monotone && again.is_none());
        if met.is_some() && !monotone && !whole {
            result.findings.push(not_monotone());
        }
        result.best = best.map(|(position, trial)| eval.design(&[position], trial, None));
        if let (Some((position, trial)), true) = (again, met.is_some()) {
            let missed =
                trial.binding().map_or("a run that fails".to_string(), |m| m.criterion.label().replace('_', " "));
            let text = format!("{} misses the requirement again: {missed}", unknown.set(position));
            result.findings.push(Finding::note("missed_again", "", text));
        }
        let Some((position, trial)) = met else { return Ok(None) };
        result.answer = Some(eval.design(&[position], trial, None));
        Ok(Some(vec![position]))
    }

    fn front(
        &self,
        eval: &mut Evaluator<'_, '_>,
        first: &Unknown,
        second: &Unknown,
        result: &mut SizingResult,
    ) -> Result<Option<Vec<u64>>, SizingError> {
        let found = front::find(eval, first, second)?;
        result.monotone = Some(found.monotone);
        if found.doubtful {
            result.findings.push(not_monotone());
        }
        result.front = found.points.iter().map(|(point, trial)| eval.design(point, trial.clone(), None)).collect();
        result.answer = result.front.first().cloned();
        result.best = found.best.map(|(point, trial)| eval.design(&point, trial, None));
        if result.answer.is_some() {
            (result.front_whole, result.front_proven) = (Some(found.whole), Some(found.proven));
        }
        Ok(found.points.into_iter().next().map(|(point, _)| point))
    }

    /// Neighbours of the answer and how it moves.
    fn about(&self, eval: &mut Evaluator<'_, '_>, point: &[u64], result: &mut SizingResult) -> Result<(), SizingError> {
        let trial = eval.at(point)?;
        let Some(binding) = trial.binding().cloned() else { return Ok(()) };
        let share = |trial: &DesignTrial, criterion: Criterion| {
            trial.margins.iter().find(|m| m.criterion == criterion).filter(|_| trial.error.is_none()).map(|m| m.share)
        };
        for (axis, unknown) in self.unknowns.iter().enumerate() {
            let Some(&position) = point.get(axis) else { continue };
            let moved = |to: u64| -> Vec<u64> {
                point.iter().enumerate().map(|(k, &p)| if k == axis { to } else { p }).collect()
            };
            let mut spare = binding.share.max(0.0);
            let mut tightest = binding.criterion;
            if let Some(easier) = position.checked_sub(1) {
                let easier = moved(easier);
                let below = eval.at(&easier)?;
                if !below.met() {
                    tightest = below.binding().map_or(tightest, |m| m.criterion);
                    spare = share(&trial, tightest).unwrap_or(spare).max(0.0);
                    let design = eval.design(&easier, below, None);
                    result.neighbours.push(Neighbour { path: unknown.sized.path.clone(), design });
                }
            }
            let mut per_percent = None;
            if !unknown.sized.count {
                let small = unknown.small();
                let (a, b) = (position.saturating_sub(small), position.saturating_add(small).min(unknown.steps));
                let ends = eval.batch(&[moved(a), moved(b)])?;
                if let [low, high] = ends.as_slice()
                    && let (Some(low), Some(high)) = (share(low, tightest), share(high, tightest))
                {
                    // The margin that a 1 % harder requirement takes: 0.01 of what is reached over what is required.
                    let slope = (high - low) / (unknown.value(b) - unknown.value(a));
                    let move_by = 0.01 / slope;
                    per_percent = Some(move_by)
                        .filter(|by| by.is_finite() && by.abs() < 10.0 * (unknown.sized.high - unknown.sized.low));
                }
            }
            result.sensitivities.push(Sensitivity { path: unknown.sized.path.clone(), per_percent, spare });
        }
        Ok(())
    }
}

fn describe(result: &mut SizingResult) {
    if let Some(best) = &result.best {
        let text = match (&best.trial.error, best.trial.binding()) {
            (Some(error), _) => format!("no design within the bounds could be run: {}", error.trim_end()),
            (None, Some(margin)) => {
                format!(
                    "even the best within the bounds, {}, {}",
                    best.sets.join(", "),
                    words(margin, result.ambient_pressure)
                )
            }
            (None, None) => "no design within the bounds is enough".to_string(),
        };
        let item = best.trial.binding().map_or_else(String::new, |margin| margin.item.clone());
        result.findings.push(Finding { level: Level::Fail, code: "infeasible", item, text });
    }
    if let (Some(whole), Some(proven)) = (result.front_whole, result.front_proven) {
        let all = if whole {
            "no design of the front is left out, where more of either unknown helps"
        } else {
            "the front is a line of which some designs are shown; between two of them lie others"
        };
        let text = format!(
            "{all}; of {proven} of its {} designs both neighbours, either unknown one step easier, were run and miss",
            result.front.len()
        );
        result.findings.push(Finding::note("front", "", text));
    }
    if let (Some(cost), [_, ..]) = (result.answer.as_ref().and_then(|a| a.cost), result.searches.as_slice()) {
        let same = result.searches.iter().flatten().filter(|found| **found <= cost * (1.0 + 1e-9)).count();
        let dearest = result.searches.iter().flatten().fold(cost, |most, found| most.max(*found));
        let text = format!(
            "{same} of {} searches from different designs ended at this cost, the dearest at {}; every design with one \
             unknown a step easier, and with one a step easier and another a step harder that costs less, was run and \
             misses: that is no proof that nothing costs less",
            result.searches.len(),
            crate::units::digits(dearest)
        );
        result.findings.push(Finding::note("searches", "", text));
    }
    if result.answer.as_ref().is_some_and(|answer| answer.trial.margins.is_empty()) {
        let text = "nothing is required: no panel has a required_flux, and the block `sizing` asks for nothing";
        result.findings.push(Finding::note("nothing_required", "", text));
    }
}

fn not_monotone() -> Finding {
    let text = "more did not always help where it was looked at: an easier value between two of those may be enough";
    Finding::note("not_monotone", "", text)
}

/// A requirement and what is reached of it, in words.
fn words(margin: &Margin, ambient_pressure: f64) -> String {
    let print = |value: f64| readable(value, margin.criterion.dimension(), ambient_pressure);
    let (what, wanted) =
        (margin.criterion.label().replace('_', " "), if margin.criterion.is_limit() { "at most" } else { "at least" });
    let of = if margin.item.is_empty() { String::new() } else { format!(" of {}", margin.item) };
    format!("has {what}{of} {} where {wanted} {} is asked for", print(margin.reached), print(margin.required))
}
