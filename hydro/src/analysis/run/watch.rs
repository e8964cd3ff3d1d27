//! What is watched during a run: signs of quantities that are events when they change.

use crate::analysis::columns::LineStand;
use crate::analysis::supply::Supply;
use crate::analysis::supply::gas_side::OutletKind;
use crate::component::panel::plume_enters;
use crate::network::PassageKind;
use crate::result::EventCode;

/// One quantity that is watched; an event when its sign changes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Watch {
    /// Water above the heel of a tank.
    Water(usize),
    /// Room for a regulated gas valve to open further; its share still open above nil.
    Regulator(usize, End),
    /// Whether a gas valve is choked.
    Choking(usize),
    /// Room before the vent of a weir pipe admits air.
    Vent(usize),
    /// Air left ahead of the fronts in a line.
    Front(usize),
    /// Room left in an item that fills.
    Basin(usize),
    /// Water standing in the fall of a parted weir pipe; in an empty one, what pushes it back.
    Fall(usize),
    /// Water left in a line that drains behind a tank that is out.
    Drain(usize),
    /// Flux of a panel above what it needs.
    Flux(usize),
    /// Pressure inside a panel above that of the plume.
    Plume(usize),
    /// Level of a tank above the submergence that its outlet needs.
    Submergence(usize),
    /// Pressure that is missing before a relief valve moves; not above 0 while it is open.
    Relief(usize),
    /// What is missing before a condition that moves a valve is met.
    Condition(usize),
}

/// The two ends of a regulated valve's range.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum End {
    /// Fully open.
    Open,
    /// Shut.
    Shut,
}

impl Watch {
    /// Everything that is watched in a network.
    pub fn all(supply: &Supply<'_>) -> Vec<Watch> {
        let network = supply.network;
        let mut all: Vec<Watch> = (0..network.tanks.len()).map(Watch::Water).collect();
        all.extend((0..network.tanks.len()).map(Watch::Submergence));
        for (k, valve) in network.gas_valves.iter().enumerate() {
            if valve.regulated_to.is_some() {
                all.extend([Watch::Regulator(k, End::Open), Watch::Regulator(k, End::Shut)]);
            }
            all.push(Watch::Choking(k));
        }
        for (k, passage) in network.passages.iter().enumerate() {
            if matches!(&passage.kind, PassageKind::WeirPipe(weir) if weir.vent.is_some()) {
                all.push(Watch::Vent(k));
            }
        }
        if let Some((columns, standing)) = supply.water_columns() {
            for (k, line) in columns.lines.iter().enumerate() {
                if standing.lines[k] == LineStand::Filling {
                    all.push(Watch::Front(k));
                }
                if line.can_part() {
                    all.push(Watch::Fall(k));
                }
                if line.can_drain() {
                    all.push(Watch::Drain(k));
                }
            }
            all.extend((0..columns.basins.len()).map(Watch::Basin));
        }
        for (k, panel) in network.panels.iter().enumerate() {
            if panel.required_flux.is_some() {
                all.push(Watch::Flux(k));
            }
            if panel.plume_pressure.is_some() {
                all.push(Watch::Plume(k));
            }
        }
        let outlets = supply.gas_side.outlets.iter().enumerate();
        let reliefs = outlets.filter(|(_, outlet)| matches!(outlet.kind, OutletKind::Relief(..)));
        all.extend(reliefs.map(|(k, _)| Watch::Relief(k)));
        all.extend((0..supply.controls.list.len()).map(Watch::Condition));
        all
    }

    /// The quantity at the instant that the supply stands at; not above 0 counts as on the far side.
    pub fn value(&self, supply: &Supply<'_>, time: f64, y: &[f64]) -> f64 {
        let network = supply.network;
        match *self {
            Watch::Water(tank) if supply.is_dry(tank) => -1.0,
            Watch::Water(tank) => y[supply.water_index(tank)] - network.tanks[tank].heel,
            Watch::Regulator(valve, end) => {
                let passage = &supply.passages[valve];
                match (passage.holding, end) {
                    (Some(holding), End::Open) => passage.capacity.mass_flow - holding,
                    (Some(holding), End::Shut) => holding,
                    (None, _) => -1.0,
                }
            }
            Watch::Choking(valve) => {
                let passage = &supply.passages[valve];
                if passage.capacity.mass_flow > 0.0 { passage.capacity.choking } else { -1.0 }
            }
            Watch::Vent(passage) => match supply.water_columns() {
                Some(_) => supply.vent_margin(passage, y),
                None => supply.water.vent_margin(passage).unwrap_or(1.0),
            },
            Watch::Front(line) => supply.front_room(line, y),
            Watch::Basin(basin) => supply.basin_room(basin, y),
            Watch::Fall(line) => supply.fall_water(line, y),
            Watch::Drain(line) => supply.drain_left(line, y),
            Watch::Flux(k) => {
                let panel = &network.panels[k];
                let required = panel.required_flux.unwrap_or(0.0);
                // A flux that is just met counts as met.
                supply.water.panel_flow(k) / panel.area - required * (1.0 - 1e-12)
            }
            Watch::Submergence(tank) => supply.breakthrough_margin(tank, y),
            Watch::Relief(k) => supply.relief_margin(k),
            Watch::Condition(k) => supply.control_margin(k, time, y),
            Watch::Plume(k) => {
                let (inside, outside) = supply.water.weakest(k);
                if plume_enters(inside, outside, &network.site) {
                    inside.map_or(-outside, |inside| (inside - outside).min(-1e-9 * outside))
                } else {
                    inside.map_or(outside, |inside| (inside - outside).abs().max(1e-9 * outside))
                }
            }
        }
    }

    /// Whether the equations change where the sign does, so that the integration restarts there.
    pub fn restarts(&self) -> bool {
        !matches!(self, Watch::Flux(_) | Watch::Plume(_) | Watch::Submergence(_))
    }

    /// Whether the quantity is one of the state alone, whatever flows.
    pub fn is_of_state(&self) -> bool {
        matches!(self, Watch::Water(_) | Watch::Front(_) | Watch::Basin(_) | Watch::Drain(_))
    }

    /// Whether something is moved where the sign changes, so that the integration always restarts there.
    pub fn orders(&self) -> bool {
        matches!(self, Watch::Relief(_) | Watch::Condition(_) | Watch::Front(_) | Watch::Basin(_) | Watch::Drain(_))
    }

    /// Event when the quantity rises above 0, or falls below: its code, item and sentence.
    pub fn event(&self, supply: &Supply<'_>, rises: bool) -> Option<(EventCode, String, String)> {
        let network = supply.network;
        let name = |name: &str| name.to_owned();
        let (code, item, text) = match (*self, rises) {
            (Watch::Water(tank), false) => {
                let item = name(&network.nodes[network.tanks[tank].node].name);
                let text = format!("{item} has no water left that it can give");
                (EventCode::TankEmpty, item, text)
            }
            (Watch::Drain(line), false) => {
                let (columns, standing) = supply.water_columns()?;
                let line_data = &columns.lines[line];
                let item = name(&network.passages[line_data.passage].name);
                if columns.run_out(standing, line) == LineStand::Venting {
                    let text = format!("the rise of {item} has run empty: gas comes to its vent");
                    return Some((EventCode::LineEmpty, item, text));
                }
                let ahead = match standing.lines[line] {
                    LineStand::Draining(1) | LineStand::Drained(1) => line_data.ends[0],
                    _ => line_data.ends[1],
                };
                let text = format!("{item} has run empty: gas comes to {}", network.nodes[ahead].name);
                (EventCode::LineEmpty, item, text)
            }
            (Watch::Choking(valve), rises) => {
                let item = name(&network.gas_valves[valve].name);
                let (code, what) = if rises {
                    (EventCode::ChokingBegins, "begins to choke")
                } else {
                    (EventCode::ChokingEnds, "no longer chokes")
                };
                let text = format!("{item} {what}");
                (code, item, text)
            }
            (Watch::Vent(passage), rises) => {
                let item = name(&network.passages[passage].name);
                let gas = supply.water.vents_gas(passage);
                let (code, what) = match (rises, gas) {
                    (true, _) => (EventCode::VentCloses, "runs full again"),
                    (false, true) => (EventCode::VentOpens, "lets gas out at its apex"),
                    (false, false) => (EventCode::VentOpens, "admits air at its apex"),
                };
                let text = format!("{item} {what}");
                (code, item, text)
            }
            (Watch::Flux(panel), rises) => {
                let item = name(&network.nodes[network.panels[panel].node].name);
                let (code, what) = if rises {
                    (EventCode::PanelMet, "has the water that it needs")
                } else {
                    (EventCode::PanelShort, "falls short of the water that it needs")
                };
                let text = format!("{item} {what}");
                (code, item, text)
            }
            (Watch::Plume(panel), false) => {
                let item = name(&network.nodes[network.panels[panel].node].name);
                let text = format!("the plume enters {item}");
                (EventCode::PlumeEnters, item, text)
            }
            (Watch::Relief(k), rises) => {
                let item = name(&network.gas_vessels[supply.gas_side.outlets[k].vessel].name);
                let (code, what) =
                    if rises { (EventCode::ReliefCloses, "shuts again") } else { (EventCode::ReliefOpens, "opens") };
                let text = format!("the relief valve of {item} {what}");
                (code, item, text)
            }
            (Watch::Condition(k), false) => {
                let control = &supply.controls.list[k];
                let item = control.valve.name(network).to_owned();
                let what = if control.to > 0.0 { "opens" } else { "closes" };
                let after = match control.trigger.dead_time {
                    0.0 => String::new(),
                    wait => format!(" after {wait:.4} s"),
                };
                let text = format!("{}: {} {what}{after}", control.clause(network), control.valve.subject(network));
                (EventCode::ConditionMet, item, text)
            }
            (Watch::Submergence(tank), false) => {
                let item = name(&network.nodes[network.tanks[tank].node].name);
                let needed = supply.submergence(tank);
                let text = format!("gas may break through at the outlet of {item}: its level is down to {needed:.3} m");
                (EventCode::GasBreakthrough, item, text)
            }
            (Watch::Water(_) | Watch::Plume(_) | Watch::Condition(_) | Watch::Submergence(_), true)
            | (Watch::Regulator(..), _) => return None,
            (Watch::Front(_) | Watch::Basin(_) | Watch::Fall(_), _) | (Watch::Drain(_), true) => return None,
        };
        Some((code, item, text))
    }
}

/// When each watched quantity was above 0.
#[derive(Debug, Clone, PartialEq)]
pub struct History {
    watches: Vec<Watch>,
    /// For each: the times from which it was above 0 or not, in order.
    signs: Vec<Vec<(f64, bool)>>,
}

impl History {
    /// A history that begins with nothing known.
    pub fn new(watches: &[Watch]) -> Self {
        History { watches: watches.to_vec(), signs: vec![Vec::new(); watches.len()] }
    }

    /// Whether a quantity was above 0 last; `None` before it is known.
    pub fn last(&self, index: usize) -> Option<bool> {
        self.signs[index].last().map(|&(_, above)| above)
    }

    /// When the sign last known of a quantity was noted, s.
    pub fn last_time(&self, index: usize) -> Option<f64> {
        self.signs[index].last().map(|&(time, _)| time)
    }

    /// Notes a sign; true where it differs from the last one known.
    pub fn note(&mut self, index: usize, time: f64, above: bool) -> bool {
        let last = self.last(index);
        if last != Some(above) {
            self.signs[index].push((time, above));
        }
        last.is_some_and(|last| last != above)
    }

    /// Stretches of time up to `end` in which a quantity was above 0, or was not.
    pub fn stretches(&self, watch: Watch, above: bool, end: f64) -> Vec<(f64, f64)> {
        let Some(index) = self.watches.iter().position(|&w| w == watch) else { return Vec::new() };
        let signs = &self.signs[index];
        let until = |k: usize| signs.get(k + 1).map_or(end, |&(time, _)| time);
        let wanted = signs.iter().enumerate().filter(|(_, (_, sign))| *sign == above);
        wanted.map(|(k, &(from, _))| (from, until(k))).collect()
    }
}
