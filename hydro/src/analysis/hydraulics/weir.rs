//! Vented weir pipes: the middle one of three flows.

use super::Hydraulics;
use crate::analysis::curve::{Curve, Point};
use crate::nonlinear::OneSided;

/// Width over which the choice of a vented weir pipe's flow is smoothed, as a share of its natural flow.
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

/// The middle one of the full flow and the jets on either side, smoothed over [`WEIR_SMOOTHING`].
pub(super) fn choose(weir: &Weir, points: &[Point], curves: &[Curve]) -> WeirFlow {
    let width = WEIR_SMOOTHING * curves[weir.full].law.natural_flow();
    let (low, of_full, of_forward) = lesser(points[weir.full].flow, points[weir.forward].flow, width);
    let (negative, of_low, of_backward) = lesser(-low, points[weir.backward].flow, width);
    WeirFlow { flow: -negative, shares: [of_low * of_full, of_low * of_forward, of_backward] }
}

/// The lesser of two numbers, smoothed over a width, and its slopes in both.
fn lesser(a: f64, b: f64, width: f64) -> (f64, f64, f64) {
    let half = 0.5 * (a - b);
    let root = (half * half + width * width).sqrt();
    let of_a = 0.5 * (1.0 - half / root);
    (0.5 * (a + b) - root, of_a, 1.0 - of_a)
}

impl Hydraulics {
    /// Adds what a vented weir pipe follows at the base.
    pub(super) fn assemble_weir(&mut self, index: usize, values: &mut [f64], rhs: &mut [f64]) {
        let (weir, chosen) = (self.weirs[index], self.base_chosen[index]);
        let corrected = |curve: usize| {
            let point = &self.base[curve];
            (self.drop(&self.base_heads, curve) - point.loss) * point.conductance
        };
        let [full, forward, backward] = chosen.shares;
        let flow = chosen.flow + full * corrected(weir.full) + forward * corrected(weir.forward)
            - backward * corrected(weir.backward);
        self.stamp(weir.full, full * self.base[weir.full].conductance, flow, values, rhs);
        let (from, to) = (self.curves[weir.full].from as usize, self.curves[weir.full].to as usize);
        for (near, far, share, curve) in [(from, to, forward, weir.forward), (to, from, backward, weir.backward)] {
            let weight = share * self.base[curve].conductance;
            if self.moves(near) && weight > 0.0 {
                values[self.pattern.diagonal(near)] += weight;
                if self.moves(far) {
                    self.one_sided.push(OneSided { row: far, col: near, weight });
                }
            }
        }
    }

    /// How far the flow of a curve of a vented weir pipe is from the flow chosen, weighted so that a change of a tenth
    /// of it is small enough: the curve does not decide then. 0 for curves that decide and for all others.
    pub(super) fn slack(&self, index: usize, flow: f64) -> f64 {
        if index < self.plain {
            return 0.0;
        }
        let weir = &self.weirs[(index - self.plain) / 3];
        let chosen = &self.base_chosen[(index - self.plain) / 3];
        let of = [weir.full, weir.forward, weir.backward];
        let decides = of.iter().zip(chosen.shares).any(|(&curve, share)| curve == index && share > LEAST_SHARE);
        if decides { 0.0 } else { 1e5 * (flow.abs() - chosen.flow.abs()).abs() }
    }
}
