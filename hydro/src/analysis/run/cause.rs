//! Why a panel falls short: the network at rest at that moment, solved with one thing after the other put right.

use super::heat;
use crate::analysis::findings::gauge;
use crate::analysis::loss_path::{self, Joins};
use crate::analysis::supply::Supply;
use crate::analysis::water::WaterSide;
use crate::component::panel::{plume_enters, plume_presses};
use crate::network::{Network, PassageKind};
use crate::nonlinear::newton::Options;
use crate::result::{Cause, CauseKind, Lack, LossItem, Reason, Series};

/// Rise of a margin from which on something counts as a help.
const HELPS: f64 = 1e-3;

/// Something that is put right.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Remedy {
    /// Ambient pressure outside all holes.
    Plume,
    /// A weir pipe whose vent admits air runs full; index of the passage.
    Weir(usize),
    /// A valve is open; index of the passage.
    Valve(usize),
    /// A tank is as full as at the start, at its highest pressure.
    Refill(usize),
    /// The tanks that are not out are at their highest pressure so far.
    Pressures,
    /// The tanks that are not out are as full as at the start.
    Levels,
}

/// A tank at the moment.
struct TankState {
    pressure: f64,
    highest: f64,
    water: f64,
    first: f64,
    dry: bool,
}

impl TankState {
    /// What its pressure has fallen by, Pa.
    fn lost_pressure(&self) -> f64 {
        self.highest - self.pressure
    }

    /// What its water has fallen by, m3.
    fn lost_water(&self) -> f64 {
        self.first - self.water
    }
}

/// How a panel stands.
#[derive(Debug, Clone, Copy)]
struct Stand {
    flux: f64,
    required: Option<f64>,
    heat: Option<f64>,
    /// Of the plume where it presses; below any where nothing ties the inside to a known pressure.
    plume: Option<f64>,
    meets: bool,
}

impl Stand {
    fn of(network: &Network, water: &WaterSide<'_>, k: usize, needs: &[Option<f64>]) -> Self {
        let (site, panel) = (&network.site, &network.panels[k]);
        let flux = water.panel_flow(k) / panel.area;
        let required = panel.required_flux.filter(|&required| required > 0.0).map(|required| flux / required - 1.0);
        let heat = heat::margin_over(water, k, needs);
        let (inside, outside) = water.weakest(k);
        let presses = panel.plume_pressure.is_some() && plume_presses(outside, site);
        let plume = presses.then(|| inside.map_or(f64::NEG_INFINITY, |inside| (inside - outside) / outside));
        let enough = |margin: Option<f64>| margin.is_none_or(|margin| margin >= heat::SHORT);
        let meets = enough(required) && enough(heat) && !(presses && plume_enters(inside, outside, site));
        Stand { flux, required, heat, plume, meets }
    }

    /// Margin in what is lacking; without a plume nothing presses on the inside.
    fn margin(&self, lack: Lack) -> f64 {
        match lack {
            Lack::RequiredFlux => self.required.unwrap_or(f64::INFINITY),
            Lack::Heat => self.heat.unwrap_or(f64::INFINITY),
            Lack::Pressure => self.plume.unwrap_or(f64::INFINITY),
        }
    }
}

fn finite(margin: f64) -> Option<f64> {
    Some(margin).filter(|margin| margin.is_finite())
}

/// A supply at the moment at which panels fall short.
pub struct Scene<'s, 'a> {
    supply: &'s Supply<'a>,
    time: f64,
    tanks: Vec<TankState>,
    /// Every water valve and how far it is open.
    valves: Vec<(usize, f64)>,
    /// The same network with water that follows at once.
    rest: &'s mut WaterSide<'a>,
    joins: &'s Joins,
}

impl<'s, 'a> Scene<'s, 'a> {
    /// At the instant, time and state, that a supply stands at. `rest` is kept from one moment to the next.
    pub fn new(
        supply: &'s Supply<'a>,
        (time, y): (f64, &[f64]),
        series: &Series,
        rest: &'s mut Option<WaterSide<'a>>,
        joins: &'s Joins,
    ) -> Option<Self> {
        let network = supply.network;
        if rest.is_none() {
            *rest = WaterSide::new(network).ok();
        }
        let rest = rest.as_mut()?;
        let past = series.time.partition_point(|&t| t <= time);
        let tanks = network.tanks.iter().enumerate().map(|(k, tank)| {
            let pressure = supply.contents[tank.vessel].state.pressure;
            let before = series.tanks[k].pressure.iter().take(past).copied();
            let water = y[supply.water_index(k)];
            TankState {
                pressure,
                highest: before.fold(pressure, f64::max),
                water,
                first: series.tanks[k].water.first().copied().unwrap_or(water),
                dry: supply.is_dry(k),
            }
        });
        let valves = supply.water_valves(time).collect();
        Some(Scene { supply, time, tanks: tanks.collect(), valves, rest, joins })
    }

    /// Why panels fall short, each of what it lacks; `None` where the network at rest cannot be solved.
    pub fn reasons(&mut self, panels: &[(usize, Lack)]) -> Vec<Option<Reason>> {
        let (supply, time, joins) = (self.supply, self.time, self.joins);
        let network = supply.network;
        let needs: Vec<_> = panels.iter().map(|&(k, _)| heat::needs(network, &supply.water, k, time)).collect();
        let stands = |water: &WaterSide<'_>| -> Vec<Stand> {
            panels.iter().zip(&needs).map(|(&(k, _), needs)| Stand::of(network, water, k, needs)).collect()
        };
        let moving = stands(&supply.water);
        let with_paths = |network: &Network, water: &WaterSide<'_>| {
            let paths = panels.iter().map(|&(k, _)| most_loss(network, water, joins, k, time)).collect::<Vec<_>>();
            (stands(water), paths, aired(network, water))
        };
        let Some((still, paths, aired)) = self.solve(&[], with_paths) else { return vec![None; panels.len()] };
        let remedies = self.remedies(&aired);
        let mut tried = Vec::new();
        for remedy in remedies {
            let outcome = self.solve(&[remedy], |_, water| stands(water));
            tried.extend(outcome.map(|stands| (remedy, stands)));
        }
        let mut together: Vec<(Vec<Remedy>, _)> = Vec::new();
        let mut reasons = Vec::with_capacity(panels.len());
        for (at, &(k, lack)) in panels.iter().enumerate() {
            let base = still[at].margin(lack);
            let mut reason = Reason {
                margin: finite(base),
                causes: Vec::new(),
                margin_with_all: finite(base),
                // Where nothing helps: just met counts as short at the moment at which it becomes so.
                network_too_small: true,
                most_loss: paths[at].clone(),
            };
            let lag = base - moving[at].margin(lack);
            if supply.is_moving() && lag >= HELPS {
                let text = String::from("its water is not up to speed yet");
                reason.causes.push(cause(CauseKind::WaterMoving, String::new(), text, &still[at], lack));
                if still[at].meets {
                    reason.network_too_small = false;
                    reasons.push(Some(reason));
                    continue;
                }
            }
            let mut helping = Vec::new();
            for (remedy, stands) in &tried {
                let gain = stands[at].margin(lack) - base;
                // From no margin to none nothing is gained.
                if gain >= HELPS {
                    helping.push(*remedy);
                    let (kind, item, text) = self.describe(*remedy, k);
                    reason.causes.push(cause(kind, item, text, &stands[at], lack));
                }
            }
            if !helping.is_empty() {
                if !together.iter().any(|(known, _)| *known == helping) {
                    let outcome = self.solve(&helping, with_paths).map(|(stands, paths, _)| (stands, paths));
                    together.push((helping.clone(), outcome));
                }
                let all =
                    together.iter().find(|(known, _)| *known == helping).and_then(|(_, outcome)| outcome.as_ref());
                let Some((stands, paths)) = all else {
                    reasons.push(None);
                    continue;
                };
                reason.margin_with_all = finite(stands[at].margin(lack));
                reason.network_too_small = !stands[at].meets && !reason.causes.iter().any(|cause| cause.restores);
                reason.most_loss.clone_from(&paths[at]);
            }
            let rank = |cause: &Cause| (cause.restores, cause.margin.unwrap_or(f64::INFINITY));
            reason.causes.sort_by(|a, b| {
                let (a, b) = (rank(a), rank(b));
                b.0.cmp(&a.0).then(b.1.total_cmp(&a.1))
            });
            reasons.push(Some(reason));
        }
        reasons
    }

    /// All that is not as it could be.
    fn remedies(&self, aired: &[usize]) -> Vec<Remedy> {
        let network = self.supply.network;
        let mut remedies = Vec::new();
        let presses = |k: usize| plume_presses(self.supply.water.weakest(k).1, &network.site);
        if (0..network.panels.len()).any(presses) {
            remedies.push(Remedy::Plume);
        }
        remedies.extend(aired.iter().map(|&passage| Remedy::Weir(passage)));
        remedies
            .extend(self.valves.iter().filter(|(_, opened)| *opened < 1.0).map(|&(passage, _)| Remedy::Valve(passage)));
        remedies.extend((0..self.tanks.len()).filter(|&k| self.tanks[k].dry).map(Remedy::Refill));
        if !self.fallen(TankState::lost_pressure).is_empty() {
            remedies.push(Remedy::Pressures);
        }
        if !self.fallen(TankState::lost_water).is_empty() {
            remedies.push(Remedy::Levels);
        }
        remedies
    }

    /// Tanks in use where something has fallen, and by how much.
    fn fallen(&self, fall: impl Fn(&TankState) -> f64) -> Vec<(usize, f64)> {
        let tanks = self.tanks.iter().enumerate().filter(|(_, tank)| !tank.dry);
        tanks.map(|(k, tank)| (k, fall(tank))).filter(|&(_, fall)| fall > 0.0).collect()
    }

    /// Solves the network at rest with some things put right and reads it.
    fn solve<T>(&mut self, remedies: &[Remedy], read: impl FnOnce(&Network, &WaterSide<'_>) -> T) -> Option<T> {
        let network = self.supply.network;
        let moment = (self.time, self.tanks.as_slice(), self.valves.as_slice());
        let Some(other) = altered(network, remedies) else {
            give(self.rest, network, moment, remedies);
            self.rest.solve(&Options::default()).ok()?;
            return Some(read(network, self.rest));
        };
        let mut water = WaterSide::new(&other).ok()?;
        give(&mut water, network, moment, remedies);
        water.solve(&Options::default()).ok()?;
        Some(read(&other, &water))
    }

    /// Kind, item and clause of what a remedy puts right, for a panel.
    fn describe(&self, remedy: Remedy, panel: usize) -> (CauseKind, String, String) {
        let network = self.supply.network;
        let ambient = network.site.ambient_pressure;
        let passage = |k: usize| network.passages[k].name.to_string();
        let tank = |k: usize| network.nodes[network.tanks[k].node].name.to_string();
        let most = |fallen: &[(usize, f64)]| {
            let worst = fallen.iter().copied().max_by(|a, b| a.1.total_cmp(&b.1));
            let others = match fallen.len() {
                0 | 1 => String::new(),
                2 => String::from(" and that of another tank"),
                n => format!(" and that of {} other tanks", n - 1),
            };
            let item = if let [(k, _)] = fallen { tank(*k) } else { String::new() };
            (worst.map_or((0, 0.0), |worst| worst), others, item)
        };
        match remedy {
            Remedy::Plume => {
                let outside = self.supply.water.weakest(panel).1;
                let text = format!("the plume presses on the plate, on this panel with {}", gauge(outside, ambient));
                (CauseKind::PlumePressure, String::new(), text)
            }
            Remedy::Weir(k) => (CauseKind::WeirVent, passage(k), format!("{} admits air at its apex", passage(k))),
            Remedy::Valve(k) => {
                let opened = self.valves.iter().find(|(valve, _)| *valve == k).map_or(0.0, |(_, opened)| *opened);
                let text = if opened > 0.0 {
                    format!("{} is open by {:.0} %", passage(k), 100.0 * opened)
                } else {
                    format!("{} is shut", passage(k))
                };
                (CauseKind::Valve, passage(k), text)
            }
            Remedy::Refill(k) => (CauseKind::TankEmpty, tank(k), format!("{} is empty", tank(k))),
            Remedy::Pressures => {
                let ((k, _), others, item) = most(&self.fallen(TankState::lost_pressure));
                let (before, now) = (gauge(self.tanks[k].highest, ambient), gauge(self.tanks[k].pressure, ambient));
                let text = format!("the gas pressure of {}{others} has fallen, from {before} to {now}", tank(k));
                (CauseKind::TankPressure, item, text)
            }
            Remedy::Levels => {
                let ((k, fall), others, item) = most(&self.fallen(TankState::lost_water));
                let fall = fall / network.tanks[k].surface();
                let text = format!("the level of {}{others} has fallen, by {fall:.2} m", tank(k));
                (CauseKind::TankLevel, item, text)
            }
        }
    }
}

/// The network without what some remedies take away; `None` where they leave it as it is.
fn altered(network: &Network, remedies: &[Remedy]) -> Option<Network> {
    if !remedies.iter().any(|remedy| matches!(remedy, Remedy::Plume | Remedy::Weir(_))) {
        return None;
    }
    let mut other = network.clone();
    for remedy in remedies {
        match *remedy {
            Remedy::Plume => other.panels.iter_mut().for_each(|panel| panel.plume_pressure = None),
            Remedy::Weir(passage) => {
                if let PassageKind::WeirPipe(weir) = &mut other.passages[passage].kind {
                    weir.vent = None;
                }
            }
            _ => {}
        }
    }
    Some(other)
}

/// Gives a water side the moment, with some things put right.
fn give(
    water: &mut WaterSide<'_>,
    network: &Network,
    (time, tanks, valves): (f64, &[TankState], &[(usize, f64)]),
    remedies: &[Remedy],
) {
    let has = |remedy: Remedy| remedies.contains(&remedy);
    water.set_time(time);
    for (k, (tank, data)) in tanks.iter().zip(&network.tanks).enumerate() {
        let refilled = has(Remedy::Refill(k));
        let pressed = refilled || (!tank.dry && has(Remedy::Pressures));
        let filled = refilled || (!tank.dry && has(Remedy::Levels));
        let pressure = if pressed { tank.highest } else { tank.pressure };
        let content = if filled { tank.first } else { tank.water };
        water.set_tank(k, pressure + data.head_of_water(content, &network.site));
        water.set_dry(k, tank.dry && !refilled);
    }
    for &(passage, opened) in valves {
        water.set_opened(passage, if has(Remedy::Valve(passage)) { 1.0 } else { opened });
    }
}

fn cause(kind: CauseKind, item: String, text: String, stand: &Stand, lack: Lack) -> Cause {
    Cause { kind, item, text, flux: stand.flux, margin: finite(stand.margin(lack)), restores: stand.meets }
}

/// Weir pipes whose vent admits air.
fn aired(network: &Network, water: &WaterSide<'_>) -> Vec<usize> {
    let passages = 0..network.passages.len();
    passages.filter(|&k| water.weir(k).is_some_and(|weir| weir.shares[0] < 0.5)).collect()
}

/// Where most of the pressure goes between a tank and a panel.
fn most_loss(network: &Network, water: &WaterSide<'_>, joins: &Joins, panel: usize, time: f64) -> Option<LossItem> {
    let path = loss_path::find(network, water, joins, panel, None, time)?;
    path.items.into_iter().max_by(|a, b| a.loss.total_cmp(&b.loss))
}
