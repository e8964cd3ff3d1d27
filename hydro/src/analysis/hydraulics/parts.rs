//! Parts of the network that are joined to no known head while one-way laws are shut.

use super::weir::LEAST_SHARE;
use super::{AJAR, Hydraulics};
use petgraph::unionfind::UnionFind;

impl Hydraulics {
    /// Looks for parts that only shut one-way laws join to a known head. Such a part has one head that its flows do
    /// not depend on while nothing flows into it: one of its heads stays. Where something does flow in, its shut laws
    /// are given a trifle of a conductance, which drives its head up until one of them opens.
    pub(super) fn pin(&mut self) {
        self.was_pinned.copy_from_slice(&self.pinned);
        self.was_ajar = self.ajar.len();
        self.pinned.copy_from_slice(&self.loose);
        self.ajar.clear();
        if !self.weirs.is_empty() || self.base_shut {
            let renewed = self.renew_ties();
            if renewed {
                self.find_parts();
            }
            if !self.joined {
                if renewed || self.held.is_empty() || self.may_be_fed() {
                    self.hold_parts();
                    self.held.clear();
                    if self.ajar.is_empty() {
                        self.held.extend_from_slice(&self.pinned);
                    }
                } else {
                    self.pinned.copy_from_slice(&self.held);
                }
            }
        }
        self.rearranged = self.was_ajar > 0 || !self.ajar.is_empty() || self.was_pinned != self.pinned;
    }

    /// Whether something may flow into a part that no tie joins to a known head.
    fn may_be_fed(&self) -> bool {
        let known = self.part_of[self.free];
        let sums = self.sums[..self.free].iter().zip(&self.part_of).filter(|(_, part)| **part != known);
        sums.map(|(sum, _)| sum.abs()).sum::<f64>() > self.tolerated_imbalance(1e-9)
    }

    /// Whether something that passes water ties a point to a known head, as the base has it.
    pub fn is_tied(&self, point: usize) -> bool {
        let known = self.part_of[self.free];
        self.joined || point >= self.free || self.part_of.get(point).is_none_or(|&part| part == known)
    }

    /// Chooses what holds the parts that no tie joins to a known head.
    fn hold_parts(&mut self) {
        let (part_of, known) = (&self.part_of, self.part_of[self.free]);
        let mut inflow = vec![0.0; self.free + 1];
        for (sum, &part) in self.sums[..self.free].iter().zip(part_of) {
            inflow[part as usize] -= sum;
        }
        let tolerated = self.tolerated_imbalance(1e-9);
        let fed = |part: u32| part != known && inflow[part as usize].abs() > tolerated;
        let mut held = vec![false; self.free + 1];
        let mut ajar = std::mem::take(&mut self.ajar);
        for k in self.order.links.iter().map(|&k| k as usize).filter(|&k| self.is_shut(k)) {
            let ends = self.links.ends(k).map(|end| part_of[end.min(self.free)]);
            if let Some(&part) = ends.iter().find(|&&part| fed(part)) {
                ajar.push((k, AJAR / self.links.curve(k).natural_secant));
                held[part as usize] = true;
            }
        }
        for (weir, chosen) in self.weirs.iter().zip(&self.base_chosen) {
            // A jet over the apex fills the part up to the head on the other side; then the full pipe takes over.
            let ends = self.links.ends(weir.full).map(|end| part_of[end.min(self.free)]);
            let into = if chosen.flow > 0.0 { ends[1] } else { ends[0] };
            let drop = self.drop(&self.base_heads, weir.full).abs();
            if self.links.link(weir.full).active
                && chosen.shares[0] < 0.5
                && chosen.flow != 0.0
                && fed(into)
                && drop > 0.0
            {
                ajar.push((weir.full, chosen.flow.abs() / drop));
            }
        }
        self.ajar = ajar;
        held[known as usize] = true;
        for point in 0..self.free {
            if !self.loose[point] && !std::mem::replace(&mut held[part_of[point] as usize], true) {
                self.pinned[point] = true;
            }
        }
    }

    /// Whether a one-way law passes nothing at the base.
    fn is_shut(&self, curve: usize) -> bool {
        self.base.s(curve) < 0.0 && self.links.link(curve).active && self.links.curve(curve).one_way
    }

    /// Finds which curves tie their ends together: those not shut, and of a vented weir pipe those with a share in its
    /// flow. Says whether any differs from before.
    fn renew_ties(&mut self) -> bool {
        let (mut ties, mut turning) = (std::mem::take(&mut self.ties), std::mem::take(&mut self.turning));
        let mut renewed = ties.is_empty() || ties.len() != self.order.links.len();
        if renewed {
            ties.clear();
            ties.resize(self.order.links.len(), true);
            let may_turn =
                |&(place, &k): &(usize, &u32)| place >= self.order.plain || self.links.curve(k as usize).one_way;
            turning.clear();
            turning.extend(self.order.links.iter().enumerate().filter(may_turn).map(|(place, _)| place as u32));
        }
        for place in turning.iter().map(|&place| place as usize) {
            let tie = if place < self.order.plain {
                self.base.s[place] >= 0.0
            } else {
                let (link, share) = self.of_weir(place);
                !self.is_shut(link) && share > LEAST_SHARE
            };
            renewed |= std::mem::replace(&mut ties[place], tie) != tie;
        }
        (self.ties, self.turning) = (ties, turning);
        renewed
    }

    /// The link of a vented weir pipe at a place, and its share in the flow.
    fn of_weir(&self, place: usize) -> (usize, f64) {
        let link = self.order.links[place] as usize;
        let at = link - self.plain;
        (link, self.base_chosen[at / 3].shares[at % 3])
    }

    /// Finds the parts of the network that ties join; every fixed head is the one element `free`.
    fn find_parts(&mut self) {
        let ground = self.free as u32;
        let mut parts = UnionFind::<u32>::new(self.free + 1);
        for (&k, _) in self.order.links.iter().zip(&self.ties).filter(|(_, tie)| **tie) {
            let link = self.links.link(k as usize);
            parts.union(link.from.min(ground), link.to.min(ground));
        }
        self.part_of.clear();
        self.part_of.extend((0..=ground).map(|point| parts.find_mut(point)));
        let known = self.part_of[self.free];
        self.joined = self.part_of.iter().all(|&part| part == known);
    }
}
