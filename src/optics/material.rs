//! Lens materials by chemistry and index, and the front curve they are cast with.

use super::power::SphereCylinder;
use super::surface::true_from_tool_d;

/// How a material is edged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cut {
    /// With water.
    Wet,
    /// Dry, or with little water.
    Dry,
    /// Roughed dry, finished by the wheel's rule.
    RoughDry,
}

/// A lens material.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Material {
    /// What it is called on the ticket.
    pub name: &'static str,
    /// Refractive index, d line.
    pub index: f64,
    /// Abbe number.
    pub abbe: f64,
    /// Density.
    pub density_g_per_cm3: f64,
    /// The usual centre of a minus lens.
    pub usual_centre_mm: f64,
    /// How it is edged.
    pub cut: Cut,
    /// Whether it is one of the materials chosen where impact matters. No lens here is safety eyewear.
    pub impact_chosen: bool,
}

/// Index, Abbe number and density: public materials tables, middle of the printed range. Centre, edging and the
/// choice for impact: common practice (from memory).
pub const MATERIALS: [Material; 8] = [
    material("hard resin 1.50", 1.498, 58.0, 1.32, 2.0, Cut::Wet, false),
    material("polyurea-urethane 1.53", 1.531, 44.0, 1.11, 1.5, Cut::Dry, true),
    material("mid index 1.56", 1.556, 37.5, 1.26, 1.8, Cut::Wet, false),
    material("polycarbonate 1.59", 1.586, 30.0, 1.20, 1.5, Cut::RoughDry, true),
    material("high index 1.60", 1.597, 41.5, 1.30, 1.5, Cut::Wet, false),
    material("high index 1.67", 1.665, 32.0, 1.36, 1.5, Cut::Wet, false),
    material("high index 1.74", 1.735, 33.0, 1.47, 1.4, Cut::Wet, false),
    material("crown glass 1.52", 1.523, 58.5, 2.54, 2.2, Cut::Wet, false),
];

const fn material(
    name: &'static str,
    index: f64,
    abbe: f64,
    density_g_per_cm3: f64,
    usual_centre_mm: f64,
    cut: Cut,
    impact_chosen: bool,
) -> Material {
    Material { name, index, abbe, density_g_per_cm3, usual_centre_mm, cut, impact_chosen }
}

/// The fronts that blanks are commonly cast with, tool power. Source: common practice (from memory).
pub const USUAL_FRONTS_TOOL_D: [f64; 7] = [0.5, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0];

/// Vogel's rule for the front, in tool power: plus lenses M + 6, minus lenses M/2 + 6 (textbook, stated for crown and
/// hard resin; from memory).
pub fn vogel_front_tool_d(power: SphereCylinder) -> f64 {
    let m_d = power.spherical_equivalent_d();
    if m_d > 0.0 { m_d + 6.0 } else { m_d / 2.0 + 6.0 }
}

/// The usual front for a power: Vogel's rule taken to the nearest of [`USUAL_FRONTS_TOOL_D`], as true power.
pub fn usual_front_d(power: SphereCylinder, index: f64) -> f64 {
    let wanted_d = vogel_front_tool_d(power);
    let nearest = USUAL_FRONTS_TOOL_D.into_iter().fold(f64::INFINITY, |best: f64, front_d| {
        if (front_d - wanted_d).abs() < (best - wanted_d).abs() { front_d } else { best }
    });
    true_from_tool_d(nearest, index)
}

/// The colour fringe a prism makes: its amount over the Abbe number (textbook, transverse chromatic aberration).
pub fn fringe_pd(prism_pd: f64, abbe: f64) -> f64 {
    prism_pd / abbe
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn vogel_matches_its_worked_rows() {
        for (m_d, want_d) in [(-4.0, 4.0), (3.0, 9.0), (-6.0, 3.0)] {
            assert_eq!(vogel_front_tool_d(SphereCylinder::sphere(m_d)), want_d, "computed, textbook rule at {m_d}");
        }
        assert_eq!(vogel_front_tool_d(SphereCylinder::new(-3.0, -2.0, 10.0)), 4.0, "by the equivalent");
        assert!((usual_front_d(SphereCylinder::sphere(-4.0), 1.586) - 4.0 * 0.586 / 0.53).abs() < 1e-12);
        assert_eq!(usual_front_d(SphereCylinder::sphere(-30.0), 1.53), 0.5, "the flattest there is");
    }

    #[test]
    fn a_fringe_is_prism_over_abbe() {
        // Ten prism dioptres through polycarbonate: a third of one.
        assert!((fringe_pd(10.0, 30.0) - 1.0 / 3.0).abs() < 1e-12);
    }

    #[test]
    fn every_material_is_one_a_lens_can_have() {
        for material in MATERIALS {
            assert!((1.4..=2.0).contains(&material.index) && material.abbe > 25.0 && material.abbe < 60.0);
            assert!(material.density_g_per_cm3 > 1.0 && material.usual_centre_mm >= 1.0, "{}", material.name);
        }
    }
}
