//! The network as Newton's method sees it.

use super::Hydraulics;
use super::weir::choose;
use crate::analysis::curve::{Curve, Point};
use crate::component::friction::{TURBULENT_FROM, turbulent};
use crate::linear::Pattern;
use crate::nonlinear::{NetworkEquations, OneSided};

/// Curves that are passed over together.
const TOGETHER: usize = 64;

/// Curves whose turbulent friction is found together.
const SIDE_BY_SIDE: usize = 8;

/// Turbulent friction that is asked for, to be found several at a time.
struct Frictions {
    count: usize,
    curves: [usize; SIDE_BY_SIDE],
    reynolds: [f64; SIDE_BY_SIDE],
    roughness: [f64; SIDE_BY_SIDE],
}

impl Frictions {
    const NONE: Frictions = Frictions {
        count: 0,
        curves: [0; SIDE_BY_SIDE],
        reynolds: [TURBULENT_FROM; SIDE_BY_SIDE],
        roughness: [0.0; SIDE_BY_SIDE],
    };

    /// Puts a point at its parameter, at once or with those that are asked for.
    #[inline(always)]
    fn ask(&mut self, index: usize, blur: f64, curves: &[Curve], points: &mut [Point]) {
        let (curve, point) = (&curves[index], &mut points[index]);
        let Some([reynolds, roughness]) = curve.turbulent(point.s, blur) else {
            *point = curve.at(point.s, blur);
            return;
        };
        let at = self.count % SIDE_BY_SIDE;
        (self.curves[at], self.reynolds[at], self.roughness[at]) = (index, reynolds, roughness);
        self.count += 1;
        if self.count == SIDE_BY_SIDE {
            self.find(curves, points);
        }
    }

    /// Puts the points that are left where they were asked for.
    #[inline(always)]
    fn find(&mut self, curves: &[Curve], points: &mut [Point]) {
        let found = turbulent(self.reynolds, self.roughness);
        for (&index, friction) in self.curves.iter().zip(found).take(self.count) {
            points[index] = curves[index].at_friction(points[index].s, friction);
        }
        self.count = 0;
    }
}

impl Hydraulics {
    /// Passes once over the curves that take part: `settle` moves the parameter of each to that of the trial, and gives how
    /// far and whether the law is to be evaluated there. Gives the merit at the trial and the largest change.
    #[inline(always)]
    fn weigh(&mut self, settle: impl Fn(&Self, usize, &Curve, &mut Point) -> (Moved, bool)) -> (f64, f64) {
        let (mut trial, mut sums) = (std::mem::take(&mut self.trial), std::mem::take(&mut self.sums));
        sums.fill(0.0);
        let ulp = self.head_rounding(&self.heads);
        let (mut merit, mut rounding, mut shut) = (0.0, 0.0, 0);
        let (mut change, mut reference, mut natural) = (0.0_f64, 0.0_f64, 0.0_f64);
        let mut frictions = Frictions::NONE;
        for first in (0..self.curves.len()).step_by(TOGETHER) {
            let here = first..(first + TOGETHER).min(self.curves.len());
            for index in here.clone() {
                let curve = &self.curves[index];
                if curve.active {
                    let (moved, fresh) = settle(self, index, curve, &mut trial[index]);
                    change = moved.most(change);
                    if fresh {
                        frictions.ask(index, self.blur, &self.curves, &mut trial);
                    }
                }
            }
            if frictions.count > 0 {
                frictions.find(&self.curves, &mut trial);
            }
            for (index, (curve, point)) in here.clone().zip(self.curves[here.clone()].iter().zip(&trial[here])) {
                if !curve.active {
                    continue;
                }
                let drop = self.heads[curve.from as usize] - self.heads[curve.to as usize];
                let error = (drop - point.loss - self.momentum.here(index)) * curve.conductance;
                merit += error * error;
                natural = natural.max(curve.law.natural_flow());
                rounding += ulp * point.conductance();
                shut += usize::from(curve.one_way && point.s < 0.0);
                if index < self.plain {
                    reference = reference.max(point.flow().abs());
                    add_flow(&mut sums, curve, point.flow());
                }
            }
        }
        for (weir, chosen) in self.weirs.iter().zip(&mut self.chosen) {
            let pipe = &self.curves[weir.full];
            if pipe.active {
                *chosen = choose(weir, &trial);
                reference = reference.max(chosen.flow.abs());
                add_flow(&mut sums, pipe, chosen.flow);
            }
        }
        merit += sums.iter().map(|sum| sum * sum).sum::<f64>();
        (self.trial, self.sums) = (trial, sums);
        (self.reference, self.natural, self.rounding, self.shut) = (reference, natural, rounding, shut);
        (self.current, self.relaid, self.smoothed) = (true, false, 0.0);
        (merit, change)
    }
}

impl Hydraulics {
    /// Brings the flows of the start to the size at which they lose what the heads give them. They balance at every point and
    /// go on doing so; the linear laws they come from know how they share, not how large they are.
    ///
    /// ```text
    /// sum of q loss(a q) = sum of q (h_from - h_to)    with loss(a q) = a^2 loss(q)
    /// ```
    fn scale_start(&mut self) {
        self.weigh(|_, _, _, _| (Moved::NOT, true));
        let (mut lost, mut given) = (0.0, 0.0);
        for (index, (curve, point)) in self.curves[..self.plain].iter().zip(&self.trial).enumerate() {
            if curve.active {
                lost += point.flow() * point.loss;
                given += point.flow() * self.drop(&self.heads, index);
            }
        }
        let scale = (given / lost).sqrt();
        if (1.0 / MOST_SCALED..MOST_SCALED).contains(&scale) {
            self.trial.iter_mut().for_each(|point| point.s *= scale);
        }
        self.current = false;
    }
}

impl Hydraulics {
    /// Flow, m3/s, beside which changes of small flows are counted. On the coarse laws, flows that are small beside the
    /// largest need not be found.
    pub(super) fn floor(&self) -> f64 {
        let coarse = if self.blur > 0.0 { 100.0 } else { 1.0 };
        coarse * (1e-4 * self.reference + 1e-6 * self.natural)
    }

    /// Whether the flows at the trial balance well enough to stop there.
    pub(super) fn is_balanced(&self) -> bool {
        self.blur > 0.0 || self.largest_imbalance().0 <= self.tolerated_imbalance(1e-9)
    }
}

/// How much the flows of a start are changed at most: beyond, the laws are of some other form than squares.
const MOST_SCALED: f64 = 100.0;

/// How far a parameter has moved, as a part of a whole above 0.
#[derive(Clone, Copy)]
pub(super) struct Moved {
    part: f64,
    whole: f64,
}

impl Moved {
    const NOT: Moved = Moved { part: 0.0, whole: 1.0 };

    /// So much of a whole above 0.
    #[inline(always)]
    pub fn new(part: f64, whole: f64) -> Self {
        Moved { part, whole }
    }

    /// The larger of this change and another; divides where it has to.
    #[inline(always)]
    pub fn most(self, other: f64) -> f64 {
        if self.part > other * self.whole { self.part / self.whole } else { other }
    }
}

/// Adds a flow to the sums of the flows leaving its ends; fixed heads have none.
pub(super) fn add_flow(sums: &mut [f64], curve: &Curve, flow: f64) {
    if let Some(sum) = sums.get_mut(curve.from as usize) {
        *sum += flow;
    }
    if let Some(sum) = sums.get_mut(curve.to as usize) {
        *sum -= flow;
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
                let c = self.curves[index].conductance;
                self.stamp(index, c, c * (self.drop(&self.heads, index) + self.curves[index].offset), values, rhs);
            }
        }
        for weir in &self.weirs {
            if self.curves[weir.full].active {
                let c = self.curves[weir.full].conductance;
                let drop = self.drop(&self.heads, weir.full) + self.curves[weir.full].offset;
                self.stamp(weir.full, c, c * drop, values, rhs);
            }
        }
        self.fill_pinned(values, rhs);
    }

    fn start(&mut self, unknowns: &[f64]) {
        self.glided = None;
        self.heads[..self.free].copy_from_slice(unknowns);
        for index in 0..self.curves.len() {
            self.trial[index].s = self.curves[index].secant_parameter(self.drop(&self.heads, index));
        }
        self.scale_start();
    }

    fn evaluate(&mut self) -> f64 {
        if let Some(merit) = self.weighed.take() {
            return merit;
        }
        self.momentum.evaluate(&self.curves, &self.trial);
        let (renew, move_on, smoothed) = (!self.current, self.relaid, self.smoothed);
        let (merit, _) = self.weigh(|_, _, curve, point| {
            let fresh = renew || point.is_outdated() || point.s.abs() < smoothed * curve.law.natural_flow();
            if !fresh && move_on {
                *point = curve.moved(point);
            }
            (Moved::NOT, fresh)
        });
        merit
    }

    fn blur(&mut self, share: f64) {
        self.smoothed = self.smoothed.max(self.blur).max(share);
        self.blur = share;
        self.momentum.set_off(share > 0.0);
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
        for (index, (curve, point)) in self.curves[..self.plain].iter().zip(&self.base).enumerate() {
            if curve.active {
                let (c, drop) = (point.conductance(), self.drop(&self.base_heads, index));
                self.stamp(index, c, point.flow() + (drop - point.loss) * c, values, rhs);
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
        self.is_balanced()
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

    fn glide(&mut self, step: &[f64], most: f64) -> bool {
        self.slide(step, most)
    }

    fn glide_back(&mut self, most: f64) {
        match self.glided.take() {
            Some(change) if change <= most => self.rest(),
            Some(_) => self.current = false,
            None => {}
        }
    }

    fn step(&mut self, step: &[f64], share: f64, bent: bool) -> f64 {
        for (point, dx) in step.iter().enumerate() {
            self.heads[point] = self.base_heads[point] + share * dx;
        }
        let floor = self.floor();
        let ulp = self.head_rounding(&self.base_heads);
        // Parameter of the trial, and how far that is from the base.
        let parameter = |at: &Self, index: usize, curve: &Curve| {
            let base = &at.base[index];
            // Heads after the whole step: the tangent is followed by the same share as the heads.
            let whole = |point: u32| {
                let point = point as usize;
                if point < at.free { at.base_heads[point] + step[point] } else { at.heads[point] }
            };
            let head = whole(curve.from) - whole(curve.to) - at.momentum.ahead(index);
            let s = if bent {
                curve.bent(base, head, at.blur > 0.0)
            } else {
                base.s + share * (base.linear(head) - base.s)
            };
            let (before, after) = if curve.one_way { (base.s.max(0.0), s.max(0.0)) } else { (base.s, s) };
            let moved = (after - before).abs() - ulp * base.inverse_slope;
            let idle = at.is_idle(index, after, moved);
            (s, if idle { Moved::NOT } else { Moved { part: moved, whole: after.abs() + floor } })
        };
        if !self.momentum.has_runs() {
            let (merit, change) = self.weigh(|at, index, curve, point| {
                let (s, moved) = parameter(at, index, curve);
                point.s = s;
                (moved, true)
            });
            self.weighed = Some(merit);
            return change;
        }
        // What a run adds to its curves depends on several parameters: all have to be known first.
        let mut trial = std::mem::take(&mut self.trial);
        let mut change: f64 = 0.0;
        for (index, (curve, point)) in self.curves.iter().zip(&mut trial).enumerate() {
            if curve.active {
                let (s, moved) = parameter(self, index, curve);
                point.s = s;
                change = moved.most(change);
            }
        }
        self.trial = trial;
        self.current = false;
        change
    }
}
