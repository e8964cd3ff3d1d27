//! The plate as JSON: holes, cooling, how even the water is.

use serde::Serialize;

use super::flow::Path;
use crate::result::{CoolingCheck, CoolingVerdict, EVEN_RATIO, Evenness, HoleFlow};

#[derive(Serialize)]
pub(super) struct Holes {
    pressure_drop_pa: Option<f64>,
    velocity_m_s: f64,
    reynolds: f64,
    discharge_coefficient: Option<f64>,
    cavitates_above_pa: Option<f64>,
    cavitates: bool,
    cold_flow_share: Option<f64>,
    gap_head_to_drop: Option<f64>,
}

impl Holes {
    pub(super) fn of(holes: &HoleFlow) -> Self {
        Holes {
            pressure_drop_pa: holes.drop,
            velocity_m_s: holes.velocity,
            reynolds: holes.reynolds,
            discharge_coefficient: holes.discharge_coefficient,
            cavitates_above_pa: holes.cavitates_above,
            cavitates: holes.cavitates,
            cold_flow_share: holes.cold_flow_share,
            gap_head_to_drop: holes.gap_head_to_drop,
        }
    }
}

#[derive(Serialize)]
pub(super) struct Cooling {
    heat_flux_w_m2: f64,
    worst_heat_flux_w_m2: f64,
    flux_m_s: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    at_m: Option<[f64; 2]>,
    saturation_temperature_k: Option<f64>,
    needed_flux_sensible_m_s: Option<f64>,
    needed_flux_evaporated_m_s: Option<f64>,
    needed_flux_m_s: Option<f64>,
    margin: Option<f64>,
    met: Option<bool>,
    critical_heat_flux_w_m2: Option<f64>,
    dry_surface_temperature_k: Option<f64>,
    wetting_flux_m_s: Option<f64>,
}

impl Cooling {
    pub(super) fn of(cooling: &CoolingCheck) -> Self {
        Cooling {
            heat_flux_w_m2: cooling.heat_flux,
            worst_heat_flux_w_m2: cooling.worst_heat_flux,
            flux_m_s: cooling.flux,
            at_m: cooling.place,
            saturation_temperature_k: cooling.saturation_temperature,
            needed_flux_sensible_m_s: cooling.needed_sensible,
            needed_flux_evaporated_m_s: cooling.needed_evaporated,
            needed_flux_m_s: cooling.needed,
            margin: cooling.margin,
            met: cooling.met,
            critical_heat_flux_w_m2: cooling.critical_heat_flux,
            dry_surface_temperature_k: cooling.dry_surface_temperature,
            wetting_flux_m_s: cooling.wetting_flux,
        }
    }
}

#[derive(Serialize)]
pub(super) struct Verdict {
    lowest_margin: Option<f64>,
    lowest_margin_at_s: Option<f64>,
    lowest_margin_sensible: Option<f64>,
    lowest_margin_evaporated: Option<f64>,
    met: Option<bool>,
}

impl Verdict {
    pub(super) fn of(verdict: &CoolingVerdict) -> Self {
        Verdict {
            lowest_margin: verdict.lowest_margin,
            lowest_margin_at_s: verdict.lowest_at,
            lowest_margin_sensible: verdict.lowest_margin_sensible,
            lowest_margin_evaporated: verdict.lowest_margin_evaporated,
            met: verdict.met,
        }
    }
}

#[derive(Serialize)]
pub(super) struct Even<'a> {
    lowest_flux_m_s: f64,
    mean_flux_m_s: f64,
    highest_flux_m_s: f64,
    driest: &'a str,
    driest_at_m: [f64; 2],
    hole_drop_pa: Option<f64>,
    pressure_variation_pa: Option<f64>,
    drop_to_variation: Option<f64>,
    drop_to_variation_for_5_percent: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    loss_path: Option<Path<'a>>,
}

impl<'a> Even<'a> {
    pub(super) fn of(even: &'a Evenness) -> Self {
        Even {
            lowest_flux_m_s: even.lowest_flux,
            mean_flux_m_s: even.mean_flux,
            highest_flux_m_s: even.highest_flux,
            driest: &even.driest,
            driest_at_m: even.driest_place,
            hole_drop_pa: even.hole_drop,
            pressure_variation_pa: even.pressure_variation,
            drop_to_variation: even.ratio,
            drop_to_variation_for_5_percent: EVEN_RATIO,
            loss_path: even.loss_path.as_ref().map(Path::of),
        }
    }
}
