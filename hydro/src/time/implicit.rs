//! One implicit stage of a system that knows no better way: Newton's method on `y = base + reach f(t, y)`.

use super::control::norm;
use super::lu::Lu;
use super::system::OdeSystem;
use nalgebra::DMatrix;

/// Most iterations.
const ITERATIONS: usize = 20;
/// Last change allowed, relative to `max(scale, |y|)`; Newton's error is about its square.
const CHANGE: f64 = 1e-9;
/// Increment of finite differences relative to `max(scale, |y|)`.
const INCREMENT: f64 = 1e-7;

/// Solves a stage from the guess in `y`; `false` where it does not converge.
///
/// # Errors
/// Those of the right-hand side.
pub(super) fn stage<S: OdeSystem + ?Sized>(
    system: &mut S,
    t: f64,
    base: &[f64],
    reach: f64,
    y: &mut [f64],
) -> Result<bool, S::Error> {
    let n = y.len();
    let (mut f, mut moved) = (vec![0.0; n], vec![0.0; n]);
    let mut jacobian = DMatrix::zeros(n, n);
    let mut lu = Lu::new(n);
    for _ in 0..ITERATIONS {
        system.rhs(t, y, &mut f)?;
        if !system.jacobian(t, y, &mut jacobian)? {
            for j in 0..n {
                let kept = y[j];
                y[j] += INCREMENT * kept.abs().max(system.scale(j));
                let increment = y[j] - kept;
                system.rhs(t, y, &mut moved)?;
                y[j] = kept;
                for i in 0..n {
                    jacobian[(i, j)] = (moved[i] - f[i]) / increment;
                }
            }
        }
        if !lu.factor(reach, &jacobian) {
            return Ok(false);
        }
        for i in 0..n {
            moved[i] = base[i] + reach * f[i] - y[i];
        }
        lu.solve(&mut moved);
        y.iter_mut().zip(&moved).for_each(|(y, step)| *y += step);
        match norm(system, CHANGE, &moved, [y, y]) {
            Some(change) if change <= 1.0 => return Ok(true),
            Some(_) => {}
            None => return Ok(false),
        }
    }
    Ok(false)
}
