//! Units: against the crate `uom`, against published conversions, and round trips.

use hydro::units::{Dimension, UnitError, digits, exact, parse, readable, units};
use proptest::prelude::*;

const AMBIENT: f64 = 101_325.0;

fn si(text: &str, dimension: Dimension) -> f64 {
    parse(text, dimension).unwrap_or_else(|e| panic!("{text}: {e}")).resolve(AMBIENT)
}

/// Live check against `uom` 0.38, whose conversion factors are those of NIST SP 811. Tolerance 5e-7 relative: `uom`
/// holds some US factors to seven digits.
#[test]
fn agrees_with_uom() {
    use hydro::units::Dimension as D;
    use uom::si::*;
    macro_rules! check {
        ($dimension:expr, $quantity:ident, $module:ident :: $base:ident, $($text:literal => $unit:ident),+ $(,)?) => {$(
            let theirs = uom::si::f64::$quantity::new::<$module::$unit>(3.7).get::<$module::$base>();
            let ours = si(concat!("3.7 ", $text), $dimension);
            assert!((ours / theirs - 1.0).abs() < 5e-7, "{}: {ours} against {theirs}", $text);
        )+};
    }
    check!(D::Length, Length, length::meter, "mm" => millimeter, "cm" => centimeter, "km" => kilometer,
        "in" => inch, "ft" => foot, "yd" => yard, "mi" => mile, "um" => micrometer);
    check!(D::Area, Area, area::square_meter, "cm2" => square_centimeter, "in2" => square_inch,
        "ft²" => square_foot);
    check!(D::Volume, Volume, volume::cubic_meter, "L" => liter, "mL" => milliliter, "gal" => gallon,
        "galUK" => gallon_imperial, "ft3" => cubic_foot, "in^3" => cubic_inch);
    check!(D::Time, Time, time::second, "ms" => millisecond, "min" => minute, "h" => hour, "day" => day);
    check!(D::PressureDifference, Pressure, pressure::pascal, "bar" => bar, "mbar" => millibar,
        "psi" => psi, "atm" => atmosphere, "MPa" => megapascal, "Torr" => torr,
        "lbf/ft2" => pound_force_per_square_foot, "mmHg" => millimeter_of_mercury, "inHg" => inch_of_mercury);
    check!(D::Density, MassDensity, mass_density::kilogram_per_cubic_meter, "g/cm3" => gram_per_cubic_centimeter,
        "lb/ft3" => pound_per_cubic_foot, "lb/gal" => pound_per_gallon);
    check!(D::Viscosity, DynamicViscosity, dynamic_viscosity::pascal_second, "mPa s" => millipascal_second,
        "cP" => centipoise, "P" => poise);
    check!(D::VolumeFlow, VolumeRate, volume_rate::cubic_meter_per_second, "L/s" => liter_per_second,
        "gal/min" => gallon_per_minute, "ft3/s" => cubic_foot_per_second, "m3/h" => cubic_meter_per_hour,
        "cfm" => cubic_foot_per_minute, "gpm" => gallon_per_minute);
    check!(D::MassFlow, MassRate, mass_rate::kilogram_per_second, "lb/s" => pound_per_second,
        "t/h" => ton_per_hour, "kg/h" => kilogram_per_hour);
    check!(D::Velocity, Velocity, velocity::meter_per_second, "km/h" => kilometer_per_hour,
        "ft/s" => foot_per_second);
    check!(D::HeatFlux, HeatFluxDensity, heat_flux_density::watt_per_square_meter,
        "MW/m2" => megawatt_per_square_meter, "W/cm2" => watt_per_square_centimeter);
    check!(D::Acceleration, Acceleration, acceleration::meter_per_second_squared,
        "ft/s2" => foot_per_second_squared);
    check!(D::Mass, Mass, mass::kilogram, "g" => gram, "t" => ton, "lb" => pound);
    check!(D::Energy, Energy, energy::joule, "kJ" => kilojoule, "Btu" => btu_it);
    check!(D::Temperature, ThermodynamicTemperature, thermodynamic_temperature::kelvin,
        "degC" => degree_celsius, "°F" => degree_fahrenheit, "K" => kelvin, "degR" => degree_rankine);
}

/// NIST SP 811 (2008), appendix B.8 and B.9, as printed there (from memory); seven digits, so 1e-6 relative.
#[test]
fn agrees_with_nist_sp_811() {
    for (text, dimension, printed) in [
        ("1 psi", Dimension::PressureDifference, 6.894757e3),
        ("1 ftH2O", Dimension::PressureDifference, 2.989067e3),
        ("1 inH2O", Dimension::PressureDifference, 2.490889e2),
        ("1 gal/min", Dimension::VolumeFlow, 6.309020e-5),
        ("1 gal", Dimension::Volume, 3.785412e-3),
        ("1 lb/ft3", Dimension::Density, 1.601846e1),
        ("1 Btu/(h ft2)", Dimension::HeatFlux, 3.154591),
        ("1 Btu/(s ft2)", Dimension::HeatFlux, 1.135653e4),
        ("1 ft2", Dimension::Area, 9.290304e-2),
        ("1 ft/s2", Dimension::Acceleration, 3.048e-1),
    ] {
        let ours = si(text, dimension);
        assert!((ours / printed - 1.0).abs() < 1e-6, "{text}: {ours} against {printed}");
    }
}

#[test]
fn values_of_the_contract() {
    for (text, dimension, wanted) in [
        ("12.5 m", Dimension::Length, 12.5),
        ("600mm", Dimension::Length, 0.6),
        ("24 in", Dimension::Length, 0.6096),
        ("1.2 m³/s", Dimension::VolumeFlow, 1.2),
        ("18 degC", Dimension::Temperature, 291.15),
        ("18 °C", Dimension::Temperature, 291.15),
        ("85 %", Dimension::Share, 0.85),
        ("0.85", Dimension::Share, 0.85),
        ("1.0016 mPa s", Dimension::Viscosity, 1.0016e-3),
        ("1.0016 mPa·s", Dimension::Viscosity, 1.0016e-3),
        ("9.80665 m/s2", Dimension::Acceleration, 9.80665),
        ("\u{2212}3 m", Dimension::Length, -3.0),
        ("1e-3 m^2", Dimension::Area, 1e-3),
        ("30 L/s/m2", Dimension::AreaFlow, 0.03),
        ("30 L/(s m2)", Dimension::AreaFlow, 0.03),
        ("30 L s-1 m-2", Dimension::AreaFlow, 0.03),
        ("30 mm/s", Dimension::AreaFlow, 0.03),
        ("1 gal/min/ft2", Dimension::AreaFlow, 6.309020e-5 / 9.290304e-2),
        ("6 MW/m2", Dimension::HeatFlux, 6e6),
        ("250 W/K", Dimension::HeatTransfer, 250.0),
        ("250 W/degC", Dimension::HeatTransfer, 250.0),
        ("18 m3/h", Dimension::FlowCoefficient, 18.0),
        ("300 L/min", Dimension::FlowCoefficient, 18.0),
        ("1 L/(s bar)", Dimension::SonicConductance, 1e-8),
        ("1 dm3/(s bar)", Dimension::SonicConductance, 1e-8),
        ("0.8", Dimension::Pure, 0.8),
        ("12 bar(g)", Dimension::Pressure, 12e5 + AMBIENT),
        ("12 bar (g)", Dimension::Pressure, 12e5 + AMBIENT),
        ("12 barg", Dimension::Pressure, 12e5 + AMBIENT),
        ("12 bar(a)", Dimension::Pressure, 12e5),
        ("12 bara", Dimension::Pressure, 12e5),
        ("40 kPag", Dimension::Pressure, 4e4 + AMBIENT),
        ("100 psia", Dimension::Pressure, 6.894_757_293e5),
        ("100 psig", Dimension::Pressure, 6.894_757_293e5 + AMBIENT),
        ("1 MPa(a)", Dimension::Pressure, 1e6),
    ] {
        let ours = si(text, dimension);
        assert!((ours - wanted).abs() <= 1e-7 * wanted.abs(), "{text}: {ours}, not {wanted}");
    }
    // IEC 60534-1: Kv = 0.865 Cv.
    assert!((si("1 gal/min", Dimension::FlowCoefficient) - 0.865).abs() < 5e-4);
}

#[test]
fn what_is_wrong_is_named() {
    use UnitError as E;
    let error = |text: &str, dimension| parse(text, dimension).err().unwrap_or_else(|| panic!("{text} was read"));
    assert!(matches!(error("12 bar", Dimension::Pressure), E::ReferenceMissing { .. }));
    assert!(matches!(error("12 psi", Dimension::Pressure), E::ReferenceMissing { .. }));
    assert!(matches!(error("12 bar(g)", Dimension::PressureDifference), E::ReferenceNotWanted { .. }));
    assert!(matches!(error("12", Dimension::Length), E::MissingUnit { .. }));
    assert!(matches!(error("12 m", Dimension::Pure), E::WrongDimension { .. }));
    assert!(matches!(error("12 m", Dimension::Pressure), E::WrongDimension { .. }));
    assert!(matches!(error("12 %", Dimension::Length), E::WrongDimension { .. }));
    assert!(matches!(error("12 furlong", Dimension::Length), E::UnknownUnit { .. }));
    assert!(matches!(error("12 m(g)", Dimension::Length), E::UnknownUnit { .. }));
    assert!(matches!(error("12 L/s m2", Dimension::AreaFlow), E::Ambiguous { .. }));
    assert!(matches!(error("12,5 m", Dimension::Length), E::Separator { .. }));
    assert!(matches!(error("45 000 gal/min", Dimension::VolumeFlow), E::Separator { .. }));
    for text in ["nan m", ".nan", "inf m", "-.inf", "1e999 m", "1e308 km"] {
        assert!(matches!(error(text, Dimension::Length), E::NotFinite { .. }), "{text}");
    }
    for text in ["", "m", "- 3 m", "e5 m", "."] {
        assert!(matches!(error(text, Dimension::Length), E::NotANumber { .. }), "{text}");
    }
    for text in
        ["3 m/", "3 /s", "3 (m", "3 m)", "3 m//s", "3 m0", "3 m99", "3 m^", "3 m/(s", "3 ()", "3 m((", "3 \u{1F6B0}"]
    {
        assert!(parse(text, Dimension::Length).is_err(), "{text}");
    }
}

#[test]
fn every_unit_stands_once() {
    let symbols: Vec<&str> = units().iter().flat_map(|u| u.symbols).copied().collect();
    for (i, symbol) in symbols.iter().enumerate() {
        assert!(!symbols[..i].contains(symbol), "{symbol} stands twice");
    }
    for dimension in Dimension::all() {
        for unit in dimension.usual_units() {
            si(&format!("1 {unit}"), *dimension);
        }
        si(dimension.example(), *dimension);
    }
}

proptest! {
    #[test]
    fn printed_values_read_back(mantissa in 1.0..10.0f64, size in -6i32..6, index in 0usize..22) {
        let dimension = Dimension::all()[index];
        let value = mantissa * 10f64.powi(size);
        let back = si(&exact(value, dimension), dimension);
        prop_assert!((back / value - 1.0).abs() < 1e-15, "{} -> {back}", exact(value, dimension));
        // Four digits of what is printed; a temperature and a gauge pressure are printed as differences.
        let shown = readable(value, dimension, AMBIENT);
        let back = si(&shown, dimension);
        let scale = match dimension {
            Dimension::Temperature => value + 273.15,
            Dimension::Pressure => value + AMBIENT,
            _ => value,
        };
        prop_assert!((back - value).abs() <= 6e-4 * scale, "{value} -> {shown} -> {back}");
    }

    #[test]
    fn any_text_is_answered(text in "\\PC{0,40}", index in 0usize..22) {
        let dimension = Dimension::all()[index];
        match parse(&text, dimension) {
            Ok(value) => prop_assert!(value.resolve(AMBIENT).is_finite()),
            Err(error) => prop_assert!(!error.to_string().is_empty() && !error.hint(dimension).is_empty()),
        }
    }
}

#[test]
fn readable_units() {
    for (value, dimension, text) in [
        (0.438, Dimension::VolumeFlow, "438 L/s"),
        (12.5, Dimension::VolumeFlow, "12.5 m3/s"),
        (1_231_325.0, Dimension::Pressure, "11.3 bar(g)"),
        (291.15, Dimension::Temperature, "18 degC"),
        (0.6, Dimension::Length, "600 mm"),
        (0.03, Dimension::AreaFlow, "30 L/s/m2"),
        (0.0, Dimension::Length, "0 mm"),
    ] {
        assert_eq!(readable(value, dimension, AMBIENT), text);
    }
    assert_eq!(digits(123_456.0), "123456");
    assert_eq!(digits(1.0), "1");
}
