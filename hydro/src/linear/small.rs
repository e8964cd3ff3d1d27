//! Factorisation of systems with few entries: `L D L^T` with every operation written out.
//!
//! A byte tells all numbers apart, so lists of operations are short, run on without a look at rows and columns, and no index is
//! ever out of the bounds of 256 numbers. Solutions are found in place: the order of elimination is that of the lists.

use super::order::Structure;
use super::table::{places, products, targets};
use super::{NotPositiveDefinite, Pattern};
use std::sync::Arc;

/// Most numbers of a factor.
const MOST: usize = 256;

/// Operations by their places among the numbers; the first `n` numbers are the pivots of the original rows, then come the entries
/// below the diagonal in the order of elimination.
#[derive(Debug)]
struct Plan {
    /// Place of each slot of the pattern.
    places: Vec<u8>,
    columns: Vec<Column>,
    /// `number[2] -= factor number[1]` with the factor `number[0]/pivot`, column after column.
    products: Vec<[u8; 3]>,
    /// Original column and row of each entry below the diagonal.
    ends: Vec<[u8; 2]>,
}

/// A column to eliminate.
#[derive(Debug, Clone, Copy)]
struct Column {
    /// Original row of its pivot.
    pivot: u8,
    /// How many products it has.
    products: u16,
}

/// Numbers of one factorisation; the plan is shared between clones.
#[derive(Debug, Clone)]
pub(super) struct SmallFactor {
    plan: Arc<Plan>,
    /// Reciprocal pivots and entries.
    numbers: Box<[f64; MOST]>,
    /// Unit lower triangle, in the places of its entries.
    factors: Box<[f64; MOST]>,
    work: Box<[f64; MOST]>,
}

impl SmallFactor {
    /// Writes the operations; `None` where a byte does not tell the numbers apart.
    pub(super) fn new(pattern: &Pattern, structure: &Structure) -> Option<Self> {
        let Structure { original, start, row, .. } = structure;
        let n = original.len();
        if row.len() > MOST {
            return None;
        }
        let targets = targets(start, row, products(structure));
        // Where the numbers of the factor stand here.
        let (mut place, mut ends) = (Vec::with_capacity(row.len()), Vec::with_capacity(row.len() - n));
        for (bounds, &pivot) in start.windows(2).zip(original) {
            place.push(pivot as u8);
            for &below in &row[bounds[0] as usize + 1..bounds[1] as usize] {
                place.push((n + ends.len()) as u8);
                ends.push([pivot as u8, original[below as usize] as u8]);
            }
        }
        let (mut columns, mut products) = (Vec::with_capacity(n), vec![[0; 3]; targets.len()]);
        let mut next = 0;
        for (bounds, &pivot) in start.windows(2).zip(original) {
            let [first, end] = [bounds[0] as usize + 1, bounds[1] as usize];
            let before = next;
            for at in first..end {
                let one = place[at];
                let to = next + end - at;
                for ((product, &other), &target) in
                    products[next..to].iter_mut().zip(&place[at..]).zip(&targets[next..])
                {
                    *product = [one, other, place[end + target as usize]];
                }
                next = to;
            }
            columns.push(Column { pivot: pivot as u8, products: (next - before) as u16 });
        }
        let places = places(pattern, structure)?.into_iter().map(|at| place[at as usize]).collect();
        let plan = Arc::new(Plan { places, columns, products, ends });
        let [numbers, factors, work] = std::array::from_fn(|_| Box::new([0.0; MOST]));
        Some(Self { plan, numbers, factors, work })
    }

    /// Factorises the matrix with the given values.
    pub(super) fn factor(&mut self, values: &[f64]) -> Result<(), NotPositiveDefinite> {
        let (plan, numbers, factors) = (&*self.plan, &mut *self.numbers, &mut *self.factors);
        let n = plan.columns.len();
        numbers[..n + plan.ends.len()].fill(0.0);
        for (&place, &value) in plan.places.iter().zip(values) {
            numbers[place as usize] = value;
        }
        let mut products = &plan.products[..];
        for &column in &plan.columns {
            let pivot = numbers[column.pivot as usize];
            // That of an infinite pivot is 0.
            let reciprocal = 1.0 / pivot;
            if !(pivot > 0.0 && reciprocal > 0.0) {
                return Err(NotPositiveDefinite { row: column.pivot as usize });
            }
            numbers[column.pivot as usize] = reciprocal;
            let (own, later) = products.split_at(column.products as usize);
            products = later;
            let mut take_off = |&[one, other, target]: &[u8; 3]| {
                numbers[target as usize] -= numbers[one as usize] * reciprocal * numbers[other as usize];
            };
            let (threes, rest) = own.as_chunks::<3>();
            threes.iter().for_each(|three| three.iter().for_each(&mut take_off));
            rest.iter().for_each(take_off);
        }
        let below = factors[n..].iter_mut().zip(&numbers[n..]);
        for ((factor, number), &[column, _]) in below.zip(&plan.ends) {
            *factor = number * numbers[column as usize];
        }
        Ok(())
    }

    /// Replaces a right-hand side by the solution.
    pub(super) fn solve(&mut self, rhs: &mut [f64]) {
        let (plan, n) = (&*self.plan, rhs.len());
        let x = &mut *self.work;
        x[..n].copy_from_slice(rhs);
        let mut take_off = |from: u8, to: u8, factor: f64| x[to as usize] -= factor * x[from as usize];
        let factors = &self.factors[n..n + plan.ends.len()];
        let ((ends, last_ends), (factors, last_factors)) = (plan.ends.as_chunks::<4>(), factors.as_chunks::<4>());
        let last = || last_ends.iter().zip(last_factors);
        for (ends, factors) in ends.iter().zip(factors) {
            ends.iter().zip(factors).for_each(|(&[column, row], &factor)| take_off(column, row, factor));
        }
        last().for_each(|(&[column, row], &factor)| take_off(column, row, factor));
        for (x, reciprocal) in x[..n].iter_mut().zip(&self.numbers[..n]) {
            *x *= reciprocal;
        }
        let mut take_off = |from: u8, to: u8, factor: f64| x[to as usize] -= factor * x[from as usize];
        last().rev().for_each(|(&[column, row], &factor)| take_off(row, column, factor));
        for (ends, factors) in ends.iter().zip(factors).rev() {
            ends.iter().zip(factors).rev().for_each(|(&[column, row], &factor)| take_off(row, column, factor));
        }
        rhs.copy_from_slice(&x[..n]);
    }
}
