//! Tee: loss coefficients of a branch on a straight run, by Crane's formulas.

use super::dual::Dual;

/// Half-width in the ratio of flows over which the steps of the published coefficients are bridged.
pub const BRIDGE: f64 = 0.01;

/// Angle between the branch and the run, on the side to which the stream runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TeeAngle {
    /// 30 deg.
    Deg30,
    /// 45 deg.
    Deg45,
    /// 60 deg.
    Deg60,
    /// 90 deg: a tee.
    Deg90,
}

impl TeeAngle {
    /// The angle of its words in the file, such as `45 deg`.
    pub fn from_words(words: &str) -> Option<Self> {
        [TeeAngle::Deg30, TeeAngle::Deg45, TeeAngle::Deg60, TeeAngle::Deg90]
            .into_iter()
            .find(|angle| angle.words() == words)
    }

    /// Its words in the file.
    pub fn words(self) -> &'static str {
        match self {
            TeeAngle::Deg30 => "30 deg",
            TeeAngle::Deg45 => "45 deg",
            TeeAngle::Deg60 => "60 deg",
            TeeAngle::Deg90 => "90 deg",
        }
    }

    fn cosine(self) -> f64 {
        match self {
            TeeAngle::Deg30 => 0.75_f64.sqrt(),
            TeeAngle::Deg45 => 0.5_f64.sqrt(),
            TeeAngle::Deg60 => 0.5,
            TeeAngle::Deg90 => 0.0,
        }
    }

    /// Crane's factor F of a combining branch.
    fn f(self) -> f64 {
        match self {
            TeeAngle::Deg30 => 1.74,
            TeeAngle::Deg45 => 1.41,
            TeeAngle::Deg60 => 1.0,
            TeeAngle::Deg90 => 0.0,
        }
    }
}

/// A branch on a straight run of one bore, by Crane's formulas.
///
/// With y the flow of the branch over the common flow (that of the leg which carries all of it), b2 the area of the
/// branch over that of the run and every K on the velocity head of the common flow:
///
/// ```text
/// dividing    branch   K = G (1 + H (y/b2)^2 - J (y/b2) cos(angle))
///             run      K = M y^2
/// combining   branch   K = C (1 + (y/b2)^2 - 2 (1 - y)^2 - F y^2/b2)
///             run      K = 1 - (1 - y)^2 - F y^2/b2;  at 90 deg 1.55 y - y^2
/// ```
/// K is the loss of total pressure between the common leg and the other one, in the direction of the stream; below 0
/// where the other stream drags it along. Where a factor steps at a ratio of flows, a cubic over [`BRIDGE`] to either
/// side joins both values.
///
/// # Range
/// Turbulent flow; run and common leg of one bore; 0 <= y <= 1.
/// # Source
/// Crane Technical Paper 410 (2009), chapter 2, as the Python library `fluids` 1.3.1 has it with the errata.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tee {
    /// b2, above 0.
    pub area_ratio: f64,
    /// Angle of the branch.
    pub angle: TeeAngle,
}

impl Tee {
    /// K of a branch that draws off.
    pub fn branch_dividing(&self, y: Dual) -> Dual {
        let b2 = self.area_ratio;
        let wide = b2.sqrt() > 2.0 / 3.0;
        let (h, j) = match self.angle {
            TeeAngle::Deg60 | TeeAngle::Deg90 if wide => (0.3, 0.0),
            _ => (1.0, 2.0),
        };
        let g = match self.angle {
            TeeAngle::Deg90 if b2 <= 2.0 / 3.0 => Dual::constant(1.0),
            TeeAngle::Deg90 => y * y * 0.3 + 1.0,
            _ if b2 <= 0.35 => bridge(y, 0.4, y * -0.7 + 1.1, Dual::constant(0.85)),
            _ => bridge(y, 0.6, y * -0.6 + 1.0, Dual::constant(0.6)),
        };
        let speed = y * b2.recip();
        g * (speed * speed * h - speed * (j * self.angle.cosine()) + 1.0)
    }

    /// K of the run behind a branch that draws off.
    pub fn run_dividing(&self, y: Dual) -> Dual {
        let m = if self.area_ratio <= 0.4 {
            Dual::constant(0.4)
        } else {
            let line = y * 2.0 - Dual::constant(1.0);
            bridge(y, 0.5, line * 2.0, line * 0.3)
        };
        m * y * y
    }

    /// K of a branch that feeds.
    pub fn branch_combining(&self, y: Dual) -> Dual {
        let b2 = self.area_ratio;
        let rest = Dual::constant(1.0) - y;
        let c = if b2 <= 0.35 { Dual::constant(1.0) } else { bridge(y, 0.4, rest * 0.9, Dual::constant(0.55)) };
        c * (y * y * (b2 * b2).recip() - rest * rest * 2.0 - y * y * (self.angle.f() / b2) + 1.0)
    }

    /// K of the run before a branch that feeds.
    pub fn run_combining(&self, y: Dual) -> Dual {
        if self.angle == TeeAngle::Deg90 {
            return y * 1.55 - y * y;
        }
        let rest = Dual::constant(1.0) - y;
        Dual::constant(1.0) - rest * rest - y * y * (self.angle.f() / self.area_ratio)
    }

    /// What is lost between the upstream leg of the run and the branch, and between it and the downstream leg, both on
    /// the velocity head of the common flow.
    ///
    /// `y`: share of the common flow that the branch draws off, below 0 what it feeds, -1 to 1. Between drawing and
    /// feeding, within [`BRIDGE`] of 0, a cubic joins the two.
    pub(super) fn along(&self, y: Dual) -> [Dual; 2] {
        let dividing = |y| [self.branch_dividing(y), self.run_dividing(y)];
        let combining = |y: Dual| {
            let run = self.run_combining(-y);
            [run - self.branch_combining(-y), run]
        };
        if y.value >= BRIDGE {
            dividing(y)
        } else if y.value <= -BRIDGE {
            combining(y)
        } else {
            let (above, below) = (dividing(y), combining(y));
            [bridge(y, 0.0, below[0], above[0]), bridge(y, 0.0, below[1], above[1])]
        }
    }
}

/// `below` up to an edge and `above` behind it, joined by a cubic over [`BRIDGE`] to either side.
fn bridge(y: Dual, edge: f64, below: Dual, above: Dual) -> Dual {
    let t = (y + (BRIDGE - edge)) * (0.5 / BRIDGE);
    if t.value <= 0.0 {
        below
    } else if t.value >= 1.0 {
        above
    } else {
        below + (above - below) * (t * t * (t * -2.0 + 3.0))
    }
}
