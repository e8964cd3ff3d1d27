//! Gas banks, gas headers and gas valves.

use super::{Item, Resolver};
use crate::component::gas_valve::{GasValve, GasValveLaw};
use crate::component::tank::UllageModel;
use crate::input::schema::Kind;
use crate::network::{GasVessel, GasVesselKind};

impl<'t> Resolver<'t, '_> {
    /// Adds a gas bank or gas header.
    pub(super) fn gas_vessel(&mut self, item: &Item<'t>) -> Option<()> {
        let fields = &item.fields;
        let wall = self.wall(fields);
        let site = &self.network.site;
        let kind = match item.kind {
            Kind::GasBank => GasVesselKind::Bank {
                bottles: fields.count("bottles")?,
                bottle_volume: fields.number("bottle_volume")?,
            },
            _ => GasVesselKind::Header { volume: fields.number("volume")? },
        };
        let pressure = match item.kind {
            Kind::GasBank => fields.number("pressure")?,
            _ => fields.number("pressure").unwrap_or(site.ambient_pressure),
        };
        let vessel = GasVessel {
            name: item.name.clone(),
            kind,
            pressure,
            temperature: fields.number("temperature").unwrap_or(site.ambient_temperature),
            wall_heat_transfer: fields.number("wall_heat_transfer").unwrap_or(0.0),
            wall,
            minimum_temperature: fields.number("minimum_temperature"),
            vent_down: None,
        };
        self.names.place(&item.name, None, Some(self.network.gas_vessels.len()));
        self.network.gas_vessels.push(vessel);
        Some(())
    }

    /// Adds a gas valve.
    pub(super) fn gas_valve(&mut self, item: &Item<'t>) -> Option<()> {
        let fields = &item.fields;
        let ends = self.ends(item);
        let schedule = self.schedule(fields);
        let (installed, open) = (fields.count("installed"), fields.count("open"));
        let installed = installed.or(open.map(|n| n.max(1))).unwrap_or(1);
        let open = open.unwrap_or(installed);
        if open > installed {
            let message = format!("{open} valves are open but only {installed} are installed");
            let hint = Some(format!("at most {installed}, or more installed"));
            self.v.out.add("open_over_installed", fields.spot_of("open"), message, hint);
        }
        for (end, key) in ends.iter().flatten().zip(["from", "to"]) {
            let Some(GasVesselKind::Ullage(tank)) =
                end.vessel.and_then(|i| self.network.gas_vessels.get(i)).map(|v| v.kind)
            else {
                continue;
            };
            if matches!(self.network.tanks.get(tank).map(|t| t.ullage), Some(UllageModel::Polytropic { .. })) {
                let message = format!("`{key}` is a tank with a polytropic ullage, which cannot exchange gas");
                let hint = Some("`ullage: energy` in that tank".to_string());
                self.v.out.add("polytropic_with_gas", fields.spot_of(key), message, hint);
            }
        }
        let law = if let Some(kv) = fields.number("kv") {
            GasValveLaw::Kv { kv, xt: fields.number("xt")? }
        } else if let Some(conductance) = fields.number("sonic_conductance") {
            GasValveLaw::Sonic { conductance, critical_ratio: fields.number("critical_ratio")? }
        } else {
            let discharge_coefficient = fields.number("discharge_coefficient")?;
            GasValveLaw::Throat { bore: fields.number("bore")?, discharge_coefficient }
        };
        let [from, to] = ends?;
        self.network.gas_valves.push(GasValve {
            name: item.name.clone(),
            from: from.vessel?,
            to: to.vessel?,
            installed,
            open,
            law,
            regulated_to: fields.number("regulated_to"),
            schedule,
        });
        Some(())
    }
}
