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
use super::lanes::whole;
use super::pass::Moved;
use super::tangents::{Tangents, add, add_all, add_beyond};
use super::weir::{Weir, WeirFlow, choose};
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

/// A state that is solved, and the tangents there.
#[derive(Debug, Clone, Default)]
pub(super) struct Chords {
    /// Whether the factor at hand is that of these tangents.
    ready: bool,
    /// Time, s.
    time: f64,
    tangents: Tangents,
    /// What carries the flow of each vented weir pipe.
    carriers: Vec<Option<usize>>,
    /// The state solved, and the heads of the fixed points there.
    start: Vec<f64>,
    held: Vec<f64>,
    /// Changes of the heads of the fixed points by which a state is led.
    led: Vec<f64>,
    /// How the state answers to a fixed point: of the free heads first, then of all.
    answers: Vec<(usize, Vec<f64>)>,
    /// Sums at the points, and heads of all points that parameters follow.
    heads: Vec<f64>,
    /// Lists no longer in use.
    spare: Vec<Vec<f64>>,
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
}

impl Chords {
    /// Forgets how the network answers to the fixed points.
    pub(super) fn forget_answers(&mut self) {
        self.spare.extend(self.answers.drain(..).map(|(_, list)| list));
    }

    /// Notes how the free heads answer to a fixed point, counted from the first: a list, so many times; for the next
    /// [`Hydraulics::begin_chords`]. `links`: numbers of a list before the heads.
    pub(super) fn note_answer(&mut self, fixed: usize, heads: &[f64], times: f64, links: usize) {
        let mut list = self.spare.pop().unwrap_or_default();
        list.clear();
        list.resize(links, 0.0);
        list.extend(heads.iter().map(|head| times * head));
        list.resize(links + whole(heads.len()), 0.0);
        self.answers.push((fixed, list));
    }
}

/// Why tangents lead no further: a one-way law opens or shuts, a vented weir pipe follows another flow, or a law has no slope.
struct Astray;

impl Hydraulics {
    /// Takes the state solved last, of a time in s, as the one to go on from; the factor at hand is that of the matrix there.
    pub fn begin_chords(&mut self, time: f64) {
        let mut chords = self.chords.take().unwrap_or_default();
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
            self.take_tangents(&mut chords.tangents);
            self.direct_weirs(&mut chords);
            let (free, fixed) = self.heads.split_at(self.free);
            chords.start.clear();
            chords.start.extend_from_slice(&self.trial.s[..self.order.whole]);
            chords.start.extend_from_slice(free);
            chords.start.resize(self.list_len(), 0.0);
            chords.held.clear();
            chords.held.extend_from_slice(fixed);
            chords.led.clear();
            chords.led.resize(fixed.len(), 0.0);
            let (links, mut heads) = (chords.tangents.links(), std::mem::take(&mut chords.heads));
            for (point, answer) in &mut chords.answers {
                heads.clear();
                heads.extend_from_slice(&answer[links..links + self.free]);
                heads.resize(self.heads.len(), 0.0);
                heads[self.free + *point] = 1.0;
                self.follow_heads(&chords.tangents, &heads, answer);
            }
            chords.heads = heads;
        }
        self.chords = Some(chords);
    }

    /// Says where the flows of vented weir pipes go.
    fn direct_weirs(&self, chords: &mut Chords) {
        for (weir, carrier) in self.weirs.iter().zip(&chords.carriers) {
            let (Some(k), pipe) = (*carrier, self.links.link(weir.full)) else { continue };
            if self.links.link(k).active {
                let ends = if k == weir.backward { [pipe.to, pipe.from] } else { [pipe.from, pipe.to] };
                chords
                    .tangents
                    .set_ways(self.trial.place(k) - self.order.plain, ends.map(|end| end.min(self.free as u32)));
            }
        }
    }

    /// Whether a link that takes part carries a flow of its own.
    fn carries(&self, chords: &Chords, link: usize) -> bool {
        link.checked_sub(self.plain).is_none_or(|at| chords.carriers[at / 3] == Some(link))
    }

    /// Forgets the tangents: the factor is another, or the links are.
    pub fn end_chords(&mut self) {
        if let Some(chords) = &mut self.chords {
            chords.ready = false;
        }
    }

    /// Says by how much, to first order, the state has moved a fixed head since [`Self::begin_chords`], Pa; counted from the first
    /// fixed point.
    pub fn lead_fixed(&mut self, index: usize, change: f64) {
        if let Some(led) = self.chords.as_mut().and_then(|chords| chords.led.get_mut(index)) {
            *led = change;
        }
    }

    /// Solves for a time, s, along the tangents of [`Self::begin_chords`]; false where they do not lead there. The trial is
    /// then somewhere near. At the end of a step it is only led near the solution, and the tangents are left.
    pub fn chord(&mut self, time: f64, which: Near<'_>, work: &mut Workspace) -> bool {
        if self.chords.as_ref().is_none_or(|chords| !chords.ready) {
            return false;
        }
        let mut chords = self.chords.take().unwrap_or_default();
        let found = match which {
            Near::Alone => self.solve_alone(&mut chords, time, work),
            Near::Later(later) => self.find_drift(&mut chords, later, work),
            Near::Stage(mix) => self.go_stage(&mut chords, mix, work),
            Near::End(mix) => self.go_to_end(&mut chords, mix),
        };
        chords.whole &= found.is_ok();
        let found = found.unwrap_or(false);
        self.chords = Some(chords);
        self.leave_laws();
        found
    }

    /// Marks that the laws at the trial are not those of its parameters.
    pub(super) fn leave_laws(&mut self) {
        (self.weighed, self.glided, self.current) = (None, None, false);
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
            add(&mut chords.at, [(&chords.bend, later * later)]);
        }
        self.put(chords)?;
        let mut last = 0.0;
        for pass in 0..PASSES {
            self.find_excess(chords, pass == 0, work)?;
            add_to(chords);
            self.put(chords)?;
            let [change, whole] = self.largest_changes(chords, floor);
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
        self.find_excess(chords, true, work)?;
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
        self.find_excess(chords, true, work)?;
        add_to(chords);
        self.put(chords)?;
        if chords.stages.len() <= index {
            chords.stages.resize(index + 1, Vec::new());
        }
        std::mem::swap(&mut chords.stages[index], &mut chords.taken);
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
        let answers = chords.answers.iter().map(|(point, answer)| (&answer[..], chords.led[*point]));
        let stages = chords.stages.iter().zip(mix.weights).skip(1).map(|(stage, &weight)| (&stage[..], weight));
        let drift = chords.drift.iter().map(|drift| (&drift[..], mix.later));
        add_all(&mut chords.at, answers.chain(stages).chain(drift));
        for (inside, &share) in chords.inside.iter_mut().zip(&mix.inside).filter(|(_, share)| **share != 0.0) {
            add_beyond(inside, share, &chords.at, &chords.start);
        }
        self.put(chords)
    }

    /// Leads along the tangents by the changes of all fixed heads.
    fn go_straight(&mut self, chords: &mut Chords, work: &mut Workspace) {
        let (free, changes) = (self.free, &mut chords.heads);
        changes.clear();
        changes.resize(free + 1, 0.0);
        for (place, &k) in self.order.links.iter().enumerate() {
            let (ends, weir) = (self.links.ends(k as usize), place.checked_sub(self.order.plain));
            if ends[0].max(ends[1]) < free {
                continue;
            }
            let change = |end: usize| end.checked_sub(free).map_or(0.0, |end| chords.led[end]);
            let [from, to] = ends.map(change);
            if from != to && !chords.tangents.is_closed(place, chords.start[place]) {
                let flow = chords.tangents.slope(place) * (from - to);
                let [leaves, comes] = match weir {
                    Some(weir) => chords.tangents.ways(weir),
                    None => ends.map(|end| end.min(free) as u32),
                };
                changes[leaves as usize] -= flow;
                changes[comes as usize] += flow;
            }
        }
        changes.truncate(free);
        self.hold_pinned(changes);
        newton::answer(self, work, changes);
        changes.extend_from_slice(&chords.led);
        chords.at.clone_from(&chords.start);
        self.follow_heads(&chords.tangents, changes, &mut chords.at);
        let heads = chords.at[chords.tangents.links()..].iter_mut().zip(&changes[..free]);
        heads.for_each(|(head, change)| *head += change);
    }

    /// Puts the trial where a state is led; not where a one-way law opens or shuts on the way.
    fn put(&mut self, chords: &Chords) -> Result<(), Astray> {
        if !chords.tangents.stay(&chords.start, &chords.at) {
            return Err(Astray);
        }
        let (parameters, heads) = chords.at.split_at(self.order.whole);
        self.trial.s[..self.order.whole].copy_from_slice(parameters);
        self.heads[..self.free].copy_from_slice(&heads[..self.free]);
        Ok(())
    }

    /// Looks at the laws at the trial and finds what they say otherwise, as a change of the state along the tangents; `choose`: looks
    /// also at what the vented weir pipes follow there.
    fn find_excess(&mut self, chords: &mut Chords, choose: bool, work: &mut Workspace) -> Result<(), Astray> {
        let (free, changes) = (self.free, &mut chords.heads);
        changes.resize(free + 1, 0.0);
        chords.taken.resize(self.list_len(), 0.0);
        self.look_at_laws(&chords.tangents, &mut chords.taken, changes);
        if choose && !self.weirs_stay(&chords.carriers) {
            return Err(Astray);
        }
        changes.truncate(free);
        self.hold_pinned(changes);
        newton::answer(self, work, changes);
        changes.resize(self.heads.len(), 0.0);
        self.follow_heads(&chords.tangents, changes, &mut chords.taken);
        chords.taken[chords.tangents.links()..][..free].copy_from_slice(&changes[..free]);
        Ok(())
    }

    /// Takes a solution in: each vented weir pipe has the flow of what carries it.
    fn end_chord(&mut self, chords: &Chords) {
        for ((weir, chosen), carrier) in self.weirs.iter().zip(&mut self.chosen).zip(&chords.carriers) {
            if let Some(curve) = *carrier {
                let flow = self.trial.s(curve);
                chosen.flow = if curve == weir.backward { -flow } else { flow };
            }
        }
    }

    /// The flows and heads inside the step of time that has just ended, if all its stages were led there and it was solved there;
    /// given once.
    pub fn take_inside(&mut self) -> Option<Inside> {
        if !std::mem::take(&mut self.chords.as_mut()?.ended) {
            return None;
        }
        let Chords { start, inside: [second, third], tangents, carriers, .. } = &**self.chords.as_ref()?;
        let heads = self.heads[..self.free].iter().chain(std::iter::repeat(&0.0));
        let rise: Vec<f64> =
            self.trial.s[..self.order.whole].iter().chain(heads).zip(start).map(|(now, start)| now - start).collect();
        let end: Vec<f64> = start.iter().zip(&rise).map(|(start, rise)| start + rise).collect();
        let stay = tangents.stay(start, &end) && self.weirs_stay(carriers);
        let numbers = || [start.clone(), rise, second.clone(), third.clone()];
        stay.then(|| Inside { links: self.order.links.clone(), numbers: numbers(), curved: true })
    }

    /// Whether no vented weir pipe follows another of its flows than before.
    fn weirs_stay(&self, carriers: &[Option<usize>]) -> bool {
        let mut weirs = self.weirs.iter().zip(carriers);
        weirs.all(|(weir, &before)| {
            !self.links.link(weir.full).active || carrier(weir, &choose(weir, &self.trial)) == before
        })
    }

    /// Largest change of a flow that was taken out last, as a part of it, and that since the state of the tangents.
    fn largest_changes(&self, chords: &Chords, floor: f64) -> [f64; 2] {
        let (mut most, mut whole) = (0.0_f64, 0.0_f64);
        for (k, &link) in self.order.links.iter().enumerate() {
            let s = chords.at[k];
            if !chords.tangents.is_closed(k, s) && self.carries(chords, link as usize) {
                let size = s.abs() + floor;
                most = Moved { part: chords.taken[k].abs(), whole: size }.most(most);
                whole = Moved { part: (s - chords.start[k]).abs(), whole: size }.most(whole);
            }
        }
        [most, whole]
    }

    /// Leaves nothing over at points whose head stays.
    fn hold_pinned(&self, sums: &mut [f64]) {
        if self.pinned.contains(&true) {
            for (sum, _) in sums.iter_mut().zip(&self.pinned).filter(|(_, pinned)| **pinned) {
                *sum = 0.0;
            }
        }
    }
}

/// The curve that the flow of a vented weir pipe follows alone; none where water reaches its apex on neither side.
fn carrier(weir: &Weir, chosen: &WeirFlow) -> Option<usize> {
    let curves = [weir.full, weir.forward, weir.backward];
    chosen.shares.iter().position(|&share| share >= 1.0 - PURE).map(|at| curves[at])
}

/// Adds what was taken out to the state that is led.
fn add_to(chords: &mut Chords) {
    add(&mut chords.at, [(&chords.taken, 1.0)]);
}
