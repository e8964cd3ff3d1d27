//! Keys of gas banks, gas headers and gas valves.

use super::control::{CLOSES_AT, CLOSES_WHEN, MOVES, OPEN_AT_START, OPENS_AT, OPENS_WHEN, STROKE, STUCK};
use super::gas_side::{METAL_WALL, MINIMUM_TEMPERATURE, VENT_DOWN, WALL_HEAT_TRANSFER};
use super::{
    BORE, COEFFICIENT, Choice, FLOW_COEFFICIENT, GAS_PRESSURE, GAS_TEMPERATURE, Group, Kind, NOTE, Range, Type, VOLUME,
    choice, optional, required,
};
use crate::units::Dimension;

const GAS_ITEMS: &[Kind] = &[Kind::GasBank, Kind::GasHeader, Kind::Tank];

pub(super) const BANK: Group = Group {
    keys: &[
        required("bottles", Type::Count(1, 1_000_000), "Number of equal bottles.", "24"),
        required("bottle_volume", Type::Value(Dimension::Volume, VOLUME), "Volume of one bottle.", "500 L"),
        required("pressure", Type::Value(Dimension::Pressure, GAS_PRESSURE), "Pressure at the start.", "240 bar(g)"),
        optional(
            "temperature",
            Type::Value(Dimension::Temperature, GAS_TEMPERATURE),
            "`site.ambient_temperature`",
            "Temperature at the start.",
            "20 degC",
        ),
        WALL_HEAT_TRANSFER,
        METAL_WALL,
        MINIMUM_TEMPERATURE,
        VENT_DOWN,
        NOTE,
    ],
    choices: &[],
};

pub(super) const HEADER: Group = Group {
    keys: &[
        required("volume", Type::Value(Dimension::Volume, VOLUME), "Volume.", "0.8 m3"),
        optional(
            "pressure",
            Type::Value(Dimension::Pressure, GAS_PRESSURE),
            "`site.ambient_pressure`",
            "Pressure at the start.",
            "10 bar(g)",
        ),
        optional(
            "temperature",
            Type::Value(Dimension::Temperature, GAS_TEMPERATURE),
            "`site.ambient_temperature`",
            "Temperature at the start.",
            "20 degC",
        ),
        WALL_HEAT_TRANSFER,
        METAL_WALL,
        MINIMUM_TEMPERATURE,
        VENT_DOWN,
        NOTE,
    ],
    choices: &[],
};

pub(super) const VALVE: Group = Group {
    keys: &[
        required("from", Type::Reference(GAS_ITEMS), "Where it begins.", "bank-a"),
        required("to", Type::Reference(GAS_ITEMS), "Where it ends.", "gas-burst"),
        optional("installed", Type::Count(1, 100_000), "`open`, or 1", "Valves installed.", "8"),
        optional("open", Type::Count(0, 100_000), "`installed`", "Valves open; not more than `installed`.", "6"),
        choice("bore", Type::Value(Dimension::Length, BORE), "Bore of the throat of one valve.", "32 mm"),
        choice(
            "discharge_coefficient",
            Type::Value(Dimension::Pure, COEFFICIENT),
            "Discharge coefficient of the throat.",
            "0.84",
        ),
        choice(
            "kv",
            Type::Value(Dimension::FlowCoefficient, FLOW_COEFFICIENT),
            "Flow coefficient of one valve after IEC 60534: Kv in `m3/h` at 1 bar, or Cv in `gal/min` at 1 psi.",
            "18 m3/h",
        ),
        choice(
            "xt",
            Type::Value(Dimension::Pure, Range::over(0.0, 1.0, "above 0 and at most 1")),
            "Pressure differential ratio at choked flow after IEC 60534.",
            "0.7",
        ),
        choice(
            "sonic_conductance",
            Type::Value(Dimension::SonicConductance, Range::over(0.0, 1.0, "above 0 m3/(s Pa)")),
            "Sonic conductance C of one valve after ISO 6358.",
            "25 L/(s bar)",
        ),
        choice(
            "critical_ratio",
            Type::Value(Dimension::Pure, Range::under(0.0, 1.0, "0 or more and below 1")),
            "Critical pressure ratio b after ISO 6358.",
            "0.3",
        ),
        optional(
            "regulated_to",
            Type::Value(Dimension::Pressure, GAS_PRESSURE),
            "no regulator",
            "Throttles so that the pressure at `to` does not rise above this, and passes none back.",
            "12 bar(g)",
        ),
        OPENS_AT,
        CLOSES_AT,
        MOVES,
        OPENS_WHEN,
        CLOSES_WHEN,
        OPEN_AT_START,
        STROKE,
        STUCK,
        NOTE,
    ],
    choices: &[Choice {
        what: "the law of the valve",
        options: &[&["bore", "discharge_coefficient"], &["kv", "xt"], &["sonic_conductance", "critical_ratio"]],
    }],
};
