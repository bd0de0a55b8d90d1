//! Sphere, cylinder and axis as numbers; transposition, power vectors, the power matrix, vertex distance.
//!
//! Everything here is `f64` for computing. The exact powers of an order live in [`super::prescription`].
//! An axis in a result lies in (0, 180]. A result without cylinder has axis 180, which has no meaning.

use std::ops::{Add, Sub};

/// A computed cylinder smaller than this is rounding error and counts as none.
const NO_CYLINDER_D: f64 = 1e-9;

/// Sphere, cylinder and axis, in either cylinder form.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SphereCylinder {
    /// The power along the axis.
    pub sphere_d: f64,
    /// What the meridian at right angles to the axis adds to the sphere.
    pub cylinder_d: f64,
    /// The axis, counter-clockwise from the observer's right in the front view. Without a cylinder it has no meaning.
    pub axis_deg: f64,
}

impl SphereCylinder {
    /// A power from its three numbers; the axis is wrapped into (0, 180].
    pub fn new(sphere_d: f64, cylinder_d: f64, axis_deg: f64) -> Self {
        Self { sphere_d, cylinder_d, axis_deg: if cylinder_d == 0.0 { 180.0 } else { wrap_axis_deg(axis_deg) } }
    }

    /// A power without cylinder.
    pub fn sphere(sphere_d: f64) -> Self {
        Self::new(sphere_d, 0.0, 180.0)
    }

    /// The other cylinder form: S + C, -C, axis turned by 90 (textbook). Without cylinder, unchanged.
    pub fn transposed(self) -> Self {
        if self.cylinder_d == 0.0 {
            return Self::sphere(self.sphere_d);
        }
        Self::new(self.sphere_d + self.cylinder_d, -self.cylinder_d, self.axis_deg + 90.0)
    }

    /// The minus-cylinder form. Without cylinder, unchanged.
    pub fn to_minus(self) -> Self {
        if self.cylinder_d > 0.0 { self.transposed() } else { Self::new(self.sphere_d, self.cylinder_d, self.axis_deg) }
    }

    /// The plus-cylinder form. Without cylinder, unchanged.
    pub fn to_plus(self) -> Self {
        if self.cylinder_d < 0.0 { self.transposed() } else { Self::new(self.sphere_d, self.cylinder_d, self.axis_deg) }
    }

    /// The mean power S + C/2 (textbook).
    pub fn spherical_equivalent_d(self) -> f64 {
        self.sphere_d + self.cylinder_d / 2.0
    }

    /// The power in a meridian, S + C sin²(t - a) (textbook).
    pub fn power_at_deg(self, meridian_deg: f64) -> f64 {
        let sine = (meridian_deg - self.axis_deg).to_radians().sin();
        self.sphere_d + self.cylinder_d * sine * sine
    }

    /// The stronger principal power, with its sign: S or S + C. If both are equally strong, S of the minus form.
    pub fn strongest_meridian_d(self) -> f64 {
        let minus = self.to_minus();
        let cross = minus.sphere_d + minus.cylinder_d;
        if cross.abs() > minus.sphere_d.abs() { cross } else { minus.sphere_d }
    }

    /// M, J0 and J45 (Thibos et al. 1997).
    pub fn vector(self) -> PowerVector {
        let double = (2.0 * self.axis_deg).to_radians();
        let half = -self.cylinder_d / 2.0;
        PowerVector { m_d: self.spherical_equivalent_d(), j0_d: half * double.cos(), j45_d: half * double.sin() }
    }

    /// The power matrix in the front view (Long, Keating).
    pub fn matrix(self) -> PowerMatrix {
        let (sine, cosine) = self.axis_deg.to_radians().sin_cos();
        PowerMatrix {
            xx_d: self.sphere_d + self.cylinder_d * sine * sine,
            xy_d: -self.cylinder_d * sine * cosine,
            yy_d: self.sphere_d + self.cylinder_d * cosine * cosine,
        }
    }

    /// The power that has the same effect at `to_mm` from the eye as this one at `from_mm`: F / (1 - dF) in each
    /// principal meridian, with d in meters and positive when the lens moves closer. The axis does not change (textbook).
    ///
    /// Infinite only where dF is 1: 83 D over 12 mm.
    pub fn vertex_compensated(self, from_mm: f64, to_mm: f64) -> Self {
        let d_m = (from_mm - to_mm) / 1000.0;
        let moved = |power_d: f64| power_d / (1.0 - d_m * power_d);
        let sphere_d = moved(self.sphere_d);
        Self::new(sphere_d, moved(self.sphere_d + self.cylinder_d) - sphere_d, self.axis_deg)
    }
}

/// Wraps an axis into (0, 180].
fn wrap_axis_deg(axis_deg: f64) -> f64 {
    let wrapped = axis_deg.rem_euclid(180.0);
    if wrapped == 0.0 { 180.0 } else { wrapped }
}

/// A power as M, J0 and J45. Powers in this form add component by component (Thibos et al. 1997).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct PowerVector {
    /// The spherical equivalent.
    pub m_d: f64,
    /// The crossed cylinder at 180 and 90.
    pub j0_d: f64,
    /// The crossed cylinder at 45 and 135.
    pub j45_d: f64,
}

impl PowerVector {
    /// Sphere, minus cylinder and axis: C = -2 hypot(J0, J45), S = M - C/2, axis half of atan2(J45, J0).
    pub fn to_minus_cylinder(self) -> SphereCylinder {
        let cylinder_d = -2.0 * self.j0_d.hypot(self.j45_d);
        if cylinder_d.abs() < NO_CYLINDER_D {
            return SphereCylinder::sphere(self.m_d);
        }
        SphereCylinder::new(self.m_d - cylinder_d / 2.0, cylinder_d, self.j45_d.atan2(self.j0_d).to_degrees() / 2.0)
    }
}

impl Add for PowerVector {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self { m_d: self.m_d + other.m_d, j0_d: self.j0_d + other.j0_d, j45_d: self.j45_d + other.j45_d }
    }
}

impl Sub for PowerVector {
    type Output = Self;

    fn sub(self, other: Self) -> Self {
        Self { m_d: self.m_d - other.m_d, j0_d: self.j0_d - other.j0_d, j45_d: self.j45_d - other.j45_d }
    }
}

/// A power as a symmetric matrix in the front view, x to the observer's right and y up (Long, Keating).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PowerMatrix {
    /// S + C sin²a: the power along the horizontal.
    pub xx_d: f64,
    /// -C sin a cos a.
    pub xy_d: f64,
    /// S + C cos²a: the power along the vertical.
    pub yy_d: f64,
}

impl PowerMatrix {
    /// The matrix times a vector (x, y), in the vector's unit times diopters.
    pub fn apply(self, x: f64, y: f64) -> (f64, f64) {
        (self.xx_d * x + self.xy_d * y, self.xy_d * x + self.yy_d * y)
    }

    /// The product of the two principal powers.
    pub fn determinant(self) -> f64 {
        self.xx_d * self.yy_d - self.xy_d * self.xy_d
    }

    /// The inverse, in 1/D; `None` when one principal power is zero.
    pub fn inverse(self) -> Option<Self> {
        let determinant = self.determinant();
        (determinant.abs() > NO_CYLINDER_D).then(|| Self {
            xx_d: self.yy_d / determinant,
            xy_d: -self.xy_d / determinant,
            yy_d: self.xx_d / determinant,
        })
    }

    /// Sphere, minus cylinder and axis.
    pub fn to_sphere_cylinder(self) -> SphereCylinder {
        PowerVector { m_d: (self.xx_d + self.yy_d) / 2.0, j0_d: (self.xx_d - self.yy_d) / 2.0, j45_d: self.xy_d }
            .to_minus_cylinder()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn power(sphere_d: f64, cylinder_d: f64, axis_deg: f64) -> SphereCylinder {
        SphereCylinder::new(sphere_d, cylinder_d, axis_deg)
    }

    #[track_caller]
    fn assert_close(got: f64, want: f64, tolerance: f64, row: &str) {
        assert!((got - want).abs() <= tolerance, "{row}: got {got}, want {want} ± {tolerance}");
    }

    #[test]
    fn transposes_published_examples() {
        for (from, to, source) in [
            (power(3.0, -1.0, 180.0), power(2.0, 1.0, 90.0), "public exam page, toric transposition"),
            (power(-2.0, 1.5, 90.0), power(-0.5, -1.5, 180.0), "public exam page, toric transposition"),
            (power(-2.0, -0.75, 90.0), power(-2.75, 0.75, 180.0), "computed from the textbook rule"),
            (power(1.5, -2.25, 45.0), power(-0.75, 2.25, 135.0), "computed from the textbook rule"),
        ] {
            assert_eq!(from.transposed(), to, "{source}");
            assert_eq!(from.to_minus().cylinder_d, -from.cylinder_d.abs(), "{source}");
            assert_eq!(from.to_plus().cylinder_d, from.cylinder_d.abs(), "{source}");
        }
        assert_eq!(power(1.0, 0.0, 35.0).transposed(), power(1.0, 0.0, 180.0), "no cylinder, unchanged");
    }

    #[test]
    fn power_vectors_match_and_round_trip() {
        for (from, (m_d, j0_d, j45_d)) in [
            (power(-2.0, -0.75, 90.0), (-2.375, -0.375, 0.0)),
            (power(-3.0, -1.0, 45.0), (-3.5, 0.0, 0.5)),
            (power(1.0, -2.0, 180.0), (0.0, 1.0, 0.0)),
        ] {
            let row = format!("{from:?}, computed from Thibos et al. 1997");
            let vector = from.vector();
            assert_close(vector.m_d, m_d, 1e-12, &row);
            assert_close(vector.j0_d, j0_d, 1e-12, &row);
            assert_close(vector.j45_d, j45_d, 1e-12, &row);
            let back = vector.to_minus_cylinder();
            assert_close(back.sphere_d, from.sphere_d, 1e-12, &row);
            assert_close(back.cylinder_d, from.cylinder_d, 1e-12, &row);
            assert_close(back.axis_deg, from.axis_deg, 1e-9, &row);
        }
    }

    #[test]
    fn power_in_a_meridian() {
        let lens = power(-3.0, -1.0, 30.0);
        assert_close(lens.power_at_deg(180.0), -3.25, 1e-12, "computed, S + C sin²(t - a)");
        assert_close(lens.power_at_deg(90.0), -3.75, 1e-12, "computed, S + C sin²(t - a)");
        assert_close(lens.strongest_meridian_d(), -4.0, 1e-12, "S + C");
        assert_close(power(1.0, -1.5, 10.0).strongest_meridian_d(), 1.0, 1e-12, "S against -0.50");
        assert_close(power(-0.5, 1.5, 100.0).strongest_meridian_d(), 1.0, 1e-12, "the same lens in plus form");
        assert_close(power(1.0, -2.0, 10.0).strongest_meridian_d(), 1.0, 1e-12, "a tie gives the minus form's sphere");
        assert_close(power(-1.0, 2.0, 100.0).strongest_meridian_d(), 1.0, 1e-12, "the same lens in plus form");
    }

    #[test]
    fn vertex_distance() {
        for (power_d, from_mm, to_mm, want_d, source) in [
            (-10.0, 12.0, 14.0, -10.20, "public vertex page (prints the quarter step -10.25)"),
            (8.0, 12.0, 8.0, 8.26, "public vertex page (prints the quarter step +8.25)"),
            (13.0, 12.0, 0.0, 15.40, "public vertex page (prints +15.50)"),
            (-4.0, 12.0, 0.0, -3.82, "textbook formula"),
            (-6.0, 12.0, 0.0, -5.60, "textbook formula"),
            (-8.0, 12.0, 0.0, -7.30, "textbook formula"),
            (-10.0, 12.0, 0.0, -8.93, "textbook formula"),
            (4.0, 12.0, 0.0, 4.20, "textbook formula"),
            (6.0, 12.0, 0.0, 6.47, "textbook formula"),
            (8.0, 12.0, 0.0, 8.85, "textbook formula"),
            (10.0, 12.0, 0.0, 11.36, "textbook formula"),
        ] {
            let row = format!("{power_d:+.2} @ {from_mm} worn {to_mm}, {source}");
            let got = SphereCylinder::sphere(power_d).vertex_compensated(from_mm, to_mm);
            assert_close(got.sphere_d, want_d, 0.005, &row);
            assert_close(got.cylinder_d, 0.0, 1e-12, &row);
        }
        let toric = power(-8.0, -2.0, 30.0).vertex_compensated(12.0, 0.0);
        assert_close(toric.sphere_d, -7.30, 0.005, "each principal meridian for itself");
        assert_close(toric.sphere_d + toric.cylinder_d, -8.93, 0.005, "each principal meridian for itself");
        assert_close(toric.axis_deg, 30.0, 0.0, "the axis stays");
    }

    #[test]
    fn matrix_of_an_oblique_cylinder() {
        let matrix = power(3.0, -2.0, 30.0).matrix();
        assert_close(matrix.xx_d, 2.5, 1e-12, "computed, Long / Keating");
        assert_close(matrix.xy_d, 0.866, 5e-4, "computed, Long / Keating");
        assert_close(matrix.yy_d, 1.5, 1e-12, "computed, Long / Keating");
        let (x, y) = matrix.apply(-0.3, -0.5);
        assert_close(-x, 1.183, 5e-4, "base vector at (-3, -5) mm, computed");
        assert_close(-y, 1.010, 5e-4, "base vector at (-3, -5) mm, computed");
        let (x, y) = power(-2.0, -1.0, 45.0).matrix().apply(0.3, 0.0);
        assert_close(-x, 0.75, 1e-12, "base vector at (+3, 0) mm, computed");
        assert_close(-y, -0.15, 1e-12, "the vertical part at (+3, 0) mm, computed");
    }

    #[test]
    fn a_matrix_with_an_empty_meridian_has_no_inverse() {
        assert_eq!(power(0.0, -2.0, 37.0).matrix().inverse(), None);
        assert_eq!(power(0.0, 0.0, 180.0).matrix().inverse(), None);
        let lens = power(-4.0, -2.0, 37.0).matrix();
        let inverse = lens.inverse().unwrap();
        let (x, y) = lens.apply(0.3, -0.7);
        let (x, y) = inverse.apply(x, y);
        assert_close(x, 0.3, 1e-12, "inverse");
        assert_close(y, -0.7, 1e-12, "inverse");
    }
}

#[cfg(test)]
mod properties {
    use proptest::prelude::*;

    use super::*;

    /// Powers a lens can have, in quarters, in either cylinder form.
    fn any_power() -> impl Strategy<Value = SphereCylinder> {
        (-80i32..=80, -24i32..=24, 1i32..=180)
            .prop_map(|(s, c, a)| SphereCylinder::new(f64::from(s) / 4.0, f64::from(c) / 4.0, f64::from(a)))
    }

    proptest! {
        #[test]
        fn transposing_twice_changes_nothing(lens in any_power()) {
            prop_assert_eq!(lens.transposed().transposed(), lens);
        }

        #[test]
        fn both_forms_and_the_vector_have_the_same_power_in_every_meridian(lens in any_power(), t in 0.0..360.0f64) {
            let here = lens.power_at_deg(t);
            prop_assert!((lens.transposed().power_at_deg(t) - here).abs() < 1e-9);
            prop_assert!((lens.vector().to_minus_cylinder().power_at_deg(t) - here).abs() < 1e-9);
            let v = lens.vector();
            let double = (2.0 * t).to_radians();
            prop_assert!((v.m_d + v.j0_d * double.cos() + v.j45_d * double.sin() - here).abs() < 1e-9);
        }

        #[test]
        fn the_matrix_round_trips_and_gives_the_meridian_power(lens in any_power(), t in 0.0..360.0f64) {
            let (sine, cosine) = t.to_radians().sin_cos();
            let (x, y) = lens.matrix().apply(cosine, sine);
            prop_assert!((x * cosine + y * sine - lens.power_at_deg(t)).abs() < 1e-9);
            let back = lens.matrix().to_sphere_cylinder();
            let minus = lens.to_minus();
            prop_assert!((back.sphere_d - minus.sphere_d).abs() < 1e-9);
            prop_assert!((back.cylinder_d - minus.cylinder_d).abs() < 1e-9);
        }

        #[test]
        fn a_power_plus_its_opposite_is_zero(lens in any_power()) {
            let none = lens.vector() + SphereCylinder::new(-lens.sphere_d, -lens.cylinder_d, lens.axis_deg).vector();
            prop_assert!(none.m_d.abs() < 1e-12 && none.j0_d.abs() < 1e-12 && none.j45_d.abs() < 1e-12);
        }

        #[test]
        fn axes_are_over_0_and_up_to_180(s in -9.0..9.0f64, c in -9.0..9.0f64, a in -720.0..720.0f64) {
            for lens in [SphereCylinder::new(s, c, a), SphereCylinder::new(s, c, a).transposed()] {
                prop_assert!(lens.axis_deg > 0.0 && lens.axis_deg <= 180.0, "{:?}", lens);
            }
        }
    }
}
