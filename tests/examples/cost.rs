//! What a cold steady solve costs, part by part, and the factorisation and solve of the same matrices by `faer` alone:
//! `cost FILE`. Prints one JSON object; times are wall clock, s. Everything is repeated in one process, and on either
//! side the least counts, but for what is called a median.

use faer::dyn_stack::{MemBuffer, MemStack};
use faer::linalg::cholesky::llt::factor::LltRegularization;
use faer::sparse::linalg::cholesky::{CholeskySymbolicParams, LltRef, SymmetricOrdering, factorize_symbolic_cholesky};
use faer::sparse::{SparseColMatRef, SymbolicSparseColMat};
use faer::{Conj, MatMut, Par, Side, Spec};
use hydro::analysis::hydraulics::Hydraulics;
use hydro::analysis::steady::{self, FlowOptions, collect, water_side};
use hydro::analysis::water::SolveError;
use hydro::input::read_text;
use hydro::linear::Pattern;
use hydro::nonlinear::newton::{self, Options, Workspace};
use hydro::nonlinear::{NetworkEquations, NonlinearStats, OneSided};
use std::time::Instant;

/// Runs something and adds the time that it took.
fn timed<T>(total: &mut f64, work: impl FnOnce() -> T) -> T {
    let begin = Instant::now();
    let result = work();
    *total += begin.elapsed().as_secs_f64();
    result
}

/// Equations that add up the time spent in them, and keep the matrix assembled last.
struct Timed {
    inner: Hydraulics,
    assembly: f64,
    laws: f64,
    values: Vec<f64>,
    rhs: Vec<f64>,
    /// Time spent in keeping the matrix, which is no part of the solve.
    apart: f64,
}

impl NetworkEquations for Timed {
    fn pattern(&self) -> &Pattern {
        self.inner.pattern()
    }
    fn assemble_start(&mut self, values: &mut [f64], rhs: &mut [f64]) {
        timed(&mut self.assembly, || self.inner.assemble_start(values, rhs));
    }
    fn start(&mut self, unknowns: &[f64]) {
        timed(&mut self.laws, || self.inner.start(unknowns));
    }
    fn blur(&mut self, share: f64) {
        self.inner.blur(share);
    }
    fn evaluate(&mut self) -> f64 {
        timed(&mut self.laws, || self.inner.evaluate())
    }
    fn accept(&mut self) {
        self.inner.accept();
    }
    fn rest(&mut self) {
        self.inner.rest();
    }
    fn assemble(&mut self, values: &mut [f64], rhs: &mut [f64]) -> bool {
        let same = timed(&mut self.assembly, || self.inner.assemble(values, rhs));
        let (values_kept, rhs_kept) = (&mut self.values, &mut self.rhs);
        timed(&mut self.apart, || {
            values_kept.clear();
            values_kept.extend_from_slice(values);
            rhs_kept.clear();
            rhs_kept.extend_from_slice(rhs);
        });
        same
    }
    fn rounding(&self) -> f64 {
        self.inner.rounding()
    }
    fn balanced(&self) -> bool {
        self.inner.balanced()
    }
    fn one_sided(&self) -> &[OneSided] {
        self.inner.one_sided()
    }
    fn corrections(&self) -> usize {
        self.inner.corrections()
    }
    fn spread(&self, changes: &[f64], rhs: &mut [f64]) {
        self.inner.spread(changes, rhs);
    }
    fn respond(&self, step: &[f64], changes: Option<&[f64]>, out: &mut [f64]) {
        self.inner.respond(step, changes, out);
    }
    fn correct(&mut self, changes: &[f64]) {
        self.inner.correct(changes);
    }
    fn step(&mut self, step: &[f64], share: f64, bent: bool) -> f64 {
        timed(&mut self.laws, || self.inner.step(step, share, bent))
    }
}

/// Entries of the factor, and the least times of `repeats` factorisations and solves of one matrix by `faer`.
fn library(pattern: &Pattern, values: &[f64], rhs: &[f64], repeats: usize) -> Result<(usize, f64, f64), String> {
    let n = pattern.n();
    let matrix = SymbolicSparseColMat::new_checked(n, n, pattern.col_start().to_vec(), None, pattern.rows().to_vec());
    let params = CholeskySymbolicParams::default();
    let symbolic = factorize_symbolic_cholesky(matrix.as_ref(), Side::Lower, SymmetricOrdering::Amd, params)
        .map_err(|error| format!("{error:?}"))?;
    let mut lower = vec![0.0; symbolic.len_val()];
    let scratch = symbolic.factorize_numeric_llt_scratch::<f64>(Par::Seq, Spec::default());
    let mut buffer = MemBuffer::new(scratch.or(symbolic.solve_in_place_scratch::<f64>(1, Par::Seq)));
    let (mut factor, mut solve) = (f64::INFINITY, f64::INFINITY);
    for _ in 0..repeats {
        let mut time = 0.0;
        timed(&mut time, || {
            symbolic.factorize_numeric_llt(
                &mut lower,
                SparseColMatRef::new(matrix.as_ref(), values),
                Side::Lower,
                LltRegularization::default(),
                Par::Seq,
                MemStack::new(&mut buffer),
                Spec::default(),
            )
        })
        .map_err(|error| format!("{error:?}"))?;
        factor = factor.min(time);
        let (mut x, mut time) = (rhs.to_vec(), 0.0);
        timed(&mut time, || {
            let out = MatMut::from_column_major_slice_mut(&mut x, n, 1);
            LltRef::new(&symbolic, &lower).solve_in_place_with_conj(
                Conj::No,
                out,
                Par::Seq,
                MemStack::new(&mut buffer),
            );
        });
        solve = solve.min(time);
    }
    Ok((symbolic.len_val(), factor, solve))
}

/// Median of times.
fn median(mut times: Vec<f64>) -> f64 {
    times.sort_by(f64::total_cmp);
    times[times.len() / 2]
}

fn main() -> Result<(), String> {
    let path = std::env::args().nth(1).ok_or("cost FILE")?;
    let text = std::fs::read_to_string(&path).map_err(|error| format!("{path}: {error}"))?;
    let mut reading = 0.0;
    let read = timed(&mut reading, || read_text(&path, &text, &[])).map_err(|error| error.to_string())?;
    let network = &read.network;
    let options = FlowOptions::default();
    let mut water = water_side(network, &options).map_err(|error| error.to_string())?;
    let n = water.equations().pattern().n();
    let (links, curves) = (water.equations().links().len(), water.equations().links().curves());
    let repeats = (500_000 / n.max(1)).clamp(3, 200);

    // The whole of it, as `hydro flow` does it, and its parts apart.
    let (mut whole, mut flows, mut newton) = (Vec::new(), Vec::new(), Vec::new());
    let [mut setup, mut analysis, mut results, mut assembly, mut laws] = [f64::INFINITY; 5];
    for _ in 0..repeats {
        let mut time = 0.0;
        let solved = timed(&mut time, || steady::solve(network, &options)).map_err(|error| error.to_string())?;
        drop(solved);
        whole.push(time);
    }
    // As far as the flows and pressures alone.
    for _ in 0..repeats {
        let mut time = 0.0;
        timed(&mut time, || -> Result<_, SolveError> {
            let mut water = water_side(network, &options)?;
            water.solve(&Options::default())?;
            let pressures: Vec<Option<f64>> = (0..network.nodes.len()).map(|node| water.pressure(node)).collect();
            let passages: Vec<f64> = (0..network.passages.len()).map(|passage| water.flow(passage)).collect();
            let panels: Vec<f64> = (0..network.panels.len()).map(|panel| water.panel_flow(panel)).collect();
            Ok((pressures, passages, panels))
        })
        .map_err(|error| error.to_string())?;
        flows.push(time);
    }
    let (inner, values, rhs) = (water.equations().clone(), Vec::new(), Vec::new());
    let mut equations = Timed { inner, assembly: 0.0, laws: 0.0, values, rhs, apart: 0.0 };
    let mut stats = NonlinearStats::default();
    water.solve(&Options::default()).map_err(|error| error.to_string())?;
    for _ in 0..repeats {
        let [mut setting, mut analysing, mut solving, mut collecting] = [0.0; 4];
        drop(timed(&mut setting, || water_side(network, &options)).map_err(|error| error.to_string())?);
        let mut work = timed(&mut analysing, || Workspace::new(&equations)).map_err(|error| error.to_string())?;
        (equations.assembly, equations.laws, equations.apart) = (0.0, 0.0, 0.0);
        stats = timed(&mut solving, || newton::solve(&mut equations, &mut work, &Options::default()))
            .map_err(|error| error.to_string())?;
        drop(work);
        newton.push(solving - equations.apart);
        assembly = assembly.min(equations.assembly);
        laws = laws.min(equations.laws);
        timed(&mut collecting, || collect(network, &water, network.duty.start));
        setup = setup.min(setting);
        analysis = analysis.min(analysing);
        results = results.min(collecting);
    }
    let (entries, factor, solve) = library(equations.pattern(), &equations.values, &equations.rhs, repeats)?;
    let least = newton.iter().copied().fold(f64::INFINITY, f64::min);
    let iteration = least / stats.iterations as f64;
    let report = serde_json::json!({
        "unknowns": n, "links": links, "curves": curves, "entries_of_factor": entries, "repeats": repeats,
        "iterations": stats.iterations, "factorisations": stats.factorisations,
        "reading_s": reading, "whole_s": median(whole), "to_flows_s": median(flows),
        "setup_with_analysis_s": setup, "analysis_s": analysis, "results_s": results,
        "newton_median_s": median(newton), "newton_s": least, "assembly_s": assembly, "laws_s": laws,
        "iteration_s": iteration,
        "library_factor_s": factor, "library_solve_s": solve, "ratio": iteration / (factor + solve),
    });
    println!("{report}");
    Ok(())
}
