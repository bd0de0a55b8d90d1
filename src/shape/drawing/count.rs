//! How many radii a drawn lens gets: enough that its sharp corners are not cut off.
//!
//! Between two radii the outline of a trace is straight. That takes nothing off a curve, but a corner that lies between two of
//! them is cut by up to 0.1 mm. So the count is the first at which each corner lies near enough to a radius.

use super::RADII;
use crate::shape::outline::{Outline, Point};
use crate::shape::perimeter::Perimeter;

/// The most radii of a drawn lens.
const MOST_RADII: usize = 6000;
/// The counts that are tried. All can be halved, as the mirror image needs it.
const STEP: usize = 8;
/// As much of a corner may be cut off, mm.
const CUT_MM: f64 = 0.005;
/// As much shorter may all corners make the outline, mm.
const SHORTER_MM: f64 = 0.012;
/// A corner is where the line turns by this between this far before and this far behind: its radius is below 2 mm.
const CORNER_DEG: f64 = 25.0;
const CHORD_MM: f64 = 0.8;
/// Where corners are more than this part of the line, it is jagged, and has none.
const MOST_OF_IT: f64 = 0.25;

/// The number of radii for an outline, about its tracing center.
pub(super) fn radii_for(outline: &Outline) -> usize {
    let points: Vec<Point> = outline.points().iter().map(|p| p.minus(outline.tracing_center())).collect();
    let corners: Vec<(usize, f64)> = corners(outline).into_iter().map(|i| (i, points[i].angle_deg())).collect();
    let mut best = (RADII, f64::INFINITY);
    if corners.is_empty() {
        return RADII;
    }
    for count in (RADII..=MOST_RADII).step_by(STEP) {
        let loss = loss(&points, &corners, count);
        if loss < best.1 {
            best = (count, loss);
        }
        if loss <= 1.0 {
            break;
        }
    }
    best.0
}

/// The points of the outline where it turns sharply, in order.
fn corners(outline: &Outline) -> Vec<usize> {
    let path = Perimeter::of(outline);
    let mut corners = Vec::new();
    let mut sharp_mm = 0.0;
    for (index, point) in outline.points().iter().enumerate() {
        let place_mm = path.length_to_mm(index);
        let (before, after) = (path.at(place_mm - CHORD_MM), path.at(place_mm + CHORD_MM));
        let (one, two) = (point.minus(before), after.minus(*point));
        if one.cross(two).atan2(one.dot(two)).abs() > CORNER_DEG.to_radians() {
            corners.push(index);
            sharp_mm += (path.length_to_mm(index + 1) - place_mm).min(CHORD_MM);
        }
    }
    if sharp_mm > MOST_OF_IT * path.length_mm() { Vec::new() } else { corners }
}

/// How much so many radii take off the corners, as a part of what they may. A corner is a point and its direction.
fn loss(points: &[Point], corners: &[(usize, f64)], count: usize) -> f64 {
    let step_deg = 360.0 / count as f64;
    let sector = |corner: &(usize, f64)| (corner.1 / step_deg).floor();
    let (mut cut_mm, mut shorter_mm): (f64, f64) = (0.0, 0.0);
    for within in corners.chunk_by(|a, b| a.0 + 1 == b.0 && sector(a) == sector(b)) {
        let (first, last) = (within[0], within[within.len() - 1]);
        let at_deg = sector(&first) * step_deg;
        let from = met(points, first.0, Point::polar(1.0, at_deg), false);
        let to = met(points, last.0, Point::polar(1.0, at_deg + step_deg), true);
        let side = to.minus(from);
        let mut before = from;
        for (index, _) in within {
            let corner = points[*index];
            cut_mm = cut_mm.max((side.cross(corner.minus(from)) / side.length_mm()).abs());
            shorter_mm += corner.minus(before).length_mm();
            before = corner;
        }
        shorter_mm += to.minus(before).length_mm() - side.length_mm();
    }
    (cut_mm / CUT_MM).max(shorter_mm / SHORTER_MM)
}

/// Where a ray meets the outline, on from one of its points or back from it.
fn met(points: &[Point], start: usize, ray: Point, is_on: bool) -> Point {
    let count = points.len();
    let side = |p: Point| if is_on { p.cross(ray) } else { ray.cross(p) };
    let mut here = points[start];
    for step in 1..count {
        let next = points[if is_on { start + step } else { start + count - step } % count];
        let (inside, outside) = (side(here), side(next));
        if outside <= 0.0 {
            let share = if inside > outside { inside / (inside - outside) } else { 0.0 };
            return here.plus(next.minus(here).times(share));
        }
        here = next;
    }
    here
}

#[cfg(test)]
mod tests {
    use super::super::{DrawnLens, Placed, traces};
    use super::*;
    use crate::shape::boxing::Boxing;

    /// How much the trace of a drawn line is larger than the line: in width, in height and around.
    fn off_mm(border: &[Point], turn_deg: f64) -> ([f64; 3], usize) {
        let border: Vec<Point> = border.iter().map(|p| p.turned(turn_deg)).collect();
        let is = Boxing::of(&Outline::from_points(border.clone()).unwrap());
        let file = traces(&[DrawnLens::undrilled(border)], Placed::default(), true).unwrap();
        let got = Boxing::of(&file.traces.right.outline());
        let off = [got.a_mm - is.a_mm, got.b_mm - is.b_mm, got.circumference_mm - is.circumference_mm];
        (off, file.traces.right.radii().len())
    }

    /// The sides of a polygon, divided.
    fn sides(corners: &[(f64, f64)]) -> Vec<Point> {
        let corner = |i: usize| Point::new(corners[i % corners.len()].0, corners[i % corners.len()].1);
        let side = |i: usize| {
            (0..100).map(move |k| corner(i).plus(corner(i + 1).minus(corner(i)).times(f64::from(k) / 100.0)))
        };
        (0..corners.len()).flat_map(side).collect()
    }

    #[test]
    fn sharp_corners_keep_the_size_of_the_lens() {
        let rectangle = sides(&[(25.0, 15.0), (-25.0, 15.0), (-25.0, -15.0), (25.0, -15.0)]);
        let cat_eye = sides(&[(28.0, 17.0), (0.0, 13.0), (-24.0, 12.0), (-22.0, -13.0), (4.0, -16.0), (21.0, -9.0)]);
        // Two arcs that meet in two points.
        let vesica: Vec<Point> = (0..800)
            .map(|i| (if i < 400 { 1.0 } else { -1.0 }, f64::from(i % 400) / 400.0 * 120.0 - 60.0))
            .map(|(side, deg)| Point::polar(30.0, deg).plus(Point::new(-15.0, 0.0)).times(side))
            .collect();
        for border in [rectangle, cat_eye, vesica] {
            for turn_deg in [0.0, 7.0, 13.3, 20.0, 45.0, 77.7] {
                let (off, count) = off_mm(&border, turn_deg);
                assert_kept(off, &format!("{turn_deg}: {count} radii"));
            }
        }
    }

    /// The trace rounds each corner to a hundredth, which can add up around the lens.
    fn assert_kept([a_mm, b_mm, around_mm]: [f64; 3], what: &str) {
        assert!(a_mm.abs() < 0.02 && b_mm.abs() < 0.02 && around_mm.abs() < 0.03, "{what}: {a_mm} {b_mm} {around_mm}");
    }

    #[test]
    fn small_roundings_keep_it_too_and_smooth_lines_need_no_more_radii() {
        for (corner_mm, is_plain) in [(0.1, false), (0.2, false), (0.5, false), (1.0, false), (3.0, true), (8.0, true)]
        {
            let corner = |(x, y, from): (f64, f64, f64)| {
                let center = Point::new(x * (25.0 - corner_mm), y * (15.0 - corner_mm));
                (0..=60).map(move |i| center.plus(Point::polar(corner_mm, from + 1.5 * f64::from(i))))
            };
            let corners = [(1.0, 1.0, 0.0), (-1.0, 1.0, 90.0), (-1.0, -1.0, 180.0), (1.0, -1.0, 270.0)];
            let border: Vec<Point> = corners.into_iter().flat_map(corner).collect();
            for turn_deg in [0.0, 13.3, 45.0] {
                let (off, count) = off_mm(&border, turn_deg);
                assert_kept(off, &format!("{corner_mm} {turn_deg}: {count} radii"));
                assert!(!is_plain || count == RADII, "{corner_mm}: {count}");
            }
        }
    }
}
