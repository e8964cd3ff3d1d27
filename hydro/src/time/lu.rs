//! LU factors of matrices most of whose numbers are zero; those of nalgebra allocate for every matrix and skip no zero.
//!
//! One [`Plan`] serves as long as it leaves out no number that is not zero and no pivot has become small.

mod blocks;
mod plan;
#[cfg(test)]
mod tests;

use nalgebra::DMatrix;
use plan::Plan;
use std::ops::IndexMut;

/// Factors of a small matrix `I - c A`, as Newton's method has it for a step of time.
#[derive(Debug, Clone)]
pub struct Lu {
    plan: Plan,
    /// Reciprocals of the pivots and the other numbers, in the places of the plan.
    numbers: Vec<f64>,
}

/// Numbers that a list of fixed length holds, all of whose indices are within it; and those that a byte tells apart.
const LIST: usize = 1024;
const BYTE: usize = 256;

impl Lu {
    /// Room for an `n` by `n` matrix.
    pub fn new(n: usize) -> Self {
        Self { plan: Plan::new(n), numbers: vec![0.0; n] }
    }

    /// Factorises `I - c A`, where of A the first rows and columns count; `false` if that is singular or not finite.
    ///
    /// # Panics
    /// If A is smaller than that (an error of the program, not of the data).
    pub fn factor(&mut self, c: f64, a: &DMatrix<f64>) -> bool {
        self.plan.served += 1;
        if self.plan.fits(a) && self.eliminate(c, a.as_slice()) {
            return true;
        }
        let planned = self.plan.renew(c, a);
        self.numbers.resize(self.plan.len().max(LIST), 0.0);
        planned && self.eliminate(c, a.as_slice())
    }

    /// Eliminates by the plan; `false` where a number is not finite or a pivot too small.
    fn eliminate(&mut self, c: f64, a: &[f64]) -> bool {
        let (plan, length) = (&self.plan, self.plan.len());
        self.numbers[..length].fill(0.0);
        if let Some(numbers) = self.numbers.first_chunk_mut::<BYTE>()
            && length <= BYTE
        {
            eliminate(plan, c, a, numbers, |place| place as usize % BYTE)
        } else if let Some(numbers) = self.numbers.first_chunk_mut::<LIST>()
            && length <= LIST
        {
            eliminate(plan, c, a, numbers, |place| place as usize % LIST)
        } else {
            eliminate(plan, c, a, &mut self.numbers[..], |place| place as usize)
        }
    }

    /// Replaces a right-hand side of as many numbers by the solution.
    pub fn solve(&self, x: &mut [f64]) {
        if x.len() > BYTE {
            return self.sweep(x, |place| place as usize);
        }
        let mut all = [0.0; BYTE];
        all[..x.len()].copy_from_slice(x);
        self.sweep(&mut all, |place| place as usize % BYTE);
        x.copy_from_slice(&all[..x.len()]);
    }

    #[inline(always)]
    fn sweep<X: IndexMut<usize, Output = f64> + ?Sized>(&self, x: &mut X, at: impl Fn(u32) -> usize) {
        let (pivots, mut numbers) = self.numbers[..self.plan.len()].split_at(self.plan.n());
        let (mut ends, mut steps) = (&self.plan.ends[..], &self.plan.steps[..]);
        let take_off = |x: &mut X, ends: &[[u32; 2]], numbers: &[f64]| {
            let mut take = |(&[to, from], &number): (&[u32; 2], &f64)| x[at(to)] -= number * x[at(from)];
            let ((ends, last_ends), (numbers, last)) = (ends.as_chunks::<4>(), numbers.as_chunks::<4>());
            ends.iter().zip(numbers).for_each(|(ends, numbers)| ends.iter().zip(numbers).for_each(&mut take));
            last_ends.iter().zip(last).for_each(take);
        };
        for &[below, pivoted, above, onward] in &self.plan.turns {
            take_off(x, next(&mut ends, below), next(&mut numbers, below));
            for step in next(&mut steps, pivoted) {
                x[at(step.pivot)] *= pivots[step.pivot as usize];
            }
            take_off(x, next(&mut ends, above + onward), next(&mut numbers, above + onward));
        }
        for &[one, other] in &self.plan.exchanges {
            let kept = x[at(one)];
            x[at(one)] = x[at(other)];
            x[at(other)] = kept;
        }
    }
}

/// Eliminates by a plan: what is left of the numbers are the factors, and the reciprocals of the pivots.
#[inline(always)]
fn eliminate<X: IndexMut<usize, Output = f64> + ?Sized>(
    plan: &Plan,
    c: f64,
    a: &[f64],
    numbers: &mut X,
    at: impl Fn(u32) -> usize,
) -> bool {
    let mut nothing = 0.0;
    for &[source, place] in &plan.sources {
        let value = -c * a[source as usize];
        nothing += value * 0.0;
        numbers[at(place)] = value;
    }
    if nothing != 0.0 {
        return false;
    }
    for &place in &plan.diagonal {
        numbers[at(place)] += 1.0;
    }
    let (mut products, mut most) = (&plan.products[..], &plan.most[..]);
    for step in &plan.steps {
        let reciprocal = 1.0 / numbers[at(step.pivot)];
        numbers[at(step.pivot)] = reciprocal;
        let mut fit = reciprocal.is_finite() && reciprocal != 0.0;
        for (place, &most) in (step.first..).zip(next(&mut most, step.below)) {
            let factor = numbers[at(place)] * reciprocal;
            fit &= factor.abs() <= most;
            numbers[at(place)] = factor;
        }
        if !fit {
            return false;
        }
        let mut take_off = |&[factor, other, from]: &[u32; 3]| {
            numbers[at(from)] -= numbers[at(factor)] * numbers[at(other)];
        };
        let (threes, rest) = next(&mut products, step.products).as_chunks::<3>();
        threes.iter().for_each(|three| three.iter().for_each(&mut take_off));
        rest.iter().for_each(take_off);
    }
    let (mut ends, mut place) = (&plan.ends[..], plan.n() as u32);
    for &[below, _, above, onward] in &plan.turns {
        next(&mut ends, below);
        for (place, &[row, _]) in (place + below..).zip(next(&mut ends, above)) {
            let reciprocal = numbers[at(row)];
            numbers[at(place)] *= reciprocal;
        }
        next(&mut ends, onward);
        place += below + above + onward;
    }
    true
}

/// The next so many of a list.
#[inline(always)]
fn next<'l, T>(list: &mut &'l [T], count: u32) -> &'l [T] {
    let (next, rest) = list.split_at(count as usize);
    *list = rest;
    next
}
