//! Whether a shape can be cut from a blank, how much is spare and where; prism by decentering the blank.

use super::blank::{Spare, blank_middle, tightest_spare};
use super::outline::{Outline, Point};
use crate::optics::power::SphereCylinder;
use crate::optics::prism::{BaseVector, DecentrationError, decentration_for};

/// A round uncut lens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StockBlank {
    /// Its nominal diameter.
    pub diameter_mm: f64,
    /// The width of its rim that cannot be used.
    pub unusable_mm: f64,
    /// Its optical center from its geometric center, front view.
    pub oc_off_middle: Point,
}

impl StockBlank {
    /// A blank with its optical center at its geometric center and no unusable rim.
    pub fn round(diameter_mm: f64) -> Self {
        Self { diameter_mm, unusable_mm: 0.0, oc_off_middle: Point::ORIGIN }
    }

    /// The diameter that can be used.
    pub fn usable_mm(&self) -> f64 {
        self.diameter_mm - 2.0 * self.unusable_mm
    }
}

/// A shape placed in a blank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CutOut {
    /// The blank's geometric center in the box.
    pub middle: Point,
    /// The smallest margin and its direction from the blank's geometric center; negative where material is missing.
    pub tightest: Spare,
    /// Whether the margin is at least the wanted one everywhere.
    pub fits: bool,
}

/// Places a shape in a blank whose optical center is at `center` in the box. `margin_mm` is the wanted margin on the
/// diameter, as for [`super::blank::Blank`].
pub fn cut_out(outline: &Outline, center: Point, blank: &StockBlank, margin_mm: f64) -> CutOut {
    let middle = blank_middle(center, blank.oc_off_middle);
    let tightest = tightest_spare(outline, middle, blank.usable_mm());
    CutOut { middle, tightest, fits: tightest.spare_mm + 1e-9 >= margin_mm / 2.0 }
}

/// As [`cut_out`] for a blank without prism, decentered so that the wanted prism is at the pupil (d = F⁻¹ p,
/// [`decentration_for`]). Also returns where the optical center goes.
///
/// # Errors
///
/// [`DecentrationError`] when the power cannot make the prism.
pub fn cut_out_with_prism(
    outline: &Outline,
    pupil: Point,
    power: SphereCylinder,
    prism: BaseVector,
    blank: &StockBlank,
    margin_mm: f64,
) -> Result<(Point, CutOut), DecentrationError> {
    let (x_mm, y_mm) = decentration_for(power, prism)?;
    let center = pupil.plus(Point::new(x_mm, y_mm));
    Ok((center, cut_out(outline, center, blank, margin_mm)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::Eye;
    use crate::optics::prism::InUp;

    fn round(radius_mm: f64) -> Outline {
        Outline::from_radii_mm(&[radius_mm; 360]).unwrap()
    }

    #[test]
    fn a_round_shape_in_a_round_blank() {
        let outline = round(25.0);
        // 35 - (25 + 5) = 5 mm spare, on the side opposite to the decentration.
        let got = cut_out(&outline, Point::new(-3.0, -4.0), &StockBlank::round(70.0), 2.0);
        assert!((got.tightest.spare_mm - 5.0).abs() < 1e-3, "{got:?}");
        assert!((got.tightest.at_deg - 53.13).abs() < 0.6, "away from the decentration: {got:?}");
        assert!(got.fits);
        let small = cut_out(&outline, Point::new(-3.0, -4.0), &StockBlank::round(55.0), 2.0);
        assert!((small.tightest.spare_mm + 2.5).abs() < 1e-3 && !small.fits, "material is missing: {small:?}");
    }

    #[test]
    fn a_decentered_blank_helps_on_its_own_side() {
        let outline = round(25.0);
        let blank = StockBlank { oc_off_middle: Point::new(3.0, 0.0), unusable_mm: 1.0, diameter_mm: 60.0 };
        let got = cut_out(&outline, Point::new(3.0, 0.0), &blank, 2.0);
        assert_eq!(got.middle, Point::ORIGIN);
        assert!((got.tightest.spare_mm - 4.0).abs() < 1e-9 && got.fits, "29 usable less 25: {got:?}");
    }

    #[test]
    fn prism_by_moving_the_blank() {
        let outline = round(22.0);
        for (sphere_d, prism, source) in [
            (-4.0, InUp { in_pd: 2.0, up_pd: 0.0 }, "-4.00, 2 base in: OC 5 mm out, computed"),
            (3.0, InUp { in_pd: -1.5, up_pd: 0.0 }, "+3.00, 1.5 base out: OC 5 mm out, computed"),
        ] {
            let power = SphereCylinder::sphere(sphere_d);
            let (center, got) = cut_out_with_prism(
                &outline,
                Point::new(2.0, 0.0),
                power,
                prism.to_vector(Eye::Right),
                &StockBlank::round(55.0),
                2.0,
            )
            .unwrap();
            assert!((center.x_mm + 3.0).abs() < 1e-12, "{source}: {center:?}");
            assert!((got.tightest.spare_mm - 2.5).abs() < 1e-3 && got.fits, "{source}: {got:?}");
        }
        let plano = cut_out_with_prism(
            &outline,
            Point::ORIGIN,
            SphereCylinder::sphere(0.0),
            BaseVector { x_pd: 1.0, y_pd: 0.0 },
            &StockBlank::round(70.0),
            2.0,
        );
        assert!(plano.is_err(), "no prism from no power");
    }
}
