//! Where a quantity changes its sign.

/// The first point found in `from..=to` at which `f` is above 0, to a tolerance: `f` is not above 0 before it.
///
/// `f` at `to` is above 0; where it is already at `from`, that is the answer. False position with the Illinois
/// weights, safeguarded by bisection (Dowell and Jarratt 1971); the bracket shrinks to the tolerance in any case.
///
/// # Errors
/// Those of `f`.
pub fn first_above<E>(from: f64, to: f64, tolerance: f64, mut f: impl FnMut(f64) -> Result<f64, E>) -> Result<f64, E> {
    let (mut a, mut b) = (from, to);
    let (mut fa, mut fb) = (f(a)?, f(b)?);
    if fa > 0.0 {
        return Ok(a);
    }
    let mut kept = 0;
    for turn in 0..200 {
        if b - a <= tolerance {
            break;
        }
        let middle = 0.5 * (a + b);
        let slope_point = b - fb * (b - a) / (fb - fa);
        // Every fourth turn halves the bracket, and so does a false position that is no point inside.
        let inside = slope_point > a && slope_point < b;
        let nudge = 0.25 * tolerance;
        let x = if turn % 4 == 3 || !inside { middle } else { slope_point.clamp(a + nudge, b - nudge) };
        let fx = f(x)?;
        if fx > 0.0 {
            (b, fb) = (x, fx);
            if kept > 0 {
                fa *= 0.5;
            }
            kept = 1;
        } else {
            (a, fa) = (x, fx);
            if kept < 0 {
                fb *= 0.5;
            }
            kept = -1;
        }
    }
    Ok(b)
}

#[cfg(test)]
mod tests {
    use super::first_above;

    #[test]
    fn finds_the_change_to_the_tolerance() {
        for (root, power) in [(0.3, 1), (0.712, 3), (0.1, 5)] {
            let mut calls = 0;
            let found = first_above::<()>(0.0, 1.0, 1e-12, |x| {
                calls += 1;
                Ok((x - root).powi(power))
            });
            let found = found.unwrap_or(f64::NAN);
            assert!(found >= root && found - root <= 1e-11, "{root} {power}: {found}");
            assert!(calls < 160, "{calls} calls");
        }
    }

    #[test]
    fn a_step_is_found_by_halving() {
        let found = first_above::<()>(0.0, 4.0, 1e-10, |x| Ok(if x >= 1.25 { 1e9 } else { -1.0 }));
        assert!((found.unwrap_or(f64::NAN) - 1.25).abs() <= 1e-10);
    }
}
