//! The power to order for a position of wear: vertex distance, pantoscopic tilt and wrap. And the prism from tilt.
//!
//! # Position of wear
//!
//! Wrap turns the lens inside the frame front about the front's vertical, its outer edge towards the temple. Panto
//! then tilts the whole front about the horizontal, its lower edge towards the cheek. The line of sight is straight
//! ahead, through the back vertex. Powers as worn are in the plane across the line of sight; the ordered power is in
//! the lens's own front view.
//!
//! # Method
//!
//! The power to order needs no iteration. A narrow pencil from far away is traced along the line of sight through the
//! front and the thickness of the lens; neither depends on the power. The prescribed vergence at the back vertex then
//! gives the curvature matrix of the back, and from it the back vertex power. A prescribed prism is ignored.

use thiserror::Error;

use super::Eye;
use super::lens::{Lens, LensError, LensOrder, front_at_back_d, meet, patch};
use super::power::{PowerMatrix, SphereCylinder};
use super::prism::BaseVector;
use super::ray::{Patch, Pencil, Vector, add_scaled, dot, refract};
use super::surface::Conic;

/// The largest tilt or wrap accepted.
pub const MAX_TILT_DEG: f64 = 40.0;
/// The longest vertex distance accepted.
pub const MAX_VERTEX_MM: f64 = 40.0;

/// Why no power to order can be computed.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum CompensationError {
    /// A vertex distance out of range.
    #[error("A vertex distance of {0} mm is outside 0 to 40 mm")]
    Vertex(f64),
    /// A tilt out of range.
    #[error("A pantoscopic tilt of {0}° is outside -40 to 40°")]
    Panto(f64),
    /// A wrap out of range.
    #[error("A wrap of {0}° is outside -40 to 40°")]
    Wrap(f64),
    /// The order makes no lens.
    #[error(transparent)]
    Lens(#[from] LensError),
    /// The line of sight misses the front.
    #[error("The line of sight does not pass through the tilted lens: its front is too steep or it is too thick")]
    NoSight,
}

/// How the frame holds the lens before the eye.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WearPosition {
    /// Vertex distance of the refraction: from the eye to the back of the trial lens.
    pub vertex_from_mm: f64,
    /// Vertex distance as worn: from the eye to the back of the lens.
    pub vertex_to_mm: f64,
    /// Pantoscopic tilt, lower edge towards the cheek.
    pub panto_deg: f64,
    /// Wrap, outer edge towards the temple.
    pub wrap_deg: f64,
}

/// The powers for a position of wear.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Compensated {
    /// The back vertex power to order, minus cylinder, by the exact pencil.
    pub order: SphereCylinder,
    /// The same by vertex distance and Martin's rule, once for each tilt.
    pub order_textbook: SphereCylinder,
    /// The power as worn of a lens ordered as prescribed, at the worn vertex distance.
    pub unchanged: SphereCylinder,
    /// The prism from tilt on the line of sight.
    pub tilt_prism: BaseVector,
}

/// The power to order so that the lens gives the prescribed power (`order.power`) as worn.
///
/// # Errors
///
/// [`CompensationError`]: a distance or angle out of range, values that make no lens, a line of sight that misses it.
pub fn compensate(eye: Eye, order: &LensOrder, wear: &WearPosition) -> Result<Compensated, CompensationError> {
    wear.check()?;
    Lens::new(*order)?;
    let sight = LineOfSight::through(eye, order, wear).ok_or(CompensationError::NoSight)?;
    let wanted = order.power.vertex_compensated(wear.vertex_from_mm, wear.vertex_to_mm);
    Ok(Compensated {
        order: sight.order_for(wanted, order),
        order_textbook: inverse_martin(wanted, order.index, wear),
        unchanged: sight.worn_power(order.power, order),
        tilt_prism: sight.tilt_prism,
    })
}

/// The power error as worn of a lens of back vertex power `ordered`, against the prescribed `order.power`: zero for
/// [`Compensated::order`], the rounding error for a power rounded to a step.
///
/// # Errors
///
/// As [`compensate`].
pub fn residual_as_worn(
    eye: Eye,
    order: &LensOrder,
    wear: &WearPosition,
    ordered: SphereCylinder,
) -> Result<SphereCylinder, CompensationError> {
    wear.check()?;
    let made = LensOrder { power: ordered, ..*order };
    Lens::new(made)?;
    let sight = LineOfSight::through(eye, &made, wear).ok_or(CompensationError::NoSight)?;
    let wanted = order.power.vertex_compensated(wear.vertex_from_mm, wear.vertex_to_mm).matrix();
    let worn = sight.worn_power(ordered, &made).matrix();
    let residual =
        PowerMatrix { xx_d: worn.xx_d - wanted.xx_d, xy_d: worn.xy_d - wanted.xy_d, yy_d: worn.yy_d - wanted.yy_d };
    Ok(residual.to_sphere_cylinder())
}

/// The power as worn by Martin's rule, applied once for each tilt: S(1 + sin²θ/2n), and the meridian across the axis
/// of the tilt also by 1 + tan²θ (textbook; the worked examples take 2n = 3). It loses the oblique cylinder that two
/// tilts make together.
pub fn martin(power: SphereCylinder, index: f64, wear: &WearPosition) -> SphereCylinder {
    let (whole, x, y) = martin_factors(index, wear);
    scaled(power, whole, x, y)
}

/// The inverse of [`martin`].
pub fn inverse_martin(power: SphereCylinder, index: f64, wear: &WearPosition) -> SphereCylinder {
    let (whole, x, y) = martin_factors(index, wear);
    scaled(power, whole.recip(), x.recip(), y.recip())
}

fn martin_factors(index: f64, wear: &WearPosition) -> (f64, f64, f64) {
    let gain = |angle_deg: f64| 1.0 + angle_deg.to_radians().sin().powi(2) / (2.0 * index);
    // 1 + tan² = 1/cos².
    let across = |angle_deg: f64| angle_deg.to_radians().cos().recip();
    (gain(wear.panto_deg) * gain(wear.wrap_deg), across(wear.wrap_deg), across(wear.panto_deg))
}

fn scaled(power: SphereCylinder, whole: f64, x: f64, y: f64) -> SphereCylinder {
    let m = power.matrix();
    PowerMatrix { xx_d: whole * x * x * m.xx_d, xy_d: whole * x * y * m.xy_d, yy_d: whole * y * y * m.yy_d }
        .to_sphere_cylinder()
}

impl WearPosition {
    fn check(&self) -> Result<(), CompensationError> {
        for vertex_mm in [self.vertex_from_mm, self.vertex_to_mm] {
            if !(0.0..=MAX_VERTEX_MM).contains(&vertex_mm) {
                return Err(CompensationError::Vertex(vertex_mm));
            }
        }
        if !(-MAX_TILT_DEG..=MAX_TILT_DEG).contains(&self.panto_deg) {
            return Err(CompensationError::Panto(self.panto_deg));
        }
        if !(-MAX_TILT_DEG..=MAX_TILT_DEG).contains(&self.wrap_deg) {
            return Err(CompensationError::Wrap(self.wrap_deg));
        }
        Ok(())
    }

    /// The directions right, up and towards the observer, in the coordinates of the tilted lens.
    ///
    /// Wrap turns the front's normal from z towards the temple; panto then turns everything downwards. This undoes
    /// panto first, then wrap.
    pub fn in_lens_axes(&self, eye: Eye) -> [Vector; 3] {
        let (sp, cp) = self.panto_deg.to_radians().sin_cos();
        let (sw, cw) = (eye.nasal_sign() * self.wrap_deg).to_radians().sin_cos();
        let undo = |[x, y, z]: Vector| {
            // Panto: up goes to (0, cos p, sin p), z to (0, -sin p, cos p).
            let [x, y, z] = [x, cp * y + sp * z, cp * z - sp * y];
            // Wrap: right goes to (cos w, 0, sin w), z to (-sin w, 0, cos w), with w reversed for the left eye.
            [cw * x + sw * z, y, cw * z - sw * x]
        };
        [undo([1.0, 0.0, 0.0]), undo([0.0, 1.0, 0.0]), undo([0.0, 0.0, 1.0])]
    }
}

/// A line of sight through a tilted lens, in lens coordinates.
struct LineOfSight {
    /// The pencil from far away at the back vertex, still inside the lens.
    inside: Pencil,
    /// The direction of the line of sight behind the lens, towards the eye.
    behind: Vector,
    /// Right and up across the line of sight.
    across: [Vector; 2],
    tilt_prism: BaseVector,
}

impl LineOfSight {
    /// Traces the line of sight outwards from the eye, then the pencil inwards along it.
    fn through(eye: Eye, order: &LensOrder, wear: &WearPosition) -> Option<Self> {
        let [right, up, ahead] = wear.in_lens_axes(eye);
        let behind = ahead.map(|c| -c);
        let n = order.index;
        let outward = refract(ahead, [0.0, 0.0, 1.0], 1.0, n)?;
        let front = Conic {
            curvature_per_mm: super::surface::front_curvature_per_mm(order.front_power_d, n),
            conic: order.front_conic,
        };
        let distance_mm = meet(|x, y| front.local(x, y), [0.0, 0.0, -order.center_thickness_mm], outward)?;
        let place = add_scaled([0.0, 0.0, -order.center_thickness_mm], outward, distance_mm);
        let front_patch = patch(&front.local(place[0], place[1])?);
        let away = refract(outward, front_patch.normal, n, 1.0)?;
        let arriving = away.map(|c| -c);
        let inside = Pencil::parallel(arriving).refracted(&front_patch, 1.0, n)?.after(distance_mm, n);
        // Light deviates towards the base: from its arriving direction to its direction behind the lens.
        let tangent = |direction: Vector| -100.0 * dot(arriving, direction) / dot(arriving, behind);
        let tilt_prism = BaseVector { x_pd: tangent(right), y_pd: tangent(up) };
        Some(Self { inside, behind, across: [right, up], tilt_prism })
    }

    /// Light behind the lens with the given power across the line of sight.
    fn pencil_behind(&self, power: PowerMatrix) -> Pencil {
        let vergence_per_mm = [power.xx_d / 1000.0, power.xy_d / 1000.0, power.yy_d / 1000.0];
        Pencil { along: self.behind, across: self.across, vergence_per_mm }
    }

    /// The back vertex power that gives `wanted` as worn.
    fn order_for(&self, wanted: SphereCylinder, order: &LensOrder) -> SphereCylinder {
        let n = order.index;
        let flat = vertex_patch([0.0; 3]);
        let after = self.pencil_behind(wanted.matrix()).on_surface(&flat);
        let before = self.inside.on_surface(&flat);
        // n' cos i' - n cos i, as in `Pencil::refracted`.
        let step = dot(self.behind, flat.normal) - n * dot(self.inside.along, flat.normal);
        // F2 = 1000 (1 - n) c, and c = (after - before) / step.
        let back_d = [0, 1, 2].map(|i| 1000.0 * (1.0 - n) * (after[i] - before[i]) / step);
        let carried_d = front_at_back_d(order.front_power_d, order.center_thickness_mm, n);
        PowerMatrix { xx_d: back_d[0] + carried_d, xy_d: back_d[1], yy_d: back_d[2] + carried_d }.to_sphere_cylinder()
    }

    /// The power across the line of sight that a lens of back vertex power `power` gives.
    fn worn_power(&self, power: SphereCylinder, order: &LensOrder) -> SphereCylinder {
        let n = order.index;
        let carried_d = front_at_back_d(order.front_power_d, order.center_thickness_mm, n);
        let m = power.matrix();
        let curve = |power_d: f64| power_d / (1000.0 * (1.0 - n));
        let back = vertex_patch([curve(m.xx_d - carried_d), curve(m.xy_d), curve(m.yy_d - carried_d)]);
        // By Snell's law at the back the pencil leaves along the line of sight, so this never fails.
        let Some(out) = self.inside.refracted(&back, n, 1.0) else { return power };
        // Expressed along right and up across the line of sight, not along the pencil's own directions.
        let sight = Patch { tangents: self.across, normal: self.behind, bend_per_mm: [0.0; 3] };
        let [xx, xy, yy] = out.on_surface(&sight).map(|v| 1000.0 * v);
        PowerMatrix { xx_d: xx, xy_d: xy, yy_d: yy }.to_sphere_cylinder()
    }
}

/// A back surface at its vertex.
fn vertex_patch(bend_per_mm: [f64; 3]) -> Patch {
    Patch { tangents: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]], normal: [0.0, 0.0, -1.0], bend_per_mm }
}

#[cfg(test)]
mod tests;
