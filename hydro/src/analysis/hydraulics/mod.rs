//! The water network as equations: heads of free points, flows of curves.
//!
//! The heads `h = p + rho g z` of the free points and a parameter a curve are the unknowns:
//!
//! ```text
//! each curve       loss(s) = h_from - h_to
//! each free point  sum of flows leaving = 0
//! ```
//!
//! Eliminating the curves leaves `L(c) dh = -imbalance`, where L is the graph Laplacian weighted with the slopes
//! c = d(flow)/d(loss) of the curves, symmetric positive definite once every point is tied to a fixed head.
//!
//! A vented weir pipe is the middle one of three flows: the one of the full pipe and those of either leg running
//! out of the apex as a free jet. The jets depend on one head only, which adds couplings on one side of the diagonal.

mod momentum;
mod parts;
mod response;
mod weir;

use super::curve::{Curve, Point};
use crate::linear::{Pattern, PatternError};
use crate::nonlinear::{NetworkEquations, OneSided};
use momentum::Momentum;
pub use momentum::Run;
use weir::choose;
pub use weir::{WEIR_SMOOTHING, Weir, WeirFlow, WeirMode};

/// Points, curves, heads and flows.
#[derive(Debug, Clone)]
pub struct Hydraulics {
    /// Points whose head is found; the heads behind are given.
    free: usize,
    curves: Vec<Curve>,
    /// Curves from here on belong to vented weir pipes.
    plain: usize,
    weirs: Vec<Weir>,
    /// Corrections of curves that depend on the flows of others.
    momentum: Momentum,
    /// What each vented weir pipe follows at the trial and at the base.
    chosen: Vec<WeirFlow>,
    base_chosen: Vec<WeirFlow>,
    heads: Vec<f64>,
    base_heads: Vec<f64>,
    trial: Vec<Point>,
    base: Vec<Point>,
    slots: Vec<u32>,
    pattern: Pattern,
    one_sided: Vec<OneSided>,
    /// Points that nothing ties to a known head.
    loose: Vec<bool>,
    /// Points whose head stays in this step.
    pinned: Vec<bool>,
    /// Laws that are given a conductance in this step, to move the head of a part that is fed.
    ajar: Vec<(usize, f64)>,
    /// Ties that `part_of` stands for, the part of each point, and whether all are joined to a known head.
    ties: Vec<bool>,
    part_of: Vec<u32>,
    joined: bool,
    /// Whether the points whose head stays, or the laws ajar, are others than in the step before.
    rearranged: bool,
    was_pinned: Vec<bool>,
    was_ajar: usize,
    /// Largest flow at the trial, m3/s.
    reference: f64,
    /// Largest natural flow of an active curve, m3/s.
    natural: f64,
    /// Sum over the curves of what rounding of the heads does to a flow at the trial, m3/s.
    rounding: f64,
    sums: Vec<f64>,
    /// Smoothing in force, as a share of the natural flow.
    blur: f64,
    /// Whether the points at the trial are those of the laws in force.
    current: bool,
    /// One-way laws that pass nothing at the trial and at the base.
    shut: usize,
    base_shut: usize,
}

/// Share of the natural flow below which a cold start smooths quadratic losses at first: flows that have to vanish
/// are found there at once, while along a square they are only halved by each step.
const BLUR: f64 = 0.3;

/// Conductance of a shut one-way law of a part that is fed, as a share of its natural one.
const AJAR: f64 = 1e-6;

/// Marks a curve that joins a fixed point and so has no place off the diagonal.
const NO_SLOT: u32 = u32::MAX;

impl Hydraulics {
    /// Equations of `free` points with heads to be found and the fixed heads behind them.
    ///
    /// `curves`: those of vented weir pipes last, as `weirs` names them. The topology stays for good; laws, fixed
    /// heads and which curves are active may change.
    pub fn new(free: usize, fixed: &[f64], curves: Vec<Curve>, weirs: Vec<Weir>) -> Result<Self, PatternError> {
        let mut couplings = Vec::new();
        let mut order = Vec::with_capacity(curves.len());
        for curve in &curves {
            let (a, b) = (curve.from as usize, curve.to as usize);
            if a < free && b < free && a != b {
                order.push(Some(couplings.len()));
                couplings.push((a, b));
            } else {
                order.push(None);
            }
        }
        let pattern = Pattern::new(free, &couplings)?;
        let slots = order.into_iter().map(|at| at.map_or(NO_SLOT, |k| pattern.coupling(k) as u32)).collect();
        let plain = curves.len() - 3 * weirs.len();
        let mut heads = vec![0.0; free];
        heads.extend_from_slice(fixed);
        let points = vec![Point::default(); curves.len()];
        Ok(Hydraulics {
            free,
            plain,
            chosen: vec![WeirFlow::NONE; weirs.len()],
            base_chosen: vec![WeirFlow::NONE; weirs.len()],
            weirs,
            momentum: Momentum::default(),
            base_heads: heads.clone(),
            heads,
            trial: points.clone(),
            base: points,
            curves,
            slots,
            pattern,
            one_sided: Vec::new(),
            loose: vec![false; free],
            pinned: vec![false; free],
            ajar: Vec::new(),
            ties: Vec::new(),
            part_of: vec![0; free + 1],
            joined: true,
            rearranged: true,
            was_pinned: vec![false; free],
            was_ajar: 0,
            reference: 0.0,
            natural: 0.0,
            rounding: 0.0,
            sums: vec![0.0; free],
            blur: 0.0,
            current: false,
            shut: 0,
            base_shut: 0,
        })
    }

    /// Gives the momentum along straight runs a say. Their curves are two-way and belong to no vented weir pipe.
    pub fn set_runs(&mut self, runs: Vec<Run>) {
        self.momentum = Momentum::new(runs, self.curves.len());
    }

    /// Whether momentum along runs has a say.
    pub fn has_runs(&self) -> bool {
        self.momentum.has_runs()
    }

    /// Curves, to change laws and which take part.
    pub fn curves_mut(&mut self) -> &mut [Curve] {
        self.current = false;
        &mut self.curves
    }

    /// Curves.
    pub fn curves(&self) -> &[Curve] {
        &self.curves
    }

    /// Vented weir pipes.
    pub fn weirs(&self) -> &[Weir] {
        &self.weirs
    }

    /// Says which of its flows a vented weir pipe follows.
    pub fn set_weir_mode(&mut self, weir: usize, mode: WeirMode) {
        self.weirs[weir].mode = mode;
    }

    /// Sum of flows at a point that may be left over, m3/s: a share of the largest flow, and what rounding does.
    pub fn tolerated_imbalance(&self, share: f64) -> f64 {
        share * self.reference + 1e-12 * self.natural + self.rounding
    }

    /// What rounding does to a difference of heads, Pa.
    fn head_rounding(&self, heads: &[f64]) -> f64 {
        4.0 * f64::EPSILON * heads.iter().fold(0.0_f64, |most, head| most.max(head.abs()))
    }

    /// Number of points whose head is found.
    pub fn free(&self) -> usize {
        self.free
    }

    /// Sets a fixed head, counted from the first fixed point.
    pub fn set_fixed(&mut self, index: usize, head: f64) {
        self.heads[self.free + index] = head;
        self.base_heads[self.free + index] = head;
    }

    /// Marks the points that nothing ties to a known head. Their curves must not be active.
    pub fn set_loose(&mut self, loose: Vec<bool>) {
        self.loose = loose;
    }

    /// Head of a point, Pa; `None` where nothing ties it to a known head.
    pub fn head(&self, point: usize) -> Option<f64> {
        (point >= self.free || !self.loose[point]).then(|| self.heads[point])
    }

    /// Flow of a curve, m3/s.
    pub fn flow(&self, curve: usize) -> f64 {
        let c = &self.curves[curve];
        if c.active { self.trial[curve].flow } else { 0.0 }
    }

    /// Flow of a vented weir pipe at the trial.
    pub fn weir_flow(&self, weir: usize) -> WeirFlow {
        self.chosen[weir]
    }

    /// Largest sum of flows at a free point at the last evaluation, m3/s, and that point.
    pub fn largest_imbalance(&self) -> (f64, Option<usize>) {
        let mut worst = (0.0, None);
        for (point, sum) in self.sums.iter().enumerate() {
            if sum.is_nan() || sum.abs() > worst.0 {
                worst = (sum.abs(), Some(point));
            }
        }
        worst
    }

    /// Sums of the flows leaving each free point at the trial.
    fn imbalance(&self, sums: &mut [f64]) {
        let free = self.free;
        let mut add = |curve: &Curve, flow: f64| {
            if (curve.from as usize) < free {
                sums[curve.from as usize] += flow;
            }
            if (curve.to as usize) < free {
                sums[curve.to as usize] -= flow;
            }
        };
        for (curve, point) in self.curves[..self.plain].iter().zip(&self.trial) {
            if curve.active {
                add(curve, point.flow);
            }
        }
        for (weir, chosen) in self.weirs.iter().zip(&self.chosen) {
            let full = &self.curves[weir.full];
            if full.active {
                add(full, chosen.flow);
            }
        }
    }

    /// Whether the head of a point is found in this step.
    fn moves(&self, point: usize) -> bool {
        point < self.free && !self.pinned[point]
    }

    /// Adds a linear element of conductance `c` with the flow `flow` at no change of heads.
    fn stamp(&self, curve: usize, c: f64, flow: f64, values: &mut [f64], rhs: &mut [f64]) {
        let (a, b) = (self.curves[curve].from as usize, self.curves[curve].to as usize);
        let (moves_a, moves_b) = (self.moves(a), self.moves(b));
        if moves_a {
            values[self.pattern.diagonal(a)] += c;
            rhs[a] -= flow;
        }
        if moves_b {
            values[self.pattern.diagonal(b)] += c;
            rhs[b] += flow;
        }
        if moves_a && moves_b && self.slots[curve] != NO_SLOT {
            values[self.slots[curve] as usize] -= c;
        }
    }

    /// Gives points whose head stays an equation of their own: no change.
    fn fill_pinned(&self, values: &mut [f64], rhs: &mut [f64]) {
        for (point, pinned) in self.pinned.iter().enumerate() {
            if *pinned {
                values[self.pattern.diagonal(point)] = 1.0;
                rhs[point] = 0.0;
            }
        }
    }

    fn drop(&self, heads: &[f64], curve: usize) -> f64 {
        let c = &self.curves[curve];
        heads[c.from as usize] - heads[c.to as usize]
    }
}

impl NetworkEquations for Hydraulics {
    fn pattern(&self) -> &Pattern {
        &self.pattern
    }

    fn assemble_start(&mut self, values: &mut [f64], rhs: &mut [f64]) {
        self.pinned.copy_from_slice(&self.loose);
        values.fill(0.0);
        rhs.fill(0.0);
        self.heads[..self.free].fill(0.0);
        for index in 0..self.plain {
            if self.curves[index].active {
                let c = 1.0 / self.curves[index].secant;
                self.stamp(index, c, c * (self.drop(&self.heads, index) + self.curves[index].offset), values, rhs);
            }
        }
        for weir in &self.weirs {
            if self.curves[weir.full].active {
                let c = 1.0 / self.curves[weir.full].secant;
                let drop = self.drop(&self.heads, weir.full) + self.curves[weir.full].offset;
                self.stamp(weir.full, c, c * drop, values, rhs);
            }
        }
        self.fill_pinned(values, rhs);
    }

    fn start(&mut self, unknowns: &[f64]) {
        self.heads[..self.free].copy_from_slice(unknowns);
        for index in 0..self.curves.len() {
            self.trial[index].s = self.curves[index].secant_parameter(self.drop(&self.heads, index));
        }
        self.current = false;
    }

    fn evaluate(&mut self) -> f64 {
        let mut merit = 0.0;
        self.momentum.evaluate(&self.curves, &self.trial);
        let ulp = self.head_rounding(&self.heads);
        let mut rounding = 0.0;
        let (mut reference, mut natural): (f64, f64) = (0.0, 0.0);
        let mut shut = 0;
        for (index, (curve, point)) in self.curves.iter().zip(&mut self.trial).enumerate() {
            if !curve.active {
                continue;
            }
            if !self.current {
                *point = curve.at(point.s, self.blur);
            }
            let drop = self.heads[curve.from as usize] - self.heads[curve.to as usize];
            let error = (drop - point.loss - self.momentum.here(index)) / curve.secant;
            merit += error * error;
            natural = natural.max(curve.law.natural_flow());
            rounding += ulp * point.conductance;
            shut += usize::from(curve.one_way && point.s < 0.0);
            if index < self.plain {
                reference = reference.max(point.flow.abs());
            }
        }
        self.current = true;
        self.shut = shut;
        let mut sums = std::mem::take(&mut self.sums);
        sums.fill(0.0);
        for (weir, chosen) in self.weirs.iter().zip(&mut self.chosen) {
            if self.curves[weir.full].active {
                *chosen = choose(weir, &self.trial);
                reference = reference.max(chosen.flow.abs());
            }
        }
        self.imbalance(&mut sums);
        merit += sums.iter().map(|sum| sum * sum).sum::<f64>();
        self.sums = sums;
        (self.reference, self.natural, self.rounding) = (reference, natural, rounding);
        merit
    }

    fn blur(&mut self, on: bool) {
        self.blur = if on { BLUR } else { 0.0 };
        self.momentum.set_off(on);
        self.current = false;
    }

    fn accept(&mut self) {
        // The trial is written anew by the next step, but for what takes no part.
        std::mem::swap(&mut self.base, &mut self.trial);
        std::mem::swap(&mut self.base_heads, &mut self.heads);
        self.base_chosen.copy_from_slice(&self.chosen);
        self.momentum.accept();
        self.base_shut = self.shut;
    }

    fn rest(&mut self) {
        self.trial.copy_from_slice(&self.base);
        self.heads.copy_from_slice(&self.base_heads);
        self.chosen.copy_from_slice(&self.base_chosen);
        self.shut = self.base_shut;
    }

    fn assemble(&mut self, values: &mut [f64], rhs: &mut [f64]) -> bool {
        self.pin();
        values.fill(0.0);
        rhs.fill(0.0);
        for index in 0..self.plain {
            if self.curves[index].active {
                let point = self.base[index];
                let flow = point.flow + (self.drop(&self.base_heads, index) - point.loss) * point.conductance;
                self.stamp(index, point.conductance, flow, values, rhs);
            }
        }
        self.one_sided.clear();
        for index in 0..self.weirs.len() {
            if self.curves[self.weirs[index].full].active {
                self.assemble_weir(index, values, rhs);
            }
        }
        for index in 0..self.ajar.len() {
            let (curve, conductance) = self.ajar[index];
            self.stamp(curve, conductance, 0.0, values, rhs);
        }
        self.spread_base_corrections(rhs);
        self.fill_pinned(values, rhs);
        !self.rearranged
    }

    fn rounding(&self) -> f64 {
        (1e-11 * self.reference + 1e-13 * self.natural + self.rounding).powi(2)
    }

    fn balanced(&self) -> bool {
        self.blur > 0.0 || self.largest_imbalance().0 <= self.tolerated_imbalance(1e-9)
    }

    fn one_sided(&self) -> &[OneSided] {
        &self.one_sided
    }

    fn corrections(&self) -> usize {
        self.momentum.len()
    }

    fn spread(&self, corrections: &[f64], rhs: &mut [f64]) {
        self.spread_corrections(corrections, rhs);
    }

    fn respond(&self, step: &[f64], corrections: Option<&[f64]>, out: &mut [f64]) {
        self.answer(step, corrections, out);
    }

    fn correct(&mut self, changes: &[f64]) {
        self.take_corrections(changes);
    }

    fn step(&mut self, step: &[f64], share: f64, bent: bool) -> f64 {
        for (point, dx) in step.iter().enumerate() {
            self.heads[point] = self.base_heads[point] + share * dx;
        }
        // On the coarse laws, flows that are small beside the largest need not be found.
        let coarse = if self.blur > 0.0 { 100.0 } else { 1.0 };
        let floor = coarse * (1e-4 * self.reference + 1e-6 * self.natural);
        let ulp = self.head_rounding(&self.base_heads);
        let mut change: f64 = 0.0;
        self.current = false;
        for index in 0..self.curves.len() {
            let curve = &self.curves[index];
            if !curve.active {
                continue;
            }
            let base = &self.base[index];
            // Heads after the whole step: the tangent is followed by the same share as the heads.
            let whole = |point: u32| {
                let point = point as usize;
                if point < self.free { self.base_heads[point] + step[point] } else { self.heads[point] }
            };
            let head = whole(curve.from) - whole(curve.to) - self.momentum.ahead(index);
            let s = if bent {
                curve.bent(base, head, self.blur > 0.0)
            } else {
                base.s + share * (base.linear(head) - base.s)
            };
            self.trial[index].s = s;
            let (before, after) = if curve.one_way { (base.s.max(0.0), s.max(0.0)) } else { (base.s, s) };
            let moved = (after - before).abs() - ulp * base.inverse_slope;
            if !self.is_idle(index, after, moved) {
                change = change.max(moved / (after.abs() + floor));
            }
        }
        change
    }
}
