//! What a value measures.

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
    /// Thermal conductivity, W/(m K).
    Conductivity,
    /// Specific heat, J/(kg K).
    SpecificHeat,
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
    /// Angle, rad.
    Angle,
    /// Share, 0 .. 1; written in `%` or as a bare number.
    Share,
    /// Pure number, written without a unit.
    Pure,
}

/// Exponents of metre, kilogram, second and kelvin.
pub(super) type Exponents = [i8; 4];

/// All dimensions, the commoner first where two have the same exponents.
pub(super) const DIMENSIONS: [Dimension; 25] = [
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
    Dimension::Conductivity,
    Dimension::SpecificHeat,
    Dimension::FlowCoefficient,
    Dimension::SonicConductance,
    Dimension::Acceleration,
    Dimension::Mass,
    Dimension::Energy,
    Dimension::Angle,
    Dimension::Share,
    Dimension::Pure,
];

impl Dimension {
    /// All dimensions.
    pub fn all() -> &'static [Dimension] {
        &DIMENSIONS
    }

    pub(super) fn exponents(self) -> Exponents {
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
            Dimension::Conductivity => [1, 1, -3, -1],
            Dimension::SpecificHeat => [2, 0, -2, -1],
            Dimension::SonicConductance => [4, -1, 1, 0],
            Dimension::Acceleration => [1, 0, -2, 0],
            Dimension::Mass => [0, 1, 0, 0],
            Dimension::Energy => [2, 1, -2, 0],
            Dimension::Angle | Dimension::Share | Dimension::Pure => [0, 0, 0, 0],
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
            Dimension::Conductivity => "a thermal conductivity",
            Dimension::SpecificHeat => "a specific heat",
            Dimension::FlowCoefficient => "a flow coefficient",
            Dimension::SonicConductance => "a sonic conductance",
            Dimension::Acceleration => "an acceleration",
            Dimension::Mass => "a mass",
            Dimension::Energy => "an energy",
            Dimension::Angle => "an angle",
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
            Dimension::Conductivity => &["W/(m K)", "Btu/(h ft degF)"],
            Dimension::SpecificHeat => &["J/(kg K)", "kJ/(kg K)", "Btu/(lb degF)"],
            Dimension::FlowCoefficient => &["m3/h", "gal/min"],
            Dimension::SonicConductance => &["m3/(s Pa)", "dm3/(s bar)", "L/(s bar)", "L/(min bar)"],
            Dimension::Acceleration => &["m/s2", "ft/s2"],
            Dimension::Mass => &["kg", "g", "t", "lb"],
            Dimension::Energy => &["J", "kJ", "MJ", "Btu"],
            Dimension::Angle => &["rad", "deg"],
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
            Dimension::Conductivity => "45 W/(m K)",
            Dimension::SpecificHeat => "440 J/(kg K)",
            Dimension::FlowCoefficient => "18 m3/h",
            Dimension::SonicConductance => "25 L/(s bar)",
            Dimension::Acceleration => "9.80665 m/s2",
            Dimension::Mass => "10 kg",
            Dimension::Energy => "5 kJ",
            Dimension::Angle => "45 deg",
            Dimension::Share => "85 %",
            Dimension::Pure => "0.8",
        }
    }
}

impl fmt::Display for Dimension {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}
