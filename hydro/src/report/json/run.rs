//! A run over time as JSON.

use serde::Serialize;

use super::plate::Verdict as CoolingVerdict;
use super::{FindingView, by_name, findings};
use crate::result::{FlowSeries, GasVesselSeries, RunResult, Series};

/// A run over time.
pub(super) fn view(result: &RunResult) -> impl Serialize + '_ {
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
        panels: by_name(&result.panels, |p| {
            let view = Verdict {
                met_from_s: p.met_from,
                met_until_s: p.met_until,
                lowest_flux_m_s: p.lowest_flux,
                required_flux_m_s: p.required_flux,
                met: p.met,
                plume_enters: p.plume_enters,
                cooling: p.cooling.as_ref().map(CoolingVerdict::of),
            };
            (&p.name, view)
        }),
        supply: Supply {
            lasts_s: result.supply.lasts,
            water_used_m3: result.supply.water_used,
            gas_used_kg: result.supply.gas_used,
        },
        balance: Balance { water_error_m3: result.balance.water_error, gas_error_kg: result.balance.gas_error },
        solver: RunSolver {
            steps: result.solver.steps,
            network_solves: result.solver.network_solves,
            solve_time_s: result.solver.solve_time,
        },
        findings: findings(&result.findings),
    }
}

#[derive(Serialize)]
struct Run<'a, S, P> {
    kind: &'a str,
    title: &'a str,
    ambient_pressure_pa: f64,
    ignition_s: f64,
    hold_ends_s: f64,
    ended: &'a str,
    series: S,
    events: Vec<Event<'a>>,
    panels: P,
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
    let vessel: fn(&GasVesselSeries) -> (&String, GasVessel<'_>) =
        |v| (&v.name, GasVessel { pressure_pa: &v.pressure, temperature_k: &v.temperature, mass_kg: &v.mass });
    let water: fn(&FlowSeries) -> (&String, WaterFlow<'_>) = |s| (&s.name, WaterFlow { flow_m3_s: &s.flow });
    SeriesView {
        time_s: &series.time,
        tanks: by_name(&series.tanks, |t| {
            let view = TankSeries {
                pressure_pa: &t.pressure,
                water_m3: &t.water,
                gas_temperature_k: &t.gas_temperature,
                outflow_m3_s: &t.outflow,
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
}

#[derive(Serialize)]
struct GasVessel<'a> {
    pressure_pa: &'a [f64],
    temperature_k: &'a [f64],
    mass_kg: &'a [f64],
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
struct Verdict {
    met_from_s: Option<f64>,
    met_until_s: Option<f64>,
    lowest_flux_m_s: Option<f64>,
    required_flux_m_s: Option<f64>,
    met: Option<bool>,
    plume_enters: bool,
    cooling: Option<CoolingVerdict>,
}

#[derive(Serialize)]
struct Supply {
    lasts_s: Option<f64>,
    water_used_m3: f64,
    gas_used_kg: f64,
}

#[derive(Serialize)]
struct Balance {
    water_error_m3: f64,
    gas_error_kg: f64,
}

#[derive(Serialize)]
struct RunSolver {
    steps: usize,
    network_solves: usize,
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
        assert_eq!(keys(&series["gas_banks"]["bank"]), ["pressure_pa", "temperature_k", "mass_kg"]);
        assert_eq!(series["panels"]["wet"], json!({"flow_m3_s": [0.0, 1.0, 0.9]}));
        assert_eq!(series["passages"]["main"], json!({"flow_m3_s": [0.0, 1.0, 0.9]}));
        assert_eq!(
            value["events"][0],
            json!({"time_s": 0.0, "item": "main", "code": "valve_opening", "text": "begins to open"})
        );
        let wet = json!({"met_from_s": 1.0, "met_until_s": 9.5, "lowest_flux_m_s": 0.05, "required_flux_m_s": 0.04,
            "met": true, "plume_enters": false, "cooling": {"lowest_margin": 0.5, "lowest_margin_at_s": 7.0,
            "lowest_margin_sensible": 0.25, "lowest_margin_evaporated": 4.0, "met": true}});
        assert_eq!(value["panels"]["wet"], wet);
        assert_eq!(value["supply"], json!({"lasts_s": 9.75, "water_used_m3": 10.0, "gas_used_kg": 200.0}));
        assert_eq!(value["balance"], json!({"water_error_m3": 1e-13, "gas_error_kg": -2e-12}));
        assert_eq!(value["solver"], json!({"steps": 40, "network_solves": 210}));
    }

    #[test]
    fn numbers_that_are_not_finite_are_null() {
        let text = serde_json::to_string(&json::run(&examples::run())).unwrap();
        assert!(text.contains(r#""gas_valves":{"gas":{"flow_kg_s":[2.0,1.9,null]}}"#), "{text}");
    }
}
