//! Solves near a state that is solved, along the tangents there.
//!
//! Within a step of time the network is asked for several states near one that is solved and whose matrix is factorised.
//! Parameters s and heads h are led from there along the tangents, and what the laws say otherwise is taken out along the same
//! tangents, pass by pass:
//!
//! ```text
//! s = s0 + c (d - d0),    L(c) dx = sum of e,    s += e + c d(dx),    e = c (d - loss(s))
//! ```
//!
//! with d the drop of heads of a link and c the slopes at the state solved. The flows balance at every point to rounding, for
//! the slopes are those of the matrix. With flows changed by a share D since, a pass leaves about D of what it took out.
//!
//! A state asked for alone is led off the tangents as the solution before it was, which goes with the square of the time since.
//! The stages of a method that takes the network along ([`Near`]) are led by what was taken out of the stages before, and one
//! pass each is their own part of the method.

use super::Hydraulics;
use super::inside::Inside;
use super::pass::{Moved, Settle};
use super::weir::{Weir, WeirFlow, choose};
use crate::analysis::curve::{Curve, Point};
use crate::analysis::links::Link;
use crate::nonlinear::newton::{self, Workspace};
use crate::time::{Mix, Near};

/// Share of the flows that may be left in a state asked for alone.
const LEFT: f64 = 1e-6;

/// Most passes over the laws for it.
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
    /// d(parameter)/d(loss) at the state solved.
    slope: f64,
}

impl Tangent {
    /// Whether the link passes nothing at a parameter.
    #[inline(always)]
    fn is_closed(&self, s: f64) -> bool {
        self.one_way && s < 0.0
    }
}

/// A state that is solved, and the tangents there. Lists of numbers have the parameter of each tangent and, behind these, the
/// head of each free point.
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
    /// The state solved, and the heads of the fixed points there.
    start: Vec<f64>,
    held: Vec<f64>,
    /// Changes of the heads of the fixed points by which a state is led.
    led: Vec<f64>,
    /// How the state answers to a fixed point: of the free heads first, then of all.
    answers: Vec<(usize, Vec<f64>)>,
    /// The state that is led, and what is taken out of it.
    at: Vec<f64>,
    taken: Vec<f64>,
    /// Where the tangents lead, what the solution furthest from the start was off that, and how much later it was, s.
    straight: Vec<f64>,
    bend: Vec<f64>,
    bent: f64,
    /// What was taken out of each stage, and the change with time, 1/s, where there is any.
    stages: Vec<Vec<f64>>,
    drift: Option<Vec<f64>>,
    /// What the step has so far of the second and third coefficient inside, whether all its stages were led, and its end.
    inside: [Vec<f64>; 2],
    whole: bool,
    ended: bool,
    /// Excess at the free points and changes of their heads, and behind them a place for what is not asked for.
    changes: Vec<f64>,
}

impl Chords {
    /// Forgets how the network answers to the fixed points.
    pub(super) fn forget_answers(&mut self) {
        self.answers.clear();
    }

    /// Notes how the free heads answer to a fixed point, counted from the first: a list, so many times; for the next
    /// [`Hydraulics::begin_chords`].
    pub(super) fn note_answer(&mut self, fixed: usize, heads: &[f64], times: f64) {
        self.answers.push((fixed, heads.iter().map(|head| times * head).collect()));
    }
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
        (chords.whole, chords.ended, chords.drift) = (false, false, None);
        if chords.ready {
            (chords.time, chords.bent) = (time, 0.0);
            chords.near.clear();
            chords.tangents.clear();
            chords.start.clear();
            for &link in &self.taking {
                let tangent = self.tangent(link, &chords.carriers);
                if tangent.carries && tangent.ends.iter().any(|&end| end as usize >= self.free) {
                    chords.near.push(chords.tangents.len() as u32);
                }
                chords.tangents.push(tangent);
                chords.start.push(self.trial[link as usize].s);
            }
            let (free, fixed) = self.heads.split_at(self.free);
            chords.start.extend_from_slice(free);
            chords.held.clear();
            chords.held.extend_from_slice(fixed);
            chords.led.clear();
            chords.led.resize(fixed.len(), 0.0);
            for (point, answer) in &mut chords.answers {
                let moved = (self.free + *point) as u32;
                let change = |end: u32| answer.get(end as usize).copied().unwrap_or(f64::from(u8::from(end == moved)));
                let by = |tangent: &Tangent| {
                    let [from, to] = tangent.ends.map(change);
                    tangent.slope * (from - to)
                };
                let all: Vec<f64> = chords.tangents.iter().map(by).chain(answer.iter().copied()).collect();
                *answer = all;
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
            slope: curve.inverse_slope(&self.base[k]),
        }
    }

    /// Forgets the tangents: the factor is another, or the links are.
    pub fn end_chords(&mut self) {
        self.chords.ready = false;
    }

    /// Says by how much, to first order, the state has moved a fixed head since [`Self::begin_chords`], Pa; counted from the first
    /// fixed point.
    pub fn lead_fixed(&mut self, index: usize, change: f64) {
        if let Some(led) = self.chords.led.get_mut(index) {
            *led = change;
        }
    }

    /// Solves for a time, s, along the tangents of [`Self::begin_chords`]; false where they do not lead there. The trial is
    /// then somewhere near. At the end of a step it is only led near the solution, and the tangents are left.
    pub fn chord(&mut self, time: f64, which: Near<'_>, work: &mut Workspace) -> bool {
        if !self.chords.ready {
            return false;
        }
        let mut chords = std::mem::take(&mut self.chords);
        let found = match which {
            Near::Alone => self.solve_alone(&mut chords, time, work),
            Near::Later(later) => self.find_drift(&mut chords, later, work),
            Near::Stage(mix) => self.go_stage(&mut chords, mix, work),
            Near::End(mix) => self.go_to_end(&mut chords, mix),
        };
        chords.whole &= found.is_ok();
        let found = found.unwrap_or(false);
        self.chords = chords;
        self.leave_laws();
        found
    }

    /// Marks that the laws at the trial are not those of its parameters.
    pub(super) fn leave_laws(&mut self) {
        (self.weighed, self.glided, self.current) = (None, None, false);
        for &k in &self.taking {
            self.trial[k as usize].outdate();
        }
    }

    /// Finds a state alone: pass by pass, until little enough is left.
    fn solve_alone(&mut self, chords: &mut Chords, time: f64, work: &mut Workspace) -> Result<bool, Astray> {
        let floor = self.floor();
        for ((led, head), held) in chords.led.iter_mut().zip(&self.heads[self.free..]).zip(&chords.held) {
            *led = head - held;
        }
        self.go_straight(chords, work);
        chords.straight.clone_from(&chords.at);
        let later = (time - chords.time) / chords.bent;
        if later.abs() <= FURTHER {
            add(&mut chords.at, &chords.bend, later * later);
        }
        self.put(chords)?;
        let mut last = 0.0;
        for pass in 0..PASSES {
            self.look(chords, pass == 0)?;
            self.find_excess(chords, work);
            add_to(chords);
            self.put(chords)?;
            let [change, whole] = largest_changes(chords, floor);
            let share = if pass == 0 { whole } else { whole.max(change / last) };
            if change * share.min(1.0) <= LEFT {
                self.end_chord(chords);
                let later = (time - chords.time).abs();
                if later >= chords.bent {
                    chords.bent = later;
                    chords.bend.clear();
                    chords.bend.extend(chords.at.iter().zip(&chords.straight).map(|(at, straight)| at - straight));
                }
                return Ok(true);
            }
            last = change;
        }
        Ok(false)
    }

    /// Finds how the flows change with time where the state stays as it is.
    fn find_drift(&mut self, chords: &mut Chords, later: f64, work: &mut Workspace) -> Result<bool, Astray> {
        chords.at.clone_from(&chords.start);
        self.put(chords)?;
        self.look(chords, true)?;
        self.find_excess(chords, work);
        add_to(chords);
        self.put(chords)?;
        chords.drift = Some(chords.taken.iter().map(|taken| taken / later).collect());
        self.end_chord(chords);
        Ok(true)
    }

    /// Finds the flows of a stage.
    fn go_stage(&mut self, chords: &mut Chords, mix: Mix<'_>, work: &mut Workspace) -> Result<bool, Astray> {
        let index = mix.weights.len();
        if index == 1 {
            chords.whole = true;
            for list in &mut chords.inside {
                list.clear();
                list.resize(chords.start.len(), 0.0);
            }
        }
        self.lead(chords, mix)?;
        self.look(chords, true)?;
        self.find_excess(chords, work);
        add_to(chords);
        self.put(chords)?;
        if chords.stages.len() <= index {
            chords.stages.resize(index + 1, Vec::new());
        }
        chords.stages[index].clone_from(&chords.taken);
        self.end_chord(chords);
        Ok(true)
    }

    /// Leads the trial near the solution at the end of a step, and leaves the tangents. Nothing is found yet: that is Newton's part.
    fn go_to_end(&mut self, chords: &mut Chords, mix: Mix<'_>) -> Result<bool, Astray> {
        if chords.whole {
            self.lead(chords, mix)?;
            self.end_chord(chords);
            chords.ended = true;
        }
        chords.ready = false;
        Ok(false)
    }

    /// Leads the trial to where a mix of the stages before has it.
    fn lead(&mut self, chords: &mut Chords, mix: Mix<'_>) -> Result<(), Astray> {
        chords.at.clone_from(&chords.start);
        for (point, answer) in &chords.answers {
            add(&mut chords.at, answer, chords.led[*point]);
        }
        for (stage, &weight) in chords.stages.iter().zip(mix.weights).skip(1) {
            add(&mut chords.at, stage, weight);
        }
        if let Some(drift) = &chords.drift {
            add(&mut chords.at, drift, mix.later);
        }
        for (inside, &share) in chords.inside.iter_mut().zip(&mix.inside).filter(|(_, share)| **share != 0.0) {
            for ((inside, at), start) in inside.iter_mut().zip(&chords.at).zip(&chords.start) {
                *inside += share * (at - start);
            }
        }
        self.put(chords)
    }

    /// Leads along the tangents by the changes of all fixed heads.
    fn go_straight(&self, chords: &mut Chords, work: &mut Workspace) {
        let (free, changes) = (self.free, &mut chords.changes);
        changes.clear();
        changes.resize(free + 1, 0.0);
        for &k in &chords.near {
            let tangent = &chords.tangents[k as usize];
            let [from, to] =
                tangent.ends.map(|end| (end as usize).checked_sub(free).map_or(0.0, |end| chords.led[end]));
            if from != to && !tangent.is_closed(chords.start[k as usize]) {
                give(changes, tangent.ways, tangent.slope * (from - to));
            }
        }
        self.hold_pinned(changes);
        newton::answer(self, work, &mut changes[..free]);
        let change = |end: u32| {
            let end = end as usize;
            if end < free { changes[end] } else { chords.led[end - free] }
        };
        chords.at.clear();
        chords.at.extend(chords.tangents.iter().zip(&chords.start).map(|(tangent, start)| {
            let [from, to] = tangent.ends.map(change);
            start + tangent.slope * (from - to)
        }));
        let heads = chords.start[chords.tangents.len()..].iter().zip(&changes[..free]);
        chords.at.extend(heads.map(|(head, change)| head + change));
    }

    /// Puts the trial where a state is led; not where a one-way law opens or shuts on the way.
    fn put(&mut self, chords: &Chords) -> Result<(), Astray> {
        for ((tangent, &s), &start) in chords.tangents.iter().zip(&chords.at).zip(&chords.start) {
            if !s.is_finite() || tangent.is_closed(s) != tangent.is_closed(start) {
                return Err(Astray);
            }
            self.trial[tangent.link as usize].s = s;
        }
        self.heads[..self.free].copy_from_slice(&chords.at[chords.tangents.len()..]);
        Ok(())
    }

    /// Looks at the laws at the trial; `choose`: also at what the vented weir pipes follow there.
    fn look(&mut self, chords: &Chords, choose: bool) -> Result<(), Astray> {
        self.pass_over(&Look);
        if choose && !self.weirs_stay(chords) { Err(Astray) } else { Ok(()) }
    }

    /// Finds what the laws, which have been looked at, say otherwise, as a change of the state along the tangents.
    fn find_excess(&self, chords: &mut Chords, work: &mut Workspace) {
        let (free, changes) = (self.free, &mut chords.changes);
        changes.clear();
        changes.resize(free + 1, 0.0);
        chords.taken.resize(chords.start.len(), 0.0);
        let (links, curves) = (&self.links.links[..], &self.links.curves[..]);
        for (tangent, error) in chords.tangents.iter().zip(&mut chords.taken) {
            let (index, [from, to]) = (tangent.link as usize, tangent.ends);
            let (point, curve) = (&self.trial[index], &curves[links[index].curve as usize]);
            let drop = self.heads[from as usize] - self.heads[to as usize];
            *error = tangent.slope * (drop - curve.loss(point));
            if !tangent.is_closed(point.s) {
                give(changes, tangent.ways, *error);
            }
        }
        self.hold_pinned(changes);
        newton::answer(self, work, &mut changes[..free]);
        changes[free] = 0.0;
        for (taken, tangent) in chords.taken.iter_mut().zip(&chords.tangents) {
            let [from, to] = tangent.ends.map(|end| changes[(end as usize).min(free)]);
            *taken += tangent.slope * (from - to);
        }
        chords.taken[chords.tangents.len()..].copy_from_slice(&changes[..free]);
    }

    /// Takes a solution in: each vented weir pipe has the flow of what carries it.
    fn end_chord(&mut self, chords: &Chords) {
        for ((weir, chosen), carrier) in self.weirs.iter().zip(&mut self.chosen).zip(&chords.carriers) {
            if let Some(curve) = *carrier {
                let flow = self.trial[curve].s;
                chosen.flow = if curve == weir.backward { -flow } else { flow };
            }
        }
    }

    /// The flows and heads inside the step of time that has just ended, if all its stages were led there and it was solved there;
    /// given once.
    pub fn take_inside(&mut self) -> Option<Inside> {
        if !std::mem::take(&mut self.chords.ended) {
            return None;
        }
        let chords = &self.chords;
        let now = chords.tangents.iter().map(|tangent| self.trial[tangent.link as usize].s);
        let now = now.chain(self.heads[..self.free].iter().copied());
        let [second, third] = &chords.inside;
        let numbers = now.zip(&chords.start).zip(second.iter().zip(third));
        let numbers: Vec<_> =
            numbers.map(|((now, &start), (&second, &third))| [start, now - start, second, third]).collect();
        let stays = |(tangent, &[start, rise, ..]): (&Tangent, &[f64; 4])| {
            tangent.is_closed(start) == tangent.is_closed(start + rise)
        };
        let stay = chords.tangents.iter().zip(&numbers).all(stays) && self.weirs_stay(chords);
        stay.then(|| Inside { links: chords.tangents.iter().map(|tangent| tangent.link).collect(), numbers })
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

/// Largest change of a flow that was taken out last, as a part of it, and that since the state of the tangents.
fn largest_changes(chords: &Chords, floor: f64) -> [f64; 2] {
    let (mut most, mut whole) = (0.0_f64, 0.0_f64);
    for (k, tangent) in chords.tangents.iter().enumerate() {
        let s = chords.at[k];
        if tangent.carries && !tangent.is_closed(s) {
            let size = s.abs() + floor;
            most = Moved { part: chords.taken[k].abs(), whole: size }.most(most);
            whole = Moved { part: (s - chords.start[k]).abs(), whole: size }.most(whole);
        }
    }
    [most, whole]
}

/// The curve that the flow of a vented weir pipe follows alone; none where water reaches its apex on neither side.
fn carrier(weir: &Weir, chosen: &WeirFlow) -> Option<usize> {
    let curves = [weir.full, weir.forward, weir.backward];
    chosen.shares.iter().position(|&share| share >= 1.0 - PURE).map(|at| curves[at])
}

/// Adds so many times a list.
fn add(to: &mut [f64], list: &[f64], times: f64) {
    to.iter_mut().zip(list).for_each(|(to, x)| *to += times * x);
}

/// Adds what was taken out to the state that is led.
fn add_to(chords: &mut Chords) {
    add(&mut chords.at, &chords.taken, 1.0);
}

/// Adds a flow to the excess of the points that it leaves and comes to, which is what the heads answer to.
#[inline(always)]
fn give(excess: &mut [f64], [from, to]: [u32; 2], flow: f64) {
    excess[from as usize] -= flow;
    excess[to as usize] += flow;
}
