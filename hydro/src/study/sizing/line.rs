//! The easiest position of one unknown that meets every requirement, on many lines at the same time.

use super::SizingError;
use super::evaluator::Evaluator;
use crate::result::DesignTrial;

/// Positions looked at on a line first; all of them where it has no more.
const FIRST: u64 = 9;
/// A line with no more positions than this is looked at wholly: its answer needs no assumption.
const WHOLE: u64 = 33;
/// Rounds of a search for the best design where none of the first meets the requirement.
const CLIMBS: usize = 40;

/// One unknown moves, the others stay.
#[derive(Debug, Clone)]
pub struct Line {
    /// Positions of all unknowns; that of the moving one is not used.
    pub point: Vec<u64>,
    /// Which unknown moves.
    pub axis: usize,
    /// The easiest position that is looked at.
    pub from: u64,
    /// The hardest.
    pub steps: u64,
    /// Whether more helps all the way between these: then only the two are looked at first.
    pub rises: bool,
}

/// What was found on a line.
#[derive(Debug, Clone)]
pub struct Found {
    /// The easiest position that meets every requirement, with its trial.
    pub met: Option<(u64, DesignTrial)>,
    /// The position one step easier, which misses one; `None` at the bound.
    pub below: Option<(u64, DesignTrial)>,
    /// The best position, where none meets every requirement.
    pub best: Option<(u64, DesignTrial)>,
    /// A harder position that misses a requirement again.
    pub again: Option<(u64, DesignTrial)>,
    /// Whether the margin never fell on the way to harder positions, up to where all were met.
    pub monotone: bool,
    /// Whether every position was looked at.
    pub whole: bool,
}

impl Line {
    fn at(&self, position: u64) -> Vec<u64> {
        let mut point = self.point.clone();
        if let Some(place) = point.get_mut(self.axis) {
            *place = position;
        }
        point
    }
}

/// A change from missed to met between two positions.
struct Bracket {
    line: usize,
    a: (u64, f64, DesignTrial),
    b: (u64, f64, DesignTrial),
    turn: usize,
    kept: i8,
}

impl Bracket {
    /// The next position to look at, inside; `None` when the two are neighbours.
    fn next(&self) -> Option<u64> {
        let (a, b) = (self.a.0, self.b.0);
        if b - a <= 1 {
            return None;
        }
        // False position with Illinois weights; every third turn, and without finite margins, the middle.
        let (fa, fb) = (self.a.1, self.b.1);
        let share = -fa / (fb - fa);
        let x = a as f64 + share * (b - a) as f64;
        let middle = a + (b - a) / 2;
        if self.turn % 3 == 2 || !x.is_finite() { Some(middle) } else { Some((x.round() as u64).clamp(a + 1, b - 1)) }
    }

    fn take(&mut self, position: u64, trial: DesignTrial) {
        let margin = trial.least();
        self.turn += 1;
        if trial.met() {
            self.b = (position, margin, trial);
            if self.kept > 0 {
                self.a.1 *= 0.5;
            }
            self.kept = 1;
        } else {
            self.a = (position, margin, trial);
            if self.kept < 0 {
                self.b.1 *= 0.5;
            }
            self.kept = -1;
        }
    }
}

/// Searches lines side by side: all that are looked at in one round are run together.
///
/// First a few positions of each (all, where there are few); then the first change from missed to met is closed in to
/// two neighbours. Where none of the first is met, the best is climbed to, in case a few between are.
///
/// # Errors
/// As [`Evaluator::batch`].
pub fn search(eval: &mut Evaluator<'_, '_>, lines: &[Line]) -> Result<Vec<Found>, SizingError> {
    let first = |line: &Line| -> Vec<u64> {
        let span = line.steps.saturating_sub(line.from);
        if line.rises && span > 0 {
            return vec![line.from, line.steps];
        }
        if span < WHOLE {
            return (line.from..=line.steps).collect();
        }
        (0..FIRST).map(|k| line.from + (u128::from(span) * u128::from(k) / u128::from(FIRST - 1)) as u64).collect()
    };
    let positions: Vec<Vec<u64>> = lines.iter().map(first).collect();
    let points = lines.iter().zip(&positions).flat_map(|(line, list)| list.iter().map(|&p| line.at(p)));
    let points: Vec<Vec<u64>> = points.collect();
    let mut trials = eval.batch(&points)?.into_iter();
    let mut found = Vec::with_capacity(lines.len());
    let mut brackets = Vec::new();
    for (k, (line, list)) in lines.iter().zip(&positions).enumerate() {
        let mut row: Vec<(u64, DesignTrial)> = list.iter().copied().zip(trials.by_ref().take(list.len())).collect();
        if !line.rises && !row.iter().any(|(_, trial)| trial.met()) {
            climb(eval, line, &mut row)?;
        }
        let at = row.iter().position(|(_, trial)| trial.met());
        let mut one = Found {
            met: None,
            below: None,
            best: None,
            again: None,
            monotone: true,
            whole: line.steps.saturating_sub(line.from) < WHOLE,
        };
        let Some(at) = at else {
            one.best = row.into_iter().reduce(|a, b| if b.1.least() > a.1.least() { b } else { a });
            found.push(one);
            continue;
        };
        one.monotone = row.iter().take(at + 1).map(|(_, trial)| trial.least()).is_sorted();
        one.again = row.iter().skip(at).find(|(_, trial)| !trial.met()).cloned();
        one.met = row.get(at).cloned();
        if let (Some(a), Some(b)) = (at.checked_sub(1).and_then(|k| row.get(k)), row.get(at)) {
            let end = |(position, trial): &(u64, DesignTrial)| (*position, trial.least(), trial.clone());
            brackets.push(Bracket { line: k, a: end(a), b: end(b), turn: 0, kept: 0 });
        }
        found.push(one);
    }
    loop {
        let open: Vec<(usize, u64)> =
            brackets.iter().enumerate().filter_map(|(k, bracket)| Some((k, bracket.next()?))).collect();
        if open.is_empty() {
            break;
        }
        let points: Vec<Vec<u64>> =
            open.iter().filter_map(|&(k, p)| Some(lines.get(brackets.get(k)?.line)?.at(p))).collect();
        for ((k, position), trial) in open.into_iter().zip(eval.batch(&points)?) {
            if let Some(bracket) = brackets.get_mut(k) {
                bracket.take(position, trial);
            }
        }
    }
    for bracket in brackets {
        if let Some(one) = found.get_mut(bracket.line) {
            one.met = Some((bracket.b.0, bracket.b.2));
            one.below = Some((bracket.a.0, bracket.a.2));
        }
    }
    Ok(found)
}

/// Looks for the greatest margin about the best of a row, halving the distances; adds what it looks at to the row, in
/// order, and stops where a requirement is met.
fn climb(eval: &mut Evaluator<'_, '_>, line: &Line, row: &mut Vec<(u64, DesignTrial)>) -> Result<(), SizingError> {
    for _ in 0..CLIMBS {
        let best = (0..row.len()).reduce(|a, b| if row[b].1.least() > row[a].1.least() { b } else { a });
        let Some(best) = best else { return Ok(()) };
        let middle = |a: usize, b: usize| {
            let (a, b) = (row.get(a)?.0, row.get(b)?.0);
            (b - a > 1).then_some(a + (b - a) / 2)
        };
        let sides = [best.checked_sub(1).and_then(|k| middle(k, best)), middle(best, best + 1)];
        let fresh: Vec<u64> = sides.into_iter().flatten().collect();
        if fresh.is_empty() {
            return Ok(());
        }
        let points: Vec<Vec<u64>> = fresh.iter().map(|&position| line.at(position)).collect();
        row.extend(fresh.iter().copied().zip(eval.batch(&points)?));
        row.sort_by_key(|(position, _)| *position);
        if row.iter().any(|(_, trial)| trial.met()) {
            return Ok(());
        }
    }
    Ok(())
}
