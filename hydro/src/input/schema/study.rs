//! Keys of the studies of many variants.

use super::{DURATION, GAS_PRESSURE, Group, Range, Type, optional};
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

const MARGIN: Range = Range::from(0.0, 1e8, "0 Pa or more and at most 1000 bar");
const VELOCITY: Range = Range::over(0.0, 1e3, "above 0 m/s and at most 1000 m/s");
const FLOW: Range = Range::from(0.0, 1e4, "0 m3/s or more and at most 10000 m3/s");

const OFFSET: Range = Range::from(-1e7, 1e7, "from -1e7 s to 1e7 s");

pub(super) const SIZING: Group = Group {
    keys: &[
        optional(
            "vary",
            Type::Texts,
            "what `--vary` says",
            "Unknowns with their bounds, PATH=LOW..HIGH UNIT, PATH as in `--set`; counts stay whole numbers, and \
             `step SIZE` at the end keeps to a series of sizes.",
            "[gas_valves.gv-burst.open=1..12, tanks.*.pressure=6..16 bar(g) step 0.5]",
        ),
        optional(
            "lasts",
            Type::Value(Dimension::Time, DURATION),
            "no requirement",
            "Least time from the start until the first tank is empty or the flow stops.",
            "30 s",
        ),
        optional(
            "plume_margin",
            Type::Value(Dimension::PressureDifference, MARGIN),
            "0 Pa: the plume is kept out",
            "Least pressure inside a panel above that of its plume.",
            "5 kPa",
        ),
        optional(
            "greatest_velocity",
            Type::Value(Dimension::Velocity, VELOCITY),
            "no requirement",
            "Greatest velocity in any passage, on its own bore.",
            "8 m/s",
        ),
        optional("within_rating", Type::Switch, "true", "Whether no tank may rise above its rating.", "true"),
        optional(
            "bank_end_pressure",
            Type::Value(Dimension::Pressure, GAS_PRESSURE),
            "no requirement",
            "Least pressure left in every gas bank.",
            "30 bar(g)",
        ),
        optional(
            "total_flow",
            Type::Value(Dimension::VolumeFlow, FLOW),
            "no requirement",
            "Least flow of all panels together from ignition to the end of hold.",
            "2 m3/s",
        ),
        optional(
            "unevenness",
            Type::Value(Dimension::Share, PART),
            "no requirement",
            "Greatest difference of flux between two panels, as a share of the mean of all.",
            "10 %",
        ),
        optional(
            "cost",
            Type::Texts,
            "each unknown counts by its range",
            "Weights, PATH=NUMBER for one unit as written in `vary`; with three or more unknowns their sum is made least.",
            "[gas_valves.gv-burst.open=2, tanks.*.pressure=1]",
        ),
    ],
    choices: &[],
};

pub(super) const FIT: Group = Group {
    keys: &[
        optional(
            "record",
            Type::Text,
            "DATA.csv of the command line",
            "The measured record: a CSV file, looked for beside the network file.",
            "records/test-12.csv",
        ),
        optional(
            "vary",
            Type::Texts,
            "what `--vary` says",
            "Unknowns with their bounds, PATH=LEAST..MOST UNIT, PATH as in `--set`.",
            "[panels.*.holes.discharge_coefficient=0.6..0.9, pipes.burst-1-drop.loss_coefficient=0.1..3]",
        ),
        optional(
            "columns",
            Type::Texts,
            "all columns of the record",
            "Columns of the record to use: a quantity such as tanks.burst-1.pressure, and behind `=` the column's name in \
             the record, without its unit, where that is another.",
            "[tanks.burst-1.pressure=PT-101, panels.A1.flow]",
        ),
        optional(
            "offset",
            Type::Numbers(Dimension::Time, OFFSET),
            "none: the clock of the record is that of the duty",
            "Bounds of what is added to the times of the record, and fitted too.",
            "[-5 s, 5 s]",
        ),
        optional(
            "noise",
            Type::Texts,
            "estimated from the record",
            "Standard deviation of the noise of columns, COLUMN=VALUE UNIT, COLUMN a quantity.",
            "[tanks.burst-1.pressure=0.02 bar]",
        ),
    ],
    choices: &[],
};
