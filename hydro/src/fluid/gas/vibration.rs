//! Vibration of the molecules: its part of the ideal-gas Helmholtz energy, tabulated over the temperature.

/// One hyperbolic term of the ideal-gas part.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Vibration {
    /// Coefficient (mole fraction included).
    pub n: f64,
    /// Characteristic temperature, K.
    pub theta: f64,
    /// True: `+n ln sinh(theta/T)`; false: `-n ln cosh(theta/T)`.
    pub sinh: bool,
}

/// Temperature where the table begins, K.
const START: f64 = 40.0;
/// Width of a segment, K.
const WIDTH: f64 = 20.0;
/// Segments, to 720 K.
const SEGMENTS: usize = 34;
/// Coefficients of the polynomial of a segment.
const ORDER: usize = 10;

/// Value, tau times the first derivative and minus tau^2 times the second, of all vibrations less `slope/T`, as
/// polynomials through the Chebyshev points of each segment.
///
/// The nearest pole is at `T = i theta/pi` with theta above 660 K, more than 200 K from any segment of half-width
/// 10 K, so the error falls 20-fold with each order and is below rounding with ten coefficients.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct VibrationTable {
    /// Part of the value and of the first derivative that is `slope/T`, K.
    pub slope: f64,
    segments: Vec<[[f64; 3]; ORDER]>,
}

impl VibrationTable {
    pub fn new(vibrations: &[Vibration]) -> Self {
        let slope = vibrations.iter().map(|v| if v.sinh { v.n * v.theta } else { -v.n * v.theta }).sum();
        let centre = |segment: usize| START + (segment as f64 + 0.5) * WIDTH;
        let segments =
            (0..SEGMENTS).map(|segment| interpolate(|z| exact(vibrations, centre(segment) + 0.5 * WIDTH * z)));
        Self { slope, segments: segments.collect() }
    }

    /// At a temperature within the table; outside it the end segment goes on.
    pub fn at(&self, temperature: f64) -> [f64; 3] {
        let place = (temperature - START) * (1.0 / WIDTH);
        let segment = (place.max(0.0) as usize).min(SEGMENTS - 1);
        let z = 2.0 * (place - segment as f64) - 1.0;
        let Some(coefficients) = self.segments.get(segment) else { return [0.0; 3] };
        let [mut a, mut b, mut c] = [0.0; 3];
        for [da, db, dc] in coefficients.iter().rev() {
            a = a * z + da;
            b = b * z + db;
            c = c * z + dc;
        }
        [a, b, c]
    }
}

/// The three functions less `slope/T`: with `q = exp(-2 theta/T)`, `ln sinh y = y + ln((1 - q)/2)` and
/// `ln cosh y = y + ln((1 + q)/2)`.
fn exact(vibrations: &[Vibration], temperature: f64) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for v in vibrations {
        let y = v.theta / temperature;
        let q = (-2.0 * y).exp();
        let (signed, n) = if v.sinh { (-q, v.n) } else { (q, -v.n) };
        sum[0] += n * (signed.ln_1p() - std::f64::consts::LN_2);
        sum[1] -= n * 2.0 * y * signed / (1.0 + signed);
        sum[2] += v.n * 4.0 * q * (y / (1.0 + signed)).powi(2);
    }
    sum
}

/// Power series of the polynomials through the Chebyshev points of -1..1.
fn interpolate(f: impl Fn(f64) -> [f64; 3]) -> [[f64; 3]; ORDER] {
    let angle = |node: usize| (node as f64 + 0.5) * std::f64::consts::PI / ORDER as f64;
    let mut series = [[0.0; 3]; ORDER];
    // T_k as a power series, from T_k = 2 z T_(k-1) - T_(k-2)
    let mut chebyshev = [0.0; ORDER];
    let mut before = [0.0; ORDER];
    chebyshev[0] = 1.0;
    for k in 0..ORDER {
        let mut coefficient = [0.0; 3];
        for node in 0..ORDER {
            let weight = if k == 0 { 1.0 } else { 2.0 } / ORDER as f64 * (k as f64 * angle(node)).cos();
            for (sum, value) in coefficient.iter_mut().zip(f(angle(node).cos())) {
                *sum += weight * value;
            }
        }
        for (target, power) in series.iter_mut().zip(chebyshev) {
            for (target, coefficient) in target.iter_mut().zip(coefficient) {
                *target += power * coefficient;
            }
        }
        let mut next = [0.0; ORDER];
        for i in 1..ORDER {
            next[i] = if k == 0 { 1.0 } else { 2.0 } * chebyshev[i - 1];
        }
        for (next, before) in next.iter_mut().zip(before) {
            *next -= before;
        }
        before = chebyshev;
        chebyshev = next;
    }
    series
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The table against the functions themselves, in the middle and at the ends of the segments: the lowest segment to
    /// 2e-14, the others to rounding; that adds to numbers about 2.5.
    #[test]
    fn table_equals_the_functions() {
        let vibrations =
            [Vibration { n: 0.9, theta: 662.0, sinh: true }, Vibration { n: -0.2, theta: 680.0, sinh: false }];
        let table = VibrationTable::new(&vibrations);
        for step in 0..1300 {
            let temperature = 42.0 + 0.5 * f64::from(step);
            for (tabulated, value) in table.at(temperature).into_iter().zip(exact(&vibrations, temperature)) {
                assert!((tabulated - value).abs() < 3e-14, "{temperature}: {tabulated} {value}");
            }
        }
    }
}
