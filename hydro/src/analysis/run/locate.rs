//! Where a quantity changes its sign.

/// The first point found in `from..=to` at which `f` is above 0, to a tolerance: `f` is not above 0 before it.
///
/// `f` at `to` is above 0; where it is already at `from`, that is the answer.
///
/// # Errors
/// Those of `f`.
pub fn first_above<E>(from: f64, to: f64, tolerance: f64, mut f: impl FnMut(f64) -> Result<f64, E>) -> Result<f64, E> {
    let mut looks = Looks::default();
    for x in [from, to] {
        looks.add(x, vec![f(x)?]);
    }
    looks.first_above(0, (tolerance, true), |x| Ok(vec![f(x)?]))
}

/// Points at which several quantities have been looked at together, in order.
#[derive(Debug, Clone, Default)]
pub struct Looks {
    points: Vec<(f64, Vec<f64>)>,
}

/// A point and the quantity sought there.
#[derive(Debug, Clone, Copy)]
struct Known {
    x: f64,
    f: f64,
}

/// Shares of the tolerance within which a change need not be enclosed: of the way to it along the line through the last two
/// points, and of what the parabola through three says otherwise, which is off by far less. And by how much slopes may differ for
/// that.
const HERE: f64 = 0.1;
const NEARLY: f64 = 0.5;
const STRAIGHT: f64 = 0.5;

/// How many tolerances a step is that seeks the other end of a bracket from one that is there, and how many times it the next.
const GROW: f64 = 8.0;

/// Most looks for one change; halving alone needs fewer for any bracket of numbers.
const MOST: usize = 2200;

impl Looks {
    /// Adds a point and what the quantities are there.
    pub fn add(&mut self, x: f64, values: Vec<f64>) {
        let at = self.points.partition_point(|&(before, _)| before < x);
        self.points.insert(at, (x, values));
    }

    /// The first point found at which one of the quantities is above 0, to a tolerance: it is not above 0 before it.
    ///
    /// The quantity is above 0 at the last point known; where it is already at the first, that is the answer. With `enclosed` the
    /// change is, else it may be known from the line about the last points. `f` gives
    /// all quantities at a point, and what it gives serves the others as well. Inverse quadratic interpolation kept
    /// within a bracket by halving (R. P. Brent, Algorithms for Minimization without Derivatives, 1973, section 4; from
    /// memory): a smooth quantity takes about five looks, any other one no more than a few times those of halving.
    ///
    /// # Errors
    /// Those of `f`.
    pub fn first_above<E>(
        &mut self,
        which: usize,
        (tolerance, enclosed): (f64, bool),
        mut f: impl FnMut(f64) -> Result<Vec<f64>, E>,
    ) -> Result<f64, E> {
        let known = |at: usize| self.points.get(at).map(|(x, values)| Known { x: *x, f: values[which] });
        let first = self.points.iter().position(|(_, values)| values[which] > 0.0);
        let after = first.unwrap_or(self.points.len().saturating_sub(1));
        let Some(above) = known(after) else { return Ok(f64::NAN) };
        let Some(below) = after.checked_sub(1).and_then(known) else { return Ok(above.x) };
        let third = known(after + 1).or_else(|| known(after.checked_sub(2)?));
        // `b` is the better end of the bracket, `c` the other, `a` the point before `b`.
        let (mut b, mut c) = if below.f.abs() < above.f.abs() { (below, above) } else { (above, below) };
        let mut a = third.unwrap_or(c);
        let (mut spare, mut older) = (a, a);
        let (mut last, mut before) = (c.x - b.x, c.x - b.x);
        let mut reach = GROW * tolerance;
        for _ in 0..MOST {
            if (c.x - b.x).abs() <= tolerance {
                break;
            }
            let found = interpolated(a, b, c);
            let third = if a.x == c.x { spare } else { a };
            let points = [b, third, c, older];
            if let Some(x) = found.filter(|_| !enclosed).and_then(|step| agreed(step, points, tolerance)) {
                return Ok(x.min(b.x.max(c.x)));
            }
            // At least half of the tolerance: the end that is near already is passed, and the bracket closed.
            let (half, least) = (0.5 * (c.x - b.x), 0.5 * tolerance);
            let step = found.filter(|step| {
                let inside = step / half;
                let within = inside > 0.0 && inside < 1.5 && step.abs() < 0.5 * before.abs();
                before.abs() >= least && (within || step.abs() <= least)
            });
            // An end that is there but for the last digits of the quantity: the other is sought by steps that grow.
            let sought = if last.abs() <= reach && reach < half.abs() { reach.copysign(half) } else { half };
            if step.is_none() && last.abs() <= reach {
                reach *= GROW;
            }
            (before, last) = step.map_or((sought, sought), |step| (last, step));
            (older, a) = (a, b);
            b.x += if last.abs() > least { last } else { least.copysign(half) };
            let values = f(b.x)?;
            b.f = values[which];
            self.add(b.x, values);
            if (b.f > 0.0) == (c.f > 0.0) {
                (spare, c) = (c, a);
                (last, before) = (b.x - a.x, b.x - a.x);
            }
            if c.f.abs() < b.f.abs() {
                (a, b, c) = (b, c, b);
            }
        }
        Ok(if b.f > 0.0 { b.x } else { c.x })
    }
}

/// Step from `b` to where the inverse quadratic through three points, or the line through two, is 0.
fn interpolated(a: Known, b: Known, c: Known) -> Option<f64> {
    let line = b.f * (c.x - b.x) / (b.f - c.f);
    let step = if a.x == c.x || a.x == b.x || a.f == c.f || a.f == b.f {
        line
    } else {
        let (s, q, r) = (b.f / a.f, a.f / c.f, b.f / c.f);
        let rise = s * (q * (q - r) * (c.x - b.x) - (b.x - a.x) * (r - 1.0));
        -rise / ((q - 1.0) * (r - 1.0) * (s - 1.0))
    };
    step.is_finite().then_some(step)
}

/// A point just behind the change, where three points agree about it. The line through the better end `b` of a bracket and the
/// point `a` before it leads to it, if `a` and the other end `c`, or the point before `a`, are about on that line; or nearly to
/// where the parabola through `c` as well leads, a `step` from `b`.
fn agreed(step: f64, [b, a, c, older]: [Known; 4], tolerance: f64) -> Option<f64> {
    let slope = |other: Known| (b.f - other.f) / (b.x - other.x);
    let line = -b.f / slope(a);
    // Not so where two of the points are one.
    let on_line = |other: Known| other.x != a.x && (slope(a) / slope(other) - 1.0).abs() <= STRAIGHT;
    let inside = (0.0..=1.0).contains(&(step / (c.x - b.x)));
    let here = line.abs() <= HERE * tolerance && (on_line(c) || on_line(older));
    let agreed = here || inside && on_line(c) && (step - line).abs() <= NEARLY * tolerance;
    agreed.then_some(b.x + if inside { step } else { line } + 0.5 * tolerance)
}

#[cfg(test)]
mod tests {
    use super::{Looks, first_above};

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
            assert!(calls <= if power == 1 { 4 } else { 130 }, "{calls} calls");
        }
    }

    /// What is looked at for one quantity brackets the others, and a smooth one takes few looks.
    #[test]
    fn looks_are_shared() {
        let mut calls = 0;
        let mut both = |x: f64| -> Result<Vec<f64>, ()> {
            calls += 1;
            Ok(vec![x.exp() - 1.5, x.sin() - 0.41])
        };
        let mut looks = Looks::default();
        for x in [0.0, 1.0] {
            looks.add(x, both(x).unwrap());
        }
        let found = [0, 1].map(|which| looks.first_above(which, (1e-12, true), &mut both).unwrap());
        for (found, root) in found.iter().zip([1.5_f64.ln(), 0.41_f64.asin()]) {
            assert!((found - root).abs() <= 1e-12, "{found} {root}");
        }
        assert!(calls <= 13, "{calls} looks");
    }

    /// Last digits that say nothing of the way to the change cost few looks beside halving.
    #[test]
    fn rounding_about_the_change_costs_little() {
        let (mut calls, noise) = (0, 1e-9);
        let mut f = |x: f64| -> Result<Vec<f64>, ()> {
            calls += 1;
            Ok(vec![(100.0 * (x - 3.7)).exp_m1().max(-0.9) + noise * (1e7 * x).sin()])
        };
        let mut looks = Looks::default();
        for x in [3.0, 3.71] {
            looks.add(x, f(x).unwrap());
        }
        let found = looks.first_above(0, (1e-12, false), &mut f).unwrap();
        assert!((found - 3.7).abs() <= 1e-10, "{found}");
        assert!(calls <= 25, "{calls} looks");
    }

    /// What bends at the change is not looked at behind it.
    #[test]
    fn a_bend_is_not_crossed() {
        let mut looks = Looks::default();
        let f = |x: f64| vec![if x > 0.4 { (x - 0.4).exp_m1() } else { -30.0 }];
        for x in [0.0, 1.0] {
            looks.add(x, f(x));
        }
        let mut crossed = 0;
        let found = looks.first_above::<()>(0, (1e-9, false), |x| {
            crossed += usize::from((0.39..0.4).contains(&x));
            Ok(f(x))
        });
        assert!((found.unwrap() - 0.4).abs() <= 1e-9);
        assert_eq!(crossed, 0);
    }

    #[test]
    fn a_step_is_found_by_halving() {
        let found = first_above::<()>(0.0, 4.0, 1e-10, |x| Ok(if x >= 1.25 { 1e9 } else { -1.0 }));
        assert!((found.unwrap_or(f64::NAN) - 1.25).abs() <= 1e-10);
    }
}
