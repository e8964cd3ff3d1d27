//! Keys of tanks, headers, outfalls, pipes, water valves and weir pipes.

use super::control::{CLOSES_AT, CLOSES_WHEN, MOVES, OPEN_AT_START, OPENS_AT, OPENS_WHEN, STROKE, STUCK};
use super::gas_side::{
    EVAPORATION, HUMIDITY, METAL_WALL, MINIMUM_TEMPERATURE, RELIEF, VENT_DOWN, WALL_HEAT_TRANSFER, WATER_HEAT_TRANSFER,
};
use super::panel::PORT;
use super::{
    ANY_LOSS, BLOCKED, BORE, COEFFICIENT, Choice, ELEVATION, FLOW_COEFFICIENT, FRICTION_FACTOR, GAS_PRESSURE,
    GAS_TEMPERATURE, Group, Key, LOSS, NOTE, Need, PIPE_LENGTH, PRESSURE_LEVEL, ROUGHNESS, Range, STARTS, Type, VOLUME,
    WATER_NODES, choice, optional, required,
};
use crate::units::Dimension;

pub(super) const TANK: Group = Group {
    keys: &[
        required("volume", Type::Value(Dimension::Volume, VOLUME), "Total volume of water and gas.", "40 m3"),
        required(
            "diameter",
            Type::Value(Dimension::Length, Range::over(0.0, 200.0, "above 0 m and at most 200 m")),
            "Inner diameter of the vertical cylinder: water level = water volume / area.",
            "2.6 m",
        ),
        required(
            "bottom",
            Type::Value(Dimension::Length, ELEVATION),
            "Elevation of the outlet, from which the water level counts.",
            "1.2 m",
        ),
        choice(
            "filled",
            Type::Value(Dimension::Share, Range::under(0.0, 1.0, "0 % or more and below 100 % (gas needs room)")),
            "Share of the volume that is water at the start.",
            "92 %",
        ),
        choice(
            "water",
            Type::Value(Dimension::Volume, Range::from(0.0, 1e6, "0 m3 or more and below the tank's volume")),
            "Water at the start.",
            "36.8 m3",
        ),
        required(
            "pressure",
            Type::Value(Dimension::Pressure, GAS_PRESSURE),
            "Pressure of the gas over the water (ullage) at the start.",
            "11 bar(g)",
        ),
        optional(
            "gas_temperature",
            Type::Value(Dimension::Temperature, GAS_TEMPERATURE),
            "`site.ambient_temperature`",
            "Temperature of the gas at the start.",
            "20 degC",
        ),
        optional("rating", Type::Value(Dimension::Pressure, PRESSURE_LEVEL), "none", "Rated pressure.", "16 bar(g)"),
        optional(
            "heel",
            Type::Value(Dimension::Volume, Range::from(0.0, 1e6, "0 m3 or more and below the tank's volume")),
            "0 m3",
            "Water that cannot be used.",
            "0.6 m3",
        ),
        optional(
            "vortex_breaker",
            Type::Switch,
            "false",
            "Whether the outlet has a vortex breaker. A run warns when the level falls to where gas breaks through: with one \
             by the dip of the surface (Lubin and Springer), without by the vortex (ANSI/HI 9.8). The tank goes on.",
            "true",
        ),
        WALL_HEAT_TRANSFER,
        METAL_WALL,
        WATER_HEAT_TRANSFER,
        EVAPORATION,
        HUMIDITY,
        MINIMUM_TEMPERATURE,
        optional(
            "ullage",
            Type::Words(&["energy", "isothermal", "adiabatic", "polytropic"]),
            "energy",
            "How the gas changes: `energy` (balance with the wall and incoming gas), `isothermal`, `adiabatic`, or \
             `polytropic` (only without gas inflow; needs `polytropic_exponent`).",
            "energy",
        ),
        optional(
            "polytropic_exponent",
            Type::Value(Dimension::Pure, Range::from(0.0, 2.0, "from 0 to 2")),
            "none; required with `ullage: polytropic`, and only there",
            "Exponent n of p V^n = constant.",
            "1.2",
        ),
        optional(
            "relief",
            Type::Group(&RELIEF),
            "none",
            "Relief valve of the gas space.",
            "{set: 15.5 bar(g), bore: 80 mm, discharge_coefficient: 0.7}",
        ),
        VENT_DOWN,
        NOTE,
    ],
    choices: &[Choice { what: "the water in the tank", options: &[&["filled"], &["water"]] }],
};

const ITEM_ELEVATION: Key = required("elevation", Type::Value(Dimension::Length, ELEVATION), "Elevation.", "0.8 m");

const POSITION: Range = Range::from(0.0, 1e5, "0 m or more and at most the header's length");
pub(super) const REGAIN: Range = Range::from(0.0, 4.0, "from 0 to 4");

pub(super) const HEADER: Group = Group {
    keys: &[
        ITEM_ELEVATION,
        optional(
            "length",
            Type::Value(Dimension::Length, Range::over(0.0, 1e5, "above 0 m and at most 100 km")),
            "none: a junction",
            "Length of a long header, along which pipes, valves and weir pipes join it (`from_at`, `to_at`).",
            "6 m",
        ),
        optional("bore", Type::Value(Dimension::Length, BORE), "required with `length`", "Inner diameter.", "600 mm"),
        optional(
            "roughness",
            Type::Value(Dimension::Length, ROUGHNESS),
            "required with `length`, unless `friction_factor` is given",
            "Wall roughness; less than half the bore, and sensible up to 5 % of it.",
            "0.05 mm",
        ),
        ITEM_FRICTION_FACTOR,
        optional(
            "regain",
            Type::Value(Dimension::Pure, REGAIN),
            "this or `tees` is required with `length`",
            "Where water leaves along the header: rise of the static pressure over the fall of the velocity head. 1 \
             without loss; give its source in `note`. Items there meet the static pressure.",
            "0.9",
        ),
        optional(
            "regain_combining",
            Type::Value(Dimension::Pure, REGAIN),
            "2: water enters at right angles",
            "Where water enters along the header: fall of the static pressure over the rise of the velocity head.",
            "2",
        ),
        optional(
            "tees",
            Type::Words(&["crane"]),
            "this or `regain` is required with `length`",
            "Loss coefficients of dividing and combining tees along the header: `crane`, those of TP-410.",
            "crane",
        ),
        optional(
            "tee_angle",
            Type::Words(&["30 deg", "45 deg", "60 deg", "90 deg"]),
            "90 deg",
            "Angle between the branches and the stream in the header.",
            "90 deg",
        ),
        BLOCKED,
        NOTE,
    ],
    choices: &[],
};

const FROM_AT: Key = optional(
    "from_at",
    Type::Value(Dimension::Length, POSITION),
    "spread evenly with the others that leave it",
    "Position along the long header `from`; 0 m and its length are its ends.",
    "2.4 m",
);
const TO_AT: Key = optional(
    "to_at",
    Type::Value(Dimension::Length, POSITION),
    "0 m: its start",
    "Position along the long header `to`.",
    "0 m",
);

pub(super) const OUTFALL: Group = Group {
    keys: &[
        ITEM_ELEVATION,
        optional(
            "pressure",
            Type::Value(Dimension::Pressure, PRESSURE_LEVEL),
            "`site.ambient_pressure`",
            "Fixed total pressure outside.",
            "0 bar(g)",
        ),
        NOTE,
    ],
    choices: &[],
};

const FROM: Key = required("from", Type::Reference(WATER_NODES), "Where it begins.", "burst-1");
const TO: Key =
    required("to", Type::Reference(WATER_NODES), "Where it ends; positive flow runs `from` -> `to`.", "ring");
const ITEM_BORE: Key = required("bore", Type::Value(Dimension::Length, BORE), "Inner diameter.", "600 mm");
const ITEM_ROUGHNESS: Key = Key {
    name: "roughness",
    ty: Type::Value(Dimension::Length, ROUGHNESS),
    need: Need::Unless("friction_factor"),
    doc: "Wall roughness; less than half the bore, and sensible up to 5 % of it.",
    example: "0.05 mm",
};
const ITEM_FRICTION_FACTOR: Key = optional(
    "friction_factor",
    Type::Value(Dimension::Pure, FRICTION_FACTOR),
    "by Colebrook-White",
    "Darcy friction factor, in place of the friction law.",
    "0.02",
);
const ITEM_STARTS: Key = optional("starts", STARTS, "full", "Full of water or dry at the start.", "full");

pub(super) const PIPE: Group = Group {
    keys: &[
        FROM,
        TO,
        FROM_AT,
        TO_AT,
        required("length", Type::Value(Dimension::Length, PIPE_LENGTH), "Length.", "4 m"),
        ITEM_BORE,
        ITEM_ROUGHNESS,
        optional(
            "loss_coefficient",
            Type::Value(Dimension::Pure, ANY_LOSS),
            "0",
            "Sum of loss coefficients K on this bore.",
            "0.5",
        ),
        optional(
            "fittings",
            Type::Fittings,
            "none",
            "Fittings by name and count; their published K is added to `loss_coefficient`.",
            "{entrance_sharp: 1, bend_90_long_radius: 2, exit: 1}",
        ),
        ITEM_FRICTION_FACTOR,
        ITEM_STARTS,
        BLOCKED,
        PORT,
        NOTE,
    ],
    choices: &[],
};

pub(super) const VALVE: Group = Group {
    keys: &[
        FROM,
        TO,
        FROM_AT,
        TO_AT,
        ITEM_BORE,
        choice(
            "loss_coefficient",
            Type::Value(Dimension::Pure, LOSS),
            "Loss coefficient K fully open, on this bore.",
            "0.3",
        ),
        choice(
            "kv",
            Type::Value(Dimension::FlowCoefficient, FLOW_COEFFICIENT),
            "Flow coefficient fully open: Kv in `m3/h` at 1 bar, or Cv in `gal/min` at 1 psi.",
            "5000 m3/h",
        ),
        OPENS_AT,
        CLOSES_AT,
        MOVES,
        OPENS_WHEN,
        CLOSES_WHEN,
        OPEN_AT_START,
        STROKE,
        STUCK,
        optional("one_way", Type::Switch, "false", "A check valve: passes no water from `to` to `from`.", "false"),
        PORT,
        NOTE,
    ],
    choices: &[Choice { what: "the loss of the valve", options: &[&["loss_coefficient"], &["kv"]] }],
};

const LEG: Group = Group {
    keys: &[
        required("length", Type::Value(Dimension::Length, PIPE_LENGTH), "Length of the leg.", "9 m"),
        optional(
            "loss_coefficient",
            Type::Value(Dimension::Pure, ANY_LOSS),
            "0",
            "Sum of loss coefficients K of the leg, on the bore.",
            "0.4",
        ),
        optional("starts", STARTS, "that of the weir pipe", "This leg: full of water or dry at the start.", "full"),
    ],
    choices: &[],
};

const VENT: Group = Group {
    keys: &[
        required("bore", Type::Value(Dimension::Length, BORE), "Bore of the vent.", "80 mm"),
        required(
            "discharge_coefficient",
            Type::Value(Dimension::Pure, COEFFICIENT),
            "Discharge coefficient for air.",
            "0.6",
        ),
        optional("one_way", Type::Switch, "true", "Admits air and passes no water.", "true"),
        optional(
            "blocked",
            Type::Switch,
            "false",
            "Whether it admits no air, so that the pipe can siphon: a failure to look at.",
            "true",
        ),
    ],
    choices: &[],
};

pub(super) const WEIR_PIPE: Group = Group {
    keys: &[
        FROM,
        TO,
        FROM_AT,
        TO_AT,
        ITEM_BORE,
        ITEM_ROUGHNESS,
        required("apex", Type::Value(Dimension::Length, ELEVATION), "Elevation of the apex.", "6.5 m"),
        required("rise", Type::Group(&LEG), "Leg from `from` to the apex.", "{length: 9 m, loss_coefficient: 0.4}"),
        required("fall", Type::Group(&LEG), "Leg from the apex to `to`.", "{length: 9 m, loss_coefficient: 0.4}"),
        optional(
            "vent",
            Type::Group(&VENT),
            "none: it can siphon",
            "Vent at the apex: while the pressure there would fall below ambient, air enters.",
            "{bore: 80 mm, discharge_coefficient: 0.6, one_way: true}",
        ),
        ITEM_FRICTION_FACTOR,
        ITEM_STARTS,
        BLOCKED,
        PORT,
        NOTE,
    ],
    choices: &[],
};
