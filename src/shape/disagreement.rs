//! How much the right and left rims of one frame differ from mirror images.

use super::boxing::Boxing;
use super::outline::{Outline, Point};
use super::transform::mirror;

/// A difference of this size or more in A, in B or at any point is reported. At half a millimeter a lens cut from
/// one eye's trace is loose or too tight in the other rim. Source: common practice (from memory).
pub const REPORTED_MM: f64 = 0.5;
/// The same for the circumference. Source: common practice (from memory).
pub const CIRCUMFERENCE_REPORTED_MM: f64 = 1.0;

/// Right minus left, and the point where they differ most.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Disagreement {
    /// Right A minus left A.
    pub a_mm: f64,
    /// Right B minus left B.
    pub b_mm: f64,
    /// Right circumference minus left.
    pub circumference_mm: f64,
    /// The largest distance from a point of the right outline to the mirrored left one, boxing centers aligned.
    pub worst_mm: f64,
    /// The direction of that point on the right eye, about the boxing center, front view.
    pub worst_at_deg: f64,
}

impl Disagreement {
    /// Compares a pair.
    pub fn of(right: &Outline, left: &Outline) -> Self {
        let (r, l) = (Boxing::of(right), Boxing::of(left));
        let left = mirror(left);
        let sides: Vec<Side> = left.edges().map(|(from, to)| Side::of(from, to)).collect();
        let stretches: Vec<Stretch<'_>> = sides.chunks(SIDES_OF_A_STRETCH).map(Stretch::of).collect();
        let (mut worst, mut near) = ((0.0, 0.0), 0);
        for &point in right.points() {
            let distance_mm = nearest_mm(&stretches, &mut near, point);
            // A difference within rounding error does not move the worst point.
            if distance_mm > worst.0 + 1e-9 {
                worst = (distance_mm, point.angle_deg());
            }
        }
        Self {
            a_mm: r.a_mm - l.a_mm,
            b_mm: r.b_mm - l.b_mm,
            circumference_mm: r.circumference_mm - l.circumference_mm,
            worst_mm: worst.0,
            worst_at_deg: worst.1,
        }
    }

    /// Whether the difference is large enough to report to the owner.
    pub fn is_reported(&self) -> bool {
        let sizes = [self.a_mm, self.b_mm, self.worst_mm];
        sizes.iter().any(|mm| mm.abs() >= REPORTED_MM) || self.circumference_mm.abs() >= CIRCUMFERENCE_REPORTED_MM
    }
}

/// So many sides lie in one circle: about the fastest with 400 points and with 4,000, where it is ten times as fast as all sides.
const SIDES_OF_A_STRETCH: usize = 48;

/// Neighboring sides, and a circle that all of them lie in.
struct Stretch<'a> {
    sides: &'a [Side],
    center: Point,
    radius_mm: f64,
}

impl<'a> Stretch<'a> {
    fn of(sides: &'a [Side]) -> Self {
        let center = sides[sides.len() / 2].from;
        let ends = sides.iter().flat_map(|side| [side.from, side.from.plus(side.along)]);
        let radius_mm = ends.map(|end| end.minus(center).length_mm()).fold(0.0, f64::max);
        Self { sides, center, radius_mm }
    }

    fn nearest_mm(&self, point: Point) -> f64 {
        self.sides.iter().map(|side| side.distance_mm2(point)).fold(f64::INFINITY, f64::min).sqrt()
    }
}

/// The distance from a point to the nearest side. The stretch that was near the point before is looked at first; the others
/// only where their circle comes nearer than what was found.
fn nearest_mm(stretches: &[Stretch<'_>], near: &mut usize, point: Point) -> f64 {
    let mut nearest_mm = stretches[*near].nearest_mm(point);
    for (index, stretch) in stretches.iter().enumerate() {
        if point.minus(stretch.center).length_mm() - stretch.radius_mm < nearest_mm {
            let here_mm = stretch.nearest_mm(point);
            if here_mm < nearest_mm {
                (nearest_mm, *near) = (here_mm, index);
            }
        }
    }
    nearest_mm
}

/// A side of an outline, measured against many points, so lengths are compared by their squares.
struct Side {
    from: Point,
    along: Point,
    length_mm2: f64,
}

impl Side {
    fn of(from: Point, to: Point) -> Self {
        let along = to.minus(from);
        Self { from, along, length_mm2: dot_mm2(along, along) }
    }

    /// The square of the distance from a point to the nearest point of the side.
    fn distance_mm2(&self, point: Point) -> f64 {
        let to_point = point.minus(self.from);
        let share = (dot_mm2(self.along, to_point) / self.length_mm2).clamp(0.0, 1.0);
        let off = to_point.minus(Point::new(self.along.x_mm * share, self.along.y_mm * share));
        dot_mm2(off, off)
    }
}

fn dot_mm2(one: Point, other: Point) -> f64 {
    one.x_mm * other.x_mm + one.y_mm * other.y_mm
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dented(depth_mm: f64) -> Outline {
        let radii: Vec<f64> = (0..360).map(|i| 24.0 - depth_mm * (-(f64::from(i - 120) / 8.0).powi(2)).exp()).collect();
        Outline::from_radii_mm(&radii).unwrap()
    }

    /// The stretches leave out no side: the same as holding every point against every side.
    #[test]
    fn the_nearest_side_is_found_among_all() {
        for points in [36, 100, 4000] {
            let radii = |shift: f64| -> Vec<f64> {
                let wave = |i: i32| (f64::from(i) * 7.0 / f64::from(points) + shift).sin();
                (0..points).map(|i| 24.0 + 3.0 * wave(i).powi(3)).collect()
            };
            let (right, left) =
                (Outline::from_radii_mm(&radii(0.0)).unwrap(), Outline::from_radii_mm(&radii(0.3)).unwrap());
            let sides: Vec<Side> = mirror(&left).edges().map(|(from, to)| Side::of(from, to)).collect();
            let nearest = |p: &Point| sides.iter().map(|s| s.distance_mm2(*p)).fold(f64::INFINITY, f64::min).sqrt();
            let want_mm = right.points().iter().map(nearest).fold(0.0, f64::max);
            let got = Disagreement::of(&right, &left);
            assert!((got.worst_mm - want_mm).abs() < 1e-8, "{points}: {} and {want_mm}", got.worst_mm);
        }
    }

    #[test]
    fn mirror_images_agree() {
        let right = dented(1.0);
        let got = Disagreement::of(&right, &mirror(&right));
        assert!(got.worst_mm < 1e-9 && got.a_mm.abs() < 1e-9 && !got.is_reported());
        // The same outline unmirrored is another shape: the dent is at 120° here and would be at 60° there.
        assert!(Disagreement::of(&right, &right).is_reported());
    }

    #[test]
    fn the_worst_point_is_given_on_the_right_eye() {
        let got = Disagreement::of(&dented(0.6), &dented(0.0));
        assert!((got.worst_mm - 0.6).abs() < 0.01 && (got.worst_at_deg - 120.0).abs() < 1.5, "{got:?}");
        assert!(got.is_reported());
        assert!(!Disagreement::of(&dented(0.3), &dented(0.0)).is_reported());
    }

    #[test]
    fn differences_are_right_minus_left() {
        let round = |radius| Outline::from_radii_mm(&[radius; 400]).unwrap();
        let got = Disagreement::of(&round(25.2), &round(25.0));
        assert!((got.a_mm - 0.4).abs() < 1e-9 && (got.b_mm - 0.4).abs() < 1e-9 && (got.worst_mm - 0.2).abs() < 1e-2);
        // 2π · 0.2 = 1.26.
        assert!((got.circumference_mm - 1.2566).abs() < 1e-3 && got.is_reported());
    }
}
