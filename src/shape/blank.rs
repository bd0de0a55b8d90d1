//! The smallest round blank that covers an outline (minimum blank size), and the margin a blank leaves.

use super::boxing::{Boxing, farthest, farthest_mm};
use super::outline::{Outline, Point};

/// The usual allowance on a blank's diameter for chips and bevel, mm.
/// Source: public study guides (2 mm); shops choose 1 to 3 mm.
pub const USUAL_MARGIN_MM: f64 = 2.0;

/// Rounding error must not refuse a diameter that is exactly enough.
const ROUNDING_MM: f64 = 1e-9;

/// The smallest round blank that covers an outline.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Blank {
    /// Twice the longest distance from the blank's geometric center to the outline, without allowance.
    pub exact_mm: f64,
    /// The exact size plus the lab's allowance.
    pub with_margin_mm: f64,
    /// ED plus twice the length of the decentration plus the allowance. Never less than `with_margin_mm`.
    pub rule_of_thumb_mm: f64,
}

impl Blank {
    /// The blank whose geometric center is at `center` in the box: [`super::layout::Decentration::point`], or
    /// [`blank_middle`] if its optical center is elsewhere.
    ///
    /// Source: textbook. The rule of thumb uses both decentrations, so the exact size cannot exceed it.
    pub fn of(outline: &Outline, boxing: &Boxing, center: Point, margin_mm: f64) -> Self {
        let exact_mm = 2.0 * farthest_mm(outline.points(), center);
        Self {
            exact_mm,
            with_margin_mm: exact_mm + margin_mm,
            rule_of_thumb_mm: boxing.ed_mm + 2.0 * center.length_mm() + margin_mm,
        }
    }

    /// Whether a blank of this diameter covers the outline with the margin.
    pub fn fits(&self, diameter_mm: f64) -> bool {
        self.with_margin_mm <= diameter_mm + ROUNDING_MM
    }
}

/// The blank's geometric center, when its optical center is set at `optical_center` and lies `oc_off_middle` from the
/// geometric center (front view).
pub fn blank_middle(optical_center: Point, oc_off_middle: Point) -> Point {
    optical_center.minus(oc_off_middle)
}

/// The margin between an outline and the blank's edge in one direction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spare {
    /// Blank radius minus the distance to the outline; negative where the blank is too small.
    pub spare_mm: f64,
    /// The direction from the blank's geometric center, front view.
    pub at_deg: f64,
}

/// The margin at every point of the outline, in its order.
pub fn spares(outline: &Outline, center: Point, diameter_mm: f64) -> Vec<Spare> {
    let spare = |p: &Point| {
        let from_middle = p.minus(center);
        Spare { spare_mm: diameter_mm / 2.0 - from_middle.length_mm(), at_deg: from_middle.angle_deg() }
    };
    outline.points().iter().map(spare).collect()
}

/// The smallest margin and its direction.
pub fn tightest_spare(outline: &Outline, center: Point, diameter_mm: f64) -> Spare {
    let (distance_mm, at_deg) = farthest(outline.points(), center);
    Spare { spare_mm: diameter_mm / 2.0 - distance_mm, at_deg }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn boxing(a_mm: f64, b_mm: f64, ed_mm: f64) -> Boxing {
        Boxing { a_mm, b_mm, ed_mm, ed_axis_deg: 0.0, circumference_mm: 0.0, area_mm2: 0.0 }
    }

    fn ellipse(a_mm: f64, b_mm: f64) -> Outline {
        let point = |i: i32| {
            let t = f64::from(i).to_radians() / 4.0;
            Point::new(a_mm / 2.0 * t.cos(), b_mm / 2.0 * t.sin())
        };
        Outline::from_points((0..1440).map(point).collect()).unwrap()
    }

    fn rectangle(a_mm: f64, b_mm: f64) -> Outline {
        let (x, y) = (a_mm / 2.0, b_mm / 2.0);
        let corners = [(x, 0.0), (x, y), (0.0, y), (-x, y), (-x, 0.0), (-x, -y), (0.0, -y), (x, -y)];
        Outline::from_points(corners.map(|(x, y)| Point::new(x, y)).to_vec()).unwrap()
    }

    #[test]
    fn smallest_blank_by_published_examples() {
        let round = Outline::from_radii_mm(&[22.0; 400]).unwrap();
        let size = Boxing::of(&round);
        // Round A = ED 44, nothing decentered, no allowance: 44 (public glossary).
        assert!((Blank::of(&round, &size, Point::ORIGIN, 0.0).exact_mm - 44.0).abs() < 1e-9);
        // ED 60, total decentration 3, allowance 2: 65 (public practice exam).
        let rule = Blank::of(&round, &boxing(0.0, 0.0, 60.0), Point::new(1.5, 0.0), 2.0).rule_of_thumb_mm;
        assert_eq!(rule, 65.0);
        // A 52, DBL 18, PD 64, ED 56, so 3 in per eye: 64 with 2 allowed (computed).
        let rule = Blank::of(&round, &boxing(52.0, 40.0, 56.0), Point::new(3.0, 0.0), 2.0).rule_of_thumb_mm;
        assert_eq!(rule, 64.0);
        // 4 in and 2 up (tests/check/scripts/worked_figures.py): ellipse 50 × 40 gives 58.31; rectangle 50 × 30 gives 67.23, rule 67.25.
        for (outline, exact, rule) in [(ellipse(50.0, 40.0), 58.31, 58.94), (rectangle(50.0, 30.0), 67.23, 67.25)] {
            let blank = Blank::of(&outline, &Boxing::of(&outline), Point::new(4.0, 2.0), 0.0);
            assert!((blank.exact_mm - exact).abs() < 0.005, "{} for {exact}", blank.exact_mm);
            assert!((blank.rule_of_thumb_mm - rule).abs() < 0.005, "{} for {rule}", blank.rule_of_thumb_mm);
        }
    }

    #[test]
    fn the_smallest_margin_is_on_the_far_side() {
        let shape = rectangle(50.0, 30.0);
        // The farthest corner from (4, 2) is (-25, -15): hypot(29, 17) = 33.615 at 180 + 30.38°.
        let tight = tightest_spare(&shape, Point::new(4.0, 2.0), 70.0);
        assert!((tight.spare_mm - (35.0 - 33.615_473)).abs() < 1e-6 && (tight.at_deg - 210.379_1).abs() < 1e-3);
        let least = spares(&shape, Point::new(4.0, 2.0), 70.0).into_iter().map(|s| s.spare_mm).fold(99.0, f64::min);
        assert_eq!(least, tight.spare_mm);
        let blank = Blank::of(&shape, &Boxing::of(&shape), Point::new(4.0, 2.0), 2.0);
        assert!(blank.fits(69.231) && !blank.fits(69.229));
        // A blank whose optical center is 4 in and 2 up from its geometric center is centered in the box.
        assert_eq!(blank_middle(Point::new(4.0, 2.0), Point::new(4.0, 2.0)), Point::ORIGIN);
    }

    proptest! {
        #[test]
        fn the_exact_blank_never_exceeds_the_rule(
            radii in prop::collection::vec(15.0..35.0_f64, 8..120), x in -9.0..9.0_f64, y in -9.0..9.0_f64,
        ) {
            let outline = Outline::from_radii_mm(&radii).unwrap();
            let blank = Blank::of(&outline, &Boxing::of(&outline), Point::new(x, y), 2.0);
            prop_assert!(blank.with_margin_mm <= blank.rule_of_thumb_mm + 1e-9);
            prop_assert!(blank.exact_mm + 1e-9 >= Boxing::of(&outline).a_mm);
        }
    }
}
