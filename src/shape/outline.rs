//! The outline for computing: closed, finite, wound counter-clockwise, centered in its box.
//!
//! The [`Trace`](super::trace::Trace) it comes from is exact and is what the lab stores. The constructors of both
//! check their values.

use std::f64::consts::PI;

use thiserror::Error;

/// The fewest points accepted as a traced shape. A tracer gives 36 or more.
pub const MIN_POINTS: usize = 8;
/// The fewest corners of a polygon that is drawn, not traced.
pub const MIN_CORNERS: usize = 3;
/// The most points accepted.
pub const MAX_POINTS: usize = 10_000;
/// The shortest radius accepted for a lens, mm. Source: common practice (from memory).
pub const MIN_RADIUS_MM: f64 = 5.0;
/// The longest radius accepted for a lens, mm. Source: common practice (from memory).
pub const MAX_RADIUS_MM: f64 = 50.0;

/// Why something is not the outline of a lens.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum OutlineError {
    /// Fewer than [`MIN_POINTS`] points.
    #[error("a shape needs at least {MIN_POINTS} points, but this one has {0}")]
    TooFew(usize),
    /// Fewer than [`MIN_CORNERS`] corners.
    #[error("a closed shape needs at least {MIN_CORNERS} points, but this one has {0}")]
    NotClosed(usize),
    /// More than [`MAX_POINTS`] points.
    #[error("a shape may have at most {MAX_POINTS} points, but this one has {0}")]
    TooMany(usize),
    /// A number that is infinite or not a number.
    #[error("point {index} is not a finite number")]
    NotFinite {
        /// Which point, from 0.
        index: usize,
    },
    /// A radius that no lens has.
    #[error("radius {index} is {radius_mm:.2} mm; a lens has radii of {MIN_RADIUS_MM} to {MAX_RADIUS_MM} mm")]
    Radius {
        /// Which point, from 0.
        index: usize,
        /// The radius about the tracing center.
        radius_mm: f64,
    },
    /// The list of angles is not as long as the list of radii.
    #[error("there are {radii} radii and {angles} angles")]
    AngleCount {
        /// How many radii.
        radii: usize,
        /// How many angles.
        angles: usize,
    },
    /// An angle that does not follow its predecessor, or is outside 0 to 359.99.
    #[error("angle {index} ({:.2}°) does not increase, or is outside 0 to 359.99", f64::from(*.hundredths) / 100.0)]
    Angle {
        /// Which angle, from 0.
        index: usize,
        /// The angle in hundredths of a degree.
        hundredths: i32,
    },
    /// Too wide a gap between neighboring points.
    #[error("there is no point for more than 60° after point {index}")]
    Gap {
        /// The point before the gap, from 0.
        index: usize,
    },
    /// The points do not go exactly once around the tracing center.
    #[error("the points do not go once around the center, at point {index}")]
    NotRound {
        /// The first point that turns back, from 0.
        index: usize,
    },
    /// A size or offset that makes no lens.
    #[error("a size of {0} mm makes no lens")]
    Size(f64),
    /// A parallel outline that crosses itself.
    #[error("the outline is curved too tightly at point {index} to move it by {distance_mm} mm")]
    Folds {
        /// Where it folds, from 0.
        index: usize,
        /// The requested offset.
        distance_mm: f64,
    },
    /// Stored bytes that [`Trace::to_bytes`](super::trace::Trace::to_bytes) did not write.
    #[error("the stored trace is damaged: {0}")]
    Bytes(&'static str),
}

/// A point in the front view: x to the observer's right, y up.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Point {
    /// To the observer's right.
    pub x_mm: f64,
    /// Up.
    pub y_mm: f64,
}

impl Point {
    /// The origin.
    pub const ORIGIN: Point = Point { x_mm: 0.0, y_mm: 0.0 };

    /// A point from its two coordinates.
    pub fn new(x_mm: f64, y_mm: f64) -> Self {
        Self { x_mm, y_mm }
    }

    /// A point from its distance and direction, counter-clockwise from the observer's right.
    pub fn polar(radius_mm: f64, angle_deg: f64) -> Self {
        let (sin, cos) = angle_deg.to_radians().sin_cos();
        Self { x_mm: radius_mm * cos, y_mm: radius_mm * sin }
    }

    /// The vector from `other` to this point.
    pub fn minus(self, other: Point) -> Point {
        Point { x_mm: self.x_mm - other.x_mm, y_mm: self.y_mm - other.y_mm }
    }

    /// This point moved by `other`.
    pub fn plus(self, other: Point) -> Point {
        Point { x_mm: self.x_mm + other.x_mm, y_mm: self.y_mm + other.y_mm }
    }

    /// This vector made longer or shorter.
    pub fn times(self, factor: f64) -> Point {
        Point { x_mm: self.x_mm * factor, y_mm: self.y_mm * factor }
    }

    /// This point turned counter-clockwise about the origin.
    pub fn turned(self, angle_deg: f64) -> Point {
        let (sin, cos) = angle_deg.to_radians().sin_cos();
        Point { x_mm: self.x_mm * cos - self.y_mm * sin, y_mm: self.x_mm * sin + self.y_mm * cos }
    }

    /// The distance from the origin.
    pub fn length_mm(self) -> f64 {
        // Not `hypot`, which takes several times as long: no length here is near the ends of what an f64 holds.
        self.dot(self).sqrt()
    }

    /// The direction from the origin, 0 up to (not including) 360.
    pub fn angle_deg(self) -> f64 {
        // Rounding error just below the horizontal must give 0, not 360; -0.0 must give 0, not 180.
        let y_mm = if self.y_mm.abs() < 1e-12 { 0.0 } else { self.y_mm };
        let angle = y_mm.atan2(self.x_mm).to_degrees();
        if angle < 0.0 { angle + 360.0 } else { angle }
    }

    /// Twice the signed area of the triangle origin, this point, `other`: positive when `other` lies
    /// counter-clockwise of this one.
    pub(crate) fn cross(self, other: Point) -> f64 {
        self.x_mm * other.y_mm - self.y_mm * other.x_mm
    }

    /// The scalar product.
    pub(crate) fn dot(self, other: Point) -> f64 {
        self.x_mm * other.x_mm + self.y_mm * other.y_mm
    }

    fn is_finite(self) -> bool {
        self.x_mm.is_finite() && self.y_mm.is_finite()
    }
}

/// A closed polygon, finite, simple, wound counter-clockwise, whose origin is the boxing center.
///
/// It is star-shaped about the tracing center: each ray from there meets it once. About the boxing center it may not
/// be. It may be concave. The last point connects to the first, which is not repeated.
#[derive(Debug, Clone, PartialEq)]
pub struct Outline {
    points: Vec<Point>,
    tracing_center: Point,
}

impl Outline {
    /// An outline from equally spaced radii about the tracing center, the first at 0°: the polygon through them, from
    /// [`MIN_CORNERS`] corners on.
    ///
    /// # Errors
    ///
    /// [`OutlineError`]: count, a radius out of range or not finite.
    pub fn from_radii_mm(radii_mm: &[f64]) -> Result<Self, OutlineError> {
        match radii_mm.len() {
            n if n < MIN_CORNERS => return Err(OutlineError::NotClosed(n)),
            n if n > MAX_POINTS => return Err(OutlineError::TooMany(n)),
            _ => {}
        }
        for (index, &radius_mm) in radii_mm.iter().enumerate() {
            check_radius(index, radius_mm)?;
        }
        let directions = equal_directions(radii_mm.len(), 0.0);
        let points = radii_mm.iter().zip(directions).map(|(&r, to)| to.times(r)).collect();
        Ok(Self::centered(points, Point::ORIGIN))
    }

    /// An outline from points about the tracing center, in either winding.
    ///
    /// # Errors
    ///
    /// [`OutlineError`]: count, a point too near or too far or not finite, points that do not go once around the
    /// tracing center.
    pub fn from_points(points: Vec<Point>) -> Result<Self, OutlineError> {
        Self::about(points, Point::ORIGIN)
    }

    /// As [`Outline::from_points`], with the tracing center anywhere.
    pub(crate) fn about(mut points: Vec<Point>, tracing_center: Point) -> Result<Self, OutlineError> {
        check_count(points.len())?;
        for (index, point) in points.iter().enumerate() {
            if !point.is_finite() {
                return Err(OutlineError::NotFinite { index });
            }
            check_radius(index, point.minus(tracing_center).length_mm())?;
        }
        if doubled_area_mm2(&points) < 0.0 {
            points.reverse();
        }
        let mut turned_rad = 0.0;
        for (index, (p, q)) in edges(&points).enumerate() {
            let (p, q) = (p.minus(tracing_center), q.minus(tracing_center));
            let cross = p.cross(q);
            if cross <= 0.0 {
                return Err(OutlineError::NotRound { index });
            }
            turned_rad += cross.atan2(p.x_mm * q.x_mm + p.y_mm * q.y_mm);
        }
        // Every step turns forward, so the total is a whole number of turns. More than one means the outline overlaps
        // itself.
        if turned_rad > 3.0 * PI {
            return Err(OutlineError::NotRound { index: 0 });
        }
        Ok(Self::centered(points, tracing_center))
    }

    /// Moves the origin to the middle of the box. The points must already be a valid outline.
    pub(crate) fn centered(mut points: Vec<Point>, tracing_center: Point) -> Self {
        let (low, high) = extent(&points);
        let middle = Point::new((low.x_mm + high.x_mm) / 2.0, (low.y_mm + high.y_mm) / 2.0);
        for point in &mut points {
            *point = point.minus(middle);
        }
        Self { points, tracing_center: tracing_center.minus(middle) }
    }

    /// The corners, counter-clockwise, about the boxing center.
    pub fn points(&self) -> &[Point] {
        &self.points
    }

    /// The tracing center, from the boxing center.
    pub fn tracing_center(&self) -> Point {
        self.tracing_center
    }

    /// The height of its box: the B of [`Boxing`](super::boxing::Boxing), where nothing else of it is asked for.
    pub fn height_mm(&self) -> f64 {
        let (low, high) = extent(&self.points);
        high.y_mm - low.y_mm
    }

    /// Each side of the polygon, the closing one last.
    pub fn edges(&self) -> impl Iterator<Item = (Point, Point)> + '_ {
        edges(&self.points)
    }

    /// Whether a point lies inside (the border counts as either).
    pub fn contains(&self, point: Point) -> bool {
        // Crossings of the ray to the right.
        self.edges().fold(false, |inside, (p, q)| {
            let crosses = (p.y_mm > point.y_mm) != (q.y_mm > point.y_mm)
                && point.x_mm < p.x_mm + (point.y_mm - p.y_mm) / (q.y_mm - p.y_mm) * (q.x_mm - p.x_mm);
            inside != crosses
        })
    }

    /// The distance from the boxing center to the outline in a direction; the farthest, if it is crossed more than once.
    pub fn radius_at_mm(&self, angle_deg: f64) -> f64 {
        let ray = Point::polar(1.0, angle_deg);
        let mut farthest: f64 = 0.0;
        for (p, q) in self.edges() {
            let (side_p, side_q) = (ray.cross(p), ray.cross(q));
            if (side_p <= 0.0) != (side_q <= 0.0) {
                let share = side_p / (side_p - side_q);
                let met = Point::new(p.x_mm + share * (q.x_mm - p.x_mm), p.y_mm + share * (q.y_mm - p.y_mm));
                farthest = farthest.max(met.x_mm * ray.x_mm + met.y_mm * ray.y_mm);
            }
        }
        farthest
    }
}

pub(crate) fn edges(points: &[Point]) -> impl Iterator<Item = (Point, Point)> + '_ {
    let after = |index: usize| points[if index + 1 == points.len() { 0 } else { index + 1 }];
    points.iter().enumerate().map(move |(index, &point)| (point, after(index)))
}

pub(crate) fn extent(points: &[Point]) -> (Point, Point) {
    let far = f64::INFINITY;
    points.iter().fold((Point::new(far, far), Point::new(-far, -far)), |(low, high), p| {
        (
            Point::new(low.x_mm.min(p.x_mm), low.y_mm.min(p.y_mm)),
            Point::new(high.x_mm.max(p.x_mm), high.y_mm.max(p.y_mm)),
        )
    })
}

/// Twice the signed area, positive when wound counter-clockwise.
pub(crate) fn doubled_area_mm2(points: &[Point]) -> f64 {
    // Relative to the first corner, so a shape far from the origin loses no precision.
    let first = points.first().copied().unwrap_or_default();
    edges(points).map(|(p, q)| p.minus(first).cross(q.minus(first))).sum()
}

/// Points at unit distance in equally spaced directions: every sixteenth from its sine and cosine, and the fifteen after
/// it turned on from there, which is as exact and takes a third of the time.
pub(super) fn equal_directions(count: usize, first_step: f64) -> Vec<Point> {
    const TURNED: usize = 16;
    let at = |step: f64| Point::polar(1.0, step * 360.0 / count as f64);
    let turns: Vec<Point> = (0..TURNED.min(count)).map(|step| at(step as f64)).collect();
    let starts = (0..count).step_by(TURNED).map(|start| at(start as f64 + first_step));
    let turned = |from: Point, turn: Point| {
        Point::new(from.x_mm * turn.x_mm - from.y_mm * turn.y_mm, from.y_mm * turn.x_mm + from.x_mm * turn.y_mm)
    };
    starts.flat_map(|from| turns.iter().map(move |&turn| turned(from, turn))).take(count).collect()
}

pub(super) fn equal_angles_deg(count: usize, first_step: f64) -> Vec<f64> {
    (0..count).map(|i| (i as f64 + first_step) * 360.0 / count as f64).collect()
}

pub(super) fn check_count(count: usize) -> Result<(), OutlineError> {
    match count {
        n if n < MIN_POINTS => Err(OutlineError::TooFew(n)),
        n if n > MAX_POINTS => Err(OutlineError::TooMany(n)),
        _ => Ok(()),
    }
}

pub(super) fn check_radius(index: usize, radius_mm: f64) -> Result<(), OutlineError> {
    if !radius_mm.is_finite() {
        return Err(OutlineError::NotFinite { index });
    }
    if !(MIN_RADIUS_MM..=MAX_RADIUS_MM).contains(&radius_mm) {
        return Err(OutlineError::Radius { index, radius_mm });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_must_go_once_around_the_center() {
        assert_eq!(Outline::from_radii_mm(&[f64::NAN; 8]), Err(OutlineError::NotFinite { index: 0 }));
        let ring: Vec<Point> = (0..36).map(|i| Point::polar(20.0, f64::from(i) * 10.0)).collect();
        let outline = Outline::from_points(ring.clone()).unwrap();
        let mut clockwise = ring.clone();
        clockwise.reverse();
        assert!(doubled_area_mm2(Outline::from_points(clockwise).unwrap().points()) > 0.0);
        assert!(outline.contains(Point::new(19.0, 3.0)) && !outline.contains(Point::new(19.0, 13.0)));
        let mut crossed = ring.clone();
        crossed.swap(4, 5);
        assert_eq!(Outline::from_points(crossed), Err(OutlineError::NotRound { index: 4 }));
        let twice: Vec<Point> = (0..36).map(|i| Point::polar(20.0, f64::from(i) * 20.0)).collect();
        assert_eq!(Outline::from_points(twice), Err(OutlineError::NotRound { index: 0 }));
    }

    #[test]
    fn the_origin_is_the_middle_of_the_box() {
        // A circle of 22 mm traced from a point 3 mm to the right of and 2 mm below its middle.
        let points = (0..720).map(|i| Point::polar(22.0, f64::from(i) * 0.5).plus(Point::new(-3.0, 2.0))).collect();
        let outline = Outline::from_points(points).unwrap();
        let center = outline.tracing_center();
        assert!((center.x_mm - 3.0).abs() < 1e-9 && (center.y_mm + 2.0).abs() < 1e-9);
        for angle_deg in [0.0, 10.3, 90.0, 179.0, 300.0] {
            assert!((outline.radius_at_mm(angle_deg) - 22.0).abs() < 1e-3, "{angle_deg}");
        }
    }
}
