//! Which curves take part, and which points nothing ties to a known head.

use super::{Place, WaterSide};
use crate::analysis::columns::NodeStand;
use crate::network::NodeKind;
use petgraph::unionfind::UnionFind;
use std::ops::Range;

impl WaterSide<'_> {
    /// Whether each passage is shut neither by a fault nor by a valve.
    pub fn unshut(&self) -> Vec<bool> {
        self.network
            .passages
            .iter()
            .zip(&self.opened)
            .map(|(passage, &opened)| !passage.blocked && opened > 0.0)
            .collect()
    }

    /// Whether each passage passes water: it is not shut, nor is a tank at it out, nor gas at its ends.
    pub fn open(&self) -> Vec<bool> {
        let unshut = self.unshut();
        let gas = self.gas_reaches(&unshut);
        self.passing(&unshut, &gas)
    }

    /// For each node, whether the gas of a tank can flow on from there.
    fn gas_reaches(&self, unshut: &[bool]) -> Vec<bool> {
        self.columns.as_ref().map_or_else(Vec::new, |(columns, standing)| columns.gas_reaches(standing, unshut))
    }

    /// As [`Self::open`], of what is not shut and where gas can flow on from.
    fn passing(&self, unshut: &[bool], gas: &[bool]) -> Vec<bool> {
        let come = |node: usize| self.columns.as_ref().is_some_and(|(_, standing)| standing.gas[node]);
        let dry = |node: usize| matches!(self.network.nodes[node].kind, NodeKind::Tank(k) if self.dry_tanks[k]);
        let passages = self.network.passages.iter().zip(unshut).enumerate();
        passages
            .map(|(k, (passage, &unshut))| {
                // A line that drains lets the gas follow.
                let drains = self.drains_from(k);
                let shut = |side: usize, node: usize| {
                    (dry(node) || come(node)) && !(drains == Some(side) && gas.get(node) == Some(&true))
                };
                unshut && !shut(0, passage.from) && !shut(1, passage.to)
            })
            .collect()
    }

    /// Says which curves take part and which points nothing ties to a known head.
    pub(super) fn connect(&mut self) {
        let free = self.equations.free();
        let unshut = self.unshut();
        let gas = self.gas_reaches(&unshut);
        let open = self.passing(&unshut, &gas);
        let mut wanted = vec![false; self.equations.links().len()];
        for (passage, _) in open.iter().enumerate().filter(|(_, open)| **open) {
            wanted[self.curves_of(passage)].fill(true);
        }
        wanted[self.gaps.clone()].fill(true);
        for hole in self.plate.insides.iter().flat_map(|inside| inside.holes()) {
            wanted[hole] = true;
        }
        if let Some((columns, standing)) = &self.columns {
            // Valves and crossovers pass water where one end is full of it and the other is reached.
            for (k, passage) in self.network.passages.iter().enumerate() {
                let stand = [standing.nodes[passage.from], standing.nodes[passage.to]];
                if !stand.contains(&NodeStand::Full) || stand.contains(&NodeStand::Dry) {
                    wanted[self.curves_of(k)].fill(false);
                }
            }
            for (panel, inside) in self.network.panels.iter().zip(&self.plate.insides) {
                if standing.nodes[panel.node] == NodeStand::Dry {
                    inside.holes().for_each(|hole| wanted[hole] = false);
                }
            }
            columns.choose(&mut self.equations, standing, (&open, &gas), &mut wanted);
        }
        self.wet_holes(None);
        // Every fixed point is the one element `free`.
        let mut parts = UnionFind::<u32>::new(free + 1);
        let end = |point: u32| point.min(free as u32);
        let plain = self.equations.links().len() - 3 * self.equations.weirs().len();
        for (k, (link, _)) in self.equations.links().iter().enumerate() {
            // Of a vented weir pipe the full one stands for all three; its jets end at the apex.
            if wanted[k] && (k < plain || (k - plain).is_multiple_of(3)) {
                parts.union(end(link.from), end(link.to));
            }
        }
        // The part of each point; that of the fixed points comes last.
        let parts = parts.into_labeling();
        let tied = |point: u32| parts[end(point) as usize] == parts[free];
        for (k, &wanted) in wanted.iter().enumerate() {
            let link = self.equations.links().link(k);
            let active = wanted && tied(link.from) && tied(link.to);
            self.equations.set_active(k, active);
        }
        self.equations.set_loose((0..free as u32).map(|point| !tied(point)).collect());
        // What takes part of a pattern that could be analysed can be analysed.
        if let Some(places) = self.equations.tighter()
            && self.work.fit(&places.0).is_ok()
        {
            self.equations.lay_out(places);
        }
        self.connected = true;
    }

    /// Curves of a passage; of a vented weir pipe the full one first.
    pub(super) fn curves_of(&self, passage: usize) -> Range<usize> {
        match self.place[passage] {
            Place::Curve(curve) => curve..curve + 1,
            Place::Streams(first, count) => {
                let curve = self.plate.streams[first].curve;
                curve..curve + count
            }
            Place::Weir(weir) => {
                let full = self.equations.weirs()[weir].full;
                full..full + 3
            }
        }
    }

    pub(super) fn connect_now(&mut self) {
        self.connect();
        self.equations.forget_instants();
        // Columns keep most flows as they were. At rest all may change, and a part without flow has the pressure that a
        // cold start gives it, whatever came before.
        self.solved &= self.columns.is_some();
    }
}
