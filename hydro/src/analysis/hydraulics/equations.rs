//! The network as Newton's method sees it.

use super::Hydraulics;
use super::lanes::{Lanes, List, Mask, Notes, Out, sets};
use super::pass::{Here, Moved, Settle};
use super::points::{Along, Points, TOGETHER};
use crate::analysis::curve::{Curve, FAR};
use crate::linear::Pattern;
use crate::nonlinear::{NetworkEquations, OneSided};
use pulp::{Simd, WithSimd};

impl Hydraulics {
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

    /// The same for several links side by side.
    #[inline(always)]
    pub(super) fn lanes<S: Simd>(&self, by: S) -> Gauges<S> {
        Gauges { floor: Lanes::all(by, self.floor), ulp: Lanes::all(by, self.ulp) }
    }

    /// How far a link moves from the base to a parameter. `by`: ds/d(loss) at the base.
    #[inline(always)]
    pub(super) fn moved(&self, at: &Hydraulics, index: usize, curve: &Curve, by: f64, s: f64) -> Moved {
        let base = at.base.s(index);
        let (before, after) = if curve.one_way { (base.max(0.0), s.max(0.0)) } else { (base, s) };
        let moved = (after - before).abs() - self.ulp * by;
        let idle = at.is_idle(index, after, moved);
        if idle { Moved::NOT } else { Moved { part: moved, whole: after.abs() + self.floor } }
    }
}

/// A gauge for several links side by side.
pub(super) struct Gauges<S: Simd> {
    floor: Lanes<S>,
    ulp: Lanes<S>,
}

impl<S: Simd> Gauges<S> {
    /// How far links that are not of vented weir pipes move from one parameter to another. `least`: below that they pass nothing.
    #[inline(always)]
    pub(super) fn moved(&self, s: [Lanes<S>; 2], least: Lanes<S>, by: Lanes<S>) -> Lanes<S> {
        let [before, after] = s.map(|s| s.max(least));
        ((after - before).abs() - self.ulp * by) / (after.abs() + self.floor)
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
        let base = &at.base.at(index);
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
    fn settle(&self, at: &Hydraulics, here: Here<'_>, trial: &mut Points, mut change: f64) -> (f64, bool) {
        let Here { first, drops, .. } = here;
        let order = &at.order.links[first..];
        let mut one = |s: &mut f64, k: usize| {
            let Some(index) = order.get(k).map(|&index| index as usize) else { return };
            if at.links.link(index).active {
                let (s_now, moved) = self.parameter(at, index, at.links.curve(index), drops[k]);
                *s = s_now;
                change = moved.most(change);
            }
        };
        let (end, base) = (at.end_from(first), &at.base);
        let s = &mut trial.s[first..end];
        if !self.bent || self.share < 1.0 {
            s.iter_mut().enumerate().for_each(|(k, s)| one(s, k));
            return (change, true);
        }
        let most = pulp::Arch::new().dispatch(Striding { stride: self, here, base, s, one: &mut one });
        for (k, &index) in order.iter().enumerate().take(end - first).skip(at.order.plain.saturating_sub(first)) {
            let (place, index, curve) = (first + k, index as usize, at.links.curve(index as usize));
            let by = curve.inverse_slope(&at.base.here(place));
            change = self.gauge.moved(at, index, curve, by, trial.s[place]).most(change);
        }
        (if most > change { most } else { change }, true)
    }
}

/// A whole step of links that are passed over together.
struct Striding<'s, F> {
    stride: &'s Stride<'s>,
    here: Here<'s>,
    base: &'s Points,
    s: &'s mut [f64],
    /// The step of one of them alone.
    one: F,
}

impl<F: FnMut(&mut f64, usize)> WithSimd for Striding<'_, F> {
    type Output = f64;

    #[inline(always)]
    fn with_simd<S: Simd>(self, by: S) -> f64 {
        let Striding { stride, here: Here { first, table, drops }, base, s: parameters, mut one } = self;
        let count = parameters.len().min(TOGETHER);
        let along = Along::new(by, table, base, first, count);
        let list = |numbers| List::new(by, numbers, count);
        let (drops, least, natural) = (list(drops), list(&table.least), list(&table.natural));
        let (linear, offset, counted) = (list(&table.linear), list(&table.offset), list(&table.counted));
        let mut out = Out::new(by, parameters, count);
        let (zero, gauge) = (Lanes::all(by, 0.0), stride.gauge.lanes(by));
        let (mut most, mut notes) = (zero, Notes::new(by));
        for set in 0..sets::<S>(count) {
            let (start, drop, least) = (along.s(set), drops.at(set), least.at(set));
            let slope = along.inverse_slope(set);
            let tangent = start + (drop - along.loss(set)) * slope;
            let closed = start.is_less(least);
            let s = closed.choose(tangent.min(natural.at(set)), tangent);
            let moved = gauge.moved([start, s], least, slope);
            let bends = if stride.coarse {
                zero.is_less(zero)
            } else {
                let own = along.value(set);
                is_far(start, tangent, drop, own)
                    .and(closed.not())
                    .and(linear.at(set).is(zero))
                    .and(offset.at(set).is(zero))
                    .and(zero.is_less(drop * tangent))
                    .and(zero.is_less(start * own))
            };
            most = bends.choose(zero, moved * counted.at(set)).max(most);
            notes.note(bends);
            out.put(set, s);
        }
        let most = most.most();
        notes.each(|k| one(&mut parameters[k], k));
        most
    }
}

/// Whether the head asks for far less than the tangent, see [`Curve::bent`].
#[inline(always)]
fn is_far<S: Simd>(start: Lanes<S>, tangent: Lanes<S>, head: Lanes<S>, loss: Lanes<S>) -> Mask<S> {
    let far = Lanes::all(start.by(), FAR * FAR);
    (far * start * start * head.abs()).is_less(tangent * tangent * loss.abs())
}

/// Leaves the parameters where they are and renews the laws there.
struct Renewal {
    /// Whether all are another than those in force.
    all: bool,
    /// Share of their natural flow below which they are.
    smoothed: f64,
}

impl Settle for Renewal {
    fn settle(
        &self,
        at: &Hydraulics,
        Here { first, table, .. }: Here<'_>,
        trial: &mut Points,
        change: f64,
    ) -> (f64, bool) {
        let outdated = || {
            let here = first..at.end_from(first);
            let mut points = trial.s[here.clone()].iter().zip(&trial.slope[here]).zip(&table.natural);
            points.any(|((s, slope), natural)| slope.is_nan() || s.abs() < self.smoothed * natural)
        };
        (change, self.all || outdated())
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
        self.trial.copy_from(&self.base);
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
                let point = &at.base.at(index);
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
        for ((head, base), dx) in self.heads.iter_mut().zip(&self.base_heads).zip(step) {
            *head = base + share * dx;
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
        for (index, (link, curve)) in self.links.iter().enumerate() {
            if link.active {
                let (s, moved) = stride.parameter(self, index, curve, self.drop(&self.heads, index));
                trial.put_s(index, s);
                change = moved.most(change);
            }
        }
        self.trial = trial;
        self.current = false;
        change
    }
}

#[cfg(test)]
mod tests {
    use super::{Gauge, Stride};
    use crate::analysis::hydraulics::few::Heads;
    use crate::analysis::hydraulics::laws::tests::{many, put};
    use crate::analysis::hydraulics::pass::{Here, Settle};
    use crate::analysis::hydraulics::points::TOGETHER;
    use crate::nonlinear::NetworkEquations;

    /// Steps taken side by side lead where each leads alone, to the last bit, those along a square-root law among them.
    #[test]
    fn steps_side_by_side_as_one_by_one() {
        for (sizes, coarse) in [(10, false), (10, true), (60, false)] {
            let (mut equations, flows) = many(sizes);
            (equations.heads[0], equations.heads[1]) = (2.2e5, 1.7e5);
            (equations.reference, equations.natural) = (0.1, 0.1);
            put(&mut equations, &flows, pulp::Arch::new());
            equations.accept();
            equations.heads.copy_from_slice(&equations.base_heads);
            let step = [-1.3e5, 2.0e4];
            equations.heads.iter_mut().zip(step).for_each(|(head, dx)| *head += dx);
            let stride = Stride { step: &step, share: 1.0, bent: true, coarse, gauge: Gauge::new(&equations) };
            let (mut trial, mut change) = (equations.trial.clone(), 0.0);
            let (mut tables, mut room) = equations.take_room();
            for first in (0..equations.order.whole).step_by(TOGETHER) {
                let table = equations.table(&mut tables, first);
                Heads::new(&equations.heads, &mut room.heads).find_drops(table, &mut room.drops);
                let here = Here { first, table, drops: &room.drops };
                (change, _) = stride.settle(&equations, here, &mut trial, change);
            }
            let (mut most, mut bent) = (0.0, 0);
            for k in (0..flows.len()).filter(|&k| equations.links.link(k).active) {
                let curve = equations.links.curve(k);
                let (s, moved) = stride.parameter(&equations, k, curve, equations.drop(&equations.heads, k));
                most = moved.most(most);
                assert_eq!(trial.s(k), s, "link {k}");
                let base = equations.base.at(k);
                let straight = curve.linear(&base, equations.drop(&equations.heads, k));
                bent += usize::from(base.s > 0.0 && s != straight);
            }
            assert!((change / most - 1.0).abs() < 1e-15, "{change} and {most}");
            assert!(coarse || bent > 0);
        }
    }
}
