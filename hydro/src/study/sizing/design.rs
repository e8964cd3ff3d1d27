//! Three or more unknowns: a design of least cost that no small change makes cheaper.

use super::SizingError;
use super::evaluator::Evaluator;
use super::line::{self, Line};
use super::unknown::Unknown;
use crate::result::DesignTrial;

/// Rounds of the search.
const ROUNDS: usize = 400;

/// Positions, trial and cost of the design found; where no design meets every requirement the best one, and false.
pub struct Chosen {
    /// Positions.
    pub point: Vec<u64>,
    /// How it does.
    pub trial: DesignTrial,
    /// Whether it meets every requirement.
    pub met: bool,
}

/// Sum of weights and values.
pub fn cost(unknowns: &[Unknown], weights: &[f64], point: &[u64]) -> f64 {
    unknowns.iter().zip(weights).zip(point).map(|((unknown, weight), &p)| weight * unknown.value(p)).sum()
}

/// Most designs that are searched from.
const STARTS: usize = 7;

/// Searches from several designs, and gives the cheapest that was found, with what each search came to (`None`: it found
/// nothing that is enough): from the hardest positions, and from those with one unknown at its easiest.
///
/// # Errors
/// As [`Evaluator::batch`].
pub fn search(
    eval: &mut Evaluator<'_, '_>,
    unknowns: &[Unknown],
    weights: &[f64],
) -> Result<(Chosen, Vec<Option<f64>>), SizingError> {
    let hardest: Vec<u64> = unknowns.iter().map(|unknown| unknown.steps).collect();
    let mut chosen = search_from(eval, unknowns, weights, hardest.clone())?;
    let spent = |chosen: &Chosen| chosen.met.then(|| cost(unknowns, weights, &chosen.point));
    let mut found = vec![spent(&chosen)];
    for k in 0..unknowns.len().min(STARTS - 1) {
        let start = hardest.iter().enumerate().map(|(at, &p)| if at == k { 0 } else { p }).collect();
        let next = search_from(eval, unknowns, weights, start)?;
        let better = match (spent(&next), spent(&chosen)) {
            (Some(next), Some(best)) => next < best - 1e-12 * best.abs(),
            (Some(_), None) => true,
            (None, Some(_)) => false,
            (None, None) => next.trial.least() > chosen.trial.least(),
        };
        found.push(spent(&next));
        if better {
            chosen = next;
        }
    }
    Ok((chosen, found))
}

/// Searches from a design: steps of one unknown, and of one down with another up, each round the
/// cheapest design that meets every requirement; where there is none the steps are halved. At the end every unknown is
/// eased to its last step, the dearest first. A pattern search (Hooke and Jeeves 1961) with exchanges; deterministic.
///
/// # Errors
/// As [`Evaluator::batch`].
fn search_from(
    eval: &mut Evaluator<'_, '_>,
    unknowns: &[Unknown],
    weights: &[f64],
    mut point: Vec<u64>,
) -> Result<Chosen, SizingError> {
    let mut trial = eval.at(&point)?;
    let mut steps: Vec<u64> = unknowns.iter().map(|unknown| unknown.steps.div_ceil(4).max(1)).collect();
    let least: Vec<u64> = unknowns.iter().map(Unknown::small).collect();
    let mut spent = cost(unknowns, weights, &point);
    for _ in 0..ROUNDS {
        let polls = polls(&point, &steps, unknowns);
        let trials = eval.batch(&polls)?;
        // First towards what meets the requirements, then towards what is cheap.
        let seeks = !trial.met();
        let rank = |point: &Vec<u64>, trial: &DesignTrial| match (seeks, trial.met()) {
            (true, _) => Some(-trial.least()),
            (false, true) => Some(cost(unknowns, weights, point)),
            (false, false) => None,
        };
        let now = if seeks { -trial.least() } else { spent };
        let better = polls.into_iter().zip(trials).filter_map(|(p, t)| Some((rank(&p, &t)?, p, t)));
        let better = better.filter(|(value, ..)| *value < now - 1e-12 * now.abs());
        match better.min_by(|a, b| a.0.total_cmp(&b.0)) {
            Some((_, p, t)) => {
                spent = cost(unknowns, weights, &p);
                (point, trial) = (p, t);
            }
            None if steps.iter().zip(&least).all(|(step, least)| step <= least) => break,
            None => steps.iter_mut().zip(&least).for_each(|(step, least)| *step = (*step / 2).max(*least)),
        }
    }
    if trial.met() {
        ease(eval, unknowns, weights, &mut point, &mut trial)?;
    }
    Ok(Chosen { met: trial.met(), point, trial })
}

/// Designs about a point: each unknown a step down or up, and one down with another up.
fn polls(point: &[u64], steps: &[u64], unknowns: &[Unknown]) -> Vec<Vec<u64>> {
    let mut polls = Vec::new();
    let moved = |at: usize, up: bool, from: &[u64]| -> Option<Vec<u64>> {
        let mut to = from.to_vec();
        let (place, step, most) = (to.get_mut(at)?, *steps.get(at)?, unknowns.get(at)?.steps);
        *place = if up { place.saturating_add(step).min(most) } else { place.saturating_sub(step) };
        (to != from).then_some(to)
    };
    for i in 0..point.len() {
        polls.extend(moved(i, false, point));
        polls.extend(moved(i, true, point));
        for j in (0..point.len()).filter(|&j| j != i) {
            polls.extend(moved(i, false, point).and_then(|down| moved(j, true, &down)));
        }
    }
    polls
}

/// Eases each unknown as far as it goes with the others kept, the one with the most cost a step first, until none moves.
fn ease(
    eval: &mut Evaluator<'_, '_>,
    unknowns: &[Unknown],
    weights: &[f64],
    point: &mut Vec<u64>,
    trial: &mut DesignTrial,
) -> Result<(), SizingError> {
    let mut order: Vec<usize> = (0..unknowns.len()).collect();
    let span =
        |k: usize| unknowns.get(k).map_or(0.0, |u| u.sized.high - u.sized.low) * weights.get(k).unwrap_or(&0.0).abs();
    order.sort_by(|&a, &b| span(b).total_cmp(&span(a)));
    for _ in 0..ROUNDS {
        let before = point.clone();
        for &axis in &order {
            let Some(&steps) = point.get(axis) else { continue };
            let line = Line { point: point.clone(), axis, from: 0, steps, rises: false };
            let Some((position, at)) = line::search(eval, &[line])?.pop().and_then(|found| found.met) else { continue };
            if let Some(place) = point.get_mut(axis) {
                *place = position;
            }
            *trial = at;
        }
        if *point == before {
            break;
        }
    }
    Ok(())
}
