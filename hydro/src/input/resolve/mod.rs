//! Validated tree -> [`Network`]: references, defaults, and what single keys cannot say.

mod control;
mod gas;
mod gas_side;
mod header;
mod panel;
mod ports;
mod seams;
mod site;
mod study;
mod water;

use std::collections::HashSet;
use std::rc::Rc;

use super::Input;
use super::diagnostic::{Collector, Spot};
use super::files::Files;
use super::grids;
use super::names::{Named, Names, Nearest};
use super::not_computed;
use super::schema::{self, GRID_CROSSOVER, GRID_PANEL, Kind, Need, SECTIONS, SectionType, Type};
use super::set::{Overrides, some_of};
use super::study::Studies;
use super::tree::{Node, Value};
use super::validate::{Datum, Fields, Validator};
use crate::component::cooling::Cooling;
use crate::component::header::Join;
use crate::finding::{Finding, Level};
use crate::fluid::gas::{GasKind, GasModel};
use crate::network::{Duty, Network, Site, check};
use crate::units::cut;

/// Most panels of a file, grids unfolded: bounds the memory.
const MOST_PANELS: usize = 1_000_000;
/// Most cells of all panels.
const MOST_CELLS: usize = 4_000_000;
/// Most points of tables over time, grids unfolded.
const MOST_TABLE_POINTS: usize = 20_000_000;

/// An item with its valid keys.
struct Item<'t> {
    kind: Kind,
    name: String,
    spot: Spot,
    fields: Rc<Fields<'t>>,
    /// Lower-left corner of a panel of a grid.
    corner: Option<[f64; 2]>,
    /// Ends of a crossover of a grid.
    ends: Option<[String; 2]>,
}

/// Work in progress.
struct Resolver<'t, 'o> {
    v: Validator<'o>,
    names: Names,
    items: Vec<Item<'t>>,
    findings: Vec<Finding>,
    network: Network,
    placed: Vec<ports::Placed>,
    panels: usize,
    cells: usize,
    table_points: usize,
    studies: Studies,
    /// Items, failures and (true) pairs that the block `faults` names.
    fault_names: Vec<(&'t str, Spot, bool)>,
    /// Nodes that are blocked.
    blocked: HashSet<usize>,
    /// Positions along long headers that passages give.
    positions: Vec<Join>,
    /// Nodes of headers with a length that could not be read.
    broken_headers: Vec<usize>,
}

/// Pressure of the surroundings, Pa absolute, as far as the file says it well.
pub(crate) fn ambient_pressure(root: &Node) -> f64 {
    root.get("site").and_then(site::ambient_pressure).unwrap_or(101_325.0)
}

/// The network of a tree; meaningful only when nothing was collected.
pub(crate) fn resolve(
    root: &Node,
    overrides: &Overrides,
    (nearest, files): (Nearest, Files<'_>),
    out: &mut Collector,
) -> Option<Input> {
    let ambient_pressure = ambient_pressure(root);
    let v = Validator { out, files, nearest, ambient_pressure };
    let network = Network {
        title: String::new(),
        site: Site::of_20_degc(ambient_pressure),
        gas: GasKind::Nitrogen,
        gas_model: GasModel::Real,
        inertia: true,
        tolerance: 1e-6,
        nodes: Vec::new(),
        passages: Vec::new(),
        tanks: Vec::new(),
        panels: Vec::new(),
        long_headers: Vec::new(),
        gas_vessels: Vec::new(),
        gas_valves: Vec::new(),
        cooling: Cooling::default(),
        duty: Duty { start: 0.0, ignition: 0.0, hold: 0.0, end: 0.0 },
        notes: Vec::new(),
    };
    let mut r = Resolver {
        v,
        names: Names::default(),
        items: Vec::new(),
        findings: Vec::new(),
        network,
        placed: Vec::new(),
        panels: 0,
        cells: 0,
        table_points: 0,
        studies: Studies::default(),
        fault_names: Vec::new(),
        blocked: HashSet::new(),
        positions: Vec::new(),
        broken_headers: Vec::new(),
    };
    match &root.value {
        Value::Map(_) => r.top(root, overrides),
        Value::Nothing => {
            let hint = Some("a network: `hydro new DIR` writes one to begin with".to_string());
            r.v.out.add_file("empty_file", "the file is empty", hint);
        }
        other => {
            let message = format!("a network file is a group of keys, not {}", other.name());
            r.v.out.add("wrong_type", root.spot, message, Some("title, site, tanks, pipes, panels ...".into()));
        }
    }
    r.build();
    let Resolver { v, names, mut findings, network, studies, .. } = r;
    if !v.out.is_empty() {
        return None;
    }
    for problem in check::check(&network) {
        if problem.level == Level::Fail {
            match names.get(&problem.item) {
                Some(named) => v.out.add(problem.code, named.spot, problem.text, Some(problem.hint)),
                None => v.out.add_file(problem.code, problem.text, Some(problem.hint)),
            }
        } else {
            findings.push(Finding { level: problem.level, code: problem.code, item: problem.item, text: problem.text });
        }
    }
    if !v.out.is_empty() {
        return None;
    }
    findings.extend(not_computed::findings(&network));
    findings.sort_by_key(|f| f.level);
    Some(Input { network, findings, studies })
}

impl<'t> Resolver<'t, '_> {
    /// Reads the keys at the top of the file, in the order of the file.
    fn top(&mut self, root: &'t Node, overrides: &'t Overrides) {
        let mut written = Vec::new();
        for entry in root.entries() {
            let Some(section) = schema::section(&entry.key) else {
                self.v.unknown_key(&entry.key, entry.spot, SECTIONS.iter().map(|s| s.name), "the file");
                continue;
            };
            written.push(section.name);
            match &section.ty {
                SectionType::Key(key) => {
                    if let Some(datum) = self.v.datum(&entry.node, key, entry.spot, "the file") {
                        self.top_key(key.name, &datum);
                    }
                }
                SectionType::One(group, _) => {
                    let fields = self.v.group(&entry.node, group, &format!("`{}`", section.name), entry.spot);
                    match section.name {
                        "site" => self.site(&fields),
                        "faults" => self.faults(&fields),
                        "cooling" => self.cooling(&fields),
                        "sizing" => self.sizing(&fields),
                        "fit" => self.fit(&fields),
                        "duty" => self.duty(&fields),
                        _ => {}
                    }
                }
                SectionType::Items(kind, group) => match &entry.node.value {
                    Value::Map(items) => {
                        for item in items {
                            if self.v.out.is_full() {
                                return;
                            }
                            let what = format!("{} `{}`", kind.noun(), cut(&item.key));
                            let fields = self.v.group(&item.node, group, &what, item.spot);
                            self.item(*kind, &item.key, item.spot, fields, overrides);
                        }
                    }
                    Value::Nothing => {}
                    other => {
                        let message = format!("`{}` must hold items by name, not {}", section.name, other.name());
                        let hint = Some(format!("{}: {{NAME: {{{}: ...}}}}", section.name, first_key(group)));
                        self.v.out.add("wrong_type", entry.node.spot, message, hint);
                    }
                },
            }
        }
        for section in SECTIONS {
            if let SectionType::One(group, Need::Required) = section.ty
                && !written.contains(&section.name)
            {
                let hint = Some(format!("{}: {{{}: ..., ...}}", section.name, first_key(group)));
                self.v.out.add_file("missing_key", format!("the file has no `{}`", section.name), hint);
            }
        }
        if !written.contains(&"duty") {
            self.duty(&Fields::default());
        }
    }

    fn top_key(&mut self, key: &str, datum: &Datum) {
        let network = &mut self.network;
        match (key, datum) {
            ("title", Datum::Text(text)) => network.title = (*text).to_string(),
            ("gas", Datum::Word(word)) => {
                network.gas = if *word == "air" { GasKind::Air } else { GasKind::Nitrogen };
            }
            ("gas_model", Datum::Word(word)) => {
                network.gas_model = if *word == "ideal" { GasModel::Ideal } else { GasModel::Real };
            }
            ("inertia", Datum::Switch(on)) => network.inertia = *on,
            ("tolerance", Datum::Number(value)) => network.tolerance = *value,
            _ => {}
        }
    }

    /// Registers an item and its name; unfolds grids.
    fn item(&mut self, kind: Kind, name: &str, spot: Spot, fields: Fields<'t>, overrides: &'t Overrides) {
        if name.trim().is_empty() || name.chars().any(char::is_control) {
            let message = "a name must not be empty and must hold no control characters".to_string();
            self.v.out.add("bad_name", spot, message, Some("any text, such as burst-1".into()));
            return;
        }
        if let Some(note) = fields.text("note") {
            self.network.notes.push((name.to_string(), note.to_string()));
        }
        if !self.name(name, kind, spot) {
            return;
        }
        if kind == Kind::Grid {
            self.grid(name, spot, &fields, overrides);
            return;
        }
        if kind == Kind::Panel {
            self.count_panels(1, &fields, spot);
        }
        let item = Item { kind, name: name.to_string(), spot, fields: Rc::new(fields), corner: None, ends: None };
        self.items.push(item);
    }

    /// Takes a name; false, with a diagnostic, when it is taken.
    fn name(&mut self, name: &str, kind: Kind, spot: Spot) -> bool {
        let Some(earlier) = self.names.add(name, Named { kind, spot, node: None, vessel: None }) else { return true };
        let line = earlier.spot.place.line;
        let message = format!("the name `{}` is taken: {} on line {line}", cut(name), earlier.kind.a());
        self.v.out.add("duplicate_name", spot, message, Some("names that are unique over the whole file".into()));
        false
    }

    /// Counts panels and the points of their tables; false when there are too many.
    fn count_panels(&mut self, count: u32, fields: &Fields, spot: Spot) -> bool {
        let count = count as usize;
        self.panels = self.panels.saturating_add(count);
        let [nx, ny] = fields.cells("cells").unwrap_or([1, 1]).map(|n| n as usize);
        self.cells = self.cells.saturating_add(count.saturating_mul(nx * ny));
        for key in ["plume_pressure", "heat_flux"] {
            if let Some(Datum::Load(load)) = fields.get(key).map(|f| &f.datum) {
                let points = load.over_time.time.len();
                self.table_points = self.table_points.saturating_add(points.saturating_mul(count));
            }
        }
        if self.cells > MOST_CELLS {
            let message = "more cells than can be held".to_string();
            let hint = format!("at most {MOST_CELLS} cells in all");
            self.v.out.add("too_large", fields.spot_of("cells"), message, Some(hint));
            return false;
        }
        if self.panels <= MOST_PANELS && self.table_points <= MOST_TABLE_POINTS {
            return true;
        }
        let message = "more panels, or more points of their tables, than can be held".to_string();
        let hint = format!("at most {MOST_PANELS} panels and {MOST_TABLE_POINTS} points in all");
        self.v.out.add("too_large", spot, message, Some(hint));
        false
    }

    /// Unfolds a grid into panels and crossovers.
    fn grid(&mut self, name: &str, spot: Spot, fields: &Fields<'t>, overrides: &'t Overrides) {
        let (Some(columns), Some(rows)) = (fields.count("columns"), fields.count("rows")) else { return };
        let origin = fields.pair("origin").unwrap_or([0.0, 0.0]);
        let panel = Rc::new(fields.group("panel").cloned().unwrap_or_default());
        let crossover = fields.group("crossover").cloned().map(Rc::new);
        for (inner, what) in [(Some(&panel), "panels"), (crossover.as_ref(), "crossovers")] {
            if let Some(note) = inner.and_then(|f| f.text("note")) {
                self.network.notes.push((format!("{name} ({what})"), note.to_string()));
            }
        }
        if !self.count_panels(columns.saturating_mul(rows), &panel, spot) {
            return;
        }
        let size = panel.pair("size").unwrap_or([1.0, 1.0]);
        for row in 1..=rows {
            for column in 1..=columns {
                let panel_name = grids::panel_name(name, column, row);
                if !self.name(&panel_name, Kind::Panel, spot) {
                    continue;
                }
                let own = self.overridden(&panel_name, overrides, &GRID_PANEL, spot);
                let corner = [origin[0] + f64::from(column - 1) * size[0], origin[1] + f64::from(row - 1) * size[1]];
                self.items.push(Item {
                    kind: Kind::Panel,
                    name: panel_name,
                    spot,
                    fields: own.unwrap_or_else(|| panel.clone()),
                    corner: Some(corner),
                    ends: None,
                });
            }
        }
        let Some(crossover) = crossover else { return };
        for row in 1..=rows {
            for column in 1..=columns {
                let from = grids::panel_name(name, column, row);
                let [right, up] = grids::crossover_names(&from);
                let neighbours = [
                    (column < columns).then(|| (right, grids::panel_name(name, column + 1, row))),
                    (row < rows).then(|| (up, grids::panel_name(name, column, row + 1))),
                ];
                for (name, to) in neighbours.into_iter().flatten() {
                    if !self.name(&name, Kind::Crossover, spot) {
                        continue;
                    }
                    let own = self.overridden(&name, overrides, &GRID_CROSSOVER, spot);
                    self.items.push(Item {
                        kind: Kind::Crossover,
                        name,
                        spot,
                        fields: own.unwrap_or_else(|| crossover.clone()),
                        corner: None,
                        ends: Some([from.clone(), to]),
                    });
                }
            }
        }
    }

    /// Keys of an item of a grid that `--set` addresses by itself.
    fn overridden(
        &mut self,
        name: &str,
        overrides: &'t Overrides,
        group: &'static schema::Group,
        spot: Spot,
    ) -> Option<Rc<Fields<'t>>> {
        let node = overrides.get(name)?;
        Some(Rc::new(self.v.group(node, group, &format!("`{}`", cut(name)), spot)))
    }

    /// Builds the network of the items: first what holds a pressure, then what joins.
    fn build(&mut self) {
        let items = std::mem::take(&mut self.items);
        if self.v.out.is_full() {
            return;
        }
        for item in &items {
            let _ = match item.kind {
                Kind::Tank => self.tank(item),
                Kind::Header | Kind::Outfall => self.plain_node(item),
                Kind::Panel => self.panel(item),
                Kind::GasBank | Kind::GasHeader => self.gas_vessel(item),
                _ => None,
            };
        }
        for item in &items {
            let _ = match item.kind {
                Kind::Pipe => self.pipe(item),
                Kind::Valve => self.valve(item),
                Kind::WeirPipe => self.weir_pipe(item),
                Kind::Crossover => self.crossover(item),
                Kind::GasValve => self.gas_valve(item),
                Kind::Tank | Kind::GasBank | Kind::GasHeader => self.vent_down(item),
                _ => None,
            };
        }
        self.place_along_headers();
        for item in items.iter().filter(|item| item.kind == Kind::Seam) {
            let _ = self.seam(item);
        }
        let given = self.given_places();
        if self.v.out.is_empty() {
            self.ports(&given);
        }
        self.check_fault_names();
    }

    /// What the `from` and `to` of an item name: both are checked before either is given up.
    fn ends(&mut self, item: &Item<'t>) -> Option<[Named; 2]> {
        if let Some([from, to]) = &item.ends {
            return Some([self.names.get(from)?, self.names.get(to)?]);
        }
        let from = self.reference(item, "from");
        let to = self.reference(item, "to");
        let (from_name, to_name) = (item.fields.reference("from")?, item.fields.reference("to")?);
        if from_name == to_name {
            let spot = item.fields.spot_of("to");
            let message = format!("`from` and `to` are both `{}`", cut(from_name));
            self.v.out.add("joins_itself", spot, message, Some("two different items".into()));
            return None;
        }
        Some([from?, to?])
    }

    /// The item that a key refers to.
    fn reference(&mut self, item: &Item<'t>, key: &'static str) -> Option<Named> {
        let name = item.fields.reference(key)?;
        let spot = item.fields.spot_of(key);
        let section = SECTIONS.iter().find_map(|s| match s.ty {
            SectionType::Items(kind, group) if kind == item.kind => Some(group),
            _ => None,
        });
        let Some(Type::Reference(kinds)) = section.and_then(|g| g.key(key)).map(|k| k.ty) else { return None };
        self.named(name, key, kinds, spot)
    }

    /// The item of a name that stands after a key, if it is of one of these kinds.
    fn named(&mut self, name: &str, key: &str, kinds: &'static [Kind], spot: Spot) -> Option<Named> {
        let allowed = kinds.iter().map(|k| k.a()).collect::<Vec<_>>().join(", ");
        match self.names.get(name) {
            Some(named) if kinds.contains(&named.kind) => Some(named),
            Some(named) => {
                let message = format!("`{key}`: `{}` is {}, not {}", cut(name), named.kind.a(), or_list(kinds));
                let near = self.v.nearest.of(name, self.names.of_kinds(kinds).filter(|n| *n != name));
                let hint = match near {
                    Some(near) => format!("the name of {}, such as `{near}`", or_list(kinds)),
                    None => format!("the name of {}", or_list(kinds)),
                };
                self.v.out.add("wrong_kind", spot, message, Some(hint));
                None
            }
            None => {
                let hint = match self.v.nearest.of(name, self.names.of_kinds(kinds)) {
                    Some(near) => format!("`{near}`"),
                    None => {
                        let some: Vec<String> = self.names.of_kinds(kinds).take(9).map(str::to_string).collect();
                        format!("the name of {allowed}: {}", some_of(&some))
                    }
                };
                let message = format!("`{key}`: nothing is named `{}`", cut(name));
                self.v.out.add("unknown_name", spot, message, Some(hint));
                None
            }
        }
    }
}

/// `a tank, a header or a panel`.
fn or_list(kinds: &[Kind]) -> String {
    match kinds.split_last() {
        Some((last, [])) => last.a().to_string(),
        Some((last, rest)) => {
            format!("{} or {}", rest.iter().map(|k| k.a()).collect::<Vec<_>>().join(", "), last.a())
        }
        None => String::new(),
    }
}

fn first_key(group: &schema::Group) -> &'static str {
    group.keys.first().map_or("", |k| k.name)
}
