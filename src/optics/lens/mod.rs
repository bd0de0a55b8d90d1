//! The lens as a body: two surfaces, a thickness, an index; its thickness anywhere and the rays through it.
//!
//! The middle is the reference point, where the optical axis (the normal of the front at its vertex) runs through:
//! x to the observer's right, y up, z towards the observer, the front vertex at z = 0 and the back vertex at
//! z = -centre thickness. Thickness is measured parallel to the optical axis. A prescribed prism is a rigid tilt of
//! the back surface about its vertex, thick side at the base.

mod order;

pub use order::{LensError, LensOrder, MAX_CENTRE_MM, MAX_FRONT_D, MAX_POWER_D, MAX_PRISM_PD};

use super::prism::BaseVector;
use super::ray::{Patch, Vector, dot, plus, refract, unit};
use super::surface::{Conic, Local, Toric, back_curvature_per_mm, front_curvature_per_mm};

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
            if !within(power_d, MAX_POWER_D) {
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
        // How fast the surface falls away from its tangent along this line, which the tilt alone makes run across it.
        let bend = (down[0] * down[0] + down[1] * down[1]) * self.back.strong_per_mm().abs();
        let mut way = -from[2] / down[2];
        for _ in 0..40 {
            let place = plus(from, down, way);
            let (sag_mm, slope) = self.back.sag_and_slope(place[0], place[1])?;
            let step = (place[2] + sag_mm) / (down[2] + slope[0] * down[0] + slope[1] * down[1]);
            way -= step;
            // What is left is about half of this (Newton), a few times as much near the rim: nothing to see.
            if step * step * bend < 1e-9 {
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
mod tests;
