//! Prism at the point an eye looks through, by Prentice's rule and by an exact ray, for one lens and for the pair.
//!
//! Each figure is the total prism there: the prescribed prism plus the prism that the power makes away from the
//! optical center. Offsets run from the optical center to the point looked through, on the back of the lens.

use super::lens::{Lens, LensError};
use super::prism::{BaseVector, Imbalance, InUp, imbalance, prism_at};
use super::{Eye, Pair};

/// The point where an eye looks through its lens, from the optical center.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct GazePoint {
    /// Towards the nose.
    pub in_mm: f64,
    /// Upwards.
    pub up_mm: f64,
}

/// The prism at one point of one lens, by two methods.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GazePrism {
    /// By Prentice's rule with the full power, plus the prescribed prism.
    pub rule: BaseVector,
    /// 100 times the tangent of the deviation of a ray that arrives parallel to the optical axis and leaves the
    /// back at this point.
    pub exact: BaseVector,
}

impl GazePrism {
    /// The error of Prentice's rule: the size of its difference from the exact prism.
    pub fn rule_error_pd(&self) -> f64 {
        (self.rule - self.exact).to_polar().amount_pd
    }
}

/// The prism at a point of a lens.
///
/// # Errors
///
/// [`LensError::NoRay`] where no ray leaves the lens.
pub fn gaze_prism(eye: Eye, lens: &Lens, at: GazePoint) -> Result<GazePrism, LensError> {
    let x_mm = at.in_mm * eye.nasal_sign();
    let order = lens.order();
    Ok(GazePrism {
        rule: prism_at(order.power.matrix(), x_mm, at.up_mm) + order.prism,
        exact: lens.ray_leaving_at(x_mm, at.up_mm)?.deviation(),
    })
}

/// The relative prism between the eyes when each looks through a given point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Balance {
    /// The prism at each eye's point.
    pub eyes: Pair<GazePrism>,
    /// The prescribed imbalance.
    pub wanted: Imbalance,
    /// The imbalance by Prentice's rule.
    pub rule: Imbalance,
    /// The imbalance by exact rays.
    pub exact: Imbalance,
}

impl Balance {
    /// The imbalance beyond the prescribed one, by exact rays.
    pub fn unwanted(&self) -> Imbalance {
        Imbalance {
            horizontal_pd: self.exact.horizontal_pd - self.wanted.horizontal_pd,
            vertical_pd: self.exact.vertical_pd - self.wanted.vertical_pd,
        }
    }
}

/// The imbalance at one point of each lens: at the optical centers (offset zero), or at a reading point below them.
///
/// # Errors
///
/// As [`gaze_prism`], for either eye.
pub fn balance(lenses: Pair<&Lens>, at: Pair<GazePoint>) -> Result<Balance, LensError> {
    let one = |eye: Eye| gaze_prism(eye, lenses.get(eye), *at.get(eye));
    let eyes = Pair::new(one(Eye::Right)?, one(Eye::Left)?);
    let of = |pick: &dyn Fn(Eye) -> BaseVector| -> Imbalance {
        let in_up = |eye: Eye| -> InUp { pick(eye).to_in_up(eye) };
        imbalance(Pair::new(in_up(Eye::Right), in_up(Eye::Left)))
    };
    Ok(Balance {
        eyes,
        wanted: of(&|eye| lenses.get(eye).order().prism),
        rule: of(&|eye| eyes.get(eye).rule),
        exact: of(&|eye| eyes.get(eye).exact),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::optics::lens::LensOrder;
    use crate::optics::power::SphereCylinder;

    fn lens(sphere_d: f64, prism: BaseVector) -> Lens {
        Lens::new(LensOrder {
            power: SphereCylinder::sphere(sphere_d),
            prism,
            index: 1.5,
            front_power_d: if sphere_d > 0.0 { sphere_d + 4.0 } else { 4.0 },
            front_conic: 0.0,
            center_thickness_mm: if sphere_d > 0.0 { 6.0 } else { 2.0 },
        })
        .unwrap()
    }

    /// A meridional trace by angles and sphere centers only.
    fn meridional_prism(lens: &Lens, leaving_mm: f64) -> f64 {
        let (n, t) = (lens.order().index, lens.order().center_thickness_mm);
        let r1 = 1.0 / lens.front().curvature_per_mm;
        let r2 = 1.0 / lens.back().strong_per_mm();
        let out = |h: f64| {
            // Depth runs with the light; heights up. Front vertex at 0.
            let i1 = (h / r1).asin();
            let bent = -(i1 - (i1.sin() / n).asin());
            let (y0, d0) = (h, r1 - (r1 * r1 - h * h).sqrt());
            // Meet the back: center at depth t + r2.
            let (cy, cd) = (y0, d0 - (t + r2));
            let b = cy * bent.sin() + cd * bent.cos();
            let c = cy * cy + cd * cd - r2 * r2;
            let distance_mm = -b - r2.signum() * (b * b - c).sqrt();
            let y = y0 + distance_mm * bent.sin();
            let normal = (y / r2).asin();
            // Incidence from the normal, which leans by `normal` towards the axis.
            let inside = bent + normal;
            let after = (n * inside.sin()).asin() - normal;
            (y, 100.0 * after.tan())
        };
        let (mut low, mut high) = (leaving_mm - 6.0, leaving_mm + 6.0);
        for _ in 0..100 {
            let middle = (low + high) / 2.0;
            if out(middle).0 < leaving_mm { low = middle } else { high = middle }
        }
        out(low).1
    }

    #[test]
    fn the_exact_prism_is_that_of_a_meridional_trace() {
        for sphere_d in [-8.0, -3.0, 2.0, 8.0] {
            let lens = lens(sphere_d, BaseVector::default());
            for (up_mm, close_pd) in [(3.0, 0.02), (6.0, 0.1), (10.0, 0.5), (20.0, 5.0)] {
                let got = gaze_prism(Eye::Right, &lens, GazePoint { in_mm: 0.0, up_mm }).unwrap();
                let want = meridional_prism(&lens, up_mm);
                assert!((got.exact.y_pd - want).abs() < 1e-6, "{sphere_d} at {up_mm}: {got:?}, want {want}");
                assert!(got.exact.x_pd.abs() < 1e-9);
                assert!(got.rule_error_pd() < close_pd, "the rule is off by {} at {up_mm}", got.rule_error_pd());
                assert!((got.rule.y_pd + sphere_d * up_mm / 10.0).abs() < 1e-12, "Prentice");
            }
        }
    }

    #[test]
    fn a_reading_point_below_unequal_lenses_is_out_of_balance() {
        // -4.00 right, -1.00 left, 10 mm down: 4 and 1 base down, 3 between them (Prentice).
        let (right, left) = (lens(-4.0, BaseVector::default()), lens(-1.0, BaseVector::default()));
        let down = GazePoint { in_mm: 0.0, up_mm: -10.0 };
        let got = balance(Pair::new(&right, &left), Pair::new(down, down)).unwrap();
        assert!((got.rule.vertical_pd + 3.0).abs() < 1e-12, "{got:?}");
        assert!((got.exact.vertical_pd + 3.0).abs() < 0.2 && got.exact.vertical_pd != got.rule.vertical_pd);
        let center = GazePoint::default();
        let level = balance(Pair::new(&right, &left), Pair::new(center, center)).unwrap();
        assert!(level.exact.vertical_pd.abs() < 1e-9 && level.unwanted().horizontal_pd.abs() < 1e-9);
    }

    #[test]
    fn prescribed_prism_is_wanted_everywhere() {
        let right = lens(-2.0, InUp { in_pd: 1.5, up_pd: 0.5 }.to_vector(Eye::Right));
        let left = lens(-2.0, InUp { in_pd: 1.5, up_pd: -0.5 }.to_vector(Eye::Left));
        let center = GazePoint::default();
        let got = balance(Pair::new(&right, &left), Pair::new(center, center)).unwrap();
        assert!((got.wanted.horizontal_pd - 3.0).abs() < 1e-12 && (got.wanted.vertical_pd - 1.0).abs() < 1e-12);
        assert!(got.unwanted().horizontal_pd.abs() < 1e-9 && got.unwanted().vertical_pd.abs() < 1e-9);
        assert!((got.exact.horizontal_pd - 3.0).abs() < 1e-9);
    }
}
