//! What the links put into the matrix and the right-hand side.

use super::{Link, NO_SLOT, Pattern};

/// The linear elements of all links that take part, but for those of vented weir pipes, at one state. The pass over the laws
/// that leads to a state sums them up on its way, for it has all of them in hand.
#[derive(Debug, Clone, Default)]
pub(super) struct Stamps {
    /// Entries of the matrix off the diagonal, in its places.
    values: Vec<f64>,
    /// Diagonal, right-hand side and sum of the flows leaving of each free point, and behind them one for all fixed points.
    points: Vec<[f64; 3]>,
    /// Whether they are those of the laws and heads in force.
    pub valid: bool,
}

impl Stamps {
    /// Begins anew, for a matrix with so many places and so many free points.
    pub(super) fn begin(&mut self, places: usize, free: usize) {
        self.valid = false;
        self.values.clear();
        self.values.resize(places, 0.0);
        self.points.clear();
        self.points.resize(free + 1, [0.0; 3]);
    }

    /// Adds a linear element of conductance `c` with the flow `still` at no change of heads, and the flow itself; `slot`: its
    /// place off the diagonal.
    #[inline(always)]
    pub(super) fn add(&mut self, link: &Link, slot: u32, [c, still, flow]: [f64; 3]) {
        let fixed = self.points.len() - 1;
        let from = &mut self.points[(link.from as usize).min(fixed)];
        *from = [from[0] + c, from[1] - still, from[2] + flow];
        let to = &mut self.points[(link.to as usize).min(fixed)];
        *to = [to[0] + c, to[1] + still, to[2] - flow];
        if slot != NO_SLOT {
            self.values[slot as usize] -= c;
        }
    }

    /// Gives the sums of the flows leaving the points.
    pub(super) fn flows(&self, sums: &mut [f64]) {
        for (sum, &[_, _, flow]) in sums.iter_mut().zip(&self.points) {
            *sum = flow;
        }
    }

    /// Writes the matrix and the right-hand side.
    pub(super) fn write(&self, pattern: &Pattern, values: &mut [f64], rhs: &mut [f64]) {
        values.copy_from_slice(&self.values);
        for ((&[c, excess, _], &place), rhs) in self.points.iter().zip(pattern.col_start()).zip(rhs) {
            values[place as usize] = c;
            *rhs = excess;
        }
    }
}
