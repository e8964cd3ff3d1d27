//! What is eliminated from a matrix, in what order, and where its numbers are then.
//!
//! States that answer to each other make a block; of two blocks one may follow the other, never each the other. Taken in that
//! order the matrix is triangular but for its blocks, and only those are factorised:
//!
//! ```text
//! B_i x_i = b_i - sum over j < i of C_ij x_j
//! ```
//!
//! Within a block, columns of few numbers come first, each with the row of the fewest numbers among those whose pivot is no
//! smaller than a share of the largest, every row measured by its largest number.
//!
//! Sources: I. S. Duff, J. K. Reid, ACM Trans. Math. Softw. 4 (1978) 137, for the blocks; I. S. Duff, A. M. Erisman, J. K. Reid,
//! Direct Methods for Sparse Matrices, 1986, for the choice of pivots (both from memory).

use super::blocks::{Columns, parts};
use nalgebra::DMatrix;

/// Share of the largest pivot that one may have which keeps zeros.
const SHARE: f64 = 0.1;

/// Most that a factor may be with other numbers than those of the plan, rows measured by their largest numbers.
const MOST: f64 = 100.0;

/// Matrices up to which a plan is young: the next one then keeps its numbers, for patterns come and go between few states.
const YOUNG: usize = 10;

/// The elimination of one pattern.
///
/// It works on a list of numbers: the pivots, by their rows, and behind them all others in the order in which a solve takes them
/// off a right-hand side: of each block those below the diagonal, those above it, and those by which it acts on later ones.
#[derive(Debug, Clone, Default)]
pub(super) struct Plan {
    /// Rows that count, and rows of the matrix.
    n: usize,
    rows: usize,
    /// Matrices that it has served.
    pub served: usize,
    /// Where each number that is not zero is in the matrix, and its place here.
    pub sources: Vec<[u32; 2]>,
    /// Where all other numbers are in the matrix: the first of four that follow each other, and single ones.
    fours: Vec<u32>,
    ones: Vec<u32>,
    /// Places of the diagonal, but where it is 1 and alone in its block.
    pub diagonal: Vec<u32>,
    /// Of each number behind the pivots, what it is taken off and what it is a multiple of, as places in a right-hand side.
    pub ends: Vec<[u32; 2]>,
    pub steps: Vec<Step>,
    /// `number[2] -= number[0] number[1]`, step after step.
    pub products: Vec<[u32; 3]>,
    /// Most that each factor may be, step after step.
    pub most: Vec<f64>,
    /// Of each block, with those behind it of a mere 1: how many numbers are below the diagonal, steps, numbers above the
    /// diagonal, and numbers that act on others.
    pub turns: Vec<[u32; 4]>,
    /// Numbers of a solution that change places at the end.
    pub exchanges: Vec<[u32; 2]>,
}

/// Elimination of a column.
#[derive(Debug, Clone, Copy)]
pub(super) struct Step {
    /// Row, and place, of the pivot.
    pub pivot: u32,
    /// Place of the first number below it, and how many there are.
    pub first: u32,
    pub below: u32,
    pub products: u32,
}

impl Plan {
    /// Of a matrix not yet known, of which so many rows and columns count.
    pub fn new(n: usize) -> Self {
        Plan { n, rows: usize::MAX, ..Plan::default() }
    }

    /// Rows and columns that count.
    pub fn n(&self) -> usize {
        self.n
    }

    /// Numbers that it works on.
    pub fn len(&self) -> usize {
        self.n + self.ends.len()
    }

    /// Whether it leaves out no number of a matrix that is not zero.
    pub fn fits(&self, a: &DMatrix<f64>) -> bool {
        let numbers = a.as_slice();
        if self.rows != a.nrows() {
            return false;
        }
        // But for their signs.
        let fours = self.fours.iter().fold(0, |bits, &at| {
            let four = &numbers[at as usize..at as usize + 4];
            bits | four.iter().fold(0, |bits, x| bits | x.to_bits())
        });
        self.ones.iter().fold(fours, |bits, &at| bits | numbers[at as usize].to_bits()) << 1 == 0
    }

    /// Plans the elimination of `I - c A`; false if that is singular.
    pub fn renew(&mut self, c: f64, a: &DMatrix<f64>) -> bool {
        let (n, numbers) = (self.n, a.as_slice());
        let mut there: Vec<bool> = numbers.iter().map(|&x| x != 0.0).collect();
        if self.rows == a.nrows() && self.served < YOUNG {
            self.sources.iter().for_each(|&[source, _]| there[source as usize] = true);
        }
        (self.rows, self.served) = (a.nrows(), 0);
        self.clear();
        let mut columns = Columns::with_capacity(n);
        for (j, column) in there.chunks_exact(self.rows.max(1)).take(n).enumerate() {
            for (i, &there) in (0..).zip(&column[..n]) {
                if there && i != j as u32 {
                    columns.rows.push(i);
                }
            }
            let first = (j * self.rows) as u32;
            let mut at = 0;
            while at < n {
                let four = column[at..n].first_chunk::<4>() == Some(&[false; 4]);
                if four {
                    self.fours.push(first + at as u32);
                } else if !column[at] {
                    self.ones.push(first + at as u32);
                }
                at += if four { 4 } else { 1 };
            }
            columns.ends.push(columns.rows.len());
        }
        let (mut nodes, ends) = parts(&columns);
        let span = |block: usize| block.checked_sub(1).map_or(0, |before| ends[before])..ends[block];
        // Block of each node, and its place in it.
        let mut homes = vec![(0, 0); n];
        for block in 0..ends.len() {
            let nodes = &mut nodes[span(block)];
            if nodes.len() == 1 {
                homes[nodes[0] as usize].0 = block;
                continue;
            }
            nodes.sort_unstable_by_key(|&node| (columns.of(node).len(), node));
            (0..).zip(nodes).for_each(|(at, &mut node)| homes[node as usize] = (block, at));
        }
        let planned = (0..ends.len()).rev().all(|block| {
            let nodes = &nodes[span(block)];
            Block { plan: self, nodes, columns: &columns, there: &there, numbers: (c, numbers) }.eliminate(|node| {
                let (home, at) = homes[node as usize];
                (home == block).then_some(at)
            })
        });
        if !planned {
            self.rows = usize::MAX;
        }
        planned
    }
}

/// A block to be planned.
struct Block<'b> {
    plan: &'b mut Plan,
    nodes: &'b [u32],
    columns: &'b Columns,
    there: &'b [bool],
    numbers: (f64, &'b [f64]),
}

impl Block<'_> {
    /// Where a number is in the matrix.
    fn source(&self, row: u32, column: u32) -> u32 {
        column * self.plan.rows as u32 + row
    }

    /// Number of the matrix to eliminate, without the identity.
    fn number(&self, row: u32, column: u32) -> f64 {
        -self.numbers.0 * self.numbers.1[self.source(row, column) as usize]
    }

    /// Plans it; false if it is singular. `inside`: place of a node in it.
    fn eliminate(&mut self, inside: impl Fn(u32) -> Option<usize>) -> bool {
        let (n, nodes) = (self.nodes.len(), self.nodes);
        if let [node] = *nodes {
            let plain = !self.there[self.source(node, node) as usize];
            if !plain {
                self.plan.steps.push(Step { pivot: node, first: 0, below: 0, products: 0 });
                self.plan.diagonal.push(node);
            }
            if !plain || self.plan.turns.is_empty() {
                self.plan.turns.push([0, u32::from(!plain), 0, 0]);
            }
            self.place_column(node, node, |row| (row == node).then_some(node));
            return true;
        }
        let Some((order, there, largest)) = self.order(&inside) else { return false };
        let mut places = vec![0; n * n];
        let [below, above] = self.lay_out(&order, &there, &largest, &mut places);
        self.plan.diagonal.extend(places.iter().step_by(n + 1));
        self.plan.turns.push([below, n as u32, above, 0]);
        for (k, (&node, &row)) in nodes.iter().zip(&order).enumerate() {
            self.place_column(node, nodes[row], |row| Some(places[inside(row)? * n + k]));
        }
        true
    }

    /// Gives the numbers of a column their places: those inside the block as they have, the others behind all so far, as
    /// multiples of what stands at a place in a right-hand side.
    fn place_column(&mut self, node: u32, stands: u32, inside: impl Fn(u32) -> Option<u32>) {
        let own = self.there[self.source(node, node) as usize].then_some(node);
        let first = self.plan.ends.len();
        for row in self.columns.of(node).iter().copied().chain(own) {
            let place = inside(row).unwrap_or_else(|| self.plan.term(row, stands));
            self.plan.sources.push([self.source(row, node), place]);
        }
        let onward = self.plan.ends.len() - first;
        if let Some(turn) = self.plan.turns.last_mut() {
            turn[3] += onward as u32;
        }
    }

    /// Chooses the pivots: rows in the order of their columns, where numbers are then, and the largest number of each row.
    fn order(&mut self, inside: impl Fn(u32) -> Option<usize>) -> Option<(Vec<usize>, Vec<bool>, Vec<f64>)> {
        let n = self.nodes.len();
        let (mut numbers, mut there) = (vec![0.0; n * n], vec![false; n * n]);
        for (k, &node) in self.nodes.iter().enumerate() {
            (numbers[k * n + k], there[k * n + k]) = (1.0 + self.number(node, node), true);
            for &row in self.columns.of(node) {
                if let Some(at) = inside(row) {
                    (numbers[at * n + k], there[at * n + k]) = (self.number(row, node), true);
                }
            }
        }
        let largest = |row: &[f64]| row.iter().fold(0.0, |most: f64, x| most.max(x.abs()));
        let largest: Vec<f64> = numbers.chunks_exact(n).map(largest).collect();
        let mut order: Vec<usize> = (0..n).collect();
        for k in 0..n {
            let size = |row: usize| numbers[row * n + k].abs() / largest[row];
            let most = order[k..].iter().fold(0.0, |most: f64, &row| most.max(size(row)));
            let fit = (k..n).filter(|&at| size(order[at]) >= SHARE * most && there[order[at] * n + k]);
            let count =
                |&at: &usize| there[order[at] * n + k..(order[at] + 1) * n].iter().filter(|&&there| there).count();
            let at = fit.min_by_key(count)?;
            if most == 0.0 {
                return None;
            }
            if at > k {
                order.swap(k, at);
                self.plan.exchanges.push([self.nodes[k], self.nodes[at]]);
            }
            let pivot = order[k] * n;
            for row in order[k + 1..].iter().map(|&row| row * n) {
                if !there[row + k] {
                    continue;
                }
                let factor = numbers[row + k] / numbers[pivot + k];
                for column in k + 1..n {
                    if there[pivot + column] {
                        numbers[row + column] -= factor * numbers[pivot + column];
                        there[row + column] = true;
                    }
                }
            }
        }
        Some((order, there, largest))
    }

    /// Gives the numbers their places and writes the steps; says how many numbers are below the diagonal and above it.
    fn lay_out(&mut self, order: &[usize], there: &[bool], largest: &[f64], places: &mut [u32]) -> [u32; 2] {
        let (n, nodes, plan) = (self.nodes.len(), self.nodes, &mut *self.plan);
        let first = plan.ends.len();
        for (k, &pivot) in order.iter().enumerate() {
            places[pivot * n + k] = nodes[pivot];
            for &row in order[k + 1..].iter().filter(|&&row| there[row * n + k]) {
                places[row * n + k] = plan.term(nodes[row], nodes[pivot]);
                plan.most.push(MOST * largest[row] / largest[pivot]);
            }
        }
        let middle = plan.ends.len();
        for (k, &from) in order.iter().enumerate().rev() {
            for &row in order[..k].iter().filter(|&&row| there[row * n + k]) {
                places[row * n + k] = plan.term(nodes[row], nodes[from]);
            }
        }
        let (mut next, mut across) = (first, Vec::with_capacity(n));
        for (k, &pivot) in order.iter().enumerate() {
            let (begun, first) = (plan.products.len(), next);
            across.clear();
            for column in k + 1..n {
                if there[pivot * n + column] {
                    across.push((column, places[pivot * n + column]));
                }
            }
            for &row in &order[k + 1..] {
                if there[row * n + k] {
                    next += 1;
                    let places = &places[row * n..(row + 1) * n];
                    plan.products.extend(across.iter().map(|&(column, above)| [places[k], above, places[column]]));
                }
            }
            plan.steps.push(Step {
                pivot: nodes[pivot],
                first: (plan.n + first) as u32,
                below: (next - first) as u32,
                products: (plan.products.len() - begun) as u32,
            });
        }
        [(middle - first) as u32, (plan.ends.len() - middle) as u32]
    }
}

impl Plan {
    fn clear(&mut self) {
        self.fours.clear();
        self.ones.clear();
        self.sources.clear();
        self.diagonal.clear();
        self.ends.clear();
        self.steps.clear();
        self.products.clear();
        self.most.clear();
        self.turns.clear();
        self.exchanges.clear();
    }

    /// Place of another number behind the pivots.
    fn term(&mut self, to: u32, from: u32) -> u32 {
        self.ends.push([to, from]);
        (self.len() - 1) as u32
    }
}
