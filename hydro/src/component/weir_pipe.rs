//! Weir pipe: rises to an apex and falls again, with or without a vent.

use super::Fill;

/// A weir pipe: two legs of one bore that meet at the apex.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeirPipe {
    /// Inner diameter, m.
    pub bore: f64,
    /// Wall roughness, m.
    pub roughness: f64,
    /// Darcy friction factor, where the file gives one instead of the friction law.
    pub friction_factor: Option<f64>,
    /// Elevation of the apex, m.
    pub apex: f64,
    /// Leg from `from` to the apex.
    pub rise: Leg,
    /// Leg from the apex to `to`.
    pub fall: Leg,
    /// Vent at the apex; without one the pipe can siphon.
    pub vent: Option<Vent>,
    /// Full or dry at the start.
    pub starts: Fill,
}

/// One leg of a weir pipe.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leg {
    /// Length, m.
    pub length: f64,
    /// Sum of loss coefficients on the bore.
    pub loss_coefficient: f64,
}

/// Vent at the apex of a weir pipe.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Vent {
    /// Bore, m.
    pub bore: f64,
    /// Discharge coefficient for air.
    pub discharge_coefficient: f64,
    /// Admits air and passes no water.
    pub one_way: bool,
}
