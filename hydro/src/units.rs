//! Units: the only place where a value with a unit is read or printed.
//!
//! A value is a number and a unit expression (`12.5 m`, `45000 gal/min`, `6 MW/m2`, `1 dm3/(s bar)`). Unit
//! expressions are products and quotients of the [`units`] below with integer exponents (`m3`, `m^3`, `m³`); every
//! one is reduced to a factor and to exponents of metre, kilogram, second and kelvin, and checked against the
//! [`Dimension`] that is wanted.

mod dimension;
mod error;
mod print;
mod table;

pub use dimension::Dimension;
pub use error::UnitError;
pub use print::{digits, exact, readable};
pub use table::{Unit, units};

use dimension::{DIMENSIONS, Exponents};
use table::{PREFIXES, PSI, UNITS};

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

/// Value of `text` with its number, as written, multiplied by `factor`: `18 degC` twice is `36 degC`, `9 bar(g)` half is
/// `4.5 bar(g)`.
///
/// # Errors
/// As [`parse`].
pub fn parse_scaled(text: &str, factor: f64, wanted: Dimension) -> Result<Quantity, UnitError> {
    let text = text.trim();
    let (number, unit) = split_number(text)?;
    let quantity = read_unit(text, number * factor, &plain(unit), wanted)?;
    if quantity.value.is_finite() { Ok(quantity) } else { Err(UnitError::NotFinite { text: cut(text) }) }
}

/// An SI value written as `text` is: with its unit, and with eight significant digits. `None` where `text` is no such
/// value.
///
/// # Example
/// ```
/// use hydro::units::{rewritten, Dimension};
/// assert_eq!(rewritten("9 bar(g)", 1_051_325.0, Dimension::Pressure, 101_325.0).as_deref(), Some("9.5 bar(g)"));
/// ```
pub fn rewritten(text: &str, value: f64, wanted: Dimension, ambient_pressure: f64) -> Option<String> {
    let text = text.trim();
    let (_, unit) = split_number(text).ok()?;
    let at = |number: f64| read_unit(text, number, &plain(unit), wanted).ok().map(|q| q.resolve(ambient_pressure));
    let (none, one) = (at(0.0)?, at(1.0)?);
    let number: f64 = format!("{:.7e}", (value - none) / (one - none)).parse().ok()?;
    let blank = if text.strip_suffix(unit).is_some_and(|before| before.ends_with(' ')) { " " } else { "" };
    number.is_finite().then(|| format!("{number}{blank}{unit}"))
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
            '\u{00b7}' | '\u{22c5}' | '*' => out.push(' '),
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
        let found = found.map_or("of another kind", |d| d.name()).to_string();
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
            if let Some(body) = unit.strip_suffix(mark)
                && atom(body).is_some_and(|(_, e)| e == Dimension::Pressure.exponents())
            {
                return (body, Some(reference));
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
