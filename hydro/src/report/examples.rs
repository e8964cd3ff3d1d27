//! Small results written by hand, for the tests of the writers.

use crate::few::Few;
use crate::finding::{Finding, Level};
use crate::result::*;

const AMBIENT: f64 = 101_325.0;

/// A steady result: one panel has enough, one has not and its pressure is not known.
pub(super) fn flow() -> FlowResult {
    let passage = |name: &str, kind, flow, weir: Option<WeirState>| PassageFlow {
        name: name.into(),
        kind,
        from: "north, lower".into(),
        to: "sill".into(),
        flow,
        velocity: 1.5,
        pressure_loss: Some(25_000.0),
        reynolds: 1.2e6,
        apex_pressure: weir.map(|_| 90_000.0),
        weir,
    };
    FlowResult {
        title: "Two panels".to_string(),
        time: 6.0,
        ambient_pressure: AMBIENT,
        water: WaterState { density: 998.2, viscosity: 1.0e-3, vapour_pressure: 2340.0 },
        tanks: vec![TankFlow {
            name: "north, lower".into(),
            pressure: AMBIENT + 8e5,
            outlet_pressure: AMBIENT + 8.4e5,
            outflow: 0.425,
        }],
        headers: vec![
            HeaderPressure { name: "sill".into(), pressure: Some(AMBIENT + 6e5), length: None, takeoffs: vec![] },
            HeaderPressure { name: "shut".into(), pressure: None, length: None, takeoffs: vec![] },
        ],
        passages: vec![
            passage("drop", "pipe", 0.425, None),
            passage("hump", "weir_pipe", 0.425, Some(WeirState::Aired)),
        ],
        panels: vec![
            panel("wet", 0.3, Some(AMBIENT + 4e5), true),
            PanelFlow { plume_enters: true, ..panel("dry", 0.125, None, false) },
        ],
        total_flow: 0.425,
        plate: Some(Evenness {
            lowest_flux: 0.03125,
            mean_flux: 0.053125,
            highest_flux: 0.075,
            driest: "dry".into(),
            driest_place: [1.0, 1.0],
            hole_drop: Some(4e5),
            pressure_variation: Some(1e5),
            ratio: Some(4.0),
            loss_path: None,
        }),
        worst_path: Some(LossPath {
            panel: "dry".into(),
            tank: "north, lower".into(),
            items: vec![
                LossItem { name: "drop".into(), kind: "pipe", loss: 2e5, share: 0.25 },
                LossItem { name: "dry".into(), kind: "holes", loss: 6e5, share: 0.75 },
            ],
        }),
        solver: FlowSolver { iterations: 6, largest_imbalance: 1e-12, solve_time: None },
        findings: vec![
            Finding {
                level: Level::Note,
                code: "no_entrance_loss",
                item: "drop".to_string(),
                text: "No entrance loss.".to_string(),
            },
            Finding {
                level: Level::Fail,
                code: "flux_short",
                item: "dry".to_string(),
                text: "Too little water.".to_string(),
            },
        ],
    }
}

/// A panel of 4 m2 that asks for 40 L/s/m2.
pub(super) fn panel(name: &str, flow: f64, pressure: Option<f64>, met: bool) -> PanelFlow {
    PanelFlow {
        name: name.into(),
        area: 4.0,
        flow,
        flux: flow / 4.0,
        pressure,
        plume_pressure: Some(AMBIENT + 4e4),
        greatest_plume_pressure: Some(AMBIENT + 4e4),
        over_plume: pressure.map(|p| p - AMBIENT - 4e4),
        required_flux: Some(0.04),
        met: Some(met),
        plume_enters: false,
        holes: HoleFlow {
            drop: pressure.map(|p| p - AMBIENT - 4e4),
            velocity: 20.0,
            reynolds: 8e4,
            discharge_coefficient: Some(0.8),
            cavitates_above: Some(2e5),
            cavitates: true,
            cold_flow_share: Some(0.75),
            gap_head_to_drop: Some(0.02),
        },
        cooling: Some(CoolingCheck {
            heat_flux: 4e6,
            worst_heat_flux: 5e6,
            flux: flow / 4.0,
            place: None,
            saturation_temperature: Some(382.0),
            needed_sensible: Some(0.0135),
            needed_evaporated: Some(0.002),
            needed: Some(0.025),
            margin: Some(0.25),
            met: Some(true),
            critical_heat_flux: Some(1.3e6),
            dry_surface_temperature: Some(2000.0),
            wetting_flux: None,
        }),
        cells: Few::One([CellFlow {
            center: [1.0, 1.0],
            area: 4.0,
            holes: 400.0,
            pressure,
            plume_pressure: AMBIENT + 4e4,
            flow,
            flux: flow / 4.0,
            hole_velocity: 20.0,
            cavitates: true,
            plume_enters: false,
            cold_flow_share: Some(0.75),
            heat_flux: Some(5e6),
            needed_flux: Some(0.025),
        }]),
        evenness: None,
    }
}

/// A run in which the one panel has its water from 1 s to 9.5 s.
pub(super) fn run() -> RunResult {
    let event =
        |time, item: &str, code, text: &str| Event { time, item: item.to_string(), code, text: text.to_string() };
    let mut events = vec![event(0.0, "main", EventCode::ValveOpening, "begins to open")];
    events.extend((1..=5).map(|k| event(f64::from(k) * 0.1, &format!("p{k}"), EventCode::PanelMet, "has its water")));
    events.push(event(10.0, "", EventCode::End, "the run ends"));
    RunResult {
        title: "One tank".to_string(),
        ambient_pressure: AMBIENT,
        ignition: 2.0,
        hold_ends: 8.0,
        series: Series {
            time: vec![0.0, 5.0, 10.0],
            tanks: vec![TankSeries {
                name: "north, lower".to_string(),
                pressure: vec![9e5, 7.7e5 + 1.0 / 3.0, 6e5],
                water: vec![20.0, 15.0, 10.0],
                gas_temperature: vec![293.15, 270.0, 275.0],
                outflow: vec![0.0, 1.0, 0.9],
                side: GasSideSeries::default(),
            }],
            gas_banks: vec![GasVesselSeries {
                name: "bank".to_string(),
                pressure: vec![2e7, 1.8e7, 1.5e7],
                temperature: vec![293.15, 285.0, 280.0],
                mass: vec![1400.0, 1300.0, 1200.0],
                side: GasSideSeries { wall_temperature: vec![293.15, 292.0, 291.0], ..GasSideSeries::default() },
            }],
            gas_headers: vec![],
            gas_valves: vec![FlowSeries { name: "gas".to_string(), flow: vec![2.0, 1.9, f64::NAN] }],
            panels: vec![FlowSeries { name: "wet".to_string(), flow: vec![0.0, 1.0, 0.9] }],
            passages: vec![FlowSeries { name: "main".to_string(), flow: vec![0.0, 1.0, 0.9] }],
            pressures: vec![],
        },
        events,
        panels: vec![PanelVerdict {
            name: "wet".to_string(),
            required_flux: Some(0.04),
            met_from: Some(1.0),
            met_until: Some(9.5),
            start: None,
            lowest_flux: Some(0.05),
            lowest_at: Some(9.0),
            over_plume: Some(At { value: 5e4, time: 8.0 }),
            shortfall: Some(Shortfall {
                time: 8.5,
                lack: Lack::Heat,
                reason: Some(Reason {
                    margin: Some(-0.25),
                    causes: vec![Cause {
                        kind: CauseKind::Valve,
                        item: "main".to_string(),
                        text: "main is shut".to_string(),
                        flux: 0.06,
                        margin: Some(0.5),
                        restores: true,
                    }],
                    margin_with_all: Some(0.5),
                    network_too_small: false,
                    most_loss: Some(LossItem { name: "main".into(), kind: "valve", loss: 2e5, share: 0.5 }),
                }),
            }),
            met: Some(true),
            plume_enters: false,
            cooling: Some(CoolingVerdict {
                lowest_margin: Some(0.5),
                lowest_at: Some(7.0),
                lowest_margin_sensible: Some(0.25),
                lowest_margin_evaporated: Some(4.0),
                met: Some(true),
            }),
            cells: vec![CellVerdict {
                center: [1.0, 1.0],
                area: 4.0,
                holes: 400.0,
                lowest_flux: At { value: 0.05, time: 9.0 },
                mean_flux: 0.0625,
                over_plume: Some(At { value: 5e4, time: 8.0 }),
                plume_enters: false,
                heat_margin: Some(At { value: 0.5, time: 7.0 }),
            }],
        }],
        tanks: vec![TankVerdict {
            name: "north, lower".to_string(),
            water_left: 10.0,
            breakthrough: Some(At { value: 11.0, time: 9.0 }),
        }],
        gas: vec![GasVerdict {
            name: "bank".to_string(),
            lowest_gas: At { value: 280.0, time: 10.0 },
            lowest_wall: Some(At { value: 291.0, time: 10.0 }),
            stored_at_start: 390e6,
            stored_at_end: 280e6,
            most_stored: At { value: 390e6, time: 0.0 },
            relieved: None,
            relief_openings: 0,
            vented: Some(1.5),
            bottles: Some(BottlesLeft { settled_pressure: 1.6e7, needed_pressure: 9e5, more_runs: 4 }),
        }],
        supply: Supply {
            lasts: Some(9.75),
            water_used: 10.0,
            water_left: 10.0,
            gas_used: 200.0,
            gas_vented: 1.5,
            stored_at_start: 400e6,
            stored_at_end: 290e6,
            more_runs: Some(4),
        },
        balance: Balance { water_error: 1e-13, gas_error: -2e-12, energy_error: 1e-6 },
        solver: RunSolver {
            steps: 40,
            network_solves: 210,
            linear_systems: 640,
            factorisations: 640,
            solve_time: None,
        },
        findings: vec![],
        ended: "the end of the duty".to_string(),
    }
}

/// A least tank pressure, or an infeasible one.
pub(super) fn size(feasible: bool) -> SizeResult {
    let trial = |value, met, reached| SizeTrial {
        value,
        met,
        binding: Some(Binding {
            panel: "dry".to_string(),
            time: 6.0,
            requirement: Requirement::Flux,
            required: 0.04,
            reached,
        }),
    };
    SizeResult {
        title: String::new(),
        ambient_pressure: AMBIENT,
        quantity: SizeQuantity::TankPressure,
        items: vec!["north".to_string(), "south".to_string()],
        feasible,
        answer: feasible.then_some(AMBIENT + 9e5),
        lower: SizeBound { value: AMBIENT, source: "surroundings".to_string() },
        upper: SizeBound { value: AMBIENT + 16e5, source: "rating of north".to_string() },
        step: 100.0,
        at_answer: if feasible { trial(AMBIENT + 9e5, true, 0.0401) } else { trial(AMBIENT + 16e5, false, 0.03) },
        below: feasible.then(|| trial(AMBIENT + 9e5 - 100.0, false, 0.0399)),
        evaluations: 12,
        solve_time: None,
        findings: vec![],
    }
}

/// Three failures: one not computed, one that misses the requirement, one that does not.
pub(super) fn faults() -> FaultsResult {
    let verdict = |lowest_flux: f64| {
        let short = lowest_flux < 0.04;
        let worst = WorstPanel {
            panel: "dry".to_string(),
            required_flux: 0.04,
            lowest_flux,
            short_from: short.then_some(8.5),
            short_for: if short { 1.5 } else { 0.0 },
        };
        Ok(DutyVerdict {
            met: !short,
            worst: Some(worst),
            cooling: short.then(|| WorstCooling { panel: "hot".to_string(), margin: -0.125, at: 9.0, short: 1 }),
            panels_short: usize::from(short),
            plume_enters: vec![],
            lasts: Some(20.0),
            above_rating: vec![],
            ended: 30.0,
        })
    };
    let case = |name: &str, sets: &[&str], outcome| FaultCase {
        name: name.to_string(),
        items: name.split('/').take(1).map(ToString::to_string).collect(),
        text: "it fails".to_string(),
        sets: sets.iter().map(ToString::to_string).collect(),
        outcome,
    };
    let broken = FaultError { stage: "unsolved", text: "the run stopped".to_string() };
    FaultsResult {
        title: "A stand".to_string(),
        ambient_pressure: AMBIENT,
        ignition: 2.0,
        hold_ends: 10.0,
        planned: case("as planned", &[], verdict(0.05)),
        cases: vec![
            case("gas/one-shut", &["gas_valves.gas.open=0"], Err(broken)),
            case("north/out", &["pipes.main.blocked=true", "gas_valves.gas.open=0"], verdict(0.03)),
            case("dry/plugged", &["panels.dry.plugged=10 %"], verdict(0.045)),
        ],
        cannot_lose: vec!["north".to_string()],
        wanted: 3,
        solve_time: None,
        findings: vec![],
    }
}

/// One unknown sized, or nothing that is enough.
pub(super) fn sizing(feasible: bool) -> SizingResult {
    let design = |value: f64, reached: f64| {
        let margin = Margin {
            criterion: Criterion::Flux,
            item: "dry".to_string(),
            time: Some(6.0),
            required: 0.04,
            reached,
            share: reached / 0.04 - 1.0,
        };
        Design {
            values: vec![value],
            si: vec![AMBIENT + value * 1e5],
            sets: vec![format!("tanks.*.pressure={value} bar(g)")],
            cost: None,
            trial: DesignTrial { margins: vec![margin], error: None },
        }
    };
    let path = "tanks.*.pressure".to_string();
    SizingResult {
        title: String::new(),
        ambient_pressure: AMBIENT,
        unknowns: vec![SizedUnknown {
            path: path.clone(),
            unit: "bar(g)".to_string(),
            low: 2.0,
            high: 12.0,
            step: 0.5,
            count: false,
        }],
        greatest: false,
        feasible,
        answer: feasible.then(|| design(6.5, 0.0401)),
        front: vec![],
        best: (!feasible).then(|| design(12.0, 0.03)),
        neighbours: if feasible { vec![Neighbour { path: path.clone(), design: design(6.0, 0.0399) }] } else { vec![] },
        sensitivities: if feasible {
            vec![Sensitivity { path, per_percent: Some(0.125), spare: 0.0025 }]
        } else {
            vec![]
        },
        monotone: Some(true),
        front_whole: None,
        front_proven: None,
        searches: vec![],
        evaluations: 14,
        solve_time: None,
        findings: vec![],
    }
}
