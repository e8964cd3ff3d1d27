//! Events, failures and cost. Orders are measured in `tests/tests/order.rs`.

use super::*;
use std::f64::consts::PI;

/// A system made of closures, counting nothing and failing where they say.
struct Problem<F, G> {
    dim: usize,
    f: F,
    g: G,
    directions: Vec<Direction>,
}

impl<F, G> OdeSystem for Problem<F, G>
where
    F: Fn(f64, &[f64], &mut [f64]) -> Result<(), &'static str>,
    G: Fn(f64, &[f64], &mut [f64]),
{
    type Error = &'static str;
    fn dim(&self) -> usize {
        self.dim
    }
    fn rhs(&mut self, t: f64, y: &[f64], dydt: &mut [f64]) -> Result<(), Self::Error> {
        (self.f)(t, y, dydt)
    }
    fn scale(&self, _component: usize) -> f64 {
        1e-3
    }
    fn event_count(&self) -> usize {
        self.directions.len()
    }
    fn direction(&self, event: usize) -> Direction {
        self.directions[event]
    }
    fn events(&mut self, t: f64, y: &[f64], g: &mut [f64]) -> Result<(), Self::Error> {
        (self.g)(t, y, g);
        Ok(())
    }
}

fn problem<F, G>(dim: usize, directions: &[Direction], f: F, g: G) -> Problem<F, G>
where
    F: Fn(f64, &[f64], &mut [f64]) -> Result<(), &'static str>,
    G: Fn(f64, &[f64], &mut [f64]),
{
    Problem { dim, f, g, directions: directions.to_vec() }
}

const METHODS: [Method; 4] = [Method::DormandPrince, Method::RosenbrockW, Method::Rodas, Method::Esdirk];

fn options(method: Method, rtol: f64) -> Options {
    Options { method, rtol, ..Options::default() }
}

fn event_time(stop: Result<Advance, IntegrationError<&'static str>>) -> (f64, Vec<usize>) {
    match stop {
        Ok(Advance::Event { time, events }) => (time, events),
        other => panic!("no event: {other:?}"),
    }
}

/// Circle y = (cos t, -sin t).
fn circle(_t: f64, y: &[f64], dydt: &mut [f64]) -> Result<(), &'static str> {
    (dydt[0], dydt[1]) = (y[1], -y[0]);
    Ok(())
}

/// Adiabatic blowdown of a bottle through a choked nozzle, x = m / m0: dx/dt = -x^((k+1)/2) / tau, so
/// x = (1 + (k-1)/2 t/tau)^(-2/(k-1)); and a tank emptying by gravity, z = (1 - t/T)^2. Solved by hand.
#[test]
fn event_times_follow_the_tolerance() {
    let (k, tau, emptying) = (1.4, 3.0, 20.0);
    for method in METHODS {
        for rtol in [1e-4, 1e-6, 1e-8, 1e-10] {
            let mut system = problem(
                2,
                &[Direction::Falling, Direction::Falling],
                move |_t, y: &[f64], d: &mut [f64]| {
                    d[0] = -y[0].max(0.0).powf(0.5 * (k + 1.0)) / tau;
                    d[1] = -2.0 * y[1].max(0.0).sqrt() / emptying;
                    Ok(())
                },
                |_t, y: &[f64], g: &mut [f64]| (g[0], g[1]) = (y[0] - 0.3, y[1] - 0.3),
            );
            let mut integrator = Integrator::new(options(method, rtol), 0.0, &[1.0, 1.0]);
            let first = event_time(integrator.advance(&mut system, 50.0, &mut |_| {}));
            let second = event_time(integrator.advance(&mut system, 50.0, &mut |_| {}));
            let exact =
                [tau * 2.0 / (k - 1.0) * (0.3f64.powf(-0.5 * (k - 1.0)) - 1.0), emptying * (1.0 - 0.3f64.sqrt())];
            for (i, (found, exact)) in [first, second].into_iter().zip(exact).enumerate() {
                assert_eq!(found.1, [i]);
                // The local error gathers over some ten to a hundred steps, and slope times time is about the value.
                let error = (found.0 - exact).abs() / exact;
                assert!(error < 20.0 * rtol, "{method:?} {rtol:e}: {error:e}");
            }
        }
    }
}

/// Restitution 1/2: the k-th bounce comes at t0 (3 - 2^(2-k)) with t0 the first fall; parabolas are exact in both.
#[test]
fn bouncing() {
    for method in METHODS {
        let mut system = problem(
            2,
            &[Direction::Falling],
            |_t, y: &[f64], d: &mut [f64]| {
                (d[0], d[1]) = (y[1], -9.81);
                Ok(())
            },
            |_t, y: &[f64], g: &mut [f64]| g[0] = y[0],
        );
        let mut integrator = Integrator::new(options(method, 1e-9), 0.0, &[1.0, 0.0]);
        let fall = (2.0f64 / 9.81).sqrt();
        for bounce in 0..12 {
            let (time, _) = event_time(integrator.advance(&mut system, 10.0, &mut |_| {}));
            let exact = fall * (3.0 - 2.0 * f64::powi(0.5, bounce));
            assert!((time - exact).abs() < 1e-8, "{method:?}, bounce {bounce}: {time} for {exact}");
            let v = integrator.y()[1];
            integrator.restart(time, &[0.0, -0.5 * v], None);
        }
    }
}

#[test]
fn simultaneous_and_earliest_events() {
    for method in METHODS {
        let mut system = problem(
            2,
            &[Direction::Any; 4],
            circle,
            // 0.2 is passed last, 0.5 by two functions at once, 0.6 first; the steps are long.
            |_t, y: &[f64], g: &mut [f64]| {
                g.copy_from_slice(&[0.2 - y[0], y[0] - 0.5, 3.0 * y[0] - 1.5, y[0] - 0.6]);
            },
        );
        let mut integrator = Integrator::new(options(method, 1e-3), 0.0, &[1.0, 0.0]);
        let stops: Vec<_> = (0..3).map(|_| event_time(integrator.advance(&mut system, 2.0, &mut |_| {})).1).collect();
        assert_eq!(stops, [vec![3], vec![1, 2], vec![0]]);
        assert_eq!(integrator.advance(&mut system, 2.0, &mut |_| {}), Ok(Advance::Reached));
        assert_eq!(integrator.t(), 2.0);
    }
}

#[test]
fn directions_count() {
    for (direction, expected) in [
        (Direction::Falling, vec![0.5 * PI, 2.5 * PI]),
        (Direction::Rising, vec![1.5 * PI, 3.5 * PI]),
        (Direction::Any, vec![0.5 * PI, 1.5 * PI, 2.5 * PI, 3.5 * PI]),
    ] {
        let mut system = problem(2, &[direction], circle, |_t, y: &[f64], g: &mut [f64]| g[0] = y[0]);
        let mut integrator = Integrator::new(options(Method::DormandPrince, 1e-9), 0.0, &[1.0, 0.0]);
        let mut times = Vec::new();
        while let Advance::Event { time, .. } = integrator.advance(&mut system, 4.0 * PI, &mut |_| {}).unwrap() {
            times.push(time);
        }
        assert_eq!(times.len(), expected.len());
        assert!(times.iter().zip(&expected).all(|(a, b)| (a - b).abs() < 1e-7), "{times:?}");
    }
}

/// Zero at the start is no event, whichever way it leaves; nor is a state put back onto the zero after an event.
#[test]
fn zero_at_a_start_is_no_event() {
    for slope in [-1.0, 1.0] {
        let mut system = problem(
            1,
            &[Direction::Any],
            move |_t, _y: &[f64], d: &mut [f64]| {
                d[0] = slope;
                Ok(())
            },
            |_t, y: &[f64], g: &mut [f64]| g[0] = y[0],
        );
        let mut integrator = Integrator::new(Options::default(), 0.0, &[0.0]);
        assert_eq!(integrator.advance(&mut system, 1.0, &mut |_| {}), Ok(Advance::Reached));
        // Towards zero, then put to zero, or by rounding onto the old side of it.
        for place in [0.0, -slope * 1e-17] {
            integrator.restart(0.0, &[-slope], None);
            let (time, _) = event_time(integrator.advance(&mut system, 2.0, &mut |_| {}));
            assert!((time - 1.0).abs() < 1e-11);
            integrator.restart(time, &[place], None);
            assert_eq!(integrator.advance(&mut system, 2.0, &mut |_| {}), Ok(Advance::Reached));
        }
    }
}

/// A dip below zero and back inside one step is seen when it covers the middle of the step.
#[test]
fn short_dips_are_seen_in_the_middle() {
    let dip = |_t: f64, y: &[f64], g: &mut [f64]| g[0] = (y[0] - 0.5).abs() - 0.1;
    let still = |_t: f64, _y: &[f64], d: &mut [f64]| {
        d[0] = 1.0;
        Ok(())
    };
    let run = |event_checks| {
        let mut system = problem(1, &[Direction::Falling], still, dip);
        let mut integrator = Integrator::new(Options { event_checks, ..Options::default() }, 0.0, &[0.0]);
        integrator.restart(0.0, &[0.0], Some(1.0));
        integrator.advance(&mut system, 1.0, &mut |_| {}).unwrap()
    };
    assert_eq!(run(0), Advance::Reached);
    let Advance::Event { time, .. } = run(1) else { panic!("the dip is missed") };
    assert!((time - 0.4).abs() < 1e-11);
}

/// Fails, or is not finite, from y = 0.3 on: typed error, last good state just before.
#[test]
fn failures_keep_the_last_good_state() {
    for method in METHODS {
        for (value, not_finite) in [(Err("too low"), false), (Ok(()), true)] {
            let mut system = problem(
                1,
                &[],
                move |_t, y: &[f64], d: &mut [f64]| {
                    d[0] = if y[0] < 0.3 { f64::NAN } else { -y[0] };
                    if y[0] < 0.3 { value } else { Ok(()) }
                },
                |_t, _y: &[f64], _g: &mut [f64]| {},
            );
            let mut integrator = Integrator::new(options(method, 1e-8), 0.0, &[1.0]);
            let error = integrator.advance(&mut system, 5.0, &mut |_| {}).unwrap_err();
            let t = integrator.t();
            match error {
                IntegrationError::System { t: at, source } => {
                    assert!(!not_finite && source == "too low" && at == t);
                }
                IntegrationError::NotFinite { t: at } => assert!(not_finite && at == t),
                // A stage that Newton's method cannot find among numbers that are not finite.
                IntegrationError::Unsolved { t: at } => assert!(not_finite && method == Method::Esdirk && at == t),
                other => panic!("{other:?}"),
            }
            assert!(integrator.y()[0] >= 0.3 && (integrator.y()[0] - (-t).exp()).abs() < 1e-7);
            assert!((t + 0.3f64.ln()).abs() < 1e-3, "{method:?} stopped at {t}");
            assert!(integrator.stats().rejected < 300);
            // The caller mends the equations and goes on from there.
            let mut mended = problem(
                1,
                &[],
                |_t, y: &[f64], d: &mut [f64]| {
                    d[0] = -y[0];
                    Ok(())
                },
                |_t, _y: &[f64], _g: &mut [f64]| {},
            );
            let y = integrator.y().to_vec();
            integrator.restart(t, &y, None);
            assert_eq!(integrator.advance(&mut mended, 5.0, &mut |_| {}), Ok(Advance::Reached));
            assert!((integrator.y()[0] - (-5f64).exp()).abs() < 1e-7);
        }
    }
}

/// Down to zero and held there by a slope that jumps: no step that crosses it meets the tolerance. Steps short enough are kept
/// and counted; without them it takes steps without number.
#[test]
fn short_steps_get_past_a_jump_that_nothing_tells_of() {
    let slide = || {
        problem(
            1,
            &[],
            |_t, y: &[f64], d: &mut [f64]| {
                d[0] = if y[0] > 0.0 { -1.0 } else { 1.0 };
                Ok(())
            },
            |_t, _y: &[f64], _g: &mut [f64]| {},
        )
    };
    for method in [Method::DormandPrince, Method::Rodas] {
        let with = Options { least_step: 1e-6, max_steps: 5000, ..options(method, 1e-12) };
        let mut integrator = Integrator::new(with, 0.0, &[1e-3]);
        assert_eq!(integrator.advance(&mut slide(), 1.05e-3, &mut |_| {}), Ok(Advance::Reached), "{method:?}");
        let stats = integrator.stats();
        assert!(stats.unheld > 10 && stats.unheld < MOST_UNHELD, "{method:?}: {stats:?}");
        assert!((stats.first_unheld.unwrap() - 1e-3).abs() < 1e-5, "{method:?}: {stats:?}");
        assert!(integrator.y()[0].abs() < 1e-5, "{method:?}: {:?}", integrator.y());
        let mut without = Integrator::new(Options { least_step: 0.0, ..with }, 0.0, &[1e-3]);
        assert!(without.advance(&mut slide(), 1.05e-3, &mut |_| {}).is_err(), "{method:?}");
    }
}

#[test]
fn limits_are_typed_errors() {
    for method in METHODS {
        // y = 1 / (1 - t) has no solution beyond t = 1.
        let mut blow_up = problem(
            1,
            &[],
            |_t, y: &[f64], d: &mut [f64]| {
                d[0] = y[0] * y[0];
                Ok(())
            },
            |_t, _y: &[f64], _g: &mut [f64]| {},
        );
        let mut integrator = Integrator::new(options(method, 1e-6), 0.0, &[1.0]);
        let error = integrator.advance(&mut blow_up, 2.0, &mut |_| {}).unwrap_err();
        assert!(
            matches!(error, IntegrationError::StepTooSmall { .. } | IntegrationError::NotFinite { .. }),
            "{error:?}"
        );
        assert!((integrator.t() - 1.0).abs() < 1e-3);

        let few = Options { max_steps: 5, ..options(method, 1e-10) };
        let mut integrator = Integrator::new(few, 0.0, &[1.0, 0.0]);
        let mut system = problem(2, &[], circle, |_t, _y: &[f64], _g: &mut [f64]| {});
        let error = integrator.advance(&mut system, 100.0, &mut |_| {}).unwrap_err();
        assert_eq!(error, IntegrationError::TooManySteps { t: integrator.t(), steps: 5 });
        for end in [f64::NAN, f64::INFINITY] {
            assert!(matches!(
                integrator.advance(&mut system, end, &mut |_| {}),
                Err(IntegrationError::NotFinite { .. })
            ));
        }
    }
}

/// Robertson's problem at t = 40; values as printed by the example of the CVODE user guide (from memory), to its 6 or
/// 7 digits. The cost is bounded: stability alone would ask an explicit method for tens of thousands of steps here.
#[test]
fn robertson() {
    let reaction = |_t: f64, y: &[f64], d: &mut [f64]| {
        d[0] = -0.04 * y[0] + 1e4 * y[1] * y[2];
        d[2] = 3e7 * y[1] * y[1];
        d[1] = -d[0] - d[2];
        Ok(())
    };
    let mut system = problem(3, &[], reaction, |_t, _y: &[f64], _g: &mut [f64]| {});
    let mut integrator = Integrator::new(options(Method::RosenbrockW, 1e-6), 0.0, &[1.0, 0.0, 0.0]);
    integrator.advance(&mut system, 40.0, &mut |_| {}).unwrap();
    for (y, exact) in integrator.y().iter().zip([7.158270e-1, 9.185534e-6, 2.841637e-1]) {
        assert!((y - exact).abs() < 2e-6 * exact.max(1e-3), "{y} for {exact}");
    }
    assert!(integrator.stats().rhs_calls < 1200, "{:?}", integrator.stats());
}

/// Stiff van der Pol oscillator (mu = 1000): jumps and slow parts; the cost of more than one period is bounded.
#[test]
fn van_der_pol_costs_little() {
    let oscillator = |_t: f64, y: &[f64], d: &mut [f64]| {
        d[0] = y[1];
        d[1] = 1000.0 * (1.0 - y[0] * y[0]) * y[1] - y[0];
        Ok(())
    };
    let mut system = problem(2, &[], oscillator, |_t, _y: &[f64], _g: &mut [f64]| {});
    let mut integrator = Integrator::new(options(Method::RosenbrockW, 1e-4), 0.0, &[2.0, 0.0]);
    integrator.advance(&mut system, 2000.0, &mut |_| {}).unwrap();
    assert!(integrator.stats().rhs_calls < 7000, "{:?}", integrator.stats());
    assert!(integrator.y()[0].abs() > 1.0 && integrator.y()[0].abs() < 2.01);
}

/// Steps follow one another without gaps, and a row asked for at a time does not depend on where steps end.
#[test]
fn rows_from_dense_output() {
    for method in METHODS {
        let mut system = problem(2, &[], circle, |_t, _y: &[f64], _g: &mut [f64]| {});
        let mut integrator = Integrator::new(options(method, 1e-7), 0.0, &[1.0, 0.0]);
        let (mut end, mut row, mut rows) = (0.0, [0.0; 2], 0);
        for stop in [1.0, 7.3, 10.0] {
            let stopped = integrator.advance(&mut system, stop, &mut |step| {
                assert_eq!(step.start(), end);
                end = step.end();
                while f64::from(rows) * 0.01 <= end {
                    let t = f64::from(rows) * 0.01;
                    step.at(t, &mut row);
                    // What some thirty steps of 1e-7 come to.
                    assert!((row[0] - t.cos()).abs() < 3e-6 && (row[1] + t.sin()).abs() < 3e-6);
                    rows += 1;
                }
            });
            assert_eq!((stopped, end), (Ok(Advance::Reached), stop));
        }
        assert_eq!(rows, 1001);
    }
}

/// The same run gives the same bits.
#[test]
fn deterministic() {
    let run = || {
        let mut system =
            problem(2, &[Direction::Any], circle, |t, y: &[f64], g: &mut [f64]| g[0] = y[0] - 0.1 * (3.0 * t).sin());
        let mut integrator = Integrator::new(options(Method::RosenbrockW, 1e-7), 0.0, &[1.0, 0.0]);
        let mut bits = Vec::new();
        while let Advance::Event { time, .. } = integrator.advance(&mut system, 20.0, &mut |_| {}).unwrap() {
            bits.push(time.to_bits());
        }
        bits
    };
    assert!(run().len() > 5 && run() == run());
}
