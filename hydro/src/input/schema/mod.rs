//! The one table of the network file: every section, item and key with its kind, range, default and words.
//!
//! Validation, the JSON Schema, `docs/input.md` and the paths of `--set` are all read from it.

mod control;
mod cooling;
mod gas;
mod gas_side;
mod load;
mod panel;
mod site;
mod spread;
mod study;
mod water;

use crate::units::Dimension;

pub(crate) use spread::{CORRELATION, MOST_QUANTITIES, SPREAD};

pub(crate) use panel::{GRID_CROSSOVER, GRID_PANEL, MOST_LINES};

/// Kinds of items.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    /// Tank.
    Tank,
    /// Header.
    Header,
    /// Panel.
    Panel,
    /// Outfall.
    Outfall,
    /// Pipe.
    Pipe,
    /// Water valve.
    Valve,
    /// Weir pipe.
    WeirPipe,
    /// Crossover.
    Crossover,
    /// Gas bank.
    GasBank,
    /// Gas header.
    GasHeader,
    /// Gas valve.
    GasValve,
    /// Grid of panels.
    Grid,
    /// Seam between panels.
    Seam,
}

impl Kind {
    /// All kinds.
    pub const ALL: [Kind; 12] = [
        Kind::Tank,
        Kind::Header,
        Kind::Panel,
        Kind::Outfall,
        Kind::Pipe,
        Kind::Valve,
        Kind::WeirPipe,
        Kind::Crossover,
        Kind::GasBank,
        Kind::GasHeader,
        Kind::GasValve,
        Kind::Grid,
    ];

    /// Word for one item of the kind, with its article.
    pub fn a(self) -> &'static str {
        match self {
            Kind::Tank => "a tank",
            Kind::Header => "a header",
            Kind::Panel => "a panel",
            Kind::Outfall => "an outfall",
            Kind::Pipe => "a pipe",
            Kind::Valve => "a valve",
            Kind::WeirPipe => "a weir pipe",
            Kind::Crossover => "a crossover",
            Kind::GasBank => "a gas bank",
            Kind::GasHeader => "a gas header",
            Kind::GasValve => "a gas valve",
            Kind::Grid => "a grid",
            Kind::Seam => "a seam",
        }
    }

    /// Word for one item of the kind.
    pub fn noun(self) -> &'static str {
        let word = self.a();
        word.split_once(' ').map_or(word, |(_, noun)| noun)
    }
}

/// Range of an SI value.
#[derive(Debug, Clone, Copy)]
pub struct Range {
    /// Least value.
    pub min: f64,
    /// Whether the least value itself is outside.
    pub above: bool,
    /// Greatest value.
    pub max: f64,
    /// Whether the greatest value itself is outside.
    pub below: bool,
    /// The range in words, as in `must be ...`.
    pub text: &'static str,
}

impl Range {
    const fn over(min: f64, max: f64, text: &'static str) -> Range {
        Range { min, above: true, max, below: false, text }
    }

    const fn from(min: f64, max: f64, text: &'static str) -> Range {
        Range { min, above: false, max, below: false, text }
    }

    const fn under(min: f64, max: f64, text: &'static str) -> Range {
        Range { min, above: false, max, below: true, text }
    }

    /// Whether a value is inside; false for not-a-number.
    pub fn holds(&self, value: f64) -> bool {
        let low = if self.above { value > self.min } else { value >= self.min };
        let high = if self.below { value < self.max } else { value <= self.max };
        low && high
    }
}

/// What may stand after a key.
#[derive(Debug, Clone, Copy)]
pub enum Type {
    /// Free text.
    Text,
    /// A value with a unit (or a pure number, or a share).
    Value(Dimension, Range),
    /// A value, or this word.
    ValueOr(Dimension, Range, &'static str),
    /// A pressure that must be absolute.
    Absolute(Range),
    /// A value, or a table over time.
    Table(Dimension, Range),
    /// A value, a table over time, or a pattern over position: a group of keys.
    Load(Dimension, Range, &'static Group),
    /// A whole number from .. to.
    Count(u32, u32),
    /// `on` or `off`, `true` or `false`.
    Switch,
    /// One of some words.
    Words(&'static [&'static str]),
    /// Name of an item of one of these kinds.
    Reference(&'static [Kind]),
    /// A group of keys.
    Group(&'static Group),
    /// A list of groups of keys.
    List(&'static Group),
    /// One of some words, a share, or a group of keys.
    ShareOrGroup(&'static [&'static str], Range, &'static Group),
    /// `[x, y]`, lengths.
    Point,
    /// `[x, y]`, lengths above zero.
    Size,
    /// `[[x, y], ...]`, a polygon of at least three points.
    Polygon,
    /// `[x, y]`, or `[[x, y], ...]`: one point or several.
    Points,
    /// `[value, ...]`.
    Numbers(Dimension, Range),
    /// `[value, ...]`, or `[[value, ...], ...]`: one row or several.
    Rows(Dimension, Range),
    /// `[along x, along y]`, whole numbers from 1.
    Cells,
    /// Fitting name -> count.
    Fittings,
    /// `[text, text]`.
    Texts,
    /// `[[1, 0.5], [0.5, 1]]`, pure numbers.
    Matrix,
}

/// Whether a key must be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Need {
    /// It must.
    Required,
    /// It may be left out; what holds then.
    Optional(&'static str),
    /// It must, where this other key is not written.
    Unless(&'static str),
    /// One of the [`Choice`]s of the group says.
    Choice,
}

/// A key of a group.
#[derive(Debug, Clone, Copy)]
pub struct Key {
    /// As written in the file.
    pub name: &'static str,
    /// What may stand after it.
    pub ty: Type,
    /// Whether it must be written.
    pub need: Need,
    /// What it means.
    pub doc: &'static str,
    /// An example of what stands after it.
    pub example: &'static str,
}

const fn required(name: &'static str, ty: Type, doc: &'static str, example: &'static str) -> Key {
    Key { name, ty, need: Need::Required, doc, example }
}

const fn optional(
    name: &'static str,
    ty: Type,
    default: &'static str,
    doc: &'static str,
    example: &'static str,
) -> Key {
    Key { name, ty, need: Need::Optional(default), doc, example }
}

const fn choice(name: &'static str, ty: Type, doc: &'static str, example: &'static str) -> Key {
    Key { name, ty, need: Need::Choice, doc, example }
}

/// Sets of keys of which exactly one must be written, wholly.
#[derive(Debug, Clone, Copy)]
pub struct Choice {
    /// What they say, with the article.
    pub what: &'static str,
    /// The sets.
    pub options: &'static [&'static [&'static str]],
}

impl Choice {
    /// The sets in words: `bore with discharge_coefficient, or kv with xt`.
    pub fn words(&self) -> String {
        let options: Vec<String> = self
            .options
            .iter()
            .map(|keys| keys.iter().map(|k| format!("`{k}`")).collect::<Vec<_>>().join(" with "))
            .collect();
        options.join(", or ")
    }
}

/// A group of keys: an item, or a group inside an item.
#[derive(Debug, Clone, Copy)]
pub struct Group {
    /// The keys.
    pub keys: &'static [Key],
    /// Choices between keys.
    pub choices: &'static [Choice],
}

impl Group {
    /// The key of a name.
    pub fn key(&self, name: &str) -> Option<&'static Key> {
        self.keys.iter().find(|k| k.name == name)
    }

    /// Names of all keys.
    pub fn names(&self) -> impl Iterator<Item = &'static str> {
        self.keys.iter().map(|k| k.name)
    }
}

/// What stands behind a key at the top of the file.
#[derive(Debug, Clone, Copy)]
pub enum SectionType {
    /// A value.
    Key(Key),
    /// One group of keys.
    One(&'static Group, Need),
    /// Items by name.
    Items(Kind, &'static Group),
}

/// A key at the top of the file.
#[derive(Debug, Clone, Copy)]
pub struct Section {
    /// As written in the file.
    pub name: &'static str,
    /// What stands behind it.
    pub ty: SectionType,
    /// What it means.
    pub doc: &'static str,
}

const fn top(key: Key) -> Section {
    Section { name: key.name, ty: SectionType::Key(key), doc: key.doc }
}

const fn items(name: &'static str, kind: Kind, group: &'static Group, doc: &'static str) -> Section {
    Section { name, ty: SectionType::Items(kind, group), doc }
}

/// A note on an item, kept and shown in the report.
const NOTE: Key = optional(
    "note",
    Type::Text,
    "none",
    "Kept and shown in the report: drawing number, source of a figure.",
    "\"drawing 12-104\"",
);

const STARTS: Type = Type::Words(&["full", "dry"]);
const PRESSURE_LEVEL: Range = Range::over(0.0, 2e8, "above 0 bar(a) and at most 2000 bar(a)");
const GAS_PRESSURE: Range = Range::over(0.0, 4e7, "above 0 bar(a) and at most 400 bar(a)");
const GAS_TEMPERATURE: Range = Range::from(150.0, 600.0, "from 150 K to 600 K (-123 degC to 327 degC)");
const ELEVATION: Range = Range::from(-1e4, 1e4, "from -10000 m to 10000 m");
const BORE: Range = Range::over(0.0, 20.0, "above 0 m and at most 20 m");
const PIPE_LENGTH: Range = Range::from(0.0, 1e6, "0 m or more and at most 1000 km");
const ROUGHNESS: Range = Range::from(0.0, 1.0, "0 m or more and at most 1 m");
const LOSS: Range = Range::over(0.0, 1e9, "above 0");
const ANY_LOSS: Range = Range::from(-10.0, 1e9, "-10 or more (published branch coefficients may be below zero)");
const FRICTION_FACTOR: Range = Range::over(0.0, 1.0, "above 0 and at most 1");
const COEFFICIENT: Range = Range::over(0.0, 1.0, "above 0 and at most 1");
const VOLUME: Range = Range::over(0.0, 1e6, "above 0 m3 and at most 1000000 m3");
const MOMENT: Range = Range::from(-1e7, 1e7, "from -10000000 s to 10000000 s");
const DURATION: Range = Range::from(0.0, 1e7, "0 s or more and at most 10000000 s");
const WALL: Range = Range::from(0.0, 1e9, "0 W/K or more");
const FLOW_COEFFICIENT: Range = Range::over(0.0, 1e7, "above 0 m3/h");

const WATER_NODES: &[Kind] = &[Kind::Tank, Kind::Header, Kind::Panel, Kind::Outfall];

const BLOCKED: Key = optional(
    "blocked",
    Type::Switch,
    "false",
    "Whether nothing passes, whatever else is said: a failure to look at.",
    "true",
);

/// All sections, in the order of the manual.
pub const SECTIONS: &[Section] = &[
    top(site::TITLE),
    Section {
        name: "site",
        ty: SectionType::One(&site::SITE, Need::Required),
        doc: "Surroundings and water. Gauge pressures are relative to `ambient_pressure`, elevations to one datum of \
              your choice.",
    },
    top(site::GAS),
    top(site::GAS_MODEL),
    top(site::INERTIA),
    top(site::TOLERANCE),
    items(
        "gas_banks",
        Kind::GasBank,
        &gas::BANK,
        "Banks of equal gas bottles; each bank is one volume with mass and energy balance.",
    ),
    items("gas_headers", Kind::GasHeader, &gas::HEADER, "Gas headers: volumes between gas valves."),
    items(
        "gas_valves",
        Kind::GasValve,
        &gas::VALVE,
        "Equal gas valves in parallel between two gas items: banks, gas headers, or the ullage of tanks.",
    ),
    items("tanks", Kind::Tank, &water::TANK, "Tanks: water under gas, vertical cylinders."),
    items("headers", Kind::Header, &water::HEADER, "Headers: junctions of water items; their pressure is found."),
    items("outfalls", Kind::Outfall, &water::OUTFALL, "Outfalls: a fixed pressure outside; free discharge or a drain."),
    items(
        "pipes",
        Kind::Pipe,
        &water::PIPE,
        "Pipes: `p1 - p2 = (f L/D + K) rho V|V|/2 + rho g (z2 - z1)`, f by Colebrook-White and 64/Re. Entrance, exit \
         and tee losses are there only if written.",
    ),
    items(
        "valves",
        Kind::Valve,
        &water::VALVE,
        "Water valves: `p1 - p2 = K rho V|V|/2 + rho g (z2 - z1)`, `K/x^2` at the opened share x.",
    ),
    items("weir_pipes", Kind::WeirPipe, &water::WEIR_PIPE, "Pipes that rise to an apex and fall again."),
    items(
        "panels",
        Kind::Panel,
        &panel::PANEL,
        "Panels: perforated plates; holes pass `n Cd A sqrt(2 (p_panel - p_plume)/rho)`.",
    ),
    items(
        "grids",
        Kind::Grid,
        &panel::GRID,
        "Rectangles of equal panels, named `NAME-<column>-<row>` (from 1, columns along x, rows along y), each joined to \
         its right and upper neighbour by crossovers `NAME-<c>-<r>:right` and `NAME-<c>-<r>:up`.",
    ),
    Section {
        name: "cooling",
        ty: SectionType::One(&cooling::COOLING, Need::Optional("heat is not judged; the bounds are shown")),
        doc: "How the water is taken to cool the plate, where panels have a `heat_flux`. What is needed for the heat is \
              `safety_factor q / (wetting (cp (T_sat - T_water) + utilisation h_fg))` of water, a mass per area and time, \
              with T_sat and h_fg at the plume's pressure. Without `utilisation`, `wetting` and `safety_factor` the need \
              is only shown for water that does not evaporate and for water that does so fully.",
    },
    items("crossovers", Kind::Crossover, &panel::CROSSOVER, "Equal ports that join two panels."),
    items(
        "seams",
        Kind::Seam,
        &panel::SEAM,
        "Crossovers wherever two panels share an edge (a piece of it at least as long as the bore) that no crossover joins \
         yet, named `PANEL:PANEL`.",
    ),
    Section {
        name: "duty",
        ty: SectionType::One(
            &site::DUTY,
            Need::Optional("start and ignition at 0 s, no hold, end 3600 s after the start"),
        ),
        doc: "Times of the run; the requirement applies from `ignition` for `hold`.",
    },
    Section {
        name: "faults",
        ty: SectionType::One(&study::FAULTS, Need::Optional("every single failure, no pairs")),
        doc: "What `hydro faults` looks at. It lists every single failure by itself, each named `ITEM/KIND`.",
    },
    Section {
        name: "sizing",
        ty: SectionType::One(&study::SIZING, Need::Optional("the flux and the plume of every panel, tank ratings")),
        doc: "What `hydro size` may vary and what it must meet over the duty, beside the `required_flux` of every panel.",
    },
    Section {
        name: "spread",
        ty: SectionType::One(&spread::SPREAD, Need::Optional("nothing is drawn")),
        doc: "What `hydro spread` draws: how uncertain quantities of the file are, and which depend on each other.",
    },
    Section {
        name: "fit",
        ty: SectionType::One(&study::FIT, Need::Optional("what the command line says")),
        doc: "What `hydro fit` fits to a measured record. What the command line says takes the place of the same key.",
    },
    top(site::SET),
];

/// The section of a name.
pub fn section(name: &str) -> Option<&'static Section> {
    SECTIONS.iter().find(|s| s.name == name)
}

/// The key that a path of keys below a section leads to, item names left out: `("tanks", ["relief", "set"])`.
///
/// For a key at the top of the file, `keys` is empty.
pub fn key_at(section_name: &str, keys: &[&str]) -> Option<&'static Key> {
    let section = section(section_name)?;
    let mut group = match &section.ty {
        SectionType::Key(key) => return keys.is_empty().then_some(key),
        SectionType::One(group, _) | SectionType::Items(_, group) => *group,
    };
    let (last, path) = keys.split_last()?;
    for name in path {
        group = match group.key(name)?.ty {
            Type::Group(inner) | Type::ShareOrGroup(_, _, inner) | Type::Load(_, _, inner) => inner,
            _ => return None,
        };
    }
    group.key(last)
}

/// The key that a path of `--set` leads to, by its last parts: names of items may hold dots.
pub fn key_of_path(path: &str) -> Option<&'static Key> {
    let (first, rest) = path.split_once('.').map_or((path, ""), |(first, rest)| (first, rest));
    let parts: Vec<&str> = rest.split('.').map(str::trim).filter(|part| !part.is_empty()).collect();
    let named = matches!(section(first.trim())?.ty, SectionType::Items(..));
    // An item has a name of at least one part; the longest path of keys that there is counts.
    let most = parts.len().saturating_sub(usize::from(named)).min(4);
    let least = usize::from(!parts.is_empty());
    (least..=most).rev().find_map(|count| key_at(first.trim(), parts.get(parts.len() - count..)?))
}
