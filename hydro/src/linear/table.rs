//! Factorisation of systems with little fill: `L D L^T` with every step of the elimination looked up in a table.
//!
//! All places are fixed by the pattern, so the elimination runs down a list of destinations and searches nothing.
//! The list grows with the operations, not with the entries, which is why only systems that are small or nearly trees
//! use it.

use super::order::Structure;
use super::{NotPositiveDefinite, Pattern};
use std::sync::Arc;

/// Place of a row among rising ones from a place on; it is near in most columns, so that a few are looked through before the
/// search goes by halves.
#[inline(always)]
fn seek(rows: &[u32], from: usize, row: u32) -> Option<usize> {
    let rest = rows.get(from..)?;
    if let [first, second, ..] = rest {
        if *first == row {
            return Some(from);
        }
        if *second == row {
            return Some(from + 1);
        }
    }
    let near = rest.iter().take(NEAR).position(|&other| other == row);
    Some(from + near.or_else(|| rest.binary_search(&row).ok())?)
}

/// Rows that are looked through one by one.
const NEAR: usize = 8;

/// Places of all numbers, in elimination order; row and column here count eliminated rows.
#[derive(Debug)]
struct Plan {
    /// Original row of each eliminated row.
    original: Vec<u32>,
    /// Place in the factor of each slot of the pattern.
    scatter: Vec<u32>,
    /// Start of each column of the factor, the diagonal first.
    start: Vec<u32>,
    /// Row of each place of the factor.
    row: Vec<u32>,
    /// Destination of each product of two entries of a column below its diagonal, column after column, counted from the end
    /// of that column.
    target: Vec<u32>,
}

/// A column that reaches later ones: the next row that it reaches, and where its products go on.
#[derive(Clone, Copy)]
struct Reaching {
    /// Place of that row, and end of the column.
    at: u32,
    end: u32,
    /// Next of its products.
    next: usize,
    /// Another column that reaches the same row.
    behind: u32,
}

/// Destinations of the products of all columns; `products`: how many there are.
///
/// Column after column that products fall into: its rows are put down by their places, and each earlier column that reaches it
/// reads them off from there on. An earlier column stands in the list of the next column that it reaches.
pub(super) fn targets(start: &[u32], row: &[u32], products: usize) -> Vec<u32> {
    let n = start.len() - 1;
    let (mut target, mut place, mut list) = (vec![0; products], vec![0; n], vec![NONE; n]);
    let (mut columns, mut next) = (Vec::with_capacity(n), 0);
    for (j, bounds) in start.windows(2).enumerate() {
        let [first, end] = [bounds[0], bounds[1]];
        let rows = &row[first as usize..end as usize];
        for (&row, at) in rows.iter().zip(first..) {
            place[row as usize] = at;
        }
        let mut reaching = list[j];
        while let Some(column) = columns.get_mut(reaching as usize) {
            let Reaching { at, end, next, behind } = *column;
            let rows = &row[at as usize..end as usize];
            for (target, &row) in target[next..].iter_mut().zip(rows) {
                *target = place[row as usize] - end;
            }
            (column.at, column.next) = (at + 1, next + rows.len());
            if let Some(&later) = rows.get(1) {
                column.behind = std::mem::replace(&mut list[later as usize], reaching);
            }
            reaching = behind;
        }
        let behind = rows.get(1).map_or(NONE, |&later| std::mem::replace(&mut list[later as usize], j as u32));
        columns.push(Reaching { at: first + 1, end, next, behind });
        next += rows.len() * (rows.len() - 1) / 2;
    }
    target
}

/// Place in the factor of each slot of the pattern.
pub(super) fn places(pattern: &Pattern, structure: &Structure) -> Option<Vec<u32>> {
    let Structure { eliminated, start, row, .. } = structure;
    let mut places = Vec::with_capacity(pattern.len());
    for (column, &own) in pattern.col_start().windows(2).zip(eliminated) {
        places.push(start[own as usize]);
        for &i in &pattern.rows()[column[0] as usize + 1..column[1] as usize] {
            let other = eliminated[i as usize];
            let (column, row_there) = (own.min(other) as usize, own.max(other));
            let rows = &row[..start[column + 1] as usize];
            places.push(seek(rows, start[column] as usize + 1, row_there)? as u32);
        }
    }
    Some(places)
}

/// How many products there are of two entries of a column below its diagonal.
pub(super) fn products(structure: &Structure) -> usize {
    let below = structure.start.windows(2).map(|bounds| (bounds[1] - bounds[0] - 1) as usize);
    below.map(|below| below * (below + 1) / 2).sum()
}

/// End of a list of columns.
const NONE: u32 = u32::MAX;

/// Numbers of one factorisation; the plan is shared between clones.
#[derive(Debug, Clone)]
pub(super) struct TableFactor {
    plan: Arc<Plan>,
    /// Unit lower triangle below the diagonal, reciprocal pivots on it.
    lower: Vec<f64>,
    /// Right-hand side in elimination order.
    work: Vec<f64>,
}

impl TableFactor {
    /// Writes the table, or returns `None` when it would be longer than `limit`.
    pub(super) fn new(pattern: &Pattern, structure: Structure, limit: usize) -> Option<Self> {
        let products = products(&structure);
        if products > limit {
            return None;
        }
        let scatter = places(pattern, &structure)?;
        let Structure { original, start, row, .. } = structure;
        let target = targets(&start, &row, products);
        let plan = Plan { original, scatter, start, row, target };
        Some(Self { lower: vec![0.0; plan.row.len()], work: vec![0.0; pattern.n()], plan: Arc::new(plan) })
    }

    /// Factorises the matrix with the given values.
    pub(super) fn factor(&mut self, values: &[f64]) -> Result<(), NotPositiveDefinite> {
        let plan = &*self.plan;
        let lower = &mut self.lower[..];
        lower.fill(0.0);
        for (&place, &value) in plan.scatter.iter().zip(values) {
            lower[place as usize] = value;
        }
        let mut targets = plan.target.iter();
        for (k, bounds) in plan.start.windows(2).enumerate() {
            // The products of a column all fall into later columns.
            let (done, later) = lower.split_at_mut(bounds[1] as usize);
            let Some((pivot, below)) = done[bounds[0] as usize..].split_first_mut() else { continue };
            // That of an infinite pivot is 0.
            let reciprocal = 1.0 / *pivot;
            if !(*pivot > 0.0 && reciprocal > 0.0) {
                return Err(NotPositiveDefinite { row: plan.original[k] as usize });
            }
            *pivot = reciprocal;
            for at in 0..below.len() {
                let factor = below[at] * reciprocal;
                for (&entry, &target) in below[at..].iter().zip(targets.by_ref()) {
                    later[target as usize] -= factor * entry;
                }
                below[at] = factor;
            }
        }
        Ok(())
    }

    /// Replaces a right-hand side by the solution.
    pub(super) fn solve(&mut self, rhs: &mut [f64]) {
        let plan = &*self.plan;
        let x = &mut self.work[..];
        for (x, &original) in x.iter_mut().zip(&plan.original) {
            *x = rhs[original as usize];
        }
        for (k, bounds) in plan.start.windows(2).enumerate() {
            let below = bounds[0] as usize + 1..bounds[1] as usize;
            let value = x[k];
            for (&row, &entry) in plan.row[below.clone()].iter().zip(&self.lower[below]) {
                x[row as usize] -= entry * value;
            }
        }
        for (k, bounds) in plan.start.windows(2).enumerate().rev() {
            let below = bounds[0] as usize + 1..bounds[1] as usize;
            let mut value = x[k] * self.lower[bounds[0] as usize];
            for (&row, &entry) in plan.row[below.clone()].iter().zip(&self.lower[below]) {
                value -= entry * x[row as usize];
            }
            x[k] = value;
        }
        for (&x, &original) in x.iter().zip(&plan.original) {
            rhs[original as usize] = x;
        }
    }
}
