//! Every single failure of a network, and pairs of them.

use crate::component::schedule::Schedule;
use crate::input::Input;
use crate::input::fits;
use crate::input::study::{FaultKind, pair};
use crate::network::{GasVesselKind, Network, NodeKind, PassageKind};

/// Most failures of one study.
pub const MOST: usize = 200_000;

/// One failure, or two at the same time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// `ITEM/KIND`, or `ITEM/KIND + ITEM/KIND`.
    pub name: String,
    /// Items that fail.
    pub items: Vec<String>,
    /// In words.
    pub text: String,
    /// The `--set` options that make it.
    pub sets: Vec<String>,
    /// Kind; `None` for a pair.
    pub kind: Option<FaultKind>,
}

/// Why failures cannot be listed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ListError {
    /// A pair names what is not among the single failures.
    #[error("`{pair}` is no pair of failures of this file; its failures are {some}")]
    UnknownPair {
        /// As written.
        pair: String,
        /// Some that there are.
        some: String,
    },
    /// Two failures change the same value.
    #[error("`{pair}`: both change {path}")]
    Clash {
        /// As written.
        pair: String,
        /// Path that both set.
        path: String,
    },
    /// There are too many.
    #[error("{count} failures are more than {MOST}: leave some out (faults.without)")]
    TooMany {
        /// How many there are.
        count: usize,
    },
}

/// Every single failure of a network, in the order of the file, less those that the file leaves out.
pub fn singles(input: &Input) -> Vec<Fault> {
    let (network, choices) = (&input.network, &input.studies.faults);
    let mut list = List { faults: Vec::new() };
    for valve in &network.gas_valves {
        list.gas_valve(&valve.name, valve.open, valve.installed);
    }
    for passage in &network.passages {
        if !passage.blocked {
            list.passage(network, passage.from, passage.to, &passage.name, &passage.kind);
        }
    }
    for (k, node) in network.nodes.iter().enumerate() {
        match node.kind {
            NodeKind::Header => {
                let joined = || network.passages.iter().filter(|p| p.from == k || p.to == k);
                if joined().any(|p| !p.blocked) {
                    list.add(
                        &node.name,
                        FaultKind::Blocked,
                        "blocked",
                        vec![set("headers", &node.name, "blocked=true")],
                    );
                }
            }
            NodeKind::Tank(tank) => list.tank(network, k, tank, &node.name),
            NodeKind::Panel(panel) => {
                let Some(panel) = network.panels.get(panel).filter(|p| p.plugged < 1.0) else { continue };
                let plugged = panel.plugged + (1.0 - panel.plugged) * choices.plugged;
                let text = format!("{} of its open holes plugged", percent(choices.plugged));
                let sets = vec![set("panels", &node.name, &format!("plugged={}", percent(plugged)))];
                list.add(&node.name, FaultKind::Plugged, &text, sets);
            }
            NodeKind::Outfall { .. } => {}
        }
    }
    for vessel in &network.gas_vessels {
        let gauge = vessel.pressure - network.site.ambient_pressure;
        if matches!(vessel.kind, GasVesselKind::Bank { .. }) && gauge > 0.0 {
            let text = format!("begins at {} of its gauge pressure", percent(choices.low_charge));
            let value = format!("pressure={} bar(g)", short(choices.low_charge * gauge / 1e5));
            list.add(&vessel.name, FaultKind::LowCharge, &text, vec![set("gas_banks", &vessel.name, &value)]);
        }
    }
    let left_out = |fault: &Fault| {
        choices.without.iter().any(|p| fits(&fault.name, p) || fault.items.iter().any(|item| fits(item, p)))
    };
    list.faults.retain(|fault| !left_out(fault));
    list.faults
}

/// The pairs that are asked for: those named, and with `all` every two single failures of different items that do not
/// change the same value.
///
/// # Errors
/// [`ListError`].
pub fn pairs(singles: &[Fault], named: &[String], all: bool) -> Result<Vec<Fault>, ListError> {
    let mut pairs = Vec::new();
    for text in named {
        let find = |name: &str| singles.iter().find(|fault| fault.name == name);
        let sides = pair(text, |side| find(side).is_some());
        let Some((a, b)) = sides.and_then(|[a, b]| Some((find(a)?, find(b)?))) else {
            let some: Vec<&str> = singles.iter().take(6).map(|fault| fault.name.as_str()).collect();
            return Err(ListError::UnknownPair { pair: text.clone(), some: format!("{} ...", some.join(", ")) });
        };
        if let Some(path) = clash(a, b) {
            return Err(ListError::Clash { pair: text.clone(), path: path.to_string() });
        }
        pairs.push(both(a, b));
    }
    if all {
        let count = singles.len().saturating_mul(singles.len().saturating_sub(1)) / 2;
        if count > MOST {
            return Err(ListError::TooMany { count });
        }
        for (k, a) in singles.iter().enumerate() {
            let apart = |b: &&Fault| a.items != b.items && clash(a, b).is_none();
            pairs.extend(singles.iter().skip(k + 1).filter(apart).map(|b| both(a, b)));
        }
    }
    let mut seen = std::collections::HashSet::new();
    pairs.retain(|pair| seen.insert(pair.name.clone()));
    if singles.len() + pairs.len() > MOST {
        return Err(ListError::TooMany { count: singles.len() + pairs.len() });
    }
    Ok(pairs)
}

/// The path that two failures both set.
fn clash<'f>(a: &'f Fault, b: &Fault) -> Option<&'f str> {
    let path = |set: &'_ String| set.rfind('=').unwrap_or(set.len());
    let paths = |fault: &'f Fault| fault.sets.iter().map(move |set| set.get(..path(set)).unwrap_or(set));
    let of_b = |wanted: &str| b.sets.iter().any(|set| set.get(..path(set)) == Some(wanted));
    paths(a).find(|path| of_b(path))
}

fn both(a: &Fault, b: &Fault) -> Fault {
    Fault {
        name: format!("{} + {}", a.name, b.name),
        items: [a.items.as_slice(), &b.items].concat(),
        text: format!("{}: {}; {}: {}", a.items.join(", "), a.text, b.items.join(", "), b.text),
        sets: [a.sets.as_slice(), &b.sets].concat(),
        kind: None,
    }
}

struct List {
    faults: Vec<Fault>,
}

impl List {
    fn add(&mut self, item: &str, kind: FaultKind, text: &str, sets: Vec<String>) {
        let name = format!("{item}/{}", kind.label());
        let (items, text) = (vec![item.to_string()], text.to_string());
        self.faults.push(Fault { name, items, text, sets, kind: Some(kind) });
    }

    fn gas_valve(&mut self, name: &str, open: u32, installed: u32) {
        let opens = |count: u32| vec![set("gas_valves", name, &format!("open={count}"))];
        if let Some(left) = open.checked_sub(1) {
            self.add(name, FaultKind::OneShut, &format!("one of its {open} open valves stays shut"), opens(left));
        }
        if open < installed {
            let more = open + 1;
            self.add(name, FaultKind::OneMore, &format!("{more} valves open, one more than planned"), opens(more));
        }
    }

    fn passage(&mut self, network: &Network, from: usize, to: usize, name: &str, kind: &PassageKind) {
        match kind {
            PassageKind::Valve(valve) => {
                let schedule = &valve.schedule;
                let moves = *schedule != Schedule { stroke: schedule.stroke, ..Schedule::OPEN };
                if schedule.stuck.is_none() {
                    let shut = vec![set("valves", name, "stuck=shut")];
                    self.add(name, FaultKind::StuckShut, "stays shut", shut);
                }
                if schedule.stuck.is_none() && moves {
                    let open = vec![set("valves", name, "stuck=open")];
                    self.add(name, FaultKind::StuckOpen, "open from the start, and never closes", open);
                }
                if valve.one_way {
                    let both = vec![set("valves", name, "one_way=false")];
                    self.add(name, FaultKind::PassesBack, "passes water backwards", both);
                }
            }
            PassageKind::Crossover(_) => {
                self.add(name, FaultKind::Blocked, "blocked", vec![set("crossovers", name, "blocked=true")]);
            }
            PassageKind::WeirPipe(weir) => {
                self.add(name, FaultKind::Blocked, "blocked", vec![set("weir_pipes", name, "blocked=true")]);
                if weir.vent.is_some() {
                    let sets = vec![set("weir_pipes", name, "vent.blocked=true")];
                    self.add(name, FaultKind::VentBlocked, "its vent admits no air", sets);
                }
            }
            PassageKind::Pipe(_) => {
                let is_panel =
                    |node: usize| matches!(network.nodes.get(node).map(|n| n.kind), Some(NodeKind::Panel(_)));
                if is_panel(from) || is_panel(to) {
                    self.add(name, FaultKind::Blocked, "blocked", vec![set("pipes", name, "blocked=true")]);
                }
            }
        }
    }

    /// A tank that is out, every passage and every gas valve at it shut; and its relief valve, stuck open.
    fn tank(&mut self, network: &Network, node: usize, tank: usize, name: &str) {
        let mut sets = Vec::new();
        for passage in network.passages.iter().filter(|p| (p.from == node || p.to == node) && !p.blocked) {
            sets.push(match &passage.kind {
                PassageKind::Pipe(_) => set("pipes", &passage.name, "blocked=true"),
                PassageKind::WeirPipe(_) => set("weir_pipes", &passage.name, "blocked=true"),
                PassageKind::Crossover(_) => set("crossovers", &passage.name, "blocked=true"),
                PassageKind::Valve(_) => set("valves", &passage.name, "stuck=shut"),
            });
        }
        let Some(tank) = network.tanks.get(tank) else { return };
        let vessel = tank.vessel;
        let gas = network.gas_valves.iter().filter(|v| (v.from == vessel || v.to == vessel) && v.open > 0);
        sets.extend(gas.map(|valve| set("gas_valves", &valve.name, "open=0")));
        if !sets.is_empty() {
            self.add(name, FaultKind::Out, "out: shut off from water and gas", sets);
        }
        if tank.relief.is_some_and(|relief| !relief.stuck_open) {
            let open = vec![set("tanks", name, "relief.stuck=open")];
            self.add(name, FaultKind::ReliefOpen, "its relief valve is open from the start, and never shuts", open);
        }
    }
}

/// An option `SECTION.NAME.KEY=VALUE`; names with anything that a path could mistake are quoted.
fn set(section: &str, name: &str, key_and_value: &str) -> String {
    let plain = name.chars().all(|c| c.is_alphanumeric() || matches!(c, '-' | '_' | ':'));
    if plain { format!("{section}.{name}.{key_and_value}") } else { format!("{section}.\"{name}\".{key_and_value}") }
}

/// A number with at most six decimals and no zeros at its end.
fn short(value: f64) -> String {
    let text = format!("{value:.6}");
    text.trim_end_matches('0').trim_end_matches('.').to_string()
}

fn percent(share: f64) -> String {
    format!("{} %", short(share * 100.0))
}
