//! The same order in another material, to compare thickness, weight and color fringe.

use super::edge::{Edge, EdgePoint};
use super::outline::{Outline, Point};
use super::thickness::lens_with_usual_thickness;
use super::volume::{volume_mm3, weight_g};
use crate::optics::lens::{Lens, LensError, LensOrder};
use crate::optics::material::{OpticalMaterial, fringe_pd, usual_front_d};
use crate::optics::power::SphereCylinder;
use crate::optics::prism::{BaseVector, prism_at};

/// An order made in one material.
#[derive(Debug, Clone, PartialEq)]
pub struct LensInMaterial {
    /// The lens.
    pub lens: Lens,
    /// Its thinnest edge.
    pub thinnest: EdgePoint,
    /// Its thickest edge.
    pub thickest: EdgePoint,
    /// Its weight.
    pub weight_g: f64,
    /// The worst color fringe at the edge: prism divided by Abbe number.
    pub fringe_pd: f64,
    /// Its direction, about the boxing center.
    pub fringe_at_deg: f64,
}

/// The lens in a material: the usual front for the power, and the usual center thickness of a minus lens, or more if
/// `least_edge_mm` needs it.
///
/// # Errors
///
/// [`LensError`] if the lens cannot be made in the material.
pub fn in_material(
    outline: &Outline,
    center: Point,
    power: SphereCylinder,
    prism: BaseVector,
    material: &OpticalMaterial,
    least_edge_mm: f64,
) -> Result<LensInMaterial, LensError> {
    let usual = LensOrder {
        power,
        prism,
        index: material.index,
        front_power_d: usual_front_d(power, material.index),
        front_conic: 0.0,
        center_thickness_mm: material.usual_center_mm,
    };
    let lens = lens_with_usual_thickness(outline, center, usual, least_edge_mm)?;
    let edge = Edge::of(outline, center, &lens)?;
    let (prism_pd, fringe_at_deg) = most_prism(outline, center, power, prism);
    Ok(LensInMaterial {
        thinnest: edge.thinnest(),
        thickest: edge.thickest(),
        weight_g: weight_g(volume_mm3(outline, center, &lens)?, material.density_g_per_cm3),
        fringe_pd: fringe_pd(prism_pd, material.abbe),
        fringe_at_deg,
        lens,
    })
}

/// The most prism on the outline by Prentice's rule, and its direction.
fn most_prism(outline: &Outline, center: Point, power: SphereCylinder, prism: BaseVector) -> (f64, f64) {
    let matrix = power.matrix();
    outline.points().iter().fold((0.0, 0.0), |(most_pd, deg), p| {
        let from = p.minus(center);
        let here_pd = (prism_at(matrix, from.x_mm, from.y_mm) + prism).to_polar().amount_pd;
        if here_pd > most_pd { (here_pd, p.angle_deg()) } else { (most_pd, deg) }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Hard resin 1.50 and high index 1.74: public materials tables, as the starting list has them.
    const PLAIN: OpticalMaterial =
        OpticalMaterial { index: 1.498, abbe: 58.0, density_g_per_cm3: 1.32, usual_center_mm: 2.0 };
    const HIGH: OpticalMaterial =
        OpticalMaterial { index: 1.740, abbe: 33.0, density_g_per_cm3: 1.47, usual_center_mm: 1.4 };

    #[test]
    fn a_higher_index_has_a_thinner_edge_and_more_fringe() {
        let outline = Outline::from_radii_mm(&[24.0; 180]).unwrap();
        let power = SphereCylinder::new(-6.0, -1.0, 90.0);
        let [plain, high] = [PLAIN, HIGH].map(|material| {
            in_material(&outline, Point::new(3.0, 0.0), power, BaseVector::default(), &material, 1.0).unwrap()
        });
        assert!(high.thickest.mm < plain.thickest.mm - 1.5, "{} {}", high.thickest.mm, plain.thickest.mm);
        assert!(high.fringe_pd > plain.fringe_pd);
        // -7.00 across, 27 mm from the optical center: 18.9 over 58.
        assert!((plain.fringe_pd - 18.9 / 58.0).abs() < 1e-6, "{}", plain.fringe_pd);
        assert!((plain.fringe_at_deg - 180.0).abs() < 1e-9);
    }

    #[test]
    fn a_plus_lens_gets_the_center_its_edge_requires() {
        let outline = Outline::from_radii_mm(&[24.0; 180]).unwrap();
        for material in &[PLAIN, HIGH] {
            let row =
                in_material(&outline, Point::ORIGIN, SphereCylinder::sphere(4.0), BaseVector::default(), material, 1.0)
                    .unwrap();
            assert!((row.thinnest.mm - 1.0).abs() < 1e-5, "{}: {}", material.index, row.thinnest.mm);
            // The thumb, h² F / (2000 (n - 1)) (textbook), runs 5 to 10% low at steep curves.
            let thumb_mm = 24.0 * 24.0 * 4.0 / (2000.0 * (material.index - 1.0));
            let gain_mm = row.lens.order().center_thickness_mm - 1.0;
            assert!(gain_mm > thumb_mm * 0.99 && gain_mm < thumb_mm * 1.15, "{}: {gain_mm}", material.index);
        }
    }
}
