//! Keys of the cooling check.

use super::{Choice, Group, Key, Range, Type, choice, optional, required};
use crate::units::Dimension;

const UTILISATION: Key = optional(
    "utilisation",
    Type::Value(Dimension::Share, Range::from(0.0, 1.0, "from 0 % to 100 %")),
    "heat is not judged",
    "Share of the water on the plate that evaporates. No value is customary: it takes a test or a source.",
    "10 %",
);
const WETTING: Key = optional(
    "wetting",
    Type::Value(Dimension::Share, Range::over(0.0, 1.0, "above 0 % and at most 100 %")),
    "heat is not judged",
    "Share of the water from the holes that stays on the plate. No value is customary.",
    "50 %",
);
const SAFETY_FACTOR: Key = optional(
    "safety_factor",
    Type::Value(Dimension::Pure, Range::from(1.0, 100.0, "from 1 to 100")),
    "heat is not judged",
    "Factor on the water that is needed.",
    "1.5",
);
const CONDUCTIVITY: Key = optional(
    "conductivity",
    Type::Value(Dimension::Conductivity, Range::over(0.0, 1000.0, "above 0 W/(m K) and at most 1000 W/(m K)")),
    "no temperature of a dry spot is given",
    "Thermal conductivity of the plate, for the temperature of a dry spot; `holes.plate` is its thickness.",
    "45 W/(m K)",
);

const WETTING_LIMIT: Group = Group {
    keys: &[
        required(
            "contact_angle",
            Type::Value(Dimension::Angle, Range::over(0.0, 3.1, "above 0 deg and at most 177 deg")),
            "Contact angle of the water on the plate.",
            "60 deg",
        ),
        choice(
            "inclination",
            Type::Value(Dimension::Angle, Range::over(0.0, 1.570_797, "above 0 deg and at most 90 deg")),
            "Angle of the plate from the horizontal: the film runs down by its weight.",
            "45 deg",
        ),
        choice(
            "gas_shear",
            Type::Value(Dimension::PressureDifference, Range::over(0.0, 1e6, "above 0 Pa and at most 10 bar")),
            "Shear stress of the gas along the plate, which drives the film.",
            "200 Pa",
        ),
    ],
    choices: &[Choice { what: "what drives the film", options: &[&["inclination"], &["gas_shear"]] }],
};

pub(super) const COOLING: Group = Group {
    keys: &[
        UTILISATION,
        WETTING,
        SAFETY_FACTOR,
        CONDUCTIVITY,
        optional(
            "wetting_limit",
            Type::Group(&WETTING_LIMIT),
            "no wetting limit is given",
            "For the least flux at which a film closes over dry spots (Hartley and Murgatroyd).",
            "{contact_angle: 60 deg, inclination: 45 deg}",
        ),
    ],
    choices: &[],
};
