//! Tanks, headers, outfalls, pipes, water valves and weir pipes.

use std::f64::consts::PI;

use super::ports::Placed;
use super::{Item, Resolver};
use crate::component::Fill;
use crate::component::fitting;
use crate::component::law::circle;
use crate::component::pipe::Pipe;
use crate::component::tank::{Tank, UllageModel};
use crate::component::valve::Valve;
use crate::component::weir_pipe::{Leg, Vent, WeirPipe};
use crate::finding::Finding;
use crate::input::diagnostic::Spot;
use crate::input::names::Named;
use crate::input::schema::Kind;
use crate::input::validate::Fields;
use crate::name::Name;
use crate::network::{GasVessel, GasVesselKind, Node, NodeKind, Passage, PassageKind};

/// Below any Darcy friction factor that occurs: smooth pipe at Re = 1e9 has 0.0052 (Colebrook).
const LEAST_FRICTION_FACTOR: f64 = 0.005;
/// Colebrook-White is founded on relative roughness up to this.
const ROUGHEST: f64 = 0.05;

impl<'t> Resolver<'t, '_> {
    fn add_node(&mut self, item: &Item<'t>, elevation: f64, kind: NodeKind, vessel: Option<usize>) {
        let node = self.network.nodes.len();
        self.names.place(&item.name, Some(node), vessel);
        self.network.nodes.push(Node { name: Name::from(item.name.as_str()), elevation, kind });
    }

    /// Adds a header or an outfall.
    pub(super) fn plain_node(&mut self, item: &Item<'t>) -> Option<()> {
        let elevation = item.fields.number("elevation")?;
        let kind = match item.kind {
            Kind::Outfall => {
                let ambient = self.network.site.ambient_pressure;
                NodeKind::Outfall { pressure: item.fields.number("pressure").unwrap_or(ambient) }
            }
            _ => NodeKind::Header,
        };
        if item.fields.switch("blocked") == Some(true) {
            self.blocked.insert(self.network.nodes.len());
            self.findings.push(Finding::note("blocked", &item.name, "it is blocked: nothing passes"));
        }
        let node = self.network.nodes.len();
        self.add_node(item, elevation, kind, None);
        if item.kind == Kind::Header && self.long_header(item, node).is_none() && item.fields.is_written("length") {
            self.broken_headers.push(node);
        }
        Some(())
    }

    /// Adds a tank with its ullage.
    pub(super) fn tank(&mut self, item: &Item<'t>) -> Option<()> {
        let fields = &item.fields;
        let ullage = self.ullage(fields);
        let volume = fields.number("volume");
        if let (Some(volume), Some(heel)) = (volume, fields.number("heel"))
            && heel >= volume
        {
            let message = "`heel` is not below the tank's volume".to_string();
            self.v.out.add("over_volume", fields.spot_of("heel"), message, Some(below(volume)));
        }
        if let (Some(volume), Some(water)) = (volume, fields.number("water"))
            && water >= volume
        {
            let message = "`water` fills the tank: no room is left for gas".to_string();
            self.v.out.add("over_volume", fields.spot_of("water"), message, Some(below(volume)));
        }
        let (volume, pressure) = (volume?, fields.number("pressure")?);
        let water = fields.number("water").or_else(|| fields.number("filled").map(|share| share * volume))?;
        let heel = fields.number("heel").unwrap_or(0.0);
        if water <= heel {
            let text = "it holds no water above its heel at the start: it counts as empty";
            self.findings.push(Finding::warn("tank_empty", &item.name, text));
        }
        let rating = fields.number("rating");
        if rating.is_some_and(|rating| pressure > rating) {
            let text = "its pressure at the start is above its rating";
            self.findings.push(Finding::warn("over_rating", &item.name, text));
        }
        let (relief, wall) = (self.relief(fields), self.wall(fields));
        self.heat_has_a_use(fields);
        let (diameter, bottom) = (fields.number("diameter")?, fields.number("bottom")?);
        let height = volume / circle(diameter);
        if height > MOST_HEIGHT {
            let text = format!("it would be {height:.0} m high: are its volume and diameter as they are meant?");
            self.findings.push(Finding::warn("tall_tank", &item.name, text));
        }
        let (index, node, vessel) =
            (self.network.tanks.len(), self.network.nodes.len(), self.network.gas_vessels.len());
        let site = &self.network.site;
        self.network.gas_vessels.push(GasVessel {
            name: item.name.clone(),
            kind: GasVesselKind::Ullage(index),
            pressure,
            temperature: fields.number("gas_temperature").unwrap_or(site.ambient_temperature),
            wall_heat_transfer: fields.number("wall_heat_transfer").unwrap_or(0.0),
            wall,
            minimum_temperature: fields.number("minimum_temperature"),
            vent_down: None,
        });
        let to_water = self.to_water(fields, diameter);
        let evaporation = self.evaporation(fields, pressure);
        let vortex_breaker = fields.switch("vortex_breaker").unwrap_or(false);
        self.network.tanks.push(Tank {
            node,
            vessel,
            volume,
            diameter,
            water,
            heel,
            rating,
            ullage,
            relief,
            to_water,
            evaporation,
            vortex_breaker,
        });
        self.add_node(item, bottom, NodeKind::Tank(index), Some(vessel));
        Some(())
    }

    fn ullage(&mut self, fields: &Fields) -> UllageModel {
        let exponent = fields.number("polytropic_exponent");
        let word = fields.word("ullage").unwrap_or("energy");
        if word != "polytropic" && fields.get("polytropic_exponent").is_some() {
            let message = "`polytropic_exponent` has no meaning without `ullage: polytropic`".to_string();
            let hint = Some("ullage: polytropic, or no exponent".to_string());
            self.v.out.add("polytropic_exponent", fields.spot_of("polytropic_exponent"), message, hint);
        }
        match word {
            "isothermal" => UllageModel::Isothermal,
            "adiabatic" => UllageModel::Adiabatic,
            "polytropic" => {
                if fields.get("polytropic_exponent").is_none() {
                    let message = "`ullage: polytropic` needs `polytropic_exponent`".to_string();
                    let hint = Some("polytropic_exponent: 1.2".to_string());
                    self.v.out.add("polytropic_exponent", fields.spot_of("ullage"), message, hint);
                }
                UllageModel::Polytropic { exponent: exponent.unwrap_or(1.0) }
            }
            _ => UllageModel::Energy,
        }
    }

    /// Adds a pipe.
    pub(super) fn pipe(&mut self, item: &Item<'t>) -> Option<()> {
        let fields = &item.fields;
        let ends = self.ends(item);
        let bore = fields.number("bore")?;
        let friction_factor = fields.number("friction_factor");
        let roughness = self.roughness(item, bore);
        let given = fields.number("loss_coefficient").unwrap_or(0.0);
        let fittings: f64 = fields
            .fittings("fittings")
            .iter()
            .filter_map(|(name, count, _)| Some(f64::from(*count) * fitting::loss_coefficient(name, bore)?.k))
            .sum();
        let length = fields.number("length")?;
        let loss_coefficient = given + fittings;
        self.must_lose(length, bore, friction_factor, loss_coefficient, item.spot);
        let [from, to] = ends?;
        if from.kind == Kind::Tank
            && given == 0.0
            && !fields.fittings("fittings").iter().any(|(name, n, _)| name.starts_with("entrance") && *n > 0)
        {
            let text = "it leaves a tank with no entrance loss";
            self.findings.push(Finding::note("no_entrance_loss", &item.name, text));
        }
        let pipe =
            Pipe { length, bore, roughness: roughness?, loss_coefficient, friction_factor, starts: starts(fields) };
        let [a, b] = self.join(item, from, to, PassageKind::Pipe(pipe))?;
        self.long_enough(item, length, (a - b).abs(), "its length");
        Some(())
    }

    /// Adds a water valve.
    pub(super) fn valve(&mut self, item: &Item<'t>) -> Option<()> {
        let fields = &item.fields;
        let ends = self.ends(item);
        let schedule = self.schedule(fields);
        let bore = fields.number("bore")?;
        let loss_coefficient = match fields.number("kv") {
            // K = 2 dp A^2 / (rho q^2) at q = Kv, dp = 1 bar, rho = 1000 kg/m3.
            Some(kv) => 200.0 * (PI / 4.0 * bore * bore / (kv / 3600.0)).powi(2),
            None => fields.number("loss_coefficient")?,
        };
        let [from, to] = ends?;
        let one_way = fields.switch("one_way").unwrap_or(false);
        self.join(item, from, to, PassageKind::Valve(Valve { bore, loss_coefficient, schedule, one_way }))?;
        Some(())
    }

    /// Adds a weir pipe.
    pub(super) fn weir_pipe(&mut self, item: &Item<'t>) -> Option<()> {
        let fields = &item.fields;
        let ends = self.ends(item);
        let bore = fields.number("bore")?;
        let roughness = self.roughness(item, bore);
        let friction_factor = fields.number("friction_factor");
        let mut leg = |key: &str| {
            let leg = fields.group(key)?;
            let length = leg.number("length")?;
            let loss_coefficient = leg.number("loss_coefficient").unwrap_or(0.0);
            self.must_lose(length, bore, friction_factor, loss_coefficient, fields.spot_of(key));
            let starts = if leg.word("starts").is_some() { starts(leg) } else { starts(fields) };
            Some(Leg { length, loss_coefficient, starts })
        };
        let (rise, fall) = (leg("rise"), leg("fall"));
        let vent = fields.group("vent").filter(|vent| vent.switch("blocked") != Some(true));
        if vent.is_none() && fields.get("vent").is_some() {
            self.findings.push(Finding::note("blocked", &item.name, "its vent is blocked: it can siphon"));
        }
        let vent = vent.and_then(|vent| {
            Some(Vent {
                bore: vent.number("bore")?,
                discharge_coefficient: vent.number("discharge_coefficient")?,
                one_way: vent.switch("one_way").unwrap_or(true),
            })
        });
        let (apex, [from, to], rise, fall) = (fields.number("apex")?, ends?, rise?, fall?);
        if from.kind == Kind::Tank && rise.loss_coefficient == 0.0 {
            let text = "it leaves a tank with no entrance loss";
            self.findings.push(Finding::note("no_entrance_loss", &item.name, text));
        }
        let weir = WeirPipe { bore, roughness: roughness?, friction_factor, apex, rise, fall, vent };
        let [a, b] = self.join(item, from, to, PassageKind::WeirPipe(weir))?;
        if apex < a.max(b) {
            let message = "the apex is below an end of the weir pipe".to_string();
            let hint = Some(format!("an elevation of at least {} m, or a pipe", a.max(b)));
            self.v.out.add("apex_below_end", fields.spot_of("apex"), message, hint);
        }
        self.long_enough(item, rise.length, apex - a, "its rise");
        self.long_enough(item, fall.length, apex - b, "its fall");
        Some(())
    }

    /// Adds a passage; gives the elevations of its ends.
    pub(super) fn join(&mut self, item: &Item<'t>, from: Named, to: Named, kind: PassageKind) -> Option<[f64; 2]> {
        let (from, to) = (from.node?, to.node?);
        if let Some(points) = item.fields.polygon("at") {
            let (points, spot) = (points.to_vec(), item.fields.spot_of("at"));
            self.placed.push(Placed { passage: self.network.passages.len(), points, spot });
        }
        let elevations = [self.network.nodes.get(from)?.elevation, self.network.nodes.get(to)?.elevation];
        let closed = item.fields.switch("blocked") == Some(true);
        if closed {
            self.findings.push(Finding::note("blocked", &item.name, "it is blocked: nothing passes"));
        }
        let blocked = closed || [from, to].iter().any(|node| self.blocked.contains(node));
        let ports = [Vec::new(), Vec::new()];
        self.positions(&item.fields);
        self.network.passages.push(Passage { name: Name::from(item.name.as_str()), from, to, kind, ports, blocked });
        Some(elevations)
    }

    /// Roughness, checked against the bore; 0 where a friction factor takes its place.
    pub(super) fn roughness(&mut self, item: &Item<'t>, bore: f64) -> Option<f64> {
        let fields = &item.fields;
        let Some(roughness) = fields.number("roughness") else {
            return fields.number("friction_factor").map(|_| 0.0);
        };
        if roughness >= bore / 2.0 {
            let message = "`roughness` is half the bore or more".to_string();
            let hint = Some("0.05 mm for commercial steel; check its unit".to_string());
            self.v.out.add("roughness_over_bore", fields.spot_of("roughness"), message, hint);
        } else if roughness > ROUGHEST * bore && fields.get("friction_factor").is_none() {
            let text = "its roughness is above 5 % of its bore, beyond what the Colebrook-White law is founded on";
            self.findings.push(Finding::warn("rough", &item.name, text));
        }
        Some(roughness)
    }

    /// Reports a passage that would lose nothing, or gain, whatever its flow.
    fn must_lose(&mut self, length: f64, bore: f64, friction_factor: Option<f64>, loss_coefficient: f64, spot: Spot) {
        let friction = friction_factor.unwrap_or(LEAST_FRICTION_FACTOR) * length / bore;
        if friction + loss_coefficient <= 0.0 {
            let message = "neither its length nor its loss coefficient makes it lose any pressure".to_string();
            let hint = Some("a length or a loss coefficient above 0 (together, where K is below 0)".to_string());
            self.v.out.add("loses_nothing", spot, message, hint);
        }
    }

    /// Warns of a pipe that is shorter than what it climbs. A length of 0 stands for losses alone.
    fn long_enough(&mut self, item: &Item<'t>, length: f64, climb: f64, what: &str) {
        if length > 0.0 && length < climb * (1.0 - 1e-9) {
            let text = format!("{what} ({length} m) is less than the difference of elevations ({climb} m)");
            self.findings.push(Finding::warn("too_short", &item.name, text));
        }
    }
}

/// Whether an item starts full or dry.
pub(super) fn starts(fields: &Fields) -> Fill {
    if fields.word("starts") == Some("dry") { Fill::Dry } else { Fill::Full }
}

/// Height of a tank, m, above which it is remarked on.
const MOST_HEIGHT: f64 = 1000.0;

fn below(volume: f64) -> String {
    format!("less than the volume, {volume} m3")
}
