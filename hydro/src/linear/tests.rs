//! Against dense Cholesky of nalgebra on random weighted graphs.

use super::*;
use nalgebra::{DMatrix, DVector};
use proptest::prelude::*;

/// Couplings and values of a graph Laplacian plus a positive diagonal, and the same matrix dense.
fn laplacian(n: usize, edges: &[(usize, usize, f64)], ties: &[f64]) -> (Pattern, Vec<f64>, DMatrix<f64>) {
    let couplings: Vec<_> = edges.iter().map(|&(i, j, _)| (i, j)).collect();
    let pattern = Pattern::new(n, &couplings).unwrap();
    let mut values = vec![0.0; pattern.len()];
    let mut dense = DMatrix::zeros(n, n);
    for (e, &(i, j, w)) in edges.iter().enumerate() {
        values[pattern.diagonal(i)] += w;
        values[pattern.diagonal(j)] += w;
        values[pattern.coupling(e)] -= w;
    }
    for (i, &tie) in ties.iter().enumerate() {
        values[pattern.diagonal(i)] += tie;
    }
    for j in 0..n {
        let column = pattern.diagonal(j)..pattern.diagonal(j + 1);
        for (&i, &value) in pattern.rows()[column.clone()].iter().zip(&values[column]) {
            dense[(i as usize, j)] = value;
            dense[(j, i as usize)] = value;
        }
    }
    (pattern, values, dense)
}

/// All ways of factorising, whatever the size: the table with the order of small matrices, the table with faer's, faer always.
fn ways(pattern: &Pattern) -> [Cholesky; 3] {
    let ways = [(usize::MAX, usize::MAX), (0, usize::MAX), (0, 0)];
    ways.map(|(small, limit)| Cholesky::with_limits(pattern, small, |_| limit).unwrap())
}

/// Largest |b - A x| of any row over sqrt(a_ii) sum_j sqrt(a_jj) |x_j| + |b_i|.
fn backward_error(dense: &DMatrix<f64>, x: &[f64], b: &[f64]) -> f64 {
    let (x, b) = (DVector::from_column_slice(x), DVector::from_column_slice(b));
    let root = dense.diagonal().map(f64::sqrt);
    let size = &root * root.dot(&x.abs()) + b.abs();
    (b - dense * x).iter().zip(size.iter()).map(|(r, s)| r.abs() / s).fold(0.0, f64::max)
}

/// Condition number of the matrix scaled to a unit diagonal.
fn scaled_condition(dense: &DMatrix<f64>) -> f64 {
    let root = dense.diagonal().map(f64::sqrt);
    let scaled = dense.zip_map(&(&root * root.transpose()), |a, s| a / s);
    let eigen = scaled.symmetric_eigen().eigenvalues;
    eigen.max() / eigen.min().max(0.0)
}

fn graph() -> impl Strategy<Value = (usize, Vec<(usize, usize, f64)>, Vec<f64>)> {
    (1usize..40).prop_flat_map(|n| {
        let edge = (0..n, 0..n, -12.0..6.0f64).prop_map(|(i, j, p)| (i, j, 10f64.powf(p)));
        (
            Just(n),
            proptest::collection::vec(edge, 0..3 * n)
                .prop_map(|edges| edges.into_iter().filter(|e| e.0 != e.1).collect()),
            proptest::collection::vec((-12.0..6.0f64).prop_map(|p| 10f64.powf(p)), n),
        )
    })
}

proptest! {
    /// Weights over 18 decades, parallel edges and disconnected blocks. With g = (3 n + 1) eps, Cholesky solves
    /// (A + E) x = b with |E| <= g |R^T| |R|, and (|R^T| |R|)_ij <= sqrt(a_ii a_jj); it cannot break down while the
    /// condition of the matrix scaled to a unit diagonal is below 1 / (n g) (Higham, Accuracy and Stability of
    /// Numerical Algorithms, 2nd ed., theorems 10.4 and 10.7, from memory). (n + 2) eps more for the residual.
    #[test]
    fn backward_stable((n, edges, ties) in graph()) {
        let (pattern, values, dense) = laplacian(n, &edges, &ties);
        let b: Vec<f64> = (0..n).map(|i| (i as f64 * 1.7).sin()).collect();
        let bound = (4 * n + 3) as f64 * f64::EPSILON;
        for mut solver in ways(&pattern) {
            if solver.factor(&values).is_ok() {
                let mut x = b.clone();
                solver.solve(&mut x);
                let error = backward_error(&dense, &x, &b);
                prop_assert!(error < bound && x.iter().all(|x| x.is_finite()), "{error:e}");
            } else {
                prop_assert!(scaled_condition(&dense) * n as f64 * bound > 1.0);
            }
        }
    }

    /// Ties at least 1e-3 of the largest weight: solutions agree with the dense one to condition times rounding.
    #[test]
    fn agrees_with_dense((n, edges, ties) in graph()) {
        let largest = edges.iter().map(|e| e.2).fold(1e-12, f64::max);
        let ties: Vec<f64> = ties.iter().map(|t| t.max(1e-3 * largest)).collect();
        let (pattern, values, dense) = laplacian(n, &edges, &ties);
        let b: Vec<f64> = (0..2 * n).map(|i| (i as f64 * 0.9).cos()).collect();
        let cholesky = dense.clone().cholesky().unwrap();
        for mut solver in ways(&pattern) {
            for _ in 0..2 {
                solver.factor(&values).unwrap();
                let mut x = b.clone();
                solver.solve(&mut x);
                for (x, b) in x.chunks(n).zip(b.chunks(n)) {
                    let exact = cholesky.solve(&DVector::from_column_slice(b));
                    let difference = (DVector::from_column_slice(x) - &exact).amax();
                    // Condition of the scaled matrix below 1 + 2 * 3 n / 1e-3 = 2.4e5; rounding 40 eps times that.
                    prop_assert!(difference <= 1e-9 * exact.amax(), "{difference:e} of {:e}", exact.amax());
                }
            }
        }
    }

    /// A negative diagonal in an otherwise decoupled matrix is reported with the caller's row.
    #[test]
    fn names_the_row((n, edges, _) in graph(), pick in 0usize..40) {
        let bad = pick % n;
        let edges: Vec<_> = edges.into_iter().map(|(i, j, _)| (i, j, 0.0)).collect();
        let mut ties = vec![1.0; n];
        for value in [-1.0, 0.0, f64::NAN] {
            ties[bad] = value;
            let (pattern, values, _) = laplacian(n, &edges, &ties);
            for mut solver in ways(&pattern) {
                prop_assert_eq!(solver.factor(&values), Err(NotPositiveDefinite { row: bad }));
            }
        }
    }
}

/// Square grid of `side * side` rows with unit weights, each row tied with weight 0.01.
fn grid(side: usize) -> (usize, Vec<(usize, usize, f64)>, Vec<f64>) {
    let at = |x: usize, y: usize| x + side * y;
    let right = (0..side).flat_map(|y| (1..side).map(move |x| (at(x - 1, y), at(x, y), 1.0)));
    let up = (1..side).flat_map(|y| (0..side).map(move |x| (at(x, y - 1), at(x, y), 1.0)));
    (side * side, right.chain(up).collect(), vec![0.01; side * side])
}

/// The supernodal routine counts pivots another way; a grid of 150 by 150 is large enough to get there.
#[test]
fn names_the_row_of_a_large_matrix() {
    let (n, edges, mut ties) = grid(150);
    let decoupled: Vec<_> = edges.into_iter().map(|(i, j, _)| (i, j, 0.0)).collect();
    for bad in [0, 1234, n - 1] {
        ties.fill(1.0);
        ties[bad] = -1.0;
        let couplings: Vec<_> = decoupled.iter().map(|&(i, j, _)| (i, j)).collect();
        let pattern = Pattern::new(n, &couplings).unwrap();
        let mut values = vec![0.0; pattern.len()];
        (0..n).for_each(|i| values[pattern.diagonal(i)] = ties[i]);
        let mut solver = Cholesky::new(&pattern).unwrap();
        assert!(format!("{solver:?}").contains("Supernodal"));
        assert_eq!(solver.factor(&values), Err(NotPositiveDefinite { row: bad }));
    }
}

/// Manufactured solution on a grid that the supernodal routine takes; a clone gives the same bits.
#[test]
fn recovers_a_known_solution_on_a_grid() {
    let (n, edges, ties) = grid(150);
    let couplings: Vec<_> = edges.iter().map(|&(i, j, _)| (i, j)).collect();
    let pattern = Pattern::new(n, &couplings).unwrap();
    let mut values = vec![0.0; pattern.len()];
    for (e, &(i, j, w)) in edges.iter().enumerate() {
        values[pattern.diagonal(i)] += w;
        values[pattern.diagonal(j)] += w;
        values[pattern.coupling(e)] -= w;
    }
    (0..n).for_each(|i| values[pattern.diagonal(i)] += ties[i]);
    let exact: Vec<f64> = (0..n).map(|i| (i as f64).sin()).collect();
    let mut b = vec![0.0; n];
    pattern.multiply(&values, &exact, &mut b);
    let mut solver = Cholesky::new(&pattern).unwrap();
    solver.factor(&values).unwrap();
    let mut twin = solver.clone();
    let mut x = b.clone();
    solver.solve(&mut x);
    // Condition number below 8 / 0.01.
    assert!(x.iter().zip(&exact).all(|(x, e)| (x - e).abs() < 1e-12));
    twin.solve(&mut b);
    assert_eq!(x, b);
}

#[test]
fn empty_and_single() {
    for mut solver in ways(&Pattern::new(0, &[]).unwrap()) {
        solver.factor(&[]).unwrap();
        solver.solve(&mut []);
    }
    for mut solver in ways(&Pattern::new(1, &[]).unwrap()) {
        solver.factor(&[4.0]).unwrap();
        let mut x = [2.0, 6.0];
        solver.solve(&mut x);
        assert_eq!(x, [0.5, 1.5]);
        assert_eq!(solver.factor(&[f64::INFINITY]), Err(NotPositiveDefinite { row: 0 }));
    }
}

#[test]
fn wrong_couplings_are_refused() {
    let out = PatternError::OutOfRange { index: 1, row: 0, col: 3, n: 3 };
    assert_eq!(Pattern::new(3, &[(0, 1), (0, 3)]), Err(out));
    assert_eq!(Pattern::new(3, &[(1, 1)]), Err(PatternError::OnDiagonal { index: 0, row: 1 }));
    assert_eq!(Pattern::new(usize::MAX, &[]), Err(PatternError::TooLarge { n: usize::MAX, couplings: 0 }));
}

#[test]
fn parallel_couplings_share_a_slot() {
    let pattern = Pattern::new(4, &[(3, 1), (0, 2), (1, 3), (1, 3), (2, 1)]).unwrap();
    assert_eq!(pattern.len(), 4 + 3);
    let slots: Vec<usize> = (0..5).map(|e| pattern.coupling(e)).collect();
    assert_eq!(slots, [4, 1, 4, 4, 3]);
    assert_eq!((0..=4).map(|i| pattern.diagonal(i)).collect::<Vec<_>>(), [0, 2, 5, 6, 7]);
}
