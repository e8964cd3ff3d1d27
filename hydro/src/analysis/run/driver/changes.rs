//! When what is watched has changed within a step.

use super::{Driver, LOCATED, TOLD};
use crate::analysis::hydraulics::Inside;
use crate::analysis::run::locate::{Looks, first_above};
use crate::analysis::run::watch::Watch;
use crate::analysis::supply::{Supply, SupplyError};
use crate::time::DenseStep;

impl Driver<'_, '_> {
    /// When each of the watches that differ at the end of a step has changed within it. The supply stands at the end.
    pub(super) fn locate(
        &mut self,
        changed: &[usize],
        (step, inside): (&DenseStep, Option<&Inside>),
        end: &[f64],
    ) -> Result<Vec<(f64, usize)>, SupplyError> {
        let (from, to) = (step.start().max(self.time), step.end());
        let mut y = vec![0.0; self.state.len()];
        let (watches, history, supply) = (&self.watches, &self.history, &mut *self.supply);
        // Below 0 before the change, above 0 from it on.
        let sign = |k: usize| if history.last(k) == Some(true) { -1.0 } else { 1.0 };
        // What the flows decide is known no better than they are.
        let sharp = |watch: &Watch| watch.restarts() && (watch.is_of_state() || watch.orders());
        let tolerance = |k: usize| if sharp(&watches[k]) { LOCATED } else { TOLD } * to.abs().max(1.0);
        let mut found = Vec::with_capacity(changed.len());
        let (of_state, of_all): (Vec<usize>, Vec<usize>) = changed.iter().partition(|&&k| watches[k].is_of_state());
        for k in of_state {
            let time = first_above(from, to, tolerance(k), |time| {
                step.at(time, &mut y);
                Ok::<_, SupplyError>(sign(k) * watches[k].value(supply, time, &y))
            })?;
            found.push((time, k));
        }
        if of_all.is_empty() {
            return Ok(found);
        }
        let values = |supply: &Supply<'_>, time: f64, y: &[f64]| -> Vec<f64> {
            of_all.iter().map(|&k| sign(k) * watches[k].value(supply, time, y)).collect()
        };
        let mut looks = Looks::default();
        looks.add(to, values(supply, to, end));
        let mut look = |time: f64| -> Result<_, SupplyError> {
            step.at(time, &mut y);
            // Where the network bends, a look begins better at the last one.
            match inside.filter(|inside| inside.curved) {
                Some(inside) => supply.evaluate_inside((time, &y), inside, step.share(time))?,
                None => supply.evaluate(time, &y)?,
            }
            Ok(values(supply, time, &y))
        };
        let known = self.ahead.at(from).map(|values| of_all.iter().map(|&k| sign(k) * values[k]).collect());
        looks.add(from, known.map_or_else(|| look(from), Ok)?);
        for (which, &k) in of_all.iter().enumerate() {
            found.push((looks.first_above(which, (tolerance(k), false), &mut look)?, k));
        }
        Ok(found)
    }
}
