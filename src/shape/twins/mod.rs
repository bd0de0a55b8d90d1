//! Which shapes on file look like this one?
//!
//! Two outlines are as far apart as the largest gap between them after the best alignment: one is moved, turned by up to
//! [`MOST_TURN_DEG`], and made larger or smaller where size does not count, until the largest distance from a point of
//! either to the other is least. `align` computes that. It takes a tenth of a millisecond, so it is not done for every
//! shape on file.
//!
//! `mark` keeps a few numbers of each shape from which a lower bound of that distance follows, and [`index`] compares
//! only the shapes whose bound is small enough. What it finds is what a full comparison finds.
//!
//! The bounds: the support of an outline in a direction is how far it reaches that way. Where no point of one outline is
//! farther than d from the other, their supports differ by at most d in every direction. Moving an outline changes its
//! support by a sine wave of one period alone; turning it shifts the support; mirroring reverses it.
//!
//! * `align` – the distance of two outlines. [`index`] – the best of many. `mark` – the numbers of one shape and the
//!   bounds. `worst_fit` – the smallest largest residual of linear equations.

mod align;
pub mod index;
mod mark;
mod worst_fit;

use std::convert::Infallible;

use super::outline::{Outline, Point};
use super::perimeter::Perimeter;
use super::transform::mirror_point;

/// An outline may be this far out of level, degrees. More than a tracer's clamp or a scan levelled by hand is off.
/// Source: common practice (from memory).
pub const MOST_TURN_DEG: f64 = 5.0;

/// The points of an outline that are compared.
const POINTS: usize = 256;
/// A sharper turn is a corner that keeps its point.
const CORNER_DEG: f64 = 20.0;

/// An outline as it is compared: the same number of points for all, at equal lengths along it.
#[derive(Debug, Clone)]
pub struct Shape {
    points: Box<[Point; POINTS]>,
    /// The side from each point to the next.
    sides: Box<[UnitSide; POINTS]>,
}

/// A side of a shape: a unit vector along it, and its length.
#[derive(Debug, Clone, Copy)]
struct UnitSide {
    along: Point,
    length_mm: f64,
}

impl UnitSide {
    fn between(from: Point, to: Point) -> Self {
        let side = to.minus(from);
        let length_mm = side.length_mm();
        let along = if length_mm > 0.0 { side.times(1.0 / length_mm) } else { Point::new(1.0, 0.0) };
        Self { along, length_mm }
    }

    /// Outward across the side, of unit length.
    fn outward(&self) -> Point {
        Point::new(self.along.y_mm, -self.along.x_mm)
    }
}

/// What may be done to a shape to make it look like another one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Ways {
    /// It may be mirrored.
    pub mirrored: bool,
    /// It may be made larger or smaller.
    pub any_size: bool,
}

/// How far two shapes are apart after the best alignment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Match {
    /// The largest gap between the outlines, at the size of the first.
    pub gap_mm: f64,
    /// Whether the second was mirrored.
    pub is_mirrored: bool,
    /// By how much it was turned, counter-clockwise.
    pub turned_deg: f64,
    /// By which factor its size was changed.
    pub scale: f64,
}

impl Match {
    /// The nearer of two ways to lay the same shapes.
    fn or_nearer(self, other: Match) -> Match {
        if other.gap_mm < self.gap_mm { other } else { self }
    }
}

impl Shape {
    /// The points to compare of an outline.
    pub fn of(outline: &Outline) -> Self {
        let path = Perimeter::of(outline);
        let step_mm = path.length_mm() / POINTS as f64;
        let mut points: [Point; POINTS] = std::array::from_fn(|i| path.at(i as f64 * step_mm));
        let corners = outline.points();
        let count = corners.len();
        for (index, &at) in corners.iter().enumerate() {
            let (one, two) = (at.minus(corners[(index + count - 1) % count]), corners[(index + 1) % count].minus(at));
            if one.cross(two).atan2(one.dot(two)).abs() > CORNER_DEG.to_radians() {
                points[(path.length_to_mm(index) / step_mm).round() as usize % POINTS] = at;
            }
        }
        Self::through(points)
    }

    fn through(points: [Point; POINTS]) -> Self {
        let sides = std::array::from_fn(|i| UnitSide::between(points[i], points[(i + 1) % POINTS]));
        Self { points: Box::new(points), sides: Box::new(sides) }
    }

    fn mirror(&self) -> Self {
        Self::through(std::array::from_fn(|i| mirror_point(self.points[POINTS - 1 - i])))
    }

    /// The distance to another shape after its best alignment with this one.
    pub fn distance(&self, other: &Shape, ways: Ways) -> Match {
        // No distance is too far.
        let judge = |_| Ok::<(), Infallible>(());
        let Ok(upright) = self.distance_one_way(other, false, ways.any_size, judge);
        if !ways.mirrored {
            return upright;
        }
        let Ok(mirrored) = self.distance_one_way(other, true, ways.any_size, judge);
        upright.or_nearer(mirrored)
    }

    /// The same with the other shape mirrored, or not. `judge` may give it up, as [`align::align`] says.
    fn distance_one_way<E>(
        &self,
        other: &Shape,
        is_mirrored: bool,
        any_size: bool,
        judge: impl Fn(f64) -> Result<(), E>,
    ) -> Result<Match, E> {
        if is_mirrored {
            let found = align::align(self, &other.mirror(), any_size, judge)?;
            Ok(Match { is_mirrored, ..found })
        } else {
            align::align(self, other, any_size, judge)
        }
    }
}

#[cfg(test)]
mod tests;
