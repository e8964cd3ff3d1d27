//! Volumes of gas through a run as JSON.

use serde::Serialize;

use crate::result::{GasSideSeries, GasVerdict};

/// Series of metal and outlets; those that a vessel has none of are left out.
#[derive(Serialize)]
pub(super) struct Side<'a> {
    #[serde(skip_serializing_if = "<[f64]>::is_empty")]
    wall_temperature_k: &'a [f64],
    #[serde(skip_serializing_if = "<[f64]>::is_empty")]
    vapour_pressure_pa: &'a [f64],
    #[serde(skip_serializing_if = "<[f64]>::is_empty")]
    relief_kg_s: &'a [f64],
    #[serde(skip_serializing_if = "<[f64]>::is_empty")]
    vent_down_kg_s: &'a [f64],
}

/// Series of metal and outlets.
pub(super) fn side(side: &GasSideSeries) -> Side<'_> {
    Side {
        wall_temperature_k: &side.wall_temperature,
        vapour_pressure_pa: &side.vapour_pressure,
        relief_kg_s: &side.relief,
        vent_down_kg_s: &side.vent_down,
    }
}

/// One volume of gas.
#[derive(Serialize)]
pub(super) struct Gas {
    lowest_gas_temperature_k: f64,
    lowest_gas_temperature_at_s: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    lowest_wall_temperature_k: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    lowest_wall_temperature_at_s: Option<f64>,
    stored_energy_start_j: f64,
    stored_energy_end_j: f64,
    most_stored_energy_j: f64,
    most_stored_energy_at_s: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    relieved_kg: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    relief_openings: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    vented_kg: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    settled_pressure_pa: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    needed_pressure_pa: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    more_runs: Option<u32>,
}

/// One volume of gas.
pub(super) fn view(gas: &GasVerdict) -> Gas {
    Gas {
        lowest_gas_temperature_k: gas.lowest_gas.value,
        lowest_gas_temperature_at_s: gas.lowest_gas.time,
        lowest_wall_temperature_k: gas.lowest_wall.map(|at| at.value),
        lowest_wall_temperature_at_s: gas.lowest_wall.map(|at| at.time),
        stored_energy_start_j: gas.stored_at_start,
        stored_energy_end_j: gas.stored_at_end,
        most_stored_energy_j: gas.most_stored.value,
        most_stored_energy_at_s: gas.most_stored.time,
        relieved_kg: gas.relieved,
        relief_openings: gas.relieved.map(|_| gas.relief_openings),
        vented_kg: gas.vented,
        settled_pressure_pa: gas.bottles.map(|left| left.settled_pressure),
        needed_pressure_pa: gas.bottles.map(|left| left.needed_pressure),
        more_runs: gas.bottles.map(|left| left.more_runs),
    }
}
