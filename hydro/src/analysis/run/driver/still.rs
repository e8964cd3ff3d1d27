//! When nothing flows any more.

use super::{Driver, Ended, TOLD};
use crate::analysis::run::locate::first_above;
use crate::analysis::run::record::Reader;
use crate::analysis::supply::{Supply, SupplyError};

/// Share of the largest flow so far below which a flow counts as none.
const STILL: f64 = 1e-6;

/// The largest flows at an instant: of water that leaves, of any water, m3/s, and of gas, kg/s.
#[derive(Debug, Clone, Copy)]
struct Flows {
    leaving: f64,
    water: f64,
    gas: f64,
}

impl Flows {
    /// Those at the instant that a supply stands at.
    fn of(supply: &Supply<'_>) -> Self {
        let leaving = supply.leaving().abs();
        let water = supply.outflows.iter().fold(leaving, |sum, flow| sum.max(flow.abs()));
        let outlets = supply.gas_side.outlets.iter().map(|outlet| outlet.flow.mass_flow);
        let flows = supply.passages.iter().map(|passage| passage.flow.abs()).chain(outlets);
        Flows { leaving, water, gas: flows.fold(0.0_f64, f64::max) }
    }
}

impl Driver<'_, '_> {
    /// Whether nothing flows and nothing is due; notes how long water has flowed.
    pub(super) fn is_still(&mut self) -> bool {
        let Flows { leaving, water, gas } = Flows::of(self.supply);
        self.largest = (self.largest.0.max(water), self.largest.1.max(gas));
        if leaving > STILL * self.largest.0 && leaving > 0.0 {
            self.flowed_until = Some(self.time);
        }
        let still = water <= STILL * self.largest.0 && gas <= STILL * self.largest.1;
        let end = self.supply.network.duty.end;
        still && !self.supply.heat_may_order() && !self.marks.anything_after(self.time, end) && self.time < end
    }

    /// Ends a run in which nothing flows any more at the instant from which on that is so, not at the end of the step that was found
    /// to be still; at its end where an instant within cannot be computed.
    pub(super) fn end_still(&mut self) {
        let (least_water, least_gas) = (STILL * self.largest.0, STILL * self.largest.1);
        let below = |flow: f64, least: f64| if least > 0.0 { (least - flow) / least } else { 1.0 };
        let quiet = |flows: Flows| below(flows.water, least_water).min(below(flows.gas, least_gas));
        let last_told = self.events.iter().map(|event| event.time).fold(f64::NEG_INFINITY, f64::max);
        let last = self.segments.last().and_then(|segment| segment.steps.last());
        let Some(from) = last.map(|step| step.start()) else { return };
        let found = self.first(from, self.time, quiet).unwrap_or(self.time).max(last_told);
        if found < self.time
            && let Some(segment) = self.segments.last_mut()
        {
            (self.time, segment.to) = (found, found);
            segment.state(found, &mut self.state);
        }
    }

    /// When the last flow of water ended, if it has: within the step behind the end of the last one at which it still flowed; at
    /// the end of that where an instant within cannot be computed.
    pub(super) fn end_of_flow(&mut self, ended: Ended) -> Option<f64> {
        let flowed = self.flowed_until?;
        let least = STILL * self.largest.0;
        let steps =
            self.segments.iter().flat_map(|segment| segment.steps.iter().map(|step| step.end().min(segment.to)));
        let Some(to) = steps.into_iter().find(|&end| end > flowed) else {
            return (ended == Ended::Still).then_some(flowed);
        };
        Some(self.first(flowed, to, |flows| least - flows.leaving).unwrap_or(to))
    }

    /// The first time found in a stretch of the run at which a quantity of the flows is above 0, or its end. The supply stands in the
    /// last stretch again then.
    ///
    /// # Errors
    /// Where an instant cannot be computed.
    fn first(&mut self, from: f64, to: f64, quantity: impl Fn(Flows) -> f64) -> Result<f64, SupplyError> {
        let mut y = vec![0.0; self.state.len()];
        let mut reader = Reader::new(&self.segments);
        let supply = &mut *self.supply;
        let found = first_above(from, to, TOLD * to.abs().max(1.0), |time| {
            reader.go_to(supply, time, &mut y)?;
            Ok(quantity(Flows::of(supply)))
        });
        if let Some(last) = self.segments.last() {
            last.enter(supply);
        }
        found
    }
}
