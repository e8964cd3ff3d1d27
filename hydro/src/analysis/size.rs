//! First questions of size: the least tank pressure and the fewest open gas valves that meet the requirement.

use super::run::locate::first_above;
use super::run::{self, RunFailure, RunOptions};
use super::water::{SolveError, WaterSide};
use crate::component::panel::plume_enters;
use crate::finding::{Finding, Level};
use crate::network::Network;
use crate::nonlinear::newton::Options;
use crate::result::{Binding, Requirement, RunResult, SizeBound, SizeQuantity, SizeResult, SizeTrial};
use crate::units::{Dimension, readable};

/// Least tank pressure searched, Pa above ambient: at 0 only the water's own height drives it.
const LOWEST_GAUGE: f64 = 0.0;

/// Highest tank pressure searched where no tank has a rating, Pa above ambient.
const HIGHEST_GAUGE: f64 = 100e5;

/// Distance, Pa, between the least pressure found and the one shown not to be enough.
const PRESSURE_STEP: f64 = 1.0;

/// Rows of a trial run: enough to find the moment that binds between its events.
const ROWS: usize = 201;

/// Why a question of size has no answer, not even that nothing is enough.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SizeError {
    /// The network has no item of this name and kind.
    #[error("there is no {kind} named {name}")]
    Unknown {
        /// What was looked for.
        kind: &'static str,
        /// Name asked for.
        name: String,
    },
    /// A trial could not be solved.
    #[error(transparent)]
    Solve(#[from] SolveError),
    /// No trial run could be finished.
    #[error("no run with 1 to {installed} open valves could be finished; with all of them: {failure}")]
    Run {
        /// Valves installed.
        installed: u32,
        /// Why the last one broke off.
        failure: RunFailure,
    },
}

/// The least common ullage pressure of the chosen tanks (all, where none is named) with which every panel has its
/// required flux and keeps the plume out in steady flow, with every valve fully open and the tanks as full as the
/// file says, at each moment from ignition to the end of hold.
///
/// Between the points of the plume's tables its pressure is linear in time, so that only those points and the ends of
/// the duty can bind. The search runs from ambient pressure to the lowest rating of the chosen tanks.
///
/// # Errors
/// [`SizeError`] where a tank does not exist or a trial cannot be solved.
pub fn tank_pressure(network: &Network, names: &[String]) -> Result<SizeResult, SizeError> {
    let mut chosen = Vec::new();
    for name in names {
        let found = network.tanks.iter().position(|tank| network.nodes[tank.node].name == *name);
        chosen.push(found.ok_or_else(|| SizeError::Unknown { kind: "tank", name: name.clone() })?);
    }
    if names.is_empty() {
        chosen = (0..network.tanks.len()).collect();
    }
    let name = |tank: usize| network.nodes[network.tanks[tank].node].name.to_string();
    let ambient = network.site.ambient_pressure;
    let rated = chosen.iter().filter_map(|&k| Some((network.tanks[k].rating?, k))).min_by(|a, b| a.0.total_cmp(&b.0));
    let upper = rated.map_or_else(
        || SizeBound { value: ambient + HIGHEST_GAUGE, source: String::from("no tank has a rating") },
        |(rating, tank)| SizeBound { value: rating, source: format!("rating of {}", name(tank)) },
    );
    let lower = SizeBound { value: ambient + LOWEST_GAUGE, source: String::from("ambient pressure") };
    let mut trials = Steady::new(network, chosen.clone())?;
    let highest = trials.at(upper.value)?;
    let mut result = SizeResult {
        title: network.title.clone(),
        ambient_pressure: ambient,
        quantity: SizeQuantity::TankPressure,
        items: chosen.iter().map(|&k| name(k)).collect(),
        feasible: highest.met,
        answer: None,
        lower,
        upper,
        step: PRESSURE_STEP,
        at_answer: highest,
        below: None,
        evaluations: 0,
        solve_time: None,
        findings: Vec::new(),
    };
    if result.feasible {
        let (from, to) = (result.lower.value, result.upper.value);
        let answer = first_above(from, to, 1e-2 * PRESSURE_STEP, |pressure| {
            // Met exactly counts as met, so that the point found is one that meets the requirement.
            trials.margin(pressure).map(|margin| if margin >= 0.0 { margin.max(f64::MIN_POSITIVE) } else { margin })
        })?;
        result.answer = Some(answer);
        result.at_answer = trials.at(answer)?;
        if answer - PRESSURE_STEP >= from {
            result.below = Some(trials.at(answer - PRESSURE_STEP)?);
        }
    }
    result.evaluations = trials.evaluations;
    describe(network, &mut result);
    Ok(result)
}

/// Steady trials at a common pressure of the chosen tanks.
struct Steady<'a> {
    network: &'a Network,
    water: WaterSide<'a>,
    chosen: Vec<usize>,
    moments: Vec<f64>,
    evaluations: usize,
}

impl<'a> Steady<'a> {
    fn new(network: &'a Network, chosen: Vec<usize>) -> Result<Self, SolveError> {
        let (ignition, hold_ends) = (network.duty.ignition, network.duty.hold_ends());
        let tables = network.panels.iter().filter_map(|panel| panel.plume_pressure.as_ref());
        let points = tables.flat_map(|load| load.over_time.time.iter().copied());
        let mut moments: Vec<f64> = points.filter(|&t| t > ignition && t < hold_ends).collect();
        moments.extend([ignition, hold_ends]);
        moments.sort_by(f64::total_cmp);
        moments.dedup();
        let mut water = WaterSide::new(network)?;
        for (k, tank) in network.tanks.iter().enumerate() {
            let gas = network.gas_vessels[tank.vessel].pressure;
            water.set_tank(k, gas + tank.head_of_water(tank.water, &network.site));
            water.set_dry(k, tank.water <= tank.heel);
        }
        Ok(Steady { network, water, chosen, moments, evaluations: 0 })
    }

    /// The requirement with the least margin over the moments, and that margin as a share of what is required.
    fn worst(&mut self, pressure: f64) -> Result<Option<(f64, Binding)>, SolveError> {
        let network = self.network;
        for &k in &self.chosen {
            let tank = &network.tanks[k];
            self.water.set_tank(k, pressure + tank.head_of_water(tank.water, &network.site));
        }
        let mut worst: Option<(f64, Binding)> = None;
        let mut note = |margin: f64, binding: Binding| {
            if worst.as_ref().is_none_or(|(least, _)| margin < *least) {
                worst = Some((margin, binding));
            }
        };
        for &time in &self.moments {
            self.water.set_time(time);
            self.water.solve(&Options::default())?;
            self.evaluations += 1;
            for (k, panel) in network.panels.iter().enumerate() {
                let name = || network.nodes[panel.node].name.to_string();
                let flux = self.water.panel_flow(k) / panel.area;
                if let Some(required) = panel.required_flux.filter(|&required| required > 0.0) {
                    let requirement = Requirement::Flux;
                    note(flux / required - 1.0, Binding { panel: name(), time, requirement, required, reached: flux });
                }
                let (inside, required) = self.water.weakest(k);
                if plume_enters(inside, required, &network.site) {
                    let reached = inside.unwrap_or(0.0);
                    let requirement = Requirement::PlumePressure;
                    let margin = (reached / required - 1.0).min(-f64::MIN_POSITIVE);
                    note(margin, Binding { panel: name(), time, requirement, required, reached });
                }
            }
        }
        Ok(worst)
    }

    fn margin(&mut self, pressure: f64) -> Result<f64, SolveError> {
        Ok(self.worst(pressure)?.map_or(1.0, |(margin, _)| margin))
    }

    fn at(&mut self, pressure: f64) -> Result<SizeTrial, SolveError> {
        let worst = self.worst(pressure)?;
        let met = worst.as_ref().is_none_or(|(margin, _)| *margin >= 0.0);
        Ok(SizeTrial { value: pressure, met, binding: worst.map(|(_, binding)| binding) })
    }
}

/// The fewest open valves of a gas valve with which a whole run meets every requirement.
///
/// Every number from 1 up is run until one is enough, so that the answer is the least whether or not more valves
/// always help. A run that breaks off counts as not enough.
///
/// # Errors
/// [`SizeError`] where the gas valve does not exist, or where no run could be finished.
pub fn open_valves(network: &Network, name: &str) -> Result<SizeResult, SizeError> {
    let unknown = || SizeError::Unknown { kind: "gas valve", name: name.to_owned() };
    let at = network.gas_valves.iter().position(|valve| valve.name == name).ok_or_else(unknown)?;
    let installed = network.gas_valves[at].installed;
    let mut trial_network = network.clone();
    let mut trials: Vec<SizeTrial> = Vec::new();
    let mut broken = None;
    for open in 1..=installed {
        trial_network.gas_valves[at].open = open;
        let outcome = run::run(&trial_network, &mut RunOptions { rows: ROWS, progress: &mut |_| {} });
        let trial = match outcome {
            Ok(result) => {
                let binding = binding(network, &result);
                SizeTrial { value: f64::from(open), met: result.requirements_met(), binding }
            }
            Err(error) => {
                broken = Some(error.error);
                SizeTrial { value: f64::from(open), met: false, binding: None }
            }
        };
        trials.push(trial);
        if trials.last().is_some_and(|trial| trial.met) {
            break;
        }
    }
    let evaluations = trials.len();
    let none = SizeTrial { value: f64::from(installed), met: false, binding: None };
    let at_answer = trials.pop().unwrap_or(none);
    if let (false, None, Some(failure)) = (at_answer.met, &at_answer.binding, broken) {
        return Err(SizeError::Run { installed, failure });
    }
    let mut result = SizeResult {
        title: network.title.clone(),
        ambient_pressure: network.site.ambient_pressure,
        quantity: SizeQuantity::OpenValves,
        items: vec![name.to_owned()],
        feasible: at_answer.met,
        answer: at_answer.met.then_some(at_answer.value),
        lower: SizeBound { value: 1.0, source: String::from("one valve") },
        upper: SizeBound { value: f64::from(installed), source: format!("installed valves of {name}") },
        step: 1.0,
        below: trials.pop().filter(|_| at_answer.met),
        at_answer,
        evaluations,
        solve_time: None,
        findings: Vec::new(),
    };
    describe(network, &mut result);
    Ok(result)
}

/// The requirement with the least margin in a run: a panel, and the moment at which it is driest in the duty.
fn binding(network: &Network, result: &RunResult) -> Option<Binding> {
    let window = |time: f64| (result.ignition..=result.hold_ends).contains(&time);
    let mut worst: Option<(f64, Binding)> = None;
    for (panel, (verdict, series)) in network.panels.iter().zip(result.panels.iter().zip(&result.series.panels)) {
        let Some(required) = panel.required_flux.filter(|&required| required > 0.0) else { continue };
        let inside = result.series.time.iter().zip(&series.flow).filter(|(time, _)| window(**time));
        let driest = inside.map(|(&time, &flow)| (time, flow / panel.area)).min_by(|a, b| a.1.total_cmp(&b.1));
        // A supply that is spent before the end of hold leaves the panel dry from there on.
        let spent = result.series.time.last().map(|&time| (time, 0.0)).filter(|_| verdict.lowest_flux == Some(0.0));
        let Some((time, reached)) = driest.filter(|driest| driest.1 <= 0.0).or(spent).or(driest) else { continue };
        let margin = reached / required - 1.0;
        if worst.as_ref().is_none_or(|(least, _)| margin < *least) {
            let requirement = Requirement::Flux;
            worst = Some((margin, Binding { panel: verdict.name.clone(), time, requirement, required, reached }));
        }
    }
    worst.map(|(_, binding)| binding)
}

fn describe(network: &Network, result: &mut SizeResult) {
    if result.at_answer.binding.is_none() && network.panels.iter().all(|panel| panel.required_flux.is_none()) {
        let text = "no panel has a required_flux: any value is enough";
        result.findings.push(Finding::note("nothing_required", "", text));
    }
    if let (false, Some(binding)) = (result.feasible, &result.at_answer.binding) {
        let what = |value: f64| match binding.requirement {
            Requirement::Flux => readable(value, Dimension::AreaFlow, result.ambient_pressure),
            Requirement::PlumePressure => readable(value, Dimension::Pressure, result.ambient_pressure),
        };
        let text = format!(
            "even the highest value searched ({}) leaves {} at {} where {} is needed",
            result.upper.source,
            binding.panel,
            what(binding.reached),
            what(binding.required)
        );
        let item = binding.panel.clone();
        result.findings.push(Finding { level: Level::Fail, code: "infeasible", item, text });
    }
}
