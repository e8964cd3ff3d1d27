//! Pipe: Darcy-Weisbach friction and losses on one bore.

use super::Fill;

/// A straight run of pipe with its fittings.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pipe {
    /// Length, m.
    pub length: f64,
    /// Inner diameter, m.
    pub bore: f64,
    /// Wall roughness, m.
    pub roughness: f64,
    /// Sum of the loss coefficients (`loss_coefficient` and `fittings`) on this bore.
    pub loss_coefficient: f64,
    /// Darcy friction factor, where the file gives one instead of the friction law.
    pub friction_factor: Option<f64>,
    /// Full or dry at the start.
    pub starts: Fill,
}
