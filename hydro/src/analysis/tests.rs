//! Networks built by hand: closed forms and counts of iterations.

use super::steady::{FlowOptions, solve};
use crate::component::Fill;
use crate::component::crossover::Crossover;
use crate::component::panel::{DischargeCoefficient, Holes, Panel};
use crate::component::pipe::Pipe;
use crate::component::tank::{Tank, UllageModel};
use crate::component::weir_pipe::{Leg, Vent, WeirPipe};
use crate::fluid::gas::{GasKind, GasModel};
use crate::fluid::site::Site;
use crate::network::*;

fn empty() -> Network {
    Network {
        title: String::new(),
        site: Site::of_20_degc(101_325.0),
        gas: GasKind::Nitrogen,
        gas_model: GasModel::Ideal,
        inertia: false,
        tolerance: 1e-6,
        nodes: vec![],
        passages: vec![],
        tanks: vec![],
        panels: vec![],
        long_headers: vec![],
        gas_vessels: vec![],
        gas_valves: vec![],
        cooling: Default::default(),
        duty: Duty { start: 0.0, ignition: 0.0, hold: 0.0, end: 60.0 },
        notes: vec![],
    }
}

fn tank(n: &mut Network, name: &str, pressure: f64) -> usize {
    n.nodes.push(Node { name: name.into(), elevation: 1.0, kind: NodeKind::Tank(n.tanks.len()) });
    n.gas_vessels.push(GasVessel {
        name: name.into(),
        kind: GasVesselKind::Ullage(n.tanks.len()),
        pressure,
        temperature: 293.15,
        wall_heat_transfer: 0.0,
        wall: None,
        minimum_temperature: None,
        vent_down: None,
    });
    n.tanks.push(Tank {
        node: n.nodes.len() - 1,
        vessel: n.gas_vessels.len() - 1,
        volume: 40.0,
        diameter: 2.6,
        water: 36.0,
        heel: 0.0,
        rating: None,
        ullage: UllageModel::Energy,
        relief: None,
        to_water: None,
        evaporation: None,
        vortex_breaker: false,
    });
    n.nodes.len() - 1
}

fn header(n: &mut Network, name: &str) -> usize {
    n.nodes.push(Node { name: name.into(), elevation: 0.5, kind: NodeKind::Header });
    n.nodes.len() - 1
}

fn panel(n: &mut Network, name: String) -> usize {
    n.nodes.push(Node { name: name.into(), elevation: 0.4, kind: NodeKind::Panel(n.panels.len()) });
    n.panels.push(Panel {
        node: n.nodes.len() - 1,
        outline: vec![],
        area: 9.0,
        holes: Holes {
            count: 1600,
            diameter: 4e-3,
            plate: None,
            discharge_coefficient: DischargeCoefficient::Given(0.8),
            cavitation: None,
        },
        plugged: 0.0,
        gap: None,
        gap_roughness: 0.0,
        ribs: Vec::new(),
        density: None,
        cells: [1, 1],
        momentum: None,
        starts: Fill::Full,
        plume_pressure: None,
        heat_flux: None,
        required_flux: None,
    });
    n.nodes.len() - 1
}

fn join(n: &mut Network, from: usize, to: usize, kind: PassageKind) {
    let name = format!("p{}", n.passages.len());
    n.passages.push(Passage { name: name.into(), from, to, kind, ports: [Vec::new(), Vec::new()], blocked: false });
}

fn pipe(length: f64, bore: f64) -> PassageKind {
    PassageKind::Pipe(Pipe {
        length,
        bore,
        roughness: 5e-5,
        loss_coefficient: 0.5,
        friction_factor: None,
        starts: Fill::Full,
    })
}

fn stand(columns: usize, rows: usize, pressure: f64, apex: f64) -> Network {
    let mut n = empty();
    let tanks = [tank(&mut n, "a", pressure), tank(&mut n, "b", pressure)];
    let collector = header(&mut n, "collector");
    let ring = header(&mut n, "ring");
    for t in tanks {
        join(&mut n, t, collector, pipe(4.0, 0.6));
    }
    let leg = Leg { length: 9.0, loss_coefficient: 0.4, starts: Fill::Full };
    let vent = Some(Vent { bore: 0.08, discharge_coefficient: 0.6, one_way: true });
    let weir = WeirPipe { bore: 0.9, roughness: 5e-5, friction_factor: None, apex, rise: leg, fall: leg, vent };
    join(&mut n, collector, ring, PassageKind::WeirPipe(weir));
    let panels: Vec<usize> = (0..columns * rows).map(|k| panel(&mut n, format!("P{k}"))).collect();
    let crossover = || PassageKind::Crossover(Crossover { ports: 6, bore: 0.15, loss_coefficient: 1.5 });
    for row in 0..rows {
        for column in 0..columns {
            let at = panels[row * columns + column];
            if column + 1 < columns {
                join(&mut n, at, panels[row * columns + column + 1], crossover());
            }
            if row + 1 < rows {
                join(&mut n, at, panels[(row + 1) * columns + column], crossover());
            }
        }
    }
    for column in (0..columns).step_by(2) {
        join(&mut n, ring, panels[column], pipe(12.0, 0.5));
    }
    n
}

#[test]
fn cold_starts_take_few_iterations() {
    for (columns, rows) in [(1, 1), (3, 3), (5, 3), (9, 7), (30, 30)] {
        for (pressure, apex) in
            [(1.2e6, 6.5), (3e5, 6.5), (1.8e5, 6.5), (1.2e5, 6.5), (1.05e5, 6.5), (1.2e6, 0.9), (6e6, 6.5)]
        {
            let n = stand(columns, rows, pressure, apex);
            let what = format!("{columns} x {rows} panels, {pressure} Pa, apex at {apex} m");
            let r = solve(&n, &FlowOptions::default()).unwrap_or_else(|e| panic!("{what}: {e}"));
            let (count, imbalance) = (r.solver.iterations, r.solver.largest_imbalance);
            assert!(count <= 20, "{what}: {count} iterations");
            assert!(imbalance <= 1e-9 * r.total_flow, "{what}: {imbalance} m3/s left over");
            let supplied: f64 = r.tanks.iter().map(|tank| tank.outflow).sum();
            assert!((supplied / r.total_flow - 1.0).abs() <= 1e-9, "{what}: {supplied} in, {} out", r.total_flow);
        }
    }
}

/// Own oracle, checks.md 5.10: 998 kg/m3 through 0.6 x pi/4 x 0.1^2 m2, gas from 10 bar and 2 m3 to 8 m3.
fn blowdown(ullage: UllageModel, back: f64) -> Network {
    let mut n = empty();
    n.site.gravity = 1e-12;
    n.site.water_density = 998.0;
    let t = tank(&mut n, "t", 1e6);
    n.tanks[0].volume = 8.0;
    n.tanks[0].water = 6.0;
    n.tanks[0].ullage = ullage;
    n.site.ambient_pressure = back;
    let p = panel(&mut n, "p".into());
    n.panels[0].holes = Holes {
        count: 1,
        diameter: 0.1,
        plate: None,
        discharge_coefficient: DischargeCoefficient::Given(0.6),
        cavitation: None,
    };
    join(
        &mut n,
        t,
        p,
        PassageKind::Pipe(Pipe {
            length: 1e-6,
            bore: 1.0,
            roughness: 0.0,
            loss_coefficient: 0.0,
            friction_factor: Some(0.0),
            starts: Fill::Full,
        }),
    );
    n.duty.end = 200.0;
    n
}

#[test]
fn a_tank_empties_in_the_time_of_the_closed_form() {
    for (ullage, back, time) in [
        (UllageModel::Isothermal, 101325.0, 52.0218),
        (UllageModel::Isothermal, 1e-6, 44.2431),
        (UllageModel::Energy, 101325.0, 72.6378),
        (UllageModel::Polytropic { exponent: 1.4 }, 1e-6, 53.2929),
    ] {
        let n = blowdown(ullage, back);
        let r = super::run::run(&n, &mut super::run::RunOptions { rows: 201, progress: &mut |_| {} }).unwrap();
        // The times are rounded to 1e-6; the run's tolerance is 1e-6.
        let lasts = r.supply.lasts.unwrap();
        assert!((lasts / time - 1.0).abs() < 5e-6, "{ullage:?} into {back} Pa: {lasts} s, not {time} s");
        assert!((r.supply.water_used - 6.0).abs() < 1e-5 && r.supply.gas_used == 0.0, "{:?}", r.supply);
    }
}
