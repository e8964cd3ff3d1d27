//! Nitrogen and air, real or ideal.

/// The pressurising gas.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GasKind {
    /// Nitrogen.
    Nitrogen,
    /// Dry air.
    Air,
}

/// Equation of state of the gas.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GasModel {
    /// GERG-2008.
    Real,
    /// Ideal with constant heats.
    Ideal,
}
