//! Keys that are read and checked but have no effect on the results yet: each is named in a finding.

use crate::component::Fill;
use crate::component::panel::Panel;
use crate::finding::{Finding, Level};
use crate::network::{Network, NodeKind, PassageKind};

/// Findings on the keys that a network uses and that are not computed yet, one a key.
pub(crate) fn findings(network: &Network) -> Vec<Finding> {
    let panel_names = |uses: fn(&Panel) -> bool| {
        network.nodes.iter().filter_map(move |node| match node.kind {
            NodeKind::Panel(k) if network.panels.get(k).is_some_and(uses) => Some(node.name.as_str()),
            _ => None,
        })
    };
    let dry_passages = network.passages.iter().filter(|p| match &p.kind {
        PassageKind::Pipe(pipe) => pipe.starts == Fill::Dry,
        PassageKind::WeirPipe(weir) => [weir.rise.starts, weir.fall.starts].contains(&Fill::Dry),
        PassageKind::Valve(_) | PassageKind::Crossover(_) => false,
    });
    let dry = dry_passages
        .filter(|_| !network.inertia)
        .map(|p| p.name.as_str())
        .chain(panel_names(|p| p.starts == Fill::Dry).filter(|_| !network.inertia));
    [one(Level::Warn, dry, "`starts: dry` needs `inertia: on`: without it the water is there at once")]
        .into_iter()
        .flatten()
        .collect()
}

/// One finding for all items that use a key, on the first of them.
fn one<'n>(level: Level, mut names: impl Iterator<Item = &'n str>, text: &str) -> Option<Finding> {
    let first = names.next()?;
    let more = names.count();
    let text = match more {
        0 => text.to_string(),
        1 => format!("{text} (and 1 more item)"),
        n => format!("{text} (and {n} more items)"),
    };
    Some(Finding { level, code: "not_computed", item: first.to_string(), text })
}
