//! Ideal-gas part of the Helmholtz energy: what of it depends on the temperature, tabulated.

use std::array;
use std::sync::{LazyLock, OnceLock};

use super::lanes::{Four, Lanes};

/// One hyperbolic term: the vibration of a molecule.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Vibration {
    /// Coefficient (mole fraction included).
    pub n: f64,
    /// Characteristic temperature, K.
    pub theta: f64,
    /// True: `+n ln sinh(theta/T)`; false: `-n ln cosh(theta/T)`.
    pub sinh: bool,
}

/// Ideal-gas part: `ln rho_molar + constant + slope/T - power ln T + vibrations` (divided by R T).
#[derive(Debug, Clone, PartialEq)]
pub(super) struct IdealPart {
    /// Constant, with the entropy of mixing.
    pub constant: f64,
    /// Coefficient of 1/T, K.
    pub slope: f64,
    /// Coefficient of -ln T: cv/R without vibrations.
    pub power: f64,
    /// Hyperbolic terms.
    pub vibrations: Vec<Vibration>,
}

impl IdealPart {
    /// Value less `ln rho_molar` in two parts, tau times the first derivative in tau, and minus tau^2 times the second, at a
    /// temperature, K.
    ///
    /// With `y = theta/T` and `q = exp(-2 y)`, `ln sinh y = y + ln((1 - q)/2)` and `ln cosh y = y + ln((1 + q)/2)`.
    fn at(&self, temperature: f64) -> [f64; 4] {
        let by_temperature = self.slope / temperature;
        let mut sum =
            [self.constant + by_temperature, -self.power * temperature.ln(), self.power + by_temperature, self.power];
        for v in &self.vibrations {
            let y = v.theta / temperature;
            let q = (-2.0 * y).exp();
            let (signed, n) = if v.sinh { (-q, v.n) } else { (q, -v.n) };
            sum[0] += n * y;
            sum[1] += n * (signed.ln_1p() - std::f64::consts::LN_2);
            sum[2] += n * y * (1.0 - 2.0 * signed / (1.0 + signed));
            sum[3] += v.n * 4.0 * q * (y / (1.0 + signed)).powi(2);
        }
        sum
    }
}

/// Bits behind those of a temperature that tell its segment: sixteen segments from each power of two to the next.
const BITS: u32 = 48;
/// Where the table begins: 40 K.
const FIRST: u64 = 40.0_f64.to_bits() >> BITS;
/// Segments, to 736 K.
const SEGMENTS: usize = ((736.0_f64.to_bits() >> BITS) - FIRST) as usize;
/// Coefficients of the polynomial of a segment.
const ORDER: usize = 10;

/// The functions of the temperature in [`IdealPart`] as polynomials through the Chebyshev points of each segment, worked out where they
/// are asked for.
///
/// The nearest pole of what is left to the polynomials is at T = 0, 33 half-widths or more from the middle of a segment: the
/// error falls 66-fold with each order and is below rounding with ten coefficients.
#[derive(Debug)]
pub(super) struct IdealTable {
    part: IdealPart,
    segments: [OnceLock<Segment>; SEGMENTS],
}

/// The polynomials between two temperatures.
#[derive(Debug)]
pub(super) struct Segment {
    middle: f64,
    per_half_width: f64,
    /// Of the four functions.
    coefficients: [[f64; 4]; ORDER],
}

impl Segment {
    #[cold]
    fn new(part: &IdealPart, place: usize) -> Self {
        let (cosines, powers) = &*CHEBYSHEV;
        let end = |place: usize| f64::from_bits((FIRST + place as u64) << BITS);
        let (low, high) = (end(place), end(place + 1));
        let (middle, half_width) = (0.5 * (low + high), 0.5 * (high - low));
        let values: [[f64; 4]; ORDER] = array::from_fn(|node| part.at(middle + half_width * cosines[1][node]));
        let mut coefficients = [[0.0; 4]; ORDER];
        for (k, (cosines, powers)) in cosines.iter().zip(powers).enumerate() {
            let share = if k == 0 { 1.0 } else { 2.0 } / ORDER as f64;
            let mut along = [0.0; 4];
            for (cosine, values) in cosines.iter().zip(values) {
                along = array::from_fn(|i| along[i] + share * cosine * values[i]);
            }
            for (coefficients, power) in coefficients.iter_mut().zip(powers).take(k + 1) {
                for (coefficient, along) in coefficients.iter_mut().zip(along) {
                    *coefficient += along * power;
                }
            }
        }
        Segment { middle, per_half_width: 1.0 / half_width, coefficients }
    }

    /// Value less `ln rho_molar` in two parts, tau times its first derivative, and minus tau^2 times its second, at a temperature, K.
    #[inline(always)]
    pub fn at<S: Four>(&self, by: S, temperature: f64) -> [f64; 4] {
        let z = Lanes::all(by, (temperature - self.middle) * self.per_half_width);
        let mut values = Lanes::new(by, self.coefficients[ORDER - 1]);
        for k in (0..ORDER - 1).rev() {
            values = values * z + Lanes::new(by, self.coefficients[k]);
        }
        values.get()
    }
}

impl IdealTable {
    pub fn new(part: IdealPart) -> Self {
        Self { part, segments: [const { OnceLock::new() }; SEGMENTS] }
    }

    /// Where a temperature, K, is; outside the table the end segment goes on.
    #[inline(always)]
    pub fn segment(&self, temperature: f64) -> &Segment {
        let place = (temperature.to_bits() >> BITS).saturating_sub(FIRST) as usize;
        let place = place.min(SEGMENTS - 1);
        self.segments[place].get_or_init(|| Segment::new(&self.part, place))
    }
}

/// The Chebyshev polynomials at the Chebyshev points, and as power series.
static CHEBYSHEV: LazyLock<(Square, Square)> = LazyLock::new(chebyshev);

/// A square of numbers, row by row.
type Square = [[f64; ORDER]; ORDER];

fn chebyshev() -> (Square, Square) {
    let angle = |node: usize| (node as f64 + 0.5) * std::f64::consts::PI / ORDER as f64;
    let at_points = array::from_fn(|k| array::from_fn(|node| (k as f64 * angle(node)).cos()));
    let mut series = [[0.0; ORDER]; ORDER];
    (series[0][0], series[1][1]) = (1.0, 1.0);
    for k in 2..ORDER {
        // T_k = 2 z T_(k-1) - T_(k-2)
        for i in 0..ORDER {
            let raised = if i > 0 { 2.0 * series[k - 1][i - 1] } else { 0.0 };
            series[k][i] = raised - series[k - 2][i];
        }
    }
    (at_points, series)
}

#[cfg(test)]
mod tests {
    use super::super::lanes::OneByOne;
    use super::*;

    /// The table against the functions themselves, in the middle and at the ends of the segments, to rounding of numbers that
    /// are at most `slope/T`, some 50 at the lowest temperatures.
    #[test]
    fn table_equals_the_functions() {
        let vibrations =
            vec![Vibration { n: 0.9, theta: 662.0, sinh: true }, Vibration { n: -0.2, theta: 680.0, sinh: false }];
        let part = IdealPart { constant: 20.0, slope: -2800.0, power: 2.5, vibrations };
        let table = IdealTable::new(part.clone());
        for step in 0..1300 {
            let temperature = 42.0 + 0.5 * f64::from(step);
            let [a, b, t, tt] = part.at(temperature);
            for (tabulated, value) in
                table.segment(temperature).at(OneByOne, temperature).into_iter().zip([a, b, t, tt])
            {
                let size = 20.0 + 2800.0 / temperature;
                assert!((tabulated - value).abs() < 2e-15 * size, "{temperature}: {tabulated} {value}");
            }
        }
    }
}
