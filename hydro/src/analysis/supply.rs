//! The whole supply at one instant: gas vessels, gas valves, and the water network between them and the plate.
//!
//! The state vector holds, in this order: mass and internal energy of every gas vessel, the water volume of every
//! tank, and the water that has left the network.

mod breakthrough;
pub mod control;
pub mod gas_side;
mod jacobian;
mod moisture;
mod moving;
mod near;
mod passage;

use super::columns::Step;
use super::water::{SolveError, WaterSide};
use crate::component::gas_vessel::{Content, Rates};
use crate::component::panel::Panel;
use crate::component::schedule::Course;
use crate::component::tank::UllageModel;
use crate::fluid::gas::{Gas, GasError, GasState, Throat};
use crate::fluid::water::WaterError;
use crate::network::{GasVessel, GasVesselKind, Network};
use crate::nonlinear::newton::Options;
use control::Controls;
use gas_side::GasSide;
use moving::{INSTANT, Moving};
use passage::order;
pub use passage::{GasPassage, Regulation};

/// Change at which a network that is solved again and again is solved: the error left is about its square.
const RESUMED_CHANGE: f64 = 1e-5;

/// How many times its content counts as the size of a gas header.
const FOLLOWS: f64 = 10.0;

/// Share of its temperature by which gas may be told to have become warmer from how it stood when last looked up.
const WARMER: f64 = 0.01;

/// Least opened share of a valve that is moving: keeps it in the network through the stroke.
pub const LEAST_OPENED: f64 = 1e-6;

/// Share of its volume that a tank counts as filled with at least, as the measure of errors in its water.
const LEAST_FILLED: f64 = 1e-3;

/// Why the supply could not be computed at an instant.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SupplyError {
    /// The water side.
    #[error(transparent)]
    Water(#[from] SolveError),
    /// The gas in a vessel or at a valve.
    #[error("{item} at {time} s: {source}")]
    Gas {
        /// Vessel or gas valve.
        item: String,
        /// Time, s.
        time: f64,
        /// What went wrong.
        source: GasError,
    },
    /// Vapour over the water of a tank.
    #[error("the vapour in {tank} is not known: {source}")]
    Vapour {
        /// Tank.
        tank: String,
        /// What went wrong.
        source: WaterError,
    },
    /// A tank has no room left for gas.
    #[error("{tank} is full of water at {time} s: no room is left for gas")]
    Full {
        /// Tank.
        tank: String,
        /// Time, s.
        time: f64,
    },
}

/// Everything about the supply at one instant.
#[derive(Debug)]
pub struct Supply<'a> {
    /// The network.
    pub network: &'a Network,
    gas: Gas,
    /// The water side, solved at the last instant.
    pub water: WaterSide<'a>,
    /// Gas vessels at the last instant.
    pub contents: Vec<Content>,
    /// Gas valves at the last instant.
    pub passages: Vec<GasPassage>,
    /// What each gas valve does in this stretch, where it is regulated.
    regulations: Vec<Regulation>,
    /// Water leaving each tank at the last instant, m3/s.
    pub outflows: Vec<f64>,
    /// Outlets of gas, metal walls, heat.
    pub gas_side: GasSide,
    /// States last found from the equation of state itself.
    known: Vec<GasState>,
    rates: Vec<Rates>,
    throats: Vec<Option<Throat>>,
    /// Order in which the gas valves are evaluated: a regulated one after those that leave its outlet.
    order: Vec<usize>,
    start: Vec<Content>,
    dry: Vec<bool>,
    /// How far every valve is open over time, and on what conditions.
    pub controls: Controls,
    /// How the valves stand or move in this segment; water valves in the order of the courses.
    water_motion: Vec<Motion>,
    gas_motion: Vec<Motion>,
    vent_motion: Vec<Motion>,
    /// What a supply whose water is set moving keeps.
    moving: Option<Moving>,
    /// Whether nothing depends on the time itself in this segment.
    autonomous: bool,
    /// Instant that the fields stand for: time and state.
    last: (f64, Vec<f64>),
    /// Whether the gas valves pass otherwise there by now, and nothing else is another.
    stale: bool,
    options: Options,
    answers: near::Answers,
    /// Whether the state is one on the way through a step, of which only the rates of change are asked for.
    on_the_way: bool,
}

/// What a water side is held at: the gas over the water of the tanks.
struct Hold<'s> {
    network: &'s Network,
    contents: &'s [Content],
    dry: &'s [bool],
}

impl Hold<'_> {
    /// Gives a water side the time and the tanks of a state.
    fn give(&self, water: &mut WaterSide<'_>, time: f64, y: &[f64]) {
        water.set_time(time);
        for (k, tank) in self.network.tanks.iter().enumerate() {
            let gas = self.contents[tank.vessel].state.pressure;
            water.set_tank(k, gas + tank.head_of_water(y[2 * self.contents.len() + k], &self.network.site));
            water.set_dry(k, self.dry[k]);
        }
    }
}

/// How a valve stands through a segment of time.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Motion {
    Still(f64),
    Moving,
}

impl Motion {
    /// Of a course that is linear between two times, or constant.
    fn of(course: &Course, from: f64, to: f64) -> Self {
        let opened = |share: f64| course.opened(from + share * (to - from));
        let (early, late) = (opened(0.25), opened(0.75));
        if early == late { Motion::Still(late) } else { Motion::Moving }
    }

    fn opened(self, course: &Course, time: f64) -> f64 {
        match self {
            Motion::Still(opened) => opened,
            // No kink where the stroke begins or ends.
            Motion::Moving => LEAST_OPENED + (1.0 - LEAST_OPENED) * course.opened(time),
        }
    }
}

impl<'a> Supply<'a> {
    /// The supply of a network at its start.
    ///
    /// # Errors
    /// Where the gas cannot be at the state that the file gives, or the network is too large.
    pub fn new(network: &'a Network) -> Result<Self, SupplyError> {
        let gas = Gas::new(network.gas, network.gas_model);
        let mut start = Vec::new();
        let vapour = moisture::vapour(network)?;
        for vessel in &network.gas_vessels {
            let state = gas.state_p_t(vessel.pressure, vessel.temperature).map_err(|source| SupplyError::Gas {
                item: vessel.name.clone(),
                time: network.duty.start,
                source,
            })?;
            let (volume, isothermal) = match vessel.kind {
                GasVesselKind::Bank { bottles, bottle_volume } => (f64::from(bottles) * bottle_volume, false),
                GasVesselKind::Header { volume } => (volume, false),
                GasVesselKind::Ullage(tank) => {
                    let tank = &network.tanks[tank];
                    (tank.volume - tank.water, tank.ullage == UllageModel::Isothermal)
                }
            };
            let dry = Content { mass: state.density * volume, volume, state, isothermal, moisture: None };
            start.push(moisture::at_start(network, &gas, vessel, dry, vapour)?);
        }
        let outside =
            |source| SupplyError::Gas { item: String::from("the surroundings"), time: network.duty.start, source };
        let gas_side = GasSide::new(network, &gas).map_err(outside)?;
        let count = network.gas_valves.len();
        let (water, moving) = if network.inertia {
            let (water, states) = WaterSide::moving(network)?;
            (water, Some(Moving::new(states)))
        } else {
            (WaterSide::new(network)?, None)
        };
        Ok(Supply {
            moving,
            network,
            gas,
            water,
            contents: start.clone(),
            passages: vec![GasPassage::none(false); count],
            regulations: vec![Regulation::Any; count],
            outflows: vec![0.0; network.tanks.len()],
            gas_side,
            known: start.iter().map(|content| content.state).collect(),
            rates: vec![Rates::default(); start.len()],
            throats: vec![None; count],
            order: order(&network.gas_valves),
            start,
            dry: network.tanks.iter().map(|tank| tank.water <= tank.heel).collect(),
            controls: Controls::new(network),
            water_motion: Vec::new(),
            gas_motion: vec![Motion::Still(1.0); count],
            vent_motion: Vec::new(),
            autonomous: false,
            last: (f64::NAN, Vec::new()),
            stale: false,
            answers: near::Answers::default(),
            on_the_way: false,
            // Its square is a small part of what a stage may leave.
            options: Options { change: RESUMED_CHANGE.min((1e-4 * network.tolerance).sqrt()), ..Options::default() },
        })
    }

    /// Length of the state vector.
    pub fn dim(&self) -> usize {
        self.columns_at() + self.moving.as_ref().map_or(0, |moving| moving.first.len())
    }

    /// State vector at the start.
    pub fn initial(&self) -> Vec<f64> {
        let mut y: Vec<f64> = self.start.iter().flat_map(|c| [c.mass, c.energy()]).collect();
        y.extend(self.network.tanks.iter().map(|tank| tank.water));
        y.push(0.0);
        y.extend(self.gas_side_start().iter().map(|(value, _)| value));
        y.extend(self.moving.iter().flat_map(|moving| &moving.first));
        y
    }

    /// Natural size of each component of the state vector.
    pub fn scale(&self) -> Vec<f64> {
        // A header follows what flows through it: it forgets an error at once.
        let size = |vessel: &GasVessel| if matches!(vessel.kind, GasVesselKind::Header { .. }) { FOLLOWS } else { 1.0 };
        let sized = self.start.iter().zip(&self.network.gas_vessels);
        let mut scale: Vec<f64> = sized
            .flat_map(|(c, vessel)| [1.0, c.state.cv * c.state.temperature].map(|part| size(vessel) * c.mass * part))
            .collect();
        // A large tank with little water in it has to be as exact as a small one that is full.
        let water = self.network.tanks.iter().map(|tank| tank.water.max(LEAST_FILLED * tank.volume));
        scale.extend(water.clone());
        scale.push(water.sum::<f64>().max(1e-3));
        scale.extend(self.gas_side_start().iter().map(|(_, size)| size));
        scale.extend(self.water_columns().into_iter().flat_map(|(columns, _)| columns.scale()));
        scale
    }

    /// Place of a tank's water in the state vector.
    pub fn water_index(&self, tank: usize) -> usize {
        2 * self.contents.len() + tank
    }

    /// Fixes how the valves stand or move from one time to another.
    pub fn set_segment(&mut self, from: f64, to: f64) {
        let motion = |course: &Course| Motion::of(course, from, to);
        self.water_motion = self.controls.water.iter().map(|(_, course)| motion(course)).collect();
        self.gas_motion = self.controls.gas.iter().map(motion).collect();
        self.vent_motion = self.controls.vents.iter().map(|(_, course)| motion(course)).collect();
        let still = |motion: &Motion| *motion != Motion::Moving;
        let outside = |panel: &Panel, time| panel.outside(time, &self.network.site);
        let stays = self.network.panels.iter().all(|panel| outside(panel, from) == outside(panel, to));
        self.water.set_outside_stays(stays);
        self.autonomous =
            stays && self.gas_motion.iter().chain(&self.vent_motion).all(still) && self.water_motion.iter().all(still);
        self.water.forget_instants();
        self.forget();
    }

    /// Whether nothing depends on the time itself between the times given to [`Self::set_segment`]. Tables are linear
    /// between their points, so a value that is the same at both ends does not change between marks.
    pub fn is_autonomous(&self) -> bool {
        self.autonomous
    }

    /// Takes a tank out: its water is at its heel.
    pub fn set_dry(&mut self, tank: usize) {
        self.dry[tank] = true;
        self.let_gas_follow(tank);
        self.forget();
    }

    /// Says which tanks are out.
    pub fn set_dry_all(&mut self, dry: &[bool]) {
        self.dry.copy_from_slice(dry);
        self.forget();
    }

    /// Which tanks are out.
    pub fn dry(&self) -> &[bool] {
        &self.dry
    }

    /// Whether a tank is out.
    pub fn is_dry(&self, tank: usize) -> bool {
        self.dry[tank]
    }

    fn forget(&mut self) {
        (self.last.0, self.stale) = (f64::NAN, false);
    }

    /// Computes everything at a time, s, and a state.
    ///
    /// # Errors
    /// [`SupplyError`], with the item and the time.
    pub fn evaluate(&mut self, time: f64, y: &[f64]) -> Result<(), SupplyError> {
        // A stage knows the end of its step but for rounding.
        let same = (self.last.0 - time).abs() <= 2.0 * f64::EPSILON * time.abs() && self.last.1 == y;
        match (same, self.stale) {
            (true, false) => return Ok(()),
            (true, true) => self.pass_gas(time)?,
            _ => self.evaluate_with(time, time, y)?,
        }
        self.stand_at(time, y);
        Ok(())
    }

    /// Notes what instant the fields stand for.
    fn stand_at(&mut self, time: f64, y: &[f64]) {
        (self.last.0, self.stale) = (time, false);
        self.last.1.clear();
        self.last.1.extend_from_slice(y);
    }

    /// As [`Self::evaluate`], for the way things go on from there: the rate of change of water that is set moving is one
    /// over an instant, so the valves stand as they do at its end.
    ///
    /// # Errors
    /// [`SupplyError`], with the item and the time.
    pub fn evaluate_onwards(&mut self, time: f64, y: &[f64]) -> Result<(), SupplyError> {
        if !self.is_moving() {
            return self.evaluate(time, y);
        }
        self.evaluate_with(time, time + INSTANT, y)
    }

    fn evaluate_with(&mut self, time: f64, valves: f64, y: &[f64]) -> Result<(), SupplyError> {
        self.forget();
        self.fill(time, y)?;
        self.set_water(valves, y);
        let at = self.columns_at();
        if let Some(moving) = &mut self.moving {
            moving.time = time;
            moving.base.copy_from_slice(&y[at..]);
            self.water.load(&Step { time, reach: INSTANT, base: &y[at..], states: &y[at..] });
        }
        self.solve_water()?;
        self.exchange_heat(y);
        self.pass_gas(time)
    }

    /// States of the gas vessels.
    fn fill(&mut self, time: f64, y: &[f64]) -> Result<(), SupplyError> {
        let network = self.network;
        for (v, vessel) in network.gas_vessels.iter().enumerate() {
            let drained = match vessel.kind {
                GasVesselKind::Ullage(tank) => self.drained(tank, y),
                GasVesselKind::Bank { .. } | GasVesselKind::Header { .. } => 0.0,
            };
            let content = &mut self.contents[v];
            let wrap = |source| SupplyError::Gas { item: vessel.name.clone(), time, source };
            let (mass, energy) = (y[2 * v], y[2 * v + 1]);
            let mut model = UllageModel::Energy;
            if let GasVesselKind::Ullage(tank) = vessel.kind {
                let tank_data = &network.tanks[tank];
                model = tank_data.ullage;
                content.volume = tank_data.volume - y[2 * self.start.len() + tank] + drained;
                if content.volume <= 1e-9 * tank_data.volume {
                    return Err(SupplyError::Full { tank: vessel.name.clone(), time });
                }
            }
            content.mass = mass;
            if content.moisture.is_some() {
                self.fill_moist(v, model, y).map_err(wrap)?;
                continue;
            }
            let density = mass / content.volume;
            let guess = content.state.temperature;
            content.state = match model {
                UllageModel::Energy | UllageModel::Adiabatic => {
                    match self.gas.state_near(&self.known[v], density, energy / mass) {
                        Some(state) => state,
                        None => {
                            let warmer = self.known[v].warming_to(density, energy / mass);
                            let near = warmer.abs() <= WARMER * guess;
                            let guess = if near { self.known[v].temperature + warmer } else { guess };
                            self.known[v] = self.gas.state_rho_u(density, energy / mass, guess).map_err(wrap)?;
                            self.known[v]
                        }
                    }
                }
                UllageModel::Isothermal => self.gas.state_rho_t(density, vessel.temperature).map_err(wrap)?,
                UllageModel::Polytropic { exponent } => {
                    let pressure = vessel.pressure * (self.start[v].volume / content.volume).powf(exponent);
                    self.gas.state_p_rho(pressure, density, guess).map_err(wrap)?
                }
            };
        }
        Ok(())
    }

    /// Gives the water side its tanks and valves.
    fn set_water(&mut self, time: f64, y: &[f64]) {
        let hold = Hold { network: self.network, contents: &self.contents, dry: &self.dry };
        hold.give(&mut self.water, time, y);
        for ((k, course), motion) in self.controls.water.iter().zip(&self.water_motion) {
            self.water.set_opened(*k, motion.opened(course, time));
        }
    }

    fn solve_water(&mut self) -> Result<(), SupplyError> {
        let options = self.options;
        self.solve_water_to(&options)
    }

    /// Solves the water side to given options.
    fn solve_water_to(&mut self, options: &Options) -> Result<(), SupplyError> {
        self.water.solve(options)?;
        self.take_outflows();
        Ok(())
    }

    fn take_outflows(&mut self) {
        for k in 0..self.outflows.len() {
            self.outflows[k] = if self.dry[k] { 0.0 } else { self.water.outflow(k) };
        }
    }

    /// Flows of the gas valves and the rates of all vessels.
    fn pass_gas(&mut self, time: f64) -> Result<(), SupplyError> {
        let network = self.network;
        for (v, vessel) in network.gas_vessels.iter().enumerate() {
            let evaporates = self.evaporates(v);
            let volume = match vessel.kind {
                GasVesselKind::Ullage(tank) => self.outflows[tank] + evaporates.volume + self.draining(tank),
                GasVesselKind::Bank { .. } | GasVesselKind::Header { .. } => 0.0,
            };
            let energy = self.heat(v) - self.contents[v].state.pressure * volume + evaporates.energy;
            self.rates[v] = Rates { energy, volume, ..evaporates };
        }
        self.pass_outlets(time)?;
        for at in 0..self.order.len() {
            self.pass(self.order[at], time)?;
        }
        self.balance_energy();
        Ok(())
    }

    /// d(state)/dt at the last instant.
    pub fn derivative(&self, dydt: &mut [f64]) {
        match &self.moving {
            Some(moving) => {
                let (time, base) = (moving.time, moving.base.as_slice());
                self.rates_of(&Step { time, reach: INSTANT, base, states: base }, dydt);
            }
            None => self.derivative_at_rest(dydt),
        }
    }

    /// d(state)/dt of the gas, the tanks and what has left.
    fn derivative_at_rest(&self, dydt: &mut [f64]) {
        for (v, (rates, content)) in self.rates.iter().zip(&self.contents).enumerate() {
            dydt[2 * v] = rates.mass;
            dydt[2 * v + 1] = if content.isothermal { 0.0 } else { rates.energy };
        }
        let at = 2 * self.contents.len();
        for (k, outflow) in self.outflows.iter().enumerate() {
            dydt[at + k] = -outflow - self.evaporates(self.network.tanks[k].vessel).volume;
        }
        dydt[at + self.outflows.len()] = self.leaving();
        self.gas_side_derivative(dydt);
    }

    /// Water leaving the network through panels and outfalls, m3/s.
    pub fn leaving(&self) -> f64 {
        self.water.leaving()
    }
}
