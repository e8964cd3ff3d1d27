//! Units: the only place where a value with a unit is read or printed.
//!
//! A value is a number and a unit expression (`12.5 m`, `45000 gal/min`, `6 MW/m2`, `1 dm3/(s bar)`). Unit
//! expressions are products and quotients of the [`units`] below with integer exponents (`m3`, `m^3`, `m³`); every
//! one is reduced to a factor and to exponents of metre, kilogram, second and kelvin, and checked against the
//! [`Dimension`] that is wanted.

use std::fmt;

/// What a value measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// Length, m.
    Length,
    /// Area, m2.
    Area,
    /// Volume, m3.
    Volume,
    /// Time, s.
    Time,
    /// Temperature, K.
    Temperature,
    /// Pressure level, Pa absolute; the unit says gauge or absolute.
    Pressure,
    /// Difference of two pressures, Pa.
    PressureDifference,
    /// Density, kg/m3.
    Density,
    /// Dynamic viscosity, Pa s.
    Viscosity,
    /// Volume flow, m3/s.
    VolumeFlow,
    /// Mass flow, kg/s.
    MassFlow,
    /// Volume flow per area, m3/(s m2).
    AreaFlow,
    /// Velocity, m/s.
    Velocity,
    /// Heat flux, W/m2.
    HeatFlux,
    /// Heat transfer, W/K.
    HeatTransfer,
    /// Flow coefficient Kv, m3/h at 1 bar. A value in US gallons is a Cv (at 1 psi) and is turned into Kv.
    FlowCoefficient,
    /// Sonic conductance after ISO 6358, m3/(s Pa).
    SonicConductance,
    /// Acceleration, m/s2.
    Acceleration,
    /// Mass, kg.
    Mass,
    /// Energy, J.
    Energy,
    /// Share, 0 .. 1; written in `%` or as a bare number.
    Share,
    /// Pure number, written without a unit.
    Pure,
}

/// Exponents of metre, kilogram, second and kelvin.
type Exponents = [i8; 4];

/// All dimensions, the commoner first where two have the same exponents.
const DIMENSIONS: [Dimension; 22] = [
    Dimension::Length,
    Dimension::Area,
    Dimension::Volume,
    Dimension::Time,
    Dimension::Temperature,
    Dimension::Pressure,
    Dimension::PressureDifference,
    Dimension::Density,
    Dimension::Viscosity,
    Dimension::VolumeFlow,
    Dimension::MassFlow,
    Dimension::Velocity,
    Dimension::AreaFlow,
    Dimension::HeatFlux,
    Dimension::HeatTransfer,
    Dimension::FlowCoefficient,
    Dimension::SonicConductance,
    Dimension::Acceleration,
    Dimension::Mass,
    Dimension::Energy,
    Dimension::Share,
    Dimension::Pure,
];

impl Dimension {
    /// All dimensions.
    pub fn all() -> &'static [Dimension] {
        &DIMENSIONS
    }

    fn exponents(self) -> Exponents {
        match self {
            Dimension::Length => [1, 0, 0, 0],
            Dimension::Area => [2, 0, 0, 0],
            Dimension::Volume => [3, 0, 0, 0],
            Dimension::Time => [0, 0, 1, 0],
            Dimension::Temperature => [0, 0, 0, 1],
            Dimension::Pressure | Dimension::PressureDifference => [-1, 1, -2, 0],
            Dimension::Density => [-3, 1, 0, 0],
            Dimension::Viscosity => [-1, 1, -1, 0],
            Dimension::VolumeFlow | Dimension::FlowCoefficient => [3, 0, -1, 0],
            Dimension::MassFlow => [0, 1, -1, 0],
            Dimension::AreaFlow | Dimension::Velocity => [1, 0, -1, 0],
            Dimension::HeatFlux => [0, 1, -3, 0],
            Dimension::HeatTransfer => [2, 1, -3, -1],
            Dimension::SonicConductance => [4, -1, 1, 0],
            Dimension::Acceleration => [1, 0, -2, 0],
            Dimension::Mass => [0, 1, 0, 0],
            Dimension::Energy => [2, 1, -2, 0],
            Dimension::Share | Dimension::Pure => [0, 0, 0, 0],
        }
    }

    /// Name with its article, for messages.
    pub fn name(self) -> &'static str {
        match self {
            Dimension::Length => "a length",
            Dimension::Area => "an area",
            Dimension::Volume => "a volume",
            Dimension::Time => "a time",
            Dimension::Temperature => "a temperature",
            Dimension::Pressure => "a pressure",
            Dimension::PressureDifference => "a pressure difference",
            Dimension::Density => "a density",
            Dimension::Viscosity => "a dynamic viscosity",
            Dimension::VolumeFlow => "a volume flow",
            Dimension::MassFlow => "a mass flow",
            Dimension::AreaFlow => "a volume flow per area",
            Dimension::Velocity => "a velocity",
            Dimension::HeatFlux => "a heat flux",
            Dimension::HeatTransfer => "a heat transfer per kelvin",
            Dimension::FlowCoefficient => "a flow coefficient",
            Dimension::SonicConductance => "a sonic conductance",
            Dimension::Acceleration => "an acceleration",
            Dimension::Mass => "a mass",
            Dimension::Energy => "an energy",
            Dimension::Share => "a share",
            Dimension::Pure => "a pure number",
        }
    }

    /// Units in which it is usually written, the first being the SI unit kept inside.
    pub fn usual_units(self) -> &'static [&'static str] {
        match self {
            Dimension::Length => &["m", "mm", "cm", "in", "ft"],
            Dimension::Area => &["m2", "cm2", "mm2", "in2", "ft2"],
            Dimension::Volume => &["m3", "L", "gal", "ft3"],
            Dimension::Time => &["s", "ms", "min", "h"],
            Dimension::Temperature => &["K", "degC", "degF"],
            Dimension::Pressure => &["Pa(a)", "bar(g)", "bar(a)", "kPa(g)", "kPa(a)", "MPa(a)", "psi(g)", "psi(a)"],
            Dimension::PressureDifference => &["Pa", "bar", "kPa", "psi", "mH2O"],
            Dimension::Density => &["kg/m3", "kg/L", "lb/ft3"],
            Dimension::Viscosity => &["Pa s", "mPa s", "cP"],
            Dimension::VolumeFlow => &["m3/s", "L/s", "L/min", "m3/h", "gal/min", "ft3/s"],
            Dimension::MassFlow => &["kg/s", "kg/h", "t/h", "lb/s"],
            Dimension::AreaFlow => &["m3/s/m2", "L/s/m2", "L/min/m2", "mm/s", "gal/min/ft2"],
            Dimension::Velocity => &["m/s", "km/h", "ft/s"],
            Dimension::HeatFlux => &["W/m2", "kW/m2", "MW/m2", "W/cm2", "Btu/h/ft2"],
            Dimension::HeatTransfer => &["W/K", "kW/K", "W/degC", "Btu/h/degF"],
            Dimension::FlowCoefficient => &["m3/h", "gal/min"],
            Dimension::SonicConductance => &["m3/(s Pa)", "dm3/(s bar)", "L/(s bar)", "L/(min bar)"],
            Dimension::Acceleration => &["m/s2", "ft/s2"],
            Dimension::Mass => &["kg", "g", "t", "lb"],
            Dimension::Energy => &["J", "kJ", "MJ", "Btu"],
            Dimension::Share => &["%"],
            Dimension::Pure => &[],
        }
    }

    /// A value of this dimension as it may be written.
    pub fn example(self) -> &'static str {
        match self {
            Dimension::Length => "12.5 m",
            Dimension::Area => "0.5 m2",
            Dimension::Volume => "40 m3",
            Dimension::Time => "6 s",
            Dimension::Temperature => "18 degC",
            Dimension::Pressure => "12 bar(g)",
            Dimension::PressureDifference => "0.5 bar",
            Dimension::Density => "998.2 kg/m3",
            Dimension::Viscosity => "1.0016 mPa s",
            Dimension::VolumeFlow => "1.2 m3/s",
            Dimension::MassFlow => "3 kg/s",
            Dimension::AreaFlow => "30 L/s/m2",
            Dimension::Velocity => "5 m/s",
            Dimension::HeatFlux => "6 MW/m2",
            Dimension::HeatTransfer => "250 W/K",
            Dimension::FlowCoefficient => "18 m3/h",
            Dimension::SonicConductance => "25 L/(s bar)",
            Dimension::Acceleration => "9.80665 m/s2",
            Dimension::Mass => "10 kg",
            Dimension::Energy => "5 kJ",
            Dimension::Share => "85 %",
            Dimension::Pure => "0.8",
        }
    }
}

/// A unit: its symbols, its size in SI and where its definition stands.
#[derive(Debug, Clone, Copy)]
pub struct Unit {
    /// Symbols, all meaning the same.
    pub symbols: &'static [&'static str],
    /// Size in coherent SI units (m, kg, s, K).
    pub factor: f64,
    exponents: Exponents,
    /// Whether SI prefixes may stand before it.
    pub prefixes: bool,
    /// Where the definition stands.
    pub source: &'static str,
}

const SI: &str = "SI Brochure, 9th edition";
const YARD_AND_POUND: &str = "international yard and pound, 1959; exact";
const SP811: &str = "NIST SP 811 (2008), appendix B.8";

const fn unit(
    symbols: &'static [&'static str],
    factor: f64,
    exponents: Exponents,
    prefixes: bool,
    source: &'static str,
) -> Unit {
    Unit { symbols, factor, exponents, prefixes, source }
}

const FOOT: f64 = 0.3048;
const POUND: f64 = 0.453_592_37;
const GRAVITY: f64 = 9.806_65;
const POUND_FORCE: f64 = POUND * GRAVITY;
const PSI: f64 = POUND_FORCE / (0.0254 * 0.0254);
const GALLON: f64 = 231.0 * 0.0254 * 0.0254 * 0.0254;
const BTU: f64 = 1055.055_852_62;

const UNITS: [Unit; 40] = [
    unit(&["m"], 1.0, [1, 0, 0, 0], true, SI),
    unit(&["g"], 1e-3, [0, 1, 0, 0], true, SI),
    unit(&["s", "sec"], 1.0, [0, 0, 1, 0], true, SI),
    unit(&["K", "degC"], 1.0, [0, 0, 0, 1], false, "SI Brochure, 9th edition; degC alone is a level: K - 273.15"),
    unit(&["Pa"], 1.0, [-1, 1, -2, 0], true, SI),
    unit(&["N"], 1.0, [1, 1, -2, 0], true, SI),
    unit(&["J"], 1.0, [2, 1, -2, 0], true, SI),
    unit(&["W"], 1.0, [2, 1, -3, 0], true, SI),
    unit(&["L", "l"], 1e-3, [3, 0, 0, 0], true, SI),
    unit(&["t"], 1e3, [0, 1, 0, 0], false, SI),
    unit(&["min"], 60.0, [0, 0, 1, 0], false, SI),
    unit(&["h", "hr"], 3600.0, [0, 0, 1, 0], false, SI),
    unit(&["day"], 86400.0, [0, 0, 1, 0], false, SI),
    unit(&["bar"], 1e5, [-1, 1, -2, 0], true, "NIST SP 811 (2008), table 8; exact"),
    unit(&["atm"], 101_325.0, [-1, 1, -2, 0], false, "10th CGPM, 1954; exact"),
    unit(&["P"], 0.1, [-1, 1, -1, 0], true, "NIST SP 811 (2008), appendix B.8; poise, exact"),
    unit(&["kgf"], GRAVITY, [1, 1, -2, 0], false, "NIST SP 811 (2008), appendix B.8; exact"),
    unit(&["in", "inch"], 0.0254, [1, 0, 0, 0], false, YARD_AND_POUND),
    unit(&["ft"], FOOT, [1, 0, 0, 0], false, YARD_AND_POUND),
    unit(&["yd"], 0.9144, [1, 0, 0, 0], false, YARD_AND_POUND),
    unit(&["mi"], 1609.344, [1, 0, 0, 0], false, YARD_AND_POUND),
    unit(&["lb", "lbm"], POUND, [0, 1, 0, 0], false, YARD_AND_POUND),
    unit(&["lbf"], POUND_FORCE, [1, 1, -2, 0], false, SP811),
    unit(&["psi"], PSI, [-1, 1, -2, 0], false, "pound-force per square inch"),
    unit(&["psf"], POUND_FORCE / (FOOT * FOOT), [-1, 1, -2, 0], false, "pound-force per square foot"),
    unit(&["degF", "degR"], 5.0 / 9.0, [0, 0, 0, 1], false, "NIST SP 811 (2008), B.8; degF alone: (F + 459.67) 5/9"),
    unit(&["gal"], GALLON, [3, 0, 0, 0], false, "US gallon, 231 in3; exact"),
    unit(&["gpm"], GALLON / 60.0, [3, 0, -1, 0], false, "US gallon per minute"),
    unit(&["galUK"], 4.546_09e-3, [3, 0, 0, 0], false, "imperial gallon, NIST SP 811 (2008), B.8; exact"),
    unit(&["cfm"], FOOT * FOOT * FOOT / 60.0, [3, 0, -1, 0], false, "cubic foot per minute"),
    unit(&["cfs"], FOOT * FOOT * FOOT, [3, 0, -1, 0], false, "cubic foot per second"),
    unit(&["Btu", "BTU"], BTU, [2, 1, -2, 0], false, "International Table Btu, NIST SP 811 (2008), B.8"),
    unit(&["hp"], 550.0 * FOOT * POUND_FORCE, [2, 1, -3, 0], false, "550 ft lbf/s, NIST SP 811 (2008), B.8"),
    unit(&["Torr", "torr"], 101_325.0 / 760.0, [-1, 1, -2, 0], false, "NIST SP 811 (2008), B.8; exact"),
    unit(&["mmHg"], 133.3224, [-1, 1, -2, 0], false, "conventional, NIST SP 811 (2008), B.8"),
    unit(&["inHg"], 3386.389, [-1, 1, -2, 0], false, "conventional, NIST SP 811 (2008), B.8"),
    unit(&["mH2O"], 9806.65, [-1, 1, -2, 0], false, "conventional, NIST SP 811 (2008), B.8"),
    unit(&["mmH2O"], 9.80665, [-1, 1, -2, 0], false, "conventional, NIST SP 811 (2008), B.8"),
    unit(&["ftH2O"], 1000.0 * GRAVITY * FOOT, [-1, 1, -2, 0], false, "conventional, NIST SP 811 (2008), B.8"),
    unit(&["inH2O"], 1000.0 * GRAVITY * 0.0254, [-1, 1, -2, 0], false, "conventional, NIST SP 811 (2008), B.8"),
];

const PREFIXES: [(char, f64); 9] =
    [('G', 1e9), ('M', 1e6), ('k', 1e3), ('h', 1e2), ('d', 1e-1), ('c', 1e-2), ('m', 1e-3), ('u', 1e-6), ('n', 1e-9)];

/// Table of all units that may stand in a unit expression, besides `%`.
pub fn units() -> &'static [Unit] {
    &UNITS
}

/// A value as read: SI, but a gauge pressure still waits for the pressure of the surroundings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantity {
    value: f64,
    gauge: bool,
}

impl Quantity {
    /// Whether it is a pressure measured from that of the surroundings.
    pub fn is_gauge(self) -> bool {
        self.gauge
    }

    /// SI value; a gauge pressure is made absolute with `ambient_pressure` (Pa absolute).
    pub fn resolve(self, ambient_pressure: f64) -> f64 {
        if self.gauge { self.value + ambient_pressure } else { self.value }
    }
}

/// Why a text is no value of the dimension that is wanted.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum UnitError {
    /// The text does not begin with a number.
    #[error("`{text}` is not a number and a unit")]
    NotANumber {
        /// The text.
        text: String,
    },
    /// The number is too large, or is written as infinity or not-a-number.
    #[error("`{text}` is not a finite number")]
    NotFinite {
        /// The text.
        text: String,
    },
    /// Digits or a comma follow the number: a thousands separator or a decimal comma.
    #[error("`{text}` has a comma or a space inside the number")]
    Separator {
        /// The text.
        text: String,
    },
    /// A number without a unit.
    #[error("`{text}` has no unit; {} is wanted", .wanted.name())]
    MissingUnit {
        /// The text.
        text: String,
        /// What is wanted.
        wanted: Dimension,
    },
    /// A unit that is not in the table.
    #[error("`{unit}` is not a known unit")]
    UnknownUnit {
        /// The unit as written.
        unit: String,
    },
    /// `a/b c`: unclear whether c is above or below the line.
    #[error("`{unit}` does not say whether what follows the `/` is divided by")]
    Ambiguous {
        /// The unit as written.
        unit: String,
    },
    /// A unit of another dimension.
    #[error("`{text}` is {found}; {} is wanted", .wanted.name())]
    WrongDimension {
        /// The text.
        text: String,
        /// What the unit measures.
        found: String,
        /// What is wanted.
        wanted: Dimension,
    },
    /// A pressure level without gauge or absolute.
    #[error("`{text}` does not say whether it is gauge or absolute")]
    ReferenceMissing {
        /// The text.
        text: String,
        /// The unit as written.
        unit: String,
    },
    /// Gauge or absolute where it has no meaning.
    #[error("`{text}` says gauge or absolute, but {} is wanted", .wanted.name())]
    ReferenceNotWanted {
        /// The text.
        text: String,
        /// What is wanted.
        wanted: Dimension,
    },
}

impl UnitError {
    /// What would be right.
    pub fn hint(&self, wanted: Dimension) -> String {
        let units = wanted.usual_units().join(", ");
        match self {
            UnitError::NotANumber { .. } | UnitError::NotFinite { .. } => wanted.example().to_string(),
            UnitError::Separator { text } => {
                let joined: String = text.chars().filter(|c| !c.is_whitespace() && *c != ',').take(40).collect();
                format!("digits without separators and a decimal point, such as {} (not {joined})", wanted.example())
            }
            UnitError::MissingUnit { text, .. } => match wanted.usual_units() {
                [_, second, ..] if matches!(wanted, Dimension::Pressure | Dimension::Temperature) => {
                    format!("{text} {second} (or another of {units})")
                }
                [first, ..] => format!("{text} {first} (or another of {units})"),
                [] => wanted.example().to_string(),
            },
            UnitError::Ambiguous { unit } => match unit.split_once('/') {
                Some((above, below)) => format!("{above}/({below})"),
                None => wanted.example().to_string(),
            },
            UnitError::ReferenceMissing { text, .. } => {
                format!("{text}(g) above the surroundings, or {text}(a) above vacuum")
            }
            UnitError::UnknownUnit { .. } | UnitError::WrongDimension { .. } | UnitError::ReferenceNotWanted { .. }
                if units.is_empty() =>
            {
                format!("a number without a unit, such as {}", wanted.example())
            }
            UnitError::UnknownUnit { .. } | UnitError::WrongDimension { .. } | UnitError::ReferenceNotWanted { .. } => {
                format!("a unit such as {units}: {}", wanted.example())
            }
        }
    }
}

/// Value of `text` as a `wanted` dimension.
///
/// # Errors
/// [`UnitError`] says what is wrong; [`UnitError::hint`] what would be right. The result is always finite.
///
/// # Example
/// ```
/// use hydro::units::{parse, Dimension};
/// let flow = parse("45000 gal/min", Dimension::VolumeFlow).unwrap().resolve(101325.0);
/// assert!((flow - 2.8390588).abs() < 1e-7); // NIST SP 811: 1 gal/min = 6.309020e-5 m3/s
/// let p = parse("12 bar(g)", Dimension::Pressure).unwrap().resolve(101325.0);
/// assert_eq!(p, 1_301_325.0);
/// ```
pub fn parse(text: &str, wanted: Dimension) -> Result<Quantity, UnitError> {
    let text = text.trim();
    let (number, unit) = split_number(text)?;
    let unit = plain(unit);
    let quantity = read_unit(text, number, &unit, wanted)?;
    if quantity.value.is_finite() { Ok(quantity) } else { Err(UnitError::NotFinite { text: cut(text) }) }
}

/// At most 60 characters of a text, control characters as blanks, for messages.
pub(crate) fn cut(text: &str) -> String {
    let clean = |c: char| if c.is_control() { ' ' } else { c };
    match text.char_indices().nth(60) {
        None => text.chars().map(clean).collect(),
        Some(_) => text.chars().take(57).map(clean).chain("...".chars()).collect(),
    }
}

/// Number at the start of a text and what follows it.
fn split_number(text: &str) -> Result<(f64, &str), UnitError> {
    let not_a_number = || {
        let word = text.trim_start_matches(['+', '-', '.']).to_ascii_lowercase();
        if word.starts_with("inf") || word.starts_with("nan") {
            UnitError::NotFinite { text: cut(text) }
        } else {
            UnitError::NotANumber { text: cut(text) }
        }
    };
    let bytes = text.as_bytes();
    let (sign, start) = match text.chars().next() {
        Some('-') => (-1.0, 1),
        Some('\u{2212}') => (-1.0, '\u{2212}'.len_utf8()),
        Some('+') => (1.0, 1),
        _ => (1.0, 0),
    };
    let digits = |from: usize| bytes.get(from..).map_or(0, |b| b.iter().take_while(|c| c.is_ascii_digit()).count());
    let at = |i: usize| bytes.get(i).copied();
    let mut end = start + digits(start);
    let mut count = end - start;
    if at(end) == Some(b'.') {
        let fraction = digits(end + 1);
        count += fraction;
        end += 1 + fraction;
    }
    if count == 0 {
        return Err(not_a_number());
    }
    if matches!(at(end), Some(b'e' | b'E')) {
        let signed = usize::from(matches!(at(end + 1), Some(b'+' | b'-')));
        let exponent = digits(end + 1 + signed);
        if exponent > 0 {
            end += 1 + signed + exponent;
        }
    }
    let value: f64 = text.get(start..end).and_then(|t| t.parse().ok()).ok_or_else(not_a_number)?;
    if !value.is_finite() {
        return Err(UnitError::NotFinite { text: cut(text) });
    }
    let rest = text.get(end..).unwrap_or("");
    let unit = rest.trim_start();
    if unit.starts_with(|c: char| c.is_ascii_digit() || c == ',' || c == '_' || c == '\'') {
        return Err(UnitError::Separator { text: cut(text) });
    }
    Ok((sign * value, unit))
}

/// Unit expression with one spelling: `m³` -> `m3`, `°C` -> `degC`, `µ` -> `u`, `·` and `*` -> space.
fn plain(unit: &str) -> String {
    let mut out = String::with_capacity(unit.len());
    for c in unit.chars() {
        match c {
            '\u{b2}' => out.push('2'),
            '\u{b3}' => out.push('3'),
            '\u{b9}' => out.push('1'),
            '\u{2074}' => out.push('4'),
            '\u{207b}' | '\u{2212}' => out.push('-'),
            '\u{b0}' => out.push_str("deg"),
            '\u{2103}' => out.push_str("degC"),
            '\u{2109}' => out.push_str("degF"),
            '\u{b5}' | '\u{3bc}' => out.push('u'),
            '\u{2113}' => out.push('L'),
            '\u{b7}' | '\u{22c5}' | '*' => out.push(' '),
            c if c.is_whitespace() => out.push(' '),
            c => out.push(c),
        }
    }
    out.trim().to_string()
}

/// From what a pressure is measured.
#[derive(Clone, Copy, PartialEq)]
enum Reference {
    Gauge,
    Absolute,
}

fn read_unit(text: &str, number: f64, unit: &str, wanted: Dimension) -> Result<Quantity, UnitError> {
    let level = |value: f64| Quantity { value, gauge: false };
    if unit.is_empty() {
        return match wanted {
            Dimension::Pure | Dimension::Share => Ok(level(number)),
            _ => Err(UnitError::MissingUnit { text: cut(text), wanted }),
        };
    }
    if unit == "%" {
        return match wanted {
            Dimension::Share => Ok(level(number / 100.0)),
            _ => Err(UnitError::WrongDimension { text: cut(text), found: "a share".into(), wanted }),
        };
    }
    let (body, reference) = split_reference(unit);
    let (factor, exponents) = expression(body)?;
    let is_pressure = exponents == Dimension::Pressure.exponents();
    if exponents != wanted.exponents() || matches!(wanted, Dimension::Pure | Dimension::Share) {
        let found = DIMENSIONS.iter().find(|d| d.exponents() == exponents && exponents != [0; 4]);
        let found = found.map_or("something else", |d| d.name()).to_string();
        return Err(UnitError::WrongDimension { text: cut(text), found, wanted });
    }
    match (wanted, reference) {
        (Dimension::Pressure, None) => Err(UnitError::ReferenceMissing { text: cut(text), unit: cut(unit) }),
        (Dimension::Pressure, Some(reference)) => {
            Ok(Quantity { value: number * factor, gauge: reference == Reference::Gauge })
        }
        (_, Some(_)) if is_pressure => Err(UnitError::ReferenceNotWanted { text: cut(text), wanted }),
        (_, Some(_)) => Err(UnitError::UnknownUnit { unit: cut(unit) }),
        (Dimension::Temperature, None) => Ok(level(match body {
            "degC" => number + 273.15,
            "degF" => (number + 459.67) * factor,
            _ => number * factor,
        })),
        (Dimension::FlowCoefficient, None) => {
            let kv = number * factor * 3600.0;
            // A coefficient in US gallons is a Cv: the flow at 1 psi. q ~ sqrt(dp), so at 1 bar it is sqrt(bar/psi) more.
            let is_cv = body.starts_with("gal/") || body == "gpm";
            Ok(level(if is_cv { kv * (1e5 / PSI).sqrt() } else { kv }))
        }
        _ => Ok(level(number * factor)),
    }
}

/// Unit without `(g)`, `(a)`, or the trailing letter of `barg`, `psia`, and the reference that it names.
fn split_reference(unit: &str) -> (&str, Option<Reference>) {
    for (mark, reference) in [
        ("(g)", Reference::Gauge),
        ("(a)", Reference::Absolute),
        ("(gauge)", Reference::Gauge),
        ("(abs)", Reference::Absolute),
    ] {
        if let Some(body) = unit.strip_suffix(mark) {
            return (body.trim_end(), Some(reference));
        }
    }
    if atom(unit).is_none() {
        for (mark, reference) in [('g', Reference::Gauge), ('a', Reference::Absolute)] {
            if let Some(body) = unit.strip_suffix(mark) {
                if atom(body).is_some_and(|(_, e)| e == Dimension::Pressure.exponents()) {
                    return (body, Some(reference));
                }
            }
        }
    }
    (unit, None)
}

/// Factor and exponents of one unit with or without a prefix.
fn atom(symbol: &str) -> Option<(f64, Exponents)> {
    if let Some(unit) = UNITS.iter().find(|u| u.symbols.contains(&symbol)) {
        return Some((unit.factor, unit.exponents));
    }
    let first = symbol.chars().next()?;
    let (_, scale) = PREFIXES.iter().find(|(p, _)| *p == first)?;
    let rest = symbol.get(first.len_utf8()..)?;
    let unit = UNITS.iter().find(|u| u.prefixes && u.symbols.contains(&rest))?;
    Some((unit.factor * scale, unit.exponents))
}

/// Factor and exponents of a unit expression.
fn expression(unit: &str) -> Result<(f64, Exponents), UnitError> {
    let unknown = || UnitError::UnknownUnit { unit: cut(unit) };
    let mut factor = 1.0;
    let mut exponents: Exponents = [0; 4];
    let mut rest = unit;
    let (mut below, mut group, mut after_divisor) = (false, false, false);
    let mut terms = 0;
    loop {
        rest = rest.trim_start();
        let Some(c) = rest.chars().next() else { break };
        match c {
            '/' if !group => {
                if terms == 0 {
                    return Err(unknown());
                }
                (below, after_divisor) = (true, false);
                rest = &rest[1..];
            }
            '(' if !group && below && !after_divisor => {
                group = true;
                rest = &rest[1..];
            }
            ')' if group => {
                (group, after_divisor) = (false, true);
                rest = &rest[1..];
            }
            c if c.is_alphabetic() => {
                if below && after_divisor && !group {
                    return Err(UnitError::Ambiguous { unit: cut(unit) });
                }
                let mut end = rest.find(|c: char| !c.is_alphabetic()).unwrap_or(rest.len());
                if rest[..end].ends_with('H') && rest[end..].starts_with("2O") {
                    end += 2;
                }
                let (size, base) = atom(&rest[..end]).ok_or_else(unknown)?;
                rest = &rest[end..];
                let (power, used) = exponent(rest).ok_or_else(unknown)?;
                rest = &rest[used..];
                let power = if below { -power } else { power };
                factor *= size.powi(i32::from(power));
                for (sum, e) in exponents.iter_mut().zip(base) {
                    *sum = sum.checked_add(e.checked_mul(power).ok_or_else(unknown)?).ok_or_else(unknown)?;
                }
                terms += 1;
                after_divisor = below;
            }
            _ => return Err(unknown()),
        }
    }
    if group || terms == 0 || (below && !after_divisor) { Err(unknown()) } else { Ok((factor, exponents)) }
}

/// Exponent at the start of a text (`3`, `^3`, `-1`; 1 when there is none) and its length in bytes.
fn exponent(text: &str) -> Option<(i8, usize)> {
    let caret = usize::from(text.starts_with('^'));
    let minus = usize::from(text.get(caret..)?.starts_with('-'));
    let digits = text.get(caret + minus..)?.bytes().take_while(u8::is_ascii_digit).count();
    if digits == 0 {
        return if caret + minus == 0 { Some((1, 0)) } else { None };
    }
    let value: i8 = text.get(caret + minus..caret + minus + digits)?.parse().ok()?;
    if value == 0 || value > 9 {
        return None;
    }
    Some((if minus == 1 { -value } else { value }, caret + minus + digits))
}

/// The SI value with all its digits, in a form that [`parse`] reads back to the same value.
pub fn exact(value: f64, dimension: Dimension) -> String {
    match dimension {
        Dimension::Pure | Dimension::Share => format!("{value}"),
        // Kept inside as m3/h: the written unit.
        Dimension::FlowCoefficient => format!("{value} m3/h"),
        _ => format!("{value} {}", dimension.usual_units().first().unwrap_or(&"")),
    }
}

/// A readable form of an SI value with about four digits: `11.3 bar(g)`, `438 L/s`, `18 degC`.
///
/// `ambient_pressure`, Pa absolute, is what gauge pressures are printed from.
pub fn readable(value: f64, dimension: Dimension, ambient_pressure: f64) -> String {
    let pick = |steps: &[(f64, &str)]| {
        let fits = steps.iter().find(|(size, _)| value.abs() >= *size * 0.9995).or(steps.last());
        fits.map_or_else(|| digits(value), |(size, unit)| format!("{} {unit}", digits(value / size)))
    };
    match dimension {
        Dimension::Length => pick(&[(1.0, "m"), (1e-3, "mm")]),
        Dimension::Area => pick(&[(1.0, "m2"), (1e-4, "cm2"), (1e-6, "mm2")]),
        Dimension::Volume => pick(&[(1.0, "m3"), (1e-3, "L")]),
        Dimension::Time => pick(&[(1.0, "s"), (1e-3, "ms")]),
        Dimension::Temperature => format!("{} degC", digits(value - 273.15)),
        Dimension::Pressure => format!("{} bar(g)", digits((value - ambient_pressure) / 1e5)),
        Dimension::PressureDifference => pick(&[(1e5, "bar"), (1e3, "kPa"), (1.0, "Pa")]),
        Dimension::Density => format!("{} kg/m3", digits(value)),
        Dimension::Viscosity => format!("{} mPa s", digits(value / 1e-3)),
        Dimension::VolumeFlow => pick(&[(10.0, "m3/s"), (1e-3, "L/s")]),
        Dimension::MassFlow => pick(&[(1.0, "kg/s"), (1e-3, "g/s")]),
        Dimension::AreaFlow => format!("{} L/s/m2", digits(value / 1e-3)),
        Dimension::Velocity => format!("{} m/s", digits(value)),
        Dimension::HeatFlux => pick(&[(1e6, "MW/m2"), (1e3, "kW/m2"), (1.0, "W/m2")]),
        Dimension::HeatTransfer => pick(&[(1e3, "kW/K"), (1.0, "W/K")]),
        Dimension::FlowCoefficient => format!("{} m3/h", digits(value)),
        Dimension::SonicConductance => format!("{} L/(s bar)", digits(value / 1e-8)),
        Dimension::Acceleration => format!("{} m/s2", digits(value)),
        Dimension::Mass => pick(&[(1e3, "t"), (1.0, "kg"), (1e-3, "g")]),
        Dimension::Energy => pick(&[(1e6, "MJ"), (1e3, "kJ"), (1.0, "J")]),
        Dimension::Share => format!("{} %", digits(value * 100.0)),
        Dimension::Pure => digits(value),
    }
}

/// Number with about four significant digits, without trailing zeros.
pub fn digits(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return if value == 0.0 { "0".to_string() } else { format!("{value}") };
    }
    let size = value.abs().log10().floor();
    if !(-4.0..7.0).contains(&size) {
        return format!("{value:.3e}");
    }
    let places = (3.0 - size).clamp(0.0, 8.0) as usize;
    let text = format!("{value:.places$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_string() } else { text }
}

impl fmt::Display for Dimension {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
