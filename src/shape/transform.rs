//! Mirror, rotate, resize, offset.

use i_overlay::mesh::float::outline::offset::OutlineOffset;
use i_overlay::mesh::float::style::{LineJoin, OutlineStyle};

use super::boxing::Boxing;
use super::outline::{Outline, OutlineError, Point};

/// The largest distance an outline is moved by, mm.
pub const MAX_OFFSET_MM: f64 = 5.0;

/// The other eye's outline: x becomes -x. The list stays counter-clockwise and starts at the mirrored direction, so
/// that point `i` of `N` (even, equally spaced) is the mirror of point `N/2 - i`.
pub fn mirror(outline: &Outline) -> Outline {
    let old = outline.points();
    let n = old.len();
    let points = (0..n).map(|i| mirror_point(old[(n + n / 2 - i) % n])).collect();
    Outline::centered(points, mirror_point(outline.tracing_center()))
}

/// The same place on the other eye.
pub(crate) fn mirror_point(point: Point) -> Point {
    Point::new(-point.x_mm, point.y_mm)
}

/// Turns an outline counter-clockwise and centers it in its new box.
pub fn rotate(outline: &Outline, angle_deg: f64) -> Outline {
    let (sin, cos) = angle_deg.to_radians().sin_cos();
    let turn = |p: Point| Point::new(p.x_mm * cos - p.y_mm * sin, p.x_mm * sin + p.y_mm * cos);
    let points = outline.points().iter().copied().map(turn).collect();
    Outline::centered(points, turn(outline.tracing_center()))
}

/// Scales an outline about the boxing center.
///
/// # Errors
///
/// [`OutlineError::Size`] when the factor is not a positive number; [`OutlineError::Radius`] when the result is not
/// the size of a lens.
pub fn scale(outline: &Outline, factor: f64) -> Result<Outline, OutlineError> {
    if !factor.is_finite() || factor <= 0.0 {
        return Err(OutlineError::Size(factor));
    }
    let grow = |p: Point| Point::new(p.x_mm * factor, p.y_mm * factor);
    let points = outline.points().iter().copied().map(grow).collect();
    Outline::about(points, grow(outline.tracing_center()))
}

/// Scales an outline to a circumference, for a rim measured with a tape or gauge.
///
/// # Errors
///
/// As [`scale`]; the error names the circumference.
pub fn resize_to_circumference(outline: &Outline, circumference_mm: f64) -> Result<Outline, OutlineError> {
    let factor = circumference_mm / Boxing::of(outline).circumference_mm;
    if !factor.is_finite() || factor <= 0.0 {
        return Err(OutlineError::Size(circumference_mm));
    }
    scale(outline, factor)
}

/// Scales an outline to the width and the height of a box, each by its own factor where both are given; by one factor
/// where one is.
///
/// # Errors
///
/// As [`scale`]; [`OutlineError::Size`] without a width and a height.
pub fn resize_to_box(outline: &Outline, a_mm: Option<f64>, b_mm: Option<f64>) -> Result<Outline, OutlineError> {
    let size = Boxing::of(outline);
    let factor = |wanted_mm: f64, is_mm: f64| {
        let factor = wanted_mm / is_mm;
        if factor.is_finite() && factor > 0.0 { Ok(factor) } else { Err(OutlineError::Size(wanted_mm)) }
    };
    let (across, up) = match (a_mm, b_mm) {
        (Some(a_mm), Some(b_mm)) => (factor(a_mm, size.a_mm)?, factor(b_mm, size.b_mm)?),
        (Some(a_mm), None) => (factor(a_mm, size.a_mm)?, factor(a_mm, size.a_mm)?),
        (None, Some(b_mm)) => (factor(b_mm, size.b_mm)?, factor(b_mm, size.b_mm)?),
        (None, None) => return Err(OutlineError::Size(0.0)),
    };
    let stretch = |p: Point| Point::new(p.x_mm * across, p.y_mm * up);
    let points = outline.points().iter().copied().map(stretch).collect();
    Outline::about(points, stretch(outline.tracing_center()))
}

/// The parallel outline, outwards for a positive distance: an edger's size change on the radius, or the base of a
/// bevel (inwards by its depth).
///
/// Each side moves along its normal, and neighbors are extended to their intersection, so corners stay sharp. On a
/// smooth trace the circumference grows by 2π times the distance (closed form); at a sharp corner by more.
///
/// Where a hollow is tighter than the distance, or the lens thinner, the parts of the moved sides that would cross are
/// left out.
///
/// # Errors
///
/// [`OutlineError::Size`] beyond [`MAX_OFFSET_MM`]. [`OutlineError::Folds`] where nothing or more than one piece would be
/// left. As [`Outline::from_points`] for the result.
pub fn offset(outline: &Outline, distance_mm: f64) -> Result<Outline, OutlineError> {
    if !distance_mm.is_finite() || distance_mm.abs() > MAX_OFFSET_MM {
        return Err(OutlineError::Size(distance_mm));
    }
    match moved(outline, distance_mm) {
        Ok(points) => Outline::about(points, outline.tracing_center()),
        Err(index) => without_crossings(outline, distance_mm, index),
    }
}

/// Every point moved along the middle of its two normals; the first point at which that would fold.
fn moved(outline: &Outline, distance_mm: f64) -> Result<Vec<Point>, usize> {
    let old = outline.points();
    let n = old.len();
    let normals: Vec<Point> = outline
        .edges()
        .map(|(p, q)| {
            let side = q.minus(p);
            let length = side.length_mm();
            // Wound counter-clockwise, the outside is to the right of each side.
            Point::new(side.y_mm / length, -side.x_mm / length)
        })
        .collect();
    let mut points = Vec::with_capacity(n);
    for index in 0..n {
        let (before, after) = (normals[(index + n - 1) % n], normals[index]);
        let cos = before.dot(after);
        // The sides are nearly opposite, so their intersection is far away.
        if cos < -0.8 {
            return Err(index);
        }
        points.push(old[index].plus(before.plus(after).times(distance_mm / (1.0 + cos))));
    }
    let runs_back = |i: usize| {
        let (old_side, new_side) = (old[(i + 1) % n].minus(old[i]), points[(i + 1) % n].minus(points[i]));
        old_side.dot(new_side) <= 0.0
    };
    match (0..n).find(|&i| runs_back(i)) {
        Some(index) => Err(index),
        None => Ok(points),
    }
}

/// The parallel outline where some moved sides would cross.
fn without_crossings(outline: &Outline, distance_mm: f64, index: usize) -> Result<Outline, OutlineError> {
    /// Corners up to this sharp stay sharp; sharper ones are cut off, as in [`moved`].
    const SHARPEST_DEG: f64 = 37.0;
    let contour: Vec<[f64; 2]> = outline.points().iter().map(|p| [p.x_mm, p.y_mm]).collect();
    let style =
        OutlineStyle::new(distance_mm).line_join(LineJoin::Miter(SHARPEST_DEG.to_radians())).miter_min_turn(0.0);
    let pieces = contour.outline(&style);
    match &pieces[..] {
        [piece] if piece.len() == 1 => {
            let points = piece[0].iter().map(|&[x, y]| Point::new(x, y)).collect();
            Outline::about(points, outline.tracing_center())
        }
        _ => Err(OutlineError::Folds { index, distance_mm }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::Eye;
    use crate::shape::nearest::Nearest;
    use crate::shape::trace::{Angles, Trace};
    use proptest::prelude::*;
    use std::f64::consts::PI;

    fn ellipse() -> Outline {
        let point = |i: i32| {
            let t = 2.0 * PI * f64::from(i) / 800.0;
            Point::new(25.0 * t.cos(), 20.0 * t.sin())
        };
        Outline::from_points((0..800).map(point).collect()).unwrap()
    }

    #[test]
    fn a_parallel_outline_grows_by_two_pi() {
        // Size ±0.05 on the radius is ±0.31 on the circumference; 2π·d for any smooth convex outline.
        let before = Boxing::of(&ellipse());
        for distance_mm in [0.05, 0.7, 3.0, -0.05, -0.7, -3.0] {
            let after = Boxing::of(&offset(&ellipse(), distance_mm).unwrap());
            assert!((after.a_mm - before.a_mm - 2.0 * distance_mm).abs() < 1e-3);
            assert!((after.b_mm - before.b_mm - 2.0 * distance_mm).abs() < 1e-3);
            let grown = after.circumference_mm - before.circumference_mm;
            assert!((grown - 2.0 * PI * distance_mm).abs() < 1e-3, "{distance_mm}: {grown}");
            // Steiner: area grows by perimeter·d + π·d².
            let area = before.area_mm2 + before.circumference_mm * distance_mm + PI * distance_mm * distance_mm;
            assert!((after.area_mm2 - area).abs() < 0.02, "{distance_mm}");
        }
    }

    #[test]
    fn a_rectangle_keeps_its_corners() {
        let corners = [(25.0, 0.0), (25.0, 15.0), (0.0, 15.0), (-25.0, 15.0)];
        let others = corners.map(|(x, y)| Point::new(-x, -y));
        let points = corners.map(|(x, y)| Point::new(x, y)).into_iter().chain(others).collect();
        let size = Boxing::of(&offset(&Outline::from_points(points).unwrap(), 1.0).unwrap());
        assert!((size.a_mm - 52.0).abs() < 1e-9 && (size.b_mm - 32.0).abs() < 1e-9);
        assert!((size.circumference_mm - 168.0).abs() < 1e-9 && (size.area_mm2 - 52.0 * 32.0).abs() < 1e-9);
    }

    #[test]
    fn a_hollow_tighter_than_the_distance_is_filled() {
        // A hollow 4 mm deep and 2 mm in radius, moved out by 3 mm: no point of the new outline is nearer to the old one
        // than 3 mm, and none is farther (the definition of a parallel); a corner of the polygon is, by a little.
        let hollow: Vec<f64> = (0..720)
            .map(|i| {
                let t = (f64::from(i) / 2.0 - 90.0).to_radians();
                20.0 - 4.0 * (-(t * t) / 0.01).exp()
            })
            .collect();
        let hollow = Outline::from_radii_mm(&hollow).unwrap();
        let old = Nearest::of(&hollow);
        for distance_mm in [0.2, 3.0, -1.0, -3.0] {
            let new = offset(&hollow, distance_mm).unwrap();
            let from_old_center = new.tracing_center().minus(hollow.tracing_center());
            for p in new.points() {
                let got_mm = old.distance_mm(p.minus(from_old_center));
                let want_mm = distance_mm.abs();
                assert!(got_mm > want_mm - 1e-3 && got_mm < want_mm * 1.05, "{distance_mm} at {p:?}: {got_mm}");
            }
        }
    }

    #[test]
    fn an_impossible_size_is_refused() {
        // A neck of 2 mm between two ends, moved in by 1.5 mm, leaves two pieces.
        let neck: Vec<f64> = (0..360).map(|i| 12.0 + 6.9 * (2.0 * f64::from(i).to_radians()).cos()).collect();
        let neck = Outline::from_radii_mm(&neck).unwrap();
        assert!(offset(&neck, -5.0).is_err() || offset(&neck, -4.9).is_err());
        assert_eq!(offset(&ellipse(), 5.1), Err(OutlineError::Size(5.1)));
        assert!(scale(&ellipse(), 0.0).is_err() && scale(&ellipse(), f64::NAN).is_err());
        assert!(matches!(scale(&ellipse(), 3.0), Err(OutlineError::Radius { .. })));
        assert!(resize_to_circumference(&ellipse(), -1.0).is_err());
        assert_eq!(resize_to_box(&ellipse(), None, None), Err(OutlineError::Size(0.0)));
        assert!(resize_to_box(&ellipse(), Some(f64::NAN), Some(40.0)).is_err());
    }

    #[test]
    fn resizes_to_a_box() {
        // An ellipse 50 × 40 made 52 wide is 41.6 high; made 52 by 36 it is an ellipse, area π · 26 · 18.
        for (a, b, want_a, want_b) in
            [(Some(52.0), None, 52.0, 41.6), (None, Some(36.0), 45.0, 36.0), (Some(52.0), Some(36.0), 52.0, 36.0)]
        {
            let size = Boxing::of(&resize_to_box(&ellipse(), a, b).unwrap());
            assert!((size.a_mm - want_a).abs() < 1e-3 && (size.b_mm - want_b).abs() < 1e-3, "{size:?}");
            assert!((size.area_mm2 - PI * want_a * want_b / 4.0).abs() < 0.1, "{size:?}");
        }
    }

    #[test]
    fn resizes_to_a_circumference() {
        let resized = resize_to_circumference(&ellipse(), 145.0).unwrap();
        assert!((Boxing::of(&resized).circumference_mm - 145.0).abs() < 1e-9);
    }

    fn any_outline() -> impl Strategy<Value = Outline> {
        prop::collection::vec(12.0..35.0_f64, 8..150).prop_map(|radii| Outline::from_radii_mm(&radii).unwrap())
    }

    fn same(got: &Outline, want: &Outline) -> bool {
        got.points().iter().zip(want.points()).all(|(p, q)| p.minus(*q).length_mm() < 1e-9)
            && got.tracing_center().minus(want.tracing_center()).length_mm() < 1e-9
    }

    proptest! {
        #[test]
        fn mirroring_keeps_the_box(outline in any_outline()) {
            let (before, after) = (Boxing::of(&outline), Boxing::of(&mirror(&outline)));
            for (b, a) in [
                (before.a_mm, after.a_mm), (before.b_mm, after.b_mm), (before.ed_mm, after.ed_mm),
                (before.circumference_mm, after.circumference_mm), (before.area_mm2, after.area_mm2),
            ] {
                prop_assert!((a - b).abs() < 1e-9);
            }
            // The longest radius turns to 180 - t, or ties with one that does.
            let turned = (180.0 - before.ed_axis_deg).rem_euclid(360.0);
            let place = Point::polar(before.ed_mm / 2.0, turned);
            prop_assert!(mirror(&outline).points().iter().any(|p| p.minus(place).length_mm() < 1e-6));
        }

        #[test]
        fn a_trace_and_its_outline_mirror_alike(radii in prop::collection::vec(1200..3500_i32, 4..75)) {
            let radii = radii.iter().chain(&radii).copied().collect();
            let trace = Trace::new(Eye::Right, radii, Angles::Equal).unwrap();
            prop_assert!(same(&mirror(&trace.outline()), &trace.mirror().outline()));
        }

        #[test]
        fn mirrored_twice_is_the_same(outline in any_outline()) {
            let twice = mirror(&mirror(&outline));
            prop_assert!(same(&twice, &outline));
        }

        #[test]
        fn turning_keeps_circumference_and_area(outline in any_outline(), angle_deg in -360.0..360.0_f64) {
            let (before, after) = (Boxing::of(&outline), Boxing::of(&rotate(&outline, angle_deg)));
            prop_assert!((after.circumference_mm - before.circumference_mm).abs() < 1e-9);
            prop_assert!((after.area_mm2 - before.area_mm2).abs() < 1e-8);
            prop_assert!(same(&rotate(&rotate(&outline, angle_deg), -angle_deg), &outline));
        }
    }
}
