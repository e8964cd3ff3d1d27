//! One pass over the laws: where the next step leads each link, its law there, and what the flows sum up to.

use super::few::{FEW, Heads};
use super::lanes::{Lanes, List, Out, sets};
use super::laws::{Followed, Frictions, Laws};
use super::points::{Along, Points, TOGETHER, Table, Tables};
use super::stamps::Stamps;
use super::weir::choose;
use super::{Hydraulics, Link};
use pulp::{Simd, WithSimd};

/// How far a parameter has moved, as a part of a whole above 0.
#[derive(Clone, Copy)]
pub(super) struct Moved {
    pub part: f64,
    pub whole: f64,
}

impl Moved {
    pub(super) const NOT: Moved = Moved { part: 0.0, whole: 1.0 };

    /// The larger of this change and another; divides where it has to.
    #[inline(always)]
    pub(super) fn most(self, other: f64) -> f64 {
        if self.part > other * self.whole { self.part / self.whole } else { other }
    }
}

/// Links that are passed over together.
#[derive(Clone, Copy)]
pub(super) struct Here<'h> {
    /// First of them.
    pub first: usize,
    /// Their table, and drops of the heads at the trial, Pa.
    pub table: &'h Table,
    pub drops: &'h [f64; TOGETHER],
}

/// Where a pass over the laws puts the links.
pub(super) trait Settle {
    /// Moves the parameters of links that are passed over together to those of the trial; gives the largest change of these and of
    /// those before, and whether their laws are to be found there.
    fn settle(&self, at: &Hydraulics, here: Here<'_>, trial: &mut Points, change: f64) -> (f64, bool);
}

/// Room for the numbers of links that are passed over together.
#[derive(Debug, Clone)]
pub(super) struct Room {
    pub drops: [f64; TOGETHER],
    /// Of few points.
    pub heads: [f64; FEW],
    pub sums: [f64; FEW],
    pub frictions: Frictions,
    /// Corrections of momentum, Pa; 0 without runs.
    momentum: [f64; TOGETHER],
    summands: Summands,
    /// Numbers of the links of vented weir pipes.
    pub weirs: Vec<f64>,
}

/// What a link adds to the sums.
#[derive(Debug, Clone)]
struct Summands {
    /// Part of the merit, before it is squared.
    error: [f64; TOGETHER],
    /// d(flow)/d(loss), the flow at no change of heads, and the flow.
    slope: [f64; TOGETHER],
    still: [f64; TOGETHER],
    flow: [f64; TOGETHER],
}

impl Default for Room {
    fn default() -> Self {
        let none = [0.0; TOGETHER];
        let summands = Summands { error: none, slope: none, still: none, flow: none };
        Room {
            drops: none,
            heads: [0.0; FEW],
            sums: [0.0; FEW],
            frictions: Frictions::default(),
            momentum: none,
            summands,
            weirs: Vec::new(),
        }
    }
}

/// What a pass over the laws sums up, but for the flows at the points.
#[derive(Default, Clone, Copy)]
struct Sums {
    merit: f64,
    rounding: f64,
    reference: f64,
    natural: f64,
    shut: f64,
}

/// Adds a flow to the sums of the flows leaving its ends: the free points and, behind them, all fixed ones.
#[inline(always)]
pub(super) fn add_flow(flows: &mut [f64], link: &Link, flow: f64) {
    let fixed = flows.len() - 1;
    flows[(link.from as usize).min(fixed)] += flow;
    flows[(link.to as usize).min(fixed)] -= flow;
}

/// Sums up what the points of links, all at their laws, come to, and with it their elements of the next step.
struct Summing<'s> {
    here: Here<'s>,
    points: &'s Points,
    count: usize,
    /// Corrections of momentum, Pa.
    momentum: &'s [f64; TOGETHER],
    summands: &'s mut Summands,
    sums: Sums,
    /// What rounding does to a drop of heads, Pa, and how many of the links are not of vented weir pipes.
    ulp: f64,
    plain: usize,
    stamps: &'s mut Stamps,
}

impl WithSimd for Summing<'_> {
    type Output = Sums;

    #[inline(always)]
    fn with_simd<S: Simd>(self, by: S) -> Sums {
        let Summing { here: Here { first, table, drops }, points, count, momentum, summands, mut sums, .. } = self;
        let count = count.min(TOGETHER);
        let along = Along::new(by, table, points, first, count);
        let list = |numbers| List::new(by, numbers, count);
        let (drops, weight, natural) = (list(drops), list(&table.weight), list(&table.natural));
        let (counted, least, one_way) = (list(&table.counted), list(&table.least), list(&table.one_way));
        let momentum = list(momentum);
        let mut error = Out::new(by, &mut summands.error, count);
        let mut slopes = Out::new(by, &mut summands.slope, count);
        let mut still = Out::new(by, &mut summands.still, count);
        let mut flows = Out::new(by, &mut summands.flow, count);
        let zero = Lanes::all(by, 0.0);
        let [mut most_natural, mut reference] = [sums.natural, sums.reference].map(|most| Lanes::all(by, most));
        let mut shut_now = zero;
        for set in 0..sets::<S>(count) {
            let (s, shut) = (along.s(set), along.shut(set));
            let rest = drops.at(set) - along.loss(set);
            let slope = along.slope(set);
            let flow = shut.choose(zero, s);
            error.put(set, (rest - momentum.at(set)) * weight.at(set));
            slopes.put(set, slope);
            still.put(set, flow + rest * slope);
            flows.put(set, flow);
            most_natural = natural.at(set).max(most_natural);
            reference = (flow.abs() * counted.at(set)).max(reference);
            shut_now = shut_now + s.is_less(least.at(set)).choose(one_way.at(set), zero);
        }
        (sums.natural, sums.reference) = (most_natural.most(), reference.most());
        sums.shut = shut_now.most().max(sums.shut);
        for (error, slope) in summands.error[..count].iter().zip(&summands.slope) {
            sums.merit += error * error;
            sums.rounding += self.ulp * slope;
        }
        let Summands { slope, still, flow, .. } = &*summands;
        let elements = slope[..self.plain.min(count)].iter().zip(still).zip(flow);
        self.stamps.add_all(table, elements.map(|((&slope, &still), &flow)| [slope, still, flow]));
        sums
    }
}

impl Hydraulics {
    /// Passes once over the laws of the links that take part. Gives the merit at the trial and the largest change.
    pub(super) fn weigh(&mut self, settle: impl Settle) -> (f64, f64) {
        let (mut trial, mut coarse) = (std::mem::take(&mut self.trial), std::mem::take(&mut self.links.coarse));
        let mut stamps = std::mem::take(&mut self.stamps);
        let (mut tables, mut rooms) = self.take_room();
        let room = &mut *rooms;
        let heads = Heads::new(&self.heads, &mut room.heads);
        stamps.begin(self.pattern.len(), self.free);
        let (mut sums, mut change) = (Sums::default(), 0.0);
        let (arch, ulp) = (pulp::Arch::new(), self.head_rounding(&self.heads));
        for first in (0..self.order.whole).step_by(TOGETHER) {
            let (table, count) = (self.table(&mut tables, first), self.end_from(first) - first);
            heads.find_drops(table, &mut room.drops[..count]);
            let fresh;
            let here = Here { first, table, drops: &room.drops };
            (change, fresh) = settle.settle(self, here, &mut trial, change);
            if fresh {
                self.find_laws(arch, first, table, &mut trial, (&mut coarse, &mut room.frictions));
            }
            self.fill_momentum(first, &mut room.momentum);
            let (summands, momentum) = (&mut room.summands, &room.momentum);
            let here = Here { first, table, drops: &room.drops };
            let (plain, stamps) = (self.order.plain.saturating_sub(first), &mut stamps);
            sums = arch.dispatch(Summing { here, points: &trial, count, momentum, summands, sums, ulp, plain, stamps });
        }
        let mut flows = std::mem::take(&mut self.sums);
        stamps.flows(&mut flows);
        for (weir, chosen) in self.weirs.iter().zip(&mut self.chosen) {
            let pipe = self.links.link(weir.full);
            if pipe.active {
                *chosen = choose(weir, &trial);
                sums.reference = sums.reference.max(chosen.flow.abs());
                add_flow(&mut flows, pipe, chosen.flow);
            }
        }
        let merit = sums.merit + flows[..self.free].iter().map(|sum| sum * sum).sum::<f64>();
        stamps.valid = true;
        (self.trial, self.sums, self.stamps, self.links.coarse) = (trial, flows, stamps, coarse);
        self.give_room(tables, rooms);
        (self.reference, self.natural, self.rounding, self.shut) =
            (sums.reference, sums.natural, sums.rounding, sums.shut > 0.0);
        (self.current, self.smoothed) = (true, 0.0);
        (merit, change)
    }

    /// Looks up the corrections of momentum of links that are passed over together.
    fn fill_momentum(&self, first: usize, to: &mut [f64; TOGETHER]) {
        if self.momentum.has_runs() {
            for (to, &link) in to.iter_mut().zip(&self.order.links[first..]) {
                *to = self.momentum.here(link as usize);
            }
        }
    }

    /// Takes what a pass over the laws needs room for out, until [`Self::give_room`].
    pub(super) fn take_room(&mut self) -> (Box<Tables>, Box<Room>) {
        (self.tables.take().unwrap_or_default(), self.room.take().unwrap_or_default())
    }

    /// Takes that back.
    pub(super) fn give_room(&mut self, tables: Box<Tables>, room: Box<Room>) {
        (self.tables, self.room) = (Some(tables), Some(room));
    }

    /// Finds the laws of links that are passed over together at the parameters of the trial.
    #[inline]
    pub(super) fn find_laws(
        &self,
        arch: pulp::Arch,
        first: usize,
        table: &Table,
        trial: &mut Points,
        (coarse, frictions): (&mut [crate::component::law::Coarse], &mut Frictions),
    ) {
        let (end, order) = (self.end_from(first), &self.order.links[first..]);
        arch.dispatch(Laws {
            table,
            followed: Followed { order, links: &self.links.links, curves: &self.links.curves, coarse, blur: self.blur },
            frictions,
            s: &trial.s[first..end],
            value: &mut trial.value[first..end],
            slope: &mut trial.slope[first..end],
        });
    }
}
