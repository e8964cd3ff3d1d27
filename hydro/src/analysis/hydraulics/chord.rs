//! Solves near a state that is solved, along the tangents there.
//!
//! Within a step of time the network is asked for several states near one that is solved and whose matrix is factorised.
//! Heads h and parameters s are led there along the tangents, and what the laws say otherwise is taken out along the same
//! tangents, pass by pass:
//!
//! ```text
//! s = s0 + c (d - d0),    L(c) dx = sum of e,    s += e + c d(dx),    e = c (d - loss(s))
//! ```
//!
//! with d the drop of heads of a link and c the slopes at the state solved. The flows balance at every point to rounding, for
//! the slopes are those of the matrix. With flows changed by a share D since, a pass leaves about D of what it took out.
//! What a solution was off the tangents goes with the square of the time since, so the next begins there.

use super::Hydraulics;
use super::pass::{Moved, Settle};
use super::weir::{Weir, WeirFlow, choose};
use crate::analysis::curve::{Curve, Point};
use crate::analysis::links::Link;
use crate::nonlinear::newton::{self, Workspace};

/// Share of the flows that may be left.
const LEFT: f64 = 1e-6;

/// Most passes over the laws.
const PASSES: usize = 8;

/// How many times later than one that is solved a state may be, to go by what that was off the tangents.
const FURTHER: f64 = 3.0;

/// Share of the others in the flow of a vented weir pipe below which it is one of its three flows.
const PURE: f64 = 1e-9;

/// A link that takes part, and its tangent.
#[derive(Debug, Clone, Copy)]
struct Tangent {
    link: u32,
    /// Points at its ends.
    ends: [u32; 2],
    /// Free points that its flow leaves and comes to; the one behind them for fixed points, and for both where the link carries no
    /// flow of its own. Of a vented weir pipe one of its three flows does, and where water reaches its apex on
    /// neither side none.
    ways: [u32; 2],
    one_way: bool,
    carries: bool,
    /// Parameter at the state solved, d(parameter)/d(loss) there, and what the law says otherwise now, as a change of the
    /// parameter.
    parameter: f64,
    slope: f64,
    error: f64,
    /// Parameter where the tangent leads, and what the solution furthest from the start was off it.
    straight: f64,
    bend: f64,
}

impl Tangent {
    /// Whether the link passes nothing at a parameter.
    #[inline(always)]
    fn is_closed(&self, s: f64) -> bool {
        self.one_way && s < 0.0
    }
}

/// A state that is solved, and the tangents there.
#[derive(Debug, Clone, Default)]
pub(super) struct Chords {
    /// Whether the factor at hand is that of these tangents.
    ready: bool,
    /// Time, s.
    time: f64,
    tangents: Vec<Tangent>,
    /// Those that join a fixed point and carry a flow.
    near: Vec<u32>,
    /// What carries the flow of each vented weir pipe.
    carriers: Vec<Option<usize>>,
    /// Heads at the state solved.
    heads: Vec<f64>,
    /// Of the free points: where the tangents lead, and what the solution furthest from the start was off them, so much later, s.
    straight: Vec<f64>,
    bend: Vec<f64>,
    bent: f64,
    /// Excess at the free points and changes of their heads, and behind them a place for what is not asked for.
    changes: Vec<f64>,
}

/// Leaves the parameters where they are and finds the laws there.
struct Look;

impl Settle for Look {
    #[inline(always)]
    fn settle(&self, _: &Hydraulics, _: usize, _: &Curve, _: f64, _: &mut Point) -> (Moved, bool) {
        (Moved::NOT, true)
    }
}

/// Why tangents lead no further: a one-way law opens or shuts, a vented weir pipe follows another flow, or a law has no slope.
struct Astray;

impl Hydraulics {
    /// Takes the state solved last, of a time in s, as the one to go on from; the factor at hand is that of the matrix there.
    pub fn begin_chords(&mut self, time: f64) {
        let mut chords = std::mem::take(&mut self.chords);
        chords.carriers.clear();
        chords.ready = self.ajar.is_empty() && !self.has_runs();
        for (weir, chosen) in self.weirs.iter().zip(&self.base_chosen) {
            let curve = carrier(weir, chosen);
            chords.ready &= curve.is_some() || chosen.flow == 0.0 || !self.links.link(weir.full).active;
            chords.carriers.push(curve);
        }
        if chords.ready {
            (chords.time, chords.bent) = (time, 0.0);
            chords.heads.clone_from(&self.heads);
            for list in [&mut chords.straight, &mut chords.bend] {
                list.resize(self.free, 0.0);
            }
            chords.near.clear();
            chords.tangents.clear();
            for &link in &self.taking {
                let tangent = self.tangent(link, &chords.carriers);
                if tangent.carries && tangent.ends.iter().any(|&end| end as usize >= self.free) {
                    chords.near.push(chords.tangents.len() as u32);
                }
                chords.tangents.push(tangent);
            }
        }
        self.chords = chords;
    }

    /// The tangent of a link at the state solved last.
    fn tangent(&self, link: u32, carriers: &[Option<usize>]) -> Tangent {
        let k = link as usize;
        let (Link { from, to, .. }, curve) = (*self.links.link(k), self.links.curve(k));
        let way = match k.checked_sub(self.plain) {
            None => Some([from, to]),
            Some(at) => (carriers[at / 3] == Some(k)).then(|| {
                let (weir, pipe) = (&self.weirs[at / 3], self.links.link(self.weirs[at / 3].full));
                if k == weir.backward { [pipe.to, pipe.from] } else { [pipe.from, pipe.to] }
            }),
        };
        let free = self.free as u32;
        Tangent {
            link,
            ends: [from, to],
            ways: way.map_or([free; 2], |way| way.map(|end| end.min(free))),
            one_way: curve.one_way,
            carries: way.is_some(),
            parameter: self.trial[k].s,
            slope: curve.inverse_slope(&self.base[k]),
            error: 0.0,
            straight: 0.0,
            bend: 0.0,
        }
    }

    /// Forgets the tangents: the factor is another, or the links are.
    pub fn end_chords(&mut self) {
        self.chords.ready = false;
    }

    /// Solves for a time, s, along the tangents of [`Self::begin_chords`]; false where they do not lead there. The trial is
    /// then somewhere near.
    pub fn chord(&mut self, time: f64, work: &mut Workspace) -> bool {
        if !self.chords.ready {
            return false;
        }
        let mut chords = std::mem::take(&mut self.chords);
        let found = self.follow_chords(&mut chords, time, work).unwrap_or(false);
        self.chords = chords;
        (self.weighed, self.glided) = (None, None);
        for &k in &self.taking {
            self.trial[k as usize].outdate();
        }
        found
    }

    fn follow_chords(&mut self, chords: &mut Chords, time: f64, work: &mut Workspace) -> Result<bool, Astray> {
        let floor = self.floor();
        self.go_straight(chords, time, work)?;
        let mut last = 0.0;
        for pass in 0..PASSES {
            self.pass_over(&Look);
            if pass == 0 && !self.weirs_stay(chords) {
                return Err(Astray);
            }
            let [change, whole] = self.correct_chord(chords, floor, work)?;
            let share = if pass == 0 { whole } else { whole.max(change / last) };
            if change * share.min(1.0) <= LEFT {
                self.end_chord(chords, (time - chords.time).abs());
                return Ok(true);
            }
            last = change;
        }
        Ok(false)
    }

    /// Leads the trial along the tangents to where the heads of the fixed points are now, and off them as the last solution was.
    fn go_straight(&mut self, chords: &mut Chords, time: f64, work: &mut Workspace) -> Result<(), Astray> {
        let (free, heads, changes) = (self.free, &chords.heads, &mut chords.changes);
        changes.clear();
        changes.resize(free + 1, 0.0);
        for tangent in chords.near.iter().map(|&k| &chords.tangents[k as usize]) {
            let [from, to] = tangent.ends.map(|end| {
                let end = end as usize;
                if end < free { 0.0 } else { self.heads[end] - heads[end] }
            });
            if from != to && !tangent.is_closed(tangent.parameter) {
                add(changes, tangent.ways, tangent.slope * (from - to));
            }
        }
        self.hold_pinned(changes);
        newton::answer(self, work, &mut changes[..free]);
        let later = (time - chords.time) / chords.bent;
        let share = if later.abs() <= FURTHER { later * later } else { 0.0 };
        for (point, straight) in chords.straight.iter_mut().enumerate() {
            *straight = heads[point] + changes[point];
            self.heads[point] = *straight;
        }
        for tangent in &mut chords.tangents {
            let [from, to] = tangent.ends.map(|end| self.heads[end as usize] - heads[end as usize]);
            tangent.straight = tangent.parameter + tangent.slope * (from - to);
            let s = tangent.straight + share * tangent.bend;
            if !s.is_finite() || tangent.is_closed(s) != tangent.is_closed(tangent.parameter) {
                return Err(Astray);
            }
            self.trial[tangent.link as usize].s = s;
        }
        if share > 0.0 {
            self.heads.iter_mut().zip(&chords.bend).for_each(|(head, bend)| *head += share * bend);
        }
        Ok(())
    }

    /// Takes out what the laws, which have been looked at, say otherwise. Gives the largest change of a flow as a part of it,
    /// and that since the state of the tangents.
    fn correct_chord(&mut self, chords: &mut Chords, floor: f64, work: &mut Workspace) -> Result<[f64; 2], Astray> {
        let (free, changes) = (self.free, &mut chords.changes);
        changes.fill(0.0);
        for tangent in &mut chords.tangents {
            let point = &self.trial[tangent.link as usize];
            let loss = self.links.curve(tangent.link as usize).loss(point);
            let [from, to] = tangent.ends.map(|end| self.heads[end as usize]);
            tangent.error = tangent.slope * (from - to - loss);
            if !tangent.is_closed(point.s) {
                add(changes, tangent.ways, tangent.error);
            }
        }
        self.hold_pinned(changes);
        newton::answer(self, work, &mut changes[..free]);
        changes[free] = 0.0;
        self.heads.iter_mut().zip(&changes[..free]).for_each(|(head, change)| *head += change);
        let (mut most, mut whole) = (0.0_f64, 0.0_f64);
        for tangent in &chords.tangents {
            let [from, to] = tangent.ends.map(|end| changes[(end as usize).min(free)]);
            let place = &mut self.trial[tangent.link as usize].s;
            let before = *place;
            let s = before + tangent.error + tangent.slope * (from - to);
            *place = s;
            if !s.is_finite() || tangent.is_closed(s) != tangent.is_closed(before) {
                return Err(Astray);
            }
            if tangent.carries && !tangent.is_closed(s) {
                let size = s.abs() + floor;
                most = Moved { part: (s - before).abs(), whole: size }.most(most);
                whole = Moved { part: (s - tangent.parameter).abs(), whole: size }.most(whole);
            }
        }
        Ok([most, whole])
    }

    /// Takes a solution in, which is so much later, s, than the state of the tangents.
    fn end_chord(&mut self, chords: &mut Chords, later: f64) {
        for ((weir, chosen), carrier) in self.weirs.iter().zip(&mut self.chosen).zip(&chords.carriers) {
            if let Some(curve) = *carrier {
                let flow = self.trial[curve].s;
                chosen.flow = if curve == weir.backward { -flow } else { flow };
            }
        }
        if later >= chords.bent {
            chords.bent = later;
            for tangent in &mut chords.tangents {
                tangent.bend = self.trial[tangent.link as usize].s - tangent.straight;
            }
            for (point, bend) in chords.bend.iter_mut().enumerate() {
                *bend = self.heads[point] - chords.straight[point];
            }
        }
    }

    /// Whether no vented weir pipe follows another of its flows than before.
    fn weirs_stay(&self, chords: &Chords) -> bool {
        let mut weirs = self.weirs.iter().zip(&chords.carriers);
        weirs.all(|(weir, &before)| {
            !self.links.link(weir.full).active || carrier(weir, &choose(weir, &self.trial)) == before
        })
    }

    /// Leaves nothing over at points whose head stays.
    fn hold_pinned(&self, sums: &mut [f64]) {
        for (sum, _) in sums.iter_mut().zip(&self.pinned).filter(|(_, pinned)| **pinned) {
            *sum = 0.0;
        }
    }
}

/// The curve that the flow of a vented weir pipe follows alone; none where water reaches its apex on neither side.
fn carrier(weir: &Weir, chosen: &WeirFlow) -> Option<usize> {
    let curves = [weir.full, weir.forward, weir.backward];
    chosen.shares.iter().position(|&share| share >= 1.0 - PURE).map(|at| curves[at])
}

/// Adds a flow to the excess of the points that it leaves and comes to, which is what the heads answer to.
#[inline(always)]
fn add(excess: &mut [f64], [from, to]: [u32; 2], flow: f64) {
    excess[from as usize] -= flow;
    excess[to as usize] += flow;
}
