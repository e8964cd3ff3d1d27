//! A supply near a state whose Jacobian is known, and when that leaves nothing out.

use super::{Regulation, Supply, SupplyError};
use crate::analysis::hydraulics::Inside;
use crate::component::gas_wall::HeatPath;
use crate::component::tank::{Tank, UllageModel};
use crate::nonlinear::newton::Options;
use crate::time::Near;

/// How the heads of the tanks answer to the state of the last Jacobian.
#[derive(Debug, Clone, Default)]
pub(super) struct Answers {
    state: Vec<f64>,
    /// Tank, component of the state, and d(pressure at its outlet)/d(component), Pa; of tanks that the network answers to.
    pub(super) tanks: Vec<(usize, usize, f64)>,
}

impl Supply<'_> {
    /// Takes the state of the last [`Self::jacobian`] as the one that others are near.
    pub fn begin_near(&mut self, y: &[f64]) {
        self.answers.state.clear();
        self.answers.state.extend_from_slice(y);
    }

    /// As [`Self::evaluate`], for a state near that of the last [`Self::begin_near`].
    ///
    /// # Errors
    /// [`SupplyError`], with the item and the time.
    pub fn evaluate_near(&mut self, time: f64, y: &[f64], which: Near<'_>) -> Result<(), SupplyError> {
        if self.is_moving() {
            return self.evaluate_onwards(time, y);
        }
        self.forget();
        self.fill(time, y)?;
        self.set_water(time, y);
        for answers in self.answers.tanks.chunk_by(|a, b| a.0 == b.0) {
            let moved = |&(_, column, by): &(usize, usize, f64)| by * (y[column] - self.answers.state[column]);
            self.water.lead_tank(answers[0].0, answers.iter().map(moved).sum());
        }
        self.water.solve_near(which, &self.options)?;
        self.take_outflows();
        self.exchange_heat(y);
        self.on_the_way = matches!(which, Near::Stage(_) | Near::Later(_));
        let passed = self.pass_gas(time);
        self.on_the_way = false;
        passed?;
        if matches!(which, Near::End(_)) {
            self.stand_at(time, y);
        }
        Ok(())
    }

    /// As [`Self::evaluate`], for a state inside a step, a share of its length from its start, from where the network is there.
    ///
    /// # Errors
    /// [`SupplyError`], with the item and the time.
    pub fn evaluate_inside(
        &mut self,
        (time, y): (f64, &[f64]),
        inside: &Inside,
        share: f64,
    ) -> Result<(), SupplyError> {
        self.forget();
        self.fill(time, y)?;
        self.set_water(time, y);
        self.water.begin_inside(inside, share);
        // What is left is about the square: a tenth of the tolerance.
        let options = Options { change: (0.1 * self.network.tolerance).sqrt(), ..self.options };
        self.solve_water_to(&options)?;
        self.exchange_heat(y);
        self.pass_gas(time)?;
        self.stand_at(time, y);
        Ok(())
    }

    /// What the regulated gas valves do in this stretch.
    pub fn regulations(&self) -> &[Regulation] {
        &self.regulations
    }

    /// Says what the regulated gas valves do.
    pub fn set_regulations(&mut self, regulations: &[Regulation]) {
        if self.regulations != regulations {
            self.regulations.copy_from_slice(regulations);
            self.stale = true;
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
