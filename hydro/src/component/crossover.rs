//! Crossover: equal ports that join two panels.

use super::law::{Law, Quadratic, circle};
use crate::fluid::site::Site;

/// Ports in parallel; the loss coefficient is on one port's own velocity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Crossover {
    /// Number of equal ports.
    pub ports: u32,
    /// Bore of one port, m.
    pub bore: f64,
    /// Loss coefficient of one port.
    pub loss_coefficient: f64,
}

impl Crossover {
    /// Area of all ports, m2.
    pub fn area(&self) -> f64 {
        f64::from(self.ports) * circle(self.bore)
    }

    /// Loss of total head against the flow of all ports: `K rho V|V|/2` with the velocity in one port.
    pub fn law(&self, site: &Site) -> Law {
        let ports = f64::from(self.ports);
        Law::Quadratic(Quadratic::new(self.loss_coefficient, circle(self.bore), ports, site.water_density, 3.0))
    }
}
