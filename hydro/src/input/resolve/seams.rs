//! Seams: crossovers wherever panels share an edge.

use std::collections::{HashMap, HashSet};

use super::{Item, Resolver};
use crate::component::crossover::Crossover;
use crate::component::outline::{bounds, shared};
use crate::finding::Finding;
use crate::input::fits;
use crate::input::schema::Kind;
use crate::network::{Passage, PassageKind};

/// Distance between edges that still counts as a seam, m, where the file gives none.
const REACH: f64 = 10e-3;

/// Most panels compared with panels: more are laid over each other rather than side by side.
const MOST_COMPARED: usize = 200_000_000;

/// Most bins that a panel is entered in: a larger one is compared with all.
const MOST_BINS: f64 = 10_000.0;

impl<'t> Resolver<'t, '_> {
    /// Adds the crossovers of a seam: between every two of its panels that share an edge long enough for a port and that
    /// no crossover joins yet.
    pub(super) fn seam(&mut self, item: &Item<'t>) -> Option<()> {
        let fields = &item.fields;
        let (bore, loss_coefficient) = (fields.number("bore")?, fields.number("loss_coefficient")?);
        let (ports, spacing) = (fields.count("ports"), fields.number("spacing"));
        let pattern = fields.text("panels").unwrap_or("*");
        let reach = fields.number("reach").unwrap_or(REACH);
        let nodes = &self.network.nodes;
        let name_of = |panel: usize| nodes.get(self.network.panels[panel].node).map_or("", |node| node.name.as_str());
        let chosen: Vec<usize> = (0..self.network.panels.len()).filter(|&k| fits(name_of(k), pattern)).collect();
        let mut joined: HashSet<(usize, usize)> = HashSet::new();
        for passage in &self.network.passages {
            if let PassageKind::Crossover(_) = passage.kind {
                joined.insert((passage.from.min(passage.to), passage.from.max(passage.to)));
            }
        }
        let mut found = Vec::new();
        let Some(near) = self.near(&chosen, reach) else {
            let hint = Some("panels side by side, or fewer of them by `panels`".to_string());
            self.v.out.add("too_large", item.spot, "too many panels lie in the same place to look for seams", hint);
            return None;
        };
        for (a, b) in near {
            let [first, second] = [a, b].map(|k| &self.network.panels[k]);
            if joined.contains(&(first.node.min(second.node), first.node.max(second.node))) {
                continue;
            }
            let long: f64 = shared(&first.outline, &second.outline, reach)
                .iter()
                .map(|piece| (piece.to[0] - piece.from[0]).hypot(piece.to[1] - piece.from[1]))
                .sum();
            if long >= bore {
                let ports = ports.or_else(|| spacing.map(|spacing| (long / spacing).round().clamp(1.0, 1e6) as u32))?;
                let kind = PassageKind::Crossover(Crossover { ports, bore, loss_coefficient });
                found.push((format!("{}:{}", name_of(a), name_of(b)), first.node, second.node, kind));
            }
        }
        if found.is_empty() {
            let text = "it joins nothing: no two of its panels share an edge that no crossover joins yet";
            self.findings.push(Finding::warn("no_seam", &item.name, text));
        }
        for (name, from, to, kind) in found {
            if self.name(&name, Kind::Crossover, item.spot) {
                self.network.passages.push(Passage {
                    name: name.into(),
                    from,
                    to,
                    kind,
                    ports: [Vec::new(), Vec::new()],
                    blocked: false,
                });
            }
        }
        Some(())
    }

    /// Pairs of panels whose rectangles come within a distance of each other, in the order of the file; `None` where there
    /// are too many to be looked at.
    fn near(&self, chosen: &[usize], reach: f64) -> Option<Vec<(usize, usize)>> {
        let boxes: Vec<_> = chosen.iter().map(|&k| bounds(&self.network.panels[k].outline)).collect();
        let extent = |[low, high]: &[[f64; 2]; 2]| (high[0] - low[0]).max(high[1] - low[1]);
        let bin = boxes.iter().map(extent).sum::<f64>() / boxes.len().max(1) as f64 + reach;
        let mut bins: HashMap<(i64, i64), Vec<usize>> = HashMap::new();
        let (mut pairs, mut large, mut compared) = (Vec::new(), Vec::new(), 0_usize);
        let meet = |a: usize, b: usize| {
            (0..2).all(|k| boxes[a][0][k] <= boxes[b][1][k] + reach && boxes[b][0][k] <= boxes[a][1][k] + reach)
        };
        for (k, [low, high]) in boxes.iter().enumerate() {
            let range = |axis: usize| (((low[axis] - reach) / bin).floor(), ((high[axis] + reach) / bin).floor());
            let ((x0, x1), (y0, y1)) = (range(0), range(1));
            let mut others: Vec<usize> = large.clone();
            if (x1 - x0 + 1.0) * (y1 - y0 + 1.0) > MOST_BINS {
                others = (0..k).collect();
                large.push(k);
            } else {
                for x in x0 as i64..=x1 as i64 {
                    for y in y0 as i64..=y1 as i64 {
                        let inside = bins.entry((x, y)).or_default();
                        others.extend(inside.iter().copied());
                        inside.push(k);
                    }
                }
            }
            compared += others.len();
            if compared > MOST_COMPARED {
                return None;
            }
            others.sort_unstable();
            others.dedup();
            pairs.extend(others.into_iter().filter(|&other| meet(other, k)).map(|other| (chosen[other], chosen[k])));
        }
        pairs.sort_unstable();
        Some(pairs)
    }
}
