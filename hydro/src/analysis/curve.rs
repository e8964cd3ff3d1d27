//! One law as a curve in flow and loss, with a parameter along which Newton's method steps.
//!
//! A two-way law is a curve over its flow. A one-way law turns a corner at the origin: behind it the parameter runs
//! along the loss, where the flow is nil. So neither side has an infinite slope.
//!
//! ```text
//! s >= 0 or two-way   flow = s            loss = law(s)
//! s <  0, one-way     flow = 0            loss = S s          S = law(natural)/natural
//! ```
//!
//! Over a step of time a column of water adds what sets it moving, `inertance (flow - flow before)/time`, and a front what
//! it stands above or below its end: to every loss above comes `linear flow - offset`, with 0 for both at rest.

use crate::component::law::{Law, Loss};

/// How many times the flow that the head asks for the tangent's may be before it is left.
const FAR: f64 = 5.0;

/// A law between the heads of two points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve {
    /// Point at its start: index into the heads.
    pub from: u32,
    /// Point at its end.
    pub to: u32,
    /// Whether it passes nothing back.
    pub one_way: bool,
    /// Whether it takes part: not shut, not cut off.
    pub active: bool,
    /// Loss against flow.
    pub law: Law,
    /// Natural flow over the loss there, with the linear part, m3/(s Pa): the reciprocal of the secant S.
    pub conductance: f64,
    /// Loss at the natural flow over that flow, without the linear part, Pa s/m3.
    pub natural_secant: f64,
    /// Linear part of the loss, Pa s/m3.
    pub linear: f64,
    /// Part of the loss that no flow changes, with its sign turned, Pa.
    pub offset: f64,
}

impl Curve {
    /// A law between two points.
    pub fn new(from: usize, to: usize, one_way: bool, law: Law) -> Self {
        let (from, to) = (from as u32, to as u32);
        let (conductance, natural_secant, linear, offset) = (0.0, 0.0, 0.0, 0.0);
        let mut curve = Curve { from, to, one_way, active: true, law, conductance, natural_secant, linear, offset };
        curve.set_law(law);
        curve
    }

    /// Whether it joins two of so many points whose heads are found.
    pub fn couples(&self, free: usize) -> bool {
        (self.from.max(self.to) as usize) < free && self.from != self.to
    }

    /// Replaces the law.
    pub fn set_law(&mut self, law: Law) {
        let natural = law.natural_flow();
        self.law = law;
        self.natural_secant = law.loss(natural).value / natural;
        self.conductance = 1.0 / (self.natural_secant + self.linear);
    }

    /// Adds `linear flow - offset` to the loss of the law, Pa s/m3 (0 or more) and Pa.
    pub fn set_linear(&mut self, linear: f64, offset: f64) {
        (self.linear, self.offset) = (linear, offset);
        self.conductance = 1.0 / (self.natural_secant + linear);
    }

    /// The point of the curve at a parameter, with quadratic losses smoothed below a share `blur` of the natural flow
    /// (0: as the law has it).
    pub fn at(&self, s: f64, blur: f64) -> Point {
        let shut = self.one_way && s < 0.0;
        self.point(s, if shut { SHUT } else { self.law.blurred_loss(s, blur) })
    }

    /// Reynolds number at a parameter, and relative roughness, where the point takes the friction of Colebrook and White:
    /// then [`Self::at_friction`] makes it from that.
    #[inline]
    pub fn turbulent(&self, s: f64, blur: f64) -> Option<[f64; 2]> {
        let Law::Friction(law) = &self.law else { return None };
        if (self.one_way && s < 0.0) || s.abs() < blur * law.minor.natural {
            return None;
        }
        Some([law.turbulent(s)?, law.relative_roughness])
    }

    /// The point of the curve at a parameter where `f Re^2`, without a sign, and its slope are known.
    #[inline]
    pub fn at_friction(&self, s: f64, (phi, slope): (f64, f64)) -> Point {
        match &self.law {
            Law::Friction(law) => self.point(s, law.with(s, (phi.copysign(s), slope))),
            _ => self.at(s, 0.0),
        }
    }

    /// The point of the curve at the parameter of one that was on it with another linear part.
    pub fn moved(&self, point: &Point) -> Point {
        self.point(point.s, point.own)
    }

    /// The point where the law itself has a loss.
    #[inline]
    fn point(&self, s: f64, own: Loss) -> Point {
        if own == SHUT {
            return Point { s, loss: s / self.conductance - self.offset, inverse_slope: self.conductance, own };
        }
        let loss = own.value + self.linear * s - self.offset;
        Point { s, loss, inverse_slope: 1.0 / (own.slope + self.linear), own }
    }

    /// Parameter of the next point: the tangent's, but for two cases in which the tangent leads astray.
    ///
    /// Where the head says that the flow is far smaller (`FAR`) than the tangent's, it goes along a square-root law: the
    /// tangent alone only halves a flow that has to vanish. A one-way law that opens begins at its natural flow: shut,
    /// it knew nothing of how much will pass. `coarse`: the law is smoothed about zero flow, where the tangent does well.
    pub fn bent(&self, base: &Point, head: f64, coarse: bool) -> f64 {
        let linear = base.linear(head);
        if self.one_way && base.s < 0.0 {
            return linear.min(self.law.natural_flow());
        }
        if !coarse && self.linear == 0.0 && self.offset == 0.0 && head * linear > 0.0 && base.s * base.loss > 0.0 {
            // Asked of the squares first: a root takes its time, and is seldom taken.
            if FAR * FAR * base.s * base.s * head.abs() < linear * linear * base.loss.abs() {
                return (base.s.abs() * (head / base.loss).abs().sqrt()).copysign(linear);
            }
        }
        linear
    }

    /// Parameter at which a linear law through the origin and the natural point would lose `head`.
    pub fn secant_parameter(&self, head: f64) -> f64 {
        (head + self.offset) * self.conductance
    }
}

/// What stands for the law's own loss where a one-way law passes nothing; no law has a slope of 0.
const SHUT: Loss = Loss { value: 0.0, slope: 0.0 };

/// A point on a curve with its tangent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Parameter.
    pub s: f64,
    /// Loss, Pa.
    pub loss: f64,
    /// ds/d(loss).
    pub inverse_slope: f64,
    /// Loss of the law itself, without the linear part.
    own: Loss,
}

impl Default for Point {
    fn default() -> Self {
        Point { s: 0.0, loss: 0.0, inverse_slope: 0.0, own: SHUT }
    }
}

impl Point {
    /// Flow, m3/s.
    pub fn flow(&self) -> f64 {
        if self.own.slope == 0.0 { 0.0 } else { self.s }
    }

    /// d(flow)/d(loss), m3/(s Pa).
    pub fn conductance(&self) -> f64 {
        if self.own.slope == 0.0 { 0.0 } else { self.inverse_slope }
    }

    /// Marks that the law at this point is another than that of its curve now.
    pub fn outdate(&mut self) {
        self.own.slope = f64::NAN;
    }

    /// Whether the law at this point is another than that of its curve.
    pub fn is_outdated(&self) -> bool {
        self.own.slope.is_nan()
    }

    /// Parameter where the tangent loses `head`.
    pub fn linear(&self, head: f64) -> f64 {
        self.s + (head - self.loss) * self.inverse_slope
    }
}
