//! A run over time as JSON.

use serde::Serialize;

use super::cell::{Cell, Inside};
use super::plate::Verdict as CoolingVerdict;
use super::{FindingView, by_name, findings, gas, shortfall};
use crate::result::{FlowSeries, GasVesselSeries, RunResult, Series};

/// A run over time; `cells`: with every cell of every panel.
pub(super) fn view(result: &RunResult, cells: bool) -> impl Serialize + '_ {
    Run {
        kind: "run",
        title: &result.title,
        ambient_pressure_pa: result.ambient_pressure,
        ignition_s: result.ignition,
        hold_ends_s: result.hold_ends,
        ended: &result.ended,
        series: series(&result.series),
        events: (result.events.iter())
            .map(|e| Event { time_s: e.time, item: &e.item, code: e.code.label(), text: &e.text })
            .collect(),
        panels: by_name(&result.panels, move |p| {
            let view = Verdict {
                met_from_s: p.met_from,
                met_until_s: p.met_until,
                lowest_flux_m_s: p.lowest_flux,
                lowest_flux_at_s: p.lowest_at,
                required_flux_m_s: p.required_flux,
                margin: p.margin(),
                met: p.met,
                lowest_over_plume_pa: p.over_plume.map(|at| at.value),
                lowest_over_plume_at_s: p.over_plume.map(|at| at.time),
                plume_enters: p.plume_enters,
                shortfall: p.shortfall.as_ref().map(shortfall::view),
                cooling: p.cooling.as_ref().map(CoolingVerdict::of),
                water_arrives_s: p.start.and_then(|start| start.water_arrives),
                supplied_from_s: p.start.and_then(|start| start.supplied_from),
                lead_s: p.start.and_then(|start| start.lead),
                inside: Inside::of(p),
                cells: cells.then(|| p.cells.iter().map(|cell| Cell::of(cell, p.required_flux)).collect()),
            };
            (&p.name, view)
        }),
        tanks: by_name(&result.tanks, |tank| {
            let view = Tank {
                water_left_m3: tank.water_left,
                breakthrough_at_s: tank.breakthrough.map(|at| at.time),
                breakthrough_heel_m3: tank.breakthrough.map(|at| at.value),
            };
            (&tank.name, view)
        }),
        gas: by_name(&result.gas, |gas| (&gas.name, gas::view(gas))),
        supply: Supply {
            lasts_s: result.supply.lasts,
            water_used_m3: result.supply.water_used,
            water_left_m3: result.supply.water_left,
            gas_used_kg: result.supply.gas_used,
            gas_vented_kg: result.supply.gas_vented,
            stored_energy_start_j: result.supply.stored_at_start,
            stored_energy_end_j: result.supply.stored_at_end,
            more_runs: result.supply.more_runs,
        },
        balance: Balance {
            water_error_m3: result.balance.water_error,
            gas_error_kg: result.balance.gas_error,
            energy_error_j: result.balance.energy_error,
        },
        solver: RunSolver {
            steps: result.solver.steps,
            network_solves: result.solver.network_solves,
            linear_systems: result.solver.solve_time.map(|_| result.solver.linear_systems),
            factorisations: result.solver.solve_time.map(|_| result.solver.factorisations),
            solve_time_s: result.solver.solve_time,
        },
        findings: findings(&result.findings),
    }
}

#[derive(Serialize)]
struct Run<'a, S, P, T, G> {
    kind: &'a str,
    title: &'a str,
    ambient_pressure_pa: f64,
    ignition_s: f64,
    hold_ends_s: f64,
    ended: &'a str,
    series: S,
    events: Vec<Event<'a>>,
    panels: P,
    tanks: T,
    gas: G,
    supply: Supply,
    balance: Balance,
    solver: RunSolver,
    findings: Vec<FindingView<'a>>,
}

#[derive(Serialize)]
struct SeriesView<'a, T, G, V, P> {
    time_s: &'a [f64],
    tanks: T,
    gas_banks: G,
    gas_headers: G,
    gas_valves: V,
    panels: P,
    passages: P,
}

/// The series of a run.
fn series(series: &Series) -> impl Serialize + '_ {
    let vessel: fn(&GasVesselSeries) -> (&str, GasVessel<'_>) = |v| {
        (
            &v.name,
            GasVessel {
                pressure_pa: &v.pressure,
                temperature_k: &v.temperature,
                mass_kg: &v.mass,
                side: gas::side(&v.side),
            },
        )
    };
    let water: fn(&FlowSeries) -> (&str, WaterFlow<'_>) = |s| (&s.name, WaterFlow { flow_m3_s: &s.flow });
    SeriesView {
        time_s: &series.time,
        tanks: by_name(&series.tanks, |t| {
            let view = TankSeries {
                pressure_pa: &t.pressure,
                water_m3: &t.water,
                gas_temperature_k: &t.gas_temperature,
                outflow_m3_s: &t.outflow,
                side: gas::side(&t.side),
            };
            (&t.name, view)
        }),
        gas_banks: by_name(&series.gas_banks, vessel),
        gas_headers: by_name(&series.gas_headers, vessel),
        gas_valves: by_name(&series.gas_valves, |v| (&v.name, GasFlow { flow_kg_s: &v.flow })),
        panels: by_name(&series.panels, water),
        passages: by_name(&series.passages, water),
    }
}

#[derive(Serialize)]
struct TankSeries<'a> {
    pressure_pa: &'a [f64],
    water_m3: &'a [f64],
    gas_temperature_k: &'a [f64],
    outflow_m3_s: &'a [f64],
    #[serde(flatten)]
    side: gas::Side<'a>,
}

#[derive(Serialize)]
struct GasVessel<'a> {
    pressure_pa: &'a [f64],
    temperature_k: &'a [f64],
    mass_kg: &'a [f64],
    #[serde(flatten)]
    side: gas::Side<'a>,
}

#[derive(Serialize)]
struct GasFlow<'a> {
    flow_kg_s: &'a [f64],
}

#[derive(Serialize)]
struct WaterFlow<'a> {
    flow_m3_s: &'a [f64],
}

#[derive(Serialize)]
struct Event<'a> {
    time_s: f64,
    item: &'a str,
    code: &'a str,
    text: &'a str,
}

#[derive(Serialize)]
struct Verdict<F> {
    met_from_s: Option<f64>,
    met_until_s: Option<f64>,
    lowest_flux_m_s: Option<f64>,
    lowest_flux_at_s: Option<f64>,
    required_flux_m_s: Option<f64>,
    margin: Option<f64>,
    met: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    lowest_over_plume_pa: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    lowest_over_plume_at_s: Option<f64>,
    plume_enters: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    shortfall: Option<F>,
    cooling: Option<CoolingVerdict>,
    #[serde(skip_serializing_if = "Option::is_none")]
    water_arrives_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    supplied_from_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    lead_s: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    inside: Option<Inside>,
    #[serde(skip_serializing_if = "Option::is_none")]
    cells: Option<Vec<Cell>>,
}

#[derive(Serialize)]
struct Tank {
    water_left_m3: f64,
    breakthrough_at_s: Option<f64>,
    breakthrough_heel_m3: Option<f64>,
}

#[derive(Serialize)]
struct Supply {
    lasts_s: Option<f64>,
    water_used_m3: f64,
    water_left_m3: f64,
    gas_used_kg: f64,
    gas_vented_kg: f64,
    stored_energy_start_j: f64,
    stored_energy_end_j: f64,
    more_runs: Option<u32>,
}

#[derive(Serialize)]
struct Balance {
    water_error_m3: f64,
    gas_error_kg: f64,
    energy_error_j: f64,
}

#[derive(Serialize)]
struct RunSolver {
    steps: usize,
    network_solves: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    linear_systems: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    factorisations: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    solve_time_s: Option<f64>,
}

#[cfg(test)]
mod tests {
    use serde_json::{Value, json};

    use crate::report::{examples, json};

    #[test]
    fn names_are_those_of_the_description() {
        let value = serde_json::to_value(json::run(&examples::run())).unwrap();
        assert_eq!(value["kind"], "run");
        let series = &value["series"];
        assert_eq!(series["time_s"], json!([0.0, 5.0, 10.0]));
        let keys = |v: &Value| v.as_object().unwrap().keys().cloned().collect::<Vec<_>>();
        assert_eq!(
            keys(&series["tanks"]["north, lower"]),
            ["pressure_pa", "water_m3", "gas_temperature_k", "outflow_m3_s"]
        );
        assert_eq!(
            keys(&series["gas_banks"]["bank"]),
            ["pressure_pa", "temperature_k", "mass_kg", "wall_temperature_k"]
        );
        assert_eq!(series["panels"]["wet"], json!({"flow_m3_s": [0.0, 1.0, 0.9]}));
        assert_eq!(series["passages"]["main"], json!({"flow_m3_s": [0.0, 1.0, 0.9]}));
        assert_eq!(
            value["events"][0],
            json!({"time_s": 0.0, "item": "main", "code": "valve_opening", "text": "begins to open"})
        );
        let wet = json!({"met_from_s": 1.0, "met_until_s": 9.5, "lowest_flux_m_s": 0.05, "lowest_flux_at_s": 9.0,
            "required_flux_m_s": 0.04, "margin": 0.25, "met": true, "lowest_over_plume_pa": 5e4,
            "lowest_over_plume_at_s": 8.0, "plume_enters": false,
            "shortfall": {"time_s": 8.5, "lacks": "heat", "margin_at_rest": -0.25, "causes": [
                {"kind": "valve", "item": "main", "text": "main is shut", "flux_m_s": 0.06, "margin": 0.5,
                    "restores": true}],
                "margin_with_all": 0.5, "network_too_small": false,
                "most_loss": {"name": "main", "kind": "valve", "loss_pa": 2e5, "share": 0.5}}, "cooling": {"lowest_margin": 0.5, "lowest_margin_at_s": 7.0,
            "lowest_margin_sensible": 0.25, "lowest_margin_evaporated": 4.0, "met": true}});
        assert_eq!(value["panels"]["wet"], wet);
        let whole = serde_json::to_value(json::run_with_cells(&examples::run())).unwrap();
        let cell = json!({"x_m": 1.0, "y_m": 1.0, "area_m2": 4.0, "holes": 400.0, "lowest_flux_m_s": 0.05,
            "lowest_flux_at_s": 9.0, "mean_flux_m_s": 0.0625, "margin": 0.05 / 0.04 - 1.0, "lowest_over_plume_pa": 5e4,
            "lowest_over_plume_at_s": 8.0, "plume_enters": false, "lowest_heat_margin": 0.5,
            "lowest_heat_margin_at_s": 7.0});
        assert_eq!(whole["panels"]["wet"]["cells"], json!([cell]));
        assert_eq!(
            value["supply"],
            json!({"lasts_s": 9.75, "water_used_m3": 10.0, "water_left_m3": 10.0,
            "gas_used_kg": 200.0, "gas_vented_kg": 1.5, "stored_energy_start_j": 4e8, "stored_energy_end_j": 2.9e8,
            "more_runs": 4})
        );
        let bank = json!({"lowest_gas_temperature_k": 280.0, "lowest_gas_temperature_at_s": 10.0,
            "lowest_wall_temperature_k": 291.0, "lowest_wall_temperature_at_s": 10.0,
            "stored_energy_start_j": 3.9e8, "stored_energy_end_j": 2.8e8, "most_stored_energy_j": 3.9e8,
            "most_stored_energy_at_s": 0.0, "vented_kg": 1.5, "settled_pressure_pa": 1.6e7,
            "needed_pressure_pa": 9e5, "more_runs": 4});
        assert_eq!(value["gas"]["bank"], bank);
        let north = json!({"water_left_m3": 10.0, "breakthrough_at_s": 9.0, "breakthrough_heel_m3": 11.0});
        assert_eq!(value["tanks"]["north, lower"], north);
        assert_eq!(value["balance"], json!({"water_error_m3": 1e-13, "gas_error_kg": -2e-12, "energy_error_j": 1e-6}));
        assert_eq!(value["solver"], json!({"steps": 40, "network_solves": 210}));
    }

    #[test]
    fn numbers_that_are_not_finite_are_null() {
        let text = serde_json::to_string(&json::run(&examples::run())).unwrap();
        assert!(text.contains(r#""gas_valves":{"gas":{"flow_kg_s":[2.0,1.9,null]}}"#), "{text}");
    }
}
