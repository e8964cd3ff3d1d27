//! `site` and `duty`.

use super::Resolver;
use crate::component::cooling::{Cooling, Drive, Judged, WettingLimit};
use crate::fluid::site::STANDARD_GRAVITY;
use crate::fluid::water::{self, WaterError};
use crate::input::schema;
use crate::input::tree::{Node, Value};
use crate::input::validate::Fields;
use crate::network::{Duty, Site};
use crate::units::{Dimension, parse};

/// Length of a run whose file names no end, s.
const DEFAULT_RUN: f64 = 3600.0;

/// The ambient pressure as the file says it, Pa absolute, if it says it well. Gauge pressures need it before `site`
/// is validated.
pub(super) fn ambient_pressure(site: &Node) -> Option<f64> {
    let Value::Scalar(text) = &site.get("ambient_pressure")?.value else { return None };
    let quantity = parse(text, Dimension::Pressure).ok().filter(|q| !q.is_gauge())?;
    let value = quantity.resolve(0.0);
    match schema::key_at("site", &["ambient_pressure"])?.ty {
        schema::Type::Absolute(range) if range.holds(value) => Some(value),
        _ => None,
    }
}

impl Resolver<'_, '_> {
    /// Fills [`Network::site`](crate::network::Network::site).
    pub(super) fn site(&mut self, fields: &Fields) {
        // Every item that leaves its temperature out takes this one; errors are already reported.
        let Some(water_temperature) = fields.number("water_temperature") else { return };
        let ambient_pressure = self.v.ambient_pressure;
        let spot = fields.spot_of("water_temperature");
        let vapour = match fields.number("water_vapour_pressure") {
            Some(given) => Ok(given),
            None => water::vapour_pressure(water_temperature),
        };
        if let Ok(vapour) = vapour
            && vapour >= ambient_pressure
        {
            let message = format!(
                "the water boils: its vapour pressure, {:.1} kPa(a), is not below the ambient pressure, {:.1} kPa(a)",
                vapour / 1e3,
                ambient_pressure / 1e3
            );
            self.v.out.add("water_boils", spot, message, Some("a temperature at which it is liquid".into()));
            return;
        }
        let table = |given: Option<f64>, of: fn(f64, f64) -> Result<f64, WaterError>| match given {
            Some(given) => Ok(given),
            None => of(water_temperature, ambient_pressure),
        };
        let density = table(fields.number("water_density"), water::density);
        let viscosity = table(fields.number("water_viscosity"), water::viscosity);
        let (density, viscosity, vapour) = match (density, viscosity, vapour) {
            (Ok(density), Ok(viscosity), Ok(vapour)) => (density, viscosity, vapour),
            (Err(error), ..) | (_, Err(error), _) | (.., Err(error)) => {
                let hint = Some("water_density, water_viscosity and water_vapour_pressure given".to_string());
                self.v.out.add("no_water_properties", spot, error.to_string(), hint);
                return;
            }
        };
        self.network.site = Site {
            ambient_pressure,
            ambient_temperature: fields.number("ambient_temperature").unwrap_or(water_temperature),
            water_temperature,
            gravity: fields.number("gravity").unwrap_or(STANDARD_GRAVITY),
            water_density: density,
            water_viscosity: viscosity,
            water_vapour_pressure: vapour,
        };
    }

    /// Fills [`Network::cooling`](crate::network::Network::cooling).
    pub(super) fn cooling(&mut self, fields: &Fields) {
        let keys = ["utilisation", "wetting", "safety_factor"];
        let given = keys.map(|key| fields.number(key));
        if given.iter().any(Option::is_some) {
            for key in keys.iter().filter(|key| fields.get(key).is_none()) {
                let message = format!("`cooling` has no `{key}`, which a judgement of the heat needs");
                let hint = Some("utilisation, wetting and safety_factor, or none of them".to_string());
                self.v.out.add("missing_key", fields.spot, message, hint);
            }
        }
        let judged = match given {
            [Some(utilisation), Some(wetting), Some(safety_factor)] => {
                Some(Judged { utilisation, wetting, safety_factor })
            }
            _ => None,
        };
        let limit = fields.group("wetting_limit").and_then(|limit| {
            let contact_angle = limit.number("contact_angle")?;
            let inclination = limit.number("inclination").map(Drive::Weight);
            let drive = inclination.or_else(|| limit.number("gas_shear").map(Drive::Shear))?;
            Some(WettingLimit { contact_angle, drive })
        });
        self.network.cooling = Cooling { judged, conductivity: fields.number("conductivity"), wetting_limit: limit };
    }

    /// Fills [`Network::duty`](crate::network::Network::duty).
    pub(super) fn duty(&mut self, fields: &Fields) {
        let start = fields.number("start").unwrap_or(0.0);
        let ignition = fields.number("ignition").unwrap_or(start);
        let hold = fields.number("hold").unwrap_or(0.0);
        let end = fields.number("end").unwrap_or(ignition.max(start) + hold + DEFAULT_RUN);
        let mut wrong = |key: &str, message: &str| {
            self.v.out.add(
                "bad_order",
                fields.spot_of(key),
                message,
                Some("start <= ignition, ignition + hold <= end, start < end".into()),
            );
        };
        if ignition < start {
            wrong("ignition", "`ignition` is before `start`");
        }
        if end <= start {
            wrong("end", "`end` is not after `start`");
        } else if end < ignition + hold {
            wrong("end", "`end` is before `ignition` + `hold`");
        }
        self.network.duty = Duty { start, ignition, hold, end };
    }
}
