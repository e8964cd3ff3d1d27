//! Steady flow at one time: tanks as the file fills them.

use super::evenness;
use super::findings;
use super::loss_path;
use super::panels::{self, UptakeMemo};
use super::water::{SolveError, WaterSide};
use crate::component::header::Join;
use crate::component::law::circle;
use crate::name::Name;
use crate::network::{Network, NodeKind, PassageKind};
use crate::nonlinear::newton::Options;
use crate::result::{
    FlowResult, FlowSolver, HeaderPressure, PanelFlow, PassageFlow, TakeoffFlow, TankFlow, WaterState, WeirState,
};

/// What to solve for.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct FlowOptions {
    /// Time, s, at which valves stand as scheduled; `None`: the start of the duty, with every valve fully open.
    pub at: Option<f64>,
}

/// The water side of a network, at the time and with the valves of a steady flow, not yet solved.
///
/// The tanks are as full and as hard pressed as the file says, also with `at`: the time sets the water valves and the
/// plume only.
///
/// # Errors
/// [`SolveError::TooLarge`].
pub fn water_side<'a>(network: &'a Network, options: &FlowOptions) -> Result<WaterSide<'a>, SolveError> {
    let mut water = WaterSide::new(network)?;
    water.set_time(options.at.unwrap_or(network.duty.start));
    for (k, tank) in network.tanks.iter().enumerate() {
        water.set_tank(k, network.gas_vessels[tank.vessel].pressure + tank.head_of_water(tank.water, &network.site));
        water.set_dry(k, tank.water <= tank.heel);
    }
    for (k, passage) in network.passages.iter().enumerate() {
        if let PassageKind::Valve(valve) = &passage.kind {
            water.set_opened(k, options.at.map_or_else(|| valve.schedule.fully(), |t| valve.schedule.opened(t)));
        }
    }
    Ok(water)
}

/// Steady flow through every item, from the state of [`water_side`].
///
/// # Errors
/// [`SolveError`] where no solution was found; a result that did not converge is never returned.
pub fn solve(network: &Network, options: &FlowOptions) -> Result<FlowResult, SolveError> {
    let mut water = water_side(network, options)?;
    let stats = water.solve(&Options::default())?;
    let mut result = collect(network, &water, options.at.unwrap_or(network.duty.start));
    result.solver.iterations = stats.iterations;
    findings::add(network, &mut result);
    Ok(result)
}

/// Puts a solved state into a result without findings.
pub fn collect(network: &Network, water: &WaterSide<'_>, time: f64) -> FlowResult {
    let site = &network.site;
    let tanks = network
        .tanks
        .iter()
        .enumerate()
        .map(|(k, tank)| {
            let pressure = network.gas_vessels[tank.vessel].pressure;
            TankFlow {
                name: network.nodes[tank.node].name.clone(),
                pressure,
                outlet_pressure: pressure + tank.head_of_water(tank.water, site),
                outflow: water.outflow(k),
            }
        })
        .collect();
    let headers = network
        .nodes
        .iter()
        .enumerate()
        .filter(|(_, node)| node.kind == NodeKind::Header)
        .map(|(k, node)| header(network, water, k, &node.name))
        .collect();
    // Of a stream through a panel only that in a gap is judged.
    let through = if network.panels.iter().any(|panel| panel.gap.is_some()) { water.through() } else { Vec::new() };
    let mut memo = UptakeMemo::default();
    let panels: Vec<PanelFlow> =
        (0..network.panels.len()).map(|k| panels::panel(network, water, k, time, &through, &mut memo)).collect();
    let joins = loss_path::Joins::new(network);
    let worst_path = worst(&panels).and_then(|k| loss_path::find(network, water, &joins, k, None, time));
    FlowResult {
        title: network.title.clone(),
        time,
        ambient_pressure: site.ambient_pressure,
        water: WaterState {
            density: site.water_density,
            viscosity: site.water_viscosity,
            vapour_pressure: site.water_vapour_pressure,
        },
        tanks,
        headers,
        passages: (0..network.passages.len()).map(|k| passage(network, water, k)).collect(),
        total_flow: panels.iter().map(|panel| panel.flow).sum(),
        plate: evenness::of_plate(network, water, &joins, &panels, time),
        panels,
        worst_path,
        solver: FlowSolver { iterations: 0, largest_imbalance: water.largest_imbalance(), solve_time: None },
        findings: Vec::new(),
    }
}

fn header(network: &Network, water: &WaterSide<'_>, node: usize, name: &Name) -> HeaderPressure {
    let Some(k) = network.long_headers.iter().position(|header| header.node == node) else {
        return HeaderPressure { name: name.clone(), pressure: water.pressure(node), length: None, takeoffs: vec![] };
    };
    let header = &network.long_headers[k];
    let stations = water.stations(k).unwrap_or_default();
    let near = |at: f64| stations.iter().min_by(|a, b| (a.at - at).abs().total_cmp(&(b.at - at).abs()));
    let takeoff = |join: &Join| {
        let station = near(join.at)?;
        let flow = water.flow(join.passage);
        Some(TakeoffFlow {
            item: network.passages[join.passage].name.clone(),
            at: join.at,
            flow: if join.to { -flow } else { flow },
            pressure: station.pressure,
            static_pressure: station.static_pressure,
            total_pressure: station.total_pressure,
            velocity_before: station.velocities[0],
            velocity_behind: station.velocities[1],
        })
    };
    let takeoffs = header.joins.iter().filter_map(takeoff).collect();
    HeaderPressure { name: name.clone(), pressure: water.header_pressure(k), length: Some(header.length), takeoffs }
}

fn passage(network: &Network, water: &WaterSide<'_>, k: usize) -> PassageFlow {
    let site = &network.site;
    let item = &network.passages[k];
    let flow = water.flow(k);
    let (bore, ports) = match &item.kind {
        PassageKind::Pipe(pipe) => (pipe.bore, 1.0),
        PassageKind::Valve(valve) => (valve.bore, 1.0),
        PassageKind::WeirPipe(weir) => (weir.bore, 1.0),
        PassageKind::Crossover(crossover) => (crossover.bore, f64::from(crossover.ports)),
    };
    let velocity = flow / (circle(bore) * ports);
    let heads = water.end_heads(k);
    let chosen = water.weir(k);
    let aired = chosen.is_some_and(|weir| weir.shares[0] < 0.5);
    let mut result = PassageFlow {
        name: item.name.clone(),
        kind: item.kind.label(),
        from: network.nodes[item.from].name.clone(),
        to: network.nodes[item.to].name.clone(),
        flow,
        velocity,
        pressure_loss: heads.map(|[from, to]| from - to),
        reynolds: site.water_density * velocity.abs() * bore / site.water_viscosity,
        apex_pressure: None,
        weir: None,
    };
    if let PassageKind::WeirPipe(weir) = &item.kind {
        result.weir = Some(if aired { WeirState::Aired } else { WeirState::Full });
        result.apex_pressure = if aired {
            Some(site.ambient_pressure)
        } else {
            heads.map(|[from, _]| {
                let rise = weir.leg_law(&weir.rise, site).loss(flow).value;
                let still = site.water_density * (site.gravity * weir.apex + 0.5 * velocity * velocity);
                from - rise - still
            })
        };
    }
    result
}

/// The panel with the least flux beside what it needs; beside the area alone where nothing is required.
fn worst(panels: &[PanelFlow]) -> Option<usize> {
    let rank = |panel: &PanelFlow| panel.flux / panel.required_flux.filter(|&r| r > 0.0).unwrap_or(1.0);
    let any_required = panels.iter().any(|panel| panel.required_flux.is_some());
    panels
        .iter()
        .enumerate()
        .filter(|(_, panel)| !any_required || panel.required_flux.is_some())
        .min_by(|(_, a), (_, b)| rank(a).total_cmp(&rank(b)))
        .map(|(k, _)| k)
}
