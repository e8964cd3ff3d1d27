//! One pass over the laws: where the next step leads each link, its law there, and what the flows sum up to.

use super::Hydraulics;
use super::stamps::Stamps;
use super::weir::choose;
use crate::analysis::curve::{Curve, Point};
use crate::analysis::links::Link;
use crate::component::friction::{TURBULENT_FROM, turbulent};
use crate::component::law::Coarse;

/// Links that are passed over together.
const TOGETHER: usize = 64;

/// Links whose turbulent friction is found side by side.
const SIDE_BY_SIDE: usize = 8;

/// Turbulent friction that links passed over together ask for, to be found for several at a time.
struct Frictions {
    count: usize,
    /// Link, of those passed over together, and its curve.
    asked: [(u32, u32); TOGETHER],
    reynolds: [f64; TOGETHER],
    roughness: [f64; TOGETHER],
}

impl Frictions {
    const NONE: Frictions = Frictions {
        count: 0,
        asked: [(0, 0); TOGETHER],
        reynolds: [TURBULENT_FROM; TOGETHER],
        roughness: [0.0; TOGETHER],
    };

    /// Takes in what a link asks for.
    #[inline(always)]
    fn ask(&mut self, link: usize, curve: u32, [reynolds, roughness]: [f64; 2]) {
        let at = self.count % TOGETHER;
        (self.asked[at], self.reynolds[at], self.roughness[at]) = ((link as u32, curve), reynolds, roughness);
        self.count += 1;
    }

    /// Puts the points where they were asked for.
    fn find(&mut self, arch: pulp::Arch, curves: &[Curve], points: &mut [Point]) {
        if self.count > 0 {
            arch.dispatch(Finding { frictions: self, curves, points });
            self.count = 0;
        }
    }
}

/// The friction that was asked for, as it is found: compiled for what the processor has. The numbers are the same on any.
struct Finding<'f> {
    frictions: &'f Frictions,
    curves: &'f [Curve],
    points: &'f mut [Point],
}

impl pulp::NullaryFnOnce for Finding<'_> {
    type Output = ();

    #[inline(always)]
    fn call(self) {
        let Frictions { count, asked, reynolds, roughness } = self.frictions;
        let numbers = reynolds.as_chunks::<SIDE_BY_SIDE>().0.iter().zip(roughness.as_chunks().0);
        for (asked, (&reynolds, &roughness)) in asked[..*count].chunks(SIDE_BY_SIDE).zip(numbers) {
            for (&(link, curve), friction) in asked.iter().zip(turbulent(reynolds, roughness)) {
                self.curves[curve as usize].settle(&mut self.points[link as usize], friction);
            }
        }
    }
}

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

/// Where a pass over the laws puts the links.
pub(super) trait Settle {
    /// Moves the parameter of a link to that of the trial; gives how far that is, and whether its law is to be found there.
    /// `drop`: of the heads at the trial, Pa.
    fn settle(&self, at: &Hydraulics, index: usize, curve: &Curve, drop: f64, point: &mut Point) -> (Moved, bool);
}

/// What a pass over the laws sums up, but for the flows at the points.
#[derive(Default)]
struct Sums {
    merit: f64,
    rounding: f64,
    reference: f64,
    natural: f64,
    shut: usize,
}

/// Adds a flow to the sums of the flows leaving its ends: the free points and, behind them, all fixed ones.
#[inline(always)]
pub(super) fn add_flow(flows: &mut [f64], link: &Link, flow: f64) {
    let fixed = flows.len() - 1;
    flows[(link.from as usize).min(fixed)] += flow;
    flows[(link.to as usize).min(fixed)] -= flow;
}

impl Hydraulics {
    /// Passes once over the laws of the links that take part. Gives the merit at the trial and the largest change.
    pub(super) fn weigh(&mut self, settle: impl Settle) -> (f64, f64) {
        let (mut trial, mut coarse) = (std::mem::take(&mut self.trial), std::mem::take(&mut self.links.coarse));
        let mut stamps = std::mem::take(&mut self.stamps);
        stamps.begin(self.pattern.len(), self.free);
        let mut sums = Sums::default();
        let (mut change, mut drops, mut frictions) = (0.0, [0.0; TOGETHER], Frictions::NONE);
        let (arch, ulp) = (pulp::Arch::new(), self.head_rounding(&self.heads));
        for (chunk, points) in trial.chunks_mut(TOGETHER).enumerate() {
            let first = chunk * TOGETHER;
            change = self.settle(first, points, &settle, (&mut coarse, &mut frictions, &mut drops), change);
            frictions.find(arch, &self.links.curves, points);
            sums = self.sum_up(first, points, &drops, (ulp, sums), &mut stamps);
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
        (self.reference, self.natural, self.rounding, self.shut) =
            (sums.reference, sums.natural, sums.rounding, sums.shut);
        (self.current, self.smoothed) = (true, 0.0);
        (merit, change)
    }

    /// Passes once over the laws of the links that take part, and sums nothing up.
    pub(super) fn pass_over(&mut self, settle: &impl Settle) {
        let (mut trial, mut coarse) = (std::mem::take(&mut self.trial), std::mem::take(&mut self.links.coarse));
        let (mut drops, mut frictions, arch) = ([0.0; TOGETHER], Frictions::NONE, pulp::Arch::new());
        for (chunk, points) in trial.chunks_mut(TOGETHER).enumerate() {
            self.settle(chunk * TOGETHER, points, settle, (&mut coarse, &mut frictions, &mut drops), 0.0);
            frictions.find(arch, &self.links.curves, points);
        }
        (self.trial, self.links.coarse) = (trial, coarse);
    }

    /// Moves the parameters of the links from `first` on and finds the laws there, or asks for their friction. Gives the
    /// largest change of these and those before. A function of its own, like the next: a loop that holds less in hand.
    #[inline(never)]
    fn settle(
        &self,
        first: usize,
        points: &mut [Point],
        settle: &impl Settle,
        (coarse, frictions, drops): (&mut [Coarse], &mut Frictions, &mut [f64; TOGETHER]),
        mut change: f64,
    ) -> f64 {
        let (curves, heads, blur) = (&self.links.curves[..], &self.heads[..], self.blur);
        let links = &self.links.links[first..first + points.len()];
        let drops = &mut drops[..points.len()];
        for at in 0..points.len() {
            let (link, point) = (&links[at], &mut points[at]);
            if !link.active {
                continue;
            }
            let (index, curve) = (link.curve as usize, &curves[link.curve as usize]);
            let drop = heads[link.from as usize] - heads[link.to as usize];
            drops[at] = drop;
            let (moved, fresh) = settle.settle(self, first + at, curve, drop, point);
            change = moved.most(change);
            if fresh && let Some(friction) = curve.place(point, blur, || &mut coarse[index]) {
                frictions.ask(at, link.curve, friction);
            }
        }
        change
    }

    /// Sums up what the points of the links from `first` on, all at their laws, come to, and with it their elements of the next
    /// step. `ulp`: what rounding does to a drop of heads, Pa.
    #[inline(never)]
    fn sum_up(
        &self,
        first: usize,
        points: &[Point],
        drops: &[f64; TOGETHER],
        (ulp, sums): (f64, Sums),
        stamps: &mut Stamps,
    ) -> Sums {
        let Sums { mut merit, mut rounding, mut reference, mut natural, mut shut } = sums;
        let (curves, plain) = (&self.links.curves[..], self.plain.saturating_sub(first));
        let links = &self.links.links[first..first + points.len()];
        let (slots, drops) = (&self.slots[first..first + points.len()], &drops[..points.len()]);
        for at in 0..points.len() {
            let (link, point) = (&links[at], &points[at]);
            if !link.active {
                continue;
            }
            let curve = &curves[link.curve as usize];
            let (rest, slope) = (drops[at] - curve.loss(point), curve.slope(point));
            let error = (rest - self.momentum.here(first + at)) * curve.conductance;
            merit += error * error;
            natural = if curve.natural > natural { curve.natural } else { natural };
            rounding += ulp * slope;
            shut += usize::from(curve.one_way && point.s < 0.0);
            if at < plain {
                let flow = point.flow();
                reference = if flow.abs() > reference { flow.abs() } else { reference };
                stamps.add(link, slots[at], [slope, flow + rest * slope, flow]);
            }
        }
        Sums { merit, rounding, reference, natural, shut }
    }

    /// Work of flows against the laws and along the heads, W, summed over the links that take part or, of very many, over
    /// some ([`SAMPLE`]). `parameter`: that of a link.
    pub(super) fn work(&mut self, parameter: impl Fn(&Self, usize) -> f64) -> (f64, f64) {
        let (mut lost, mut given) = (0.0, 0.0);
        let mut coarse = std::mem::take(&mut self.links.coarse);
        let curves = &self.links.curves[..];
        let (arch, mut frictions, mut points) = (pulp::Arch::new(), Frictions::NONE, [Point::default(); TOGETHER]);
        // Odd, so that it falls in step with no pattern of ducts in pairs.
        let stride = (self.plain / SAMPLE) | 1;
        for first in (0..self.plain).step_by(stride * TOGETHER) {
            let here = (first..self.plain).step_by(stride).take(TOGETHER).zip(0..);
            let here = here.filter(|&(index, _)| self.links.links[index].active);
            for (index, at) in here.clone() {
                let curve = self.links.links[index].curve;
                points[at].s = parameter(self, index);
                let (point, cubic) = (&mut points[at], curve as usize);
                if let Some(friction) = curves[curve as usize].place(point, self.blur, || &mut coarse[cubic]) {
                    frictions.ask(at, curve, friction);
                }
            }
            frictions.find(arch, curves, &mut points);
            for (index, at) in here {
                let flow = points[at].flow();
                lost += flow * self.links.curve(index).loss(&points[at]);
                given += flow * self.drop(&self.heads, index);
            }
        }
        self.links.coarse = coarse;
        (lost, given)
    }
}

/// Links that a sum over some of them takes in at least, but for a third; of up to twice as many it takes all.
const SAMPLE: usize = 20_000;
