//! Dust on the edge: rows that do not look like their neighbors are left out, and the line is led past them as a curve.

use nalgebra::{SMatrix, SVector};

use super::edge::median;
use crate::shape::outline::Point;

/// A row is dusty if it differs from its neighborhood so many times more than a usual row does (mean squares) ...
const UNUSUAL: f64 = 4.0;
/// ... and by this part of the height of the edge.
const LEAST_PART: f64 = 0.1;
/// A longer piece is no dust, mm.
const LONGEST_MM: f64 = 4.0;
/// More of the edge than this is not covered by dust.
const MOST_DUSTY: f64 = 0.2;
/// On each side of a dusty piece the curve follows at least so much of the clean line, mm.
const LEAST_SIDE_MM: f64 = 0.8;

/// Which rows are covered, from how much each differs from its neighborhood (mean squares) and how high the edge is.
pub(super) fn covered(misfits: &[f64], height: f64) -> Vec<bool> {
    let n = misfits.len();
    let limit = (UNUSUAL * median(misfits.to_vec())).max((LEAST_PART * height).powi(2));
    let is_odd = |i: usize| misfits[i % n] > limit;
    // A row beside an odd one is touched too.
    let covered: Vec<bool> = (0..n).map(|i| (0..5).any(|k| is_odd(i + n + k - 2))).collect();
    let count = covered.iter().filter(|is_covered| **is_covered).count();
    if count as f64 > MOST_DUSTY * n as f64 { vec![false; n] } else { covered }
}

/// The line with each covered piece replaced by the curve through what lies on both sides of it.
pub(super) fn bridged(line: &[Point], covered: &[bool], spacing_mm: f64) -> Vec<Point> {
    let n = line.len();
    let mut bridged = line.to_vec();
    let starts = (0..n).filter(|i| covered[*i] && !covered[(i + n - 1) % n]);
    for start in starts {
        let count = (0..n).take_while(|k| covered[(start + k) % n]).count();
        if count as f64 * spacing_mm > LONGEST_MM {
            continue;
        }
        if let Some(points) = bridge(line, covered, (start, count), spacing_mm) {
            points.into_iter().enumerate().for_each(|(k, point)| bridged[(start + k) % n] = point);
        }
    }
    bridged
}

/// A cubic over the chord of the piece, fitted to the clean points on both sides.
fn bridge(line: &[Point], covered: &[bool], (start, count): (usize, usize), spacing_mm: f64) -> Option<Vec<Point>> {
    let n = line.len();
    let side = ((LEAST_SIDE_MM / spacing_mm).ceil() as usize).max(count / 2);
    let before = (1..=side).map(|k| (start + 2 * n - k) % n);
    let after = (0..side).map(|k| (start + count + k) % n);
    let (from, to) = (line[(start + n - 1) % n], line[(start + count) % n]);
    let chord = to.minus(from);
    let (long_mm, middle) = (chord.length_mm(), from.plus(to).times(0.5));
    let (along, across) = (chord.times(1.0 / long_mm), Point::new(-chord.y_mm, chord.x_mm).times(1.0 / long_mm));
    let powers = |x: f64| SVector::<f64, 4>::new(1.0, x, x * x, x * x * x);
    let mut squares = SMatrix::<f64, 4, 4>::identity() * 1e-9;
    let mut products = SVector::<f64, 4>::zeros();
    for i in before.chain(after).filter(|i| !covered[*i]) {
        let away = line[i].minus(middle);
        // In units of the chord, so that the powers stay near 1.
        let (x, y) = (away.dot(along) / long_mm, away.dot(across));
        squares += powers(x) * powers(x).transpose();
        products += powers(x) * y;
    }
    let curve = squares.cholesky()?.solve(&products);
    let point = |k: usize| {
        let x = (k + 1) as f64 / (count + 1) as f64 - 0.5;
        middle.plus(along.times(x * long_mm)).plus(across.times(curve.dot(&powers(x))))
    };
    Some((0..count).map(point).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A circle of 20 mm with a bump where it is covered.
    #[test]
    fn a_covered_piece_is_bridged_as_a_curve() {
        let n = 800;
        let spacing_mm = 40.0 * std::f64::consts::PI / f64::from(n);
        let covered: Vec<bool> = (0..n).map(|i| (790..800).contains(&i) || i < 6).collect();
        let radius_mm = |i: i32| if covered[i as usize] { 20.1 } else { 20.0 };
        let line: Vec<Point> =
            (0..n).map(|i| Point::polar(radius_mm(i), 360.0 * f64::from(i) / f64::from(n))).collect();
        let bridged = bridged(&line, &covered, spacing_mm);
        assert!(bridged.iter().all(|point| (point.length_mm() - 20.0).abs() < 0.001));
        assert!(line.iter().any(|point| point.length_mm() > 20.09));
    }

    #[test]
    fn a_long_piece_or_too_many_are_left_as_they_are() {
        let line: Vec<Point> = (0..100).map(|i| Point::polar(20.0, 3.6 * f64::from(i))).collect();
        let mut misfits = vec![1.0; 100];
        misfits[50] = 100.0;
        assert_eq!(covered(&misfits, 10.0).iter().filter(|is| **is).count(), 5);
        // The difference is small beside the edge.
        assert!(!covered(&misfits, 100.0).contains(&true));
        misfits.iter_mut().step_by(4).for_each(|misfit| *misfit = 100.0);
        assert!(!covered(&misfits, 10.0).contains(&true));
        let long: Vec<bool> = (0..100).map(|i| i < 12).collect();
        assert_eq!(bridged(&line, &long, 1.2), line);
    }
}
