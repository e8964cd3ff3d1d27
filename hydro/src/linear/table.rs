//! Factorisation of systems with little fill: `L D L^T` with every step of the elimination looked up in a table.
//!
//! All places are fixed by the pattern, so the elimination runs down a list of destinations and searches nothing.
//! The list grows with the operations, not with the entries, which is why only systems that are small or nearly trees
//! use it.

use super::{NotPositiveDefinite, Pattern};
use faer::perm::PermRef;
use faer::sparse::linalg::cholesky::simplicial::SymbolicSimplicialCholesky;
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
    pub(super) fn new(
        pattern: &Pattern,
        structure: &SymbolicSimplicialCholesky<u32>,
        perm: PermRef<'_, u32>,
        limit: usize,
    ) -> Option<Self> {
        let (start, row) = (structure.col_ptr(), structure.row_idx());
        let (original, eliminated) = perm.arrays();
        let column = |k: usize| start[k] as usize..start[k + 1] as usize;
        let products: usize = (0..pattern.n()).map(|k| column(k).len() * (column(k).len() - 1) / 2).sum();
        if products > limit {
            return None;
        }
        let mut scatter = Vec::with_capacity(pattern.len());
        for (j, &own) in eliminated.iter().enumerate() {
            for &i in &pattern.rows()[pattern.diagonal(j)..pattern.diagonal(j + 1)] {
                let other = eliminated[i as usize];
                let column = column(own.min(other) as usize);
                scatter.push(seek(&row[..column.end], column.start, own.max(other))? as u32);
            }
        }
        let mut target = vec![0; products];
        let mut targets = target.iter_mut();
        for k in 0..pattern.n() {
            let below = &row[column(k)][1..];
            for (at, &j) in below.iter().enumerate() {
                // The rows of a column below its diagonal are among those of each column that it reaches, both rising.
                let column = column(j as usize);
                let (rows, mut next) = (&row[..column.end], column.start);
                for &i in &below[at..] {
                    let place = seek(rows, next, i)?;
                    *targets.next()? = place as u32 - start[k + 1];
                    next = place + 1;
                }
            }
        }
        let plan = Plan { original: original.to_vec(), scatter, start: start.to_vec(), row: row.to_vec(), target };
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
            if !(*pivot > 0.0 && *pivot < f64::INFINITY) {
                return Err(NotPositiveDefinite { row: plan.original[k] as usize });
            }
            let reciprocal = 1.0 / *pivot;
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
