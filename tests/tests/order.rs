//! Observed order of the time integration on problems with exact solutions, and accuracy on stiff ones.

use hydro::time::{DenseStep, Integrator, Method, Mix, Near, OdeSystem, Options};
use nalgebra::DMatrix;

/// u = exp(sin t), v = 1 / (1 + t) as solution of a coupled, nonlinear, time-dependent system.
struct Coupled {
    /// Jacobian to give; `None` for finite differences.
    jacobian: Option<[f64; 4]>,
}

impl Coupled {
    fn exact(t: f64) -> [f64; 2] {
        [t.sin().exp(), 1.0 / (1.0 + t)]
    }
}

impl OdeSystem for Coupled {
    type Error = std::convert::Infallible;
    fn dim(&self) -> usize {
        2
    }
    fn rhs(&mut self, t: f64, y: &[f64], dydt: &mut [f64]) -> Result<(), Self::Error> {
        dydt[0] = y[0] * t.cos() * y[1] * (1.0 + t);
        dydt[1] = -y[1] * y[1] * y[0] / t.sin().exp();
        Ok(())
    }
    fn scale(&self, _component: usize) -> f64 {
        1.0
    }
    fn jacobian(&mut self, _t: f64, _y: &[f64], jacobian: &mut DMatrix<f64>) -> Result<bool, Self::Error> {
        if let Some(given) = &self.jacobian {
            jacobian.copy_from_slice(given);
        }
        Ok(self.jacobian.is_some())
    }
}

/// The same with the time as a third component, and its Jacobian.
struct Autonomous;

impl OdeSystem for Autonomous {
    type Error = std::convert::Infallible;
    fn dim(&self) -> usize {
        3
    }
    fn rhs(&mut self, _t: f64, y: &[f64], dydt: &mut [f64]) -> Result<(), Self::Error> {
        let [u, v, t] = [y[0], y[1], y[2]];
        dydt.copy_from_slice(&[u * t.cos() * v * (1.0 + t), -v * v * u / t.sin().exp(), 1.0]);
        Ok(())
    }
    fn scale(&self, _component: usize) -> f64 {
        1.0
    }
    fn autonomous(&self) -> bool {
        true
    }
    fn jacobian(&mut self, _t: f64, y: &[f64], jacobian: &mut DMatrix<f64>) -> Result<bool, Self::Error> {
        let ([u, v, t], e) = ([y[0], y[1], y[2]], y[2].sin().exp());
        let (c, s, far) = (t.cos(), t.sin(), 1.0 + t);
        let rows = [
            [v * far * c, u * far * c, u * v * (c - far * s)],
            [-v * v / e, -2.0 * v * u / e, v * v * u * c / e],
            [0.0; 3],
        ];
        jacobian.copy_from(&DMatrix::from_fn(3, 3, |i, j| rows[i][j]));
        Ok(true)
    }
}

/// Largest error at the ends of and inside `n` equal steps to t = 2.
fn errors<S: OdeSystem<Error = std::convert::Infallible>>(method: Method, system: &mut S, n: usize) -> [f64; 2] {
    let h = 2.0 / n as f64;
    // A tolerance nothing fails: the steps are those allowed at most.
    let options = Options { method, rtol: 1e3, max_step: h, ..Options::default() };
    let [u, v] = Coupled::exact(0.0);
    let start = &[u, v, 0.0][..system.dim()];
    let mut integrator = Integrator::new(options, 0.0, start);
    integrator.restart(0.0, start, Some(h));
    let difference =
        |y: &[f64], t: f64| y.iter().zip(Coupled::exact(t)).map(|(y, exact)| (y - exact).abs()).fold(0.0, f64::max);
    let (mut ends, mut inside, mut y) = (0.0f64, 0.0f64, vec![0.0; start.len()]);
    let mut look = |step: &DenseStep| {
        for part in [0.2, 0.4, 0.6, 0.8] {
            let t = step.start() + part * (step.end() - step.start());
            step.at(t, &mut y);
            inside = inside.max(difference(&y, t));
        }
        step.at(step.end(), &mut y);
        ends = ends.max(difference(&y, step.end()));
    };
    integrator.advance(system, 2.0, &mut look).unwrap();
    assert_eq!((integrator.stats().accepted, integrator.stats().rejected), (n, 0));
    [ends, inside]
}

/// The order seen between 32 and 256 steps, at the ends and inside. Three halvings, because the leading error term of
/// Dormand-Prince is small here and the next one still shows at 32 steps.
fn observed(method: Method, jacobian: Option<[f64; 4]>) -> [f64; 2] {
    observed_of(method, &mut Coupled { jacobian })
}

fn observed_of<S: OdeSystem<Error = std::convert::Infallible>>(method: Method, system: &mut S) -> [f64; 2] {
    let (coarse, fine) = (errors(method, system, 32), errors(method, system, 256));
    [(coarse[0] / fine[0]).log2() / 3.0, (coarse[1] / fine[1]).log2() / 3.0]
}

#[test]
fn dormand_prince_has_order_five() {
    let [end, inside] = observed(Method::DormandPrince, None);
    assert!(end > 4.7, "{end}");
    // The continuous extension is of order 4, its error inside one step of the fifth power.
    assert!(inside > 4.7, "{inside}");
}

#[test]
fn rodas_has_order_four_with_the_exact_jacobian() {
    let [end, inside] = observed_of(Method::Rodas, &mut Autonomous);
    assert!(end > 3.8, "{end}");
    // The solution inside is of order 3, its error inside one step of the fourth power.
    assert!(inside > 3.8, "{inside}");
}

/// u = exp(sin t) with an unknown of its own, z = cos t, that is known by an equation only, and the time as second component:
/// u' = u z, 0 = z + z^3 + 2 (u - exp(sin t)) - cos t - cos^3 t.
#[derive(Default)]
struct Hidden {
    state: [f64; 2],
    /// Unknown at the state of the Jacobian, slope of its equation with it, and how it answers to the state.
    start: f64,
    slope: f64,
    answers: [f64; 2],
    stages: Vec<f64>,
    inside: [f64; 2],
    /// Largest error of where the stages lead at the ends of steps, and of the unknown inside them.
    led: f64,
    within: f64,
}

impl Hidden {
    fn equation(y: &[f64], z: f64) -> f64 {
        let (u, t) = (y[0], y[1]);
        z + z.powi(3) + 2.0 * (u - t.sin().exp()) - t.cos() - t.cos().powi(3)
    }

    fn solved(y: &[f64]) -> f64 {
        (0..50).fold(y[1].cos(), |z, _| z - Self::equation(y, z) / (1.0 + 3.0 * z * z))
    }

    fn led(&mut self, y: &[f64], mix: &Mix<'_>) -> f64 {
        let straight: f64 = (0..2).map(|k| self.answers[k] * (y[k] - self.state[k])).sum();
        let stages: f64 = self.stages.iter().zip(mix.weights).map(|(stage, weight)| stage * weight).sum();
        for (inside, share) in self.inside.iter_mut().zip(mix.inside) {
            *inside += share * (straight + stages);
        }
        self.start + straight + stages
    }
}

impl OdeSystem for Hidden {
    type Error = std::convert::Infallible;
    fn dim(&self) -> usize {
        2
    }
    fn rhs(&mut self, _t: f64, y: &[f64], dydt: &mut [f64]) -> Result<(), Self::Error> {
        dydt.copy_from_slice(&[y[0] * Self::solved(y), 1.0]);
        Ok(())
    }
    fn near(&mut self, t: f64, y: &[f64], which: Near<'_>, dydt: &mut [f64]) -> Result<(), Self::Error> {
        let z = match which {
            Near::Stage(mix) => {
                if mix.weights.len() == 1 {
                    (self.stages, self.inside) = (vec![0.0], [0.0; 2]);
                }
                let z = self.led(y, &mix);
                let taken = -Self::equation(y, z) / self.slope;
                self.stages.push(taken);
                z + taken
            }
            Near::End(mix) => {
                let (led, z) = (self.led(y, &mix), Self::solved(y));
                self.led = self.led.max((led - z).abs());
                let [second, third] = self.inside;
                for s in [0.25, 0.5, 0.75] {
                    let time = self.state[1] + s * (t - self.state[1]);
                    let here = self.start + s * (z - self.start + (1.0 - s) * (second + s * third));
                    self.within = self.within.max((here - time.cos()).abs());
                }
                z
            }
            Near::Alone | Near::Later(_) => Self::solved(y),
        };
        dydt.copy_from_slice(&[y[0] * z, 1.0]);
        Ok(())
    }
    fn scale(&self, _component: usize) -> f64 {
        1.0
    }
    fn autonomous(&self) -> bool {
        true
    }
    fn jacobian(&mut self, _t: f64, y: &[f64], jacobian: &mut DMatrix<f64>) -> Result<bool, Self::Error> {
        let (u, t, z) = (y[0], y[1], Self::solved(y));
        self.state.copy_from_slice(y);
        (self.start, self.slope) = (z, 1.0 + 3.0 * z * z);
        let by = [2.0, -2.0 * t.cos() * t.sin().exp() + t.sin() + 3.0 * t.cos().powi(2) * t.sin()];
        self.answers = by.map(|by| -by / self.slope);
        let rows = [[z + u * self.answers[0], u * self.answers[1]], [0.0; 2]];
        jacobian.copy_from(&DMatrix::from_fn(2, 2, |i, j| rows[i][j]));
        Ok(true)
    }
}

/// Unknowns taken through the stages, with one look at their equation each, leave the order as it is; where they are led to at
/// the end of a step is off by the fifth power of its length, what is known of them inside by the third.
#[test]
fn rodas_takes_unknowns_along() {
    let run = |n: usize| {
        let (mut system, h) = (Hidden::default(), 2.0 / n as f64);
        let options = Options { method: Method::Rodas, rtol: 1e3, max_step: h, ..Options::default() };
        let mut integrator = Integrator::new(options, 0.0, &[1.0, 0.0]);
        integrator.restart(0.0, &[1.0, 0.0], Some(h));
        integrator.advance(&mut system, 2.0, &mut |_| {}).unwrap();
        assert_eq!((integrator.stats().accepted, integrator.stats().rejected), (n, 0));
        [(integrator.y()[0] - 2f64.sin().exp()).abs(), system.led, system.within]
    };
    let (coarse, fine) = (run(32), run(256));
    let orders = [0, 1, 2].map(|k| (coarse[k] / fine[k]).log2() / 3.0);
    for (order, least) in orders.into_iter().zip([3.8, 4.7, 2.8]) {
        assert!(order > least, "{orders:?}");
    }
}

#[test]
fn rosenbrock_has_order_three_with_any_jacobian() {
    for jacobian in [None, Some([0.0; 4]), Some([-3.0, 0.5, 1.0, -2.0]), Some([1.0, -4.0, 2.0, 0.3])] {
        let [end, inside] = observed(Method::RosenbrockW, jacobian);
        assert!(end > 2.8, "{jacobian:?}: {end}");
        assert!(inside > 2.8, "{jacobian:?}: {inside}");
    }
}

#[test]
fn esdirk_has_order_four() {
    let [end, inside] = observed(Method::Esdirk, None);
    assert!(end > 3.8, "{end}");
    // Cubic Hermite: its error inside one step is of the fourth power.
    assert!(inside > 3.8, "{inside}");
}

/// The error goes with the tolerance, between a two-hundredth of it and thirty times.
#[test]
fn error_follows_tolerance() {
    for (method, tightest) in
        [(Method::DormandPrince, 11), (Method::RosenbrockW, 9), (Method::Rodas, 9), (Method::Esdirk, 9)]
    {
        for digits in 3..=tightest {
            let rtol = 10f64.powi(-digits);
            let options = Options { method, rtol, ..Options::default() };
            let mut integrator = Integrator::new(options, 0.0, &Coupled::exact(0.0));
            integrator.advance(&mut Coupled { jacobian: None }, 2.0, &mut |_| {}).unwrap();
            let error = integrator
                .y()
                .iter()
                .zip(Coupled::exact(2.0))
                .map(|(y, exact)| (y - exact).abs() / exact.max(1.0))
                .fold(0.0, f64::max);
            assert!(error < 30.0 * rtol && error > 0.005 * rtol, "{method:?} {rtol:e}: {error:e}");
        }
    }
}

/// y' = rate (y - phi(t)) + phi'(t), of solution phi (Prothero and Robinson, Math. Comp. 28 (1974) 145-162).
struct Follow {
    rate: f64,
    phi: fn(f64) -> f64,
    slope: fn(f64) -> f64,
}

impl OdeSystem for Follow {
    type Error = std::convert::Infallible;
    fn dim(&self) -> usize {
        1
    }
    fn rhs(&mut self, t: f64, y: &[f64], dydt: &mut [f64]) -> Result<(), Self::Error> {
        dydt[0] = self.rate * (y[0] - (self.phi)(t)) + (self.slope)(t);
        Ok(())
    }
    fn scale(&self, _component: usize) -> f64 {
        1.0
    }
}

/// Stiff decay onto a sine: accurate, and the cost does not grow with the stiffness.
#[test]
fn prothero_robinson() {
    for rate in [-1e3, -1e5, -1e7] {
        let mut system = Follow { rate, phi: f64::sin, slope: f64::cos };
        let options = Options { method: Method::RosenbrockW, rtol: 1e-6, ..Options::default() };
        let mut integrator = Integrator::new(options, 0.0, &[0.5]);
        integrator.advance(&mut system, 10.0, &mut |_| {}).unwrap();
        let error = (integrator.y()[0] - 10f64.sin()).abs();
        assert!(error < 1e-5, "{rate:e}: {error:e}");
        assert!(integrator.stats().rhs_calls < 4000, "{rate:e}: {:?}", integrator.stats());
    }
}

/// Forcing linear in time with a stiff system: on the particular solution 2 + 3 t any step is exact, so that tables of
/// straight pieces cost nothing.
#[test]
fn straight_forcing_is_exact() {
    for rate in [-1.0, -1e4] {
        let mut system = Follow { rate, phi: |t| 2.0 + 3.0 * t, slope: |_| 3.0 };
        let options = Options { method: Method::RosenbrockW, rtol: 1e-6, ..Options::default() };
        let mut integrator = Integrator::new(options, 0.0, &[2.0]);
        integrator.advance(&mut system, 10.0, &mut |_| {}).unwrap();
        assert!((integrator.y()[0] - 32.0).abs() < 1e-7, "{}", integrator.y()[0]);
        assert!(integrator.stats().accepted < 30, "{rate}: {:?}", integrator.stats());
    }
}
