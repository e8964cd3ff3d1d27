//! A steady result as JSON.

use serde::Serialize;

use super::plate::{Cooling, Even, Holes};
use super::{FindingView, by_name, findings};
use crate::result::{CellFlow, FlowResult, LossItem, LossPath, TakeoffFlow};

/// A steady result.
pub(super) fn view(result: &FlowResult, cells: bool) -> impl Serialize + '_ {
    Flow {
        kind: "flow",
        title: &result.title,
        time_s: result.time,
        ambient_pressure_pa: result.ambient_pressure,
        water: Water {
            density_kg_m3: result.water.density,
            viscosity_pa_s: result.water.viscosity,
            vapour_pressure_pa: result.water.vapour_pressure,
        },
        tanks: by_name(&result.tanks, |t| {
            let view = Tank { pressure_pa: t.pressure, outlet_pressure_pa: t.outlet_pressure, outflow_m3_s: t.outflow };
            (&t.name, view)
        }),
        headers: by_name(&result.headers, |h| {
            let takeoff = |t: &TakeoffFlow| Takeoff {
                at_m: t.at,
                flow_m3_s: t.flow,
                pressure_pa: t.pressure,
                static_pressure_pa: t.static_pressure,
                total_pressure_pa: t.total_pressure,
                velocity_before_m_s: t.velocity_before,
                velocity_behind_m_s: t.velocity_behind,
            };
            let takeoffs = h.length.map(|_| by_name(&h.takeoffs, move |t| (&t.item, takeoff(t))));
            (&h.name, Header { pressure_pa: h.pressure, length_m: h.length, takeoffs })
        }),
        passages: by_name(&result.passages, |p| {
            let view = Passage {
                kind: p.kind,
                from: &p.from,
                to: &p.to,
                flow_m3_s: p.flow,
                velocity_m_s: p.velocity,
                pressure_loss_pa: p.pressure_loss,
                reynolds: p.reynolds,
                apex_pressure_pa: p.weir.map(|_| p.apex_pressure),
                state: p.weir.map(|state| state.label()),
            };
            (&p.name, view)
        }),
        panels: by_name(&result.panels, move |p| {
            let view = Panel {
                flow_m3_s: p.flow,
                flux_m_s: p.flux,
                pressure_pa: p.pressure,
                plume_pressure_pa: p.plume_pressure,
                greatest_plume_pressure_pa: p.greatest_plume_pressure,
                over_plume_pa: p.over_plume,
                required_flux_m_s: p.required_flux,
                met: p.met,
                plume_enters: p.plume_enters,
                holes: Holes::of(&p.holes),
                cooling: p.cooling.as_ref().map(Cooling::of),
                evenness: p.evenness.as_ref().map(Even::of),
                inside: (p.cells.len() > 1).then(|| Inside {
                    area_m2: p.area,
                    cells: p.cells.len(),
                    lowest_pressure_pa: p.lowest_pressure(),
                    driest: p.driest().map(cell),
                }),
                cells: cells.then(|| p.cells.iter().map(cell).collect()),
            };
            (&p.name, view)
        }),
        totals: Totals { flow_m3_s: result.total_flow },
        plate: result.plate.as_ref().map(Even::of),
        worst_path: result.worst_path.as_ref().map(Path::of),
        solver: FlowSolver {
            iterations: result.solver.iterations,
            largest_imbalance_m3_s: result.solver.largest_imbalance,
            solve_time_s: result.solver.solve_time,
        },
        findings: findings(&result.findings),
    }
}

#[derive(Serialize)]
struct Flow<'a, T, H, P, N> {
    kind: &'a str,
    title: &'a str,
    time_s: f64,
    ambient_pressure_pa: f64,
    water: Water,
    tanks: T,
    headers: H,
    passages: P,
    panels: N,
    totals: Totals,
    plate: Option<Even<'a>>,
    worst_path: Option<Path<'a>>,
    solver: FlowSolver,
    findings: Vec<FindingView<'a>>,
}

#[derive(Serialize)]
struct Water {
    density_kg_m3: f64,
    viscosity_pa_s: f64,
    vapour_pressure_pa: f64,
}

#[derive(Serialize)]
struct Tank {
    pressure_pa: f64,
    outlet_pressure_pa: f64,
    outflow_m3_s: f64,
}

#[derive(Serialize)]
struct Header<T> {
    pressure_pa: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    length_m: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    takeoffs: Option<T>,
}

#[derive(Serialize)]
struct Takeoff {
    at_m: f64,
    flow_m3_s: f64,
    pressure_pa: f64,
    static_pressure_pa: f64,
    total_pressure_pa: f64,
    velocity_before_m_s: f64,
    velocity_behind_m_s: f64,
}

#[derive(Serialize)]
struct Passage<'a> {
    kind: &'a str,
    from: &'a str,
    to: &'a str,
    flow_m3_s: f64,
    velocity_m_s: f64,
    pressure_loss_pa: Option<f64>,
    reynolds: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    apex_pressure_pa: Option<Option<f64>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    state: Option<&'a str>,
}

#[derive(Serialize)]
struct Panel<'a> {
    flow_m3_s: f64,
    flux_m_s: f64,
    pressure_pa: Option<f64>,
    plume_pressure_pa: Option<f64>,
    greatest_plume_pressure_pa: Option<f64>,
    over_plume_pa: Option<f64>,
    required_flux_m_s: Option<f64>,
    met: Option<bool>,
    plume_enters: bool,
    holes: Holes,
    cooling: Option<Cooling>,
    #[serde(skip_serializing_if = "Option::is_none")]
    evenness: Option<Even<'a>>,
    #[serde(skip_serializing_if = "Option::is_none")]
    inside: Option<Inside>,
    #[serde(skip_serializing_if = "Option::is_none")]
    cells: Option<Vec<Cell>>,
}

/// A panel of more than one cell.
#[derive(Serialize)]
struct Inside {
    area_m2: f64,
    cells: usize,
    lowest_pressure_pa: Option<f64>,
    driest: Option<Cell>,
}

#[derive(Serialize)]
struct Cell {
    x_m: f64,
    y_m: f64,
    area_m2: f64,
    holes: f64,
    pressure_pa: Option<f64>,
    plume_pressure_pa: f64,
    flow_m3_s: f64,
    flux_m_s: f64,
    hole_velocity_m_s: f64,
    cavitates: bool,
    plume_enters: bool,
    cold_flow_share: Option<f64>,
    heat_flux_w_m2: Option<f64>,
    needed_flux_m_s: Option<f64>,
}

fn cell(cell: &CellFlow) -> Cell {
    Cell {
        x_m: cell.center[0],
        y_m: cell.center[1],
        area_m2: cell.area,
        holes: cell.holes,
        pressure_pa: cell.pressure,
        plume_pressure_pa: cell.plume_pressure,
        flow_m3_s: cell.flow,
        flux_m_s: cell.flux,
        hole_velocity_m_s: cell.hole_velocity,
        cavitates: cell.cavitates,
        plume_enters: cell.plume_enters,
        cold_flow_share: cell.cold_flow_share,
        heat_flux_w_m2: cell.heat_flux,
        needed_flux_m_s: cell.needed_flux,
    }
}

#[derive(Serialize)]
struct Totals {
    flow_m3_s: f64,
}

#[derive(Serialize)]
pub(super) struct Path<'a> {
    panel: &'a str,
    tank: &'a str,
    items: Vec<PathItem<'a>>,
}

impl<'a> Path<'a> {
    /// A way from a tank to a panel.
    pub(super) fn of(path: &'a LossPath) -> Self {
        Path { panel: &path.panel, tank: &path.tank, items: path.items.iter().map(PathItem::of).collect() }
    }
}

#[derive(Serialize)]
pub(super) struct PathItem<'a> {
    name: &'a str,
    kind: &'a str,
    loss_pa: f64,
    share: f64,
}

impl<'a> PathItem<'a> {
    /// One item on a way.
    pub(super) fn of(item: &'a LossItem) -> Self {
        PathItem { name: &item.name, kind: item.kind, loss_pa: item.loss, share: item.share }
    }
}

#[derive(Serialize)]
struct FlowSolver {
    iterations: usize,
    largest_imbalance_m3_s: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    solve_time_s: Option<f64>,
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use crate::report::{examples, json};

    /// The names of the file format's description, and null where a pressure is not known.
    #[test]
    fn names_are_those_of_the_description() {
        let mut value = serde_json::to_value(json::flow(&examples::flow())).unwrap();
        assert_eq!(value["kind"], "flow");
        assert_eq!(
            value["water"],
            json!({"density_kg_m3": 998.2, "viscosity_pa_s": 0.001, "vapour_pressure_pa": 2340.0})
        );
        assert_eq!(
            value["tanks"]["north, lower"],
            json!({"pressure_pa": 901_325.0, "outlet_pressure_pa": 941_325.0, "outflow_m3_s": 0.425})
        );
        assert_eq!(value["headers"], json!({"sill": {"pressure_pa": 701_325.0}, "shut": {"pressure_pa": null}}));
        let pipe = json!({"kind": "pipe", "from": "north, lower", "to": "sill", "flow_m3_s": 0.425,
            "velocity_m_s": 1.5, "pressure_loss_pa": 25_000.0, "reynolds": 1.2e6});
        assert_eq!(value["passages"]["drop"], pipe);
        assert_eq!(value["passages"]["hump"]["apex_pressure_pa"], 90_000.0);
        assert_eq!(value["passages"]["hump"]["state"], "aired");
        let dry = json!({"flow_m3_s": 0.125, "flux_m_s": 0.03125, "pressure_pa": null, "plume_pressure_pa": 141_325.0,
            "greatest_plume_pressure_pa": 141_325.0, "over_plume_pa": null, "required_flux_m_s": 0.04, "met": false,
            "plume_enters": true});
        let panel = value["panels"]["dry"].as_object_mut().unwrap();
        let (holes, cooling) = (panel.remove("holes").unwrap(), panel.remove("cooling").unwrap());
        assert_eq!(value["panels"]["dry"], dry);
        let wanted = json!({"pressure_drop_pa": null, "velocity_m_s": 20.0, "reynolds": 8e4,
            "discharge_coefficient": 0.8, "cavitates_above_pa": 2e5, "cavitates": true, "cold_flow_share": 0.75,
            "gap_head_to_drop": 0.02});
        assert_eq!(holes, wanted);
        let wanted = json!({"heat_flux_w_m2": 4e6, "worst_heat_flux_w_m2": 5e6, "flux_m_s": 0.03125, "saturation_temperature_k": 382.0,
            "needed_flux_sensible_m_s": 0.0135, "needed_flux_evaporated_m_s": 0.002, "needed_flux_m_s": 0.025,
            "margin": 0.25, "met": true, "critical_heat_flux_w_m2": 1.3e6, "dry_surface_temperature_k": 2000.0,
            "wetting_flux_m_s": null});
        assert_eq!(cooling, wanted);
        let plate = json!({"lowest_flux_m_s": 0.03125, "mean_flux_m_s": 0.053125, "highest_flux_m_s": 0.075,
            "driest": "dry", "driest_at_m": [1.0, 1.0], "hole_drop_pa": 4e5, "pressure_variation_pa": 1e5, "drop_to_variation": 4.0,
            "drop_to_variation_for_5_percent": 1.0 / (1.0 - 0.95 * 0.95)});
        assert_eq!(value["plate"], plate);
        assert_eq!(value["totals"], json!({"flow_m3_s": 0.425}));
        assert_eq!(value["solver"], json!({"iterations": 6, "largest_imbalance_m3_s": 1e-12}));
        assert_eq!(value["findings"][1]["level"], "fail");
        assert_eq!(value["findings"][1]["code"], "flux_short");
        assert_eq!(value["worst_path"]["items"][1]["loss_pa"], 6e5);
    }

    #[test]
    fn time_of_the_solve_is_there_only_when_taken() {
        let mut result = examples::flow();
        result.solver.solve_time = Some(0.25);
        let value = serde_json::to_value(json::flow(&result)).unwrap();
        assert_eq!(value["solver"]["solve_time_s"], 0.25);
    }

    #[test]
    fn an_apex_without_pressure_is_null_and_still_there() {
        let mut result = examples::flow();
        result.passages[1].apex_pressure = None;
        let value = serde_json::to_value(json::flow(&result)).unwrap();
        assert_eq!(value["passages"]["hump"].get("apex_pressure_pa"), Some(&serde_json::Value::Null));
    }
}
