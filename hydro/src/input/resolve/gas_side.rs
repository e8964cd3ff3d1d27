//! Heat, metal walls, relief and vent-down of gas vessels and tanks.

use super::{Item, Resolver};
use crate::component::gas_outlet::{BLOWDOWN, Relief, VentDown};
use crate::component::gas_wall::{HeatPath, STEEL, Wall};
use crate::component::law::circle;
use crate::component::vapour::Evaporation;
use crate::input::validate::Fields;

impl<'t> Resolver<'t, '_> {
    /// Metal wall of a gas vessel.
    pub(super) fn wall(&mut self, fields: &Fields<'t>) -> Option<Wall> {
        let wall = fields.group("wall")?;
        if fields.get("wall_heat_transfer").is_some() {
            let message = "`wall` and `wall_heat_transfer` both say how heat gets to the gas".to_string();
            let hint = Some("`to_ambient` in `wall`, or no `wall`".to_string());
            self.v.out.add("choice_twice", fields.spot_of("wall_heat_transfer"), message, hint);
        }
        let natural = wall.word("heat_transfer").is_some();
        if natural != wall.get("area").is_some() {
            let (message, hint) = if natural {
                ("`heat_transfer: natural` needs `area`", "area: 60 m2")
            } else {
                ("`area` has no meaning without `heat_transfer: natural`", "heat_transfer: natural, or no area")
            };
            self.v.out.add("wall_area", wall.spot, message.to_string(), Some(hint.to_string()));
        }
        let inner = match wall.number("heat_transfer") {
            Some(given) => HeatPath::Given(given),
            None => HeatPath::Natural { area: wall.number("area")? },
        };
        Some(Wall {
            mass: wall.number("mass")?,
            specific_heat: wall.number("specific_heat").unwrap_or(STEEL),
            inner,
            to_ambient: wall.number("to_ambient").unwrap_or(0.0),
            temperature: wall.number("temperature"),
        })
    }

    /// Heat path between the gas and the water of a tank.
    pub(super) fn to_water(&self, fields: &Fields<'t>, diameter: f64) -> Option<HeatPath> {
        let natural = fields.word("water_heat_transfer").map(|_| HeatPath::Natural { area: circle(diameter) });
        natural.or_else(|| fields.number("water_heat_transfer").map(HeatPath::Given))
    }

    /// How the water of a tank evaporates into its gas, at a pressure at the start, Pa.
    pub(super) fn evaporation(&mut self, fields: &Fields<'t>, pressure: f64) -> Option<Evaporation> {
        if !fields.switch("evaporation").unwrap_or(false) {
            if fields.get("humidity").is_some() {
                let message = "`humidity` has no meaning without `evaporation: on`".to_string();
                self.v.out.add("heat_unused", fields.spot_of("humidity"), message, Some("evaporation: on".to_string()));
            }
            return None;
        }
        if fields.get("water_heat_transfer").is_none() {
            let message = "`evaporation` needs `water_heat_transfer`: it is as fast as heat passes".to_string();
            let hint = Some("water_heat_transfer: natural".to_string());
            self.v.out.add("needs_heat_transfer", fields.spot_of("evaporation"), message, hint);
        }
        let site = &self.network.site;
        if site.water_vapour_pressure >= pressure {
            let message = format!(
                "the water boils at this pressure: its vapour has {:.4} kPa(a)",
                site.water_vapour_pressure * 1e-3
            );
            let hint = Some("a pressure above that of the vapour".to_string());
            self.v.out.add("out_of_range", fields.spot_of("pressure"), message, hint);
        }
        Some(Evaporation { humidity: fields.number("humidity").unwrap_or(0.0) })
    }

    /// Reports heat that the ullage of a tank has no use for.
    pub(super) fn heat_has_a_use(&mut self, fields: &Fields<'t>) {
        let word = fields.word("ullage").unwrap_or("energy");
        for key in ["wall", "water_heat_transfer"] {
            if word != "energy" && fields.get(key).is_some() {
                let message = format!("`{key}` has no meaning with `ullage: {word}`");
                self.v.out.add("heat_unused", fields.spot_of(key), message, Some("ullage: energy".to_string()));
            }
        }
    }

    /// Relief valve of a tank.
    pub(super) fn relief(&mut self, fields: &Fields<'t>) -> Option<Relief> {
        let relief = fields.group("relief")?;
        let ambient = self.network.site.ambient_pressure;
        let (blowdown, reseats_at) = (relief.number("blowdown"), relief.number("reseats_at"));
        if blowdown.is_some() && reseats_at.is_some() {
            let message = "`blowdown` and `reseats_at` say the same thing".to_string();
            let hint = Some("one of them".to_string());
            self.v.out.add("choice_twice", relief.spot_of("reseats_at"), message, hint);
        }
        let set = relief.number("set")?;
        if set <= ambient {
            let message = "`set` is not above the ambient pressure".to_string();
            self.v.out.add("out_of_range", relief.spot_of("set"), message, Some("a pressure above 0 bar(g)".into()));
        }
        if reseats_at.is_some_and(|reseat| reseat >= set) {
            let message = "`reseats_at` is not below `set`".to_string();
            self.v.out.add("bad_order", relief.spot_of("reseats_at"), message, Some("a pressure below `set`".into()));
        }
        let reseat = reseats_at.unwrap_or(set - blowdown.unwrap_or(BLOWDOWN) * (set - ambient));
        Some(Relief {
            set,
            reseat,
            bore: relief.number("bore")?,
            discharge_coefficient: relief.number("discharge_coefficient")?,
            stuck_open: relief.word("stuck") == Some("open"),
        })
    }

    /// Vent-down of a tank or gas vessel that is already placed.
    pub(super) fn vent_down(&mut self, item: &Item<'t>) -> Option<()> {
        let vent = item.fields.group("vent_down")?;
        if vent.get("opens_at").is_none() && vent.get("opens_when").is_none() {
            let message = "the vent-down does not say when it opens".to_string();
            self.v.out.add("choice_missing", vent.spot, message, Some("opens_at: 60 s, or opens_when".into()));
        }
        let schedule = self.schedule(vent);
        let (bore, discharge_coefficient) = (vent.number("bore")?, vent.number("discharge_coefficient")?);
        let vessel = self.names.get(&item.name)?.vessel?;
        self.network.gas_vessels.get_mut(vessel)?.vent_down = Some(VentDown { bore, discharge_coefficient, schedule });
        Some(())
    }
}
