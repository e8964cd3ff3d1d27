//! Keys at the top of the file, `site` and `duty`.

use super::{DURATION, Group, Key, MOMENT, Range, Type, optional, required};
use crate::units::Dimension;

pub(super) const TITLE: Key =
    optional("title", Type::Text, "empty", "Title of the network.", "Stand 4, deflector supply");

pub(super) const GAS: Key =
    optional("gas", Type::Words(&["nitrogen", "air"]), "nitrogen", "The pressurising gas.", "nitrogen");

pub(super) const GAS_MODEL: Key = optional(
    "gas_model",
    Type::Words(&["real", "ideal"]),
    "real",
    "Equation of state of the gas: `real` is GERG-2008; `ideal` has gamma 1.4.",
    "real",
);

pub(super) const INERTIA: Key = optional(
    "inertia",
    Type::Switch,
    "on",
    "Whether every pipe and weir leg carries its water column in a run; `off`: the water side is quasi-steady.",
    "on",
);

pub(super) const TOLERANCE: Key = optional(
    "tolerance",
    Type::Value(Dimension::Pure, Range::from(1e-12, 1e-2, "from 1e-12 to 1e-2")),
    "1e-6",
    "Relative tolerance of the time integration.",
    "1e-6",
);

const WATER_TEMPERATURE: Range = Range::from(273.15, 373.15, "from 0 degC to 100 degC");

pub(super) const SITE: Group = Group {
    keys: &[
        required(
            "ambient_pressure",
            Type::Absolute(Range::from(1e3, 1e6, "from 1 kPa(a) to 10 bar(a)")),
            "Pressure of the surroundings, absolute; gauge pressures are relative to it.",
            "101.325 kPa(a)",
        ),
        required(
            "water_temperature",
            Type::Value(Dimension::Temperature, WATER_TEMPERATURE),
            "Temperature of the water; it must be liquid at the ambient pressure.",
            "18 degC",
        ),
        optional(
            "ambient_temperature",
            Type::Value(Dimension::Temperature, Range::from(200.0, 350.0, "from 200 K to 350 K (-73 degC to 77 degC)")),
            "`water_temperature`",
            "Temperature of the surroundings.",
            "18 degC",
        ),
        optional(
            "gravity",
            Type::Value(Dimension::Acceleration, Range::over(0.0, 100.0, "above 0 m/s2 and at most 100 m/s2")),
            "9.80665 m/s2",
            "Acceleration of gravity.",
            "9.80665 m/s2",
        ),
        optional(
            "water_density",
            Type::Value(Dimension::Density, Range::from(100.0, 5000.0, "from 100 kg/m3 to 5000 kg/m3")),
            "IAPWS-IF97 at `water_temperature` and `ambient_pressure`",
            "Density of the water, in place of the property tables (brine, a worked example).",
            "998.2 kg/m3",
        ),
        optional(
            "water_viscosity",
            Type::Value(Dimension::Viscosity, Range::over(0.0, 10.0, "above 0 Pa s and at most 10 Pa s")),
            "IAPWS 2008 at `water_temperature` and `ambient_pressure`",
            "Dynamic viscosity of the water, in place of the property tables.",
            "1.0016 mPa s",
        ),
        optional(
            "water_vapour_pressure",
            Type::Value(Dimension::Pressure, Range::from(0.0, 1e6, "0 bar(a) or more and at most 10 bar(a)")),
            "IAPWS-IF97 at `water_temperature`",
            "Vapour pressure of the water, in place of the property tables.",
            "2.34 kPa(a)",
        ),
    ],
    choices: &[],
};

pub(super) const SET: Key = optional(
    "set",
    Type::Texts,
    "nothing",
    "Values that take the place of those written elsewhere in the file, PATH=VALUE as in `--set`; the command line comes \
     after them. `hydro spread --sample N --write FILE` writes the drawn values so.",
    "[tanks.burst-1.pressure=12 bar(g), \"panels.bed-2-*.plugged=10 %\"]",
);

pub(super) const DUTY: Group = Group {
    keys: &[
        optional("start", Type::Value(Dimension::Time, MOMENT), "0 s", "Start of the run.", "0 s"),
        optional(
            "ignition",
            Type::Value(Dimension::Time, MOMENT),
            "`start`",
            "From here the requirement applies.",
            "6 s",
        ),
        optional(
            "hold",
            Type::Value(Dimension::Time, DURATION),
            "0 s: at `ignition` only",
            "For this long the requirement applies.",
            "15 s",
        ),
        optional(
            "end",
            Type::Value(Dimension::Time, MOMENT),
            "3600 s after `ignition` + `hold`; the run also ends when every tank is empty",
            "The run stops here at the latest; not before `ignition` + `hold`.",
            "60 s",
        ),
    ],
    choices: &[],
};
