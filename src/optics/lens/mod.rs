//! A lens with two surfaces, a center thickness and an index: its thickness at any point, and rays through it.
//!
//! The optical axis is the normal of the front at its vertex and runs through the reference point. x runs to the
//! observer's right, y up, z towards the observer. The front vertex is at z = 0 and the back vertex at
//! z = -center thickness. Thickness is measured parallel to the optical axis. A prescribed prism is a rigid tilt of
//! the back surface about its vertex, thick side at the base.

mod order;

pub use order::{LensError, LensOrder, MAX_CENTER_MM, MAX_FRONT_D, MAX_POWER_D, MAX_PRISM_PD};

use super::prism::BaseVector;
use super::ray::{Patch, Vector, add_scaled, dot, refract, unit};
use super::surface::{Conic, Local, Toric, back_curvature_per_mm, front_curvature_per_mm};

/// The principal powers of the back surface, true in the lens's own index.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BackCurves {
    /// The flatter curve.
    pub base_d: f64,
    /// The steeper curve, 90° from the flatter.
    pub cross_d: f64,
    /// The direction in which the power is `base_d`.
    pub axis_deg: f64,
}

/// A ray that has left the lens.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeavingRay {
    /// Where it leaves the back surface.
    pub at_mm: Vector,
    /// Its direction, a unit vector.
    pub along: Vector,
}

impl LeavingRay {
    /// The deviation of a ray that arrived along the optical axis, as a base vector: 100 times its tangent.
    pub fn deviation(&self) -> BaseVector {
        let [x, y, z] = self.along;
        BaseVector { x_pd: 100.0 * x / -z, y_pd: 100.0 * y / -z }
    }
}

/// The tilt of the back surface: the surface's own x, y and z axes in lens coordinates.
#[derive(Debug, Clone, Copy, PartialEq)]
struct BackTilt([Vector; 3]);

impl BackTilt {
    /// The tilt that deviates a ray along the optical axis by the prism: tan α = sin δ / (n - cos δ), from
    /// n sin α = sin (α + δ), with δ the deviation, tan δ = P/100 (Snell).
    fn for_prism(prism: BaseVector, index: f64) -> Option<Self> {
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

    /// Converts a vector from lens coordinates to surface coordinates.
    #[inline]
    fn to_surface(self, v: Vector) -> Vector {
        [dot(self.0[0], v), dot(self.0[1], v), dot(self.0[2], v)]
    }

    /// Converts a vector from surface coordinates to lens coordinates.
    #[inline]
    fn to_lens(self, v: Vector) -> Vector {
        add_scaled(
            add_scaled([v[0] * self.0[0][0], v[0] * self.0[0][1], v[0] * self.0[0][2]], self.0[1], v[1]),
            self.0[2],
            v[2],
        )
    }
}

/// A lens with two surfaces. [`Lens::new`] checks its values; [`Lens::check_span`] checks that its surfaces are wide
/// enough.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lens {
    order: LensOrder,
    front: Conic,
    back: Toric,
    tilt: Option<BackTilt>,
}

fn within(value: f64, limit: f64) -> bool {
    value.is_finite() && value.abs() <= limit
}

/// The front's power carried to the back vertex: F1 / (1 - (t/n) F1) (textbook, thick lens).
pub fn front_at_back_d(front_power_d: f64, center_thickness_mm: f64, index: f64) -> f64 {
    front_power_d / (1.0 - center_thickness_mm / 1000.0 / index * front_power_d)
}

impl Lens {
    /// The lens whose back gives the ordered back vertex power with the given front and center thickness: in each
    /// principal meridian F2 = Fv - F1 / (1 - (t/n) F1) (textbook, thick lens).
    ///
    /// # Errors
    ///
    /// [`LensError`]: a value out of range, or a front so strong that it focuses inside the lens.
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
            if !within(power_d, MAX_POWER_D) {
                return Err(LensError::Power(power_d));
            }
        }
        let prism = order.prism.x_pd.hypot(order.prism.y_pd);
        if !within(prism, MAX_PRISM_PD) {
            return Err(LensError::Prism(prism));
        }
        let t = order.center_thickness_mm;
        if !(t > 0.0 && t <= MAX_CENTER_MM) {
            return Err(LensError::CenterThickness(t));
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
            tilt: BackTilt::for_prism(order.prism, order.index),
        })
    }

    /// The order it was made from.
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
        let carried_d = front_at_back_d(self.order.front_power_d, self.order.center_thickness_mm, self.order.index);
        let along_d = minus.sphere_d - carried_d;
        let across_d = along_d + minus.cylinder_d;
        if along_d.abs() <= across_d.abs() {
            BackCurves { base_d: along_d, cross_d: across_d, axis_deg: minus.axis_deg }
        } else {
            let other = if minus.axis_deg <= 90.0 { minus.axis_deg + 90.0 } else { minus.axis_deg - 90.0 };
            BackCurves { base_d: across_d, cross_d: along_d, axis_deg: other }
        }
    }

    /// Checks that both surfaces reach `needed_mm` from the optical center.
    ///
    /// # Errors
    ///
    /// [`LensError::DoesNotSpan`] for the first surface that does not reach.
    pub fn check_span(&self, needed_mm: f64) -> Result<(), LensError> {
        if self.front.reach_mm() <= needed_mm {
            return Err(LensError::DoesNotSpan {
                surface: "front",
                power_d: self.order.front_power_d,
                radius_mm: self.front.curvature_per_mm.recip().abs(),
                needed_mm,
            });
        }
        // A tilted surface must reach slightly farther in its own coordinates. `thickness_mm` reports the points
        // where it does not.
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

    /// Thickness at a point, parallel to the optical axis. Negative where the surfaces cross.
    ///
    /// # Errors
    ///
    /// [`LensError::DoesNotSpan`] where a surface does not reach the point.
    pub fn thickness_mm(&self, x_mm: f64, y_mm: f64) -> Result<f64, LensError> {
        self.checked_thickness_mm(x_mm, y_mm).ok_or_else(|| {
            let needed_mm = x_mm.hypot(y_mm);
            self.check_span(needed_mm).err().unwrap_or_else(|| self.back_does_not_span(needed_mm))
        })
    }

    /// As [`Lens::thickness_mm`], but `None` where a surface does not reach the point.
    #[inline]
    pub fn checked_thickness_mm(&self, x_mm: f64, y_mm: f64) -> Option<f64> {
        let front_mm = self.front.sag_mm(x_mm, y_mm)?;
        let back_mm = match &self.tilt {
            None => self.back.sag_mm(x_mm, y_mm)?,
            Some(tilt) => self.tilted_sag_mm(tilt, x_mm, y_mm)?,
        };
        Some(self.order.center_thickness_mm - front_mm + back_mm)
    }

    /// Sag of the tilted back from the plane through its vertex, along the optical axis: Newton's method in surface
    /// coordinates.
    fn tilted_sag_mm(&self, tilt: &BackTilt, x_mm: f64, y_mm: f64) -> Option<f64> {
        let from = tilt.to_surface([x_mm, y_mm, 0.0]);
        let down = tilt.to_surface([0.0, 0.0, -1.0]);
        // Curvature of the surface along this line. Without tilt the line is parallel to the surface's axis: zero.
        let bend = (down[0] * down[0] + down[1] * down[1]) * self.back.strong_per_mm().abs();
        let mut distance_mm = -from[2] / down[2];
        for _ in 0..40 {
            let place = add_scaled(from, down, distance_mm);
            let (sag_mm, slope) = self.back.sag_and_slope(place[0], place[1])?;
            let step = (place[2] + sag_mm) / (down[2] + slope[0] * down[0] + slope[1] * down[1]);
            distance_mm -= step;
            // The remaining error is about half of this (Newton), a few times more near the rim: negligible.
            if step * step * bend < 1e-9 {
                return Some(distance_mm);
            }
        }
        None
    }

    /// Traces a ray that arrives parallel to the optical axis at (x, y) of the front. `None` where a surface ends or
    /// all light is reflected.
    pub fn trace(&self, x_mm: f64, y_mm: f64) -> Option<LeavingRay> {
        let front = self.front.local(x_mm, y_mm)?;
        let normal = unit([front.slope[0], front.slope[1], 1.0]);
        let inside = refract([0.0, 0.0, -1.0], normal, 1.0, self.order.index)?;
        self.leave([x_mm, y_mm, -front.sag_mm], inside)
    }

    /// Traces a ray inside the lens out through the back. `None` where the back ends or all light is reflected.
    pub fn leave(&self, from_mm: Vector, inside: Vector) -> Option<LeavingRay> {
        let from = add_scaled(from_mm, [0.0, 0.0, 1.0], self.order.center_thickness_mm);
        let (start, along) = match &self.tilt {
            None => (from, inside),
            Some(tilt) => (tilt.to_surface(from), tilt.to_surface(inside)),
        };
        let distance_mm = meet(|x, y| self.back.local(x, y), start, along)?;
        let place = add_scaled(start, along, distance_mm);
        let slope = self.back.local(place[0], place[1])?.slope;
        let normal = unit([slope[0], slope[1], 1.0]);
        let out = refract(along, normal, self.order.index, 1.0)?;
        let out = match &self.tilt {
            None => out,
            Some(tilt) => tilt.to_lens(out),
        };
        Some(LeavingRay { at_mm: add_scaled(from_mm, inside, distance_mm), along: out })
    }

    /// The ray that arrives parallel to the optical axis and leaves the back at (x, y).
    ///
    /// # Errors
    ///
    /// [`LensError::NoRay`] where a surface ends or all light is reflected.
    pub fn ray_leaving_at(&self, x_mm: f64, y_mm: f64) -> Result<LeavingRay, LensError> {
        let no_ray = LensError::NoRay { x_mm, y_mm };
        let (mut x, mut y) = (x_mm, y_mm);
        // Inside the lens a ray shifts only slightly, so correcting its start by the remaining error converges
        // quickly.
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
    // Start where the ray crosses the vertex plane. A ray parallel to that plane never does.
    let mut distance_mm = -from[2] / along[2];
    if !distance_mm.is_finite() {
        return None;
    }
    for _ in 0..40 {
        let place = add_scaled(from, along, distance_mm);
        let here = local(place[0], place[1])?;
        let gap = place[2] + here.sag_mm;
        let rate = along[2] + here.slope[0] * along[0] + here.slope[1] * along[1];
        let step = gap / rate;
        distance_mm -= step;
        // Newton's method squares the error, so after a step this small it is negligible.
        if step.abs() < 1e-6 {
            return Some(distance_mm);
        }
    }
    None
}

/// The patch of a surface at a point, for light that goes towards -z.
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
mod tests;
