//! The units: symbols, sizes and where their definitions stand.

use super::dimension::Exponents;

/// A unit: its symbols, its size in SI and where its definition stands.
#[derive(Debug, Clone, Copy)]
pub struct Unit {
    /// Symbols, all meaning the same.
    pub symbols: &'static [&'static str],
    /// Size in coherent SI units (m, kg, s, K).
    pub factor: f64,
    pub(super) exponents: Exponents,
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
pub(super) const PSI: f64 = POUND_FORCE / (0.0254 * 0.0254);
const GALLON: f64 = 231.0 * 0.0254 * 0.0254 * 0.0254;
const BTU: f64 = 1_055.055_852_62;

pub(super) const UNITS: [Unit; 42] = [
    unit(&["m"], 1.0, [1, 0, 0, 0], true, SI),
    unit(&["g"], 1e-3, [0, 1, 0, 0], true, SI),
    unit(&["s", "sec"], 1.0, [0, 0, 1, 0], true, SI),
    unit(&["K", "degC"], 1.0, [0, 0, 0, 1], false, "SI Brochure, 9th edition; degC alone is a level: K - 273.15"),
    unit(&["Pa"], 1.0, [-1, 1, -2, 0], true, SI),
    unit(&["N"], 1.0, [1, 1, -2, 0], true, SI),
    unit(&["J"], 1.0, [2, 1, -2, 0], true, SI),
    unit(&["W"], 1.0, [2, 1, -3, 0], true, SI),
    unit(&["rad"], 1.0, [0, 0, 0, 0], false, SI),
    unit(&["deg"], std::f64::consts::PI / 180.0, [0, 0, 0, 0], false, SI),
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

pub(super) const PREFIXES: [(char, f64); 9] =
    [('G', 1e9), ('M', 1e6), ('k', 1e3), ('h', 1e2), ('d', 1e-1), ('c', 1e-2), ('m', 1e-3), ('u', 1e-6), ('n', 1e-9)];

/// Table of all units that may stand in a unit expression, besides `%`.
pub fn units() -> &'static [Unit] {
    &UNITS
}
