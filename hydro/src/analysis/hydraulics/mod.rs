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

mod chord;
mod equations;
mod few;
mod forecast;
mod glide;
mod inside;
mod lanes;
mod laws;
mod momentum;
mod parts;
mod pass;
mod points;
mod response;
mod stamps;
mod start;
mod tangents;
mod weir;

use super::curve::Curve;
use super::links::{Link, Links};
use crate::component::law::Law;
use crate::linear::{Pattern, PatternError};
use crate::nonlinear::OneSided;
use chord::Chords;
use forecast::Instants;
use inside::Begun;
pub use inside::Inside;
use momentum::Momentum;
pub use momentum::Run;
use pass::Room;
use points::{Order, Points, Tables};
use stamps::Stamps;
pub use weir::{WEIR_SMOOTHING, Weir, WeirFlow, WeirMode};

/// Points, curves, heads and flows.
#[derive(Debug, Clone)]
pub struct Hydraulics {
    /// Points whose head is found; the heads behind are given.
    free: usize,
    links: Links,
    /// Links from here on belong to vented weir pipes.
    plain: usize,
    weirs: Vec<Weir>,
    /// Corrections of curves that depend on the flows of others.
    momentum: Momentum,
    /// What each vented weir pipe follows at the trial and at the base.
    chosen: Vec<WeirFlow>,
    base_chosen: Vec<WeirFlow>,
    heads: Vec<f64>,
    base_heads: Vec<f64>,
    trial: Points,
    base: Points,
    /// What passes over the links need of them, and room for their numbers.
    tables: Option<Box<Tables>>,
    room: Option<Box<Room>>,
    slots: Vec<u32>,
    pattern: Pattern,
    one_sided: Vec<OneSided>,
    /// Links that take part, in their order.
    order: Order,
    /// Points that nothing ties to a known head.
    loose: Vec<bool>,
    /// Points whose head stays in this step.
    pinned: Vec<bool>,
    /// Laws that are given a conductance in this step, to move the head of a part that is fed.
    ajar: Vec<(usize, f64)>,
    /// Ties that `part_of` stands for, in the order of the links that take part, the part of each point, and whether all are joined to a known head.
    ties: Vec<bool>,
    part_of: Vec<u32>,
    joined: bool,
    /// Places of links that may stop tying: those that pass nothing back, and those of vented weir pipes.
    turning: Vec<u32>,
    /// Points whose head stays while nothing flows into their parts, as these ties have it; empty where that is not known.
    held: Vec<bool>,
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
    /// Sum of the flows leaving each free point at the trial, m3/s, and behind them one for all fixed points.
    sums: Vec<f64>,
    /// Elements of the links at the trial and at the base.
    stamps: Stamps,
    base_stamps: Stamps,
    /// Smoothing in force, as a share of the natural flow.
    blur: f64,
    /// Whether the points at the trial are those of the laws in force, but for those that say of themselves that they
    /// are outdated.
    current: bool,
    /// Share of their natural flow below which the points at the trial are those of another smoothing.
    smoothed: f64,
    /// Flows at the last instants solved.
    instants: Instants,
    /// Merit at the trial, where the step to it has already passed over the laws.
    weighed: Option<f64>,
    /// Change of a last step along the tangents by which the trial is ahead of the base; `None` where it is not.
    glided: Option<f64>,
    /// A state to solve others near it from.
    chords: Option<Box<Chords>>,
    begun: Begun,
    /// Whether a one-way law passes nothing at the trial and at the base.
    shut: bool,
    base_shut: bool,
}

/// Conductance of a shut one-way law of a part that is fed, as a share of its natural one.
const AJAR: f64 = 1e-6;

/// Marks a curve that has no place off the diagonal: it joins a fixed point, or has not taken part yet.
const NO_SLOT: u32 = u32::MAX;

/// Share of the places off the diagonal that has to be in use, lest the matrix be laid out anew.
const USED: f64 = 0.75;

/// Places of a matrix for some of the links, and the place off the diagonal of each link.
fn places(free: usize, links: &Links, takes_part: impl Fn(&Link) -> bool) -> Result<(Pattern, Vec<u32>), PatternError> {
    let has_place = |link: &Link| link.couples(free) && takes_part(link);
    let mut couplings = Vec::with_capacity(links.len());
    couplings
        .extend(links.links.iter().filter(|link| has_place(link)).map(|link| (link.from as usize, link.to as usize)));
    let pattern = Pattern::new(free, &couplings)?;
    let mut next = 0..couplings.len();
    let slot = |link: &Link| {
        let coupling = if has_place(link) { next.next() } else { None };
        coupling.map_or(NO_SLOT, |coupling| pattern.coupling(coupling) as u32)
    };
    let slots = links.links.iter().map(slot).collect();
    Ok((pattern, slots))
}

impl Hydraulics {
    /// Equations of `free` points with heads to be found and the fixed heads behind them.
    ///
    /// `links`: those of vented weir pipes last, as `weirs` names them. The topology stays for good; laws, fixed
    /// heads and which curves are active may change.
    pub fn new(free: usize, fixed: &[f64], links: Links, weirs: Vec<Weir>) -> Result<Self, PatternError> {
        let (pattern, slots) = places(free, &links, |_| true)?;
        let plain = links.len() - 3 * weirs.len();
        let mut heads = vec![0.0; free];
        heads.extend_from_slice(fixed);
        let points = Points::new(links.len());
        let mut new = Hydraulics {
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
            tables: None,
            room: None,
            links,
            slots,
            pattern,
            one_sided: Vec::new(),
            order: Order::default(),
            loose: vec![false; free],
            pinned: vec![false; free],
            ajar: Vec::new(),
            ties: Vec::new(),
            turning: Vec::new(),
            part_of: vec![0; free + 1],
            joined: true,
            held: Vec::new(),
            rearranged: true,
            was_pinned: vec![false; free],
            was_ajar: 0,
            reference: 0.0,
            natural: 0.0,
            rounding: 0.0,
            sums: vec![0.0; free + 1],
            stamps: Stamps::default(),
            base_stamps: Stamps::default(),
            blur: 0.0,
            current: false,
            smoothed: 0.0,
            instants: Instants::default(),
            weighed: None,
            glided: None,
            chords: None,
            begun: Begun::default(),
            shut: false,
            base_shut: false,
        };
        new.put_in_order();
        Ok(new)
    }

    /// Gives the momentum along straight runs a say. Their curves are two-way and belong to no vented weir pipe.
    pub fn set_runs(&mut self, runs: Vec<Run>) {
        self.momentum = Momentum::new(runs, self.links.len());
    }

    /// Whether momentum along runs has a say.
    pub fn has_runs(&self) -> bool {
        self.momentum.has_runs()
    }

    /// Replaces the law of a curve.
    pub fn set_law(&mut self, curve: usize, law: Law) {
        self.links.set_curve(curve, self.links.curve(curve).with_law(law));
        self.outdate(curve);
    }

    /// Adds `linear flow - offset` to the loss of the law of a curve; see [`Curve::with_linear`].
    pub fn set_linear(&mut self, curve: usize, linear: f64, offset: f64) {
        self.links.set_curve(curve, self.links.curve(curve).with_linear(linear, offset));
        self.renew_table(curve, true);
        self.base_stamps.valid = false;
    }

    /// Says whether a curve passes nothing back.
    pub fn set_one_way(&mut self, curve: usize, one_way: bool) {
        let before = *self.links.curve(curve);
        if before.one_way != one_way {
            self.links.set_curve(curve, Curve { one_way, ..before });
            self.outdate(curve);
            self.ties.clear();
        }
    }

    /// Says whether a curve takes part.
    pub fn set_active(&mut self, curve: usize, active: bool) {
        if self.links.set_active(curve, active) != active {
            if active {
                let s = self.links.curve(curve).secant_parameter(self.drop(&self.heads, curve));
                self.trial.put_s(curve, s);
            }
            self.outdate(curve);
        }
    }

    /// Marks that the law of a curve is another than at its points.
    fn outdate(&mut self, curve: usize) {
        self.renew_table(curve, false);
        self.trial.outdate(curve);
        self.base_stamps.valid = false;
        if self.glided.is_some() {
            self.base.outdate(curve);
        }
    }

    /// Places of the matrix for the curves that take part, and where each of them is there, if it has to be laid out anew:
    /// one of them has no place, or places stand empty, which costs a factorisation as much as if they were used.
    pub fn tighter(&self) -> Option<(Pattern, Vec<u32>)> {
        let (mut placed, mut used, mut lacks) = (0, 0, false);
        for ((link, _), &slot) in self.links.iter().zip(&self.slots).filter(|((link, _), _)| link.couples(self.free)) {
            placed += usize::from(slot != NO_SLOT);
            used += usize::from(link.active);
            lacks |= link.active && slot == NO_SLOT;
        }
        let empty = (used as f64) < USED * placed as f64;
        if lacks || empty { places(self.free, &self.links, |link| link.active).ok() } else { None }
    }

    /// Lays the matrix out as [`Self::tighter`] has it.
    pub fn lay_out(&mut self, (pattern, slots): (Pattern, Vec<u32>)) {
        (self.pattern, self.slots) = (pattern, slots);
        self.make_tables();
        self.base_stamps.valid = false;
    }

    /// Links with their curves.
    pub fn links(&self) -> &Links {
        &self.links
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
        let more = |most: f64, head: &f64| if head.abs() > most { head.abs() } else { most };
        // Several side by side: one waits for the one before.
        let (fours, rest) = heads.as_chunks::<4>();
        let most = fours.iter().fold([0.0; 4], |most, four| std::array::from_fn(|k| more(most[k], &four[k])));
        4.0 * f64::EPSILON * rest.iter().chain(&most).fold(0.0, more)
    }

    /// Number of points whose head is found.
    pub fn free(&self) -> usize {
        self.free
    }

    /// Sets a fixed head, counted from the first fixed point.
    pub fn set_fixed(&mut self, index: usize, head: f64) {
        self.heads[self.free + index] = head;
        self.base_heads[self.free + index] = head;
        self.base_stamps.valid = false;
    }

    /// Marks the points that nothing ties to a known head. Their curves must not be active: which ones are is settled with this.
    pub fn set_loose(&mut self, loose: Vec<bool>) {
        self.loose = loose;
        self.base_stamps.valid = false;
        self.end_chords();
        self.ties.clear();
        self.put_in_order();
    }

    /// Head of a point, Pa; `None` where nothing ties it to a known head.
    pub fn head(&self, point: usize) -> Option<f64> {
        (point >= self.free || !self.loose[point]).then(|| self.heads[point])
    }

    /// Flow of a curve, m3/s.
    #[inline]
    pub fn flow(&self, curve: usize) -> f64 {
        if !self.links.link(curve).active {
            return 0.0;
        }
        let s = self.trial.s(curve);
        if self.links.curve(curve).one_way { s.max(0.0) } else { s }
    }

    /// Parameter of a curve: its flow, or where a one-way law passes nothing, below 0, how far it is from that.
    pub fn parameter(&self, curve: usize) -> f64 {
        self.trial.s(curve)
    }

    /// Flow of a vented weir pipe at the trial.
    pub fn weir_flow(&self, weir: usize) -> WeirFlow {
        self.chosen[weir]
    }

    /// Largest sum of flows at a free point at the last evaluation, m3/s, and that point.
    pub fn largest_imbalance(&self) -> (f64, Option<usize>) {
        let mut worst = (0.0, None);
        for (point, sum) in self.sums[..self.free].iter().enumerate() {
            if sum.is_nan() || sum.abs() > worst.0 {
                worst = (sum.abs(), Some(point));
            }
        }
        worst
    }

    /// Whether the head of a point is found in this step.
    fn moves(&self, point: usize) -> bool {
        point < self.free && !self.pinned[point]
    }

    /// Adds a linear element of conductance `c` with the flow `flow` at no change of heads.
    #[inline(always)]
    fn stamp(&self, curve: usize, c: f64, flow: f64, values: &mut [f64], rhs: &mut [f64]) {
        let [a, b] = self.links.ends(curve);
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

    /// Assembles the elements of all links that take part, but for those of vented weir pipes: of each the conductance and
    /// the flow at no change of heads.
    #[inline(always)]
    fn stamp_plain(
        &mut self,
        values: &mut [f64],
        rhs: &mut [f64],
        element: impl Fn(&Self, usize, &Link, &Curve) -> (f64, f64),
    ) {
        if self.pinned != self.loose {
            values.fill(0.0);
            rhs.fill(0.0);
            for (index, (link, curve)) in self.links.iter().enumerate().take(self.plain) {
                if link.active {
                    let (c, flow) = element(self, index, link, curve);
                    self.stamp(index, c, flow, values, rhs);
                }
            }
            return;
        }
        // No link that takes part comes to a loose point.
        let mut stamps = std::mem::take(&mut self.stamps);
        stamps.begin(self.pattern.len(), self.free);
        let links = self.links.links[..self.plain].iter().zip(&self.slots).enumerate();
        for (index, (link, &slot)) in links.filter(|(_, (link, _))| link.active) {
            let (c, flow) = element(self, index, link, &self.links.curves[link.curve as usize]);
            let ways = [link.from, link.to].map(|end| end.min(self.free as u32));
            stamps.add(ways, if slot == NO_SLOT { self.pattern.len() as u32 } else { slot }, [c, flow, 0.0]);
        }
        stamps.write(&self.pattern, values, rhs);
        self.stamps = stamps;
    }

    /// Takes points whose head stays out of the equations of the others.
    fn uncouple_pinned(&self, values: &mut [f64]) {
        let (starts, rows) = (self.pattern.col_start(), self.pattern.rows());
        for (bounds, &own) in starts.windows(2).zip(&self.pinned) {
            let below = bounds[0] as usize + 1..bounds[1] as usize;
            for (value, &row) in values[below.clone()].iter_mut().zip(&rows[below]) {
                if own || self.pinned[row as usize] {
                    *value = 0.0;
                }
            }
        }
    }

    /// Gives points whose head stays an equation of their own: no change.
    fn fill_pinned(&self, values: &mut [f64], rhs: &mut [f64]) {
        if !self.pinned.contains(&true) {
            return;
        }
        for (point, pinned) in self.pinned.iter().enumerate() {
            if *pinned {
                values[self.pattern.diagonal(point)] = 1.0;
                rhs[point] = 0.0;
            }
        }
    }

    /// d(flow)/d(loss) of a link at the base, m3/(s Pa).
    fn slope(&self, link: usize) -> f64 {
        self.links.curve(link).slope(&self.base.at(link))
    }

    #[inline(always)]
    fn drop(&self, heads: &[f64], curve: usize) -> f64 {
        let [from, to] = self.links.ends(curve);
        heads[from] - heads[to]
    }
}
