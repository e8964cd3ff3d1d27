//! The supply as the integrator sees it.

use crate::analysis::supply::{Supply, SupplyError};
use crate::time::{Near, OdeSystem};
use nalgebra::DMatrix;

/// The supply as a system of ordinary differential equations.
pub struct System<'s, 'a> {
    /// The supply.
    pub supply: &'s mut Supply<'a>,
    /// Natural size of each component of the state.
    pub scale: &'s [f64],
}

impl OdeSystem for System<'_, '_> {
    type Error = SupplyError;

    fn dim(&self) -> usize {
        self.supply.dim()
    }

    fn rhs(&mut self, t: f64, y: &[f64], dydt: &mut [f64]) -> Result<(), SupplyError> {
        self.supply.evaluate_onwards(t, y)?;
        self.supply.derivative(dydt);
        Ok(())
    }

    fn near(&mut self, t: f64, y: &[f64], which: Near<'_>, dydt: &mut [f64]) -> Result<(), SupplyError> {
        self.supply.evaluate_near(t, y, which)?;
        self.supply.derivative(dydt);
        Ok(())
    }

    fn scale(&self, component: usize) -> f64 {
        self.scale[component]
    }

    fn stage(&mut self, t: f64, base: &[f64], reach: f64, y: &mut [f64]) -> Result<bool, SupplyError> {
        self.supply.stage(t, base, reach, y, self.scale)
    }

    fn autonomous(&self) -> bool {
        self.supply.is_autonomous()
    }

    fn jacobian(&mut self, t: f64, y: &[f64], j: &mut DMatrix<f64>) -> Result<bool, SupplyError> {
        self.supply.evaluate(t, y)?;
        self.supply.jacobian(j);
        self.supply.begin_near(y);
        Ok(true)
    }
}
