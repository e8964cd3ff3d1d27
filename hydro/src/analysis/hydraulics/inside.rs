//! Flows and heads inside a step of time, as the method that has taken them along has them.
//!
//! ```text
//! z = z0 + s (c0 + (1 - s) (c1 + s c2)),    s from 0 to 1 over the step
//! ```
//!
//! With that a solve inside begins near its solution. Where the method has not taken them along, they lead straight from the start
//! of the step to its end.

use super::Hydraulics;

/// The network inside a step of time.
#[derive(Debug, Clone)]
pub struct Inside {
    /// Links that take part.
    pub(super) links: Vec<u32>,
    /// `z0, c0, c1, c2` of the parameters of the links and, behind these, of the heads of the free points; see [`super::tangents`].
    pub(super) numbers: [Vec<f64>; 4],
    /// Whether they are those of the method, not only straight from the start to the end.
    pub curved: bool,
}

/// The network at the start of a step of time.
#[derive(Debug, Clone, Default)]
pub(super) struct Begun {
    /// Time, s.
    time: f64,
    /// Links that take part.
    links: Vec<u32>,
    /// Their parameters and, behind these, the heads of the free points, as in [`Inside`].
    values: Vec<f64>,
}

impl Hydraulics {
    /// Takes the state solved last as that at the start of a step of time, s.
    pub fn begin_step(&mut self, time: f64) {
        let mut begun = std::mem::take(&mut self.begun);
        begun.time = time;
        begun.links.clone_from(&self.order.links);
        begun.values.clear();
        begun.values.extend(self.solved());
        self.begun = begun;
    }

    /// The network on the straight way from the start of a step, at a time in s, to the state solved last; `None` where that start
    /// is not known, or other links take part now.
    pub fn straight_inside(&self, from: f64) -> Option<Inside> {
        let Begun { time, links, values } = &self.begun;
        if *time != from || *links != self.order.links || values.len() != self.list_len() || self.has_runs() {
            return None;
        }
        let rise = self.solved().zip(values).map(|(now, start)| now - start).collect();
        let bends = || vec![0.0; values.len()];
        Some(Inside { links: links.clone(), numbers: [values.clone(), rise, bends(), bends()], curved: false })
    }

    /// The state solved last as a list of [`Inside`].
    fn solved(&self) -> impl Iterator<Item = f64> + '_ {
        let heads = self.heads[..self.free].iter().copied().chain(std::iter::repeat(0.0));
        self.trial.s[..self.order.whole].iter().copied().chain(heads).take(self.list_len())
    }

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
        if !inside.curved {
            for (place, (start, rise)) in (0..self.order.links.len()).zip(start.iter().zip(rise)) {
                let turned = self.turned(self.order.links[place] as usize, [*start, start + rise], share);
                self.trial.s[place] = turned.unwrap_or(self.trial.s[place]);
            }
        }
        self.leave_laws();
        self.forget_instants();
        true
    }
}
