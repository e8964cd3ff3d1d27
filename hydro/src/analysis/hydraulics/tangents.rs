//! Lists of numbers of the tangents at a state that is solved, and what is done to all of them.
//!
//! Such a list has the parameter of each link and, behind these, the head of each free point, both in whole sets of lanes. Only
//! links that take part are there, in their places.

use super::Hydraulics;
use super::few::{Heads, PointSums};
use super::lanes::{Lanes, List, Out, sets, whole};
use super::pass::Room;
use super::points::{Along, Points, TOGETHER, Table, Tables};
use pulp::{Simd, WithSimd};

/// The tangents.
#[derive(Debug, Clone, Default)]
pub(super) struct Tangents {
    /// d(parameter)/d(loss) of each link.
    slopes: Vec<f64>,
    /// Parameter below which it passes nothing.
    least: Vec<f64>,
    /// Of each link of a vented weir pipe the free points that its flow leaves and comes to; the one behind them for fixed
    /// points, and for both where the link carries no flow of its own. One of the three does, and where water reaches
    /// the apex on neither side none.
    ways: Vec<[u32; 2]>,
}

impl Tangents {
    /// Numbers of a list for the links.
    pub(super) fn links(&self) -> usize {
        self.slopes.len()
    }

    /// Slope of the link at a place.
    pub(super) fn slope(&self, place: usize) -> f64 {
        self.slopes[place]
    }

    /// Where the flow of a link of a vented weir pipe goes, counted from the first.
    pub(super) fn ways(&self, link: usize) -> [u32; 2] {
        self.ways[link]
    }

    /// Says where the flow of a link of a vented weir pipe goes, counted from the first.
    pub(super) fn set_ways(&mut self, link: usize, ways: [u32; 2]) {
        if let Some(own) = self.ways.get_mut(link) {
            *own = ways;
        }
    }

    /// Whether the link at a place passes nothing at a parameter.
    pub(super) fn is_closed(&self, place: usize, s: f64) -> bool {
        s < self.least[place]
    }

    /// Whether from one list to another no link opens or shuts and all parameters are numbers.
    pub(super) fn stay(&self, from: &[f64], to: &[f64]) -> bool {
        pulp::Arch::new().dispatch(Staying { least: &self.least, from, to })
    }
}

/// See [`Tangents::stay`].
struct Staying<'s> {
    least: &'s [f64],
    from: &'s [f64],
    to: &'s [f64],
}

impl WithSimd for Staying<'_> {
    type Output = bool;

    #[inline(always)]
    fn with_simd<S: Simd>(self, by: S) -> bool {
        let count = self.least.len();
        let [least, from, to] = [self.least, self.from, self.to].map(|numbers| List::new(by, numbers, count));
        let [zero, one, infinite] = [0.0, 1.0, f64::INFINITY].map(|number| Lanes::all(by, number));
        let mut turns = zero;
        for set in 0..sets::<S>(count) {
            let (from, to, least) = (from.at(set), to.at(set), least.at(set));
            let turn = from.is_less(least).differs(to.is_less(least));
            turns = turn.or(to.abs().is_less(infinite).not()).choose(one, turns);
        }
        turns.most() == 0.0
    }
}

/// Adds so many times some lists.
pub(super) fn add<const N: usize>(to: &mut [f64], lists: [(&[f64], f64); N]) {
    pulp::Arch::new().dispatch(Adding { to, lists });
}

/// See [`add`].
struct Adding<'s, const N: usize> {
    to: &'s mut [f64],
    lists: [(&'s [f64], f64); N],
}

impl<const N: usize> WithSimd for Adding<'_, N> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, by: S) {
        let count = self.to.len();
        let lists = self.lists.map(|(list, times)| (List::new(by, list, count), Lanes::all(by, times)));
        let mut to = Out::new(by, self.to, count);
        for set in 0..sets::<S>(count) {
            let sum = lists.iter().fold(to.at(set), |sum, (list, times)| sum + *times * list.at(set));
            to.put(set, sum);
        }
    }
}

/// Adds so many times all of some lists, one after the other.
pub(super) fn add_all<'l>(to: &mut [f64], mut lists: impl Iterator<Item = (&'l [f64], f64)>) {
    while let Some(first) = lists.next() {
        match (lists.next(), lists.next(), lists.next()) {
            (Some(second), Some(third), Some(fourth)) => add(to, [first, second, third, fourth]),
            (Some(second), Some(third), None) => add(to, [first, second, third]),
            (Some(second), ..) => add(to, [first, second]),
            _ => add(to, [first]),
        }
    }
}

/// Adds so many times what a list is beyond another.
pub(super) fn add_beyond(to: &mut [f64], times: f64, list: &[f64], start: &[f64]) {
    pulp::Arch::new().dispatch(Beyond { to, times, list, start });
}

/// See [`add_beyond`].
struct Beyond<'s> {
    to: &'s mut [f64],
    times: f64,
    list: &'s [f64],
    start: &'s [f64],
}

impl WithSimd for Beyond<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, by: S) {
        let (count, times) = (self.to.len(), Lanes::all(by, self.times));
        let (list, start) = (List::new(by, self.list, count), List::new(by, self.start, count));
        let mut to = Out::new(by, self.to, count);
        for set in 0..sets::<S>(count) {
            to.put(set, to.at(set) + times * (list.at(set) - start.at(set)));
        }
    }
}

/// What parameters change by where some drops do, added to what they are or put in their place.
struct Following<'s> {
    slopes: &'s [f64],
    drops: &'s [f64],
    to: &'s mut [f64],
}

impl WithSimd for Following<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, by: S) {
        let count = self.to.len();
        let (slopes, drops) = (List::new(by, self.slopes, count), List::new(by, self.drops, count));
        let mut to = Out::new(by, self.to, count);
        for set in 0..sets::<S>(count) {
            to.put(set, to.at(set) + slopes.at(set) * drops.at(set));
        }
    }
}

/// What the laws say otherwise of links that are passed over together.
struct Excess<'s> {
    table: &'s Table,
    trial: &'s Points,
    slopes: &'s [f64],
    first: usize,
    /// Drops of the heads, Pa, in whose place comes what is given to the points.
    drops: &'s mut [f64],
    error: &'s mut [f64],
}

impl WithSimd for Excess<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, by: S) {
        let Excess { table, trial, slopes, first, drops, error } = self;
        let count = error.len();
        let along = Along::new(by, table, trial, first, count);
        let (slopes, least) = (List::new(by, slopes, count), List::new(by, &table.least, count));
        let (mut drops, mut errors) = (Out::new(by, drops, count), Out::new(by, error, count));
        let zero = Lanes::all(by, 0.0);
        for set in 0..sets::<S>(count) {
            let error = slopes.at(set) * (drops.at(set) - along.loss(set));
            errors.put(set, error);
            drops.put(set, along.s(set).is_less(least.at(set)).choose(zero, error));
        }
    }
}

/// Slopes of the parameters at the base.
struct Slopes<'s> {
    table: &'s Table,
    base: &'s Points,
    first: usize,
    to: &'s mut [f64],
}

impl WithSimd for Slopes<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(self, by: S) {
        let count = self.to.len();
        let along = Along::new(by, self.table, self.base, self.first, count);
        let mut to = Out::new(by, self.to, count);
        for set in 0..sets::<S>(count) {
            to.put(set, along.inverse_slope(set));
        }
    }
}

impl Hydraulics {
    /// Numbers of a list of parameters and heads.
    pub(super) fn list_len(&self) -> usize {
        self.order.whole + whole(self.free)
    }

    /// Calls for the tables of all links, with their room.
    fn each_table(&self, tables: &mut Tables, mut call: impl FnMut(usize, usize, &Table)) {
        for first in (0..self.order.whole).step_by(TOGETHER) {
            call(first, self.end_from(first), self.table(tables, first));
        }
    }

    /// Takes the tangents at the base; ways of vented weir pipes are left to be set.
    pub(super) fn take_tangents(&mut self, tangents: &mut Tangents) {
        let (mut tables, room) = self.take_room();
        let arch = pulp::Arch::new();
        tangents.slopes.resize(self.order.whole, 0.0);
        tangents.least.clear();
        self.each_table(&mut tables, |first, end, table| {
            let to = &mut tangents.slopes[first..end];
            arch.dispatch(Slopes { table, base: &self.base, first, to });
            tangents.least.extend_from_slice(&table.least[..end - first]);
        });
        tangents.ways.clear();
        tangents.ways.resize(self.order.links.len() - self.order.plain, [self.free as u32; 2]);
        self.give_room(tables, room);
    }

    /// Adds what the parameters of a list change by where the heads of all points do.
    pub(super) fn follow_heads(&mut self, tangents: &Tangents, heads: &[f64], to: &mut [f64]) {
        let (mut tables, mut room) = self.take_room();
        let (arch, Room { drops, heads: few, .. }) = (pulp::Arch::new(), &mut *room);
        let heads = Heads::new(heads, few);
        self.each_table(&mut tables, |first, end, table| {
            let (slopes, drops) = (&tangents.slopes[first..end], &mut drops[..end - first]);
            heads.find_drops(table, drops);
            arch.dispatch(Following { slopes, drops, to: &mut to[first..end] });
        });
        self.give_room(tables, room);
    }

    /// Finds the laws at the trial and what they say otherwise than the tangents: a change of the parameters, and the sums of it at
    /// the free points, with one behind them.
    pub(super) fn look_at_laws(&mut self, tangents: &Tangents, error: &mut [f64], sums: &mut [f64]) {
        let (mut trial, mut coarse) = (std::mem::take(&mut self.trial), std::mem::take(&mut self.links.coarse));
        let (mut tables, mut room) = self.take_room();
        let (arch, Room { drops, heads, sums: few, frictions, weirs, .. }) = (pulp::Arch::new(), &mut *room);
        let mut points = PointSums::new(sums, few);
        let heads = Heads::new(&self.heads, heads);
        weirs.clear();
        self.each_table(&mut tables, |first, end, table| {
            let count = end - first;
            heads.find_drops(table, &mut drops[..count]);
            self.find_laws(arch, first, table, &mut trial, (&mut coarse, frictions));
            let (slopes, error) = (&tangents.slopes[first..end], &mut error[first..end]);
            let drops = &mut drops[..count];
            arch.dispatch(Excess { table, trial: &trial, slopes, first, drops: &mut *drops, error });
            points.give(table, drops);
            weirs.extend_from_slice(drops.get(self.order.plain.saturating_sub(first)..).unwrap_or_default());
        });
        let sums = points.end();
        for (&[from, to], &flow) in tangents.ways.iter().zip(&*weirs) {
            sums[from as usize] -= flow;
            sums[to as usize] += flow;
        }
        self.give_room(tables, room);
        (self.trial, self.links.coarse) = (trial, coarse);
    }
}
