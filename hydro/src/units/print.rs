//! SI values as text.

use super::Dimension;

/// The SI value with all its digits, in a form that [`parse`](super::parse) reads back to the same value.
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
    // The first unit that the value reaches, otherwise the last.
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
        Dimension::VolumeFlow => {
            if value.abs() < 10.0 {
                pick(&[(1e-3, "L/s")])
            } else {
                pick(&[(1.0, "m3/s")])
            }
        }
        Dimension::MassFlow => pick(&[(1.0, "kg/s"), (1e-3, "g/s")]),
        Dimension::AreaFlow => format!("{} L/s/m2", digits(value / 1e-3)),
        Dimension::Velocity => format!("{} m/s", digits(value)),
        Dimension::HeatFlux => pick(&[(1e6, "MW/m2"), (1e3, "kW/m2"), (1.0, "W/m2")]),
        Dimension::HeatTransfer => pick(&[(1e3, "kW/K"), (1.0, "W/K")]),
        Dimension::Conductivity => format!("{} W/(m K)", digits(value)),
        Dimension::Angle => format!("{} deg", digits(value.to_degrees())),
        Dimension::SpecificHeat => format!("{} J/(kg K)", digits(value)),
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
