//! Long headers: their own keys, and where along them items join.

use std::collections::BTreeMap;

use super::{Item, Resolver};
use crate::component::header::{Join, LongHeader, Takeoffs};
use crate::component::tee::TeeAngle;
use crate::finding::Finding;
use crate::input::diagnostic::Spot;
use crate::input::schema::Kind;
use crate::input::validate::Fields;
use crate::network::PassageKind;
use crate::units::cut;

/// Share of the velocity head that a run loses in static pressure where water enters with no velocity along it.
pub(super) const COMBINING: f64 = 2.0;

impl<'t> Resolver<'t, '_> {
    /// Reads what makes a header a long one; `node`: its node in the network.
    pub(super) fn long_header(&mut self, item: &Item<'t>, node: usize) -> Option<()> {
        let fields = &item.fields;
        if !fields.is_written("length") {
            for key in ["bore", "roughness", "friction_factor", "regain", "regain_combining", "tees", "tee_angle"] {
                if fields.is_written(key) {
                    let message = format!("`{key}` has no meaning for a header without `length`");
                    let hint = Some("length: 6 m, or only `elevation` for a junction".to_string());
                    self.v.out.add("short_header", fields.spot_of(key), message, hint);
                }
            }
            return None;
        }
        let lacks = |key: &str| !fields.is_written(key);
        let mut missing = Vec::new();
        if lacks("bore") {
            missing.push(("bore", "bore: 600 mm"));
        }
        if lacks("roughness") && lacks("friction_factor") {
            missing.push(("roughness", "roughness: 0.05 mm (or `friction_factor`)"));
        }
        if lacks("regain") && lacks("tees") {
            missing.push(("regain", "regain: 0.9, with its source in `note`; or tees: crane"));
        }
        for (key, hint) in missing {
            let message = format!("header `{}` has a length and no `{key}`", cut(&item.name));
            self.v.out.add("missing_key", item.spot, message, Some(hint.to_string()));
        }
        let only_with = [("regain", "tees"), ("regain_combining", "tees"), ("tee_angle", "regain")];
        for (key, other) in only_with {
            if fields.is_written(key) && fields.is_written(other) {
                let message = format!("`{key}` and `{other}` exclude each other");
                let hint = Some("`regain` (with `regain_combining`), or `tees` (with `tee_angle`)".to_string());
                self.v.out.add("choice_twice", fields.spot_of(key), message, hint);
            }
        }
        let bore = fields.number("bore")?;
        let roughness = self.roughness(item, bore)?;
        let takeoffs = match (fields.number("regain"), fields.word("tees")) {
            (Some(dividing), _) => {
                let combining = fields.number("regain_combining").unwrap_or(COMBINING);
                Takeoffs::Regain { dividing, combining }
            }
            (None, Some(_)) => {
                let angle = fields.word("tee_angle").and_then(TeeAngle::from_words).unwrap_or(TeeAngle::Deg90);
                Takeoffs::Tees { angle }
            }
            (None, None) => return None,
        };
        let header = LongHeader {
            node,
            length: fields.number("length")?,
            bore,
            roughness,
            friction_factor: fields.number("friction_factor"),
            takeoffs,
            joins: Vec::new(),
        };
        self.network.long_headers.push(header);
        Some(())
    }

    /// Checks and keeps the positions at which a passage, the next to be added, joins long headers.
    pub(super) fn positions(&mut self, fields: &Fields) {
        for (key, end, to) in [("from_at", "from", false), ("to_at", "to", true)] {
            let (Some(at), Some(name)) = (fields.number(key), fields.reference(end)) else { continue };
            let Some(named) = self.names.get(name) else { continue };
            let spot = fields.spot_of(key);
            let header = self.network.long_headers.iter().find(|header| Some(header.node) == named.node);
            let Some(header) = header else {
                // What is wrong with a header that could not be read is said already.
                if named.kind != Kind::Header || named.node.is_some_and(|node| !self.broken_headers.contains(&node)) {
                    let message = format!("`{key}`: `{}` is {} without a length", cut(name), named.kind.a());
                    let hint = Some("a position along a header that has a `length`".to_string());
                    self.v.out.add("no_position", spot, message, hint);
                }
                continue;
            };
            if at > header.length {
                let message = format!("`{key}` lies outside of header `{}`", cut(name));
                let hint = Some(format!("from 0 m to {} m, its length", header.length));
                self.v.out.add("outside_header", spot, message, hint);
                continue;
            }
            self.positions.push(Join { at, passage: self.network.passages.len(), to });
        }
    }

    /// Puts every passage at its place along the long headers: where none is given, what ends there is joined at the
    /// start, and what begins there is spread evenly.
    pub(super) fn place_along_headers(&mut self) {
        let headers = &mut self.network.long_headers;
        let header_of: BTreeMap<usize, usize> =
            headers.iter().enumerate().map(|(k, header)| (header.node, k)).collect();
        let given: BTreeMap<(usize, bool), Join> =
            self.positions.iter().map(|join| ((join.passage, join.to), *join)).collect();
        let mut spread = vec![Vec::new(); headers.len()];
        for (passage, item) in self.network.passages.iter().enumerate() {
            for (node, to) in [(item.from, false), (item.to, true)] {
                let Some(&k) = header_of.get(&node) else { continue };
                match given.get(&(passage, to)) {
                    Some(join) => headers[k].joins.push(*join),
                    None if to => headers[k].joins.push(Join { at: 0.0, passage, to }),
                    None => spread[k].push(passage),
                }
            }
        }
        for (header, spread) in headers.iter_mut().zip(spread) {
            let count = spread.len() as f64;
            for (k, passage) in spread.into_iter().enumerate() {
                let at = (k as f64 + 0.5) / count * header.length;
                header.joins.push(Join { at, passage, to: false });
            }
            header.joins.sort_by(|a, b| a.at.total_cmp(&b.at));
        }
        self.check_tees();
        self.remark_on_headers();
    }

    /// Reports branches of tees that are wider than their run.
    fn check_tees(&mut self) {
        for header in &self.network.long_headers {
            if !matches!(header.takeoffs, Takeoffs::Tees { .. }) {
                continue;
            }
            for join in header.joins.iter().filter(|join| join.at > 0.0 && join.at < header.length) {
                let Some(passage) = self.network.passages.get(join.passage) else { continue };
                let bore = match &passage.kind {
                    PassageKind::Pipe(pipe) => pipe.bore,
                    PassageKind::Valve(valve) => valve.bore,
                    PassageKind::WeirPipe(weir) => weir.bore,
                    PassageKind::Crossover(_) => continue,
                };
                if bore > header.bore {
                    let name = &self.network.nodes[header.node].name;
                    let message = format!(
                        "`{}` is wider than header `{}`: Crane's tees have a branch no wider than the run",
                        cut(&passage.name),
                        cut(name)
                    );
                    let spot = self.names.get(&passage.name).map_or(Spot::default(), |named| named.spot);
                    let hint = Some(format!("a bore of at most {} m, or `regain` on the header", header.bore));
                    self.v.out.add("branch_over_run", spot, message, hint);
                }
            }
        }
    }

    /// Says where a long header has nothing to tell.
    fn remark_on_headers(&mut self) {
        for header in &self.network.long_headers {
            if header.joins.len() < 2 {
                let name = &self.network.nodes[header.node].name;
                let text = "it has a length and fewer than two items: nothing flows along it";
                self.findings.push(Finding::note("idle_header", name, text));
            }
        }
    }
}
