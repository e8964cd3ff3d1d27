//! How the flows out of fixed points answer to their heads.
//!
//! ```text
//! d(flow of curve)/d(drop) = c,    L(c) dh_free = c-weighted unit change of the fixed head
//! ```

use super::Hydraulics;
use crate::nonlinear::NonlinearError;
use crate::nonlinear::newton::{self, Workspace};
use nalgebra::DMatrix;

/// What joins a fixed point asked for: a link, or a vented weir pipe as one.
struct Joint {
    /// Points at its ends, and which of those asked for they are.
    ends: [usize; 2],
    asked: [Option<usize>; 2],
    /// d(flow)/d(head) of either end, m3/(s Pa).
    by: [f64; 2],
}

impl Hydraulics {
    /// d(flow out of fixed point i)/d(head of fixed point j), m3/(s Pa), at the state solved last; points, all different, counted
    /// from the first fixed one. `anew`: the factor is that of this very state. Momentum along runs is left out, as is what laws
    /// that follow the flows of others do.
    ///
    /// # Errors
    /// Where the network cannot be factorised.
    pub fn response(
        &mut self,
        work: &mut Workspace,
        fixed: &[usize],
        anew: bool,
    ) -> Result<DMatrix<f64>, NonlinearError> {
        newton::linearise(self, work, anew)?;
        let mut chords = self.chords.take().unwrap_or_default();
        chords.forget_answers();
        let joints = self.joints(fixed);
        let mut answers = DMatrix::zeros(fixed.len(), fixed.len());
        // Heads that answer to an excess at one free point: many tanks feed the same.
        let mut known: Vec<(usize, Vec<f64>)> = Vec::new();
        let mut excess = Vec::with_capacity(2);
        let mut heads = vec![0.0; self.free];
        for j in 0..fixed.len() {
            self.excess(&joints, j, &mut excess);
            let (scale, heads) = match *excess {
                [] => (0.0, &heads),
                [(point, flow)] => {
                    let at = known.iter().position(|&(other, _)| other == point).unwrap_or_else(|| {
                        let mut heads = vec![0.0; self.free];
                        heads[point] = 1.0;
                        newton::answer(self, work, &mut heads);
                        known.push((point, heads));
                        known.len() - 1
                    });
                    (flow, &known[at].1)
                }
                _ => {
                    heads.fill(0.0);
                    excess.iter().for_each(|&(point, flow)| heads[point] = flow);
                    newton::answer(self, work, &mut heads);
                    (1.0, &heads)
                }
            };
            chords.note_answer(fixed[j], heads, scale, self.order.whole);
            for joint in &joints {
                let change = |side: usize| match joint.asked[side] {
                    _ if joint.ends[side] < self.free => scale * heads[joint.ends[side]],
                    asked => f64::from(u8::from(asked == Some(j))),
                };
                let flow = joint.by[0] * change(0) + joint.by[1] * change(1);
                for (asked, sign) in joint.asked.into_iter().zip([1.0, -1.0]) {
                    if let Some(i) = asked {
                        answers[(i, j)] += sign * flow;
                    }
                }
            }
        }
        self.chords = Some(chords);
        Ok(answers)
    }

    /// What joins some of the fixed points.
    fn joints(&self, fixed: &[usize]) -> Vec<Joint> {
        let mut joints = Vec::with_capacity(2 * fixed.len());
        let mut add = |link: usize, by: &dyn Fn() -> [f64; 2]| {
            let ends = self.links.ends(link);
            if ends[0].max(ends[1]) < self.free {
                return;
            }
            let place = |end: usize| fixed.iter().position(|&point| self.free + point == end);
            let asked = ends.map(place);
            if asked != [None; 2] {
                joints.push(Joint { ends, asked, by: by() });
            }
        };
        for link in self.order.links.iter().map(|&k| k as usize).take_while(|&k| k < self.plain) {
            add(link, &|| [self.slope(link), -self.slope(link)]);
        }
        for (weir, chosen) in self.weirs.iter().zip(&self.base_chosen) {
            if self.links.link(weir.full).active {
                add(weir.full, &|| {
                    let [full, forward, backward] = chosen.shares;
                    let of_full = full * self.slope(weir.full);
                    let [forward, backward] =
                        [forward * self.slope(weir.forward), backward * self.slope(weir.backward)];
                    [of_full + forward, -of_full - backward]
                });
            }
        }
        joints
    }

    /// Free points that one of the fixed points asked for brings an excess, m3/(s Pa), and how much.
    fn excess(&self, joints: &[Joint], asked: usize, excess: &mut Vec<(usize, f64)>) {
        excess.clear();
        for joint in joints {
            for side in [0, 1] {
                if joint.asked[side] != Some(asked) || joint.by[side] == 0.0 {
                    continue;
                }
                for (point, flow) in joint.ends.into_iter().zip([-joint.by[side], joint.by[side]]) {
                    if self.moves(point) {
                        match excess.iter_mut().find(|(other, _)| *other == point) {
                            Some((_, sum)) => *sum += flow,
                            None => excess.push((point, flow)),
                        }
                    }
                }
            }
        }
    }
}
