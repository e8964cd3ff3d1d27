//! Keys that move a valve: by time, by condition, and how it fails to.

use super::{
    Choice, DURATION, Group, Key, Kind, MOMENT, PRESSURE_LEVEL, Range, Type, VOLUME, choice, optional, required,
};
use crate::units::Dimension;

/// What a condition can be about.
const MEASURED: &[Kind] = &[Kind::Tank, Kind::GasBank, Kind::GasHeader, Kind::Header, Kind::Panel];

const SHARE: Range = Range::from(0.0, 1.0, "from 0 % to 100 %");
const LEVEL: Range = Range::from(0.0, 1e4, "0 m or more and at most 10000 m");

pub(super) const OPENS_AT: Key = optional(
    "opens_at",
    Type::Value(Dimension::Time, MOMENT),
    "open from the start, where nothing else opens it",
    "When it begins to open. Before that it is closed.",
    "0 s",
);

pub(super) const CLOSES_AT: Key = optional(
    "closes_at",
    Type::Value(Dimension::Time, MOMENT),
    "never",
    "When it begins to close; after `opens_at`.",
    "40 s",
);

pub(super) const STROKE: Key = optional(
    "stroke",
    Type::Value(Dimension::Time, DURATION),
    "0 s: it jumps",
    "Time of a full stroke. The opened share grows linearly over it and falls the same way on closing; an order during \
     a stroke turns it round where it stands.",
    "1.2 s",
);

const MOVE: Group = Group {
    keys: &[
        required("at", Type::Value(Dimension::Time, MOMENT), "When it begins to move.", "3 s"),
        required("to", Type::Value(Dimension::Share, SHARE), "Share opened that it moves to.", "50 %"),
    ],
    choices: &[],
};

pub(super) const MOVES: Key = optional(
    "moves",
    Type::List(&MOVE),
    "none",
    "A sequence by time, in place of `opens_at` and `closes_at`.",
    "[{at: 3 s, to: 50 %}, {at: 9 s, to: 100 %}]",
);

pub(super) const OPEN_AT_START: Key = optional(
    "open_at_start",
    Type::Value(Dimension::Share, SHARE),
    "shut where `opens_at`, `moves` or `opens_when` is written, else open",
    "Share opened before it first moves.",
    "100 %",
);

const WHEN: Group = Group {
    keys: &[
        required("item", Type::Reference(MEASURED), "Item that is measured.", "burst-1"),
        choice(
            "pressure_below",
            Type::Value(Dimension::Pressure, PRESSURE_LEVEL),
            "Met when its pressure (of a tank: of the gas) falls to this.",
            "5 bar(g)",
        ),
        choice(
            "pressure_above",
            Type::Value(Dimension::Pressure, PRESSURE_LEVEL),
            "Met when its pressure (of a tank: of the gas) rises to this.",
            "5 bar(g)",
        ),
        choice(
            "level_below",
            Type::Value(Dimension::Length, LEVEL),
            "Met when the level of a tank above its outlet falls to this.",
            "0.4 m",
        ),
        choice(
            "level_above",
            Type::Value(Dimension::Length, LEVEL),
            "Met when the level of a tank above its outlet rises to this.",
            "2 m",
        ),
        choice(
            "water_below",
            Type::Value(Dimension::Volume, VOLUME),
            "Met when the water of a tank falls to this.",
            "3 m3",
        ),
        choice(
            "water_above",
            Type::Value(Dimension::Volume, VOLUME),
            "Met when the water of a tank rises to this.",
            "9 m3",
        ),
        optional(
            "dead_time",
            Type::Value(Dimension::Time, DURATION),
            "0 s",
            "Time between the condition and the begin of the stroke.",
            "0.3 s",
        ),
        optional(
            "armed_at",
            Type::Value(Dimension::Time, MOMENT),
            "the start of the run",
            "From when it is looked at; where the condition holds already, it is met then.",
            "2 s",
        ),
    ],
    choices: &[Choice {
        what: "the condition",
        options: &[
            &["pressure_below"],
            &["pressure_above"],
            &["level_below"],
            &["level_above"],
            &["water_below"],
            &["water_above"],
        ],
    }],
};

pub(super) const OPENS_WHEN: Key = optional(
    "opens_when",
    Type::Group(&WHEN),
    "never",
    "Opens on a condition, once.",
    "{item: burst-1, pressure_below: 5 bar(g)}",
);

pub(super) const CLOSES_WHEN: Key = optional(
    "closes_when",
    Type::Group(&WHEN),
    "never",
    "Closes on a condition, once.",
    "{item: burst-1, level_below: 0.4 m, dead_time: 0.3 s}",
);

const STUCK_GROUP: Group = Group {
    keys: &[
        optional("at", Type::Value(Dimension::Time, MOMENT), "from the start", "From when it is stuck.", "3 s"),
        optional(
            "open",
            Type::Value(Dimension::Share, SHARE),
            "where it is at that time",
            "Share opened at which it then stands.",
            "40 %",
        ),
    ],
    choices: &[],
};

pub(super) const STUCK: Key = optional(
    "stuck",
    Type::ShareOrGroup(&["open", "shut"], SHARE, &STUCK_GROUP),
    "it moves as ordered",
    "It no longer follows its orders: stands `open`, `shut` or at a share from the start, or, as a group, from a time \
     on. All valves of a bank of gas valves stick together.",
    "{at: 3 s, open: 40 %}",
);
