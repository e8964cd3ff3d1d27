//! The network as Newton's method sees it.

use super::Hydraulics;
use super::pass::{Moved, Settle};
use crate::analysis::curve::{Curve, Point};
use crate::linear::Pattern;
use crate::nonlinear::{NetworkEquations, OneSided};

impl Hydraulics {
    /// Brings the flows of the start to the size at which they lose what the heads give them. They balance at every point and
    /// go on doing so; the linear laws they come from know how they share, not how large they are.
    ///
    /// ```text
    /// sum of q loss(a q) = sum of q (h_from - h_to)    with loss(a q) = a^2 loss(q)
    /// ```
    fn scale_start(&mut self) {
        let parameter = |at: &Self, index: usize| at.links.curve(index).secant_parameter(at.drop(&at.heads, index));
        let (lost, given) = self.work(parameter);
        let scale = (given / lost).sqrt();
        let scale = if (1.0 / MOST_SCALED..MOST_SCALED).contains(&scale) { scale } else { 1.0 };
        let mut trial = std::mem::take(&mut self.trial);
        for (index, point) in trial.iter_mut().enumerate().filter(|&(index, _)| self.links.links[index].active) {
            point.s = scale * parameter(self, index);
        }
        self.trial = trial;
        self.current = false;
    }

    /// Flow, m3/s, beside which changes of small flows are counted. On the coarse laws, flows that are small beside the
    /// largest need not be found.
    pub(super) fn floor(&self) -> f64 {
        let coarse = if self.blur > 0.0 { 100.0 } else { 1.0 };
        coarse * (1e-4 * self.reference + 1e-6 * self.natural)
    }

    /// Whether the flows at the trial balance well enough to stop there.
    pub(super) fn is_balanced(&self) -> bool {
        let tolerated = self.tolerated_imbalance(1e-9);
        self.blur > 0.0 || self.sums[..self.free].iter().all(|sum| sum.abs() <= tolerated)
    }
}

/// How much the flows of a start are changed at most: beyond, the laws are of some other form than squares.
const MOST_SCALED: f64 = 100.0;

/// How a step leads from the base to the trial.
struct Stride<'s> {
    /// Changes of the free heads, and the share of them that is taken.
    step: &'s [f64],
    share: f64,
    /// Whether parameters may be moved along the laws.
    bent: bool,
    /// Whether the laws are smoothed about zero flow.
    coarse: bool,
    gauge: Gauge,
}

/// What changes of parameters are measured by.
pub(super) struct Gauge {
    /// Flow, m3/s, that a change is counted against besides the link's own.
    floor: f64,
    /// What rounding does to a difference of heads, Pa.
    ulp: f64,
}

impl Gauge {
    /// For steps from the base.
    pub(super) fn new(at: &Hydraulics) -> Self {
        Gauge { floor: at.floor(), ulp: at.head_rounding(&at.base_heads) }
    }

    /// How far a link moves from the base to a parameter. `by`: ds/d(loss) at the base.
    #[inline(always)]
    pub(super) fn moved(&self, at: &Hydraulics, index: usize, curve: &Curve, by: f64, s: f64) -> Moved {
        let base = at.base[index].s;
        let (before, after) = if curve.one_way { (base.max(0.0), s.max(0.0)) } else { (base, s) };
        let moved = (after - before).abs() - self.ulp * by;
        let idle = at.is_idle(index, after, moved);
        if idle { Moved::NOT } else { Moved { part: moved, whole: after.abs() + self.floor } }
    }
}

impl Stride<'_> {
    /// Drop of the heads of a link after the whole step, Pa: the tangent is followed by the same share as the heads.
    #[cold]
    fn whole_drop(&self, at: &Hydraulics, index: usize) -> f64 {
        let whole = |point: usize| self.step.get(point).map_or(at.heads[point], |step| at.base_heads[point] + step);
        let [from, to] = at.links.ends(index);
        whole(from) - whole(to)
    }

    /// Parameter of a link at the trial, and how far that is from the base.
    #[inline(always)]
    fn parameter(&self, at: &Hydraulics, index: usize, curve: &Curve, drop: f64) -> (f64, Moved) {
        let base = &at.base[index];
        let drop = if self.share < 1.0 { self.whole_drop(at, index) } else { drop };
        let head = drop - at.momentum.ahead(index);
        let by = curve.inverse_slope(base);
        let linear = base.s + (head - curve.loss(base)) * by;
        let s = if self.bent {
            curve.bent(base, linear, head, self.coarse)
        } else {
            base.s + self.share * (linear - base.s)
        };
        (s, self.gauge.moved(at, index, curve, by, s))
    }
}

impl Settle for Stride<'_> {
    #[inline(always)]
    fn settle(&self, at: &Hydraulics, index: usize, curve: &Curve, drop: f64, point: &mut Point) -> (Moved, bool) {
        let (s, moved) = self.parameter(at, index, curve, drop);
        point.s = s;
        (moved, true)
    }
}

/// Leaves the parameters where they are and renews the laws there.
struct Renewal {
    /// Whether all are another than those in force.
    all: bool,
    /// Share of their natural flow below which they are.
    smoothed: f64,
}

impl Settle for Renewal {
    #[inline(always)]
    fn settle(&self, _: &Hydraulics, _: usize, curve: &Curve, _: f64, point: &mut Point) -> (Moved, bool) {
        (Moved::NOT, self.all || point.is_outdated() || point.s.abs() < self.smoothed * curve.natural)
    }
}

impl NetworkEquations for Hydraulics {
    fn pattern(&self) -> &Pattern {
        &self.pattern
    }

    fn assemble_start(&mut self, values: &mut [f64], rhs: &mut [f64]) {
        self.pinned.copy_from_slice(&self.loose);
        self.heads[..self.free].fill(0.0);
        self.stamp_plain(values, rhs, |at, _, link, curve| {
            let drop = at.heads[link.from as usize] - at.heads[link.to as usize];
            (curve.conductance, curve.conductance * (drop + curve.offset))
        });
        for weir in &self.weirs {
            if self.links.link(weir.full).active {
                let curve = self.links.curve(weir.full);
                let drop = self.drop(&self.heads, weir.full) + curve.offset;
                self.stamp(weir.full, curve.conductance, curve.conductance * drop, values, rhs);
            }
        }
        self.fill_pinned(values, rhs);
    }

    fn start(&mut self, unknowns: &[f64]) {
        self.glided = None;
        self.heads[..self.free].copy_from_slice(unknowns);
        self.scale_start();
    }

    fn evaluate(&mut self) -> f64 {
        if let Some(merit) = self.weighed.take() {
            return merit;
        }
        self.momentum.evaluate(&self.links, &self.trial);
        self.weigh(Renewal { all: !self.current, smoothed: self.smoothed }).0
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
        std::mem::swap(&mut self.base_stamps, &mut self.stamps);
        self.stamps.valid = false;
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
        if self.base_stamps.valid {
            self.base_stamps.write(&self.pattern, values, rhs);
            if self.pinned != self.loose {
                self.uncouple_pinned(values);
            }
        } else {
            self.stamp_plain(values, rhs, |at, index, link, curve| {
                let point = &at.base[index];
                let drop = at.base_heads[link.from as usize] - at.base_heads[link.to as usize];
                let c = curve.slope(point);
                (c, point.flow() + (drop - curve.loss(point)) * c)
            });
        }
        self.one_sided.clear();
        for index in 0..self.weirs.len() {
            if self.links.link(self.weirs[index].full).active {
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
        let stride = Stride { step, share, bent, coarse: self.blur > 0.0, gauge: Gauge::new(self) };
        if !self.momentum.has_runs() {
            let (merit, change) = self.weigh(stride);
            self.weighed = Some(merit);
            return change;
        }
        // What a run adds to its curves depends on several parameters: all have to be known first.
        self.stamps.valid = false;
        let mut trial = std::mem::take(&mut self.trial);
        let mut change: f64 = 0.0;
        for (index, ((link, curve), point)) in self.links.iter().zip(&mut trial).enumerate() {
            if link.active {
                let (s, moved) = stride.parameter(self, index, curve, self.drop(&self.heads, index));
                point.s = s;
                change = moved.most(change);
            }
        }
        self.trial = trial;
        self.current = false;
        change
    }
}
