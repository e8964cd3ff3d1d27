//! The solution inside one accepted step.

/// Solution over one accepted step, a polynomial in `t` for each component.
///
/// Dormand-Prince: the continuous extension of order 4 of Hairer, Norsett and Wanner (Solving ODEs I, 2nd ed., section
/// II.6, routine CONTD5). RODAS: its own, of order 3. The other implicit methods: cubic Hermite through both ends and their
/// slopes, of order 3.
#[derive(Debug, Clone, Default)]
pub struct DenseStep {
    start: f64,
    length: f64,
    end: f64,
    /// Values at the start and at the end of the step as computed.
    ends: [Vec<f64>; 2],
    /// y0 + s (c0 + (1 - s) (c1 + s (c2 + (1 - s) c3))), s from 0 to 1 over the step.
    coefficients: Vec<[f64; 4]>,
}

impl DenseStep {
    /// Number of components.
    pub fn dim(&self) -> usize {
        self.coefficients.len()
    }

    /// Time at which the step begins.
    pub fn start(&self) -> f64 {
        self.start
    }

    /// Time at which the step ends: its computed end, or the event that cut it.
    pub fn end(&self) -> f64 {
        self.end
    }

    /// How far `t` is from the start, as a share of the step as it was computed.
    pub fn share(&self, t: f64) -> f64 {
        (t - self.start) / self.length
    }

    /// Writes the solution at `t` to `y`; outside the step the polynomial is continued.
    pub fn at(&self, t: f64, y: &mut [f64]) {
        for (i, y) in y.iter_mut().enumerate().take(self.dim()) {
            *y = self.component(i, t);
        }
    }

    /// Component `i < dim` of the solution at `t`.
    pub fn component(&self, i: usize, t: f64) -> f64 {
        let s = self.share(t);
        if s == 1.0 {
            return self.ends[1][i];
        }
        let [c0, c1, c2, c3] = self.coefficients[i];
        self.ends[0][i] + s * (c0 + (1.0 - s) * (c1 + s * (c2 + (1.0 - s) * c3)))
    }

    /// Takes over a step: its ends, the slopes there, and the quartic part (zero for cubic Hermite).
    pub(super) fn set(
        &mut self,
        times: [f64; 2],
        [y0, y1]: [&[f64]; 2],
        [f0, f1]: [&[f64]; 2],
        quartic: impl Fn(usize) -> f64,
    ) {
        let length = times[1] - times[0];
        self.set_by(times, [y0, y1], |i| {
            let rise = y1[i] - y0[i];
            let bend = length * f0[i] - rise;
            [bend, rise - length * f1[i] - bend, quartic(i)]
        });
    }

    /// Takes over a step by its ends and all coefficients but the first.
    pub(super) fn set_by(
        &mut self,
        [start, end]: [f64; 2],
        [y0, y1]: [&[f64]; 2],
        coefficients: impl Fn(usize) -> [f64; 3],
    ) {
        (self.start, self.length, self.end) = (start, end - start, end);
        self.coefficients.clear();
        for i in 0..y0.len() {
            let [second, third, fourth] = coefficients(i);
            self.coefficients.push([y1[i] - y0[i], second, third, fourth]);
        }
        for (own, y) in self.ends.iter_mut().zip([y0, y1]) {
            own.clear();
            own.extend_from_slice(y);
        }
    }

    /// Ends the step earlier, at an event.
    pub(super) fn cut(&mut self, end: f64) {
        self.end = end;
    }
}
