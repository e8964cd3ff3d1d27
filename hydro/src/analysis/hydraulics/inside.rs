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
    /// `z0, c0, c1, c2` of the parameter of each link and, behind these, of the head of each free point.
    pub(super) numbers: Vec<[f64; 4]>,
}

impl Hydraulics {
    /// Puts the start of the next solve where flows and heads are inside a step, a share of its length from its start; false where
    /// other links take part now.
    pub fn begin_inside(&mut self, inside: &Inside, share: f64) -> bool {
        if inside.links != self.taking || inside.numbers.len() != self.taking.len() + self.free {
            return false;
        }
        let rest = 1.0 - share;
        let value = |&[start, rise, second, third]: &[f64; 4]| start + share * (rise + rest * (second + share * third));
        let (parameters, heads) = inside.numbers.split_at(self.taking.len());
        for (&link, numbers) in inside.links.iter().zip(parameters) {
            self.trial[link as usize].s = value(numbers);
        }
        for (head, numbers) in self.heads.iter_mut().zip(heads) {
            *head = value(numbers);
        }
        self.leave_laws();
        self.forget_instants();
        true
    }
}
