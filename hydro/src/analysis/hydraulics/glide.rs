//! The last step of a solve from a state nearby: along the tangents, without a look at the laws.
//!
//! Flows along the tangents balance as well as the linear system is solved, and after a change of so small a part d of the
//! flows the laws stand off by its square. The laws are then known at the base only; the next solve of the same
//! instant begins there, that of another goes on from the flows.

use super::Hydraulics;
use super::equations::Gauge;
use super::few::{Heads, PointSums};
use super::lanes::{Lanes, List, Out, sets};
use super::pass::{Room, add_flow};
use super::points::{Along, Points, TOGETHER, Table};
use super::weir::choose;
use pulp::{Simd, WithSimd};

/// Links that are led along their tangents together.
struct Gliding<'g> {
    gauge: &'g Gauge,
    table: &'g Table,
    base: &'g Points,
    first: usize,
    trial: &'g mut Points,
    /// Drops of the heads, Pa, in whose place come the flows, m3/s, with their sign turned.
    drops: &'g mut [f64],
}

impl WithSimd for Gliding<'_> {
    /// The largest change; infinite where a one-way law opens or shuts.
    type Output = f64;

    #[inline(always)]
    fn with_simd<S: Simd>(self, by: S) -> f64 {
        let Gliding { gauge, table, base, first, trial, drops } = self;
        let count = drops.len().min(TOGETHER);
        let along = Along::new(by, table, base, first, count);
        let list = |numbers| List::new(by, numbers, count);
        let (least, counted) = (list(&table.least), list(&table.counted));
        let (linear, offset) = (list(&table.linear), list(&table.offset));
        let mut out = Out::new(by, &mut trial.s[first..], count);
        let mut values = Out::new(by, &mut trial.value[first..], count);
        let mut drops = Out::new(by, drops, count);
        let (zero, infinite, gauge) = (Lanes::all(by, 0.0), Lanes::all(by, f64::INFINITY), gauge.lanes(by));
        let mut most = zero;
        for set in 0..sets::<S>(count) {
            let (start, head, least, slope) = (along.s(set), drops.at(set), least.at(set), along.inverse_slope(set));
            let s = start + (head - along.loss(set)) * slope;
            let moved = gauge.moved([start, s], least, slope) * counted.at(set);
            most = start.is_less(least).differs(s.is_less(least)).choose(infinite, moved).max(most);
            out.put(set, s);
            values.put(set, head + offset.at(set) - linear.at(set) * s);
            drops.put(set, along.shut(set).choose(zero, zero - s));
        }
        trial.slope[first..][..count].copy_from_slice(&base.slope[first..][..count]);
        most.most()
    }
}

impl Hydraulics {
    /// Puts the trial at the base plus the step along the tangents; false where a flow changes by more than `most`, a
    /// one-way law opens or shuts, or the flows do not balance.
    pub(super) fn slide(&mut self, step: &[f64], most: f64) -> bool {
        if self.momentum.has_runs() {
            return false;
        }
        for ((head, base), dx) in self.heads.iter_mut().zip(&self.base_heads).zip(step) {
            *head = base + dx;
        }
        let mut trial = std::mem::take(&mut self.trial);
        let (mut tables, mut room) = self.take_room();
        let Room { drops: all_drops, heads, sums: few_sums, .. } = &mut *room;
        let heads = Heads::new(&self.heads, heads);
        let mut sums = std::mem::take(&mut self.sums);
        let mut points = PointSums::new(&mut sums, few_sums);
        let (arch, gauge, mut change) = (pulp::Arch::new(), Gauge::new(self), 0.0_f64);
        for first in (0..self.order.whole).step_by(TOGETHER) {
            let (table, count) = (self.table(&mut tables, first), self.end_from(first) - first);
            heads.find_drops(table, &mut all_drops[..count]);
            let (gauge, trial, drops) = (&gauge, &mut trial, &mut all_drops[..count]);
            let gliding = Gliding { gauge, table, base: &self.base, first, trial, drops: &mut *drops };
            change = change.max(arch.dispatch(gliding));
            if change > most {
                break;
            }
            points.give(table, drops);
        }
        points.end();
        self.give_room(tables, room);
        (self.trial, self.sums) = (trial, sums);
        for (place, k) in self.order.links.iter().map(|&k| k as usize).enumerate().skip(self.order.plain) {
            let curve = self.links.curve(k);
            let by = curve.inverse_slope(&self.base.here(place));
            change = gauge.moved(self, k, curve, by, self.trial.s[place]).most(change);
        }
        if change > most {
            return false;
        }
        for (weir, chosen) in self.weirs.iter().zip(&mut self.chosen) {
            let pipe = self.links.link(weir.full);
            if pipe.active {
                *chosen = choose(weir, &self.trial);
                add_flow(&mut self.sums, pipe, chosen.flow);
            }
        }
        if !self.is_balanced() {
            return false;
        }
        self.glided = Some(change);
        true
    }
}
