//! Long header: a straight run with takeoffs along it.

use super::dual::Dual;
use super::law::circle;
use super::tee::{Tee, TeeAngle};
use crate::fluid::site::Site;

/// A header with a length: items join it at positions along it.
#[derive(Debug, Clone, PartialEq)]
pub struct LongHeader {
    /// Node of the network.
    pub node: usize,
    /// Length, m.
    pub length: f64,
    /// Inner diameter, m.
    pub bore: f64,
    /// Wall roughness, m.
    pub roughness: f64,
    /// Darcy friction factor, where the file gives one instead of the friction law.
    pub friction_factor: Option<f64>,
    /// What happens where an item joins it.
    pub takeoffs: Takeoffs,
    /// Ends of passages that join it, by rising position.
    pub joins: Vec<Join>,
}

/// The end of a passage at a long header.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Join {
    /// Position along the header, m.
    pub at: f64,
    /// Passage of the network.
    pub passage: usize,
    /// Whether it is the passage's `to` end.
    pub to: bool,
}

impl LongHeader {
    /// Velocity head over the square of the flow, `rho/(2 A^2)`, Pa s2/m6.
    pub fn velocity_head(&self, site: &Site) -> f64 {
        0.5 * site.water_density / circle(self.bore).powi(2)
    }

    /// The junction at a position where items of these bores, m, join.
    ///
    /// At either end of the header an item is joined end to end.
    pub fn junction(&self, at: f64, bores: &[f64]) -> Junction {
        if at <= 0.0 || at >= self.length {
            return Junction::End;
        }
        match self.takeoffs {
            Takeoffs::Regain { dividing, combining } => Junction::Regain { dividing, combining },
            Takeoffs::Tees { angle } => {
                let area: f64 = bores.iter().map(|bore| bore * bore).sum();
                Junction::Tee(Tee { area_ratio: area / (self.bore * self.bore), angle })
            }
        }
    }
}

/// What happens in a long header where an item joins it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Takeoffs {
    /// The items meet the static pressure, which changes by a share of the change of the velocity head.
    Regain {
        /// Share where the stream gives off water.
        dividing: f64,
        /// Share where it takes water up.
        combining: f64,
    },
    /// Loss coefficients of tees.
    Tees {
        /// Angle of the branches.
        angle: TeeAngle,
    },
}

/// A place on a straight run where water leaves or enters at the side.
///
/// The run has a flow before the place and one behind it, positive along the run; what leaves is their difference.
/// The head at the place is that which the items joined there meet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Junction {
    /// An end of the run: items are joined end to end and meet its total pressure.
    End,
    /// The items meet the mean of the static pressures before and behind. With V the velocities there and k the
    /// coefficient for drawing off or for feeding:
    ///
    /// ```text
    /// p_behind - p_before = k rho (V_before^2 - V_behind^2)/2
    /// ```
    Regain {
        /// k where water leaves.
        dividing: f64,
        /// k where water enters.
        combining: f64,
    },
    /// A tee or wye; the items meet the total pressure of its branch.
    Tee(Tee),
}

impl Junction {
    /// Total pressure of the run before the place and behind it, both less the pressure that the items there meet, Pa.
    ///
    /// `heads`: velocity heads over the square of the flow before and behind, Pa s2/m6; `before`, `behind`: flows along the run, m3/s.
    /// Continuous; the slope of a regain steps where nothing leaves or enters, that of a tee where a leg of the run
    /// stands still. Where the branch carries the flow of both legs of the run (against each other or apart), for
    /// which Crane has no coefficients, each leg is taken at y = 1 with a term that keeps the head continuous.
    pub fn heads(&self, heads: [f64; 2], before: f64, behind: f64) -> [Dual; 2] {
        let (l, r) = (Dual::before(before), Dual::behind(behind));
        let (head_l, head_r) = (l * l * heads[0], r * r * heads[1]);
        match self {
            Junction::End => [Dual::default(); 2],
            Junction::Regain { dividing, combining } => {
                let k = if before >= behind { dividing } else { combining };
                let half_rise = (head_l - head_r) * (0.5 * k);
                [head_l - half_rise, head_r + half_rise]
            }
            Junction::Tee(tee) => {
                if before == 0.0 && behind == 0.0 {
                    return [Dual::default(); 2];
                }
                let leaving = l - r;
                if before * behind >= 0.0 {
                    let forward = before + behind > 0.0;
                    let common = if before.abs() >= behind.abs() { l.abs() } else { r.abs() };
                    let [to_branch, to_run] = tee.along(leaving * common.recip());
                    let scale = common * common * heads[0];
                    let (upstream, downstream) = (scale * to_branch, scale * (to_branch - to_run));
                    return if forward { [upstream, downstream] } else { [downstream, upstream] };
                }
                let one = Dual::constant(1.0);
                let (sign, own, run) = if leaving.value > 0.0 {
                    (1.0, tee.branch_dividing(one).value, tee.run_dividing(one).value)
                } else {
                    (-1.0, tee.branch_combining(one).value, tee.run_combining(one).value)
                };
                let other = own - run;
                [(head_l * own + head_r * other) * sign, (head_r * own + head_l * other) * sign]
            }
        }
    }
}
