//! The smooth closed curve through the points of a coarse outline.
//!
//! A tracer with few points stands for a smooth rim, not for a polygon: 36 points on a circle of 44 mm make a polygon
//! that is 0.18 mm shorter. Between neighbors runs a cubic (Hermite) whose direction at each point is that of the circle
//! through the point and its two neighbors, so a circle stays a circle to a millionth.

use super::outline::{Outline, Point};

/// An outline with at least this many points is fine enough as it is: its polygon is at most 0.01 mm short on a rim.
/// Computed: the chord of a circle of 25 mm.
pub const FINE: usize = 240;
/// A sharper turn at a point is a corner, and the sides that meet in it stay straight there.
const CORNER_DEG: f64 = 35.0;

/// The points of the outline with enough more between them to make at least [`FINE`]; as they are when there are enough.
/// Every point of the outline is kept. `center` is the point the outline goes once around.
pub(super) fn refined(points: &[Point], center: Point) -> Vec<Point> {
    let count = points.len();
    if !(3..FINE).contains(&count) {
        return points.to_vec();
    }
    let parts = FINE.div_ceil(count);
    let arrows: Vec<Option<Point>> =
        (0..count).map(|i| direction(points[(i + count - 1) % count], points[i], points[(i + 1) % count])).collect();
    let mut fine = Vec::with_capacity(count * parts);
    for index in 0..count {
        let next = (index + 1) % count;
        let piece = CubicPiece::new(points[index], points[next], arrows[index], arrows[next]);
        fine.push(points[index]);
        let between: Vec<Point> = (1..parts).map(|part| piece.at(part as f64 / parts as f64)).collect();
        if goes_forward(points[index], &between, points[next], center) {
            fine.extend(between);
        } else {
            fine.extend((1..parts).map(|part| piece.on_chord(part as f64 / parts as f64)));
        }
    }
    fine
}

/// The direction of the circle through three neighbors at the middle one; `None` at a corner.
fn direction(before: Point, at: Point, after: Point) -> Option<Point> {
    let (one, two) = (at.minus(before), after.minus(at));
    let (short, long) = (one.length_mm(), two.length_mm());
    let turn = one.cross(two).atan2(one.dot(two)).abs();
    if short == 0.0 || long == 0.0 || turn > CORNER_DEG.to_radians() {
        return None;
    }
    // The parabola through the three points by chord length has this derivative in the middle; on a circle it is tangent.
    let tangent = one.times(long / short).plus(two.times(short / long));
    Some(tangent.times(1.0 / tangent.length_mm()))
}

/// The cubic from one point to the next.
struct CubicPiece {
    from: Point,
    to: Point,
    leaves: Point,
    arrives: Point,
}

impl CubicPiece {
    fn new(from: Point, to: Point, leaves: Option<Point>, arrives: Option<Point>) -> Self {
        let chord = to.minus(from);
        let length = chord.length_mm();
        let unit = chord.times(1.0 / length);
        let (leaves, arrives) = (leaves.unwrap_or(unit), arrives.unwrap_or(unit));
        // The speed that makes the cubic an arc of a circle: 4 tan(turn/4) for a radius of 1, whose chord is
        // 2 sin(turn/2).
        let turn = leaves.cross(arrives).atan2(leaves.dot(arrives)).abs();
        let speed = if turn < 1e-6 { length } else { length * 2.0 * (turn / 4.0).tan() / (turn / 2.0).sin() };
        Self { from, to, leaves: leaves.times(speed), arrives: arrives.times(speed) }
    }

    fn at(&self, t: f64) -> Point {
        let (square, cube) = (t * t, t * t * t);
        self.from
            .times(2.0 * cube - 3.0 * square + 1.0)
            .plus(self.to.times(3.0 * square - 2.0 * cube))
            .plus(self.leaves.times(cube - 2.0 * square + t))
            .plus(self.arrives.times(cube - square))
    }

    fn on_chord(&self, t: f64) -> Point {
        self.from.plus(self.to.minus(self.from).times(t))
    }
}

/// Whether a ray from the center meets the piece once.
fn goes_forward(from: Point, between: &[Point], to: Point, center: Point) -> bool {
    let path = std::iter::once(&from).chain(between).chain(std::iter::once(&to));
    let mut before: Option<Point> = None;
    path.map(|p| p.minus(center)).all(|p| before.replace(p).is_none_or(|earlier| earlier.cross(p) > 0.0))
}

/// The radii of an outline about its tracing center, in `count` equally spaced directions from 0°, in millimeters.
///
/// The radius in a direction is where the ray meets the polygon, so nothing of its size is lost between the points of a
/// fine outline.
pub fn radii_mm(outline: &Outline, count: usize) -> Vec<f64> {
    let center = outline.tracing_center();
    let sides: Vec<(Point, Point)> = outline.edges().map(|(p, q)| (p.minus(center), q.minus(center))).collect();
    // The outline goes around its tracing center, so its sides are in the order of the directions.
    let first = (0..sides.len()).find(|&i| sides[i].0.y_mm < 0.0 && sides[i].1.y_mm >= 0.0).unwrap_or(0);
    let mut at = first;
    let radius = |index: usize| {
        let ray = Point::polar(1.0, 360.0 * index as f64 / count as f64);
        for _ in 0..=sides.len() {
            let (p, q) = sides[at];
            let (before, after) = (ray.cross(p), ray.cross(q));
            if before <= 0.0 && after >= 0.0 && p.plus(q).dot(ray) > 0.0 && before < after {
                let share = before / (before - after);
                return p.plus(q.minus(p).times(share)).dot(ray);
            }
            at = (at + 1) % sides.len();
        }
        outline.radius_at_mm(360.0 * index as f64 / count as f64)
    };
    (0..count).map(radius).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shape::boxing::Boxing;
    use std::f64::consts::PI;

    fn ring(count: usize, at: impl Fn(f64) -> Point) -> Vec<Point> {
        (0..count).map(|i| at(2.0 * PI * i as f64 / count as f64)).collect()
    }

    #[test]
    fn few_points_on_a_circle_make_the_circle() {
        // 2πr and πr²: closed form. The polygon of 36 points is 0.175 mm shorter.
        let points = ring(36, |t| Point::new(22.0 * t.cos(), 22.0 * t.sin()));
        let size = Boxing::of(&Outline::from_points(refined(&points, Point::ORIGIN)).unwrap());
        assert!((size.circumference_mm - 44.0 * PI).abs() < 0.01, "{size:?}");
        assert!((size.area_mm2 - 484.0 * PI).abs() < 0.2, "{size:?}");
    }

    #[test]
    fn few_points_on_an_ellipse_keep_its_size() {
        // An ellipse 52 × 36, its axes turned by 17° so that no point is at an extreme. Extremes in closed form:
        // √(a²cos² + b²sin²); circumference by Ramanujan's second formula.
        let (a, b, turn) = (26.0_f64, 18.0_f64, 17.0_f64.to_radians());
        let points = ring(36, |t| Point::new(a * t.cos(), b * t.sin()).turned(17.0));
        let size = Boxing::of(&Outline::from_points(refined(&points, Point::ORIGIN)).unwrap());
        let h = ((a - b) / (a + b)).powi(2);
        let around = PI * (a + b) * (1.0 + 3.0 * h / (10.0 + (4.0 - 3.0 * h).sqrt()));
        let wide = 2.0 * (a * turn.cos()).hypot(b * turn.sin());
        let high = 2.0 * (a * turn.sin()).hypot(b * turn.cos());
        assert!((size.circumference_mm - around).abs() < 0.02, "{} {around}", size.circumference_mm);
        assert!((size.a_mm - wide).abs() < 0.01 && (size.b_mm - high).abs() < 0.01, "{size:?} {wide} {high}");
    }

    #[test]
    fn corners_and_straight_sides_stay() {
        let corners = [(25.0, 15.0), (-25.0, 15.0), (-25.0, -15.0), (25.0, -15.0)];
        let points: Vec<Point> = (0..4)
            .flat_map(|i| {
                let ((x, y), (u, v)) = (corners[i], corners[(i + 1) % 4]);
                (0..9).map(move |k| {
                    let share = f64::from(k) / 9.0;
                    Point::new(x + (u - x) * share, y + (v - y) * share)
                })
            })
            .collect();
        let size = Boxing::of(&Outline::from_points(refined(&points, Point::ORIGIN)).unwrap());
        assert!((size.circumference_mm - 160.0).abs() < 1e-9 && (size.area_mm2 - 1500.0).abs() < 1e-9, "{size:?}");
    }

    #[test]
    fn radii_in_other_directions_keep_the_size() {
        let at = |t: f64| Point::new(26.0 * t.cos() + 1.5, 18.0 * t.sin() - 0.7);
        for (from, to) in [(10_000, 400), (400, 10_000), (777, 512), (240, 1000)] {
            let outline = Outline::from_points(ring(from, at)).unwrap();
            let again = Outline::from_radii_mm(&radii_mm(&outline, to)).unwrap();
            let (was, is) = (Boxing::of(&outline), Boxing::of(&again));
            for (was, is) in [(was.a_mm, is.a_mm), (was.b_mm, is.b_mm), (was.circumference_mm, is.circumference_mm)] {
                assert!((was - is).abs() < 0.01, "{from} to {to}: {was} {is}");
            }
        }
    }
}
