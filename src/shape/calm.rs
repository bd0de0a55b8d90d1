//! A line through points that were rounded, without the zigzag that rounding adds to it.
//!
//! Radii are kept in hundredths of a millimeter. Where they stand close together, each step to and fro between two hundredths
//! counts as length: 5 mm on a rim of 150 mm traced at 10,000 points. So the length is measured along points that are moved onto
//! the parabola through their neighbors (a running least-squares fit, Savitzky and Golay), as long as rounding alone can be why
//! these lie beside it. Around a corner the fit shrinks until that is so, and at the corner itself nothing is moved.

/// How far the fit reaches on either side, mm.
const REACH_MM: f64 = 0.6;
/// Points further apart than this, on average, are left as they are: rounding adds less than 0.01 mm to a rim.
const CLOSE_MM: f64 = 0.3;
/// How far rounding moves a point, half a hundredth, and the fit with it, mm.
const ROUNDED_MM: f64 = 0.0065;
/// A new point is taken at this part of the reach.
const STEP: usize = 6;

/// The length of a closed line.
pub(super) fn length_mm(points: &[[f64; 3]]) -> f64 {
    let next = points.iter().cycle().skip(1);
    points.iter().zip(next).map(|(p, q)| distance_mm(p, q)).sum()
}

/// The same closed line with fewer points, in the plane and in height, where they are close together; as it is elsewhere.
pub(super) fn calm(points: &[[f64; 3]]) -> Vec<[f64; 3]> {
    let count = points.len();
    let apart_mm = length_mm(points) / count as f64;
    // The negation also catches what is not a number.
    if count < 8 || !(apart_mm > 0.0 && apart_mm < CLOSE_MM) {
        return points.to_vec();
    }
    let widest = ((REACH_MM / apart_mm) as usize).min(count / 4);
    let mut calm = Vec::with_capacity(count);
    let mut at = 0;
    while at < count {
        let mut half = widest;
        let mut fitted = None;
        while half >= 2 && fitted.is_none() {
            fitted = fitted_point(points, at, half);
            half = if fitted.is_some() { half } else { half / 2 };
        }
        calm.push(fitted.unwrap_or(points[at]));
        at += (half / STEP).max(1);
    }
    calm
}

fn distance_mm(p: &[f64; 3], q: &[f64; 3]) -> f64 {
    let [x, y, z] = [q[0] - p[0], q[1] - p[1], q[2] - p[2]];
    (x * x + y * y + z * z).sqrt()
}

/// The point moved onto the parabolas, of its height and across the line, through `half` points on either side. `None` where
/// they are not of these points.
fn fitted_point(points: &[[f64; 3]], at: usize, half: usize) -> Option<[f64; 3]> {
    let count = points.len();
    let point = |step: usize| points[(at + count + step - half) % count];
    let (here, first, last) = (points[at], point(0), point(2 * half));
    let chord_mm = (last[0] - first[0]).hypot(last[1] - first[1]);
    if !(1e-6..=2.5 * REACH_MM).contains(&chord_mm) {
        return None;
    }
    let along = [(last[0] - first[0]) / chord_mm, (last[1] - first[1]) / chord_mm];
    let place = |step: usize| {
        let p = point(step);
        let (x, y) = (p[0] - here[0], p[1] - here[1]);
        (x * along[0] + y * along[1], y * along[0] - x * along[1], p[2] - here[2])
    };
    let mut powers = [0.0; 5];
    let (mut across, mut height) = ([0.0; 3], [0.0; 3]);
    for step in 0..=2 * half {
        let (u, v, z) = place(step);
        let mut power = 1.0;
        for (k, sum) in powers.iter_mut().enumerate() {
            *sum += power;
            if k < 3 {
                across[k] += power * v;
                height[k] += power * z;
            }
            power *= u;
        }
    }
    let (across, height) = (parabola(&powers, across)?, parabola(&powers, height)?);
    let is_near = |step: usize| {
        let (u, v, z) = place(step);
        let off = |of: &[f64; 3], is: f64| (of[0] + u * (of[1] + u * of[2]) - is).abs();
        off(&across, v) <= ROUNDED_MM && off(&height, z) <= ROUNDED_MM
    };
    let is_parabola = (0..=2 * half).all(is_near);
    is_parabola.then(|| [here[0] - across[0] * along[1], here[1] + across[0] * along[0], here[2] + height[0]])
}

/// The coefficients of the parabola with the least squares, from the sums of the powers of u and those times v (Cramer's rule).
fn parabola(powers: &[f64; 5], sums: [f64; 3]) -> Option<[f64; 3]> {
    let row = |k: usize| [powers[k], powers[k + 1], powers[k + 2]];
    let columns = [row(0), row(1), row(2)];
    let determinant = |m: [[f64; 3]; 3]| {
        m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1]) - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
    };
    let whole = determinant(columns);
    let with = |k: usize| {
        let mut changed = columns;
        changed[k] = sums;
        determinant(changed) / whole
    };
    (whole > 1e-12).then(|| [with(0), with(1), with(2)])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shape::outline::Point;
    use std::f64::consts::TAU;

    fn flat(points: impl Iterator<Item = Point>) -> Vec<[f64; 3]> {
        points.map(|p| [p.x_mm, p.y_mm, 0.0]).collect()
    }

    /// A line through many points, and its traces with radii in hundredths.
    fn off_mm(outline: &[Point], counts: &[usize]) -> Vec<f64> {
        let whole_mm = length_mm(&flat(outline.iter().copied()));
        let trace = |count: usize| {
            let mut angles: Vec<(f64, Point)> = outline.iter().map(|p| (p.angle_deg(), *p)).collect();
            angles.sort_by(|a, b| a.0.total_cmp(&b.0));
            let radius = |i: usize| {
                let ray = Point::polar(1.0, 360.0 * i as f64 / count as f64);
                let after = angles.partition_point(|(deg, _)| *deg <= 360.0 * i as f64 / count as f64);
                let (p, q) = (angles[(after + angles.len() - 1) % angles.len()].1, angles[after % angles.len()].1);
                let side = q.minus(p);
                ray.times((p.cross(side) / ray.cross(side) * 100.0).round() / 100.0)
            };
            length_mm(&calm(&flat((0..count).map(radius)))) - whole_mm
        };
        counts.iter().map(|&count| trace(count)).collect()
    }

    fn ring(radius: impl Fn(f64) -> f64) -> Vec<Point> {
        (0..100_000)
            .map(|i| TAU * f64::from(i) / 100_000.0)
            .map(|t| Point::new(t.cos(), t.sin()).times(radius(t)))
            .collect()
    }

    /// A rectangle of 52 by 30 mm with round corners, turned by 13° and not centered.
    fn rounded(corner_mm: f64) -> Vec<Point> {
        let corners = [(1.0, 1.0, 0.0), (-1.0, 1.0, 90.0), (-1.0, -1.0, 180.0), (1.0, -1.0, 270.0)];
        let corner = |(x, y, from): (f64, f64, f64)| {
            let center = Point::new(x * (26.0 - corner_mm), y * (15.0 - corner_mm));
            (0..2000).map(move |i| center.plus(Point::polar(corner_mm, from + 90.0 * f64::from(i) / 1999.0)))
        };
        let points = corners.into_iter().flat_map(corner);
        points.map(|p| p.turned(13.0).plus(Point::new(0.7, -0.4))).collect()
    }

    #[test]
    fn rounding_adds_no_length_however_many_radii_there_are() {
        let dense = [500, 1000, 2000, 3600, 10_000];
        let oval = ring(|t| {
            let oval = ((t.cos() / 25.5).abs().powf(2.6) + (t.sin() / 18.0).abs().powf(2.6)).powf(-1.0 / 2.6);
            oval * (1.0 + 0.03 * (t - 0.6).cos() + 0.015 * (3.0 * t + 0.4).sin())
        });
        // All radii of a circle are rounded alike: what that takes off, 2π · 0.003, is not in the trace anymore.
        for (outline, at_most_mm) in [(oval, 0.018), (ring(|_| 22.003), 0.02), (rounded(5.0), 0.018)] {
            let off = off_mm(&outline, &dense);
            assert!(off.iter().all(|mm| mm.abs() < at_most_mm), "{off:?}");
        }
    }

    #[test]
    fn corners_are_not_cut() {
        for (corner_mm, counts) in [
            (2.0, vec![1000, 2000, 3600, 10_000]),
            (1.0, vec![1000, 2000, 3600, 10_000]),
            (0.5, vec![1000, 2000, 3600, 10_000]),
            (0.2, vec![2000, 3600, 10_000]),
            // Between two radii of a coarser trace a sharp corner is not in it.
            (0.001, vec![10_000]),
        ] {
            let off = off_mm(&rounded(corner_mm), &counts);
            assert!(off.iter().all(|mm| mm.abs() < 0.02), "{corner_mm}: {off:?}");
        }
    }

    #[test]
    fn few_points_stay_and_odd_ones_do_not_fail() {
        let few = flat(ring(|_| 22.0).into_iter().step_by(250));
        assert_eq!(calm(&few), few);
        let same = vec![[20.0, 0.0, 0.0]; 50];
        assert_eq!(calm(&same), same);
        // All but one in one place, and a line that turns back.
        let mut one = same.clone();
        one[7] = [20.1, 0.0, 0.0];
        let to_and_fro: Vec<[f64; 3]> = (0..100).map(|i| [f64::from(i % 50) * 0.01, 0.0, 0.0]).collect();
        for odd in [one, to_and_fro] {
            assert!(length_mm(&calm(&odd)) <= length_mm(&odd) + 1e-9);
        }
    }
}
