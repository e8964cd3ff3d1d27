//! A number with its derivatives in two flows.

use std::ops::{Add, Mul, Neg, Sub};

/// A number with its derivatives in the flow before a place and in the flow behind it.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Dual {
    /// Value.
    pub value: f64,
    /// Derivatives: in the flow before, in the flow behind.
    pub by: [f64; 2],
}

impl Dual {
    /// A number that does not change.
    pub const fn constant(value: f64) -> Self {
        Dual { value, by: [0.0; 2] }
    }

    /// The flow before.
    pub const fn before(value: f64) -> Self {
        Dual { value, by: [1.0, 0.0] }
    }

    /// The flow behind.
    pub const fn behind(value: f64) -> Self {
        Dual { value, by: [0.0, 1.0] }
    }

    /// Its reciprocal.
    pub fn recip(self) -> Self {
        let value = self.value.recip();
        let slope = -value * value;
        Dual { value, by: self.by.map(|by| by * slope) }
    }

    /// Its size.
    pub fn abs(self) -> Self {
        if self.value < 0.0 { -self } else { self }
    }
}

impl Add for Dual {
    type Output = Dual;
    fn add(self, other: Dual) -> Dual {
        Dual { value: self.value + other.value, by: [self.by[0] + other.by[0], self.by[1] + other.by[1]] }
    }
}

impl Sub for Dual {
    type Output = Dual;
    fn sub(self, other: Dual) -> Dual {
        self + -other
    }
}

impl Mul for Dual {
    type Output = Dual;
    fn mul(self, other: Dual) -> Dual {
        let Dual { value, by } = self * other.value + other * self.value;
        Dual { value: 0.5 * value, by }
    }
}

impl Neg for Dual {
    type Output = Dual;
    fn neg(self) -> Dual {
        self * -1.0
    }
}

impl Add<f64> for Dual {
    type Output = Dual;
    fn add(self, number: f64) -> Dual {
        Dual { value: self.value + number, by: self.by }
    }
}

impl Mul<f64> for Dual {
    type Output = Dual;
    fn mul(self, factor: f64) -> Dual {
        Dual { value: self.value * factor, by: [self.by[0] * factor, self.by[1] * factor] }
    }
}
