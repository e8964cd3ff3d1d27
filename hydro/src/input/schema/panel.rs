//! Keys of panels, grids and crossovers.

use super::load::{HEAT_LOAD, HEAT_PATTERN, PRESSURE_PATTERN};
use super::{
    BLOCKED, BORE, COEFFICIENT, Choice, ELEVATION, Group, Key, Kind, LOSS, NOTE, PRESSURE_LEVEL, ROUGHNESS, Range,
    STARTS, Type, choice, optional, required,
};
use crate::units::Dimension;

/// Most columns, and most rows, of a grid.
pub(crate) const MOST_LINES: u32 = 2000;

const HOLES: Group = Group {
    keys: &[
        required("count", Type::Count(1, 100_000_000), "Number of holes.", "1600"),
        required(
            "diameter",
            Type::Value(Dimension::Length, Range::over(0.0, 1.0, "above 0 m and at most 1 m")),
            "Diameter of a hole.",
            "4 mm",
        ),
        optional(
            "plate",
            Type::Value(Dimension::Length, Range::over(0.0, 1.0, "above 0 m and at most 1 m")),
            "not known",
            "Thickness of the plate; required with `discharge_coefficient: auto`.",
            "25 mm",
        ),
        required(
            "discharge_coefficient",
            Type::ValueOr(Dimension::Pure, COEFFICIENT, "auto"),
            "Discharge coefficient of a hole, or `auto`: from thickness to diameter, Reynolds number and cavitation.",
            "0.8",
        ),
        optional(
            "cavitation",
            Type::Switch,
            "on with `discharge_coefficient: auto`; a given coefficient stays as it is, and a finding warns",
            "Whether cavitation limits the flow of a hole. `off` also says that it cannot cavitate (rounded inlets).",
            "on",
        ),
        optional(
            "density",
            Type::Group(&DENSITY),
            "even over the panel",
            "How the holes are spread over the plate plan, in panels of more than one cell. `count` stays the number of \
             them all.",
            "{centre: [1.5 m, 1.5 m], radius: [0 m, 2 m], value: [3, 1]}",
        ),
    ],
    choices: &[],
};

const ANY_LENGTH: Range = Range::from(-1e5, 1e5, "from -100 km to 100 km");

/// Holes per area over position.
const DENSITY: Group = Group {
    keys: &[
        choice("centre", Type::Point, "Centre on the plate plan.", "[1.5 m, 1.5 m]"),
        choice(
            "radius",
            Type::Numbers(Dimension::Length, Range::from(0.0, 1e5, "0 m or more and at most 100 km")),
            "Distances from the centre, rising.",
            "[0 m, 2 m]",
        ),
        choice("x", Type::Numbers(Dimension::Length, ANY_LENGTH), "Positions along x, rising.", "[0 m, 3 m]"),
        optional(
            "y",
            Type::Numbers(Dimension::Length, ANY_LENGTH),
            "the same at every y",
            "With `x`: positions along y, rising.",
            "[0 m, 3 m]",
        ),
        required(
            "value",
            Type::Rows(Dimension::Pure, Range::from(0.0, 1e9, "0 or more")),
            "Relative density at each radius, or at each x: a list, with `y` one list for each y. Linear between, \
             constant outside.",
            "[3, 1]",
        ),
    ],
    choices: &[Choice { what: "over what the density goes", options: &[&["centre", "radius"], &["x"]] }],
};

/// A rib.
const RIB: Group = Group {
    keys: &[
        required("from", Type::Point, "One end on the plate plan, inside the panel or on its edge.", "[1 m, 0 m]"),
        required("to", Type::Point, "The other end.", "[1 m, 2 m]"),
        optional(
            "open",
            Type::Value(Dimension::Share, Range::from(0.0, 1.0, "from 0 % to 100 %")),
            "0 %: closed",
            "Share of the gap that is open along the rib, as in a thin perforated wall.",
            "20 %",
        ),
        optional(
            "loss_coefficient",
            Type::Value(Dimension::Pure, LOSS),
            "from `open`",
            "Loss coefficient K on the velocity in the gap, in place of the one from `open`.",
            "40",
        ),
    ],
    choices: &[],
};

const RIBS: Key = optional(
    "ribs",
    Type::List(&RIB),
    "none",
    "Lines inside the gap that close or throttle it, in panels of more than one cell.",
    "[{from: [1 m, 0 m], to: [1 m, 2 m], open: 20 %}]",
);

/// Where a passage opens into a panel.
pub(super) const PORT: Key = optional(
    "at",
    Type::Points,
    "evenly along the longest edge that no crossover takes",
    "Where it opens into a panel of more than one cell: a point on the plate plan, on the edge or inside. Between two \
     panels two points, at its start and its end.",
    "[1.5 m, 0 m]",
);

const AT: Key = choice("at", Type::Point, "Lower-left corner on the plate plan.", "[0 m, 0 m]");
const OUTLINE: Key = choice(
    "outline",
    Type::Polygon,
    "Outline on the plate plan, in place of `at` and `size`; its area is the panel's area.",
    "[[0 m, 0 m], [3 m, 0 m], [2 m, 2 m]]",
);
const PANEL_ELEVATION: Key = required("elevation", Type::Value(Dimension::Length, ELEVATION), "Elevation.", "0.4 m");
const PANEL_HOLES: Key = required(
    "holes",
    Type::Group(&HOLES),
    "The holes.",
    "{count: 1600, diameter: 4 mm, plate: 25 mm, discharge_coefficient: 0.8}",
);
const PLUGGED: Key = optional(
    "plugged",
    Type::Value(Dimension::Share, Range::from(0.0, 1.0, "from 0 % to 100 %")),
    "0 %",
    "Share of the holes that is blocked.",
    "2 %",
);
const GAP: Key = optional(
    "gap",
    Type::Value(Dimension::Length, Range::over(0.0, 10.0, "above 0 m and at most 10 m")),
    "not known",
    "Inner gap between the two plates.",
    "60 mm",
);
const GAP_ROUGHNESS: Key = optional(
    "gap_roughness",
    Type::Value(Dimension::Length, ROUGHNESS),
    "0.05 mm: commercial steel",
    "Roughness of the walls of the gap.",
    "0.05 mm",
);
const CELLS: Key = optional(
    "cells",
    Type::Cells,
    "[1, 1]",
    "Cells of the inside along x and y of the rectangle around the outline; more than one needs `gap`. `[1, 1]`: one \
     pressure in the panel, no loss inside.",
    "[1, 1]",
);
const REGAIN: Key = optional(
    "regain",
    Type::Value(Dimension::Pure, super::water::REGAIN),
    "none: the gap only loses by friction",
    "In a row of cells, `[n, 1]` or `[1, n]`: rise of the static pressure along the gap where water leaves, over the fall \
     of the velocity head. The holes meet the static pressure then. Give its source in `note`.",
    "0.9",
);
const REGAIN_COMBINING: Key = optional(
    "regain_combining",
    Type::Value(Dimension::Pure, super::water::REGAIN),
    "2: water enters at right angles",
    "With `regain`: fall of the static pressure where water enters the row, over the rise of the velocity head.",
    "2",
);
const PANEL_STARTS: Key = optional("starts", STARTS, "full", "Full of water or dry at the start.", "full");
const PLUME_PRESSURE: Key = optional(
    "plume_pressure",
    Type::Load(Dimension::Pressure, PRESSURE_LEVEL, &PRESSURE_PATTERN),
    "`site.ambient_pressure`",
    "Pressure outside the holes; a value, a table over time, or a pattern over the plate.",
    "40 kPa(g)",
);
const HEAT_FLUX: Key = optional(
    "heat_flux",
    Type::Load(Dimension::HeatFlux, HEAT_LOAD, &HEAT_PATTERN),
    "not known",
    "Heat load on the panel; a value, a table over time, or a pattern over the plate.",
    "{time: [0 s, 6 s, 7 s], value: [0 MW/m2, 0 MW/m2, 8 MW/m2]}",
);
const REQUIRED_FLUX: Key = optional(
    "required_flux",
    Type::Value(Dimension::AreaFlow, Range::from(0.0, 100.0, "0 L/s/m2 or more and at most 100 m3/s/m2")),
    "no requirement",
    "Least water per area.",
    "30 L/s/m2",
);

pub(super) const PANEL: Group = Group {
    keys: &[
        AT,
        choice("size", Type::Size, "Extent along x and y.", "[3 m, 3 m]"),
        OUTLINE,
        PANEL_ELEVATION,
        PANEL_HOLES,
        PLUGGED,
        GAP,
        GAP_ROUGHNESS,
        RIBS,
        CELLS,
        REGAIN,
        REGAIN_COMBINING,
        PANEL_STARTS,
        PLUME_PRESSURE,
        HEAT_FLUX,
        REQUIRED_FLUX,
        NOTE,
    ],
    choices: &[Choice { what: "where the panel is", options: &[&["at", "size"], &["outline"]] }],
};

/// A panel of a grid: as a panel, its place given by the grid.
pub(crate) const GRID_PANEL: Group = Group {
    keys: &[
        required("size", Type::Size, "Extent along x and y; also the spacing of the grid.", "[3 m, 3 m]"),
        PANEL_ELEVATION,
        PANEL_HOLES,
        PLUGGED,
        GAP,
        GAP_ROUGHNESS,
        RIBS,
        CELLS,
        REGAIN,
        REGAIN_COMBINING,
        PANEL_STARTS,
        PLUME_PRESSURE,
        HEAT_FLUX,
        REQUIRED_FLUX,
        NOTE,
    ],
    choices: &[],
};

const PORTS: Key = required("ports", Type::Count(1, 1_000_000), "Number of equal ports.", "6");
const PORT_BORE: Key = required("bore", Type::Value(Dimension::Length, BORE), "Bore of one port.", "150 mm");
const PORT_LOSS: Key = required(
    "loss_coefficient",
    Type::Value(Dimension::Pure, LOSS),
    "Loss coefficient K of one port, on its own velocity.",
    "1.5",
);

/// A crossover of a grid: as a crossover, its ends given by the grid.
pub(crate) const GRID_CROSSOVER: Group = Group { keys: &[PORTS, PORT_BORE, PORT_LOSS, BLOCKED, NOTE], choices: &[] };

pub(super) const CROSSOVER: Group = Group {
    keys: &[
        required("from", Type::Reference(&[Kind::Panel]), "Panel at which it begins.", "A1"),
        required("to", Type::Reference(&[Kind::Panel]), "Panel at which it ends.", "B1"),
        PORTS,
        PORT_BORE,
        PORT_LOSS,
        BLOCKED,
        optional(
            "at",
            Type::Points,
            "evenly along the edge that the panels share",
            "Where the ports are, in panels of more than one cell: a point on the plate plan for each.",
            "[[3 m, 0.5 m], [3 m, 2.5 m]]",
        ),
        NOTE,
    ],
    choices: &[],
};

pub(super) const GRID: Group = Group {
    keys: &[
        required("columns", Type::Count(1, MOST_LINES), "Panels along x.", "5"),
        required("rows", Type::Count(1, MOST_LINES), "Panels along y.", "3"),
        optional(
            "origin",
            Type::Point,
            "[0 m, 0 m]",
            "Lower-left corner of panel 1-1 on the plate plan.",
            "[0 m, 0 m]",
        ),
        required(
            "panel",
            Type::Group(&GRID_PANEL),
            "The panels: keys as in `panels`, without `at` and `outline`.",
            "{size: [3 m, 3 m], elevation: 0.4 m, holes: {count: 1600, diameter: 4 mm, discharge_coefficient: 0.8}}",
        ),
        optional(
            "crossover",
            Type::Group(&GRID_CROSSOVER),
            "none: neighbours are not joined",
            "The crossovers between neighbours: keys as in `crossovers`, without `from` and `to`.",
            "{ports: 6, bore: 150 mm, loss_coefficient: 1.5}",
        ),
        NOTE,
    ],
    choices: &[],
};

pub(super) const SEAM: Group = Group {
    keys: &[
        optional(
            "panels",
            Type::Text,
            "`*`: every panel",
            "Panels that it may join; `*` stands for any run of characters.",
            "bed-*",
        ),
        choice("ports", Type::Count(1, 1_000_000), "Number of equal ports in each shared edge.", "6"),
        choice(
            "spacing",
            Type::Value(Dimension::Length, Range::over(0.0, 1e4, "above 0 m and at most 10 km")),
            "Distance between ports along the shared edges, in place of their number.",
            "400 mm",
        ),
        PORT_BORE,
        PORT_LOSS,
        optional(
            "reach",
            Type::Value(Dimension::Length, Range::over(0.0, 1.0, "above 0 m and at most 1 m")),
            "10 mm",
            "Distance between two edges that still counts as a seam.",
            "10 mm",
        ),
        NOTE,
    ],
    choices: &[Choice { what: "how many ports there are", options: &[&["ports"], &["spacing"]] }],
};
