//! Keys of the studies of many variants.

use super::{Group, Range, Type, optional};
use crate::units::Dimension;

const PART: Range = Range::over(0.0, 1.0, "above 0 % and at most 100 %");

pub(super) const FAULTS: Group = Group {
    keys: &[
        optional(
            "low_charge",
            Type::Value(Dimension::Share, PART),
            "80 %",
            "Gauge pressure of a gas bank at low charge, as a share of that in the file.",
            "85 %",
        ),
        optional(
            "plugged",
            Type::Value(Dimension::Share, PART),
            "10 %",
            "Share of the open holes of a panel that the failure plugs.",
            "5 %",
        ),
        optional(
            "without",
            Type::Texts,
            "nothing",
            "Items or single failures to leave out; `*` stands for any run of characters.",
            "[sustain-2, \"bed-*/plugged\"]",
        ),
        optional(
            "pairs",
            Type::Texts,
            "no pairs",
            "Pairs of failures at the same time.",
            "[burst-1/out + v-sustain/stuck-shut]",
        ),
    ],
    choices: &[],
};
