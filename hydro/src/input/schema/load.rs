//! Keys of loads over position.

use super::{Choice, Group, Key, PRESSURE_LEVEL, Range, Type, choice, optional};
use crate::units::Dimension;

pub(super) const HEAT_LOAD: Range = Range::from(0.0, 1e10, "0 W/m2 or more and at most 10000 MW/m2");

const CENTRE: Key = choice("centre", Type::Point, "Centre of a radial pattern on the plate plan.", "[7.5 m, 4.5 m]");
const HALF_WIDTH: Key = choice(
    "half_width",
    Type::Value(Dimension::Length, Range::over(0.0, 1e4, "above 0 m and at most 10 km")),
    "Distance from the centre at which half of `peak - far` is left; between, a Gauss curve.",
    "2 m",
);
const FILE: Key = choice(
    "file",
    Type::Text,
    "CSV file beside the network file, with values on a grid: the header names the units, `x [m], y [m], value [UNIT]`; \
     then one row for each of the grid's points, in any order. Between them bilinear, outside as at the edge; lines that \
     begin with # are passed over.",
    "plume.csv",
);
const OVER_TIME: Key = optional(
    "over_time",
    Type::Table(Dimension::Pure, Range::from(0.0, 1e3, "0 or more and at most 1000")),
    "1",
    "Factor on what the pattern adds to `far`; a number or a table over time.",
    "{time: [0 s, 6 s, 7 s], value: [0, 0, 1]}",
);
const CHOICE: &[Choice] = &[Choice { what: "the pattern", options: &[&["centre", "half_width", "peak"], &["file"]] }];

/// A pressure over position.
pub(super) const PRESSURE_PATTERN: Group = Group {
    keys: &[
        CENTRE,
        HALF_WIDTH,
        choice("peak", Type::Value(Dimension::Pressure, PRESSURE_LEVEL), "Value at the centre.", "80 kPa(g)"),
        FILE,
        optional(
            "far",
            Type::Value(Dimension::Pressure, PRESSURE_LEVEL),
            "`site.ambient_pressure`",
            "Value far from the plume, and while `over_time` is 0.",
            "0 kPa(g)",
        ),
        OVER_TIME,
    ],
    choices: CHOICE,
};

/// A heat flux over position.
pub(super) const HEAT_PATTERN: Group = Group {
    keys: &[
        CENTRE,
        HALF_WIDTH,
        choice("peak", Type::Value(Dimension::HeatFlux, HEAT_LOAD), "Value at the centre.", "12 MW/m2"),
        FILE,
        optional(
            "far",
            Type::Value(Dimension::HeatFlux, HEAT_LOAD),
            "0 W/m2",
            "Value far from the plume, and while `over_time` is 0.",
            "0.5 MW/m2",
        ),
        OVER_TIME,
    ],
    choices: CHOICE,
};
