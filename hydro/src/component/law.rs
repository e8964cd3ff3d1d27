//! Laws of the passages: the loss of total head as a strictly rising function of the flow.
//!
//! Every law is C1 with a positive slope everywhere, so that a network of them has one solution and Newton's method
//! finds it. A loss that is purely quadratic has no slope at zero flow; below [`SMOOTH_VELOCITY`] it is replaced by a
//! cubic that joins it with the same value and slope.

use super::air_outlet::AirOutlet;
use super::friction;
use super::hole::HoleLaw;
use crate::fluid::site::Site;

/// Velocity below which a quadratic loss is smoothed, m/s. Above it the law is exact. At this velocity a loss
/// coefficient of 1 loses 0.5 mPa.
pub const SMOOTH_VELOCITY: f64 = 1e-3;

/// Least loss coefficient of a law: where nothing is lost, rounding of the heads decides the flow. At 10 m/s it loses
/// 0.05 Pa.
pub const LEAST_LOSS: f64 = 1e-6;

/// Loss of total head and its slope in the flow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Loss {
    /// Loss, Pa, with the sign of the flow.
    pub value: f64,
    /// d(loss)/d(flow), Pa s/m3, above 0.
    pub slope: f64,
}

/// A law: loss of total head against flow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Law {
    /// `k q|q|`.
    Quadratic(Quadratic),
    /// Wall friction and losses on one bore.
    Friction(Friction),
    /// Holes, with friction at low Reynolds number and cavitation.
    Hole(HoleLaw),
    /// Opening that air leaves by.
    Air(AirOutlet),
}

impl Law {
    /// Loss at a flow of either sign, m3/s.
    pub fn loss(&self, flow: f64) -> Loss {
        match self {
            Law::Quadratic(law) => law.loss(flow),
            Law::Friction(law) => law.loss(flow),
            Law::Hole(law) => law.loss(flow),
            Law::Air(law) => law.loss(flow),
        }
    }

    /// Loss of a coarser law for solvers on their way: below a share `blur` of the natural flow, the odd cubic with the
    /// law's value and slope there. 0 gives [`Law::loss`].
    pub fn blurred_loss(&self, flow: f64, blur: f64) -> Loss {
        if flow.abs() >= blur * self.natural_flow() {
            self.loss(flow)
        } else {
            self.coarse_loss(flow, &self.coarse(blur))
        }
    }

    /// The cubic of [`Self::blurred_loss`] below a share `blur` of the natural flow, above 0.
    ///
    /// Through a law that is steeper there than a cube, as between laminar and turbulent friction, no odd cubic of its slope
    /// rises from zero on: it then has 2.5 times the slope of the line to it.
    pub fn coarse(&self, blur: f64) -> Coarse {
        let edge = blur * self.natural_flow();
        // Only the square has no slope at zero flow; the cubic through a point that cavitates would not rise.
        let at = if let Law::Hole(law) = self { law.attached.loss(edge) } else { self.loss(edge) };
        let secant = at.value / edge;
        Coarse { edge, secant, cubic: 0.5 * (at.slope.min(STEEPEST * secant) - secant) }
    }

    /// Loss at a flow below the edge of the cubic of [`Self::coarse`].
    #[inline]
    pub fn coarse_loss(&self, flow: f64, coarse: &Coarse) -> Loss {
        match self {
            Law::Hole(law) => law.limited(coarse.loss(flow), flow),
            _ => coarse.loss(flow),
        }
    }

    /// The law of a share of the stream, above 0 to 1, that flows in its own part of every opening: at the same loss it
    /// has that share of the flow.
    pub fn share(&self, share: f64) -> Law {
        match self {
            Law::Quadratic(law) => Law::Quadratic(law.share(share)),
            Law::Friction(law) => Law::Friction(Friction {
                minor: law.minor.share(share),
                reynolds_per_flow: law.reynolds_per_flow / share,
                ..*law
            }),
            Law::Hole(law) => Law::Hole(law.share(share)),
            Law::Air(law) => Law::Air(law.share(share)),
        }
    }

    /// Flow, m3/s, at which a loss, Pa, of either sign is lost: the inverse of [`Self::loss`].
    pub fn flow_at(&self, loss: f64) -> f64 {
        let aim = loss.abs();
        if !(aim > 0.0 && aim.is_finite()) {
            return 0.0;
        }
        if let Law::Quadratic(law) = self {
            let flow = (aim / law.k).sqrt();
            if flow >= law.smooth {
                return flow.copysign(loss);
            }
        }
        // From where a square law through the natural flow leads, Newton's method inside a bracket that halves where it
        // would leave it.
        let natural = self.natural_flow();
        let mut flow = natural * (aim / self.loss(natural).value).sqrt();
        let (mut low, mut high) = (0.0, f64::INFINITY);
        for _ in 0..200 {
            let at = self.loss(flow);
            *(if at.value < aim { &mut low } else { &mut high }) = flow;
            let next = flow + (aim - at.value) / at.slope;
            if (next - flow).abs() <= 1e-15 * flow {
                return next.copysign(loss);
            }
            let middle = if high < f64::INFINITY { 0.5 * (low + high) } else { 2.0 * low };
            flow = if next > low && next < high { next } else { middle };
            if high - low <= 1e-15 * flow {
                break;
            }
        }
        flow.copysign(loss)
    }

    /// A flow of natural size, m3/s: where cold iterations start.
    #[inline]
    pub fn natural_flow(&self) -> f64 {
        match self {
            Law::Quadratic(law) => law.natural,
            Law::Friction(law) => law.minor.natural,
            Law::Hole(law) => law.attached.natural,
            Law::Air(law) => law.natural_flow(),
        }
    }
}

/// Steepest slope at the edge of a coarse law, over that of the line to it. With 3 the cubic has no slope at zero.
const STEEPEST: f64 = 2.5;

/// The odd cubic in the flow with a law's value and slope at a flow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Coarse {
    /// That flow, m3/s.
    pub edge: f64,
    /// Loss there over that flow, Pa s/m3.
    secant: f64,
    /// Half of what the slope there is above that.
    cubic: f64,
}

impl Coarse {
    /// No cubic: what stands for one that is still to be found.
    pub const NONE: Coarse = Coarse { edge: f64::NAN, secant: f64::NAN, cubic: f64::NAN };

    /// Loss by the cubic alone.
    #[inline]
    fn loss(&self, flow: f64) -> Loss {
        let (secant, cubic, share) = (self.secant, self.cubic, flow / self.edge);
        Loss {
            value: flow * (secant - cubic + cubic * share * share),
            slope: secant - cubic + 3.0 * cubic * share * share,
        }
    }
}

/// A loss proportional to the square of the flow.
///
/// ```text
/// loss = k q|q|                              |q| >= s
/// loss = k s q/2 + k q^3/(2 s)               |q| <  s      (same value and slope at s)
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quadratic {
    /// k, Pa s2/m6.
    pub k: f64,
    /// s, m3/s.
    pub smooth: f64,
    /// Flow of natural size, m3/s.
    pub natural: f64,
}

impl Quadratic {
    /// The law `K rho V|V|/2` on an area.
    ///
    /// `area`: of one opening, m2; `openings`: equal openings in parallel; `velocity`: of natural size, m/s.
    pub fn new(loss_coefficient: f64, area: f64, openings: f64, density: f64, velocity: f64) -> Self {
        let total = area * openings;
        Quadratic {
            k: loss_coefficient.max(LEAST_LOSS) * density / (2.0 * total * total),
            smooth: SMOOTH_VELOCITY * total,
            natural: velocity * total,
        }
    }

    /// Loss at a flow of either sign, m3/s.
    #[inline]
    pub fn loss(&self, flow: f64) -> Loss {
        let size = flow.abs();
        if size >= self.smooth {
            Loss { value: self.k * flow * size, slope: 2.0 * self.k * size }
        } else {
            let (k, s) = (self.k, self.smooth);
            Loss { value: 0.5 * k * flow * (s + flow * flow / s), slope: 0.5 * k * (s + 3.0 * flow * flow / s) }
        }
    }

    /// The law of a share of the stream, see [`Law::share`].
    pub fn share(&self, share: f64) -> Self {
        Quadratic { k: self.k / (share * share), smooth: self.smooth * share, natural: self.natural * share }
    }

    /// The same law with another coefficient, such as a valve part open; its natural and smoothing flows go with it.
    pub fn scaled(&self, factor: f64) -> Self {
        let share = factor.sqrt().recip();
        Quadratic { k: self.k * factor, smooth: self.smooth * share, natural: self.natural * share }
    }
}

/// Darcy-Weisbach friction and losses on one bore.
///
/// ```text
/// loss = (f L/D + K) rho V|V|/2 = phi(Re) mu^2 L/(2 rho D^3) + K rho V|V|/2,    Re = rho V D/mu
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Friction {
    /// Losses on the bore, with the friction where its factor is given.
    pub minor: Quadratic,
    /// Re at 1 m3/s.
    pub reynolds_per_flow: f64,
    /// mu^2 L/(2 rho D^3), Pa; 0 where the friction factor is given.
    pub wall: f64,
    /// eps/D.
    pub relative_roughness: f64,
    /// Value and slope of f Re^2 at Re = 4000.
    pub turbulent_end: (f64, f64),
}

impl Friction {
    /// The law of a length of pipe.
    ///
    /// `length`, `bore`, `roughness` in m; `loss_coefficient` on the bore; `friction_factor`: Darcy, where given
    /// instead of the friction law.
    pub fn new(
        length: f64,
        bore: f64,
        roughness: f64,
        loss_coefficient: f64,
        friction_factor: Option<f64>,
        site: &Site,
    ) -> Self {
        let area = circle(bore);
        let (rho, mu) = (site.water_density, site.water_viscosity);
        let given = friction_factor.map_or(0.0, |f| f * length / bore);
        let wall = if friction_factor.is_some() { 0.0 } else { mu * mu * length / (2.0 * rho * bore.powi(3)) };
        let relative_roughness = roughness / bore;
        Friction {
            minor: Quadratic::new(loss_coefficient + given, area, 1.0, rho, 3.0),
            reynolds_per_flow: rho * bore / (mu * area),
            wall,
            relative_roughness,
            turbulent_end: friction::turbulent_end(relative_roughness),
        }
    }

    /// The law of a length of duct, such as a gap between two plates: as a pipe of the hydraulic diameter, the velocity
    /// on the duct's own area.
    ///
    /// `length`, `hydraulic_diameter`, `roughness` in m; `area` in m2; `loss_coefficient` on the area.
    pub fn duct(
        length: f64,
        hydraulic_diameter: f64,
        area: f64,
        roughness: f64,
        loss_coefficient: f64,
        friction_factor: Option<f64>,
        site: &Site,
    ) -> Self {
        let pipe = Friction::new(length, hydraulic_diameter, roughness, loss_coefficient, friction_factor, site);
        let share = area / circle(hydraulic_diameter);
        Friction { minor: pipe.minor.share(share), reynolds_per_flow: pipe.reynolds_per_flow / share, ..pipe }
    }

    /// Loss at a flow of either sign, m3/s.
    pub fn loss(&self, flow: f64) -> Loss {
        if self.wall == 0.0 {
            return self.minor.loss(flow);
        }
        let re = flow * self.reynolds_per_flow;
        self.with(flow, friction::resistance(re, self.relative_roughness, self.turbulent_end))
    }

    /// Reynolds number of a flow where the friction is that of Colebrook and White.
    #[inline]
    pub fn turbulent(&self, flow: f64) -> Option<f64> {
        let re = flow.abs() * self.reynolds_per_flow;
        (re >= friction::TURBULENT_FROM && self.wall != 0.0).then_some(re)
    }

    /// Loss at a flow whose `f Re^2`, signed, with its slope is known.
    #[inline]
    pub fn with(&self, flow: f64, (phi, slope): (f64, f64)) -> Loss {
        let minor = self.minor.loss(flow);
        Loss { value: minor.value + self.wall * phi, slope: minor.slope + self.wall * slope * self.reynolds_per_flow }
    }
}

/// Area of a circle, m2, from its diameter, m.
pub fn circle(diameter: f64) -> f64 {
    std::f64::consts::FRAC_PI_4 * diameter * diameter
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The laws that a start goes by rise from zero on, also where their edge lies between laminar and turbulent friction, as in
    /// bores of a few millimetres.
    #[test]
    fn coarse_laws_rise() {
        let site = Site::of_20_degc(101_325.0);
        let mut steeper = 0;
        for (bore, roughness) in
            (1..60).flat_map(|k| [0.0, 5e-5, 2e-4].map(|roughness| (2e-4 * f64::from(k), roughness)))
        {
            let law = Law::Friction(Friction::new(1.0, bore, roughness, 0.0, None, &site));
            for blur in [0.2, 0.3] {
                let edge = blur * law.natural_flow();
                let at = law.loss(edge);
                steeper += usize::from(at.slope * edge > 3.0 * at.value);
                for share in 0..100 {
                    let loss = law.blurred_loss(edge * f64::from(share) / 100.0, blur);
                    assert!(loss.slope > 0.0, "bore {bore}, roughness {roughness}, {blur}, {share} %: {loss:?}");
                }
            }
        }
        assert!(steeper > 10);
    }
}
