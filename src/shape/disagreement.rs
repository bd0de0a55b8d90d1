//! How much the right and left rims of one frame differ from mirror images.

use super::boxing::Boxing;
use super::nearest::Nearest;
use super::outline::Outline;
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
        let nearest = Nearest::of(&left);
        let mut worst = (0.0, 0.0);
        for &point in right.points() {
            let distance_mm = nearest.distance_mm(point);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shape::nearest::Side;
    use crate::shape::outline::Point;

    fn dented(depth_mm: f64) -> Outline {
        let radii: Vec<f64> = (0..360).map(|i| 24.0 - depth_mm * (-(f64::from(i - 120) / 8.0).powi(2)).exp()).collect();
        Outline::from_radii_mm(&radii).unwrap()
    }

    /// No side is left out: the same as holding every point against every side.
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
