//! Linear equations that cannot all hold: the unknowns with which the worst of them is missed by least (Chebyshev's
//! criterion).
//!
//! The dual simplex method on the linear program "least h with |right side - row · x| ≤ h for every row". Any set of one
//! row more than there are unknowns bounds h from below; each step exchanges one row of the set for the row that is missed
//! by most, which raises the bound, until no row is missed by more. Source: textbook (Stiefel's exchange method).

/// The most unknowns.
const MOST: usize = 4;
type Matrix = [[f64; MOST + 1]; MOST + 1];

/// Steps after which the bound is taken as it is.
const MOST_STEPS: usize = 60;
/// A row missed by so little more than the bound does not count.
const NEAR: f64 = 1e-6;

/// The answer.
#[derive(Debug, Clone, Copy)]
pub(super) struct WorstFit<const N: usize> {
    /// The unknowns.
    pub x: [f64; N],
    /// No unknowns miss every row by less than this.
    pub least: f64,
}

/// Solves the equations. `chosen` names N + 1 different rows to start with, and the last set afterwards; `None` where
/// these do not determine the unknowns. Once the bound is over `enough`, it is given as it is.
pub(super) fn worst_fit<const N: usize>(
    rows: &[[f64; N]],
    right: &[f64],
    chosen: &mut [usize],
    enough: f64,
) -> Option<WorstFit<N>> {
    let size = N + 1;
    // Any weights do, as long as they do not happen to cancel.
    let mut signs = [1.0; MOST + 1];
    let mut weighted = columns(rows, chosen, &signs);
    weighted[N] = [1.0, 1.37, 0.71, 1.93, 0.57];
    let inverse = invert(size, &weighted)?;
    for i in 0..size {
        signs[i] = if inverse[i][N] < 0.0 { -1.0 } else { 1.0 };
    }
    let mut inverse = invert(size, &columns(rows, chosen, &signs))?;
    for step in 0.. {
        let (x, least) = unknowns::<N>(&inverse, right, chosen, &signs);
        let (entering, missed) = worst_row(rows, right, &x);
        if missed.abs() <= least + NEAR || least > enough || step == MOST_STEPS {
            return Some(WorstFit { x, least });
        }
        let sign = missed.signum();
        let mut column = [1.0; MOST + 1];
        for k in 0..N {
            column[k] = sign * rows[entering][k];
        }
        let change: [f64; MOST + 1] =
            std::array::from_fn(|i| (0..size).map(|j| inverse[i][j] * column[j]).sum::<f64>());
        let ratio = |i: usize| inverse[i][N].max(0.0) / change[i];
        let leaving = (0..size).filter(|&i| change[i] > 1e-12).min_by(|&i, &j| ratio(i).total_cmp(&ratio(j)));
        let Some(leaving) = leaving else { return Some(WorstFit { x, least }) };
        for value in &mut inverse[leaving] {
            *value /= change[leaving];
        }
        let pivot = inverse[leaving];
        for i in (0..size).filter(|&i| i != leaving) {
            for j in 0..size {
                inverse[i][j] -= change[i] * pivot[j];
            }
        }
        (chosen[leaving], signs[leaving]) = (entering, sign);
    }
    None
}

/// Each chosen row with its sign and a one below, as a column.
fn columns<const N: usize>(rows: &[[f64; N]], chosen: &[usize], signs: &[f64; MOST + 1]) -> Matrix {
    let mut matrix = [[1.0; MOST + 1]; MOST + 1];
    for (i, &row) in chosen.iter().enumerate().take(N + 1) {
        for k in 0..N {
            matrix[k][i] = signs[i] * rows[row][k];
        }
    }
    matrix
}

/// The unknowns with which the chosen rows are all missed by the same, and by how much.
fn unknowns<const N: usize>(
    inverse: &Matrix,
    right: &[f64],
    chosen: &[usize],
    signs: &[f64; MOST + 1],
) -> ([f64; N], f64) {
    let of = |k: usize| (0..=N).map(|i| signs[i] * right[chosen[i]] * inverse[i][k]).sum::<f64>();
    (std::array::from_fn(of), of(N))
}

/// The row that is missed by most, and by how much.
fn worst_row<const N: usize>(rows: &[[f64; N]], right: &[f64], x: &[f64; N]) -> (usize, f64) {
    let mut worst = (0, 0.0_f64);
    for (index, (row, right)) in rows.iter().zip(right).enumerate() {
        let missed = right - (0..N).map(|k| row[k] * x[k]).sum::<f64>();
        if missed.abs() > worst.1.abs() {
            worst = (index, missed);
        }
    }
    worst
}

/// Gauss and Jordan, with the largest pivot.
fn invert(size: usize, matrix: &Matrix) -> Option<Matrix> {
    let (mut left, mut inverse) = (*matrix, [[0.0; MOST + 1]; MOST + 1]);
    for (i, row) in inverse.iter_mut().enumerate() {
        row[i] = 1.0;
    }
    for column in 0..size {
        let largest = (column..size).max_by(|&i, &j| left[i][column].abs().total_cmp(&left[j][column].abs()))?;
        if left[largest][column].abs() < 1e-9 {
            return None;
        }
        left.swap(column, largest);
        inverse.swap(column, largest);
        let pivot = left[column][column];
        for j in 0..size {
            left[column][j] /= pivot;
            inverse[column][j] /= pivot;
        }
        let (above, above_inverse) = (left[column], inverse[column]);
        for i in (0..size).filter(|&i| i != column) {
            let share = left[i][column];
            for j in 0..size {
                left[i][j] -= share * above[j];
                inverse[i][j] -= share * above_inverse[j];
            }
        }
    }
    Some(inverse)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_line_through_three_points() {
        // y = 0, 1, 0 at x = -1, 0, 1: the best line is y = 1/2, missed by 1/2 everywhere (textbook).
        let rows = [[1.0, -1.0], [1.0, 0.0], [1.0, 1.0]];
        let fit = worst_fit(&rows, &[0.0, 1.0, 0.0], &mut [0, 1, 2], f64::INFINITY).unwrap();
        assert!((fit.least - 0.5).abs() < 1e-12 && (fit.x[0] - 0.5).abs() < 1e-12 && fit.x[1].abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn nothing_near_the_answer_is_better(
            rows in prop::collection::vec(prop::array::uniform3(-1.0..1.0_f64), 12..80), seed in -1.0..1.0_f64,
            steps in prop::collection::vec(prop::array::uniform3(-0.3..0.3_f64), 40),
        ) {
            let right: Vec<f64> = (0..rows.len()).map(|i| (seed + i as f64 * 1.7).sin()).collect();
            if let Some(fit) = worst_fit(&rows, &right, &mut [0, 1, 2, 3], f64::INFINITY) {
                let missed = |x: &[f64; 3]| worst_row(&rows, &right, x).1.abs();
                prop_assert!((missed(&fit.x) - fit.least).abs() < 1e-5, "{} {}", missed(&fit.x), fit.least);
                for step in steps {
                    let x = std::array::from_fn(|k| fit.x[k] + step[k]);
                    prop_assert!(missed(&x) >= fit.least - 1e-9);
                }
            }
        }
    }
}
