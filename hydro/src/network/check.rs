//! Topology: whether every part of the water network is tied to a known pressure.

use petgraph::unionfind::UnionFind;

use super::{Network, NodeKind};
use crate::finding::Level;

/// Something wrong with how items are joined.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CheckProblem {
    /// `Fail`: cannot be computed; otherwise worth a finding.
    pub level: Level,
    /// Short fixed name.
    pub code: &'static str,
    /// Name of the item it is about: the first in the file where it is about several.
    pub item: String,
    /// What is wrong, for people.
    pub text: String,
    /// What would be right.
    pub hint: String,
}

/// Known pressures of one part of the network.
#[derive(Default, Clone)]
struct Part {
    nodes: Vec<usize>,
    supplies: usize,
    holes: usize,
}

/// Problems of the topology, in the order of the items.
///
/// All passages count as open. A part of the network (nodes joined by passages) needs a tank or an outfall; a part
/// that only ends at holes gets no water, and a part of headers alone has no pressure to find. Tanks, outfalls and
/// gas headers that nothing joins are worth a warning.
pub fn check(network: &Network) -> Vec<CheckProblem> {
    let count = network.nodes.len();
    let mut sets = UnionFind::<usize>::new(count);
    let mut joined = vec![false; count];
    for passage in &network.passages {
        if passage.from < count && passage.to < count {
            sets.union(passage.from, passage.to);
            joined[passage.from] = true;
            joined[passage.to] = true;
        }
    }
    let mut parts: Vec<Part> = vec![Part::default(); count];
    for (index, node) in network.nodes.iter().enumerate() {
        let part = &mut parts[sets.find(index)];
        part.nodes.push(index);
        match node.kind {
            NodeKind::Tank(_) | NodeKind::Outfall { .. } => part.supplies += 1,
            NodeKind::Panel(k) if network.panels.get(k).is_some_and(|p| p.plugged < 1.0) => part.holes += 1,
            NodeKind::Panel(_) | NodeKind::Header => {}
        }
    }
    let mut problems = Vec::new();
    let mut reported: Vec<(usize, CheckProblem)> = Vec::new();
    for part in parts.iter().filter(|p| !p.nodes.is_empty()) {
        let Some(&first) = part.nodes.first() else { continue };
        let item = network.nodes[first].name.to_string();
        let names = names(network, &part.nodes);
        if part.supplies > 0 {
            if part.nodes.len() == 1 && !joined[first] {
                reported.push((
                    first,
                    CheckProblem {
                        level: Level::Warn,
                        code: "nothing_joined",
                        text: format!("nothing is joined to {names}"),
                        hint: "a pipe, valve or weir pipe `from` or `to` it".into(),
                        item,
                    },
                ));
            }
            continue;
        }
        let (code, text) = if !joined[first] && part.nodes.len() == 1 && part.holes == 0 {
            ("no_known_pressure", format!("nothing is joined to {names}"))
        } else if part.holes > 0 {
            ("no_water", format!("no water can reach {names}"))
        } else {
            ("no_known_pressure", format!("{names}: tied to no known pressure"))
        };
        let hint = "a way of pipes, valves, weir pipes or crossovers to a tank or an outfall".to_string();
        reported.push((first, CheckProblem { level: Level::Fail, code, item, text, hint }));
    }
    reported.sort_by_key(|(first, _)| *first);
    problems.extend(reported.into_iter().map(|(_, p)| p));
    if !network.nodes.iter().any(|n| matches!(n.kind, NodeKind::Tank(_) | NodeKind::Outfall { .. })) && count == 0 {
        problems.push(CheckProblem {
            level: Level::Fail,
            code: "empty_network",
            item: String::new(),
            text: "the file describes no water item".into(),
            hint: "at least a tank, a pipe and a panel".into(),
        });
    }
    problems.extend(gas(network));
    problems
}

/// Gas headers and banks that no gas valve joins.
fn gas(network: &Network) -> Vec<CheckProblem> {
    let mut joined = vec![false; network.gas_vessels.len()];
    for valve in &network.gas_valves {
        for end in [valve.from, valve.to] {
            if let Some(mark) = joined.get_mut(end) {
                *mark = true;
            }
        }
    }
    let alone = network
        .gas_vessels
        .iter()
        .zip(&joined)
        .filter(|(v, joined)| !**joined && !matches!(v.kind, super::GasVesselKind::Ullage(_)));
    alone
        .map(|(vessel, _)| CheckProblem {
            level: Level::Warn,
            code: "nothing_joined",
            item: vessel.name.clone(),
            text: format!("no gas valve is joined to `{}`", vessel.name),
            hint: "a gas valve `from` or `to` it".into(),
        })
        .collect()
}

/// Names of nodes, shortened when there are many.
fn names(network: &Network, nodes: &[usize]) -> String {
    let shown: Vec<String> = nodes.iter().take(4).map(|&i| format!("`{}`", network.nodes[i].name)).collect();
    let mut text = shown.join(", ");
    if nodes.len() > shown.len() {
        text.push_str(&format!(" and {} more", nodes.len() - shown.len()));
    }
    text
}
