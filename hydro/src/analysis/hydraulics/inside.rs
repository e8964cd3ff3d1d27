//! Flows and heads inside a step of time, as the method that has taken them along has them.
//!
//! ```text
//! z = z0 + s (c0 + (1 - s) (c1 + s c2)),    s from 0 to 1 over the step
//! ```
//!
//! With that a solve inside begins near its solution.

use super::Hydraulics;

/// The network inside a step of time.
#[derive(Debug, Clone)]
pub struct Inside {
    /// Links that take part.
    pub(super) links: Vec<u32>,
    /// `z0, c0, c1, c2` of the parameters of the links and, behind these, of the heads of the free points; see [`super::tangents`].
    pub(super) numbers: [Vec<f64>; 4],
}

impl Hydraulics {
    /// Puts the start of the next solve where flows and heads are inside a step, a share of its length from its start; false where
    /// other links take part now.
    pub fn begin_inside(&mut self, inside: &Inside, share: f64) -> bool {
        if inside.links != self.order.links || inside.numbers[0].len() != self.list_len() {
            return false;
        }
        let rest = 1.0 - share;
        let [start, rise, second, third] = &inside.numbers;
        let numbers = start.iter().zip(rise).zip(second.iter().zip(third));
        let mut values =
            numbers.map(|((start, rise), (second, third))| start + share * (rise + rest * (second + share * third)));
        self.trial.s[..self.order.whole].iter_mut().zip(&mut values).for_each(|(s, value)| *s = value);
        self.heads[..self.free].iter_mut().zip(values).for_each(|(head, value)| *head = value);
        self.leave_laws();
        self.forget_instants();
        true
    }
}
