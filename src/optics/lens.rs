//! The lens as a body: two surfaces, a thickness, an index; its thickness anywhere and the rays through it.
//!
//! The middle is the reference point, where the optical axis (the normal of the front at its vertex) runs through:
//! x to the observer's right, y up, z towards the observer, the front vertex at z = 0 and the back vertex at
//! z = -centre thickness. Thickness is measured parallel to the optical axis. A prescribed prism is a rigid tilt of
//! the back surface about its vertex, thick side at the base.

use thiserror::Error;

use super::power::SphereCylinder;
use super::prism::BaseVector;
use super::ray::{Patch, Vector, dot, plus, refract, unit};
use super::surface::{Conic, Local, Toric, back_curvature_per_mm, front_curvature_per_mm};

/// The thickest centre taken for a spectacle lens.
pub const MAX_CENTRE_MM: f64 = 60.0;
/// The strongest front taken for a spectacle lens.
pub const MAX_FRONT_D: f64 = 40.0;
/// The strongest prism that is surfaced into one lens.
pub const MAX_PRISM_PD: f64 = 30.0;

/// Why there is no such lens.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum LensError {
    /// An index that no lens material has.
    #[error("an index of {0} is outside 1.4 to 2.0")]
    Index(f64),
    /// A front power that is not a number or beyond [`MAX_FRONT_D`].
    #[error("a front of {0} D is outside -40 to +40 D")]
    FrontPower(f64),
    /// A conic constant that is not a number.
    #[error("a conic constant of {0} is outside -100 to 100")]
    ConicConstant(f64),
    /// A power that is not a number or beyond 40 D.
    #[error("a power of {0} D is outside -40 to +40 D")]
    Power(f64),
    /// A prism beyond [`MAX_PRISM_PD`].
    #[error("a prism of {0:.2} is more than one lens takes (30)")]
    Prism(f64),
    /// A centre that is not positive or beyond [`MAX_CENTRE_MM`].
    #[error("a centre thickness of {0:.2} mm is not between 0 and 60 mm")]
    CentreThickness(f64),
    /// A wanted edge thickness that is not a number from 0 to 20.
    #[error("an edge thickness of {0:.2} mm is not between 0 and 20 mm")]
    EdgeThickness(f64),
    /// The wanted edge asks for a centre that is not there.
    #[error(
        "a thinnest edge of {edge_mm:.2} mm would leave a centre of {centre_mm:.2} mm: state the centre thickness instead"
    )]
    NoCentreLeft {
        /// The wanted thinnest edge.
        edge_mm: f64,
        /// The centre it would leave.
        centre_mm: f64,
    },
    /// A surface that is too steep to reach as far as the shape or the blank does.
    #[error(
        "the {surface} surface of {power_d:+.2} D has a radius of {radius_mm:.2} mm and does not reach \
         {needed_mm:.2} mm from the optical centre: no lens of this size has it"
    )]
    DoesNotSpan {
        /// `front` or `back`.
        surface: &'static str,
        /// Its steepest power.
        power_d: f64,
        /// Its shortest radius of curvature.
        radius_mm: f64,
        /// How far from the middle it has to reach.
        needed_mm: f64,
    },
    /// A ray that meets no surface or does not come out.
    #[error("no ray leaves the lens at {x_mm:.2} mm across and {y_mm:.2} mm up from its optical centre")]
    NoRay {
        /// Where it was to leave, to the observer's right.
        x_mm: f64,
        /// Where it was to leave, up.
        y_mm: f64,
    },
}

/// What makes a lens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LensOrder {
    /// Back vertex power.
    pub power: SphereCylinder,
    /// The prescribed prism.
    pub prism: BaseVector,
    /// Refractive index, 1.4 to 2.0.
    pub index: f64,
    /// True power of the front at its vertex, in the lens's own index.
    pub front_power_d: f64,
    /// Conic constant of the front; 0 is a sphere.
    pub front_conic: f64,
    /// Thickness at the middle.
    pub centre_thickness_mm: f64,
}

/// The principal powers of the back surface, true in the lens's own index.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BackCurves {
    /// The flatter one.
    pub base_d: f64,
    /// The steeper one, at right angles.
    pub cross_d: f64,
    /// The direction in which the power is `base_d`.
    pub axis_deg: f64,
}

/// A ray that has left the lens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeavingRay {
    /// Where it leaves the back surface.
    pub at_mm: Vector,
    /// Which way it goes.
    pub along: Vector,
}

impl LeavingRay {
    /// The deviation of a ray that arrived along the optical axis, as a base vector: 100 times its tangent.
    pub fn deviation(&self) -> BaseVector {
        let [x, y, z] = self.along;
        BaseVector { x_pd: 100.0 * x / -z, y_pd: 100.0 * y / -z }
    }
}

/// The tilt of the back surface: its own axes in the axes of the lens, columns x, y, z.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Tilt([Vector; 3]);

impl Tilt {
    /// The tilt that deviates a ray along the optical axis by the prism: tan α = sin δ / (n - cos δ), from
    /// n sin α = sin (α + δ), with δ the deviation, tan δ = P/100 (Snell).
    fn making(prism: BaseVector, index: f64) -> Option<Self> {
        let amount = prism.x_pd.hypot(prism.y_pd);
        if amount < 1e-9 {
            return None;
        }
        let deviation = (amount / 100.0).atan();
        let (s, c) = (deviation.sin() / (index - deviation.cos())).atan().sin_cos();
        let (bx, by) = (prism.x_pd / amount, prism.y_pd / amount);
        // Turns the base direction back (towards -z) and the normal towards the base.
        let turn = |v: Vector| {
            let along_base = bx * v[0] + by * v[1];
            let rise = along_base * (c - 1.0) + v[2] * s;
            [v[0] + bx * rise, v[1] + by * rise, v[2] * c - along_base * s]
        };
        Some(Self([turn([1.0, 0.0, 0.0]), turn([0.0, 1.0, 0.0]), turn([0.0, 0.0, 1.0])]))
    }

    /// A vector of the lens in the axes of the surface.
    #[inline]
    fn inward(&self, v: Vector) -> Vector {
        [dot(self.0[0], v), dot(self.0[1], v), dot(self.0[2], v)]
    }

    /// A vector of the surface in the axes of the lens.
    #[inline]
    fn outward(&self, v: Vector) -> Vector {
        plus(plus([v[0] * self.0[0][0], v[0] * self.0[0][1], v[0] * self.0[0][2]], self.0[1], v[1]), self.0[2], v[2])
    }
}

/// A lens of two surfaces. Its numbers have been checked; whether it reaches far enough is asked with
/// [`Lens::check_span`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lens {
    order: LensOrder,
    front: Conic,
    back: Toric,
    tilt: Option<Tilt>,
}

fn within(value: f64, limit: f64) -> bool {
    value.is_finite() && value.abs() <= limit
}

/// The front's power carried to the back vertex: F1 / (1 - (t/n) F1) (textbook, thick lens).
pub fn front_at_back_d(front_power_d: f64, centre_thickness_mm: f64, index: f64) -> f64 {
    front_power_d / (1.0 - centre_thickness_mm / 1000.0 / index * front_power_d)
}

impl Lens {
    /// The lens whose back gives the ordered back vertex power with the stated front and centre: in each principal
    /// meridian F2 = Fv - F1 / (1 - (t/n) F1) (textbook, thick lens).
    ///
    /// # Errors
    ///
    /// [`LensError`]: a number out of its range, or a front so strong that it focuses inside the lens.
    pub fn new(order: LensOrder) -> Result<Self, LensError> {
        if !(1.4..=2.0).contains(&order.index) {
            return Err(LensError::Index(order.index));
        }
        if !within(order.front_power_d, MAX_FRONT_D) {
            return Err(LensError::FrontPower(order.front_power_d));
        }
        if !within(order.front_conic, 100.0) {
            return Err(LensError::ConicConstant(order.front_conic));
        }
        let minus = order.power.to_minus();
        let cross_d = minus.sphere_d + minus.cylinder_d;
        for power_d in [minus.sphere_d, cross_d] {
            if !within(power_d, 40.0) {
                return Err(LensError::Power(power_d));
            }
        }
        let prism = order.prism.x_pd.hypot(order.prism.y_pd);
        if !within(prism, MAX_PRISM_PD) {
            return Err(LensError::Prism(prism));
        }
        let t = order.centre_thickness_mm;
        if !(t > 0.0 && t <= MAX_CENTRE_MM) {
            return Err(LensError::CentreThickness(t));
        }
        if t / 1000.0 / order.index * order.front_power_d >= 1.0 {
            return Err(LensError::FrontPower(order.front_power_d));
        }
        let carried_d = front_at_back_d(order.front_power_d, t, order.index);
        let curve = |power_d: f64| back_curvature_per_mm(power_d - carried_d, order.index);
        Ok(Self {
            order,
            front: Conic {
                curvature_per_mm: front_curvature_per_mm(order.front_power_d, order.index),
                conic: order.front_conic,
            },
            back: Toric::new(curve(minus.sphere_d), curve(cross_d), minus.axis_deg),
            tilt: Tilt::making(order.prism, order.index),
        })
    }

    /// What it was made from.
    pub fn order(&self) -> &LensOrder {
        &self.order
    }

    /// The front surface.
    pub fn front(&self) -> &Conic {
        &self.front
    }

    /// The back surface, in its own axes.
    pub fn back(&self) -> &Toric {
        &self.back
    }

    /// The principal powers of the back surface.
    pub fn back_curves(&self) -> BackCurves {
        let minus = self.order.power.to_minus();
        let carried_d = front_at_back_d(self.order.front_power_d, self.order.centre_thickness_mm, self.order.index);
        let along_d = minus.sphere_d - carried_d;
        let across_d = along_d + minus.cylinder_d;
        if along_d.abs() <= across_d.abs() {
            BackCurves { base_d: along_d, cross_d: across_d, axis_deg: minus.axis_deg }
        } else {
            let other = if minus.axis_deg <= 90.0 { minus.axis_deg + 90.0 } else { minus.axis_deg - 90.0 };
            BackCurves { base_d: across_d, cross_d: along_d, axis_deg: other }
        }
    }

    /// Asks whether both surfaces reach `needed_mm` from the middle.
    ///
    /// # Errors
    ///
    /// [`LensError::DoesNotSpan`] with the radius of the surface that does not.
    pub fn check_span(&self, needed_mm: f64) -> Result<(), LensError> {
        if self.front.reach_mm() <= needed_mm {
            return Err(LensError::DoesNotSpan {
                surface: "front",
                power_d: self.order.front_power_d,
                radius_mm: self.front.curvature_per_mm.recip().abs(),
                needed_mm,
            });
        }
        // A tilted surface is asked for points a little further out in its own axes, up to the sag's share of the
        // tilt; thickness_mm says so itself where it is not reached.
        if self.back.reach_mm() <= needed_mm {
            return Err(self.back_does_not_span(needed_mm));
        }
        Ok(())
    }

    fn back_does_not_span(&self, needed_mm: f64) -> LensError {
        LensError::DoesNotSpan {
            surface: "back",
            power_d: self.back_curves().cross_d,
            radius_mm: self.back.reach_mm(),
            needed_mm,
        }
    }

    /// Thickness at a point, parallel to the optical axis. May be negative, where the surfaces have crossed.
    ///
    /// # Errors
    ///
    /// [`LensError::DoesNotSpan`] where one of the surfaces is not there.
    pub fn thickness_mm(&self, x_mm: f64, y_mm: f64) -> Result<f64, LensError> {
        self.thickness_where_mm(x_mm, y_mm).ok_or_else(|| {
            let needed_mm = x_mm.hypot(y_mm);
            self.check_span(needed_mm).err().unwrap_or_else(|| self.back_does_not_span(needed_mm))
        })
    }

    /// As [`Lens::thickness_mm`]; `None` where one of the surfaces is not there.
    #[inline]
    pub fn thickness_where_mm(&self, x_mm: f64, y_mm: f64) -> Option<f64> {
        let front_mm = self.front.sag_mm(x_mm, y_mm)?;
        let back_mm = match &self.tilt {
            None => self.back.sag_mm(x_mm, y_mm)?,
            Some(tilt) => self.tilted_sag_mm(tilt, x_mm, y_mm)?,
        };
        Some(self.order.centre_thickness_mm - front_mm + back_mm)
    }

    /// How far the tilted back lies behind the plane through its vertex, along the optical axis: Newton's method in
    /// the surface's own axes.
    fn tilted_sag_mm(&self, tilt: &Tilt, x_mm: f64, y_mm: f64) -> Option<f64> {
        let from = tilt.inward([x_mm, y_mm, 0.0]);
        let down = tilt.inward([0.0, 0.0, -1.0]);
        let mut way = -from[2] / down[2];
        for _ in 0..40 {
            let place = plus(from, down, way);
            let (sag_mm, slope) = self.back.sag_and_slope(place[0], place[1])?;
            let step = (place[2] + sag_mm) / (down[2] + slope[0] * down[0] + slope[1] * down[1]);
            way -= step;
            // The next step would be about the square of this one times half the curvature: nothing to see.
            if step.abs() < 1e-4 {
                return Some(way);
            }
        }
        None
    }

    /// Where a ray that arrives along the optical axis at (x, y) of the front leaves, and which way.
    pub fn trace(&self, x_mm: f64, y_mm: f64) -> Option<LeavingRay> {
        let front = self.front.local(x_mm, y_mm)?;
        let normal = unit([front.slope[0], front.slope[1], 1.0]);
        let inside = refract([0.0, 0.0, -1.0], normal, 1.0, self.order.index)?;
        self.leave([x_mm, y_mm, -front.sag_mm], inside)
    }

    /// Where a ray inside the lens leaves its back, and which way.
    pub fn leave(&self, from_mm: Vector, inside: Vector) -> Option<LeavingRay> {
        let from = plus(from_mm, [0.0, 0.0, 1.0], self.order.centre_thickness_mm);
        let (start, along) = match &self.tilt {
            None => (from, inside),
            Some(tilt) => (tilt.inward(from), tilt.inward(inside)),
        };
        let way_mm = meet(|x, y| self.back.local(x, y), start, along)?;
        let place = plus(start, along, way_mm);
        let slope = self.back.local(place[0], place[1])?.slope;
        let normal = unit([slope[0], slope[1], 1.0]);
        let out = refract(along, normal, self.order.index, 1.0)?;
        let out = match &self.tilt {
            None => out,
            Some(tilt) => tilt.outward(out),
        };
        Some(LeavingRay { at_mm: plus(from_mm, inside, way_mm), along: out })
    }

    /// The ray that arrives parallel to the optical axis and leaves the back at (x, y).
    ///
    /// # Errors
    ///
    /// [`LensError::NoRay`] where a surface ends or all light is reflected.
    pub fn ray_leaving_at(&self, x_mm: f64, y_mm: f64) -> Result<LeavingRay, LensError> {
        let no_ray = LensError::NoRay { x_mm, y_mm };
        let (mut x, mut y) = (x_mm, y_mm);
        // Inside, a ray drifts by a small share of its distance from the axis, so stepping by what is missing
        // closes in quickly.
        for _ in 0..60 {
            let Some(ray) = self.trace(x, y) else { return Err(no_ray) };
            let (dx, dy) = (x_mm - ray.at_mm[0], y_mm - ray.at_mm[1]);
            if dx.abs() + dy.abs() < 1e-10 {
                return Ok(ray);
            }
            (x, y) = (x + dx, y + dy);
        }
        Err(no_ray)
    }
}

/// The distance along a ray to a surface given by its sag about the origin, by Newton's method.
pub(super) fn meet(local: impl Fn(f64, f64) -> Option<Local>, from: Vector, along: Vector) -> Option<f64> {
    // Where the ray crosses the vertex plane is near enough to begin with, unless it runs along that plane.
    let mut way = -from[2] / along[2];
    if !way.is_finite() {
        return None;
    }
    for _ in 0..40 {
        let place = plus(from, along, way);
        let here = local(place[0], place[1])?;
        let gap = place[2] + here.sag_mm;
        let rate = along[2] + here.slope[0] * along[0] + here.slope[1] * along[1];
        let step = gap / rate;
        way -= step;
        // One more step of Newton squares what is left, so a micrometre leaves nothing to see.
        if step.abs() < 1e-6 {
            return Some(way);
        }
    }
    None
}

/// The patch of a surface, given by its local form, for light that goes towards -z.
pub(super) fn patch(local: &Local) -> Patch {
    let [sx, sy] = local.slope;
    let length = (1.0 + sx * sx + sy * sy).sqrt();
    Patch {
        tangents: [[1.0, 0.0, -sx], [0.0, 1.0, -sy]],
        normal: [-sx / length, -sy / length, -1.0 / length],
        bend_per_mm: local.bend_per_mm.map(|bend| bend / length),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn order(sphere_d: f64, cylinder_d: f64, axis_deg: f64, index: f64, front_d: f64, centre_mm: f64) -> LensOrder {
        LensOrder {
            power: SphereCylinder::new(sphere_d, cylinder_d, axis_deg),
            prism: BaseVector::default(),
            index,
            front_power_d: front_d,
            front_conic: 0.0,
            centre_thickness_mm: centre_mm,
        }
    }

    #[track_caller]
    fn assert_close(got: f64, want: f64, tolerance: f64, row: &str) {
        assert!((got - want).abs() <= tolerance, "{row}: got {got}, want {want} ± {tolerance}");
    }

    #[test]
    fn the_back_gives_the_back_vertex_power() {
        let lens = Lens::new(order(4.0, -1.5, 30.0, 1.5, 8.0, 6.0)).unwrap();
        // 8 / (1 - 0.006 / 1.5 · 8) = 8.2645.
        let back = lens.back_curves();
        assert_close(back.base_d, 4.0 - 8.0 / 0.968, 1e-12, "thick lens, along the axis");
        assert_close(back.cross_d, 2.5 - 8.0 / 0.968, 1e-12, "thick lens, across");
        assert_close(back.axis_deg, 30.0, 0.0, "the flatter curve of a meniscus runs along the minus axis");
        // Paraxial rays focus where the power says.
        let (s, c) = 120f64.to_radians().sin_cos();
        let ray = lens.trace(0.01 * c, 0.01 * s).unwrap();
        let focus_mm = -(ray.at_mm[0] / ray.along[0]) * -ray.along[2];
        assert_close(1000.0 / focus_mm, 2.5, 1e-4, "paraxial focus behind the back vertex");
    }

    #[test]
    fn refuses_what_no_lens_has() {
        for (bad, wanted) in [
            (order(-2.0, 0.0, 180.0, 1.39, 4.0, 2.0), LensError::Index(1.39)),
            (order(-2.0, 0.0, 180.0, 1.5, 41.0, 2.0), LensError::FrontPower(41.0)),
            (order(-2.0, 0.0, 180.0, 1.5, 4.0, 0.0), LensError::CentreThickness(0.0)),
            (order(-41.0, 0.0, 180.0, 1.5, 4.0, 2.0), LensError::Power(-41.0)),
            (
                LensOrder { prism: BaseVector { x_pd: 30.0, y_pd: 1.0 }, ..order(0.0, 0.0, 180.0, 1.5, 4.0, 2.0) },
                LensError::Prism(901f64.sqrt()),
            ),
        ] {
            assert_eq!(Lens::new(bad), Err(wanted), "{bad:?}");
        }
        assert!(Lens::new(order(f64::NAN, 0.0, 180.0, 1.5, 4.0, 2.0)).is_err());
        assert!(Lens::new(order(-2.0, 0.0, 180.0, f64::NAN, 4.0, 2.0)).is_err());
        assert!(Lens::new(order(-2.0, 0.0, 180.0, 1.5, f64::NAN, 2.0)).is_err());
        assert!(Lens::new(order(-2.0, 0.0, 180.0, 1.5, 4.0, f64::NAN)).is_err());
    }

    #[test]
    fn a_surface_too_steep_says_its_radius() {
        let lens = Lens::new(order(-20.0, 0.0, 180.0, 1.5, 1.0, 2.0)).unwrap();
        let error = lens.check_span(35.0).unwrap_err();
        let sentence = error.to_string();
        assert!(sentence.contains("back surface of -21.00 D has a radius of 23.81 mm"), "{sentence}");
        assert_eq!(lens.check_span(20.0), Ok(()));
        assert!(lens.thickness_mm(25.0, 0.0).is_err());
        assert!(lens.thickness_mm(20.0, 0.0).unwrap().is_finite());
        let front = Lens::new(order(20.0, 0.0, 180.0, 1.5, 22.0, 12.0)).unwrap();
        assert!(front.check_span(30.0).unwrap_err().to_string().contains("front surface of +22.00 D"));
    }

    #[test]
    fn a_prism_deviates_the_axial_ray_by_its_amount_towards_its_base() {
        for (x_pd, y_pd) in [(2.0, 0.0), (-1.5, 3.0), (0.0, -10.0), (12.0, 16.0)] {
            let prism = BaseVector { x_pd, y_pd };
            for power in [0.0, -6.0] {
                let lens = Lens::new(LensOrder { prism, ..order(power, -1.0, 70.0, 1.6, 5.0, 3.0) }).unwrap();
                let got = lens.trace(0.0, 0.0).unwrap().deviation();
                assert_close(got.x_pd, x_pd, 1e-9, "100 tan of the deviation");
                assert_close(got.y_pd, y_pd, 1e-9, "100 tan of the deviation");
                let at_base = lens.thickness_mm(x_pd, y_pd).unwrap();
                let at_apex = lens.thickness_mm(-x_pd, -y_pd).unwrap();
                assert!(at_base > at_apex, "thick at the base");
            }
        }
    }

    #[test]
    fn a_tilted_sphere_is_a_sphere_about_its_moved_centre() {
        let lens = Lens::new(LensOrder {
            prism: BaseVector { x_pd: 3.0, y_pd: 4.0 },
            ..order(-5.0, 0.0, 180.0, 1.5, 3.0, 2.0)
        })
        .unwrap();
        let r = 1.0 / lens.back().strong_per_mm();
        let deviation = 0.05f64.atan();
        let tilt = (deviation.sin() / (1.5 - deviation.cos())).atan();
        // The centre of the back lies behind the vertex, along the tilted normal (turned towards the base).
        let centre = [-r * tilt.sin() * 0.6, -r * tilt.sin() * 0.8, -2.0 - r * tilt.cos()];
        for (x, y) in [(20.0, 3.0), (-18.0, -15.0), (4.0, 24.0)] {
            let back_z = centre[2] + (r * r - (x - centre[0]).powi(2) - (y - centre[1]).powi(2)).sqrt();
            let r1 = 1000.0 * 0.5 / 3.0;
            let front_z = (r1 * r1 - x * x - y * y).sqrt() - r1;
            assert_close(lens.thickness_mm(x, y).unwrap(), front_z - back_z, 1e-9, "sphere about its centre");
        }
    }
}
