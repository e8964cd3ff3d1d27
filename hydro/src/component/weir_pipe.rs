//! Weir pipe: rises to an apex and falls again, with or without a vent.

use super::Fill;
use super::law::{Friction, Law};
use crate::fluid::site::Site;

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
}

/// One leg of a weir pipe.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leg {
    /// Length, m.
    pub length: f64,
    /// Sum of loss coefficients on the bore.
    pub loss_coefficient: f64,
    /// Full or dry at the start.
    pub starts: Fill,
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

impl WeirPipe {
    /// Law of both legs running full.
    pub fn full_law(&self, site: &Site) -> Law {
        let loss = self.rise.loss_coefficient + self.fall.loss_coefficient;
        self.law_of(self.rise.length + self.fall.length, loss, site)
    }

    /// Law of one leg running full.
    pub fn leg_law(&self, leg: &Leg, site: &Site) -> Law {
        self.law_of(leg.length, leg.loss_coefficient, site)
    }

    /// Law of one leg that ends at the apex as a free jet: its losses and one velocity head.
    ///
    /// The head that it loses is that at its start less that of still water at ambient pressure at the apex.
    pub fn jet_law(&self, leg: &Leg, site: &Site) -> Law {
        self.law_of(leg.length, leg.loss_coefficient + 1.0, site)
    }

    /// Head of still water at ambient pressure at the apex, Pa: `p_ambient + rho g z_apex`.
    pub fn apex_head(&self, site: &Site) -> f64 {
        site.ambient_pressure + site.water_density * site.gravity * self.apex
    }

    /// Law of a part of it: so much of its length, m, with so much of its loss coefficients.
    pub fn law_of(&self, length: f64, loss_coefficient: f64, site: &Site) -> Law {
        Law::Friction(Friction::new(length, self.bore, self.roughness, loss_coefficient, self.friction_factor, site))
    }
}
