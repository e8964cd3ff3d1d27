//! Pipe: Darcy-Weisbach friction and losses on one bore.

use super::Fill;
use super::law::{Friction, Law};
use crate::fluid::site::Site;

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

impl Pipe {
    /// Loss of total head against flow: `(f L/D + K) rho V|V|/2`.
    pub fn law(&self, site: &Site) -> Law {
        self.law_of(self.length, self.loss_coefficient, site)
    }

    /// Law of a part of it: so much of its length, m, with so much of its loss coefficients.
    pub fn law_of(&self, length: f64, loss_coefficient: f64, site: &Site) -> Law {
        Law::Friction(Friction::new(length, self.bore, self.roughness, loss_coefficient, self.friction_factor, site))
    }
}
