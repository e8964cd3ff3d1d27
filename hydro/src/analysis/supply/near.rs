//! A supply near a state whose Jacobian is known, and when that leaves nothing out.

use super::{Regulation, Supply, SupplyError};
use crate::component::gas_wall::HeatPath;
use crate::component::tank::{Tank, UllageModel};

impl Supply<'_> {
    /// As [`Self::evaluate`], for a state near that of the last [`Self::jacobian`].
    ///
    /// # Errors
    /// [`SupplyError`], with the item and the time.
    pub fn evaluate_near(&mut self, time: f64, y: &[f64]) -> Result<(), SupplyError> {
        if self.is_moving() {
            return self.evaluate_onwards(time, y);
        }
        self.forget();
        self.fill(time, y)?;
        self.set_water(time, y);
        self.water.solve_near(&self.options)?;
        self.take_outflows();
        self.exchange_heat(y);
        self.pass_gas(time)
    }

    /// What the regulated gas valves do in this stretch.
    pub fn regulations(&self) -> &[Regulation] {
        &self.regulations
    }

    /// Says what the regulated gas valves do.
    pub fn set_regulations(&mut self, regulations: &[Regulation]) {
        if self.regulations != regulations {
            self.regulations.copy_from_slice(regulations);
            self.forget();
        }
    }

    /// Whether [`Self::jacobian`] leaves nothing out: what vapour and free convection do, and the pressure of polytropic gas, it
    /// takes as they are.
    pub fn answers_exactly(&self) -> bool {
        let given = |path: &HeatPath| matches!(path, HeatPath::Given(_));
        let known = |tank: &Tank| {
            !matches!(tank.ullage, UllageModel::Polytropic { .. }) && tank.to_water.as_ref().is_none_or(given)
        };
        let network = self.network;
        network.tanks.iter().all(known)
            && network.gas_vessels.iter().all(|vessel| vessel.wall.as_ref().is_none_or(|wall| given(&wall.inner)))
            && self.contents.iter().all(|content| content.moisture.is_none())
            && self.water.answers_exactly()
    }
}
