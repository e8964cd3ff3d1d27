//! Keys that gas vessels and tanks share: heat, metal walls, ways out of the gas.

use super::control::{CLOSES_AT, CLOSES_WHEN, OPENS_AT, OPENS_WHEN, STROKE};
use super::{BORE, COEFFICIENT, GAS_PRESSURE, GAS_TEMPERATURE, Group, Key, Range, Type, WALL, optional, required};
use crate::units::Dimension;

pub(super) const WALL_HEAT_TRANSFER: Key = optional(
    "wall_heat_transfer",
    Type::Value(Dimension::HeatTransfer, WALL),
    "0 W/K: adiabatic",
    "Heat transfer between the gas and the surroundings at `site.ambient_temperature`, past a wall that stores no heat.",
    "250 W/K",
);

const AREA: Range = Range::over(0.0, 1e6, "above 0 m2");

const METAL: Group = Group {
    keys: &[
        required(
            "mass",
            Type::Value(Dimension::Mass, Range::over(0.0, 1e9, "above 0 kg")),
            "Mass of the metal that the gas touches (of a bank: of all bottles).",
            "6000 kg",
        ),
        optional(
            "specific_heat",
            Type::Value(Dimension::SpecificHeat, Range::over(0.0, 1e4, "above 0 J/(kg K) and at most 10000 J/(kg K)")),
            "439.8 J/(kg K): carbon steel at 20 degC, EN 1993-1-2",
            "Specific heat of the metal.",
            "500 J/(kg K)",
        ),
        required(
            "heat_transfer",
            Type::ValueOr(Dimension::HeatTransfer, WALL, "natural"),
            "Heat transfer between gas and metal, or `natural`: free convection, Nu = 0.13 Ra^(1/3), on `area`.",
            "800 W/K",
        ),
        optional(
            "area",
            Type::Value(Dimension::Area, AREA),
            "none; required with `heat_transfer: natural`, and only there",
            "Area of the metal that the gas touches.",
            "60 m2",
        ),
        optional(
            "to_ambient",
            Type::Value(Dimension::HeatTransfer, WALL),
            "0 W/K",
            "Heat transfer between the metal and the surroundings.",
            "100 W/K",
        ),
        optional(
            "temperature",
            Type::Value(Dimension::Temperature, GAS_TEMPERATURE),
            "that of the gas",
            "Temperature of the metal at the start.",
            "20 degC",
        ),
    ],
    choices: &[],
};

pub(super) const METAL_WALL: Key = optional(
    "wall",
    Type::Group(&METAL),
    "none: no metal stores heat",
    "Metal between the gas and the surroundings, at one temperature; in place of `wall_heat_transfer`.",
    "{mass: 6000 kg, heat_transfer: natural, area: 60 m2}",
);

pub(super) const MINIMUM_TEMPERATURE: Key = optional(
    "minimum_temperature",
    Type::Value(Dimension::Temperature, Range::from(50.0, 400.0, "from 50 K to 400 K")),
    "none",
    "Lowest temperature that the material is good for: a run warns where the metal (without `wall`: the gas) is colder.",
    "-20 degC",
);

const VENT: Group = Group {
    keys: &[
        required("bore", Type::Value(Dimension::Length, BORE), "Bore.", "50 mm"),
        required(
            "discharge_coefficient",
            Type::Value(Dimension::Pure, COEFFICIENT),
            "Discharge coefficient for gas.",
            "0.7",
        ),
        OPENS_AT,
        CLOSES_AT,
        OPENS_WHEN,
        CLOSES_WHEN,
        STROKE,
    ],
    choices: &[],
};

pub(super) const VENT_DOWN: Key = optional(
    "vent_down",
    Type::Group(&VENT),
    "none",
    "Valve that lets the gas out to the surroundings, as after a run; needs `opens_at` or `opens_when`.",
    "{opens_at: 60 s, bore: 50 mm, discharge_coefficient: 0.7}",
);

pub(super) const RELIEF: Group = Group {
    keys: &[
        required("set", Type::Value(Dimension::Pressure, GAS_PRESSURE), "Pressure at which it opens.", "15.5 bar(g)"),
        required("bore", Type::Value(Dimension::Length, BORE), "Bore.", "80 mm"),
        required(
            "discharge_coefficient",
            Type::Value(Dimension::Pure, COEFFICIENT),
            "Discharge coefficient for gas.",
            "0.7",
        ),
        optional(
            "blowdown",
            Type::Value(Dimension::Share, Range::over(0.0, 1.0, "above 0 % and at most 100 %")),
            "7 % (common practice, no source)",
            "Share of the gauge set pressure by which the pressure has to fall before it shuts again.",
            "7 %",
        ),
        optional(
            "reseats_at",
            Type::Value(Dimension::Pressure, GAS_PRESSURE),
            "by `blowdown`",
            "Pressure at which it shuts again, below `set`; in place of `blowdown`.",
            "14.4 bar(g)",
        ),
        optional(
            "stuck",
            Type::Words(&["open"]),
            "it moves",
            "`open`: a failure; it stands open from the start and never shuts.",
            "open",
        ),
    ],
    choices: &[],
};

pub(super) const WATER_HEAT_TRANSFER: Key = optional(
    "water_heat_transfer",
    Type::ValueOr(Dimension::HeatTransfer, WALL, "natural"),
    "0 W/K",
    "Heat transfer between the gas and the water below it at `site.water_temperature`, or `natural`: free convection on \
     the surface of the water while the gas is the colder.",
    "50 W/K",
);

pub(super) const EVAPORATION: Key = optional(
    "evaporation",
    Type::Switch,
    "off",
    "Whether water evaporates into the gas: its vapour adds to the pressure. As fast as `water_heat_transfer`, which it needs, \
     says by the analogy of heat and mass transfer. For warm water and long waits.",
    "on",
);

pub(super) const HUMIDITY: Key = optional(
    "humidity",
    Type::Value(Dimension::Share, Range::from(0.0, 1.0, "from 0 % to 100 %")),
    "0 %; only with `evaporation: on`",
    "Vapour in the gas at the start, as a share of what saturates it at the temperature of the water; part of `pressure`.",
    "50 %",
);
