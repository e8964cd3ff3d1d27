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

use crate::component::hole::CAVITATION_SMOOTHING;
use crate::component::law::{Coarse, Law, Loss};

/// How many times the flow that the head asks for the tangent's may be before it is left.
pub(super) const FAR: f64 = 5.0;

/// A law with what a step of time adds to it. Any number of links may follow the same.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Curve {
    /// Whether it passes nothing back.
    pub one_way: bool,
    /// Loss against flow.
    pub law: Law,
    /// Natural flow of the law, m3/s.
    pub natural: f64,
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
    /// A law, at rest.
    pub fn new(one_way: bool, law: Law) -> Self {
        let natural = law.natural_flow();
        let natural_secant = law.loss(natural).value / natural;
        Curve { one_way, law, natural, conductance: 1.0 / natural_secant, natural_secant, linear: 0.0, offset: 0.0 }
    }

    /// Whether it is that of a law, with `[linear, offset]` added.
    #[inline]
    pub fn is(&self, one_way: bool, law: &Law, added: [f64; 2]) -> bool {
        self.one_way == one_way && [self.linear, self.offset] == added && self.law == *law
    }

    /// The same with another law.
    pub fn with_law(&self, law: Law) -> Self {
        Curve::new(self.one_way, law).with_linear(self.linear, self.offset)
    }

    /// The same with `linear flow - offset` added to the loss of the law, Pa s/m3 (0 or more) and Pa.
    pub fn with_linear(&self, linear: f64, offset: f64) -> Self {
        Curve { linear, offset, conductance: 1.0 / (self.natural_secant + linear), ..*self }
    }

    /// The point of the curve at a parameter, with quadratic losses smoothed below a share `blur` of the natural flow
    /// (0: as the law has it).
    pub fn at(&self, s: f64, blur: f64) -> Point {
        let shut = self.one_way && s < 0.0;
        Point { s, own: if shut { SHUT } else { self.law.blurred_loss(s, blur) } }
    }

    /// Puts a point at its parameter, as [`Self::at`] does, or says at what Reynolds number it takes the friction of
    /// Colebrook and White and of what relative roughness: then [`Self::settle`] puts it. `coarse`: where the cubic found last
    /// for this curve is.
    #[inline(always)]
    pub fn place<'c>(&self, point: &mut Point, blur: f64, coarse: impl FnOnce() -> &'c mut Coarse) -> Option<[f64; 2]> {
        let s = point.s;
        if self.one_way && s < 0.0 {
            point.own = SHUT;
            return None;
        }
        let edge = blur * self.natural;
        if s.abs() < edge {
            let coarse = coarse();
            if coarse.edge != edge {
                *coarse = self.law.coarse(blur);
            }
            point.own = self.law.coarse_loss(s, coarse);
            return None;
        }
        point.own = match &self.law {
            Law::Friction(law) => match law.turbulent(s) {
                Some(reynolds) => return Some([reynolds, law.relative_roughness]),
                None => law.loss(s),
            },
            Law::Hole(law) => law.loss(s),
            Law::Quadratic(law) => law.loss(s),
            Law::Air(law) => law.loss(s),
        };
        None
    }

    /// Puts a point at its parameter where `f Re^2`, without a sign, and its slope are known.
    #[inline(always)]
    pub fn settle(&self, point: &mut Point, (phi, slope): (f64, f64)) {
        if let Law::Friction(law) = &self.law {
            point.own = law.with(point.s, (phi.copysign(point.s), slope));
        }
    }

    /// Loss at a point, Pa.
    #[inline]
    pub fn loss(&self, point: &Point) -> f64 {
        if point.is_shut() {
            return point.s / self.conductance - self.offset;
        }
        point.own.value + self.linear * point.s - self.offset
    }

    /// ds/d(loss) at a point.
    #[inline]
    pub fn inverse_slope(&self, point: &Point) -> f64 {
        if point.is_shut() { self.conductance } else { 1.0 / (point.own.slope + self.linear) }
    }

    /// d(flow)/d(loss) at a point, m3/(s Pa).
    #[inline]
    pub fn slope(&self, point: &Point) -> f64 {
        if point.is_shut() { 0.0 } else { 1.0 / (point.own.slope + self.linear) }
    }

    /// Parameter where the tangent at a point loses `head`.
    #[inline]
    pub fn linear(&self, point: &Point, head: f64) -> f64 {
        point.s + (head - self.loss(point)) * self.inverse_slope(point)
    }

    /// Parameter of the next point from where the tangent leads, `linear`: there, but for two cases in which the tangent
    /// leads astray.
    ///
    /// Where the head says that the flow is far smaller (`FAR`) than the tangent's, it goes along a square-root law: the
    /// tangent alone only halves a flow that has to vanish. A one-way law that opens begins at its natural flow: shut,
    /// it knew nothing of how much will pass. `coarse`: the law is smoothed about zero flow, where the tangent does well.
    #[inline]
    pub fn bent(&self, base: &Point, linear: f64, head: f64, coarse: bool) -> f64 {
        if self.one_way && base.s < 0.0 {
            return linear.min(self.natural);
        }
        // Without a linear part the loss is the law's own. Asked of the squares first: a root takes its time, and is seldom
        // taken.
        let loss = base.own.value;
        if FAR * FAR * base.s * base.s * head.abs() < linear * linear * loss.abs()
            && !coarse
            && self.linear == 0.0
            && self.offset == 0.0
            && head * linear > 0.0
            && base.s * loss > 0.0
        {
            return (base.s.abs() * (head / loss).abs().sqrt()).copysign(linear);
        }
        linear
    }

    /// The curve as passes over many of them take it.
    pub fn row(&self) -> Row {
        let least = if self.one_way { 0.0 } else { f64::NEG_INFINITY };
        let Curve { natural, conductance, linear, offset, .. } = *self;
        let no = Row { least, linear, offset, conductance, natural, ..Row::NONE };
        match &self.law {
            Law::Quadratic(law) => Row { k: law.k, smooth: law.smooth, plain: [0.0, f64::INFINITY], ..no },
            Law::Friction(law) => Row {
                k: law.minor.k,
                smooth: law.minor.smooth,
                plain: [0.0, f64::INFINITY],
                wall: law.wall,
                reynolds_per_flow: law.reynolds_per_flow,
                roughness: law.relative_roughness,
                ..no
            },
            Law::Hole(law) => {
                // Without its friction the attached drop is the least; half a width more keeps rounding out of it.
                let (more, spare) = (law.cavitating - law.attached.k, (1.0 - 1.5 * CAVITATION_SMOOTHING) * law.spare);
                let most = if more > 0.0 { (spare / more).sqrt() } else { f64::INFINITY };
                Row { k: law.attached.k, smooth: law.attached.smooth, viscous: law.viscous, plain: [0.0, most], ..no }
            }
            Law::Air(_) => no,
        }
    }

    /// Parameter at which a linear law through the origin and the natural point would lose `head`.
    pub fn secant_parameter(&self, head: f64) -> f64 {
        (head + self.offset) * self.conductance
    }
}

/// What passes over many curves side by side ask of one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// Parameter below which nothing passes: 0 of a one-way law.
    pub least: f64,
    /// See [`Curve`].
    pub linear: f64,
    /// See [`Curve`].
    pub offset: f64,
    /// See [`Curve`].
    pub conductance: f64,
    /// See [`Curve`].
    pub natural: f64,
    /// Plain part of the law, `k q|q| + viscous q`, Pa s2/m6; smoothed as in [`crate::component::law::Quadratic`].
    pub k: f64,
    /// m3/s.
    pub smooth: f64,
    /// Pa s/m3.
    pub viscous: f64,
    /// Sizes of flow, m3/s, between which the law is that and the friction; none where it never is.
    pub plain: [f64; 2],
    /// Friction, as in [`crate::component::law::Friction`]; 0 where there is none.
    pub wall: f64,
    /// Re at 1 m3/s.
    pub reynolds_per_flow: f64,
    /// eps/D.
    pub roughness: f64,
}

impl Row {
    /// That of a law that has no plain part.
    const NONE: Row = Row {
        least: 0.0,
        linear: 0.0,
        offset: 0.0,
        conductance: 1.0,
        natural: 0.0,
        k: 0.0,
        smooth: 0.0,
        viscous: 0.0,
        plain: [f64::INFINITY, f64::INFINITY],
        wall: 0.0,
        reynolds_per_flow: 0.0,
        roughness: 0.0,
    };
}

/// What stands for the law's own loss where a one-way law passes nothing; no law has a slope of 0.
const SHUT: Loss = Loss { value: 0.0, slope: 0.0 };

/// A point on a curve: its parameter, and there the loss of the law itself, without the linear part, with its slope.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Parameter.
    pub s: f64,
    own: Loss,
}

impl Default for Point {
    fn default() -> Self {
        Point { s: 0.0, own: SHUT }
    }
}

impl Point {
    /// A point of a parameter, and the value and slope of the law itself there.
    #[inline]
    pub fn new(s: f64, [value, slope]: [f64; 2]) -> Self {
        Point { s, own: Loss { value, slope } }
    }

    /// Value and slope of the law itself.
    #[inline]
    pub fn own(&self) -> [f64; 2] {
        [self.own.value, self.own.slope]
    }

    /// Flow, m3/s.
    #[inline]
    pub fn flow(&self) -> f64 {
        if self.is_shut() { 0.0 } else { self.s }
    }

    /// Whether a one-way law passes nothing here.
    #[inline]
    fn is_shut(&self) -> bool {
        self.own.slope == 0.0
    }

    /// Marks that the law at this point is another than that of its curve now.
    pub fn outdate(&mut self) {
        self.own.slope = f64::NAN;
    }
}
