//! How the flows out of fixed points answer to their heads.
//!
//! ```text
//! d(flow of curve)/d(drop) = c,    L(c) dh_free = c-weighted unit change of the fixed head
//! ```

use super::Hydraulics;
use crate::nonlinear::NonlinearError;
use crate::nonlinear::newton::{self, Workspace};
use nalgebra::DMatrix;

impl Hydraulics {
    /// d(flow out of fixed point i)/d(head of fixed point j), m3/(s Pa), at the state solved last; points counted from
    /// the first fixed one. `anew`: the factor is that of this very state. Momentum along runs is left out, as is what laws that follow the flows of others do.
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
        let mut answers = DMatrix::zeros(fixed.len(), fixed.len());
        let touches = |end: u32| (end as usize).checked_sub(self.free).is_some_and(|end| fixed.contains(&end));
        let plain = self.taking.iter().map(|&k| k as usize).filter(|&k| k < self.plain);
        let at_fixed = |&k: &usize| touches(self.links.link(k).from) || touches(self.links.link(k).to);
        let near: Vec<usize> = plain.filter(at_fixed).collect();
        let (mut heads, mut rhs) = (vec![0.0; self.heads.len()], vec![0.0; self.free]);
        for (j, &moved) in fixed.iter().enumerate() {
            heads.fill(0.0);
            heads[self.free + moved] = 1.0;
            rhs.fill(0.0);
            self.each_flow(&near, &heads, |from, to, flow| {
                if self.moves(from) {
                    rhs[from] -= flow;
                }
                if self.moves(to) {
                    rhs[to] += flow;
                }
            });
            newton::answer(self, work, &mut rhs);
            heads[..self.free].copy_from_slice(&rhs);
            self.each_flow(&near, &heads, |from, to, flow| {
                for (i, &point) in fixed.iter().enumerate() {
                    answers[(i, j)] += if from == self.free + point { flow } else { 0.0 };
                    answers[(i, j)] -= if to == self.free + point { flow } else { 0.0 };
                }
            });
        }
        Ok(answers)
    }

    /// Ends of the given links, and of each vented weir pipe as one, and the change of its flow with these of the heads, to first
    /// order.
    fn each_flow(&self, links: &[usize], heads: &[f64], mut take: impl FnMut(usize, usize, f64)) {
        for &link in links {
            let flow = self.slope(link) * self.drop(heads, link);
            if flow != 0.0 {
                let [from, to] = self.links.ends(link);
                take(from, to, flow);
            }
        }
        for (weir, chosen) in self.weirs.iter().zip(&self.base_chosen) {
            if self.links.link(weir.full).active {
                let [from, to] = self.links.ends(weir.full);
                let by = |curve: usize, change: f64| self.slope(curve) * change;
                let [full, forward, backward] = chosen.shares;
                let flow = full * by(weir.full, self.drop(heads, weir.full)) + forward * by(weir.forward, heads[from])
                    - backward * by(weir.backward, heads[to]);
                take(from, to, flow);
            }
        }
    }
}
