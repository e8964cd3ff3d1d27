//! The part of a Newton step that corrections have, by GMRES over the corrections.

use super::NetworkEquations;

/// Size of the residual, beside that of the right-hand side, at which the corrections of a step are found.
const FOUND: f64 = 1e-11;

/// Most vectors of the Krylov space, and most numbers in all of them.
const MOST: usize = 150;
const MOST_NUMBERS: usize = 30_000_000;

/// Finds the changes g of the corrections with `g = T g + t`: `step` holds the step with the corrections of the base
/// and ends as the whole step. `core` solves with the symmetric matrix and the one-sided couplings.
///
/// `t` is how the corrections answer to the step that leaves them as they are, `T g` how they answer to what their own
/// changes do to the flows. GMRES over g needs one solve a vector and ends, but for rounding, after as many vectors as
/// there are corrections; where the flows answer little to the corrections it ends after few. Where [`MOST`] vectors do
/// not suffice the best step within them is taken, and the search along it judges.
///
/// Source: Y. Saad, M. H. Schultz, SIAM J. Sci. Stat. Comput. 7 (1986) 856.
pub(super) fn couple<E: NetworkEquations>(equations: &mut E, step: &mut [f64], core: &mut dyn FnMut(&E, &mut [f64])) {
    let m = equations.corrections();
    if m == 0 {
        return;
    }
    let mut answer = vec![0.0; m];
    equations.respond(step, None, &mut answer);
    let size = norm(&answer);
    if size == 0.0 || !size.is_finite() {
        equations.correct(&answer);
        return;
    }
    let mut heads = vec![0.0; step.len()];
    let mut basis: Vec<Vec<f64>> = vec![answer.iter().map(|x| x / size).collect()];
    // Columns of the triangular matrix, the rotations that made it so, and the rotated right-hand side.
    let (mut columns, mut rotations, mut rhs) = (Vec::<Vec<f64>>::new(), Vec::<[f64; 2]>::new(), vec![size]);
    for k in 0..m.min(MOST).min(MOST_NUMBERS.div_ceil(m)) {
        heads.fill(0.0);
        equations.spread(&basis[k], &mut heads);
        core(equations, &mut heads);
        equations.respond(&heads, Some(&basis[k]), &mut answer);
        let mut next: Vec<f64> = basis[k].iter().zip(&answer).map(|(g, answer)| g - answer).collect();
        let mut column = vec![0.0; k + 2];
        // Gram and Schmidt twice: once loses what rounding of a nearly dependent vector leaves.
        for _ in 0..2 {
            for (h, v) in column.iter_mut().zip(&basis) {
                let along: f64 = v.iter().zip(&next).map(|(v, n)| v * n).sum();
                *h += along;
                next.iter_mut().zip(v).for_each(|(n, v)| *n -= along * v);
            }
        }
        let rest = norm(&next);
        column[k + 1] = rest;
        for (j, [c, s]) in rotations.iter().enumerate() {
            let (a, b) = (column[j], column[j + 1]);
            (column[j], column[j + 1]) = (c * a + s * b, c * b - s * a);
        }
        let r = column[k].hypot(column[k + 1]);
        if r == 0.0 || !r.is_finite() {
            break;
        }
        let [c, s] = [column[k] / r, column[k + 1] / r];
        column[k] = r;
        rotations.push([c, s]);
        columns.push(column);
        let last = rhs[k];
        rhs[k] = c * last;
        rhs.push(-s * last);
        if (s * last).abs() <= FOUND * size || rest <= f64::EPSILON * r {
            break;
        }
        next.iter_mut().for_each(|n| *n /= rest);
        basis.push(next);
    }
    let mut changes = vec![0.0; m];
    for k in (0..columns.len()).rev() {
        let weight = rhs[k] / columns[k][k];
        for (value, column) in rhs[..k].iter_mut().zip(&columns[k]) {
            *value -= weight * column;
        }
        changes.iter_mut().zip(&basis[k]).for_each(|(change, v)| *change += weight * v);
    }
    heads.fill(0.0);
    equations.spread(&changes, &mut heads);
    core(equations, &mut heads);
    step.iter_mut().zip(&heads).for_each(|(step, head)| *step += head);
    equations.correct(&changes);
}

fn norm(x: &[f64]) -> f64 {
    x.iter().map(|x| x * x).sum::<f64>().sqrt()
}
