//! Momentum along straight runs: corrections of curves that depend on the flows of their neighbours.
//!
//! A run is a chain of curves between stations. What the stream gains or loses at a station depends on the flows
//! before it and behind it, so the curve between two stations has, over its own law,
//!
//! ```text
//! law(q_i) + e_i = head drop,    e_i = a(q_i, q_i+1) - b(q_i-1, q_i) - extra(q_i)
//! ```
//! a and b being the pressures of the run before and behind a station over that which the station shows
//! ([`Junction::heads`]). `extra` is a small loss that the curve's law holds in excess, so that it stays well
//! conditioned where the run itself loses next to nothing; it cancels to the last digit.
//!
//! e is no law of one flow and need not rise with any. The matrix keeps to the laws; the derivatives of e go into the
//! step through [`crate::nonlinear::NetworkEquations::respond`].

use super::Hydraulics;
use super::points::Points;
use crate::analysis::links::Links;
use crate::component::header::Junction;
use crate::component::law::Quadratic;

/// A straight run of curves between stations.
#[derive(Debug, Clone)]
pub struct Run {
    /// Curves in order, each from its station to the next.
    pub curves: Vec<usize>,
    /// Stations, one more than curves.
    pub stations: Vec<Junction>,
    /// Velocity head of each curve over the square of the flow, Pa s2/m6.
    pub head: Vec<f64>,
    /// What the law of each curve holds in excess.
    pub extra: Vec<Option<Quadratic>>,
}

impl Run {
    /// Velocity heads over the square of the flow before and behind a station; at an end that of its one side.
    pub fn heads_at(&self, station: usize) -> [f64; 2] {
        let behind = self.head.get(station).copied();
        let before = station.checked_sub(1).and_then(|k| self.head.get(k)).copied();
        let either = before.or(behind).unwrap_or(0.0);
        [either, behind.unwrap_or(either)]
    }
}

/// Correction of one curve.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
struct Correction {
    /// e, Pa.
    value: f64,
    /// d(e)/d(flow) of the curve before in the run, of its own, of the one behind.
    by: [f64; 3],
}

/// Corrections of all runs, one a curve of a run, run after run.
#[derive(Debug, Clone, Default)]
pub(super) struct Momentum {
    runs: Vec<Run>,
    /// Curve of each correction.
    curves: Vec<usize>,
    trial: Vec<Correction>,
    base: Vec<Correction>,
    /// Correction of every curve of the network at the trial, Pa; empty without runs.
    here: Vec<f64>,
    /// Correction of every curve of the network at the end of the step from the base, Pa; empty without runs.
    ahead: Vec<f64>,
    /// Share of the corrections in force.
    share: f64,
    /// Whether they are left out for now.
    off: bool,
}

impl Momentum {
    /// Corrections of runs in a network of so many curves.
    pub(super) fn new(runs: Vec<Run>, count: usize) -> Self {
        let curves: Vec<usize> = runs.iter().flat_map(|run| run.curves.iter().copied()).collect();
        let none = vec![Correction::default(); curves.len()];
        let here = vec![0.0; if curves.is_empty() { 0 } else { count }];
        Momentum { runs, curves, trial: none.clone(), base: none, ahead: here.clone(), here, share: 1.0, off: false }
    }

    pub(super) fn set_share(&mut self, share: f64) {
        self.share = share;
    }

    pub(super) fn set_off(&mut self, off: bool) {
        self.off = off;
    }

    pub(super) fn has_runs(&self) -> bool {
        !self.curves.is_empty()
    }

    /// Number of corrections in force.
    pub(super) fn len(&self) -> usize {
        if self.off { 0 } else { self.curves.len() }
    }

    pub(super) fn accept(&mut self) {
        self.base.copy_from_slice(&self.trial);
    }

    /// Computes the corrections at the parameters, which are flows here, of the given points.
    pub(super) fn evaluate(&mut self, links: &Links, points: &Points) {
        self.trial.fill(Correction::default());
        self.here.fill(0.0);
        if self.off {
            return;
        }
        let flow = |k: usize| if links.link(k).active { points.s(k) } else { 0.0 };
        let mut first = 0;
        for run in &self.runs {
            let here = &mut self.trial[first..first + run.curves.len()];
            first += run.curves.len();
            if !run.curves.iter().all(|&k| links.link(k).active) {
                continue;
            }
            let mut before = 0.0;
            for (at, station) in run.stations.iter().enumerate() {
                let behind = run.curves.get(at).map_or(0.0, |&k| flow(k));
                let [a, b] = station.heads(run.heads_at(at), before, behind);
                if let Some(last) = at.checked_sub(1).and_then(|k| here.get_mut(k)) {
                    last.value += a.value;
                    last.by[1] += a.by[0];
                    last.by[2] += a.by[1];
                }
                if let Some(next) = here.get_mut(at) {
                    next.value -= b.value;
                    next.by[0] -= b.by[0];
                    next.by[1] -= b.by[1];
                    if let Some(extra) = run.extra.get(at).copied().flatten() {
                        let extra = extra.loss(behind);
                        next.value -= extra.value;
                        next.by[1] -= extra.slope;
                    }
                }
                before = behind;
            }
            for (correction, &curve) in here.iter_mut().zip(&run.curves) {
                correction.value *= self.share;
                correction.by = correction.by.map(|by| by * self.share);
                self.here[curve] = correction.value;
            }
        }
    }

    /// Correction of a curve at the trial, Pa.
    pub(super) fn here(&self, curve: usize) -> f64 {
        self.here.get(curve).copied().unwrap_or(0.0)
    }

    /// Correction of a curve at the end of the step, Pa.
    pub(super) fn ahead(&self, curve: usize) -> f64 {
        self.ahead.get(curve).copied().unwrap_or(0.0)
    }
}

impl Hydraulics {
    /// Sets the share of the momentum of runs that is in force, 0 to 1.
    pub fn set_momentum(&mut self, share: f64) {
        self.momentum.set_share(share);
    }

    /// Largest error of an active curve's own equation at the trial, Pa: head drop less loss and correction.
    pub fn largest_head_error(&self) -> f64 {
        (0..self.plain).filter(|&k| self.links.link(k).active).fold(0.0, |most: f64, k| {
            let loss = self.links.curve(k).loss(&self.trial.at(k));
            let error = (self.drop(&self.heads, k) - loss - self.momentum.here(k)).abs();
            if error.is_nan() { error } else { most.max(error) }
        })
    }

    /// Adds to the right-hand side what corrections, Pa, do to the flows.
    pub(super) fn spread_corrections(&self, corrections: &[f64], rhs: &mut [f64]) {
        for (&curve, &correction) in self.momentum.curves.iter().zip(corrections) {
            let flow = correction * self.slope(curve);
            let ([a, b], active) = (self.links.ends(curve), self.links.link(curve).active);
            if active && self.moves(a) {
                rhs[a] += flow;
            }
            if active && self.moves(b) {
                rhs[b] -= flow;
            }
        }
    }

    /// How the corrections answer to a change of the heads and to corrections themselves; see
    /// [`crate::nonlinear::NetworkEquations::respond`].
    pub(super) fn answer(&self, step: &[f64], corrections: Option<&[f64]>, out: &mut [f64]) {
        let momentum = &self.momentum;
        let moved = |point: u32| step.get(point as usize).copied().unwrap_or(0.0);
        let change = |at: usize| -> f64 {
            let k = momentum.curves[at];
            let (link, curve, point) = (self.links.link(k), self.links.curve(k), self.base.at(k));
            if !link.active {
                return 0.0;
            }
            let drop = moved(link.from) - moved(link.to);
            let rest = match corrections {
                Some(corrections) => -corrections[at],
                None => self.drop(&self.base_heads, k) - curve.loss(&point) - momentum.base[at].value,
            };
            (drop + rest) * curve.slope(&point)
        };
        let mut first = 0;
        for run in &momentum.runs {
            let end = first + run.curves.len();
            let (mut before, mut own) = (0.0, if first < end { change(first) } else { 0.0 });
            for (at, out) in out.iter_mut().enumerate().take(end).skip(first) {
                let behind = if at + 1 < end { change(at + 1) } else { 0.0 };
                let by = momentum.base[at].by;
                *out = by[0] * before + by[1] * own + by[2] * behind;
                (before, own) = (own, behind);
            }
            first = end;
        }
    }

    /// Takes the changes of the corrections over the step that was found.
    pub(super) fn take_corrections(&mut self, changes: &[f64]) {
        let Momentum { curves, base, ahead, .. } = &mut self.momentum;
        for ((&curve, base), change) in curves.iter().zip(base).zip(changes) {
            ahead[curve] = base.value + change;
        }
    }

    /// Adds to the right-hand side the corrections at the base, which hold where no step changes them.
    pub(super) fn spread_base_corrections(&mut self, rhs: &mut [f64]) {
        self.momentum.ahead.fill(0.0);
        if self.momentum.len() > 0 {
            let base: Vec<f64> = self.momentum.base.iter().map(|correction| correction.value).collect();
            self.spread_corrections(&base, rhs);
            self.take_corrections(&vec![0.0; base.len()]);
        }
    }
}
