//! Distributions of one quantity, truncated where the quantity ends.

use libm::erfc;
use statrs::function::erf::erfc_inv;

/// Standard normal quantile of 97.5 %: from minus to plus this lies 95 % of a normal distribution.
pub const NORMAL_95: f64 = 1.959_963_984_540_054;

/// Form of a distribution.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// Normal.
    Normal {
        /// Mean.
        mean: f64,
        /// Standard deviation, above 0.
        deviation: f64,
    },
    /// The logarithm is normal.
    Lognormal {
        /// Median, above 0.
        median: f64,
        /// Standard deviation of the natural logarithm, above 0.
        log_deviation: f64,
    },
    /// All values of a range alike.
    Uniform {
        /// Least value.
        low: f64,
        /// Greatest value, above `low`.
        high: f64,
    },
    /// Density that rises linearly from `low` to `mode` and falls to `high`.
    Triangular {
        /// Least value.
        low: f64,
        /// Likeliest value, from `low` to `high`.
        mode: f64,
        /// Greatest value, above `low`.
        high: f64,
    },
}

/// Probability that a standard normal quantity is at most `z`.
pub fn normal_probability(z: f64) -> f64 {
    0.5 * erfc(-z / std::f64::consts::SQRT_2)
}

/// Value that a standard normal quantity does not exceed with this probability, 0 .. 1.
pub fn normal_quantile(probability: f64) -> f64 {
    if probability > 0.5 {
        return -normal_quantile(1.0 - probability);
    }
    let z = -std::f64::consts::SQRT_2 * erfc_inv(2.0 * probability);
    let density = (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
    // One step of Newton's method: the inverse has fewer digits than the function.
    if density > 0.0 { z - (normal_probability(z) - probability) / density } else { z }
}

impl Shape {
    /// Probability of a value of at most `x`.
    pub fn probability(self, x: f64) -> f64 {
        match self {
            Shape::Normal { mean, deviation } => normal_probability((x - mean) / deviation),
            Shape::Lognormal { median, log_deviation } => {
                if x > 0.0 {
                    normal_probability((x / median).ln() / log_deviation)
                } else {
                    0.0
                }
            }
            Shape::Uniform { low, high } => ((x - low) / (high - low)).clamp(0.0, 1.0),
            Shape::Triangular { low, mode, high } => {
                if x <= low {
                    0.0
                } else if x < mode {
                    (x - low) * (x - low) / ((high - low) * (mode - low))
                } else if x < high {
                    1.0 - (high - x) * (high - x) / ((high - low) * (high - mode))
                } else {
                    1.0
                }
            }
        }
    }

    /// Value that is not exceeded with this probability, 0 .. 1.
    pub fn quantile(self, probability: f64) -> f64 {
        match self {
            Shape::Normal { mean, deviation } => mean + deviation * normal_quantile(probability),
            Shape::Lognormal { median, log_deviation } => median * (log_deviation * normal_quantile(probability)).exp(),
            Shape::Uniform { low, high } => low + probability * (high - low),
            Shape::Triangular { low, mode, high } => {
                let width = high - low;
                if probability * width < mode - low {
                    low + (probability * width * (mode - low)).sqrt()
                } else {
                    high - ((1.0 - probability) * width * (high - mode)).sqrt()
                }
            }
        }
    }
}

/// A [`Shape`] of which only the values from `low` to `high` occur.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Distribution {
    /// Form.
    pub shape: Shape,
    /// Least value.
    pub low: f64,
    /// Greatest value.
    pub high: f64,
}

impl Distribution {
    /// Share of the untruncated distribution that the truncation leaves.
    pub fn kept(&self) -> f64 {
        let mirrored = self.mirrored();
        self.span(mirrored).1
    }

    /// Value of the truncated distribution at a probability between 0 and 1, always within `low` .. `high`.
    pub fn quantile(&self, probability: f64) -> f64 {
        let mirrored = self.mirrored();
        let (before, kept) = self.span(mirrored);
        let share = if mirrored { 1.0 - probability } else { probability };
        let value = self.shape.quantile_from(before + share * kept, mirrored);
        value.clamp(self.low, self.high)
    }

    /// Whether probabilities are counted from above, so that those of an upper tail keep their digits.
    fn mirrored(&self) -> bool {
        matches!(self.shape, Shape::Normal { .. } | Shape::Lognormal { .. }) && self.shape.probability(self.low) > 0.5
    }

    /// Probability before the kept range and in it, counted from above where `mirrored`.
    fn span(&self, mirrored: bool) -> (f64, f64) {
        if mirrored {
            let (from, to) = (self.shape.tail(self.high), self.shape.tail(self.low));
            (from, to - from)
        } else {
            let from = self.shape.probability(self.low);
            (from, self.shape.probability(self.high) - from)
        }
    }
}

impl Shape {
    /// Probability of more than `x`; normal and lognormal with all digits.
    fn tail(self, x: f64) -> f64 {
        match self {
            Shape::Normal { mean, deviation } => normal_probability(-(x - mean) / deviation),
            Shape::Lognormal { median, log_deviation } if x > 0.0 => {
                normal_probability(-(x / median).ln() / log_deviation)
            }
            other => 1.0 - other.probability(x),
        }
    }

    /// The quantile, of a probability counted from above where `mirrored`.
    fn quantile_from(self, probability: f64, mirrored: bool) -> f64 {
        match self {
            Shape::Normal { mean, deviation } if mirrored => mean - deviation * normal_quantile(probability),
            Shape::Lognormal { median, log_deviation } if mirrored => {
                median * (-log_deviation * normal_quantile(probability)).exp()
            }
            other => other.quantile(probability),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Shape; 4] = [
        Shape::Normal { mean: 3.0, deviation: 0.5 },
        Shape::Lognormal { median: 2.0, log_deviation: 0.3 },
        Shape::Uniform { low: -1.0, high: 4.0 },
        Shape::Triangular { low: 0.0, mode: 1.0, high: 4.0 },
    ];

    /// Abramowitz & Stegun, Handbook of Mathematical Functions (1964), tables 26.1 and 26.5: P(1) = 0.84134 47460 68543,
    /// P(2) = 0.97724 98680 51821; the 97.5 % point is 1.95996 39845 40054.
    #[test]
    fn the_normal_distribution_is_that_of_the_tables() {
        assert!((normal_probability(1.0) - 0.841_344_746_068_543).abs() < 1e-14);
        assert!((normal_probability(2.0) - 0.977_249_868_051_821).abs() < 1e-14);
        assert!((normal_quantile(0.975) - NORMAL_95).abs() < 1e-13);
        assert_eq!(normal_quantile(0.5), 0.0);
    }

    #[test]
    fn quantiles_invert_probabilities() {
        for shape in ALL {
            for k in 1..200 {
                let p = f64::from(k) / 200.0;
                assert!((shape.probability(shape.quantile(p)) - p).abs() < 1e-12, "{shape:?} {p}");
            }
        }
    }

    /// Closed forms: median of the triangle above its mode; a normal distribution cut to its upper half has its median
    /// at the 75 % point.
    #[test]
    fn truncation_rescales_what_is_left() {
        let triangle = Distribution { shape: ALL[3], low: 0.0, high: 4.0 };
        assert!((triangle.quantile(0.5) - (4.0 - 6f64.sqrt())).abs() < 1e-12);
        let half = Distribution { shape: ALL[0], low: 3.0, high: f64::INFINITY };
        assert!((half.kept() - 0.5).abs() < 1e-12);
        assert!((half.quantile(0.5) - (3.0 + 0.5 * 0.674_489_750_196_081_7)).abs() < 1e-12);
        // Far in the upper tail, z > 8: the exponential limit, mean excess about 1/z.
        let tail = Distribution { shape: Shape::Normal { mean: 0.0, deviation: 1.0 }, low: 8.0, high: f64::INFINITY };
        let median = tail.quantile(0.5);
        assert!(median > 8.0 + 0.95 * 2f64.ln() / 8.125 && median < 8.0 + 2f64.ln() / 8.0, "{median}");
        for shape in ALL {
            let cut = Distribution { shape, low: 1.2, high: 2.9 };
            for p in [0.0, 1e-12, 0.3, 1.0 - 1e-12, 1.0] {
                assert!((1.2..=2.9).contains(&cut.quantile(p)), "{shape:?} {p}");
            }
        }
    }
}
