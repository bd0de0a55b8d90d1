//! Linear equations that cannot all hold: the unknowns with which the worst of them is missed by least (Chebyshev's
//! criterion).
//!
//! The dual simplex method on the linear program "least h with |right side - row · x| ≤ h for every row". Any set of one
//! row more than there are unknowns bounds h from below; each step exchanges one row of the set for the row that is missed
//! by most, which raises the bound, until no row is missed by more. Source: textbook (Stiefel's exchange method).

/// The most unknowns.
const MOST: usize = 4;
type Matrix = [[f64; MOST + 1]; MOST + 1];

/// The rows of a basis; of fewer unknowns, the first ones count.
pub(super) type BasisRows = [usize; MOST + 1];

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

/// The equations, by the column of each unknown: row i is `columns[0][i] * x[0] + ... = right[i]`.
#[derive(Debug, Clone, Copy)]
pub(super) struct Equations<'a, const N: usize> {
    pub columns: [&'a [f64]; N],
    pub right: &'a [f64],
}

/// Exchanges after which a basis is computed afresh, so that rounding does not add up.
const MOST_EXCHANGES: usize = 100;

/// N + 1 rows that bound the miss from below. A basis is good for every right side of the same columns, so the last one of
/// a problem is where the next begins.
#[derive(Debug, Clone, Copy)]
pub(super) struct Basis<const N: usize> {
    chosen: BasisRows,
    signs: [f64; MOST + 1],
    inverse: Matrix,
    exchanges: usize,
}

impl<const N: usize> Basis<N> {
    /// From N + 1 different rows; `None` where these do not determine the unknowns.
    pub fn new(equations: &Equations<N>, rows: BasisRows) -> Option<Self> {
        // Any weights do, as long as they do not happen to cancel.
        let mut signs = [1.0; MOST + 1];
        let mut weighted = columns(equations, &rows, &signs);
        weighted[N] = [1.0, 1.37, 0.71, 1.93, 0.57];
        let inverse = invert(N + 1, &weighted)?;
        for i in 0..=N {
            signs[i] = if inverse[i][N] < 0.0 { -1.0 } else { 1.0 };
        }
        let inverse = invert(N + 1, &columns(equations, &rows, &signs))?;
        Some(Self { chosen: rows, signs, inverse, exchanges: 0 })
    }

    /// Solves the equations from this basis on, and leaves the last one. Once the bound is over `enough`, it is given as it
    /// is.
    pub fn fit(&mut self, equations: &Equations<N>, enough: f64) -> WorstFit<N> {
        if self.exchanges > MOST_EXCHANGES
            && let Some(inverse) = invert(N + 1, &columns(equations, &self.chosen, &self.signs))
        {
            (self.inverse, self.exchanges) = (inverse, 0);
        }
        let mut step = 0;
        loop {
            let mut fit = self.unknowns(equations.right);
            if fit.least < 0.0 {
                self.turn_over();
                fit.least = -fit.least;
            }
            if fit.least > enough || step == MOST_STEPS {
                return fit;
            }
            let (entering, missed) = worst_row(equations, &fit.x);
            if missed.abs() <= fit.least + NEAR || !self.exchange(equations, entering, missed.signum()) {
                return fit;
            }
            step += 1;
        }
    }

    pub fn rows(&self) -> BasisRows {
        self.chosen
    }

    /// What some row is missed by at least, whatever the unknowns.
    pub fn bound(&self, right: impl Fn(usize) -> f64) -> f64 {
        (0..=N).map(|i| self.signs[i] * right(self.chosen[i]) * self.inverse[i][N]).sum::<f64>().abs()
    }

    /// The unknowns with which the chosen rows are all missed by the same, and by how much.
    fn unknowns(&self, right: &[f64]) -> WorstFit<N> {
        let right: [f64; MOST + 1] =
            std::array::from_fn(|i| if i <= N { self.signs[i] * right[self.chosen[i]] } else { 0.0 });
        let of = |k: usize| (0..=N).map(|i| right[i] * self.inverse[i][k]).sum::<f64>();
        WorstFit { x: std::array::from_fn(of), least: of(N) }
    }

    /// The same rows, missed to the other side.
    fn turn_over(&mut self) {
        for i in 0..=N {
            self.signs[i] = -self.signs[i];
            for k in 0..N {
                self.inverse[i][k] = -self.inverse[i][k];
            }
        }
    }

    /// Takes a row in for one of the others; `false` where none can leave.
    fn exchange(&mut self, equations: &Equations<N>, entering: usize, sign: f64) -> bool {
        let mut column = [1.0; MOST + 1];
        for (own, rows) in column.iter_mut().zip(&equations.columns) {
            *own = sign * rows[entering];
        }
        let mut change = [0.0; MOST + 1];
        for (own, row) in change.iter_mut().zip(&self.inverse).take(N + 1) {
            *own = (0..=N).map(|j| row[j] * column[j]).sum();
        }
        let ratio = |i: usize| self.inverse[i][N].max(0.0) / change[i];
        let leaving = (0..=N).filter(|&i| change[i] > 1e-12).min_by(|&i, &j| ratio(i).total_cmp(&ratio(j)));
        let Some(leaving) = leaving else { return false };
        for k in 0..=N {
            self.inverse[leaving][k] /= change[leaving];
        }
        let pivot = self.inverse[leaving];
        for i in (0..=N).filter(|&i| i != leaving) {
            for (own, pivot) in self.inverse[i].iter_mut().zip(&pivot).take(N + 1) {
                *own -= change[i] * pivot;
            }
        }
        (self.chosen[leaving], self.signs[leaving]) = (entering, sign);
        self.exchanges += 1;
        true
    }
}

/// Each chosen row with its sign and a one below, as a column.
fn columns<const N: usize>(equations: &Equations<N>, chosen: &BasisRows, signs: &[f64; MOST + 1]) -> Matrix {
    let mut matrix = [[1.0; MOST + 1]; MOST + 1];
    for i in 0..=N {
        for (row, rows) in matrix.iter_mut().zip(&equations.columns) {
            row[i] = signs[i] * rows[chosen[i]];
        }
    }
    matrix
}

/// Rows whose misses are computed together.
const AT_ONCE: usize = 32;

/// The row that is missed by most, and by how much.
fn worst_row<const N: usize>(equations: &Equations<N>, x: &[f64; N]) -> (usize, f64) {
    let rows = equations.right.len();
    // The machine compares several numbers at once where it need not note which one is the largest.
    let (mut worst_start, mut worst) = (0, -1.0);
    for start in (0..rows).step_by(AT_ONCE) {
        let missed = missed(equations, x, start);
        let mut most = [0.0_f64; 4];
        for four in missed.chunks_exact(4) {
            for (most, missed) in most.iter_mut().zip(four) {
                *most = if missed.abs() > *most { missed.abs() } else { *most };
            }
        }
        let most = most.into_iter().fold(0.0, f64::max);
        if most > worst {
            (worst_start, worst) = (start, most);
        }
    }
    let missed = missed(equations, x, worst_start);
    let at = missed.iter().position(|missed| missed.abs() >= worst).unwrap_or(0);
    ((worst_start + at).min(rows - 1), missed[at])
}

/// By how much the rows from one on are missed; nothing after the last.
fn missed<const N: usize>(equations: &Equations<N>, x: &[f64; N], start: usize) -> [f64; AT_ONCE] {
    let end = (start + AT_ONCE).min(equations.right.len());
    let mut missed = [0.0; AT_ONCE];
    let missed_here = &mut missed[..end - start];
    missed_here.copy_from_slice(&equations.right[start..end]);
    for (column, x) in equations.columns.iter().zip(x) {
        for (missed, coefficient) in missed_here.iter_mut().zip(&column[start..end]) {
            *missed -= coefficient * x;
        }
    }
    missed
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

    fn fit<const N: usize>(columns: [&[f64]; N], right: &[f64], rows: BasisRows) -> Option<WorstFit<N>> {
        let equations = Equations { columns, right };
        Some(Basis::new(&equations, rows)?.fit(&equations, f64::INFINITY))
    }

    #[test]
    fn a_line_through_three_points() {
        // y = 0, 1, 0 at x = -1, 0, 1: the best line is y = 1/2, missed by 1/2 everywhere (textbook).
        let fit = fit([&[1.0, 1.0, 1.0], &[-1.0, 0.0, 1.0]], &[0.0, 1.0, 0.0], [0, 1, 2, 0, 0]).unwrap();
        assert!((fit.least - 0.5).abs() < 1e-12 && (fit.x[0] - 0.5).abs() < 1e-12 && fit.x[1].abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn nothing_near_the_answer_is_better(
            rows in prop::collection::vec(prop::array::uniform3(-1.0..1.0_f64), 12..80), seed in -1.0..1.0_f64,
            steps in prop::collection::vec(prop::array::uniform3(-0.3..0.3_f64), 40),
        ) {
            let columns: [Vec<f64>; 3] = std::array::from_fn(|k| rows.iter().map(|row| row[k]).collect());
            let columns = [&columns[0][..], &columns[1], &columns[2]];
            let right: Vec<f64> = (0..rows.len()).map(|i| (seed + i as f64 * 1.7).sin()).collect();
            let equations = Equations { columns, right: &right };
            if let Some(mut basis) = Basis::new(&equations, [0, 1, 2, 3, 0]) {
                let missed = |x: &[f64; 3]| worst_row(&equations, x).1.abs();
                let first = basis.fit(&equations, f64::INFINITY);
                // The last basis of another right side is as good a start.
                let other: Vec<f64> = right.iter().map(|right| (right * 3.0).cos()).collect();
                basis.fit(&Equations { columns, right: &other }, f64::INFINITY);
                let again = basis.fit(&equations, f64::INFINITY);
                prop_assert!((again.least - first.least).abs() < 1e-5, "{} {}", again.least, first.least);
                for fit in [first, again] {
                    prop_assert!((missed(&fit.x) - fit.least).abs() < 1e-5, "{} {}", missed(&fit.x), fit.least);
                    for step in &steps {
                        let x = std::array::from_fn(|k| fit.x[k] + step[k]);
                        prop_assert!(missed(&x) >= fit.least - 1e-9);
                    }
                }
            }
        }

        #[test]
        fn the_worst_row_is_the_worst(rows in prop::collection::vec(prop::array::uniform2(-1.0..1.0_f64), 1..150), x in -2.0..2.0_f64) {
            let (column, right): (Vec<f64>, Vec<f64>) = rows.iter().map(|row| (row[0], row[1])).unzip();
            let missed = |row: usize| right[row] - column[row] * x;
            let most = (0..rows.len()).map(|row| missed(row).abs()).fold(0.0, f64::max);
            let (row, by) = worst_row(&Equations { columns: [&column], right: &right }, &[x]);
            prop_assert_eq!((missed(row), missed(row).abs()), (by, most));
        }
    }
}
