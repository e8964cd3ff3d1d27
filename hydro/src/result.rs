//! Results of the analyses: SI numbers and names, no serialisation and no physics.
//!
//! Every list is in the order of the file. Pressures are absolute, Pa; positive flow runs `from` -> `to`. A pressure
//! is `None` where nothing ties the item to a known pressure (all its valves shut).

mod event;
mod faults;
mod fit;
mod gas;
mod plate;
mod shortfall;
mod size;
mod sizing;
mod spread;

use crate::finding::{Finding, Level};
use crate::name::Name;

pub use event::*;
pub use faults::*;
pub use fit::*;
pub use gas::*;
pub use plate::*;
pub use shortfall::*;
pub use size::*;
pub use sizing::*;
pub use spread::*;

/// Steady flow through the network at one time.
#[derive(Debug, Clone, PartialEq)]
pub struct FlowResult {
    /// Title of the file; empty when not given.
    pub title: String,
    /// Time that valves, tables and plume stand for, s.
    pub time: f64,
    /// Pressure of the surroundings, Pa absolute.
    pub ambient_pressure: f64,
    /// Properties of the water.
    pub water: WaterState,
    /// Tanks.
    pub tanks: Vec<TankFlow>,
    /// Headers.
    pub headers: Vec<HeaderPressure>,
    /// Pipes, valves, weir pipes and crossovers.
    pub passages: Vec<PassageFlow>,
    /// Panels.
    pub panels: Vec<PanelFlow>,
    /// Sum of the flow that leaves through the panels, m3/s.
    pub total_flow: f64,
    /// How even the water is over the panels; `None` where there are none.
    pub plate: Option<Evenness>,
    /// Where the pressure goes between a tank and the worst panel; `None` when no water reaches it.
    pub worst_path: Option<LossPath>,
    /// Work of the solver.
    pub solver: FlowSolver,
    /// Findings.
    pub findings: Vec<Finding>,
}

impl FlowResult {
    /// Whether every panel has its required flux, no plume enters and no finding says `fail`.
    pub fn requirements_met(&self) -> bool {
        no_failure(&self.findings) && self.panels.iter().all(|p| p.met != Some(false) && !p.plume_enters)
    }
}

/// Properties of the water, constant through a result.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WaterState {
    /// Density, kg/m3.
    pub density: f64,
    /// Dynamic viscosity, Pa s.
    pub viscosity: f64,
    /// Vapour pressure, Pa absolute.
    pub vapour_pressure: f64,
}

/// A tank in a steady result.
#[derive(Debug, Clone, PartialEq)]
pub struct TankFlow {
    /// Name in the file.
    pub name: Name,
    /// Pressure of the gas over the water, Pa.
    pub pressure: f64,
    /// Total pressure at the outlet: gas pressure and the water above the bottom, Pa.
    pub outlet_pressure: f64,
    /// Water leaving, m3/s.
    pub outflow: f64,
}

/// A header in a steady result.
#[derive(Debug, Clone, PartialEq)]
pub struct HeaderPressure {
    /// Name in the file.
    pub name: Name,
    /// Total pressure, Pa: of a long header at its start.
    pub pressure: Option<f64>,
    /// Length, m; `None` for a header without one.
    pub length: Option<f64>,
    /// What joins it, by position; empty for a header without length and where nothing ties it to a known pressure.
    pub takeoffs: Vec<TakeoffFlow>,
}

/// An item joined to a long header in a steady result.
#[derive(Debug, Clone, PartialEq)]
pub struct TakeoffFlow {
    /// Name of the item.
    pub item: Name,
    /// Position along the header, m.
    pub at: f64,
    /// Water that leaves the header here into the item, m3/s.
    pub flow: f64,
    /// Pressure that the item meets, Pa: the static one with a regain, the total one of its branch with tees and at an
    /// end.
    pub pressure: f64,
    /// Static pressure in the header, mean of before and behind, Pa.
    pub static_pressure: f64,
    /// Total pressure in the header, mean of before and behind, Pa.
    pub total_pressure: f64,
    /// Velocity in the header before this place, m/s, positive along the header.
    pub velocity_before: f64,
    /// Velocity in the header behind it, m/s.
    pub velocity_behind: f64,
}

/// A passage in a steady result.
#[derive(Debug, Clone, PartialEq)]
pub struct PassageFlow {
    /// Name in the file.
    pub name: Name,
    /// `pipe`, `valve`, `weir_pipe` or `crossover`.
    pub kind: &'static str,
    /// Name of the item at its start.
    pub from: Name,
    /// Name of the item at its end.
    pub to: Name,
    /// Flow, m3/s.
    pub flow: f64,
    /// Mean velocity on its own bore (of one port, for a crossover), m/s, with the sign of the flow.
    pub velocity: f64,
    /// Loss of total head, `p1 - p2 + rho g (z1 - z2)`, Pa; `None` where an end has no pressure.
    pub pressure_loss: Option<f64>,
    /// Reynolds number on its own bore, 0 or more.
    pub reynolds: f64,
    /// Static pressure at the apex, Pa; weir pipes only, `None` where an end has no pressure.
    pub apex_pressure: Option<f64>,
    /// Whether the vent admits air; `None` for everything but weir pipes.
    pub weir: Option<WeirState>,
}

/// How a weir pipe runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WeirState {
    /// Both legs full of water.
    Full,
    /// Air enters through the vent: the leg behind the apex does not run full.
    Aired,
}

impl WeirState {
    /// The state's name in results: `full` or `aired`.
    pub fn label(self) -> &'static str {
        match self {
            WeirState::Full => "full",
            WeirState::Aired => "aired",
        }
    }
}

/// Where the pressure goes on the way from a tank to a panel.
#[derive(Debug, Clone, PartialEq)]
pub struct LossPath {
    /// Panel at the end of the way.
    pub panel: Name,
    /// Tank at its start.
    pub tank: Name,
    /// What lies between, in the direction of the water.
    pub items: Vec<LossItem>,
}

/// One item on a [`LossPath`].
#[derive(Debug, Clone, PartialEq)]
pub struct LossItem {
    /// Name in the file.
    pub name: Name,
    /// `pipe`, `valve`, `weir_pipe`, `crossover`, `header`, `gap`, `holes` or `lift`.
    pub kind: &'static str,
    /// Loss of total head over it, Pa (for `lift`: rho g times the rise).
    pub loss: f64,
    /// Share of the whole pressure difference between tank and outside, 1 = all.
    pub share: f64,
}

/// Work of a steady solve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FlowSolver {
    /// Newton iterations.
    pub iterations: usize,
    /// Largest sum of flows at an item whose pressure was solved for, m3/s.
    pub largest_imbalance: f64,
    /// Time of the solve, s; filled in by whoever holds a clock.
    pub solve_time: Option<f64>,
}

/// The supply over time.
#[derive(Debug, Clone, PartialEq)]
pub struct RunResult {
    /// Title of the file; empty when not given.
    pub title: String,
    /// Pressure of the surroundings, Pa absolute.
    pub ambient_pressure: f64,
    /// Start of the time in which the requirement applies, s.
    pub ignition: f64,
    /// End of the time in which the requirement applies, s.
    pub hold_ends: f64,
    /// Everything over time.
    pub series: Series,
    /// What happened, in order of time.
    pub events: Vec<Event>,
    /// What each panel got.
    pub panels: Vec<PanelVerdict>,
    /// Tanks.
    pub tanks: Vec<TankVerdict>,
    /// Gas banks, gas headers and the gas over the water of the tanks.
    pub gas: Vec<GasVerdict>,
    /// How long the supply lasts and what it used.
    pub supply: Supply,
    /// Errors of conservation.
    pub balance: Balance,
    /// Work of the solver.
    pub solver: RunSolver,
    /// Findings.
    pub findings: Vec<Finding>,
    /// Why the run ended, as one clause for people ("the end of the duty").
    pub ended: String,
}

impl RunResult {
    /// Whether every panel has its required flux from ignition to the end of hold, no plume enters in that time and no
    /// finding says `fail`.
    pub fn requirements_met(&self) -> bool {
        no_failure(&self.findings) && self.panels.iter().all(|p| p.met != Some(false) && !p.plume_enters)
    }
}

/// Series over time: every vector has one value for each time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Series {
    /// Times, s, not falling: equally spaced rows and the time of every event.
    pub time: Vec<f64>,
    /// Tanks.
    pub tanks: Vec<TankSeries>,
    /// Gas banks.
    pub gas_banks: Vec<GasVesselSeries>,
    /// Gas headers.
    pub gas_headers: Vec<GasVesselSeries>,
    /// Gas valves: mass flow, kg/s.
    pub gas_valves: Vec<FlowSeries>,
    /// Panels: flow, m3/s.
    pub panels: Vec<FlowSeries>,
    /// Passages: flow, m3/s.
    pub passages: Vec<FlowSeries>,
    /// Headers, then panels: total pressure inside, Pa.
    pub pressures: Vec<PressureSeries>,
}

/// A pressure over time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct PressureSeries {
    /// Name in the file.
    pub name: String,
    /// Total pressure, Pa; not a number where nothing ties the item to a known pressure.
    pub pressure: Vec<f64>,
}

/// A tank over time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TankSeries {
    /// Name in the file.
    pub name: String,
    /// Pressure of the gas, Pa.
    pub pressure: Vec<f64>,
    /// Water left, m3.
    pub water: Vec<f64>,
    /// Temperature of the gas, K.
    pub gas_temperature: Vec<f64>,
    /// Water leaving, m3/s.
    pub outflow: Vec<f64>,
    /// Metal and outlets of its gas.
    pub side: GasSideSeries,
}

/// A gas bank or gas header over time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct GasVesselSeries {
    /// Name in the file.
    pub name: String,
    /// Pressure, Pa.
    pub pressure: Vec<f64>,
    /// Temperature, K.
    pub temperature: Vec<f64>,
    /// Gas inside, kg.
    pub mass: Vec<f64>,
    /// Metal and outlets.
    pub side: GasSideSeries,
}

/// One flow over time.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct FlowSeries {
    /// Name in the file.
    pub name: String,
    /// Flow: kg/s for gas valves, m3/s for water.
    pub flow: Vec<f64>,
}

/// What one panel got over a run.
#[derive(Debug, Clone, PartialEq)]
pub struct PanelVerdict {
    /// Name in the file.
    pub name: String,
    /// Least flux that the file asks for, m/s.
    pub required_flux: Option<f64>,
    /// Start of the longest unbroken time in which the panel has its required flux, s; `None` when it never has.
    pub met_from: Option<f64>,
    /// End of that time, s.
    pub met_until: Option<f64>,
    /// Lowest flux from ignition to the end of hold, m/s; `None` when the run does not reach ignition.
    pub lowest_flux: Option<f64>,
    /// When, s.
    pub lowest_at: Option<f64>,
    /// Lowest pressure inside less that of the plume from ignition to the end of hold, Pa, and when; `None` where the file
    /// gives no plume, or nothing ever ties the inside to a known pressure.
    pub over_plume: Option<At>,
    /// Whether the panel has its required flux from ignition to the end of hold; `None` where the file asks for none.
    pub met: Option<bool>,
    /// Whether the plume enters between ignition and the end of hold.
    pub plume_enters: bool,
    /// Its water against the heat on it; `None` where the file gives no heat.
    pub cooling: Option<CoolingVerdict>,
    /// When and why it first falls short; `None` where it does not.
    pub shortfall: Option<Shortfall>,
    /// When its water comes; `None` where the water follows at once.
    pub start: Option<PanelStart>,
    /// What its cells got, row by row, along x first; empty where they were not followed.
    pub cells: Vec<CellVerdict>,
}

impl PanelVerdict {
    /// Lowest flux over the one required, less 1; `None` where none is required.
    pub fn margin(&self) -> Option<f64> {
        let (lowest, required) = self.lowest_flux.zip(self.required_flux)?;
        (required > 0.0).then(|| lowest / required - 1.0)
    }

    /// The cell with the lowest flux of several.
    pub fn driest(&self) -> Option<&CellVerdict> {
        lowest(&self.cells, |cell| Some(cell.lowest_flux.value))
    }

    /// The cell that holds least against the plume, of several.
    pub fn weakest(&self) -> Option<&CellVerdict> {
        lowest(&self.cells, |cell| Some(cell.over_plume?.value))
    }
}

/// The cell with the lowest value, of several; of those that rounding may order, the first.
fn lowest(cells: &[CellVerdict], value: impl Fn(&CellVerdict) -> Option<f64>) -> Option<&CellVerdict> {
    let near = |a: f64, b: f64| (a - b).abs() <= 1e-9 * a.abs().max(b.abs());
    let least = cells.iter().filter_map(&value).min_by(f64::total_cmp)?;
    cells.iter().find(|cell| cells.len() > 1 && value(cell).is_some_and(|value| near(value, least)))
}

/// When the water of a panel comes, where it is set moving.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PanelStart {
    /// When water reaches it, s; `None` where it holds water from the start or none comes.
    pub water_arrives: Option<f64>,
    /// When it first has 95 % of its steady flow, s: that of the network at rest at the same pressures of the tanks, with
    /// every valve that is not shut fully open.
    pub supplied_from: Option<f64>,
    /// Time from then to ignition, s.
    pub lead: Option<f64>,
}

/// How long the supply lasts and what it used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Supply {
    /// From the start until the first tank is empty or the total flow stops, s; `None` when neither happens.
    pub lasts: Option<f64>,
    /// Water that left the tanks, m3.
    pub water_used: f64,
    /// Water in the tanks at the end, m3, heels included.
    pub water_left: f64,
    /// Gas that left the banks, kg.
    pub gas_used: f64,
    /// Gas that left through relief valves and vent-downs, kg.
    pub gas_vented: f64,
    /// Energy stored in all gas at the start, J.
    pub stored_at_start: f64,
    /// Energy stored in all gas at the end, J.
    pub stored_at_end: f64,
    /// Further runs of the same use that every bank has gas for; `None` where no bank gave gas.
    pub more_runs: Option<u32>,
}

/// Errors of conservation over a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Balance {
    /// Water that left the tanks less water that left the network, m3.
    pub water_error: f64,
    /// Gas in all vessels at the start less at the end less what left, kg.
    pub gas_error: f64,
    /// Energy of gas and metal walls at the start less at the end less what left by work, gas and heat, J.
    pub energy_error: f64,
}

/// Work of a run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RunSolver {
    /// Accepted time steps.
    pub steps: usize,
    /// Steady networks solved.
    pub network_solves: usize,
    /// Linear systems solved in all, the reading of the rows and the verdict included.
    pub linear_systems: usize,
    /// Matrices factorised in all.
    pub factorisations: usize,
    /// Time of the run, s; filled in by whoever holds a clock.
    pub solve_time: Option<f64>,
}

/// Whether no finding says `fail`.
fn no_failure(findings: &[Finding]) -> bool {
    findings.iter().all(|f| f.level != Level::Fail)
}
