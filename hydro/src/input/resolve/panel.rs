//! Panels and crossovers.

use super::{Item, Resolver};
use crate::component::crossover::Crossover;
use crate::component::outline::{area, crosses_itself, signed_area};
use crate::component::panel::{DischargeCoefficient, Holes, Panel};
use crate::input::validate::Fields;
use crate::network::{Node, NodeKind, PassageKind};

/// Roughness of the walls of a gap where none is given, m: commercial steel.
const GAP_ROUGHNESS: f64 = 0.05e-3;

impl<'t> Resolver<'t, '_> {
    /// Adds a panel.
    pub(super) fn panel(&mut self, item: &Item<'t>) -> Option<()> {
        let fields = &item.fields;
        let holes = self.holes(fields);
        let outline = match fields.polygon("outline") {
            Some(points) => self.outline(points, fields),
            None => item.corner.or_else(|| fields.pair("at")).and_then(|at| Some(rectangle(at, fields.pair("size")?))),
        };
        let cells = fields.cells("cells").unwrap_or([1, 1]);
        if cells != [1, 1] && fields.get("gap").is_none() {
            let message = "`cells` needs the `gap` between the plates".to_string();
            self.v.out.add("cells_need_gap", fields.spot_of("cells"), message, Some("gap: 60 mm".into()));
        }
        let (outline, holes, elevation) = (outline?, holes?, fields.number("elevation")?);
        let load = |key: &str| fields.load(key).map(|load| load.on(&outline));
        let (index, node) = (self.network.panels.len(), self.network.nodes.len());
        self.network.panels.push(Panel {
            node,
            area: area(&outline),
            holes,
            plugged: fields.number("plugged").unwrap_or(0.0),
            gap: fields.number("gap"),
            gap_roughness: fields.number("gap_roughness").unwrap_or(GAP_ROUGHNESS),
            cells,
            starts: super::water::starts(fields),
            plume_pressure: load("plume_pressure"),
            heat_flux: load("heat_flux"),
            required_flux: fields.number("required_flux"),
            outline,
        });
        self.names.place(&item.name, Some(node), None);
        self.network.nodes.push(Node { name: item.name.clone(), elevation, kind: NodeKind::Panel(index) });
        Some(())
    }

    fn holes(&mut self, fields: &Fields) -> Option<Holes> {
        let holes = fields.group("holes")?;
        let auto = holes.word("discharge_coefficient").is_some();
        if auto && holes.get("plate").is_none() {
            let message = "`discharge_coefficient: auto` needs the thickness of the plate".to_string();
            let spot = holes.spot_of("discharge_coefficient");
            self.v.out.add("auto_needs_plate", spot, message, Some("plate: 25 mm".into()));
        }
        Some(Holes {
            count: holes.count("count")?,
            diameter: holes.number("diameter")?,
            plate: holes.number("plate"),
            cavitation: holes.switch("cavitation"),
            discharge_coefficient: if auto {
                DischargeCoefficient::Auto
            } else {
                DischargeCoefficient::Given(holes.number("discharge_coefficient")?)
            },
        })
    }

    /// Points of an outline, counter-clockwise, checked.
    fn outline(&mut self, points: &[[f64; 2]], fields: &Fields) -> Option<Vec<[f64; 2]>> {
        let spot = fields.spot_of("outline");
        if crosses_itself(points) {
            let message = "the outline crosses or touches itself".to_string();
            self.v.out.add("bad_outline", spot, message, Some("corners in order around the panel, each once".into()));
            return None;
        }
        let signed = signed_area(points);
        let extent = points.iter().flatten().fold(0.0_f64, |m, v| m.max(v.abs()));
        if signed.abs() <= 1e-12 * extent * extent {
            self.v.out.add("bad_outline", spot, "the outline encloses no area", Some("corners of a polygon".into()));
            return None;
        }
        let mut points = points.to_vec();
        if signed < 0.0 {
            points.reverse();
        }
        Some(points)
    }

    /// Adds a crossover.
    pub(super) fn crossover(&mut self, item: &Item<'t>) -> Option<()> {
        let ends = self.ends(item);
        let fields = &item.fields;
        let crossover = Crossover {
            ports: fields.count("ports")?,
            bore: fields.number("bore")?,
            loss_coefficient: fields.number("loss_coefficient")?,
        };
        let [from, to] = ends?;
        self.join(item, from, to, PassageKind::Crossover(crossover))?;
        Some(())
    }
}

/// Corners of a rectangle, counter-clockwise.
fn rectangle([x, y]: [f64; 2], [width, height]: [f64; 2]) -> Vec<[f64; 2]> {
    vec![[x, y], [x + width, y], [x + width, y + height], [x, y + height]]
}
