//! Two unknowns: all designs of which neither can be eased without the other.

use std::collections::{BTreeMap, BTreeSet};

use super::SizingError;
use super::evaluator::Evaluator;
use super::line::{self, Found, Line};
use super::unknown::Unknown;
use crate::result::DesignTrial;

/// Lines looked at first.
const FIRST: u64 = 21;
/// An unknown with no more steps than this is followed value by value.
const EVERY: u64 = 200;
/// Where neither unknown is followed value by value: parts of the front's own extent that two designs beside each other
/// may differ by in the second unknown.
const FINE: u64 = 20;
/// Most lines that are looked at.
const MOST_LINES: usize = 400;

/// A point of the front and how it does.
pub type Point = (Vec<u64>, DesignTrial);

/// The front of two unknowns.
pub struct Front {
    /// Its designs, the first unknown rising.
    pub points: Vec<Point>,
    /// Where nothing meets every requirement: the best design.
    pub best: Option<Point>,
    /// Whether more of an unknown always helped where it was looked at.
    pub monotone: bool,
    /// Whether an easier value between two of those looked at may be enough on a line.
    pub doubtful: bool,
    /// Whether no design of the front is left out: every value of one unknown was followed, or lies between two equal ones.
    pub whole: bool,
    /// Designs of the front of which both neighbours, either unknown one step easier, were run and miss.
    pub proven: usize,
}

struct Search<'s> {
    unknowns: [&'s Unknown; 2],
    /// The unknown whose values are followed; on each line the other one is looked for.
    along: usize,
    lines: BTreeMap<u64, Found>,
    /// Lines that were looked at from end to end.
    wholly: BTreeSet<u64>,
}

/// Finds the front.
///
/// The least of one unknown is looked for at 21 values of the other, the one with fewer steps; then between two that
/// differ, until none is left between (a count, or at most 200 steps) or the front is told finely enough. What is looked
/// for between two lines lies between their answers where more of either unknown helps. At the end the neighbours of
/// every design are run: one that does meet the requirements shows that more did not help, and begins a line of its own.
///
/// # Errors
/// As [`Evaluator::batch`].
pub fn find(eval: &mut Evaluator<'_, '_>, first: &Unknown, second: &Unknown) -> Result<Front, SizingError> {
    let along = usize::from(first.steps > EVERY && second.steps <= EVERY);
    let mut search = Search { unknowns: [first, second], along, lines: BTreeMap::new(), wholly: BTreeSet::new() };
    let steps = search.steps();
    let count = (steps + 1).min(FIRST);
    let at = |k: u64| (u128::from(steps) * u128::from(k) / u128::from((count - 1).max(1))) as u64;
    let mut wanted: Vec<(u64, [u64; 2])> = (0..count).map(|k| (at(k), [0, search.other_steps()])).collect();
    let mut unproven: BTreeSet<u64> = BTreeSet::new();
    let mut helped = true;
    while !wanted.is_empty() && search.lines.len() < MOST_LINES {
        search.look(eval, &wanted)?;
        wanted = search.between();
        if wanted.is_empty() {
            unproven = search.disprove(eval)?;
            // A neighbour that is enough: its own line is looked at wholly.
            wanted = unproven.iter().filter(|at| !search.wholly.contains(at)).map(|&at| (at, search.whole())).collect();
            helped &= unproven.is_empty();
        }
    }
    let complete = wanted.is_empty() && (search.steps() <= EVERY || search.gaps().next().is_none());
    Ok(search.finish(unproven.len(), complete, helped))
}

impl Search<'_> {
    fn steps(&self) -> u64 {
        self.unknowns[self.along].steps
    }

    fn other_steps(&self) -> u64 {
        self.unknowns[1 - self.along].steps
    }

    fn whole(&self) -> [u64; 2] {
        [0, self.other_steps()]
    }

    /// The design at a position of the unknown that is followed and one of the other.
    fn point(&self, at: u64, other: u64) -> Vec<u64> {
        if self.along == 0 { vec![at, other] } else { vec![other, at] }
    }

    /// Looks at lines, each between two positions of the other unknown; at the whole line where there is nothing between.
    fn look(&mut self, eval: &mut Evaluator<'_, '_>, wanted: &[(u64, [u64; 2])]) -> Result<(), SizingError> {
        let line = |&(at, [from, steps]): &(u64, [u64; 2])| {
            let rises = [from, steps] != self.whole();
            Line { point: self.point(at, 0), axis: 1 - self.along, from, steps, rises }
        };
        let lines: Vec<Line> = wanted.iter().map(line).collect();
        let found = line::search(eval, &lines)?;
        let mut again = Vec::new();
        for (&(at, range), one) in wanted.iter().zip(found) {
            if range == self.whole() {
                self.wholly.insert(at);
            }
            // Less than between its neighbours' answers: more of the one followed did not help.
            if one.met.is_none() && range[1] < self.other_steps() {
                again.push((at, self.whole()));
            }
            self.lines.insert(at, one);
        }
        if again.is_empty() { Ok(()) } else { self.look(eval, &again) }
    }

    /// Answers of the lines: the least of the other unknown; one more than there is where nothing is enough.
    fn answers(&self) -> Vec<(u64, u64)> {
        let none = self.other_steps() + 1;
        self.lines.iter().map(|(&at, one)| (at, one.met.as_ref().map_or(none, |(p, _)| *p))).collect()
    }

    /// Two lines beside each other with something between that may be on the front, with their answers.
    fn gaps(&self) -> impl Iterator<Item = [(u64, u64); 2]> {
        let answers = self.answers();
        let pairs: Vec<_> = answers.windows(2).filter_map(|w| Some([*w.first()?, *w.get(1)?])).collect();
        pairs.into_iter().filter(|[a, b]| b.0 - a.0 > 1 && a.1 > b.1)
    }

    /// Lines to look at next: in the middle between two whose answers differ by more than is fine enough.
    fn between(&self) -> Vec<(u64, [u64; 2])> {
        let none = self.other_steps();
        let met: Vec<u64> = self.answers().into_iter().map(|(_, other)| other).filter(|&other| other <= none).collect();
        let extent = met.iter().max().zip(met.iter().min()).map_or(0, |(most, least)| most - least);
        let every = self.steps() <= EVERY;
        let coarse = |[a, b]: &[(u64, u64); 2]| {
            let apart = b.0 - a.0 > (self.steps() / 1000).max(1);
            every || (apart && (a.1 > none || a.1 - b.1 > (extent / FINE).max(1)))
        };
        self.gaps().filter(coarse).map(|[a, b]| (a.0 + (b.0 - a.0) / 2, [b.1.min(none), a.1.min(none)])).collect()
    }

    /// The front: positions of the unknown followed, and of the other, which falls.
    fn front(&self) -> Vec<(u64, u64)> {
        let mut least = self.other_steps() + 1;
        let falls = |&(_, other): &(u64, u64)| {
            let on = other < least;
            least = least.min(other);
            on
        };
        self.answers().into_iter().filter(falls).collect()
    }

    /// Runs both neighbours of every design of the front; the lines of those that are enough after all.
    fn disprove(&self, eval: &mut Evaluator<'_, '_>) -> Result<BTreeSet<u64>, SizingError> {
        let mut asked = Vec::new();
        for (at, other) in self.front() {
            asked.extend(at.checked_sub(1).map(|easier| (easier, self.point(easier, other))));
            asked.extend(other.checked_sub(1).map(|easier| (at, self.point(at, easier))));
        }
        let points: Vec<Vec<u64>> = asked.iter().map(|(_, point)| point.clone()).collect();
        let trials = eval.batch(&points)?;
        Ok(asked.into_iter().zip(trials).filter(|(_, trial)| trial.met()).map(|((line, _), _)| line).collect())
    }

    fn finish(mut self, unproven: usize, whole: bool, helped: bool) -> Front {
        let front = self.front();
        let lines: Vec<&Found> = self.lines.values().collect();
        let monotone = helped && lines.iter().all(|one| one.monotone && one.again.is_none());
        let doubtful = lines.iter().any(|one| one.met.is_some() && !one.monotone && !one.whole);
        let mut best: Option<Point> = None;
        for (&at, one) in &self.lines {
            if let Some((other, trial)) = &one.best
                && best.as_ref().is_none_or(|(_, t)| trial.least() > t.least())
            {
                best = Some((self.point(at, *other), trial.clone()));
            }
        }
        let mut points = Vec::new();
        for (at, other) in &front {
            if let Some((_, trial)) = self.lines.remove(at).and_then(|one| one.met) {
                points.push((self.point(*at, *other), trial));
            }
        }
        points.sort_by(|a, b| a.0.cmp(&b.0));
        let proven = points.len().saturating_sub(unproven);
        Front { best: best.filter(|_| points.is_empty()), points, monotone, doubtful, whole, proven }
    }
}
