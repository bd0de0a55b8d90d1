//! Dust on the edge: rows that do not look like their neighbors, and short bulges, are left out, and the line is led past them as
//! a curve.

use nalgebra::{SMatrix, SVector};

use super::edge::median;
use super::strip::Foot;
use crate::shape::outline::Point;

/// A row is dusty if it differs from its neighborhood so many times more than a usual row does (mean squares) ...
const UNUSUAL: f64 = 4.0;
/// ... and by this part of the height of the edge.
const LEAST_PART: f64 = 0.1;
/// A row looks odd if it differs by this part of the height.
const ODD_PART: f64 = 0.03;
/// It does too if the mean of the rows about it differs by this part.
const ODD_PIECE: f64 = 0.02;
/// A longer piece is no dust, mm.
const LONGEST_MM: f64 = 4.0;
/// More of the edge than this is not covered by dust.
const MOST_DUSTY: f64 = 0.2;
/// On each side of a dusty piece the curve follows at least so much of the clean line, mm.
const LEAST_SIDE_MM: f64 = 0.8;
/// The half of a fiber that bends the line, mm.
const HALF_FIBER_MM: f64 = 1.6;
/// Round corners are bent too. Their middle lies outside the cubic through their sides, by at most the first times the square of the
/// turn in radians, mm. The line beside them lies inside it, by at most the second times the turn, mm. This covers corners of 45 to 90
/// degrees with a radius of 4 mm or more.
const CORNER_MM: (f64, f64) = (0.4, 0.3);
/// A bulge pulls the curve through its sides toward itself, so it is this many times as high as it looks.
const LED: f64 = 1.4;
/// The half of a speck of dust, mm.
const SPECK_MM: f64 = 0.15;
/// A bulge is compared with so much of the line on each side, mm.
const BESIDE_MM: f64 = 1.2;
/// It is one from so many standard deviations on, and from so much, mm.
const BULGE_CLEAR: f64 = 3.5;
const LEAST_BULGE_MM: f64 = 0.02;

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

/// Which rows look odd, covered or not: a fiber along a faint edge differs little from it. It is seen in single rows, or in the mean
/// of the rows along a piece of the line.
pub(super) fn odd(misfits: &[f64], misfits_along: &[f64], covered: &[bool], height: f64) -> Vec<bool> {
    let limit = |misfits: &[f64], part: f64| (UNUSUAL * median(misfits.to_vec())).max((part * height).powi(2));
    let (row_limit, piece_limit) = (limit(misfits, ODD_PART), limit(misfits_along, ODD_PIECE));
    (0..covered.len()).map(|i| covered[i] || misfits[i] > row_limit || misfits_along[i] > piece_limit).collect()
}

/// A short bulge that no lens has: a speck in the middle of a blurred edge looks like the edge itself, moved. It is seen from the
/// rows on both sides, through which a curve is led.
pub(super) struct Bulges<'a> {
    /// The edge in each row, with the direction outward.
    pub places: &'a [Foot],
    /// How far single rows are off, mm (one standard deviation).
    pub row_mm: f64,
    /// The spread of the blur, mm.
    pub blur_mm: f64,
    pub spacing_mm: f64,
}

impl Bulges<'_> {
    /// Covers the rows of each bulge, the clearest first.
    pub fn cover(&self, covered: &mut [bool]) {
        let n = self.places.len();
        let half = self.half();
        let mut clear: Vec<f64> = (0..n).map(|i| self.clear(covered, i)).collect();
        for _ in 0..n / 20 {
            let Some(most) = (0..n).max_by(|a, b| clear[*a].total_cmp(&clear[*b])) else { return };
            if clear[most] < BULGE_CLEAR {
                return;
            }
            (0..=2 * half).for_each(|k| covered[(most + n + k - half) % n] = true);
            // What lies beside it is compared with a cleaner line.
            let reach = 2 * half + 2 + self.side();
            for k in 0..=2 * reach {
                let i = (most + n + k - reach) % n;
                clear[i] = self.clear(covered, i);
            }
        }
    }

    /// Rows to each side that a speck of dust reaches.
    fn half(&self) -> usize {
        ((SPECK_MM + 1.5 * self.blur_mm) / self.spacing_mm).round().max(1.0) as usize
    }

    fn side(&self) -> usize {
        (BESIDE_MM / self.spacing_mm).round().max(4.0) as usize
    }

    /// How far the edge about a row is from the curve through what lies on both sides, in standard deviations; 0 for less than
    /// what counts.
    fn clear(&self, covered: &[bool], at: usize) -> f64 {
        let n = self.places.len();
        let (half, side) = (self.half(), self.side());
        let all = half + 1 + side;
        if covered[at] || n < 4 * all {
            return 0.0;
        }
        let Foot { at: middle, normal } = self.places[at];
        let long_mm = all as f64 * self.spacing_mm;
        let mut squares = SMatrix::<f64, 4, 4>::identity() * 1e-9;
        let mut products = SVector::<f64, 4>::zeros();
        let mut inside = SVector::<f64, 4>::zeros();
        let (mut sum_mm, mut count, mut before, mut after, mut left) = (0.0, 0.0, 0, 0, 0.0);
        for k in (0..=2 * all).filter(|k| !covered[(at + n + k - all) % n]) {
            let away = self.places[(at + n + k - all) % n].at.minus(middle);
            let x = (away.x_mm * normal.y_mm - away.y_mm * normal.x_mm) / long_mm;
            let powers = powers(x);
            let y_mm = away.dot(normal);
            if k.abs_diff(all) <= half {
                (sum_mm, count) = (sum_mm + y_mm, count + 1.0);
                inside += powers;
            } else if k.abs_diff(all) > half + 1 {
                squares += powers * powers.transpose();
                products += powers * y_mm;
                left += y_mm * y_mm;
                if k < all { before += 1 } else { after += 1 }
            }
        }
        if count < half as f64 || before < side / 2 + 1 || after < side / 2 + 1 {
            return 0.0;
        }
        let inside = inside / count;
        let Some(solver) = squares.cholesky() else { return 0.0 };
        let curve = solver.solve(&products);
        let off_mm = (sum_mm / count - inside.dot(&curve)).abs();
        // Where the sides are no curve, the bulge may be there.
        let row_mm = ((left - curve.dot(&products)).max(0.0) / (before + after - 4) as f64).sqrt().max(self.row_mm);
        let unsure_mm = row_mm * (1.0 / count + inside.dot(&solver.solve(&inside))).sqrt();
        if off_mm < LEAST_BULGE_MM { 0.0 } else { off_mm / unsure_mm.max(1e-6) }
    }
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

/// How far the line may be off where rows near each other look odd, mm. Only the ends of a fiber along the edge are seen, or a part of
/// it, and the line between them is moved as a whole. It is compared with the curve through the line on both sides.
pub(super) fn between_mm(line: &[Point], odd: &[bool], spacing_mm: f64) -> f64 {
    let n = line.len();
    let starts: Vec<usize> = (0..n).filter(|i| odd[*i] && !odd[(i + n - 1) % n]).collect();
    let count = |start: usize| (0..n).take_while(|k| odd[(start + k) % n]).count();
    let from_mm = |first: usize| {
        let start = starts[first];
        let ends = (first..first + starts.len()).map(|last| {
            let last = starts[last % starts.len()];
            (last + n - start) % n + count(last)
        });
        let is_near =
            |all: usize| (all - count(start)) as f64 * spacing_mm < LONGEST_MM + 2.0 * SPECK_MM && all < n / 2;
        let near = ends.take_while(|all| is_near(*all));
        let off_mm = |all: usize| {
            let Some(curve) = bridge(line, odd, (start, all), spacing_mm) else { return 0.0 };
            curve.iter().enumerate().map(|(k, at)| at.minus(line[(start + k) % n]).length_mm()).fold(0.0, f64::max)
        };
        near.map(off_mm).fold(0.0, f64::max)
    };
    LED * (0..starts.len()).map(from_mm).fold(0.0, f64::max)
}

/// How far the line may be off where it bends as no lens does, mm. A fiber along a faint edge looks like the edge itself, moved, so no
/// row looks odd. Each point is compared with the cubic through the line on both sides of such a fiber.
pub(super) fn bent_mm(line: &[Point], spacing_mm: f64) -> f64 {
    let n = line.len();
    let half = (HALF_FIBER_MM / spacing_mm).round() as usize;
    let shares = shares_of_the_sides(half);
    if n < 8 * half || shares.is_empty() {
        return 0.0;
    }
    let off_mm = |i: usize| {
        let at = |k: usize| line[(i + n + k - 2 * half) % n];
        let cubic = shares.iter().enumerate().fold(Point::ORIGIN, |sum, (k, share)| sum.plus(at(k).times(*share)));
        let along = at(3 * half).minus(at(half));
        let (before, after) = (at(half).minus(at(0)), at(4 * half).minus(at(3 * half)));
        let turned = before.cross(after).atan2(before.dot(after)).max(0.0);
        let outward_mm = line[i].minus(cubic).cross(along) / along.length_mm().max(1e-9);
        let (outside_mm, inside_mm) = (CORNER_MM.0 * turned * turned, CORNER_MM.1 * turned);
        (outward_mm - outside_mm).max(-outward_mm - inside_mm).max(0.0)
    };
    LED * (0..n).map(off_mm).fold(0.0, f64::max)
}

/// The weights of `4 half + 1` equally spaced points in the middle of the cubic fitted to them. The inner half has weight 0.
fn shares_of_the_sides(half: usize) -> Vec<f64> {
    let powers = |k: usize| powers(k as f64 / (2 * half) as f64 - 1.0);
    let is_side = |k: &usize| k.abs_diff(2 * half) > half;
    let squares = (0..=4 * half).filter(is_side).map(|k| powers(k) * powers(k).transpose());
    let squares = squares.fold(SMatrix::<f64, 4, 4>::identity() * 1e-9, |sum, square| sum + square);
    let Some(middle) = squares.cholesky().map(|solver| solver.solve(&powers(2 * half))) else { return Vec::new() };
    (0..=4 * half).map(|k| if is_side(&k) { middle.dot(&powers(k)) } else { 0.0 }).collect()
}

/// The powers of `x` that a cubic is made of.
fn powers(x: f64) -> SVector<f64, 4> {
    SVector::<f64, 4>::new(1.0, x, x * x, x * x * x)
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

    /// A fiber of 3 mm moves the line by a tenth of a millimeter, and only its ends are seen.
    #[test]
    fn what_lies_between_the_ends_of_a_fiber_is_compared_with_what_lies_beyond_them() {
        let n = 800;
        let spacing_mm = 40.0 * std::f64::consts::PI / f64::from(n);
        let line = |off_mm: f64| -> Vec<Point> {
            let radius_mm = |i: i32| if (400..420).contains(&i) { 20.0 + off_mm } else { 20.0 };
            (0..n).map(|i| Point::polar(radius_mm(i), 360.0 * f64::from(i) / f64::from(n))).collect()
        };
        let covered = |pieces: &[(i32, i32)]| -> Vec<bool> {
            (0..n).map(|i| pieces.iter().any(|(from, to)| (*from..*to).contains(&i))).collect()
        };
        let ends = covered(&[(398, 402), (418, 422)]);
        let looks_mm = |line: &[Point], odd: &[bool]| between_mm(line, odd, spacing_mm) / LED;
        assert!((looks_mm(&line(0.1), &ends) - 0.1).abs() < 0.005);
        assert!(between_mm(&line(0.0), &ends, spacing_mm) < 0.005);
        // Seen as a whole it is compared with what lies beside it. A piece far away says nothing of what lies between.
        assert!((looks_mm(&line(0.1), &covered(&[(398, 422)])) - 0.1).abs() < 0.005);
        let [alone, with_another] =
            [&[(398, 402)][..], &[(398, 402), (600, 604)]].map(|odd| looks_mm(&line(0.1), &covered(odd)));
        assert!(alone < 0.05 && with_another == alone, "{alone} {with_another}");
    }

    /// A fiber that leaves the edge slowly moves the line, and no row looks odd. Corners of a lens stay unsaid.
    #[test]
    fn a_long_bulge_is_said_and_round_corners_are_not() {
        let n = 800;
        let spacing_mm = 50.0 * std::f64::consts::PI / f64::from(n);
        let line = |high_mm: f64| -> Vec<Point> {
            let bulge_mm = |i: i32| {
                let away = f64::from(i - 400) * spacing_mm / 1.3;
                if away.abs() < 1.0 { high_mm * (1.0 - away * away).powi(2) } else { 0.0 }
            };
            (0..n).map(|i| Point::polar(25.0 + bulge_mm(i), 360.0 * f64::from(i) / f64::from(n))).collect()
        };
        for high_mm in [0.06, 0.1, -0.06, -0.1_f64] {
            let said_mm = bent_mm(&line(high_mm), spacing_mm);
            assert!(said_mm > 0.8 * high_mm.abs() && said_mm < 1.5 * high_mm.abs(), "{high_mm}: {said_mm}");
        }
        assert!(bent_mm(&line(0.0), spacing_mm) < 0.001);
        // Polygons of four, six and eight straight sides with round corners.
        for (sides, radius_mm) in [(4, 4.0), (4, 6.0), (6, 5.0), (8, 5.0), (8, 8.0)] {
            let turn = std::f64::consts::TAU / f64::from(sides);
            let half_side_mm = 22.0 * (turn / 2.0).tan() - radius_mm * (turn / 2.0).tan();
            let spacing_mm = 0.17;
            let corner = |k: i32| {
                let to = move |step: i32| (f64::from(k) * turn + turn * f64::from(step) / 40.0).to_degrees();
                let middle = Point::polar(22.0 - radius_mm, to(0)).plus(Point::polar(half_side_mm, to(0) + 90.0));
                (0..=40).map(move |step| middle.plus(Point::polar(radius_mm, to(step))))
            };
            let line = super::super::edge::spaced(&(0..sides).flat_map(corner).collect::<Vec<_>>(), spacing_mm);
            assert!(bent_mm(&line, spacing_mm) < 0.035, "{sides} {radius_mm}: {}", bent_mm(&line, spacing_mm));
        }
    }

    /// A speck moves six rows by a tenth of a millimeter. The round corner of a square is sharper than any lens has, and stays.
    #[test]
    fn a_bulge_is_covered_and_a_corner_is_not() {
        let spacing_mm = 0.17;
        let foot = |at: Point, deg: f64| Foot { at, normal: Point::polar(1.0, deg) };
        let n = 620;
        let bulge_mm = |i: usize| if (400..406).contains(&i) { 0.1 } else { 0.0 };
        let uneven_mm = |i: usize| 0.01 * (i as f64 * 2.3).sin();
        let covered = |places: &[Foot]| {
            let mut covered = vec![false; places.len()];
            Bulges { places, row_mm: 0.01, blur_mm: 0.17, spacing_mm }.cover(&mut covered);
            covered
        };
        let circle: Vec<Foot> = (0..n)
            .map(|i| (i, 360.0 * i as f64 / n as f64))
            .map(|(i, deg)| foot(Point::polar(20.0 + uneven_mm(i) + bulge_mm(i), deg), deg))
            .collect();
        let found = covered(&circle);
        assert!((400..406).all(|i| found[i]), "{:?}", &found[390..416]);
        assert!((0..n).filter(|i| found[*i]).all(|i| (392..414).contains(&i)));
        // A corner of 4 mm between sides of 20 mm, four times.
        let square: Vec<Foot> = (0..n)
            .map(|i| {
                let quarter_mm = 20.0 + std::f64::consts::TAU;
                let (quarter, along_mm) = (i / (n / 4), quarter_mm * (i % (n / 4)) as f64 / (n / 4) as f64);
                let (at, deg) = match along_mm {
                    mm if mm < 20.0 => (Point::new(14.0, mm - 10.0), 0.0),
                    mm => {
                        let deg = ((mm - 20.0) / 4.0).to_degrees();
                        (Point::new(10.0, 10.0).plus(Point::polar(4.0, deg)), deg)
                    }
                };
                let deg = deg + 90.0 * quarter as f64;
                let at = Point::polar(at.length_mm(), at.angle_deg() + 90.0 * quarter as f64);
                foot(at.plus(Point::polar(uneven_mm(i), deg)), deg)
            })
            .collect();
        assert!(!covered(&square).contains(&true));
    }

    #[test]
    fn what_differs_little_looks_odd_and_is_not_covered() {
        let mut misfits = vec![1.0; 100];
        misfits[50] = 20.0;
        let covered = covered(&misfits, 100.0);
        assert!(!covered.contains(&true));
        let mut along = vec![1.0; 100];
        along[70] = 5.0;
        let odd = odd(&misfits, &along, &covered, 100.0);
        assert!((0..100).all(|i| odd[i] == (i == 50 || i == 70)));
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
