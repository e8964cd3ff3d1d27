//! Gas breakthrough: the level above a tank's outlet at which gas is drawn down into it.

use super::law::circle;

/// Critical submergence of an outlet without swirl, m: the surface dips and gas breaks through.
///
/// ```text
/// H = 0.69 (Q^2/(g (1 - rho_gas/rho_water)))^(1/5)
/// ```
///
/// # Arguments
/// flow: m3/s out of the tank, 0 or more; densities: kg/m3; gravity: m/s2.
///
/// # Source
/// Lubin and Springer, J. Fluid Mech. 29 (1967) 385 (coefficient from memory).
pub fn dip(flow: f64, gas_density: f64, water_density: f64, gravity: f64) -> f64 {
    let lighter = (1.0 - gas_density / water_density).max(1e-3);
    0.69 * (flow * flow / (gravity * lighter)).powf(0.2)
}

/// Submergence of an outlet below which a vortex may draw gas down, m.
///
/// ```text
/// S = D (1 + 2.3 Fr),   Fr = V/sqrt(g D)
/// ```
///
/// # Arguments
/// flow: m3/s, 0 or more; bore: m; gravity: m/s2.
///
/// # Source
/// ANSI/HI 9.8, intake submergence (as quoted).
pub fn vortex(flow: f64, bore: f64, gravity: f64) -> f64 {
    let froude = flow / circle(bore) / (gravity * bore).sqrt();
    bore * (1.0 + 2.3 * froude)
}

#[cfg(test)]
mod tests {
    use super::{dip, vortex};

    #[test]
    fn published_and_derived_submergences() {
        // ANSI/HI 9.8-1998, 9.8.7, as quoted: 3200 gal/min in 16 in need 44.7 in. Printed digits.
        let inch = 0.0254;
        let found = vortex(3200.0 * 231.0 * inch * inch * inch / 60.0, 16.0 * inch, 9.80665) / inch;
        assert!((found / 44.7 - 1.0).abs() < 2e-3, "{found}");
        // Equal to Q = 2.5 sqrt(g') H^2.5 (a point sink, derived): 1 m3/s 0.44 m, 5 m3/s 0.83 m, two digits.
        assert!((dip(1.0, 0.0, 1000.0, 9.80665) - 0.44).abs() < 5e-3);
        assert!((dip(5.0, 0.0, 1000.0, 9.80665) - 0.83).abs() < 5e-3);
    }
}
