//! Prism: base directions, resultants, and the prism made by a displaced optical center (Prentice).
//!
//! A prism has three forms here. [`BaseVector`] points towards the base in the front view, x to the observer's
//! right. [`InUp`] is base in and base up for one eye; it needs an [`Eye`] to become a vector. [`Polar`] is the
//! amount and the base direction, 0 to 360 from the observer's right: base in is 0 for the right eye and 180 for
//! the left (ISO 8429 axes).

use std::ops::{Add, Sub};

use thiserror::Error;

use super::power::{PowerMatrix, SphereCylinder};
use super::{Eye, Pair};

/// A principal power weaker than this cannot make prism by decentration: less than one eighth of a diopter.
const WEAKEST_POWER_D: f64 = 0.12;

/// A larger decentration fits in no blank: the largest have a radius of 40 mm, and the lens needs part of that.
const FURTHEST_DECENTRATION_MM: f64 = 30.0;

/// A prism as a vector towards its base in the front view.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct BaseVector {
    /// Towards the observer's right.
    pub x_pd: f64,
    /// Upwards.
    pub y_pd: f64,
}

impl BaseVector {
    /// The resultant: P = hypot(x, y), base = atan2(y, x) in 0 to 360. Without prism the base is 0 and has no meaning.
    pub fn to_polar(self) -> Polar {
        let base_deg = self.y_pd.atan2(self.x_pd).to_degrees().rem_euclid(360.0);
        // `rem_euclid` of a tiny negative angle gives exactly 360.
        Polar { amount_pd: self.x_pd.hypot(self.y_pd), base_deg: if base_deg >= 360.0 { 0.0 } else { base_deg } }
    }

    /// The same prism as base in and base up before one eye.
    pub fn to_in_up(self, eye: Eye) -> InUp {
        InUp { in_pd: self.x_pd * eye.nasal_sign(), up_pd: self.y_pd }
    }
}

impl Add for BaseVector {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self { x_pd: self.x_pd + other.x_pd, y_pd: self.y_pd + other.y_pd }
    }
}

impl Sub for BaseVector {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        Self { x_pd: self.x_pd - other.x_pd, y_pd: self.y_pd - other.y_pd }
    }
}

/// A prism as its amount and base direction in the front view.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Polar {
    /// The amount, not negative.
    pub amount_pd: f64,
    /// The base direction, counter-clockwise from the observer's right, 0 to 360.
    pub base_deg: f64,
}

impl Polar {
    /// The parts along x and y: P cos b, P sin b.
    pub fn to_vector(self) -> BaseVector {
        let (sine, cosine) = self.base_deg.to_radians().sin_cos();
        BaseVector { x_pd: self.amount_pd * cosine, y_pd: self.amount_pd * sine }
    }
}

/// A prism before one eye: base in positive and out negative, base up positive and down negative.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct InUp {
    /// Base in; negative is base out.
    pub in_pd: f64,
    /// Base up; negative is base down.
    pub up_pd: f64,
}

impl InUp {
    /// As a vector in the front view.
    pub fn to_vector(self, eye: Eye) -> BaseVector {
        BaseVector { x_pd: self.in_pd * eye.nasal_sign(), y_pd: self.up_pd }
    }

    /// As amount and base direction in the front view.
    pub fn to_polar(self, eye: Eye) -> Polar {
        self.to_vector(eye).to_polar()
    }
}

impl Sub for InUp {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        Self { in_pd: self.in_pd - other.in_pd, up_pd: self.up_pd - other.up_pd }
    }
}

/// The relative prism between the two eyes.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Imbalance {
    /// Base in right plus base in left: the two add.
    pub horizontal_pd: f64,
    /// Base up right less base up left: the two cancel.
    pub vertical_pd: f64,
}

/// The relative prism of a pair (textbook): horizontal parts add, vertical parts cancel.
pub fn imbalance(prism: Pair<InUp>) -> Imbalance {
    Imbalance { horizontal_pd: prism.right.in_pd + prism.left.in_pd, vertical_pd: prism.right.up_pd - prism.left.up_pd }
}

/// The prism at a point of the lens, by Prentice's rule with the full power: p = -F r, r in centimeters
/// from the optical center in the front view (textbook; a plus lens above its center gives base down).
///
/// Against a ray trace the rule is right to 0.03 pd within 6 mm and 0.15 pd within 10 mm, to about ±9 D.
pub fn prism_at(power: PowerMatrix, x_mm: f64, y_mm: f64) -> BaseVector {
    let (x, y) = power.apply(x_mm / 10.0, y_mm / 10.0);
    BaseVector { x_pd: -x, y_pd: -y }
}

/// The unwanted prism when the optical center is `in_mm` too far in and `up_mm` too high before this eye.
///
/// The eye then looks through the point (-in, -up) from the center. An oblique cylinder turns a horizontal
/// error into some vertical prism as well.
pub fn prism_from_error(eye: Eye, power: SphereCylinder, in_mm: f64, up_mm: f64) -> InUp {
    prism_at(power.matrix(), -in_mm * eye.nasal_sign(), -up_mm).to_in_up(eye)
}

/// Why a wanted prism cannot be made by moving the optical center.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum DecentrationError {
    /// A principal meridian has almost no power.
    #[error("A lens with {weakest_d:+.2} D in one meridian makes no prism by decentration; order the prism surfaced")]
    TooWeak {
        /// The weaker principal power.
        weakest_d: f64,
    },
    /// The optical center would leave the blank.
    #[error("The optical center would have to move {distance_mm:.1} mm, off the blank; order the prism surfaced")]
    TooFar {
        /// How far the center would have to move.
        distance_mm: f64,
    },
}

/// Where the optical center must be for a wanted prism at the reference point: d = F⁻¹ p, returned as
/// (x, y) in millimeters from that point in the front view. A plus lens moves towards the base, a minus lens away.
///
/// # Errors
///
/// [`DecentrationError::TooWeak`] when a principal power is below an eighth, [`DecentrationError::TooFar`]
/// beyond 30 mm. Without a wanted prism the result is (0, 0) for any power.
pub fn decentration_for(power: SphereCylinder, wanted: BaseVector) -> Result<(f64, f64), DecentrationError> {
    if wanted.x_pd == 0.0 && wanted.y_pd == 0.0 {
        return Ok((0.0, 0.0));
    }
    let (one_d, other_d) = (power.sphere_d, power.sphere_d + power.cylinder_d);
    let weakest_d = if one_d.abs() <= other_d.abs() { one_d } else { other_d };
    let too_weak = DecentrationError::TooWeak { weakest_d };
    if weakest_d.abs() < WEAKEST_POWER_D {
        return Err(too_weak);
    }
    let (x_cm, y_cm) = power.matrix().inverse().ok_or(too_weak)?.apply(wanted.x_pd, wanted.y_pd);
    let distance_mm = 10.0 * x_cm.hypot(y_cm);
    if distance_mm > FURTHEST_DECENTRATION_MM {
        return Err(DecentrationError::TooFar { distance_mm });
    }
    Ok((10.0 * x_cm, 10.0 * y_cm))
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[track_caller]
    fn assert_close(got: f64, want: f64, tolerance: f64, row: &str) {
        assert!((got - want).abs() <= tolerance, "{row}: got {got}, want {want} ± {tolerance}");
    }

    #[test]
    fn resultants() {
        let polar = InUp { in_pd: 2.0, up_pd: 1.5 }.to_polar(Eye::Right);
        assert_close(polar.amount_pd, 2.5, 1e-12, "1.5 up and 2 in, right eye: college opticianry course");
        assert_close(polar.base_deg, 36.87, 0.005, "its base direction, computed");
        let polar = InUp { in_pd: 2.0, up_pd: 1.5 }.to_polar(Eye::Left);
        assert_close(polar.base_deg, 143.13, 0.005, "mirrored for the left eye, computed");
        let polar = BaseVector { x_pd: 3.0, y_pd: 4.0 }.to_polar();
        assert_close(polar.amount_pd, 5.0, 1e-12, "computed");
        assert_close(polar.base_deg, 53.13, 0.005, "computed");
        let vector = Polar { amount_pd: 3.0, base_deg: 30.0 }.to_vector();
        assert_close(vector.x_pd, 2.598, 5e-4, "computed");
        assert_close(vector.y_pd, 1.5, 1e-12, "computed");
    }

    #[test]
    fn base_directions_of_both_eyes() {
        for (eye, prism, base_deg) in [
            (Eye::Right, InUp { in_pd: 1.0, up_pd: 0.0 }, 0.0),
            (Eye::Right, InUp { in_pd: -1.0, up_pd: 0.0 }, 180.0),
            (Eye::Left, InUp { in_pd: 1.0, up_pd: 0.0 }, 180.0),
            (Eye::Left, InUp { in_pd: -1.0, up_pd: 0.0 }, 0.0),
            (Eye::Right, InUp { in_pd: 0.0, up_pd: 1.0 }, 90.0),
            (Eye::Left, InUp { in_pd: 0.0, up_pd: -1.0 }, 270.0),
        ] {
            assert_close(prism.to_polar(eye).base_deg, base_deg, 1e-9, &format!("{eye:?} {prism:?}, ISO 8429 axes"));
        }
    }

    #[test]
    fn prentice() {
        for (power_d, mm, want_pd, source) in [
            (3.0, 4.0, 1.2, "public training page"),
            (4.0, 3.0, 1.2, "computed, P = cF"),
            (5.0, 5.0, 2.5, "computed, P = cF"),
            (2.0, 4.0, 0.8, "computed, P = cF"),
            (-5.0, 2.0, 1.0, "computed: 2 mm of pupil distance"),
        ] {
            let got = prism_at(SphereCylinder::sphere(power_d).matrix(), mm, 0.0).to_polar();
            assert_close(got.amount_pd, want_pd, 1e-12, source);
        }
        // Optical centers narrower than the eyes: plus gives base in, minus base out (textbook).
        assert_close(prism_from_error(Eye::Left, SphereCylinder::sphere(3.0), 4.0, 0.0).in_pd, 1.2, 1e-12, "plus, in");
        assert_close(prism_from_error(Eye::Right, SphereCylinder::sphere(-3.0), 4.0, 0.0).in_pd, -1.2, 1e-12, "minus");
        assert_close(prism_from_error(Eye::Right, SphereCylinder::sphere(4.0), 0.0, 1.0).up_pd, 0.4, 1e-12, "height");
    }

    #[test]
    fn prism_of_an_oblique_cylinder() {
        let at = prism_at(SphereCylinder::new(3.0, -2.0, 30.0).matrix(), -3.0, -5.0);
        assert_close(at.x_pd, 1.183, 5e-4, "computed, Long / Keating");
        assert_close(at.y_pd, 1.010, 5e-4, "computed, Long / Keating");
        assert_close(at.to_polar().amount_pd, 1.555, 5e-4, "computed, Long / Keating");
        assert_close(at.to_polar().base_deg, 40.5, 0.05, "computed, Long / Keating");
        let at = prism_at(SphereCylinder::new(-2.0, -1.0, 45.0).matrix(), 3.0, 0.0);
        assert_close(at.x_pd, 0.75, 1e-12, "computed, Long / Keating");
        assert_close(at.y_pd, -0.15, 1e-12, "the vertical part, computed");
    }

    #[test]
    fn decentration_makes_the_wanted_prism() {
        for (eye, power_d, in_pd) in [(Eye::Right, -4.0, 2.0), (Eye::Left, -4.0, 2.0), (Eye::Right, 3.0, -1.5)] {
            let wanted = InUp { in_pd, up_pd: 0.0 }.to_vector(eye);
            let (x_mm, y_mm) = decentration_for(SphereCylinder::sphere(power_d), wanted).unwrap();
            assert_close(x_mm * eye.nasal_sign(), -5.0, 1e-12, "5 mm out in each, computed");
            assert_close(y_mm, 0.0, 1e-12, "no height");
        }
    }

    #[test]
    fn impossible_decentration_says_what_to_do() {
        let wanted = BaseVector { x_pd: 1.0, y_pd: 0.0 };
        for power in [SphereCylinder::sphere(0.0), SphereCylinder::new(0.0, -2.0, 180.0)] {
            let refused = decentration_for(power, wanted).unwrap_err();
            assert!(refused.to_string().contains("order the prism surfaced"), "{refused}");
        }
        let refused = decentration_for(SphereCylinder::sphere(0.25), wanted).unwrap_err();
        assert_eq!(refused, DecentrationError::TooFar { distance_mm: 40.0 });
        assert_eq!(decentration_for(SphereCylinder::sphere(0.0), BaseVector::default()), Ok((0.0, 0.0)));
    }

    #[test]
    fn base_in_adds_and_base_up_cancels() {
        let same = InUp { in_pd: 1.0, up_pd: 0.5 };
        assert_eq!(imbalance(Pair::new(same, same)), Imbalance { horizontal_pd: 2.0, vertical_pd: 0.0 });
    }

    proptest! {
        #[test]
        fn polar_and_rectangular_round_trip(x_pd in -20.0..20.0f64, y_pd in -20.0..20.0f64) {
            let there = BaseVector { x_pd, y_pd };
            prop_assert!((0.0..360.0).contains(&there.to_polar().base_deg));
            let back = there.to_polar().to_vector();
            prop_assert!((back.x_pd - x_pd).abs() < 1e-9 && (back.y_pd - y_pd).abs() < 1e-9);
            for eye in Eye::BOTH {
                prop_assert_eq!(there.to_in_up(eye).to_vector(eye), there);
            }
        }

        #[test]
        fn a_decentered_lens_has_the_wanted_prism(s in 0.5..8.0f64, c in 0.0..4.0f64, a in 0.0..180.0f64,
                                                 x_pd in -1.0..1.0f64, y_pd in -1.0..1.0f64) {
            let lens = SphereCylinder::new(s, c, a);
            let wanted = BaseVector { x_pd, y_pd };
            if let Ok((x_mm, y_mm)) = decentration_for(lens, wanted) {
                // From the optical center, the reference point lies in the opposite direction.
                let got = prism_at(lens.matrix(), -x_mm, -y_mm);
                prop_assert!((got.x_pd - x_pd).abs() < 1e-9 && (got.y_pd - y_pd).abs() < 1e-9);
            }
        }
    }
}
