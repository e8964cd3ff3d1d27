//! Links between the points of a network, and the curves that they follow.
//!
//! Most ducts of a plate of cells have the same law to the last bit, and so have most of its holes. A pass over the laws
//! waits for memory more than it computes, so equal curves are kept once: a link takes 16 bytes, a curve some 230.
//!
//! A new link looks among the curves of links before it, of which the latest few thousand different ones are remembered;
//! where it finds none, it follows one of its own. A link whose curve changes leaves the others with theirs.

use super::curve::{Curve, Row};
use crate::component::law::{Coarse, Law};

/// A curve between the heads of two points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Link {
    /// Point at its start: index into the heads.
    pub from: u32,
    /// Point at its end.
    pub to: u32,
    /// Its curve: index into those of [`Links`].
    pub(super) curve: u32,
    /// Whether it takes part: not shut, not cut off.
    pub active: bool,
}

impl Link {
    /// Whether it joins two of so many points whose heads are found.
    pub fn couples(&self, free: usize) -> bool {
        (self.from.max(self.to) as usize) < free && self.from != self.to
    }
}

/// All links of a network and their curves.
#[derive(Debug, Clone, Default)]
pub struct Links {
    pub(super) links: Vec<Link>,
    pub(super) curves: Vec<Curve>,
    /// The same curves as passes over many take them.
    pub(super) rows: Vec<Row>,
    /// Cubic of each curve found last, see [`Curve::place`].
    pub(super) coarse: Vec<Coarse>,
    /// Links that follow each curve.
    users: Vec<u32>,
    /// Hashes of curves and their indices, in pairs at the place that the hash gives, the newer one first. A curve that has
    /// changed since is not taken for what it was: it is compared.
    seen: Vec<[(u32, u32); 2]>,
}

/// Most pairs of curves that are remembered, as a power of 2, and how many at first.
const MOST_SEEN: u32 = 11;
const FIRST_SEEN: u32 = 5;

impl Links {
    /// No links, with room for so many.
    pub fn with_capacity(links: usize) -> Self {
        Links { links: Vec::with_capacity(links), ..Links::default() }
    }

    /// Number of links.
    #[expect(clippy::len_without_is_empty, reason = "no network is without links")]
    pub fn len(&self) -> usize {
        self.links.len()
    }

    /// Adds a link and gives its index. It takes part; `one_way`: it passes nothing back.
    pub fn push(&mut self, from: usize, to: usize, one_way: bool, law: Law) -> usize {
        // Links that follow each other are most often alike.
        let latest = self.links.last().map(|link| link.curve);
        let curve =
            latest.filter(|&curve| self.curves[curve as usize].is(one_way, &law, [0.0; 2])).unwrap_or_else(|| {
                let hash = hash(one_way, &law, [0.0; 2]);
                let found = self.find(hash, one_way, &law, [0.0; 2]);
                found.unwrap_or_else(|| self.keep(hash, Curve::new(one_way, law)))
            });
        self.users[curve as usize] += 1;
        self.links.push(Link { from: from as u32, to: to as u32, curve, active: true });
        self.links.len() - 1
    }

    /// Number of curves kept.
    pub fn curves(&self) -> usize {
        self.curves.len()
    }

    /// A link.
    pub fn link(&self, link: usize) -> &Link {
        &self.links[link]
    }

    /// The points at both ends of a link.
    pub fn ends(&self, link: usize) -> [usize; 2] {
        [self.links[link].from as usize, self.links[link].to as usize]
    }

    /// The curve that a link follows.
    #[inline]
    pub fn curve(&self, link: usize) -> &Curve {
        &self.curves[self.links[link].curve as usize]
    }

    /// Links in their order, each with its curve.
    pub fn iter(&self) -> impl Iterator<Item = (&Link, &Curve)> {
        self.links.iter().map(|link| (link, &self.curves[link.curve as usize]))
    }

    /// Replaces the curve of a link.
    pub fn set_curve(&mut self, link: usize, curve: Curve) {
        let now = self.links[link].curve as usize;
        if self.users[now] == 1 {
            (self.curves[now], self.rows[now], self.coarse[now]) = (curve, curve.row(), Coarse::NONE);
            return;
        }
        self.users[now] -= 1;
        let added = [curve.linear, curve.offset];
        let hash = hash(curve.one_way, &curve.law, added);
        let found = self.find(hash, curve.one_way, &curve.law, added);
        let other = found.unwrap_or_else(|| self.keep(hash, curve));
        self.users[other as usize] += 1;
        self.links[link].curve = other;
    }

    /// Says whether a link takes part; gives whether it did.
    pub fn set_active(&mut self, link: usize, active: bool) -> bool {
        std::mem::replace(&mut self.links[link].active, active)
    }

    /// Looks for a curve among those remembered.
    fn find(&self, hash: u32, one_way: bool, law: &Law, added: [f64; 2]) -> Option<u32> {
        let pair = self.seen.get(self.place(hash))?;
        let same = |&&(other, curve): &&(u32, u32)| {
            other == hash && self.curves.get(curve as usize).is_some_and(|curve| curve.is(one_way, law, added))
        };
        pair.iter().find(same).map(|&(_, curve)| curve)
    }

    /// Keeps a new curve and remembers it.
    fn keep(&mut self, hash: u32, curve: Curve) -> u32 {
        let index = self.curves.len();
        self.curves.push(curve);
        self.rows.push(curve.row());
        self.coarse.push(Coarse::NONE);
        self.users.push(0);
        let most = self.seen.len();
        if most < 1 << MOST_SEEN && index >= most {
            let more = if most == 0 { 1 << FIRST_SEEN } else { 4 * most };
            let before = std::mem::replace(&mut self.seen, vec![[(0, u32::MAX); 2]; more]);
            for (hash, curve) in before.into_iter().flat_map(|[newer, older]| [older, newer]) {
                self.remember(hash, curve);
            }
        }
        self.remember(hash, index as u32);
        index as u32
    }

    /// Remembers a curve in place of the older one of its pair.
    fn remember(&mut self, hash: u32, curve: u32) {
        let place = self.place(hash);
        let [newer, older] = &mut self.seen[place];
        *older = std::mem::replace(newer, (hash, curve));
    }

    /// Place of a hash: its first bits.
    fn place(&self, hash: u32) -> usize {
        (hash as usize * self.seen.len()) >> u32::BITS
    }
}

/// A hash of a curve that only has to differ where curves do: multiplied and turned, number by number.
fn hash(one_way: bool, law: &Law, [linear, offset]: [f64; 2]) -> u32 {
    let [a, b, c, d] = match law {
        Law::Quadratic(law) => [law.k, law.natural, 1.0, 0.0],
        Law::Friction(law) => [law.minor.k, law.minor.natural, law.wall, law.reynolds_per_flow],
        Law::Hole(law) => [law.attached.k, law.viscous, law.cavitating, law.spare],
        Law::Air(law) => [law.area, law.outside, 2.0, 0.0],
    };
    let mut hash = u64::from(one_way);
    for number in [a, b, c, d, linear, offset] {
        hash = (hash.rotate_left(5) ^ number.to_bits()).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    }
    (hash >> 32) as u32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::component::law::Quadratic;

    fn law(k: usize) -> Law {
        Law::Quadratic(Quadratic { k: 1e6 + k as f64, smooth: 1e-6, natural: 0.1 })
    }

    /// Equal laws are kept once, however they alternate; whether they pass nothing back counts.
    #[test]
    fn equal_curves_are_kept_once() {
        let mut links = Links::default();
        for k in 0..3000 {
            links.push(k, k + 1, k % 3 == 0, law(k % 5));
        }
        assert_eq!(links.curves(), 10);
        for (k, (link, curve)) in links.iter().enumerate() {
            assert_eq!((link.from as usize, link.to as usize), (k, k + 1));
            assert_eq!((curve.one_way, curve.law), (k % 3 == 0, law(k % 5)));
        }
    }

    /// More different laws than are remembered: each link has its own, and one seen lately is still found.
    #[test]
    fn different_curves_stay_apart() {
        let (mut links, count) = (Links::default(), 40_000);
        for k in 0..count {
            links.push(0, 1, false, law(k));
            links.push(1, 2, false, law(k));
        }
        assert_eq!(links.curves(), count);
        assert!((0..2 * count).all(|k| links.curve(k).law == law(k / 2)));
    }

    /// A link whose curve changes leaves the others with theirs, joins those that have the same already, and is not joined
    /// by links that ask for what it was.
    #[test]
    fn a_change_is_of_one_link() {
        let mut links = Links::default();
        for k in 0..4 {
            links.push(0, 1, false, law(k / 3));
        }
        for link in [0, 1] {
            links.set_curve(link, links.curve(link).with_linear(2.0, 3.0));
        }
        assert_eq!((links.curves(), links.curve(0).linear, links.curve(2).linear), (3, 2.0, 0.0));
        links.set_curve(3, links.curve(3).with_law(law(7)));
        let link = links.push(0, 1, false, law(1));
        let laws: Vec<Law> = (0..=link).map(|k| links.curve(k).law).collect();
        assert_eq!(laws, [law(0), law(0), law(0), law(7), law(1)]);
        assert_eq!(links.curve(1).offset, 3.0);
    }
}
