//! Panels and crossovers.

use super::{Item, Resolver};
use crate::component::crossover::Crossover;
use crate::component::density::Density;
use crate::component::outline::{Point, area, contains, crosses_itself, nearest_edge, signed_area};
use crate::component::panel::{DischargeCoefficient, Holes, Momentum, Panel};
use crate::component::rib::{Rib, thin_wall_coefficient};
use crate::finding::Finding;
use crate::input::validate::Fields;
use crate::name::Name;
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
        let density = self.density(fields);
        let ribs = outline.as_ref().map(|outline| self.ribs(fields, outline)).unwrap_or_default();
        if cells == [1, 1] && (density.is_some() || !ribs.is_empty()) {
            let text = "ribs and the density of holes have no effect in a panel of one cell";
            self.findings.push(Finding::note("one_cell", &item.name, text));
        }
        let (outline, holes, elevation) = (outline?, holes?, fields.number("elevation")?);
        let load = |key: &str| fields.load(key).map(|load| load.on(&outline));
        let momentum = self.momentum(fields, cells);
        let (index, node) = (self.network.panels.len(), self.network.nodes.len());
        self.network.panels.push(Panel {
            node,
            area: area(&outline),
            holes,
            plugged: fields.number("plugged").unwrap_or(0.0),
            gap: fields.number("gap"),
            gap_roughness: fields.number("gap_roughness").unwrap_or(GAP_ROUGHNESS),
            ribs,
            density,
            cells,
            momentum,
            starts: super::water::starts(fields),
            plume_pressure: load("plume_pressure"),
            heat_flux: load("heat_flux"),
            required_flux: fields.number("required_flux"),
            outline,
        });
        self.names.place(&item.name, Some(node), None);
        self.network.nodes.push(Node { name: Name::from(item.name.as_str()), elevation, kind: NodeKind::Panel(index) });
        Some(())
    }

    /// Momentum along a row of cells.
    fn momentum(&mut self, fields: &Fields, cells: [u32; 2]) -> Option<Momentum> {
        if !fields.is_written("regain") {
            if fields.is_written("regain_combining") {
                let message = "`regain_combining` has no meaning without `regain`".to_string();
                let hint = Some("regain: 0.9".to_string());
                self.v.out.add("regain_needs_row", fields.spot_of("regain_combining"), message, hint);
            }
            return None;
        }
        if cells == [1, 1] || cells.iter().all(|&n| n > 1) {
            let message = "`regain` is for a panel whose cells are one row".to_string();
            let hint = "cells: [20, 1] or cells: [1, 20], along the stream";
            self.v.out.add("regain_needs_row", fields.spot_of("regain"), message, Some(hint.into()));
        }
        let combining = fields.number("regain_combining").unwrap_or(super::header::COMBINING);
        Some(Momentum { dividing: fields.number("regain")?, combining })
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

    /// How the holes are spread.
    fn density(&mut self, fields: &Fields) -> Option<Density> {
        let table = fields.group("holes")?.group("density")?;
        let rows = table.rows("value")?;
        let radial = table.get("radius").is_some();
        let mut whole = true;
        for key in ["radius", "x", "y"] {
            let rises = table.numbers(key).is_none_or(|list| list.windows(2).all(|pair| pair[0] < pair[1]));
            if !rises {
                let message = format!("`{key}` must rise from one to the next");
                self.v.out.add("bad_table", table.spot_of(key), message, Some("values in order, each once".into()));
                whole = false;
            }
        }
        if radial && table.get("y").is_some() {
            let message = "`y` has no meaning beside `radius`".to_string();
            self.v.out.add("bad_table", table.spot_of("y"), message, Some("center and radius, or x and y".into()));
            whole = false;
        }
        let across = table.numbers(if radial { "radius" } else { "x" })?;
        let y = table.numbers("y").unwrap_or_else(|| vec![0.0]);
        if rows.len() != y.len() || rows.iter().any(|row| row.len() != across.len()) {
            let message = "the density has not one value for each place".to_string();
            let hint = match y.len() {
                1 => format!("one list of {} values", across.len()),
                rows => format!("{rows} lists, one for each y, of {} values", across.len()),
            };
            self.v.out.add("bad_table", table.spot_of("value"), message, Some(hint));
            whole = false;
        }
        if rows.iter().flatten().all(|value| *value == 0.0) {
            let message = "the density is 0 everywhere".to_string();
            self.v.out.add("bad_table", table.spot_of("value"), message, Some("above 0 somewhere".into()));
            whole = false;
        }
        let value: Vec<f64> = rows.into_iter().flatten().collect();
        if !whole {
            return None;
        }
        Some(match table.pair("centre") {
            Some(center) if radial => Density::Radial { center, radius: across, value },
            _ => Density::Table { x: across, y, value },
        })
    }

    /// Ribs of a panel, checked against its outline.
    fn ribs(&mut self, fields: &Fields, outline: &[Point]) -> Vec<Rib> {
        let mut ribs = Vec::new();
        for rib in fields.list("ribs") {
            let (Some(from), Some(to)) = (rib.pair("from"), rib.pair("to")) else { continue };
            for (key, point) in [("from", from), ("to", to)] {
                if let Some(far) = outside(outline, point) {
                    let message = format!("this end of a rib is {far} outside of the panel");
                    let hint = "a point inside the panel or on its edge".to_string();
                    self.v.out.add("rib_outside", rib.spot_of(key), message, Some(hint));
                }
            }
            if from == to {
                let message = "the rib has no length".to_string();
                self.v.out.add("rib_no_length", rib.spot, message, Some("two different points".into()));
            }
            let open = rib.number("open").filter(|&open| open > 0.0).map(thin_wall_coefficient);
            ribs.push(Rib { from, to, loss_coefficient: rib.number("loss_coefficient").or(open) });
        }
        ribs
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

/// How far a point lies outside of a panel, in words; `None` for one inside or within a millimetre.
pub(super) fn outside(outline: &[Point], point: Point) -> Option<String> {
    let (_, distance, _) = nearest_edge(outline, point);
    let inside = distance <= 1e-3 || contains(outline, point);
    (!inside).then(|| if distance < 1.0 { format!("{:.0} mm", 1e3 * distance) } else { format!("{distance:.2} m") })
}

/// Corners of a rectangle, counter-clockwise.
fn rectangle([x, y]: [f64; 2], [width, height]: [f64; 2]) -> Vec<[f64; 2]> {
    vec![[x, y], [x + width, y], [x + width, y + height], [x, y + height]]
}
