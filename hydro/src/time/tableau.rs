//! Coefficients of linearly implicit methods.
//!
//! A method is known by `a_ij`, `g_ij` (`g_ii = g`) and `b_i`; for the form without products with the Jacobian, u = G k, they
//! become `A G^-1`, `I/g - G^-1` and `b G^-1` (Hairer, Wanner, Solving ODEs II, 2nd ed., section IV.7).

use super::near::Mix;
use nalgebra::{DMatrix, DVector, SMatrix};

/// Share of the difference to the embedded solution of RODAS that counts as the error. It is the error of that one, of order 3,
/// and beyond that of the solution kept, of order 4; `docs/theory/integration.md` says what comes of it.
const ESTIMATED: f64 = 0.15;

/// Coefficients of a method, in the form that [`super::rosenbrock`] gives.
#[derive(Debug, Clone)]
pub(super) struct Tableau {
    pub(super) gamma: f64,
    /// Strictly lower `a_ij` and `c_ij`, row by row.
    pub(super) a: Vec<Vec<f64>>,
    pub(super) c: Vec<Vec<f64>>,
    /// Times of the stages, as shares of the step, and weights of the slope with time.
    pub(super) times: Vec<f64>,
    pub(super) slopes: Vec<f64>,
    /// Weights of the solution, and of its difference to the embedded one.
    pub(super) ends: Vec<f64>,
    pub(super) errors: Vec<f64>,
    /// Weights of the second and third coefficient of the solution inside the step, in the form of
    /// [`DenseStep`](super::DenseStep); where there are none, it is the cubic through both ends and their slopes.
    pub(super) inside: Option<[Vec<f64>; 2]>,
    /// Of each stage, and of the end of the step: the share of the step by which the change with time of unknowns of a system's own
    /// counts, and the shares of what they have changed by in their coefficients inside; empty where they are not taken along.
    pub(super) mixes: Vec<(f64, [f64; 2])>,
    /// Order of the embedded solution plus one.
    pub(super) error_power: f64,
    /// Whether the order holds for any Jacobian, so that one may be kept over several steps.
    pub(super) any_jacobian: bool,
}

impl Tableau {
    /// Number of stages.
    pub(super) fn stages(&self) -> usize {
        self.times.len()
    }

    /// ROS34PW2: four stages, order 3(2), stiffly accurate, L-stable. Its order holds for any Jacobian and any slope with time.
    ///
    /// Rang and Angermann, BIT Numer. Math. 45 (2005) 761-787. Coefficients from memory, held to all order conditions, those
    /// for an arbitrary Jacobian included, by a test.
    pub(super) fn ros34pw2() -> Self {
        const GAMMA: f64 = 4.358_665_215_084_59e-1;
        let [a, g, b, embedded] = ros34pw2_given();
        let inverse = g.try_inverse().unwrap_or_else(SMatrix::identity);
        let (a_new, c) = (a * inverse, SMatrix::<f64, 4, 4>::identity() / GAMMA - inverse);
        let (ends, hat) = (b * inverse, embedded * inverse);
        let rows = |m: SMatrix<f64, 4, 4>| (0..4).map(|i| (0..i).map(|j| m[(i, j)]).collect()).collect();
        Tableau {
            gamma: GAMMA,
            a: rows(a_new),
            c: rows(c),
            times: (0..4).map(|i| a.row(i).sum()).collect(),
            slopes: (0..4).map(|i| g.row(i).sum()).collect(),
            ends: ends.row(0).iter().copied().collect(),
            errors: (ends - hat).row(0).iter().copied().collect(),
            inside: None,
            mixes: Vec::new(),
            error_power: 3.0,
            any_jacobian: true,
        }
    }

    /// RODAS: six stages, order 4(3), stiffly accurate, L-stable, for the exact Jacobian. The solution inside the step, of order
    /// 3, takes no slopes, which of a stiff component are those of its errors.
    ///
    /// Hairer and Wanner, Solving ODEs II, 2nd ed., section IV.10 and VI.4. Coefficients from memory, held to all order
    /// conditions by a test.
    pub(super) fn rodas() -> Self {
        let last = [1.221_224_509_226_641, 6.019_134_481_288_629, 12.537_083_329_320_87, -0.687_886_036_105_895];
        let then = |more: &[f64]| [&last, more].concat();
        let tableau = Tableau {
            gamma: 0.25,
            a: vec![
                vec![],
                vec![1.544],
                vec![0.946_678_528_081_582_6, 0.255_701_169_898_328_4],
                vec![3.314_825_187_068_521, 2.896_124_015_972_201, 0.998_641_913_997_781_7],
                last.to_vec(),
                then(&[1.0]),
            ],
            c: vec![
                vec![],
                vec![-5.6688],
                vec![-2.430_093_356_833_875, -0.206_359_915_709_191_5],
                vec![-0.107_352_905_815_137_5, -9.594_562_251_023_355, -20.470_286_148_096_16],
                vec![7.496_443_313_967_647, -10.246_804_314_643_52, -33.999_903_528_199_05, 11.708_908_932_061_6],
                vec![
                    8.083_246_795_921_522,
                    -7.981_132_988_064_893,
                    -31.521_594_328_743_71,
                    16.319_305_431_231_36,
                    -6.058_818_238_834_054,
                ],
            ],
            times: vec![0.0, 0.386, 0.21, 0.63, 1.0, 1.0],
            slopes: vec![0.25, -0.1043, 0.1035, -0.036_200_000_000_000_23, 0.0, 0.0],
            ends: then(&[1.0, 1.0]),
            errors: vec![0.0, 0.0, 0.0, 0.0, 0.0, ESTIMATED],
            inside: Some([
                vec![
                    10.126_235_083_445_86,
                    -7.487_995_877_610_167,
                    -34.800_918_615_557_47,
                    -7.992_771_707_568_823,
                    1.025_137_723_295_662,
                ],
                vec![
                    -0.676_280_339_280_125_3,
                    6.087_714_651_680_015,
                    16.430_843_208_924_78,
                    24.767_225_114_183_86,
                    -6.594_389_125_716_872,
                ],
            ]),
            mixes: Vec::new(),
            error_power: 4.0,
            any_jacobian: false,
        };
        Tableau { mixes: tableau.mixed(), ..tableau }
    }

    /// How unknowns of a system's own follow from the stages before one, or those of the whole step at its end.
    pub(super) fn mix(&self, stage: usize, h: f64) -> Option<Mix<'_>> {
        let &(later, inside) = self.mixes.get(stage)?;
        Some(Mix { weights: self.a.get(stage).unwrap_or(&self.ends), later: h * later, inside })
    }

    /// What [`Self::mixes`] are: `sum_j w_j g_j`; and as `Z_i - z = sum_j<i a_ij u_j` of the stages behind the first gives all
    /// u but the last, the weights of these inside the step become weights of those.
    fn mixed(&self) -> Vec<(f64, [f64; 2])> {
        let Some(inside) = &self.inside else { return Vec::new() };
        let rows = self.a.iter().chain([&self.ends]);
        let later = rows.map(|row| row.iter().zip(&self.slopes).map(|(w, slope)| w * slope).sum());
        let n = self.stages() - 1;
        let steps = DMatrix::from_fn(n, n, |i, j| self.a[i + 1].get(j).copied().unwrap_or(0.0));
        let shares = inside.each_ref().map(|weights| {
            let weights = DVector::from_fn(n, |j, _| weights.get(j).copied().unwrap_or(0.0));
            steps.transpose().solve_upper_triangular(&weights).unwrap_or_else(|| DVector::zeros(n))
        });
        // The start of the step and its end have no part in it.
        let share = |k: usize| shares.each_ref().map(|shares| if (1..=n).contains(&k) { shares[k - 1] } else { 0.0 });
        later.enumerate().map(|(k, later)| (later, share(k))).collect()
    }
}

/// `a_ij`, `g_ij`, and in their first rows `b_i` and those of the embedded solution, of ROS34PW2 as published.
fn ros34pw2_given() -> [SMatrix<f64, 4, 4>; 4] {
    const G: f64 = 4.358_665_215_084_59e-1;
    let a = [
        [0.0; 4],
        [8.717_330_430_169_18e-1, 0.0, 0.0, 0.0],
        [8.445_706_001_536_942e-1, -1.129_906_423_648_418_5e-1, 0.0, 0.0],
        [0.0, 0.0, 1.0, 0.0],
    ];
    let g = [
        [G, 0.0, 0.0, 0.0],
        [-8.717_330_430_169_18e-1, G, 0.0, 0.0],
        [-9.033_805_701_304_408e-1, 5.418_067_238_809_533e-2, G, 0.0],
        [2.421_238_070_609_534_6e-1, -1.223_250_583_904_514_7, 5.452_602_553_351_021e-1, G],
    ];
    let b = [2.421_238_070_609_534_6e-1, -1.223_250_583_904_514_7, 1.545_260_255_335_102, G];
    let embedded = [3.781_090_314_581_937e-1, -9.604_229_221_242_318e-2, 0.5, 2.179_332_607_542_295e-1];
    let alone = |row: [f64; 4]| [row, [0.0; 4], [0.0; 4], [0.0; 4]];
    [a, g, alone(b), alone(embedded)].map(|rows| SMatrix::from_fn(|i, j| rows[i][j]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::{DMatrix, DVector};

    /// `a_ij`, `g_ij`, `b_i` and those of the embedded solution, back from the form they are used in.
    fn given(tableau: &Tableau) -> (DMatrix<f64>, DMatrix<f64>, [DVector<f64>; 2]) {
        let n = tableau.stages();
        let lower = |rows: &[Vec<f64>]| DMatrix::from_fn(n, n, |i, j| rows[i].get(j).copied().unwrap_or(0.0));
        let inverse = DMatrix::identity(n, n) / tableau.gamma - lower(&tableau.c);
        let g = inverse.try_inverse().unwrap();
        let weights = |ends: DVector<f64>| g.transpose() * ends;
        let (ends, errors) = (tableau.ends.clone(), tableau.errors.clone());
        let (ends, errors) = (DVector::from_vec(ends), DVector::from_vec(errors));
        (lower(&tableau.a) * &g, g.clone(), [weights(ends.clone()), weights(ends - errors)])
    }

    /// Times and weights of the slope with time are the sums of the rows; the solution is the last stage.
    #[test]
    fn rows_and_last_stage() {
        for tableau in [Tableau::ros34pw2(), Tableau::rodas()] {
            let (a, g, [b, _]) = given(&tableau);
            for i in 0..tableau.stages() {
                assert!((a.row(i).sum() - tableau.times[i]).abs() < 1e-13);
                assert!((g.row(i).sum() - tableau.slopes[i]).abs() < 1e-13);
                let last = tableau.stages() - 1;
                assert!((a[(last, i)] + g[(last, i)] - b[i]).abs() < 1e-13);
            }
        }
    }

    /// Conditions of order 4 (solution) and 3 (embedded) of Rosenbrock methods with the exact Jacobian, with `b_ij = a_ij +
    /// g_ij` (Hairer, Wanner, section IV.7, table 7.1, from memory). The embedded solution is not of order 4.
    #[test]
    fn order_of_rodas() {
        let tableau = Tableau::rodas();
        let (a, g, [b, embedded]) = given(&tableau);
        let beta = &a + &g;
        let one = DVector::from_element(tableau.stages(), 1.0);
        let (a_sum, b_sum) = (&a * &one, &beta * &one);
        let of_three = |b: &DVector<f64>| {
            [
                (b.sum(), 1.0),
                (b.dot(&b_sum), 1.0 / 2.0),
                (b.dot(&a_sum.map(|x| x * x)), 1.0 / 3.0),
                (b.dot(&(&beta * &b_sum)), 1.0 / 6.0),
            ]
        };
        let of_four = |b: &DVector<f64>| {
            [
                (b.dot(&a_sum.map(|x| x.powi(3))), 1.0 / 4.0),
                (b.dot(&a_sum.component_mul(&(&a * &b_sum))), 1.0 / 8.0),
                (b.dot(&(&beta * a_sum.map(|x| x * x))), 1.0 / 12.0),
                (b.dot(&(&beta * (&beta * &b_sum))), 1.0 / 24.0),
            ]
        };
        let embedded = &b - (&b - embedded) / ESTIMATED;
        for (value, wanted) in of_three(&b).into_iter().chain(of_four(&b)).chain(of_three(&embedded)) {
            assert!((value - wanted).abs() < 1e-12, "{value} {wanted}");
        }
        assert!(of_four(&embedded).iter().any(|(value, wanted)| (value - wanted).abs() > 1e-3));
    }

    /// Conditions of order 3 (solution) and 2 (embedded) of W-methods: those of Runge-Kutta methods for `a_ij`, and every term
    /// in which some `a_ij` is replaced by `g_ij` vanishes (Hairer, Wanner, section IV.7, from memory).
    #[test]
    fn order_of_ros34pw2() {
        let (a, g, [b, embedded]) = given(&Tableau::ros34pw2());
        let one = DVector::from_element(4, 1.0);
        let (a_sum, g_sum) = (&a * &one, &g * &one);
        for b in [&b, &embedded] {
            for (value, wanted) in [(b.sum(), 1.0), (b.dot(&a_sum), 0.5), (b.dot(&g_sum), 0.0)] {
                assert!((value - wanted).abs() < 1e-13);
            }
        }
        let third = [
            (b.dot(&a_sum.map(|a| a * a)), 1.0 / 3.0),
            (b.dot(&(&a * &a_sum)), 1.0 / 6.0),
            (b.dot(&(&a * &g_sum)), 0.0),
            (b.dot(&(&g * &a_sum)), 0.0),
            (b.dot(&(&g * &g_sum)), 0.0),
        ];
        for (value, wanted) in third {
            assert!((value - wanted).abs() < 1e-13);
        }
        // The embedded solution is not of order 3, or there were no error estimate.
        assert!((embedded.dot(&(&a * &a_sum)) - 1.0 / 6.0).abs() > 1e-2);
    }
}
