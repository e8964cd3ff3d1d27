//! Against the LU of nalgebra on matrices of all sorts of patterns.

use super::*;
use nalgebra::DVector;

/// Numbers from 0 to 1, from a linear congruential generator (the multiplier and increment of Knuth's MMIX).
fn numbers(mut state: u64) -> impl FnMut() -> f64 {
    move || {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 11) as f64 / (1_u64 << 53) as f64
    }
}

/// Puts a number from 1e-3 to 1e3, or less than nothing, at any place.
fn put(a: &mut DMatrix<f64>, n: usize, number: &mut impl FnMut() -> f64) {
    let [i, j] = [0; 2].map(|_| (n as f64 * number()) as usize);
    let sign = if number() < 0.5 { -1.0 } else { 1.0 };
    a[(i, j)] = sign * 10f64.powf(6.0 * number() - 3.0);
}

/// Matrices of up to three numbers a row, few enough that blocks fall apart, and after each of them others that have changed,
/// gained or lost some, with the same plan or a new one. What is solved leaves no more over than rounding does: elimination with
/// factors up to 100 solves `(A + E) x = b` with E within n times rounding of the product of the factors (Higham, Accuracy and
/// Stability of Numerical Algorithms, 2nd ed., theorem 9.3, from memory); 1e-10 leaves them room to be 3e4 times the size of A.
#[test]
fn solves() {
    let mut number = numbers(1);
    let mut singular = 0;
    for round in 0..2000 {
        let n = 1 + round % 30;
        // Rows and columns behind those that count are not looked at.
        let mut a = DMatrix::from_element(n + 2, n + 1, f64::NAN);
        a.view_mut((0, 0), (n, n)).fill(0.0);
        (0..(3.0 * n as f64 * number()) as usize).for_each(|_| put(&mut a, n, &mut number));
        let mut lu = Lu::new(n);
        for _ in 0..4 {
            let whole = DMatrix::identity(n, n) - 0.5 * a.view((0, 0), (n, n));
            let b = DVector::from_fn(n, |i, _| (1.7 * i as f64).sin() + 1.1);
            let smallest = whole.clone().svd(false, false).singular_values.min() / whole.norm();
            if lu.factor(0.5, &a) {
                let mut x = b.clone();
                lu.solve(x.as_mut_slice());
                let size = whole.abs().max() * x.abs().max() + b.abs().max();
                let left = (&whole * &x - &b).abs().max() / size;
                assert!(left < 1e-10, "{left:e} left over by {whole}");
                if smallest > 1e-8 {
                    let other = whole.clone().lu().solve(&b).unwrap();
                    assert!((&other - &x).norm() <= 1e-6 * x.norm(), "{other} for {x}");
                }
            } else {
                singular += 1;
                assert!(smallest < 1e-10, "{smallest:e} of {whole}");
            }
            put(&mut a, n, &mut number);
            let [i, j] = [0; 2].map(|_| (n as f64 * number()) as usize);
            a[(i, j)] *= (4.0 * number() - 2.0).powi(3);
            a[(j, i)] = 0.0;
        }
    }
    assert!(singular < 800, "{singular} of 8000 taken for singular");
}

/// Rows have to change places where the diagonal is zero, and more numbers than a byte tells apart are solved for as well.
#[test]
fn exchanges_and_large() {
    for n in [2, 30, 300] {
        // I - A is the matrix of a circle: each row its neighbour, and the last column closes it.
        let a = DMatrix::from_fn(n, n, |i, j| {
            f64::from(u8::from(i == j)) - f64::from(u8::from((i + 1) % n == j)) * (1.0 + i as f64)
        });
        let mut lu = Lu::new(n);
        assert!(lu.factor(1.0, &a));
        let mut x: Vec<f64> = (0..n).map(|i| i as f64).collect();
        lu.solve(&mut x);
        for i in 0..n {
            assert!((x[(i + 1) % n] * (1.0 + i as f64) - i as f64).abs() < 1e-12, "{i} of {n}: {x:?}");
        }
    }
}

#[test]
fn singular_or_not_finite() {
    let mut lu = Lu::new(2);
    assert!(lu.factor(1.0, &DMatrix::zeros(2, 2)));
    for entries in
        [[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 1.0, 0.0], [0.0, f64::NAN, 0.0, 0.0], [0.0, 0.0, f64::INFINITY, 0.0]]
    {
        assert!(!lu.factor(1.0, &DMatrix::from_row_slice(2, 2, &entries)), "{entries:?}");
    }
    assert!(lu.factor(1.0, &DMatrix::from_row_slice(2, 2, &[0.0, 0.5, 0.5, 0.0])));
    let mut x = [1.0, 1.0];
    lu.solve(&mut x);
    assert!(x.iter().all(|x| (x - 2.0).abs() < 1e-15), "{x:?}");
}
