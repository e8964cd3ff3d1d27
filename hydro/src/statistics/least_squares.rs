//! Nonlinear least squares with bounds, after Levenberg and Marquardt.

use nalgebra::{DMatrix, DVector};

/// What is fitted.
pub trait Model {
    /// Why residuals cannot be computed.
    type Error;

    /// Weighted residuals at some parameters: each has a standard deviation of about 1 where the model is right.
    ///
    /// # Errors
    /// Where the model cannot be computed there.
    fn residuals(&self, parameters: &[f64]) -> Result<Vec<f64>, Self::Error>;

    /// Residuals at several points; the default computes one after the other.
    ///
    /// # Errors
    /// As [`Model::residuals`].
    fn residuals_at(&self, points: &[Vec<f64>]) -> Result<Vec<Vec<f64>>, Self::Error> {
        points.iter().map(|point| self.residuals(point)).collect()
    }

    /// Whether nothing more is to be computed: residuals fail from then on, and the fit ends where it is.
    fn stopped(&self) -> bool {
        false
    }
}

/// One parameter.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Parameter {
    /// First guess, from `low` to `high`.
    pub start: f64,
    /// Least value.
    pub low: f64,
    /// Greatest value, above `low`.
    pub high: f64,
}

/// Why a fit has no answer.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum FitError<E> {
    /// The model could not be computed at the first guess.
    #[error("the first guess: {0}")]
    Start(#[source] E),
    /// Nor near the point reached, where its slopes are needed.
    #[error("the slopes: {0}")]
    Slopes(#[source] E),
    /// Too few data.
    #[error("{data} data cannot say {parameters} parameters")]
    TooFew {
        /// Data.
        data: usize,
        /// Parameters.
        parameters: usize,
    },
}

/// How a fit ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// The next step would change nothing that matters.
    Converged,
    /// The most iterations were done.
    Iterations,
    /// No step made the sum of squares smaller, and yet the slopes say that one should.
    Stalled,
    /// It was stopped: what there is is the best so far.
    Stopped,
}

/// A fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Fit {
    /// Values of the parameters.
    pub values: Vec<f64>,
    /// Residuals there.
    pub residuals: Vec<f64>,
    /// Slopes of the residuals there: one row a datum, one column a parameter.
    pub slopes: DMatrix<f64>,
    /// Whether a parameter ends at a bound, against which the data press.
    pub at_bound: Vec<bool>,
    /// How it ended.
    pub ending: Ending,
    /// Iterations done.
    pub iterations: usize,
    /// Evaluations of the model.
    pub evaluations: usize,
}

/// Most iterations.
const ITERATIONS: usize = 60;

/// A step ends the fit when it lessens the sum of squares by less than this share, or when no parameter moves by more
/// than this share of its range.
const TOLERANCE: f64 = 1e-8;

/// Slopes are taken over this share of a parameter's size to each side. The models have relative errors of about
/// 1e-6: the slopes, then, of 1e-3 by these and of 1e-6 by curvature.
const DIFFERENCE: f64 = 1e-3;

/// Damping beyond which no step is looked for.
const MOST_DAMPING: f64 = 1e12;

/// Sum of squares.
fn cost(residuals: &[f64]) -> f64 {
    residuals.iter().map(|r| r * r).sum()
}

/// The parameters, within their bounds, with the least sum of squared residuals near the first guess.
///
/// Each step solves `(J'J + damping diag(J'J)) step = -J'r` for the parameters that are not held at a bound, and is cut
/// at the bounds; the damping falls after a step that lessens the sum and rises after one that does not (K. Levenberg,
/// Q. Appl. Math. 2 (1944) 164-168; D. W. Marquardt, J. SIAM 11 (1963) 431-441). A step into a region where the model
/// cannot be computed counts as one that does not. J by central differences.
///
/// # Errors
/// [`FitError`] where the model cannot be computed at the first guess or beside a point reached.
pub fn fit<M: Model>(model: &M, parameters: &[Parameter]) -> Result<Fit, FitError<M::Error>> {
    let mut x: Vec<f64> = parameters.iter().map(|p| p.start.clamp(p.low, p.high)).collect();
    let mut r = model.residuals(&x).map_err(FitError::Start)?;
    if r.len() < x.len() {
        return Err(FitError::TooFew { data: r.len(), parameters: x.len() });
    }
    let mut evaluations = 1;
    let (mut slopes, used) = differentiate(model, parameters, &x).map_err(FitError::Slopes)?;
    evaluations += used;
    let mut damping = 1e-3;
    let (mut ending, mut iterations) = (Ending::Iterations, 0);
    'steps: while iterations < ITERATIONS {
        iterations += 1;
        let held = held(parameters, &x, &slopes, &r);
        let before = cost(&r);
        let mut moved = None;
        while damping <= MOST_DAMPING {
            let Some(step) = step(&slopes, &r, &held, damping) else {
                damping *= 10.0;
                continue;
            };
            let next: Vec<f64> =
                x.iter().zip(&step).zip(parameters).map(|((x, s), p)| (x + s).clamp(p.low, p.high)).collect();
            let share = x.iter().zip(&next).zip(parameters).map(|((a, b), p)| (a - b).abs() / (p.high - p.low));
            let share = share.fold(0.0, f64::max);
            evaluations += 1;
            match model.residuals(&next) {
                Ok(found) if cost(&found) < before => {
                    moved = Some((next, found, share));
                    damping = (damping / 10.0).max(1e-12);
                    break;
                }
                Err(_) if model.stopped() => {
                    ending = Ending::Stopped;
                    break 'steps;
                }
                // The step is too small to matter: this is the least.
                _ if share < TOLERANCE => {
                    ending = Ending::Converged;
                    break;
                }
                _ => damping *= 10.0,
            }
        }
        let Some((next, found, share)) = moved else {
            if ending != Ending::Converged {
                ending = Ending::Stalled;
            }
            break;
        };
        let gained = before - cost(&found);
        (x, r) = (next, found);
        match differentiate(model, parameters, &x) {
            Ok((found, used)) => {
                slopes = found;
                evaluations += used;
            }
            // The slopes of the point before are near enough to go on from, not to end with.
            Err(_) if model.stopped() => {
                ending = Ending::Stopped;
                break;
            }
            Err(error) => return Err(FitError::Slopes(error)),
        }
        if gained <= TOLERANCE * before || share < TOLERANCE {
            ending = Ending::Converged;
            break;
        }
    }
    let at_bound = held(parameters, &x, &slopes, &r);
    Ok(Fit { values: x, residuals: r, slopes, at_bound, ending, iterations, evaluations })
}

/// Whether each parameter stands at a bound and the sum of squares would fall beyond it.
fn held(parameters: &[Parameter], x: &[f64], slopes: &DMatrix<f64>, r: &[f64]) -> Vec<bool> {
    let gradient = slopes.tr_mul(&DVector::from_column_slice(r));
    let at = |((x, p), g): ((&f64, &Parameter), &f64)| (*x <= p.low && *g > 0.0) || (*x >= p.high && *g < 0.0);
    x.iter().zip(parameters).zip(gradient.iter()).map(at).collect()
}

/// The damped step; `None` where the damped matrix has no factor.
fn step(slopes: &DMatrix<f64>, r: &[f64], held: &[bool], damping: f64) -> Option<Vec<f64>> {
    let free: Vec<usize> = (0..held.len()).filter(|&k| !held[k]).collect();
    if free.is_empty() {
        return Some(vec![0.0; held.len()]);
    }
    let j = slopes.select_columns(&free);
    let mut normal = j.tr_mul(&j);
    let largest = normal.diagonal().max();
    for k in 0..free.len() {
        // A parameter that nothing depends on stays where it is.
        normal[(k, k)] += damping * normal[(k, k)] + 1e-30 * largest + f64::MIN_POSITIVE;
    }
    let solved = normal.cholesky()?.solve(&(-j.tr_mul(&DVector::from_column_slice(r))));
    let mut step = vec![0.0; held.len()];
    free.iter().zip(solved.iter()).for_each(|(&k, s)| step[k] = *s);
    step.iter().all(|s| s.is_finite()).then_some(step)
}

/// Slopes by differences to both sides, or to one beside a bound; and the evaluations it took.
fn differentiate<M: Model>(model: &M, parameters: &[Parameter], x: &[f64]) -> Result<(DMatrix<f64>, usize), M::Error> {
    let mut points = Vec::with_capacity(2 * x.len());
    let mut widths = Vec::with_capacity(x.len());
    for (k, p) in parameters.iter().enumerate() {
        let reach = (DIFFERENCE * x[k].abs().max(0.1 * (p.high - p.low))).min(0.25 * (p.high - p.low));
        let (below, above) = ((x[k] - reach).max(p.low), (x[k] + reach).min(p.high));
        for value in [below, above] {
            let mut point = x.to_vec();
            point[k] = value;
            points.push(point);
        }
        widths.push(above - below);
    }
    let found = model.residuals_at(&points)?;
    let rows = found.first().map_or(0, Vec::len);
    let slope = |row: usize, k: usize| {
        let at = |n: usize| found.get(n).and_then(|r| r.get(row)).copied().unwrap_or(0.0);
        (at(2 * k + 1) - at(2 * k)) / widths[k]
    };
    Ok((DMatrix::from_fn(rows, x.len(), slope), points.len()))
}

/// What a fit says about its parameters.
#[derive(Debug, Clone, PartialEq)]
pub struct Certainty {
    /// Residual variance: sum of squares over the data less the parameters; about 1 where the weights are right.
    pub residual_variance: f64,
    /// Standard error of each parameter, in units of weights that are right; `None` where it is held at a bound or the
    /// data say nothing about it.
    pub errors: Vec<Option<f64>>,
    /// Correlation coefficients of the parameters' errors, by row; 0 beside a parameter without an error.
    pub correlations: Vec<Vec<f64>>,
    /// Directions that the data hardly tell: changes of the parameters, relative to the largest, each with the change
    /// of the root sum of squares that a step of the size of the parameters' values makes.
    pub blind: Vec<Blind>,
}

/// A direction that the data hardly tell.
#[derive(Debug, Clone, PartialEq)]
pub struct Blind {
    /// Share of each parameter, as relative changes, the largest 1.
    pub direction: Vec<f64>,
    /// Least over greatest effect of a relative change on the data.
    pub weakness: f64,
}

/// Relative effect on the data below which a direction counts as not told.
const BLIND: f64 = 1e-3;

/// Standard errors and correlations of a fit, from its slopes; `scales`: size of each parameter, above 0.
pub fn certainty(fit: &Fit, scales: &[f64]) -> Certainty {
    let count = fit.values.len();
    let free: Vec<usize> = (0..count).filter(|&k| !fit.at_bound[k]).collect();
    let freedom = fit.residuals.len().saturating_sub(free.len()).max(1) as f64;
    let mut result = Certainty {
        residual_variance: cost(&fit.residuals) / freedom,
        errors: vec![None; count],
        correlations: (0..count).map(|i| (0..count).map(|j| f64::from(u8::from(i == j))).collect()).collect(),
        blind: Vec::new(),
    };
    if free.is_empty() || fit.residuals.is_empty() {
        return result;
    }
    // Slopes for relative changes, so that parameters of different units can be compared.
    let mut j = fit.slopes.select_columns(&free);
    for (k, &p) in free.iter().enumerate() {
        j.column_mut(k).scale_mut(scales[p]);
    }
    let svd = j.svd(false, true);
    let (Some(v_t), largest) = (svd.v_t, svd.singular_values.max()) else { return result };
    let mut covariance = DMatrix::<f64>::zeros(free.len(), free.len());
    let mut told = vec![true; free.len()];
    for (k, &s) in svd.singular_values.iter().enumerate() {
        let direction = v_t.row(k).transpose();
        if s <= BLIND * largest || s == 0.0 {
            let most = direction.amax();
            let mut shares = vec![0.0; count];
            for (place, &p) in free.iter().enumerate() {
                shares[p] = direction[place] / most;
                told[place] &= shares[p].abs() < 0.05;
            }
            result.blind.push(Blind { direction: shares, weakness: if largest > 0.0 { s / largest } else { 0.0 } });
        } else {
            covariance += (&direction * direction.transpose()) / (s * s);
        }
    }
    for (a, &i) in free.iter().enumerate().filter(|(a, _)| told[*a]) {
        result.errors[i] = Some(covariance[(a, a)].sqrt() * scales[i]);
        for (b, &k) in free.iter().enumerate().filter(|(b, _)| *b != a && told[*b]) {
            result.correlations[i][k] = covariance[(a, b)] / (covariance[(a, a)] * covariance[(b, b)]).sqrt();
        }
    }
    result
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Function<F>(F);

    impl<F: Fn(&[f64]) -> Vec<f64>> Model for Function<F> {
        type Error = &'static str;

        fn residuals(&self, x: &[f64]) -> Result<Vec<f64>, Self::Error> {
            let found = self.0(x);
            if found.iter().all(|r| r.is_finite()) { Ok(found) } else { Err("no number") }
        }
    }

    fn parameters(starts: &[f64], low: f64, high: f64) -> Vec<Parameter> {
        starts.iter().map(|&start| Parameter { start, low, high }).collect()
    }

    /// A straight line through five points: the closed forms of linear regression (any textbook): slope
    /// Sxy/Sxx, its standard error s/sqrt(Sxx).
    #[test]
    fn a_line_is_linear_regression() {
        let (x, y) = ([0.0, 1.0, 2.0, 3.0, 4.0], [1.1, 2.9, 5.2, 6.8, 9.0]);
        let model = Function(|p: &[f64]| x.iter().zip(y).map(|(x, y)| p[0] + p[1] * x - y).collect());
        let fit = fit(&model, &parameters(&[0.3, 0.3], -10.0, 10.0)).unwrap();
        assert_eq!(fit.ending, Ending::Converged);
        assert!((fit.values[1] - 1.97).abs() < 1e-6 && (fit.values[0] - 1.06).abs() < 1e-6, "{fit:?}");
        let certainty = certainty(&fit, &[1.0, 2.0]);
        let squares: f64 = x.iter().zip(y).map(|(x, y)| (1.06 + 1.97 * x - y).powi(2)).sum();
        assert!((certainty.residual_variance - squares / 3.0).abs() < 1e-9);
        // Sxx = 10, mean x^2 = 6: errors sqrt(1/10) and sqrt(6/10), correlation -2/sqrt(6).
        let expected = [0.6f64.sqrt(), 0.1f64.sqrt()];
        for (found, expected) in certainty.errors.iter().zip(expected) {
            assert!((found.unwrap() / expected - 1.0).abs() < 1e-6, "{certainty:?}");
        }
        assert!((certainty.correlations[0][1] + 2.0 / 6f64.sqrt()).abs() < 1e-6);
        assert!(certainty.blind.is_empty());
    }

    /// H. H. Rosenbrock, Comput. J. 3 (1960) 175-184: least 0 at (1, 1) along a bent valley.
    #[test]
    fn rosenbrocks_valley_is_followed() {
        let model = Function(|p: &[f64]| vec![10.0 * (p[1] - p[0] * p[0]), 1.0 - p[0]]);
        let found = fit(&model, &parameters(&[-1.2, 1.0], -5.0, 5.0)).unwrap();
        assert!((found.values[0] - 1.0).abs() < 1e-5 && (found.values[1] - 1.0).abs() < 1e-5, "{found:?}");
        // With x held below 0.5 the least is on that bound: y = 0.25.
        let mut bounded = parameters(&[-1.2, 1.0], -5.0, 5.0);
        bounded[0].high = 0.5;
        let found = fit(&model, &bounded).unwrap();
        assert!(found.values[0] == 0.5 && (found.values[1] - 0.25).abs() < 1e-6, "{found:?}");
        assert_eq!(found.at_bound, [true, false]);
        assert_eq!(certainty(&found, &[1.0, 1.0]).errors[0], None);
    }

    /// Misra1a of the NIST Statistical Reference Datasets (nonlinear regression, lower difficulty): certified
    /// b1 = 2.3894212918e2 (error 2.7070075241), b2 = 5.5015643181e-4 (error 7.2668688436e-6), residual standard
    /// deviation 1.0187876330e-1. From memory of the published table.
    #[test]
    fn a_certified_fit() {
        let y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78];
        let x = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0];
        let model = Function(|p: &[f64]| x.iter().zip(y).map(|(x, y)| p[0] * (1.0 - (-p[1] * x).exp()) - y).collect());
        let start =
            [Parameter { start: 500.0, low: 1.0, high: 1000.0 }, Parameter { start: 1e-4, low: 1e-6, high: 1e-2 }];
        let fit = fit(&model, &start).unwrap();
        assert!((fit.values[0] / 238.942_129_18 - 1.0).abs() < 1e-4, "{fit:?}");
        assert!((fit.values[1] / 5.501_564_318_1e-4 - 1.0).abs() < 1e-4);
        let certainty = certainty(&fit, &[238.9, 5.5e-4]);
        let deviation = certainty.residual_variance.sqrt();
        assert!((deviation / 0.101_878_763_3 - 1.0).abs() < 1e-5, "{deviation}");
        assert!((certainty.errors[0].unwrap() * deviation / 2.707_007_524_1 - 1.0).abs() < 1e-2, "{certainty:?}");
        assert!((certainty.errors[1].unwrap() * deviation / 7.266_868_843_6e-6 - 1.0).abs() < 1e-2);
    }

    /// Only the sum of the first two is told; the third is by itself.
    #[test]
    fn what_the_data_cannot_tell_apart_is_named() {
        let model = Function(|p: &[f64]| (1..9).map(|k| (p[0] + p[1]) * f64::from(k) + p[2] - 3.0).collect());
        let fit = fit(&model, &parameters(&[0.5, 0.5, 0.5], -5.0, 5.0)).unwrap();
        let certainty = certainty(&fit, &[1.0, 1.0, 1.0]);
        assert_eq!(certainty.blind.len(), 1);
        let direction = &certainty.blind[0].direction;
        assert!((direction[0] + direction[1]).abs() < 1e-3 && direction[2].abs() < 1e-3, "{direction:?}");
        assert!(certainty.errors[0].is_none() && certainty.errors[1].is_none() && certainty.errors[2].is_some());
    }

    #[test]
    fn what_cannot_be_computed_is_an_error() {
        let model = Function(|p: &[f64]| vec![(p[0] - 2.0).sqrt(), 1.0]);
        assert_eq!(fit(&model, &parameters(&[0.0], -1.0, 9.0)), Err(FitError::Start("no number")));
        let model = Function(|_: &[f64]| vec![1.0]);
        assert_eq!(fit(&model, &parameters(&[0.0, 0.0], -1.0, 9.0)), Err(FitError::TooFew { data: 1, parameters: 2 }));
    }
}
