//! Where the pressure goes between a tank and a panel.

use super::water::WaterSide;
use crate::name::Name;
use crate::network::{Network, NodeKind};
use crate::result::{LossItem, LossPath};

/// The way of the main stream from a tank (or outfall) to the holes of a panel; `None` when no water reaches it.
///
/// At each item the passage that brings the most water is followed upstream. In a panel of several cells the gap loses
/// what lies between the ports at which the stream enters and leaves, in the last panel between its ports and the mean
/// pressure, or that of one `cell` of it. The losses, the lift and the drop over the holes add up to the pressure at the tank's outlet less that
/// outside the holes.
pub fn find(
    network: &Network,
    water: &WaterSide<'_>,
    joins: &Joins,
    panel: usize,
    cell: Option<usize>,
    time: f64,
) -> Option<LossPath> {
    let site = &network.site;
    let mut node = network.panels[panel].node;
    let end = node;
    let mut items = Vec::new();
    let mut seen = vec![false; network.nodes.len()];
    // Head at which the stream leaves the item that is looked at.
    let mut leaves = match cell {
        Some(cell) => water.cell_head(panel, cell)?,
        None => water.head(node)?,
    };
    while matches!(network.nodes[node].kind, NodeKind::Header | NodeKind::Panel(_)) {
        if std::mem::replace(&mut seen[node], true) {
            return None;
        }
        let (passage, inflow, upstream) = joins
            .at(node)
            .iter()
            .map(|&k| {
                let k = k as usize;
                let passage = &network.passages[k];
                let flow = water.flow(k);
                if node == passage.to { (k, flow, passage.from) } else { (k, -flow, passage.to) }
            })
            .max_by(|(_, a, _), (_, b, _)| a.total_cmp(b))?;
        if inflow <= 0.0 {
            return None;
        }
        let item = &network.passages[passage];
        let [from, to] = water.end_heads(passage)?;
        let (before, behind) = if item.to == node { (from, to) } else { (to, from) };
        if let NodeKind::Panel(k) = network.nodes[node].kind
            && !network.panels[k].is_lumped()
        {
            let name = network.nodes[node].name.clone();
            items.push(LossItem { name, kind: "gap", loss: behind - leaves, share: 0.0 });
        }
        if network.long_headers.iter().any(|header| header.node == node) {
            let name = network.nodes[node].name.clone();
            items.push(LossItem { name, kind: "header", loss: behind - leaves, share: 0.0 });
        }
        items.push(LossItem { name: item.name.clone(), kind: item.kind.label(), loss: before - behind, share: 0.0 });
        leaves = before;
        node = upstream;
    }
    items.reverse();
    let lift = site.water_density * site.gravity * (network.nodes[end].elevation - network.nodes[node].elevation);
    items.push(LossItem { name: Name::from("lift"), kind: "lift", loss: lift, share: 0.0 });
    let drop = match cell {
        Some(cell) => water.cell_pressure(panel, cell)? - water.cell_outside(panel, cell),
        None => water.pressure(end)? - network.panels[panel].outside(time, site),
    };
    items.push(LossItem { name: network.nodes[end].name.clone(), kind: "holes", loss: drop, share: 0.0 });
    let whole: f64 = items.iter().map(|item| item.loss).sum();
    for item in &mut items {
        item.share = if whole > 0.0 { item.loss / whole } else { 0.0 };
    }
    Some(LossPath { panel: network.nodes[end].name.clone(), tank: network.nodes[node].name.clone(), items })
}

/// Passages at each node, in the order of the file.
#[derive(Debug, Clone, PartialEq)]
pub struct Joins {
    /// Where those of each node begin.
    start: Vec<u32>,
    passages: Vec<u32>,
}

impl Joins {
    /// Looks through the passages of a network.
    pub fn new(network: &Network) -> Self {
        let ends = || network.passages.iter().enumerate().flat_map(|(k, p)| [(p.from, k), (p.to, k)]);
        let mut start = vec![0; network.nodes.len() + 1];
        ends().for_each(|(node, _)| start[node + 1] += 1);
        for node in 1..start.len() {
            start[node] += start[node - 1];
        }
        let mut next = start.clone();
        let mut passages = vec![0; 2 * network.passages.len()];
        for (node, passage) in ends() {
            passages[next[node] as usize] = passage as u32;
            next[node] += 1;
        }
        Joins { start, passages }
    }

    fn at(&self, node: usize) -> &[u32] {
        &self.passages[self.start[node] as usize..self.start[node + 1] as usize]
    }
}
