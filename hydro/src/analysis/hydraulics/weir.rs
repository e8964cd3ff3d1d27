//! Vented weir pipes: the middle one of three flows.

use super::Hydraulics;
use super::points::Points;
use crate::nonlinear::OneSided;

/// Width over which the choice of a vented weir pipe's flow is smoothed, as a share of the flows chosen from.
pub const WEIR_SMOOTHING: f64 = 1e-9;

/// Share in the flow of a vented weir pipe below which a curve ties nothing.
pub(super) const LEAST_SHARE: f64 = 1e-6;

/// The three curves of a vented weir pipe: indices.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Weir {
    /// Both legs full.
    pub full: usize,
    /// The rise as a free jet at the apex; one-way.
    pub forward: usize,
    /// The fall as a free jet at the apex, against the direction of the pipe; one-way.
    pub backward: usize,
    /// Which of the flows it follows.
    pub mode: WeirMode,
}

/// Which of its three flows a vented weir pipe follows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WeirMode {
    /// The middle one: what a network at rest does.
    Middle,
    /// The full pipe's, whatever the pressure at the apex.
    Full,
    /// The jet out of the rise.
    Forward,
}

/// Flow of a vented weir pipe and its shares in the three flows that it may follow.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeirFlow {
    /// Flow, m3/s.
    pub flow: f64,
    /// d(flow)/d(full), d(flow)/d(forward), -d(flow)/d(backward); their sum is 1.
    pub shares: [f64; 3],
}

impl WeirFlow {
    pub(super) const NONE: WeirFlow = WeirFlow { flow: 0.0, shares: [1.0, 0.0, 0.0] };
}

/// The middle one of the full flow and the jets on either side, none of which runs backwards: in either direction the
/// lesser of the full flow and the jet's.
pub(super) fn choose(weir: &Weir, points: &Points) -> WeirFlow {
    let full = points.flow(weir.full);
    match weir.mode {
        WeirMode::Middle => {}
        WeirMode::Full => return WeirFlow { flow: full, shares: [1.0, 0.0, 0.0] },
        WeirMode::Forward => return WeirFlow { flow: points.flow(weir.forward), shares: [0.0, 1.0, 0.0] },
    }
    if full >= 0.0 {
        let (flow, of_full, of_forward) = lesser(full, points.flow(weir.forward));
        WeirFlow { flow, shares: [of_full, of_forward, 0.0] }
    } else {
        let (flow, of_full, of_backward) = lesser(-full, points.flow(weir.backward));
        WeirFlow { flow: -flow, shares: [of_full, 0.0, of_backward] }
    }
}

/// The lesser of two numbers, 0 or more, smoothed over a share of their sum, and its slopes in both.
///
/// ```text
/// (a + b)/2 - r,   r^2 = (a - b)^2/4 + share^2 (a + b)^2
/// ```
fn lesser(a: f64, b: f64) -> (f64, f64, f64) {
    let (sum, difference) = (a + b, a - b);
    let square = WEIR_SMOOTHING * WEIR_SMOOTHING;
    let root = (0.25 * difference * difference + square * sum * sum).sqrt();
    if root == 0.0 {
        return (0.0, 0.0, 0.5); // neither flows: what holds is the jet that does not reach the apex
    }
    let of_a = 0.5 - (0.25 * difference + square * sum) / root;
    let of_b = 0.5 - (square * sum - 0.25 * difference) / root;
    ((0.5 * sum - root).max(0.0), of_a.max(0.0), of_b.max(0.0))
}

impl Hydraulics {
    /// Adds what a vented weir pipe follows at the base.
    pub(super) fn assemble_weir(&mut self, index: usize, values: &mut [f64], rhs: &mut [f64]) {
        let (weir, chosen) = (self.weirs[index], self.base_chosen[index]);
        // What has no share is not asked for.
        let corrected = |share: f64, curve: usize| {
            if share == 0.0 {
                return 0.0;
            }
            let loss = self.links.curve(curve).loss(&self.base.at(curve));
            share * ((self.drop(&self.base_heads, curve) - loss) * self.slope(curve))
        };
        let slope = |share: f64, curve: usize| if share == 0.0 { 0.0 } else { share * self.slope(curve) };
        let [full, forward, backward] = chosen.shares;
        let flow = chosen.flow + corrected(full, weir.full) + corrected(forward, weir.forward)
            - corrected(backward, weir.backward);
        let weights = [slope(full, weir.full), slope(forward, weir.forward), slope(backward, weir.backward)];
        self.stamp(weir.full, weights[0], flow, values, rhs);
        let [from, to] = self.links.ends(weir.full);
        for (near, far, weight) in [(from, to, weights[1]), (to, from, weights[2])] {
            if self.moves(near) && weight > 0.0 {
                values[self.pattern.diagonal(near)] += weight;
                if self.moves(far) {
                    self.one_sided.push(OneSided { row: far, col: near, weight });
                }
            }
        }
    }

    /// Whether a curve of a vented weir pipe may move so far from a flow without a say in the flow of the pipe: it had
    /// none before, and stays ten times as far from the flow chosen.
    pub(super) fn is_idle(&self, index: usize, flow: f64, moved: f64) -> bool {
        let Some(at) = index.checked_sub(self.plain) else { return false };
        let chosen = &self.base_chosen[at / 3];
        chosen.shares[at % 3] <= LEAST_SHARE && 10.0 * moved <= (flow.abs() - chosen.flow.abs()).abs()
    }
}
