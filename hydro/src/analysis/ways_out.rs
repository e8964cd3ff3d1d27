//! Passages through which water leaves the tanks and the network.

use crate::network::{Network, NodeKind};

/// Passages at tanks and at outfalls, found once instead of at every instant.
#[derive(Debug, Clone, PartialEq)]
pub struct WaysOut {
    at_tanks: Vec<Vec<(usize, f64)>>,
    at_outfalls: Vec<(usize, f64)>,
}

impl WaysOut {
    /// Looks through the passages of a network.
    pub fn new(network: &Network) -> Self {
        let mut ways = WaysOut { at_tanks: vec![Vec::new(); network.tanks.len()], at_outfalls: Vec::new() };
        for (k, passage) in network.passages.iter().enumerate() {
            for (node, sign) in [(passage.from, 1.0), (passage.to, -1.0)] {
                match network.nodes[node].kind {
                    NodeKind::Tank(tank) => ways.at_tanks[tank].push((k, sign)),
                    NodeKind::Outfall { .. } => ways.at_outfalls.push((k, -sign)),
                    NodeKind::Header | NodeKind::Panel(_) => {}
                }
            }
        }
        ways
    }

    /// Passages at a tank, each with the sign that its flow has when it leaves the tank.
    pub fn from_tank(&self, tank: usize) -> impl Iterator<Item = (usize, f64)> {
        self.at_tanks[tank].iter().copied()
    }

    /// Passages at all outfalls, each with the sign that its flow has when it leaves the network.
    pub fn to_outfalls(&self) -> impl Iterator<Item = (usize, f64)> {
        self.at_outfalls.iter().copied()
    }
}
