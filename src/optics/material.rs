//! The optical properties of a lens material, and the usual front curve for a power.

use super::power::SphereCylinder;
use super::surface::true_from_tool_d;

/// The properties of a lens material that computations use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OpticalMaterial {
    /// Refractive index, d line.
    pub index: f64,
    /// Abbe number, d line.
    pub abbe: f64,
    /// Density, for the weight.
    pub density_g_per_cm3: f64,
    /// The usual center thickness of a minus lens.
    pub usual_center_mm: f64,
}

/// Common front curves of stock blanks, in tool power. Source: common practice (from memory).
pub const USUAL_FRONTS_TOOL_D: [f64; 7] = [0.5, 2.0, 4.0, 6.0, 8.0, 10.0, 12.0];

/// Vogel's rule for the front curve, in tool power: M + 6 for plus lenses, M/2 + 6 for minus lenses (textbook, stated
/// for crown and hard resin; from memory).
pub fn vogel_front_tool_d(power: SphereCylinder) -> f64 {
    let m_d = power.spherical_equivalent_d();
    if m_d > 0.0 { m_d + 6.0 } else { m_d / 2.0 + 6.0 }
}

/// The usual front curve for a power: Vogel's rule, rounded to the nearest of [`USUAL_FRONTS_TOOL_D`]. True power.
pub fn usual_front_d(power: SphereCylinder, index: f64) -> f64 {
    let wanted_d = vogel_front_tool_d(power);
    let nearest = USUAL_FRONTS_TOOL_D.into_iter().fold(f64::INFINITY, |best: f64, front_d| {
        if (front_d - wanted_d).abs() < (best - wanted_d).abs() { front_d } else { best }
    });
    true_from_tool_d(nearest, index)
}

/// The color fringe from a prism: prism divided by Abbe number (textbook, transverse chromatic aberration).
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
        assert_eq!(usual_front_d(SphereCylinder::sphere(-30.0), 1.53), 0.5, "the flattest stock front");
    }

    #[test]
    fn a_fringe_is_prism_over_abbe() {
        // Ten prism diopters through polycarbonate: a third of one.
        assert!((fringe_pd(10.0, 30.0) - 1.0 / 3.0).abs() < 1e-12);
    }
}
