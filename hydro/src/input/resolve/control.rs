//! How a valve moves: by time, by condition, and how it fails to.

use super::Resolver;
use crate::component::control::{Sensor, Trigger};
use crate::component::schedule::{Move, Schedule, Stuck};
use crate::input::schema::{Kind, Type};
use crate::input::validate::{Datum, Fields};
use crate::network::NodeKind;
use crate::units::cut;

impl<'t> Resolver<'t, '_> {
    /// When a valve moves.
    pub(super) fn schedule(&mut self, fields: &Fields<'t>) -> Schedule {
        let (opens_at, closes_at) = (fields.number("opens_at"), fields.number("closes_at"));
        if let (Some(opens), Some(closes)) = (opens_at, closes_at)
            && closes <= opens
        {
            let message = "`closes_at` is not after `opens_at`".to_string();
            self.v.out.add("bad_order", fields.spot_of("closes_at"), message, Some("opens first, then closes".into()));
        }
        let moves = self.moves(fields);
        let (opens_when, closes_when) = (self.trigger(fields, "opens_when"), self.trigger(fields, "closes_when"));
        let open_at_start = fields.number("open_at_start");
        Schedule {
            opens_at,
            closes_at,
            moves,
            opens_when,
            closes_when,
            open_at_start,
            stroke: fields.number("stroke").unwrap_or(0.0),
            stuck: stuck(fields),
        }
    }

    fn moves(&mut self, fields: &Fields<'t>) -> Vec<Move> {
        let list = fields.list("moves");
        let spot = fields.spot_of("moves");
        for key in ["opens_at", "closes_at"] {
            if !list.is_empty() && fields.get(key).is_some() {
                let message = format!("`moves` stands beside `{key}`, which says the same thing");
                self.v.out.add("choice_twice", spot, message, Some("a move at that time".into()));
            }
        }
        let moves: Vec<Move> =
            list.iter().filter_map(|m| Some(Move { at: m.number("at")?, to: m.number("to")? })).collect();
        if let Some(late) = moves.windows(2).position(|pair| pair[1].at <= pair[0].at) {
            let place = list.get(late + 1).map_or(spot, |m| m.spot_of("at"));
            let message = "the times of `moves` must rise from one to the next".to_string();
            self.v.out.add("bad_order", place, message, Some("moves in order of time".into()));
        }
        moves
    }

    fn trigger(&mut self, fields: &Fields<'t>, key: &'static str) -> Option<Trigger> {
        let group = fields.group(key)?;
        let name = group.reference("item")?;
        let Some(Type::Group(schema)) = crate::input::schema::key_at("valves", &[key]).map(|k| k.ty) else {
            return None;
        };
        let Some(Type::Reference(kinds)) = schema.key("item").map(|k| k.ty) else { return None };
        let named = self.named(name, "item", kinds, group.spot_of("item"))?;
        let quantities = [
            ("pressure_below", true),
            ("pressure_above", false),
            ("level_below", true),
            ("level_above", false),
            ("water_below", true),
            ("water_above", false),
        ];
        let (quantity, below, limit) =
            quantities.into_iter().find_map(|(key, below)| Some((key, below, group.number(key)?)))?;
        let tank = named.node.and_then(|node| match self.network.nodes.get(node)?.kind {
            NodeKind::Tank(tank) => Some(tank),
            _ => None,
        });
        let sensor = match (quantity.split('_').next(), tank) {
            (Some("pressure"), _) => match named.vessel {
                Some(vessel) => Sensor::GasPressure(vessel),
                None => Sensor::WaterPressure(named.node?),
            },
            (Some("level"), Some(tank)) => Sensor::Level(tank),
            (_, Some(tank)) => Sensor::Water(tank),
            (_, None) => {
                let message = format!("`{quantity}`: `{}` is {}, not a tank", cut(name), named.kind.a());
                let near = self.names.of_kinds(&[Kind::Tank]).next();
                let hint =
                    near.map_or_else(|| "a pressure".to_string(), |n| format!("a pressure, or a tank such as `{n}`"));
                self.v.out.add("wrong_kind", group.spot_of(quantity), message, Some(hint));
                return None;
            }
        };
        let dead_time = group.number("dead_time").unwrap_or(0.0);
        Some(Trigger { sensor, limit, below, armed_at: group.number("armed_at"), dead_time })
    }
}

/// How a valve is stuck.
fn stuck(fields: &Fields) -> Option<Stuck> {
    let from_start = |open| Some(Stuck { at: None, open: Some(open) });
    match &fields.get("stuck")?.datum {
        Datum::Word("open") => from_start(1.0),
        Datum::Word(_) => from_start(0.0),
        Datum::Number(share) => from_start(*share),
        Datum::Group(group) => Some(Stuck { at: group.number("at"), open: group.number("open") }),
        _ => None,
    }
}
