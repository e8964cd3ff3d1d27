//! The laws of links that are passed over together, side by side.
//!
//! Most follow `k q|q|` with a part in q at the flows in question, and the friction of Colebrook and White, or pass nothing. Others
//! are gone through one by one.

use super::lanes::{Lanes, List, Notes, Out, sets};
use super::points::{TOGETHER, Table};
use super::{Curve, Link};
use crate::analysis::curve::Point;
use crate::component::friction::{LAMINAR_UP_TO, TURBULENT_FROM, laminar, turbulent};
use crate::component::law::{Coarse, Quadratic};
use pulp::{Simd, WithSimd};

/// Links whose turbulent friction is found side by side.
pub(super) const SIDE_BY_SIDE: usize = 8;

/// Turbulent friction to be found for several links at a time.
#[derive(Debug, Clone)]
pub(super) struct Frictions {
    pub asked: [u8; TOGETHER],
    pub reynolds: [f64; TOGETHER],
    pub roughness: [f64; TOGETHER],
}

impl Default for Frictions {
    fn default() -> Self {
        Frictions { asked: [0; TOGETHER], reynolds: [TURBULENT_FROM; TOGETHER], roughness: [0.0; TOGETHER] }
    }
}

/// What the links follow.
pub(super) struct Followed<'f> {
    /// Links passed over together, of all.
    pub order: &'f [u32],
    pub links: &'f [Link],
    pub curves: &'f [Curve],
    pub coarse: &'f mut [Coarse],
    /// Share of the natural flow below which laws are smoothed.
    pub blur: f64,
}

/// Points that are put at the laws of their parameters; as many as there are parameters.
pub(super) struct Laws<'f> {
    pub table: &'f Table,
    pub followed: Followed<'f>,
    pub frictions: &'f mut Frictions,
    pub s: &'f [f64],
    pub value: &'f mut [f64],
    pub slope: &'f mut [f64],
}

impl Laws<'_> {
    /// Puts a point whose flow is in the smoothing of the plain part.
    #[inline(always)]
    fn put_small(&mut self, at: usize) {
        let (table, s) = (self.table, self.s[at]);
        let loss = Quadratic { k: table.k[at], smooth: table.smooth[at], natural: 0.0 }.loss(s);
        self.value[at] = loss.value + table.viscous[at] * s;
        self.slope[at] = loss.slope + table.viscous[at];
    }

    /// Puts a point whose law is not plain.
    #[inline(never)]
    fn put_odd(&mut self, at: usize) {
        let Followed { order, links, curves, coarse, blur } = &mut self.followed;
        let (Some(&link), Some(&s)) = (order.get(at), self.s.get(at)) else { return };
        let (index, mut point) = (links[link as usize].curve as usize, Point::new(s, [0.0; 2]));
        if let Some([reynolds, roughness]) = curves[index].place(&mut point, *blur, || &mut coarse[index]) {
            curves[index].settle(&mut point, turbulent([reynolds], [roughness])[0]);
        }
        [self.value[at], self.slope[at]] = point.own();
    }

    /// Adds friction to what is there, where `f Re^2` and its slope are known.
    #[inline(always)]
    fn add_friction(&mut self, at: usize, (phi, by): (f64, f64)) {
        let wall = self.table.wall[at];
        self.value[at] += wall * phi.copysign(self.s[at]);
        self.slope[at] += wall * by * self.table.reynolds_per_flow[at];
    }

    /// Adds turbulent friction that was asked for from some place on.
    #[inline(always)]
    fn add_turbulent<const N: usize>(&mut self, first: usize, asked: usize) {
        let Frictions { reynolds, roughness, .. } = &*self.frictions;
        let numbers = (reynolds[first..].first_chunk(), roughness[first..].first_chunk());
        let (Some(reynolds), Some(roughness)) = numbers else { return };
        for (n, friction) in turbulent::<N>(*reynolds, *roughness).into_iter().enumerate().take(asked - first) {
            self.add_friction(self.frictions.asked[(first + n) % TOGETHER] as usize % TOGETHER, friction);
        }
    }

    /// Adds the friction of all that follow their plain laws.
    #[inline(always)]
    fn rub(&mut self) {
        let (table, blur, mut asked) = (self.table, self.followed.blur, 0);
        for &at in &table.rubbing[..table.rubs.min(TOGETHER)] {
            let at = at as usize % TOGETHER;
            let (s, size) = (self.s[at], self.s[at].abs());
            if size >= blur * table.natural[at] && s >= table.least[at] {
                let reynolds = size * table.reynolds_per_flow[at];
                if reynolds >= TURBULENT_FROM {
                    self.frictions.asked[asked % TOGETHER] = at as u8;
                    self.frictions.reynolds[asked % TOGETHER] = reynolds;
                    self.frictions.roughness[asked % TOGETHER] = table.roughness[at];
                    asked += 1;
                } else if reynolds <= LAMINAR_UP_TO {
                    self.add_friction(at, laminar(reynolds));
                } else {
                    self.put_odd(at);
                }
            }
        }
        let mut first = 0;
        while first < asked.min(TOGETHER) {
            if asked - first > SIDE_BY_SIDE / 2 {
                self.add_turbulent::<SIDE_BY_SIDE>(first, asked);
                first += SIDE_BY_SIDE;
            } else {
                self.add_turbulent::<{ SIDE_BY_SIDE / 2 }>(first, asked);
                first += SIDE_BY_SIDE / 2;
            }
        }
    }
}

impl WithSimd for Laws<'_> {
    type Output = ();

    #[inline(always)]
    fn with_simd<S: Simd>(mut self, by: S) {
        let (table, count) = (self.table, self.s.len().min(TOGETHER));
        let (mut small, mut odd) = (Notes::new(by), Notes::new(by));
        {
            let list = |numbers| List::new(by, numbers, count);
            let (parameters, least, k, viscous) =
                (list(self.s), list(&table.least), list(&table.k), list(&table.viscous));
            let ([from, to], natural) = ([list(&table.plain[0]), list(&table.plain[1])], list(&table.natural));
            let smooth = list(&table.smooth);
            let (mut values, mut slopes) = (Out::new(by, self.value, count), Out::new(by, self.slope, count));
            let [zero, two, edge] = [0.0, 2.0, self.followed.blur].map(|number| Lanes::all(by, number));
            for set in 0..sets::<S>(count) {
                let (s, k, viscous) = (parameters.at(set), k.at(set), viscous.at(set));
                let (size, shut) = (s.abs(), s.is_less(least.at(set)));
                values.put(set, shut.choose(zero, k * s * size + viscous * s));
                slopes.put(set, shut.choose(zero, two * k * size + viscous));
                let from = from.at(set).max(edge * natural.at(set));
                let plain = from.is_at_most(size).and(size.is_at_most(to.at(set)));
                odd.note(plain.or(shut).not());
                small.note(size.is_less(smooth.at(set)).and(shut.not()));
            }
        }
        small.each(|at| self.put_small(at));
        self.rub();
        odd.each(|at| self.put_odd(at));
    }
}

#[cfg(test)]
pub(super) mod tests {
    use crate::analysis::hydraulics::points::TOGETHER;
    use crate::analysis::hydraulics::{Hydraulics, Links};
    use crate::component::air_outlet::AirOutlet;
    use crate::component::hole::HoleLaw;
    use crate::component::law::{Friction, Law, Quadratic};
    use crate::fluid::site::Site;

    fn laws() -> Vec<Law> {
        let site = Site::of_20_degc(101_325.0);
        vec![
            Law::Quadratic(Quadratic::new(2.0, 0.01, 1.0, 998.0, 3.0)),
            Law::Friction(Friction::new(10.0, 0.1, 5e-5, 1.0, None, &site)),
            Law::Friction(Friction::new(10.0, 0.1, 5e-5, 1.0, Some(0.02), &site)),
            Law::Hole(HoleLaw::new(0.8, 100.0, 1e-3, 5e-3, Some(101_325.0), &site)),
            Law::Hole(HoleLaw::new(0.7, 0.0, 1e-3, 5e-3, None, &site)),
            Law::Air(AirOutlet::new(0.02, 101_325.0, &site)),
        ]
    }

    /// Links of all kinds between two free and two fixed points, some of which take no part and some with a linear part, and flows
    /// of so many sizes, a millionth of the natural one to thirty times that, and both signs.
    pub fn many(sizes: usize) -> (Hydraulics, Vec<f64>) {
        let (mut links, mut flows) = (Links::with_capacity(24 * sizes), Vec::new());
        for size in 0..sizes {
            for law in laws() {
                for (one_way, sign) in [(false, 1.0), (true, 1.0), (false, -1.0), (true, -1.0)] {
                    links.push(flows.len() % 3, (flows.len() + 1 + flows.len() / 4 % 3) % 4, one_way, law);
                    flows.push(sign * law.natural_flow() * 10f64.powf(-6.0 + 7.5 * size as f64 / sizes as f64));
                }
            }
        }
        let mut equations = Hydraulics::new(2, &[3e5, 1e5], links, Vec::new()).unwrap();
        for link in (0..flows.len()).step_by(7) {
            equations.set_active(link, false);
        }
        equations.set_loose(vec![false; 2]);
        for link in (1..flows.len()).step_by(5) {
            equations.set_linear(link, 1e3, 50.0);
        }
        (equations, flows)
    }

    /// Puts the points of the trial at the laws of some flows.
    pub fn put(equations: &mut Hydraulics, flows: &[f64], arch: pulp::Arch) {
        let mut trial = std::mem::take(&mut equations.trial);
        flows.iter().enumerate().for_each(|(link, &flow)| trial.put_s(link, flow));
        let mut coarse = std::mem::take(&mut equations.links.coarse);
        let (mut tables, mut room) = equations.take_room();
        for first in (0..equations.order.whole).step_by(TOGETHER) {
            let table = equations.table(&mut tables, first);
            equations.find_laws(arch, first, table, &mut trial, (&mut coarse, &mut room.frictions));
        }
        equations.give_room(tables, room);
        (equations.trial, equations.links.coarse) = (trial, coarse);
    }

    /// The laws found side by side are those of each link, to the last bit, with and without what a processor has for it, of few
    /// links, whose table is kept, and of more.
    #[test]
    fn side_by_side_as_one_by_one() {
        for (sizes, arch, blur) in [
            (10, pulp::Arch::new(), 0.0),
            (10, pulp::Arch::Scalar, 0.2),
            (60, pulp::Arch::new(), 0.2),
            (60, pulp::Arch::Scalar, 0.0),
        ] {
            let (mut equations, flows) = many(sizes);
            equations.blur = blur;
            put(&mut equations, &flows, arch);
            for (k, &flow) in flows.iter().enumerate().filter(|&(k, _)| equations.links.link(k).active) {
                assert_eq!(equations.trial.at(k), equations.links.curve(k).at(flow, blur), "link {k} at {flow}");
            }
        }
    }
}
