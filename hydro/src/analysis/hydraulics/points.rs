//! Points on the curves of all links, and what passes over many of them side by side need of a link.

use super::lanes::{Lanes, List, Mask, WIDEST, whole};
use super::{Hydraulics, Link, NO_SLOT};
use crate::analysis::curve::{Point, Row};
use pulp::Simd;

/// Links that are passed over together.
pub(super) const TOGETHER: usize = 64;

/// Most links of a network whose table is kept; of more it is made anew in every pass, which waits less for memory.
const KEPT: usize = 1024;

/// A point on the curve of each link, as lists of numbers in the order of [`Order`]: whole sets of lanes, some of which stand for no
/// link.
#[derive(Debug, Clone, Default)]
pub(super) struct Points {
    /// Place of each link.
    places: Vec<u32>,
    /// Parameters.
    pub s: Vec<f64>,
    /// Loss of the law itself, without the linear part, and its slope; see [`Point`].
    pub value: Vec<f64>,
    pub slope: Vec<f64>,
}

impl Points {
    /// Points of so many links, at rest.
    pub(super) fn new(links: usize) -> Self {
        let [s, value, slope] = std::array::from_fn(|_| vec![0.0; whole(links) + WIDEST]);
        Points { places: (0..links as u32).collect(), s, value, slope }
    }

    /// Place of a link.
    #[inline]
    pub(super) fn place(&self, link: usize) -> usize {
        self.places[link] as usize
    }

    /// The point of a link.
    #[inline]
    pub(super) fn at(&self, link: usize) -> Point {
        self.here(self.place(link))
    }

    /// The point at a place.
    #[inline]
    pub(super) fn here(&self, place: usize) -> Point {
        Point::new(self.s[place], [self.value[place], self.slope[place]])
    }

    /// Parameter of a link.
    #[inline]
    pub(super) fn s(&self, link: usize) -> f64 {
        self.s[self.place(link)]
    }

    /// Puts the parameter of a link.
    #[inline]
    pub(super) fn put_s(&mut self, link: usize, s: f64) {
        let place = self.place(link);
        self.s[place] = s;
    }

    /// Parameters in the order of the links.
    pub(super) fn parameters(&self) -> impl Iterator<Item = f64> {
        self.places.iter().map(|&place| self.s[place as usize])
    }

    /// Marks that the law of a link is another than at its point.
    pub(super) fn outdate(&mut self, link: usize) {
        let (place, mut point) = (self.place(link), self.at(link));
        point.outdate();
        [self.value[place], self.slope[place]] = point.own();
    }

    /// Flow of a link, m3/s.
    pub(super) fn flow(&self, link: usize) -> f64 {
        self.at(link).flow()
    }

    /// Takes those of another list.
    pub(super) fn copy_from(&mut self, other: &Points) {
        self.s.copy_from_slice(&other.s);
        self.value.copy_from_slice(&other.value);
        self.slope.copy_from_slice(&other.slope);
    }

    /// Puts the links in other places.
    fn arrange(&mut self, places: &[u32]) {
        if self.places == places {
            return;
        }
        for numbers in [&mut self.s, &mut self.value, &mut self.slope] {
            let mut new = vec![0.0; numbers.len()];
            for (&from, &to) in self.places.iter().zip(places) {
                new[to as usize] = numbers[from as usize];
            }
            *numbers = new;
        }
        self.places.copy_from_slice(places);
    }
}

/// The order in which links are passed over: those that take part, in theirs, and behind them with a whole set of lanes the others.
#[derive(Debug, Clone, Default)]
pub(super) struct Order {
    /// Links that take part, how many of them are not of vented weir pipes, and how many make whole sets of lanes.
    pub links: Vec<u32>,
    pub plain: usize,
    pub whole: usize,
}

/// What links that are passed over together are like. Those that take no part, or stand for none, pass nothing at any
/// parameter and add nothing to any sum.
#[derive(Debug, Clone, Copy)]
pub(super) struct Table {
    /// Points at the ends.
    pub ends: [[u32; 2]; TOGETHER],
    /// The same where there are few.
    pub few_ends: [[u8; 2]; TOGETHER],
    /// Free points that the flow leaves and comes to, and the place off the diagonal; those behind the last for none. Of vented weir
    /// pipes none.
    pub ways: [[u32; 2]; TOGETHER],
    pub few_ways: [[u8; 2]; TOGETHER],
    pub slots: [u32; TOGETHER],
    /// See [`Row`].
    pub least: [f64; TOGETHER],
    pub linear: [f64; TOGETHER],
    pub offset: [f64; TOGETHER],
    pub conductance: [f64; TOGETHER],
    pub natural: [f64; TOGETHER],
    pub k: [f64; TOGETHER],
    pub viscous: [f64; TOGETHER],
    pub plain: [[f64; TOGETHER]; 2],
    pub wall: [f64; TOGETHER],
    pub reynolds_per_flow: [f64; TOGETHER],
    pub roughness: [f64; TOGETHER],
    /// The conductance, or 0.
    pub weight: [f64; TOGETHER],
    /// 1 of those that are not of a vented weir pipe, or 0.
    pub counted: [f64; TOGETHER],
    /// 1 of those that pass nothing back, or 0.
    pub one_way: [f64; TOGETHER],
    /// Smoothing of the plain part, m3/s.
    pub smooth: [f64; TOGETHER],
    /// Places of links with friction, and how many.
    pub rubbing: [u8; TOGETHER],
    pub rubs: usize,
}

/// Parameter below which a link that takes no part passes nothing.
const NEVER: f64 = f64::MAX;

impl Table {
    /// Of no links. Tables are copied from it, which takes less than to put down every number of a new one.
    const NONE: Table = {
        let none = [0.0; TOGETHER];
        Table {
            ends: [[0; 2]; TOGETHER],
            few_ends: [[0; 2]; TOGETHER],
            ways: [[0; 2]; TOGETHER],
            few_ways: [[0; 2]; TOGETHER],
            slots: [0; TOGETHER],
            least: [NEVER; TOGETHER],
            linear: none,
            offset: none,
            conductance: [1.0; TOGETHER],
            natural: none,
            k: none,
            viscous: none,
            plain: [none; 2],
            wall: none,
            reynolds_per_flow: none,
            roughness: none,
            weight: none,
            counted: none,
            one_way: none,
            smooth: none,
            rubbing: [0; TOGETHER],
            rubs: 0,
        }
    };

    /// Puts down what one of them is like. `dummies`: the point and the place behind the last.
    #[inline(always)]
    fn set(&mut self, at: usize, link: &Link, row: &Row, slot: u32, is_plain: bool, dummies: [u32; 2]) {
        if !link.active {
            return self.set_none(at, dummies);
        }
        let dummy = dummies[0];
        self.ends[at] = [link.from, link.to];
        self.few_ends[at] = [link.from as u8, link.to as u8];
        self.ways[at] = if is_plain { [link.from.min(dummy), link.to.min(dummy)] } else { [dummy; 2] };
        self.few_ways[at] = self.ways[at].map(|way| way as u8);
        self.slots[at] = if is_plain && slot != NO_SLOT { slot } else { dummies[1] };
        self.set_added(at, row);
        self.least[at] = row.least;
        self.natural[at] = row.natural;
        (self.k[at], self.viscous[at], self.smooth[at]) = (row.k, row.viscous, row.smooth);
        (self.plain[0][at], self.plain[1][at]) = (row.plain[0], row.plain[1]);
        self.wall[at] = row.wall;
        self.reynolds_per_flow[at] = row.reynolds_per_flow;
        self.roughness[at] = row.roughness;
        self.counted[at] = f64::from(u8::from(is_plain));
        self.one_way[at] = f64::from(u8::from(row.least == 0.0));
    }

    /// Puts down what a step of time adds to one that takes part.
    #[inline(always)]
    fn set_added(&mut self, at: usize, row: &Row) {
        (self.linear[at], self.offset[at]) = (row.linear, row.offset);
        (self.conductance[at], self.weight[at]) = (row.conductance, row.conductance);
    }

    /// Puts down that one stands for no link.
    fn set_none(&mut self, at: usize, [point, slot]: [u32; 2]) {
        (self.ends[at], self.few_ends[at]) = ([0; 2], [0; 2]);
        (self.ways[at], self.few_ways[at], self.slots[at]) = ([point; 2], [point as u8; 2], slot);
        (self.least[at], self.conductance[at]) = (NEVER, 1.0);
        (self.linear[at], self.offset[at], self.weight[at]) = (0.0, 0.0, 0.0);
        (self.natural[at], self.wall[at], self.counted[at], self.one_way[at]) = (0.0, 0.0, 0.0, 0.0);
        (self.k[at], self.viscous[at], self.smooth[at]) = (0.0, 0.0, 0.0);
    }

    /// Lists the links with friction.
    fn list(&mut self) {
        self.rubs = 0;
        for (at, wall) in self.wall.iter().enumerate() {
            self.rubbing[self.rubs % TOGETHER] = at as u8;
            self.rubs += usize::from(*wall != 0.0);
        }
    }
}

/// The tables of a network, of as many links as are passed over together, if they are kept; and room for one, made when it is
/// asked for.
#[derive(Debug, Clone, Default)]
pub(super) struct Tables {
    kept: Vec<Table>,
    room: Option<Box<Table>>,
}

impl Hydraulics {
    /// Puts the links that take part first.
    pub(super) fn put_in_order(&mut self) {
        let taking = |link: &Link| link.active;
        let links = (0u32..).zip(&self.links.links).filter(|(_, link)| taking(link)).map(|(index, _)| index);
        if self.order.whole > 0 && links.clone().eq(self.order.links.iter().copied()) {
            return;
        }
        let mut order = std::mem::take(&mut self.order);
        order.links.clear();
        order.links.extend(links);
        order.plain = order.links.partition_point(|&link| (link as usize) < self.plain);
        order.whole = whole(order.links.len());
        let mut next = [0, order.whole as u32];
        let places: Vec<u32> = self
            .links
            .links
            .iter()
            .map(|link| {
                let next = &mut next[usize::from(!taking(link))];
                *next += 1;
                *next - 1
            })
            .collect();
        self.trial.arrange(&places);
        self.base.arrange(&places);
        self.order = order;
        self.make_tables();
    }

    /// End of the places that are passed over together from `first` on.
    #[inline]
    pub(super) fn end_from(&self, first: usize) -> usize {
        self.order.whole.min(first + TOGETHER)
    }

    /// Makes the tables anew where they are kept.
    pub(super) fn make_tables(&mut self) {
        let mut tables = self.tables.take().unwrap_or_default();
        let count = if self.order.whole <= KEPT { self.order.whole.div_ceil(TOGETHER) } else { 0 };
        tables.kept.resize(count, Table::NONE);
        for (chunk, table) in tables.kept.iter_mut().enumerate() {
            self.fill(table, chunk * TOGETHER);
        }
        self.tables = Some(tables);
    }

    /// Renews what the tables say of a link; `added`: only what a step of time adds to it is another.
    pub(super) fn renew_table(&mut self, link: usize, added: bool) {
        let place = self.trial.place(link);
        if place >= self.order.links.len() {
            return;
        }
        let Some(mut tables) = self.tables.take() else { return };
        if let Some(table) = tables.kept.get_mut(place / TOGETHER) {
            let at = place % TOGETHER;
            if added && self.links.link(link).active {
                table.set_added(at, &self.links.rows[self.links.link(link).curve as usize]);
            } else {
                let rubbed = table.wall[at] != 0.0;
                self.fill_one(table, place);
                if rubbed != (table.wall[at] != 0.0) {
                    table.list();
                }
            }
        }
        self.tables = Some(tables);
    }

    #[inline(always)]
    fn fill_one(&self, table: &mut Table, place: usize) {
        let dummies = [self.free as u32, self.pattern.len() as u32];
        match self.order.links.get(place) {
            Some(&index) => {
                let index = index as usize;
                let link = self.links.link(index);
                let row = &self.links.rows[link.curve as usize];
                table.set(place % TOGETHER, link, row, self.slots[index], index < self.plain, dummies);
            }
            None => table.set_none(place % TOGETHER, dummies),
        }
    }

    /// Fills a table for the places from `first` on.
    fn fill(&self, table: &mut Table, first: usize) {
        for place in first..first + TOGETHER {
            self.fill_one(table, place);
        }
        table.list();
    }

    /// The table of the places from `first` on.
    #[inline(always)]
    pub(super) fn table<'t>(&self, tables: &'t mut Tables, first: usize) -> &'t Table {
        match tables.kept.get(first / TOGETHER) {
            Some(table) => table,
            None => {
                let room = tables.room.get_or_insert_with(|| Box::new(Table::NONE));
                self.fill(room, first);
                room
            }
        }
    }
}

/// Loss, Pa, of some points, and ds/d(loss), of them.
pub(super) struct Along<'t, S: Simd> {
    linear: List<'t, S>,
    offset: List<'t, S>,
    conductance: List<'t, S>,
    weight: List<'t, S>,
    s: List<'t, S>,
    value: List<'t, S>,
    slope: List<'t, S>,
    by: S,
}

impl<'t, S: Simd> Along<'t, S> {
    /// Of the first so many points from `first` on.
    #[inline(always)]
    pub(super) fn new(by: S, table: &'t Table, points: &'t Points, first: usize, count: usize) -> Self {
        let list = |numbers| List::new(by, numbers, count);
        Along {
            linear: list(&table.linear),
            offset: list(&table.offset),
            conductance: list(&table.conductance),
            weight: list(&table.weight),
            s: list(&points.s[first..]),
            value: list(&points.value[first..]),
            slope: list(&points.slope[first..]),
            by,
        }
    }

    /// Parameters of a set.
    #[inline(always)]
    pub(super) fn s(&self, set: usize) -> Lanes<S> {
        self.s.at(set)
    }

    /// Losses of the laws themselves.
    #[inline(always)]
    pub(super) fn value(&self, set: usize) -> Lanes<S> {
        self.value.at(set)
    }

    /// Whether nothing passes.
    #[inline(always)]
    pub(super) fn shut(&self, set: usize) -> Mask<S> {
        self.slope.at(set).is(Lanes::all(self.by, 0.0))
    }

    /// Losses, see [`crate::analysis::curve::Curve::loss`].
    #[inline(always)]
    pub(super) fn loss(&self, set: usize) -> Lanes<S> {
        let (s, offset) = (self.s.at(set), self.offset.at(set));
        let open = self.value.at(set) + self.linear.at(set) * s;
        self.shut(set).choose(s / self.conductance.at(set), open) - offset
    }

    /// d(flow)/d(loss) where it passes something.
    #[inline(always)]
    pub(super) fn open_slope(&self, set: usize) -> Lanes<S> {
        Lanes::all(self.by, 1.0) / (self.slope.at(set) + self.linear.at(set))
    }

    /// d(flow)/d(loss).
    #[inline(always)]
    pub(super) fn slope(&self, set: usize) -> Lanes<S> {
        self.shut(set).choose(Lanes::all(self.by, 0.0), self.open_slope(set))
    }

    /// ds/d(loss).
    #[inline(always)]
    pub(super) fn inverse_slope(&self, set: usize) -> Lanes<S> {
        self.shut(set).choose(self.weight.at(set), self.open_slope(set))
    }
}
