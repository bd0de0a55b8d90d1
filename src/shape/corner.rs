//! How tightly an outline is bent: the smallest radius of an outward corner and of a hollow.
//!
//! A wheel cannot cut a hollow tighter than itself, and a bevel chips on a corner that is nearly sharp.

use super::outline::{Outline, Point};
use super::perimeter::Perimeter;

/// The reach on each side of the circle that measures a bend, mm: the widest first. A narrower one is used where the bend
/// is tight. Radii that are rounded to 0.01 mm move a radius of 2 mm by 0.1 mm at the narrowest reach (computed).
const REACHES_MM: [f64; 3] = [3.0, 1.5, 0.75];
/// A reach measures a radius down to this many times itself.
const TRUSTED: f64 = 1.4;
/// A hollow with a larger radius is a straight side, mm.
const STRAIGHT_MM: f64 = 500.0;

/// A bend and where it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bend {
    /// The radius of the circle that fits the outline there.
    pub radius_mm: f64,
    /// The direction from the boxing center, front view.
    pub at_deg: f64,
}

/// The tightest places of an outline.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bends {
    /// The tightest outward corner. A radius under about 0.7 mm is a sharp corner.
    pub corner: Bend,
    /// The tightest hollow, if there is any.
    pub hollow: Option<Bend>,
}

impl Bends {
    /// Measures an outline, every 0.2 mm.
    pub fn of(outline: &Outline) -> Self {
        let path = Perimeter::of(outline);
        let steps = (path.length_mm() / 0.2).ceil() as usize;
        let places = (0..steps).map(|step| path.length_mm() * step as f64 / steps as f64);
        let (mut corner, mut hollow) = ((0.0, Point::ORIGIN), (0.0, Point::ORIGIN));
        for place_mm in places {
            let bend = bend_per_mm(&path, place_mm);
            if bend > corner.0 {
                corner = (bend, path.at(place_mm));
            }
            if -bend > hollow.0 {
                hollow = (-bend, path.at(place_mm));
            }
        }
        let bend = |(per_mm, at): (f64, Point)| Bend { radius_mm: 1.0 / per_mm, at_deg: at.angle_deg() };
        Self { corner: bend(corner), hollow: (hollow.0 > 1.0 / STRAIGHT_MM).then(|| bend(hollow)) }
    }
}

/// The curvature at a place, positive outward.
fn bend_per_mm(path: &Perimeter, place_mm: f64) -> f64 {
    let mut bend = 0.0;
    for reach_mm in REACHES_MM {
        bend = through(path.at(place_mm - reach_mm), path.at(place_mm), path.at(place_mm + reach_mm));
        if bend * reach_mm * TRUSTED < 1.0 && bend * reach_mm * TRUSTED > -1.0 {
            break;
        }
    }
    bend
}

/// The curvature of the circle through three points.
fn through(before: Point, at: Point, after: Point) -> f64 {
    let (one, two, chord) = (at.minus(before), after.minus(at), after.minus(before));
    2.0 * one.cross(two) / (one.length_mm() * two.length_mm() * chord.length_mm())
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::{PI, TAU};

    fn close(got: f64, want: f64, share: f64) {
        assert!((got / want - 1.0).abs() < share, "{got} for {want}");
    }

    /// A rectangle 50 × 30 with round corners, rounded to 0.01 mm as a tracer gives it.
    fn rounded(radius_mm: f64) -> Outline {
        let corner = |x: f64, y: f64, from: f64| {
            (0..=60).map(move |i| {
                let t = from + PI / 2.0 * f64::from(i) / 60.0;
                Point::new(x + radius_mm * t.cos(), y + radius_mm * t.sin())
            })
        };
        let (x, y) = (25.0 - radius_mm, 15.0 - radius_mm);
        let points = corner(x, y, 0.0)
            .chain(corner(-x, y, PI / 2.0))
            .chain(corner(-x, -y, PI))
            .chain(corner(x, -y, 1.5 * PI))
            .collect();
        let fine = Outline::from_points(points).unwrap();
        let radii: Vec<f64> = super::super::spline::radii_mm(&fine, 800);
        Outline::from_radii_mm(&radii.iter().map(|r| (r * 100.0).round() / 100.0).collect::<Vec<_>>()).unwrap()
    }

    #[test]
    fn the_corner_of_a_rounded_rectangle() {
        for radius_mm in [2.0, 4.0, 8.0] {
            let bends = Bends::of(&rounded(radius_mm));
            close(bends.corner.radius_mm, radius_mm, 0.15);
            assert_eq!(bends.hollow, None, "{radius_mm}");
        }
        assert!(Bends::of(&rounded(0.1)).corner.radius_mm < 0.8, "{:?}", Bends::of(&rounded(0.1)));
    }

    #[test]
    fn the_tip_of_an_ellipse_by_its_closed_form() {
        // b²/a = 16 at 0° and 180°: closed form.
        let points = (0..800)
            .map(|i| Point::new(25.0 * (TAU * f64::from(i) / 800.0).cos(), 20.0 * (TAU * f64::from(i) / 800.0).sin()));
        let corner = Bends::of(&Outline::from_points(points.collect()).unwrap()).corner;
        close(corner.radius_mm, 16.0, 0.01);
        let from_axis = corner.at_deg.min((corner.at_deg - 180.0).abs()).min(360.0 - corner.at_deg);
        assert!(from_axis < 3.0, "{corner:?}");
    }

    #[test]
    fn a_hollow_is_measured_and_found() {
        // r = 22 - 1.5 cos 3θ: at 0° the curvature is (r² + 2r'² - r r'')/(r² + r'²)^1.5 with r' = 0, r'' = 13.5:
        // (20.5² - 20.5 · 13.5)/20.5³ = 0.0167: no hollow. With 3 instead of 1.5: 19, r'' = 27: -0.0222 (calculus).
        let of = |depth: f64| {
            let radii: Vec<f64> = (0..720).map(|i| 22.0 - depth * (3.0 * TAU * f64::from(i) / 720.0).cos()).collect();
            Bends::of(&Outline::from_radii_mm(&radii).unwrap())
        };
        assert_eq!(of(1.5).hollow, None);
        let hollow = of(3.0).hollow.unwrap();
        close(hollow.radius_mm, 45.1, 0.15);
        let from_dent =
            [0.0_f64, 120.0, 240.0, 360.0].map(|deg| (hollow.at_deg - deg).abs()).into_iter().fold(99.0, f64::min);
        // The boxing center is not the middle of the wave.
        assert!(from_dent < 10.0, "{hollow:?}");
    }
}
