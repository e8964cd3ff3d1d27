//! Newton's method with a line search.
//!
//! Near the solution a matrix hardly changes from step to step. Where a factorisation costs more than a solve and an
//! evaluation of the laws ([`Cholesky::is_costly`]), the last factor is kept as long as steps with it shrink tenfold.

use super::coupled::couple;
use super::{NetworkEquations, NonlinearError, NonlinearStats, OneSided};
use crate::linear::{Cholesky, Pattern};
use nalgebra::DMatrix;

/// How far to go.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Options {
    /// The last change may be this large; the error after it is about its square.
    pub change: f64,
    /// Most iterations.
    pub iterations: usize,
    /// First steps of a solve that need not lower the merit: laws that open or shut take large strides, and those
    /// rarely lower it one by one.
    pub free: usize,
}

impl Default for Options {
    fn default() -> Self {
        Options { change: 1e-6, iterations: 60, free: 15 }
    }
}

/// Matrix, factor and vectors, kept between solves of one pattern.
#[derive(Debug)]
pub struct Workspace {
    factor: Cholesky,
    values: Vec<f64>,
    step: Vec<f64>,
    coupled: Coupled,
    /// Whether the factor belongs to a matrix that differs from the one now assembled by its weights only.
    factored: bool,
    /// Whether it is that of the state where the last solve ended, but for a last step along the tangents there.
    fresh: bool,
    tally: Tally,
}

/// Linear algebra of all solves with one workspace.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally {
    /// Linear systems solved for steps of Newton's method.
    pub systems: usize,
    /// Matrices factorised, for steps and for the answers of a state to small changes.
    pub factorisations: usize,
}

impl Workspace {
    /// Buffers for one pattern.
    pub fn new(equations: &impl NetworkEquations) -> Result<Self, crate::linear::AnalysisError> {
        let pattern = equations.pattern();
        let factor = Cholesky::new(pattern)?;
        Ok(Workspace {
            factor,
            values: vec![0.0; pattern.len()],
            step: vec![0.0; pattern.n()],
            coupled: Coupled::default(),
            factored: false,
            fresh: false,
            tally: Tally::default(),
        })
    }

    /// Takes another pattern of as many rows.
    ///
    /// # Errors
    /// Where its factor is too large; the former pattern then stays.
    pub fn fit(&mut self, pattern: &Pattern) -> Result<(), crate::linear::AnalysisError> {
        self.factor = Cholesky::new(pattern)?;
        self.values.clear();
        self.values.resize(pattern.len(), 0.0);
        (self.factored, self.fresh) = (false, false);
        Ok(())
    }

    /// What has been solved and factorised so far.
    pub fn tally(&self) -> Tally {
        self.tally
    }

    /// Replaces the right-hand side by the step; with `kept`, from the last factor.
    fn solve(&mut self, one_sided: &[OneSided], kept: bool) -> Result<(), NonlinearError> {
        if !kept {
            self.renew()?;
        }
        let mut step = std::mem::take(&mut self.step);
        self.answer(one_sided, &mut step);
        self.step = step;
        self.tally.systems += 1;
        Ok(())
    }

    /// Factors the matrix assembled last.
    fn renew(&mut self) -> Result<(), NonlinearError> {
        (self.factored, self.fresh) = (false, false);
        self.coupled.known = false;
        self.tally.factorisations += 1;
        self.factor.factor(&self.values).map_err(NonlinearError::Singular)?;
        self.factored = true;
        Ok(())
    }

    /// Replaces a right-hand side by the answer of the unknowns, from the last factor.
    fn answer(&mut self, one_sided: &[OneSided], rhs: &mut [f64]) {
        self.factor.solve(rhs);
        if !one_sided.is_empty() {
            if !self.coupled.known || self.coupled.couplings != one_sided {
                self.coupled.find(one_sided, &mut self.factor);
            }
            self.coupled.correct(rhs);
        }
    }

    /// Brings the corrections into the step.
    fn couple<E: NetworkEquations>(&mut self, equations: &mut E) {
        if equations.corrections() == 0 {
            return;
        }
        let mut step = std::mem::take(&mut self.step);
        couple(equations, &mut step, &mut |equations, heads| {
            self.answer(equations.one_sided(), heads);
        });
        self.step = step;
    }
}

/// What one-sided couplings add to the answers of a factor: `(S - sum w e_row e_col^T) x = b` from the factor of S alone, by the
/// Sherman-Morrison-Woodbury formula.
#[derive(Debug, Default)]
struct Coupled {
    /// Whether the rest is that of the factor at hand, and of which couplings.
    known: bool,
    couplings: Vec<OneSided>,
    /// Answer to each of them.
    columns: Vec<f64>,
    /// From what the couplings see of an answer to their shares in it; `None` where that is singular.
    shares: Option<DMatrix<f64>>,
    seen: Vec<f64>,
}

impl Coupled {
    /// Finds the answers to couplings.
    fn find(&mut self, one_sided: &[OneSided], factor: &mut Cholesky) {
        let (n, k) = (factor.n(), one_sided.len());
        self.couplings.clear();
        self.couplings.extend_from_slice(one_sided);
        self.columns.clear();
        self.columns.resize(n * k, 0.0);
        for (term, column) in one_sided.iter().zip(self.columns.chunks_exact_mut(n)) {
            column[term.row] = term.weight;
        }
        factor.solve(&mut self.columns);
        let seen = |i: usize, j: usize| f64::from(u8::from(i == j)) - self.columns[j * n + one_sided[i].col];
        self.shares = DMatrix::from_fn(k, k, seen).try_inverse();
        self.known = true;
    }

    /// Brings the couplings into an answer. A singular small matrix leaves it without them; the line search judges it.
    fn correct(&mut self, x: &mut [f64]) {
        let Some(shares) = &self.shares else { return };
        self.seen.clear();
        self.seen.extend(self.couplings.iter().map(|term| x[term.col]));
        for (i, column) in self.columns.chunks_exact(x.len()).enumerate() {
            let share: f64 = self.seen.iter().enumerate().map(|(j, seen)| shares[(i, j)] * seen).sum();
            x.iter_mut().zip(column).for_each(|(x, z)| *x += share * z);
        }
    }
}

/// Solves from a cold start.
pub fn solve(
    equations: &mut impl NetworkEquations,
    work: &mut Workspace,
    options: &Options,
) -> Result<NonlinearStats, NonlinearError> {
    equations.assemble_start(&mut work.values, &mut work.step);
    work.solve(&[], false)?;
    work.factored = false;
    let mut stats = NonlinearStats { iterations: 1, factorisations: 1, shortened: 0 };
    equations.blur(COARSEST);
    equations.start(&work.step);
    // The coarse laws only prepare a start: where they are not solved, the next ones are tried from there.
    let coarse = Options { change: COARSE.1, iterations: COARSE_ITERATIONS, ..*options };
    let prepared = match lead(equations, work, &mut stats) {
        Ok(merit) => iterate(equations, work, &coarse, &mut stats, Begin::Weighed(merit)),
        Err(error) => {
            equations.rest();
            match error {
                NonlinearError::NoDescent { .. } => iterate(equations, work, &coarse, &mut stats, Begin::Cold),
                _ => Err(error),
            }
        }
    };
    equations.blur(0.0);
    match prepared {
        Ok(()) | Err(NonlinearError::NotConverged { .. } | NonlinearError::NoDescent { .. }) => {}
        Err(error) => return Err(error),
    }
    iterate(equations, work, options, &mut stats, Begin::Cold)?;
    Ok(stats)
}

/// Solves from the state that the equations are in.
pub fn resume(
    equations: &mut impl NetworkEquations,
    work: &mut Workspace,
    options: &Options,
) -> Result<NonlinearStats, NonlinearError> {
    let mut stats = NonlinearStats::default();
    iterate(equations, work, options, &mut stats, Begin::Near)?;
    Ok(stats)
}

/// Makes ready for [`answer`] at the state where a solve has ended: the matrix there, or the one near it that is kept
/// where a factorisation costs much, unless that is to be of this very state, `anew`. Then nothing may have changed since.
pub fn linearise(
    equations: &mut impl NetworkEquations,
    work: &mut Workspace,
    anew: bool,
) -> Result<(), NonlinearError> {
    if anew && work.fresh {
        return Ok(());
    }
    work.factored &= equations.assemble(&mut work.values, &mut work.step);
    if !anew && work.factored && work.factor.is_costly() { Ok(()) } else { work.renew() }
}

/// Replaces a right-hand side by the unknowns' answer to it, to first order; corrections are left out.
pub fn answer(equations: &impl NetworkEquations, work: &mut Workspace, rhs: &mut [f64]) {
    work.answer(equations.one_sided(), rhs);
}

/// Coarse laws that a cold start goes by at first: the share of its natural flow below which a quadratic loss is smoothed
/// and, for the second, the change at which they have served. Flows that have to vanish are found there at once, while along
/// a square they are only halved by each step. One step on the coarsest laws does, since the start already has the size that
/// they ask for.
const COARSEST: f64 = 0.3;
const COARSE: (f64, f64) = (0.2, 0.3);

/// Iterations up to which coarse laws are followed.
const COARSE_ITERATIONS: usize = 12;

/// Merits of the last steps, the largest of which a new one must not pass: a bent step may raise the merit once and
/// lead far down with the next.
const MEMORY: usize = 3;

/// Change of a step from which on the factor is kept, and the share of the last change that a step may leave for it to
/// be kept on. From a cold start a kept factor only finishes: kept earlier, it takes three steps where one of its own
/// factor does.
const NEAR: f64 = 1e-2;
const NEAR_FROM_COLD: f64 = 3e-5;
const SHRINKS: f64 = 0.1;

/// What iterations begin with.
#[derive(Clone, Copy, PartialEq)]
enum Begin {
    /// The trial, far from the solution.
    Cold,
    /// The trial, likely next to the solution.
    Near,
    /// The base, under the laws in force already, with its merit.
    Weighed(f64),
}

/// Goes one step from the trial on the coarsest laws, and to what the next ones have there. Gives the merit there.
fn lead(
    equations: &mut impl NetworkEquations,
    work: &mut Workspace,
    stats: &mut NonlinearStats,
) -> Result<f64, NonlinearError> {
    let allowed = equations.evaluate();
    equations.accept();
    direct(equations, work, stats, false)?;
    equations.blur(COARSE.0);
    equations.step(&work.step, 1.0, true);
    let mut merit = equations.evaluate();
    if !merit.is_finite() {
        merit = search(equations, &work.step, allowed, stats)?.1;
    }
    equations.accept();
    Ok(merit)
}

/// Finds the step from the base; gives whether that was with the last factor. `keep`: it may be.
fn direct(
    equations: &mut impl NetworkEquations,
    work: &mut Workspace,
    stats: &mut NonlinearStats,
    keep: bool,
) -> Result<bool, NonlinearError> {
    work.factored &= equations.assemble(&mut work.values, &mut work.step);
    let kept = keep && work.factored && equations.corrections() == 0 && work.factor.is_costly();
    work.solve(equations.one_sided(), kept)?;
    work.couple(equations);
    stats.iterations += 1;
    stats.factorisations += usize::from(!kept);
    if work.step.iter().all(|x| x.is_finite()) {
        Ok(kept)
    } else {
        Err(NonlinearError::NotFinite { iterations: stats.iterations })
    }
}

/// Iterates and leaves the trial at the base.
fn iterate(
    equations: &mut impl NetworkEquations,
    work: &mut Workspace,
    options: &Options,
    stats: &mut NonlinearStats,
    begin: Begin,
) -> Result<(), NonlinearError> {
    let outcome = approach(equations, work, options, stats, begin);
    if outcome != Ok(Ended::Ahead) {
        equations.rest();
    }
    outcome.map(|_| ())
}

/// Where the iteration has left the trial.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Ended {
    /// Its last step is the base.
    Accepted,
    /// Ahead of the base by a last step along the tangents, whose laws have not been looked at.
    Ahead,
}

/// Share of the change that a last step may have within which the next solve begins where the laws are known.
const BACK: f64 = 0.3;

fn approach(
    equations: &mut impl NetworkEquations,
    work: &mut Workspace,
    options: &Options,
    stats: &mut NonlinearStats,
    begin: Begin,
) -> Result<Ended, NonlinearError> {
    let mut merits = [match begin {
        Begin::Weighed(merit) => merit,
        Begin::Cold | Begin::Near => {
            equations.glide_back(BACK * options.change);
            let merit = equations.evaluate();
            equations.accept();
            merit
        }
    }; MEMORY];
    let (mut last, mut change) = (f64::INFINITY, f64::INFINITY);
    let near = begin == Begin::Near;
    let mut keep = near;
    let free_until = stats.iterations + options.free;
    while stats.iterations < options.iterations {
        let kept = direct(equations, work, stats, keep)?;
        if near && !kept && equations.glide(&work.step, options.change) {
            work.fresh = true;
            return Ok(Ended::Ahead);
        }
        let allowed = merits.iter().copied().fold(0.0, f64::max);
        let before = std::mem::replace(&mut last, change);
        change = equations.step(&work.step, 1.0, true);
        let mut merit = equations.evaluate();
        if kept && !accepts(merit, allowed, equations) {
            // The base stands: the same step again, with its own factor.
            (last, change, keep) = (before, last, false);
            continue;
        }
        let settled = merit.is_finite()
            && equations.balanced()
            && if kept {
                change * if last.is_finite() { (change / last).min(1.0) } else { 1.0 } <= 1e-3 * options.change
            } else {
                change <= options.change || next_change(last, change) <= 1e-3 * options.change
            };
        keep = change <= (if near { NEAR } else { NEAR_FROM_COLD }) && change <= SHRINKS * last;
        let free = stats.iterations <= free_until && merit.is_finite();
        if !settled && !free && !accepts(merit, allowed, equations) {
            (change, merit) = search(equations, &work.step, allowed, stats)?;
        }
        equations.accept();
        merits.rotate_left(1);
        merits[MEMORY - 1] = merit;
        if settled {
            return Ok(Ended::Accepted);
        }
    }
    Err(NonlinearError::NotConverged { iterations: stats.iterations, change })
}

/// Change to be expected of the next step from the last two, as Newton's method converges near a solution: each is a
/// constant times the square of the one before. Infinite where the last ones are not small.
fn next_change(last: f64, change: f64) -> f64 {
    if last < 0.1 && change < 1e-2 && change < last { change * (change / last).powi(2) } else { f64::INFINITY }
}

/// Whether a merit is low enough: NaN never is.
fn accepts(merit: f64, allowed: f64, equations: &impl NetworkEquations) -> bool {
    merit <= allowed.max(equations.rounding())
}

/// Shortens the plain step until the merit falls. Armijo's rule on the sum of squares, whose slope along the Newton
/// step is minus twice its value.
fn search(
    equations: &mut impl NetworkEquations,
    step: &[f64],
    allowed: f64,
    stats: &mut NonlinearStats,
) -> Result<(f64, f64), NonlinearError> {
    let mut share = 1.0;
    stats.shortened += 1;
    loop {
        let change = equations.step(step, share, false);
        let merit = equations.evaluate();
        if accepts(merit, allowed * (1.0 - 1e-4 * share), equations) {
            return Ok((change.max(f64::MIN_POSITIVE), merit));
        }
        share *= 0.5;
        if share < 1e-9 {
            return Err(NonlinearError::NoDescent { iterations: stats.iterations, merit: allowed });
        }
    }
}
