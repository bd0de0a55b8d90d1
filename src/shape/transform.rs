//! Mirror, rotate, resize, offset.
//!
//! # What this file does not do
//!
//! It does not smooth. A parallel outline is only as smooth as the trace. Radii rounded to 0.01 mm give the sides of
//! a very fine trace (over about 1,000 points) irregular directions; [`offset`] then refuses large distances
//! ([`OutlineError::Folds`]).

use super::boxing::Boxing;
use super::outline::{Outline, OutlineError, Point};

/// The largest distance an outline is moved by, mm.
pub const MAX_OFFSET_MM: f64 = 5.0;

/// The other eye's outline: x becomes -x. The list stays counter-clockwise and starts at the mirrored direction, so
/// that point `i` of `N` (even, equally spaced) is the mirror of point `N/2 - i`.
pub fn mirror(outline: &Outline) -> Outline {
    let old = outline.points();
    let n = old.len();
    let flip = |p: Point| Point::new(-p.x_mm, p.y_mm);
    let points = (0..n).map(|i| flip(old[(n + n / 2 - i) % n])).collect();
    Outline::centered(points, flip(outline.tracing_center()))
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

/// The parallel outline, outwards for a positive distance: an edger's size change on the radius, or the base of a
/// bevel (inwards by its depth).
///
/// Each side moves along its normal, and neighbors are extended to their intersection, so corners stay sharp. On a
/// smooth trace the circumference grows by 2π times the distance (closed form); at a sharp corner by more.
///
/// # Errors
///
/// [`OutlineError::Size`] beyond [`MAX_OFFSET_MM`]. [`OutlineError::Folds`] where the outline is curved more tightly
/// than the distance, so the parallel outline would cross itself. As [`Outline::from_points`] for the result.
pub fn offset(outline: &Outline, distance_mm: f64) -> Result<Outline, OutlineError> {
    if !distance_mm.is_finite() || distance_mm.abs() > MAX_OFFSET_MM {
        return Err(OutlineError::Size(distance_mm));
    }
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
        let cos = before.x_mm * after.x_mm + before.y_mm * after.y_mm;
        // The sides are nearly opposite, so their intersection is far away.
        if cos < -0.8 {
            return Err(OutlineError::Folds { index, distance_mm });
        }
        let reach = distance_mm / (1.0 + cos);
        points.push(Point::new(
            old[index].x_mm + reach * (before.x_mm + after.x_mm),
            old[index].y_mm + reach * (before.y_mm + after.y_mm),
        ));
    }
    let runs_back = |i: usize| {
        let (old_side, new_side) = (old[(i + 1) % n].minus(old[i]), points[(i + 1) % n].minus(points[i]));
        old_side.x_mm * new_side.x_mm + old_side.y_mm * new_side.y_mm <= 0.0
    };
    if let Some(index) = (0..n).find(|&i| runs_back(i)) {
        return Err(OutlineError::Folds { index, distance_mm });
    }
    Outline::about(points, outline.tracing_center())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::Eye;
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
    fn refuses_an_offset_that_would_fold() {
        // The ellipse's tightest curve is b²/a = 16 mm; a hollow of 2 mm radius cannot move out by 4.
        let hollow: Vec<f64> = (0..720)
            .map(|i| {
                let t = (f64::from(i) / 2.0 - 90.0).to_radians();
                20.0 - 4.0 * (-(t * t) / 0.01).exp()
            })
            .collect();
        let hollow = Outline::from_radii_mm(&hollow).unwrap();
        assert!(matches!(offset(&hollow, 4.0), Err(OutlineError::Folds { .. })));
        assert!(offset(&hollow, 0.2).is_ok());
        assert_eq!(offset(&ellipse(), 5.1), Err(OutlineError::Size(5.1)));
        assert!(scale(&ellipse(), 0.0).is_err() && scale(&ellipse(), f64::NAN).is_err());
        assert!(matches!(scale(&ellipse(), 3.0), Err(OutlineError::Radius { .. })));
        assert!(resize_to_circumference(&ellipse(), -1.0).is_err());
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
