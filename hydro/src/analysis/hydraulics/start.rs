//! The size of the flows that a cold start begins with.

use super::Hydraulics;
use super::laws::SIDE_BY_SIDE;
use super::points::TOGETHER;
use crate::analysis::curve::{Curve, Point};
use crate::component::friction::{TURBULENT_FROM, turbulent};

/// Turbulent friction that links looked at together ask for, to be found for several at a time.
struct Frictions {
    count: usize,
    /// Link, of those looked at together, and its curve.
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

impl Hydraulics {
    /// Brings the flows of the start to the size at which they lose what the heads give them. They balance at every point and
    /// go on doing so; the linear laws they come from know how they share, not how large they are.
    ///
    /// ```text
    /// sum of q loss(a q) = sum of q (h_from - h_to)    with loss(a q) = a^2 loss(q)
    /// ```
    pub(super) fn scale_start(&mut self) {
        let parameter = |at: &Self, index: usize| at.links.curve(index).secant_parameter(at.drop(&at.heads, index));
        let (lost, given) = self.work(parameter);
        let scale = (given / lost).sqrt();
        let scale = if (1.0 / MOST_SCALED..MOST_SCALED).contains(&scale) { scale } else { 1.0 };
        for index in 0..self.links.len() {
            if self.links.link(index).active {
                self.trial.put_s(index, scale * parameter(self, index));
            }
        }
        self.current = false;
    }

    /// Work of flows against the laws and along the heads, W, summed over the links that take part or, of very many, over
    /// some ([`SAMPLE`]). `parameter`: that of a link.
    fn work(&mut self, parameter: impl Fn(&Self, usize) -> f64) -> (f64, f64) {
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

/// How much the flows of a start are changed at most: beyond, the laws are of some other form than squares.
const MOST_SCALED: f64 = 100.0;
