//! Water valve: loss coefficient or Kv, stroke, one-way.

use super::law::{Law, Quadratic, circle};
use super::schedule::Schedule;
use crate::fluid::site::Site;

/// A water valve. `K / x^2` at the opened share x; no flow at x = 0.
#[derive(Debug, Clone, PartialEq)]
pub struct Valve {
    /// Bore, m.
    pub bore: f64,
    /// Loss coefficient fully open, on this bore (a Kv is turned into it when the file is read).
    pub loss_coefficient: f64,
    /// When it moves.
    pub schedule: Schedule,
    /// Whether it passes no water backwards.
    pub one_way: bool,
}

impl Valve {
    /// Area of the bore, m2.
    pub fn area(&self) -> f64 {
        circle(self.bore)
    }

    /// Loss of total head against flow at the opened share `x`, above 0: `(K/x^2) rho V|V|/2` on the bore.
    pub fn law(&self, opened: f64, site: &Site) -> Law {
        let full = Quadratic::new(self.loss_coefficient, self.area(), 1.0, site.water_density, 3.0);
        Law::Quadratic(full.scaled(1.0 / (opened * opened)))
    }
}

/// Loss coefficient on a bore, m, of a valve with a Kv, m3/h of water of 1000 kg/m3 at 1 bar.
///
/// ```text
/// K = 2 dp A^2/(rho q^2),   dp = 1e5 Pa, rho = 1000 kg/m3, q = Kv/3600 m3/s
/// ```
///
/// # Source
/// Definition of the flow coefficient, IEC 60534-1.
pub fn loss_coefficient_from_kv(kv: f64, bore: f64) -> f64 {
    let flow = kv / 3600.0;
    2.0 * 1e5 * circle(bore).powi(2) / (1000.0 * flow * flow)
}
