//! The lens as worn: vertex distance, pantoscopic tilt and wrap; the power to order, and the prism tilt makes.
//!
//! # Position of wear
//!
//! Wrap turns the lens inside the frame front about the front's vertical, its outer edge towards the temple; panto
//! then tilts the whole front about the horizontal, its lower edge towards the cheek. The line of sight is straight
//! ahead and leaves the lens through the back vertex. Powers before the eye are in the plane across the line of
//! sight; the ordered power is in the lens's own front view.
//!
//! The power to order follows in one step: a narrow pencil from far away is carried along the line of sight through
//! the front and the thickness of the lens (neither of which depends on the power); what the back must add to give
//! the prescribed vergence at the back vertex is its curvature matrix, and with it the back vertex power. A
//! prescribed prism is left out of this.

use thiserror::Error;

use super::Eye;
use super::lens::{Lens, LensError, LensOrder, front_at_back_d, meet, patch};
use super::power::{PowerMatrix, SphereCylinder};
use super::prism::BaseVector;
use super::ray::{Patch, Pencil, Vector, dot, plus, refract};
use super::surface::Conic;

/// The steepest tilt or wrap taken.
pub const MAX_TILT_DEG: f64 = 40.0;
/// The longest vertex distance taken.
pub const MAX_VERTEX_MM: f64 = 40.0;

/// Why the position of wear gives no answer.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum WornError {
    /// A vertex distance out of range.
    #[error("a vertex distance of {0} mm is outside 0 to 40 mm")]
    Vertex(f64),
    /// A tilt out of range.
    #[error("a pantoscopic tilt of {0}° is outside -40 to 40°")]
    Panto(f64),
    /// A wrap out of range.
    #[error("a wrap of {0}° is outside -40 to 40°")]
    Wrap(f64),
    /// No such lens.
    #[error(transparent)]
    Lens(#[from] LensError),
    /// The line of sight misses the front.
    #[error("the line of sight does not pass the tilted lens: its front is too steep or it is too thick")]
    NoSight,
}

/// How the frame holds the lens before the eye.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wear {
    /// Distance from the eye to the back of the lens where the power was found.
    pub vertex_from_mm: f64,
    /// Distance from the eye to the back of the lens where it is worn.
    pub vertex_to_mm: f64,
    /// Pantoscopic tilt, lower edge towards the cheek.
    pub panto_deg: f64,
    /// Wrap, outer edge towards the temple.
    pub wrap_deg: f64,
}

/// What the position of wear asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Worn {
    /// The back vertex power to order, minus cylinder, exact by the pencil.
    pub order: SphereCylinder,
    /// The same by vertex distance and Martin's rule, once for each tilt.
    pub order_textbook: SphereCylinder,
    /// What a lens ordered as prescribed would give as worn, at the worn vertex distance.
    pub unchanged: SphereCylinder,
    /// The prism that tilt makes on the line of sight.
    pub tilt_prism: BaseVector,
}

/// The power to order so that the lens gives the prescribed power (`order.power`) as worn.
///
/// # Errors
///
/// [`WornError`]: a distance or an angle out of range, a lens that cannot be, a line of sight that misses it.
pub fn worn(eye: Eye, order: &LensOrder, wear: &Wear) -> Result<Worn, WornError> {
    wear.check()?;
    Lens::new(*order)?;
    let sight = Sight::through(eye, order, wear).ok_or(WornError::NoSight)?;
    let wanted = order.power.vertex_compensated(wear.vertex_from_mm, wear.vertex_to_mm);
    Ok(Worn {
        order: sight.order_for(wanted, order),
        order_textbook: martin_undone(wanted, order.index, wear),
        unchanged: sight.worn_power(order.power, order),
        tilt_prism: sight.tilt_prism,
    })
}

/// What a tilted lens does by Martin's rule, once for each tilt: S(1 + sin²θ/2n), and the meridian across the axis
/// of the tilt again by 1 + tan²θ (textbook; the worked examples take 2n = 3). Loses the cylinder that two tilts
/// make together.
pub fn martin(power: SphereCylinder, index: f64, wear: &Wear) -> SphereCylinder {
    let (whole, x, y) = martin_factors(index, wear);
    scaled(power, whole, x, y)
}

/// The power whose [`martin`] is the one given.
pub fn martin_undone(power: SphereCylinder, index: f64, wear: &Wear) -> SphereCylinder {
    let (whole, x, y) = martin_factors(index, wear);
    scaled(power, whole.recip(), x.recip(), y.recip())
}

fn martin_factors(index: f64, wear: &Wear) -> (f64, f64, f64) {
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

impl Wear {
    fn check(&self) -> Result<(), WornError> {
        for vertex_mm in [self.vertex_from_mm, self.vertex_to_mm] {
            if !(0.0..=MAX_VERTEX_MM).contains(&vertex_mm) {
                return Err(WornError::Vertex(vertex_mm));
            }
        }
        if !(-MAX_TILT_DEG..=MAX_TILT_DEG).contains(&self.panto_deg) {
            return Err(WornError::Panto(self.panto_deg));
        }
        if !(-MAX_TILT_DEG..=MAX_TILT_DEG).contains(&self.wrap_deg) {
            return Err(WornError::Wrap(self.wrap_deg));
        }
        Ok(())
    }

    /// The directions right, up and towards the observer, in the axes of the worn lens.
    ///
    /// Wrap turns the front's normal from z towards the temple, panto then turns all downwards; this undoes panto
    /// first, then wrap.
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

/// A line of sight through a tilted lens, in the axes of the lens.
struct Sight {
    /// The pencil from far away where it reaches the back vertex, still inside.
    inside: Pencil,
    /// The line of sight behind the lens, towards the eye, and right and up across it.
    behind: Vector,
    across: [Vector; 2],
    tilt_prism: BaseVector,
}

impl Sight {
    /// Follows the line of sight out from the eye, then the pencil in along it.
    fn through(eye: Eye, order: &LensOrder, wear: &Wear) -> Option<Self> {
        let [right, up, ahead] = wear.in_lens_axes(eye);
        let behind = ahead.map(|c| -c);
        let n = order.index;
        let outward = refract(ahead, [0.0, 0.0, 1.0], 1.0, n)?;
        let front = Conic {
            curvature_per_mm: super::surface::front_curvature_per_mm(order.front_power_d, n),
            conic: order.front_conic,
        };
        let way_mm = meet(|x, y| front.local(x, y), [0.0, 0.0, -order.centre_thickness_mm], outward)?;
        let place = plus([0.0, 0.0, -order.centre_thickness_mm], outward, way_mm);
        let front_patch = patch(&front.local(place[0], place[1])?);
        let away = refract(outward, front_patch.normal, n, 1.0)?;
        let arriving = away.map(|c| -c);
        let inside = Pencil::parallel(arriving).refracted(&front_patch, 1.0, n)?.after(way_mm, n);
        // Light is turned towards the base: from where it arrives to where it goes behind the lens.
        let tangent = |direction: Vector| -100.0 * dot(arriving, direction) / dot(arriving, behind);
        let tilt_prism = BaseVector { x_pd: tangent(right), y_pd: tangent(up) };
        Some(Self { inside, behind, across: [right, up], tilt_prism })
    }

    /// Light behind the lens with the given power across the line of sight.
    fn pencil_behind(&self, power: PowerMatrix) -> Pencil {
        let vergence_per_mm = [power.xx_d / 1000.0, power.xy_d / 1000.0, power.yy_d / 1000.0];
        Pencil { along: self.behind, across: self.across, vergence_per_mm }
    }

    /// The back vertex power whose back makes `wanted` of the pencil.
    fn order_for(&self, wanted: SphereCylinder, order: &LensOrder) -> SphereCylinder {
        let n = order.index;
        let flat = vertex_patch([0.0; 3]);
        let after = self.pencil_behind(wanted.matrix()).on_surface(&flat);
        let before = self.inside.on_surface(&flat);
        // The step of the index along the normal, as in `Pencil::refracted`.
        let step = dot(self.behind, flat.normal) - n * dot(self.inside.along, flat.normal);
        // F2 = 1000 (1 - n) c, and c = (after - before) / step.
        let back_d = [0, 1, 2].map(|i| 1000.0 * (1.0 - n) * (after[i] - before[i]) / step);
        let carried_d = front_at_back_d(order.front_power_d, order.centre_thickness_mm, n);
        PowerMatrix { xx_d: back_d[0] + carried_d, xy_d: back_d[1], yy_d: back_d[2] + carried_d }.to_sphere_cylinder()
    }

    /// The power across the line of sight that a lens of back vertex power `power` gives.
    fn worn_power(&self, power: SphereCylinder, order: &LensOrder) -> SphereCylinder {
        let n = order.index;
        let carried_d = front_at_back_d(order.front_power_d, order.centre_thickness_mm, n);
        let m = power.matrix();
        let curve = |power_d: f64| power_d / (1000.0 * (1.0 - n));
        let back = vertex_patch([curve(m.xx_d - carried_d), curve(m.xy_d), curve(m.yy_d - carried_d)]);
        // Snell at the back gives the line of sight again, so the pencil always comes out.
        let Some(out) = self.inside.refracted(&back, n, 1.0) else { return power };
        // Written between right and up across the line of sight, not the pencil's own directions.
        let sight = Patch { tangents: self.across, normal: self.behind, bend_per_mm: [0.0; 3] };
        let [xx, xy, yy] = out.on_surface(&sight).map(|v| 1000.0 * v);
        PowerMatrix { xx_d: xx, xy_d: xy, yy_d: yy }.to_sphere_cylinder()
    }
}

/// The back surface at its vertex.
fn vertex_patch(bend_per_mm: [f64; 3]) -> Patch {
    Patch { tangents: [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]], normal: [0.0, 0.0, -1.0], bend_per_mm }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn assert_close(got: f64, want: f64, tolerance: f64, row: &str) {
        assert!((got - want).abs() <= tolerance, "{row}: got {got}, want {want} ± {tolerance}");
    }

    fn assert_same_power(got: SphereCylinder, want: SphereCylinder, tolerance: f64, row: &str) {
        let (g, w) = (got.matrix(), want.matrix());
        assert_close(g.xx_d, w.xx_d, tolerance, row);
        assert_close(g.xy_d, w.xy_d, tolerance, row);
        assert_close(g.yy_d, w.yy_d, tolerance, row);
    }

    fn tilted(panto_deg: f64, wrap_deg: f64) -> Wear {
        Wear { vertex_from_mm: 12.0, vertex_to_mm: 12.0, panto_deg, wrap_deg }
    }

    fn lens(sphere_d: f64, cylinder_d: f64, axis_deg: f64) -> LensOrder {
        LensOrder {
            power: SphereCylinder::new(sphere_d, cylinder_d, axis_deg),
            prism: BaseVector::default(),
            index: 1.6,
            front_power_d: if sphere_d > 0.0 { sphere_d + 5.0 } else { 3.0 },
            front_conic: 0.0,
            centre_thickness_mm: if sphere_d > 0.0 { 6.0 } else { 1.5 },
        }
    }

    #[test]
    fn martin_matches_the_worked_examples() {
        for (sphere_d, index, panto_deg, want, source) in [
            (15.0, 1.5, 10.0, (15.15, 0.47), "college opticianry course"),
            (-15.0, 1.5, 10.0, (-15.15, -0.47), "college opticianry course"),
            (-8.0, 1.5, 10.0, (-8.08, -0.25), "computed"),
            (-10.0, 1.5, 15.0, (-10.22, -0.73), "computed"),
            (-6.0, 1.498, 8.0, (-6.04, -0.12), "computed"),
        ] {
            let power = SphereCylinder::sphere(sphere_d);
            let want_panto = SphereCylinder::new(want.0, want.1, 180.0);
            let got = martin(power, index, &tilted(panto_deg, 0.0));
            // Sphere and cylinder are each printed to a hundredth.
            assert_same_power(got, want_panto, 0.0101, source);
            assert_same_power(martin_undone(got, index, &tilted(panto_deg, 0.0)), power, 1e-12, "undone");
            let want_wrap = SphereCylinder::new(want.0, want.1, 90.0);
            assert_same_power(martin(power, index, &tilted(0.0, panto_deg)), want_wrap, 0.0101, source);
        }
    }

    #[test]
    fn no_tilt_leaves_the_vertex_distance_alone() {
        let wear = Wear { vertex_from_mm: 12.0, vertex_to_mm: 14.0, panto_deg: 0.0, wrap_deg: 0.0 };
        let got = worn(Eye::Right, &lens(-10.0, 0.0, 180.0), &wear).unwrap();
        assert_close(got.order.sphere_d, -10.20, 0.005, "public vertex page");
        assert_close(got.order_textbook.sphere_d, -10.20, 0.005, "public vertex page");
        assert_same_power(got.unchanged, SphereCylinder::sphere(-10.0), 1e-9, "as ordered");
        assert_eq!(got.tilt_prism, BaseVector::default());
    }

    #[test]
    fn wrap_faces_the_temple_and_panto_the_floor() {
        // The lens's normal in the world is what its z is along right, up and ahead.
        let [right, up, ahead] = tilted(0.0, 10.0).in_lens_axes(Eye::Right);
        assert!(right[2] < 0.0 && ahead[2] > 0.0, "the right lens faces the observer's left, its temple side");
        assert_close(up[1], 1.0, 1e-12, "wrap leaves up alone");
        assert!(tilted(0.0, 10.0).in_lens_axes(Eye::Left)[0][2] > 0.0, "the left lens the other way");
        assert!(tilted(10.0, 0.0).in_lens_axes(Eye::Right)[1][2] < 0.0, "panto makes the lens face down");
        // Wrap first, then the front as a whole: the nose end of the lens has come forward by sin w, and panto
        // takes what is forward down by sin p. The other order would leave the lens's horizontal level.
        let [_, up, _] = tilted(10.0, 20.0).in_lens_axes(Eye::Right);
        let (sp, sw) = (10f64.to_radians().sin(), 20f64.to_radians().sin());
        assert_close(up[0], -sp * sw, 1e-12, "the nose end comes down");
    }

    /// What the worn lens does, by exact rays beside the line of sight: no pencil formula in it.
    fn worn_power_by_rays(eye: Eye, order: &LensOrder, wear: &Wear) -> (SphereCylinder, (f64, f64)) {
        let lens = Lens::new(*order).unwrap();
        let [right, up, ahead] = wear.in_lens_axes(eye);
        let n = order.index;
        let vertex = [0.0, 0.0, -order.centre_thickness_mm];
        // Snell by angles: outwards along the line of sight through the back vertex, then through the front.
        let inside = refract(ahead, [0.0, 0.0, 1.0], 1.0, n).unwrap();
        let r1 = 1.0 / lens.front().curvature_per_mm;
        // The front is a sphere about (0, 0, -r1): |vertex + λ·inside - centre|² = r1².
        let from_centre = [0.0, 0.0, r1 - order.centre_thickness_mm];
        let b = dot(from_centre, inside);
        let way = -b + (b * b - dot(from_centre, from_centre) + r1 * r1).sqrt();
        let place = plus(vertex, inside, way);
        let normal = [place[0] / r1, place[1] / r1, (place[2] + r1) / r1];
        let away = refract(inside, normal, n, 1.0).unwrap();
        let arriving = away.map(|c| -c);
        // Rays parallel to it, beside it.
        let side = |dx: f64, dy: f64| {
            let start = plus(plus(plus(place, away, 20.0), right, dx), up, dy);
            let from_centre = plus(start, [0.0, 0.0, r1], 1.0);
            let b = dot(from_centre, arriving);
            let way = -b - (b * b - dot(from_centre, from_centre) + r1 * r1).sqrt();
            let hit = plus(start, arriving, way);
            let normal = [hit[0] / r1, hit[1] / r1, (hit[2] + r1) / r1];
            let ray = lens.leave(hit, refract(arriving, normal, 1.0, n).unwrap()).unwrap();
            // Back to the plane across the line of sight through the back vertex.
            let from_vertex = plus(ray.at_mm, vertex, -1.0);
            let on_plane = plus(from_vertex, ray.along, -dot(from_vertex, ahead) / dot(ray.along, ahead));
            let forward = -dot(ray.along, ahead);
            ([dot(on_plane, right), dot(on_plane, up)], [dot(ray.along, right) / forward, dot(ray.along, up) / forward])
        };
        let h = 2e-3;
        let difference = |(ap, asl): ([f64; 2], [f64; 2]), (bp, bsl): ([f64; 2], [f64; 2])| {
            ([ap[0] - bp[0], ap[1] - bp[1]], [asl[0] - bsl[0], asl[1] - bsl[1]])
        };
        let (p1, s1) = difference(side(h, 0.0), side(-h, 0.0));
        let (p2, s2) = difference(side(0.0, h), side(0.0, -h));
        // slope = -W r for two r: solve for W.
        let determinant = p1[0] * p2[1] - p1[1] * p2[0];
        let w = |i: usize, j: usize| {
            let (num0, num1) = if j == 0 { (p2[1], -p1[1]) } else { (-p2[0], p1[0]) };
            -1000.0 * (s1[i] * num0 + s2[i] * num1) / determinant
        };
        assert_close(w(0, 1), w(1, 0), 2e-3, "a wavefront bends symmetrically");
        let (_, deviation) = side(0.0, 0.0);
        assert_close(deviation[0], 0.0, 1e-9, "the middle ray is the line of sight");
        let tangent = |d: Vector| 100.0 * -dot(arriving, d) / -dot(arriving, ahead);
        (
            PowerMatrix { xx_d: w(0, 0), xy_d: w(0, 1), yy_d: w(1, 1) }.to_sphere_cylinder(),
            (tangent(right), tangent(up)),
        )
    }

    #[test]
    fn the_order_gives_the_prescribed_power_by_exact_rays() {
        for eye in Eye::BOTH {
            for prescribed in
                [lens(-6.0, -2.0, 30.0), lens(8.0, -1.0, 100.0), lens(0.5, -0.25, 7.0), lens(-14.0, 0.0, 180.0)]
            {
                for (panto, wrap) in [(0.0, 15.0), (12.0, 0.0), (10.0, 15.0), (8.0, 25.0)] {
                    let wear = Wear { vertex_from_mm: 12.0, vertex_to_mm: 14.0, panto_deg: panto, wrap_deg: wrap };
                    let got = worn(eye, &prescribed, &wear).unwrap();
                    let ordered = LensOrder { power: got.order, ..prescribed };
                    let (power, prism) = worn_power_by_rays(eye, &ordered, &wear);
                    let row = format!("{eye:?} {:?} panto {panto} wrap {wrap}", prescribed.power);
                    assert_same_power(power, prescribed.power.vertex_compensated(12.0, 14.0), 1e-3, &row);
                    assert_close(prism.0, got.tilt_prism.x_pd, 1e-9, &row);
                    assert_close(prism.1, got.tilt_prism.y_pd, 1e-9, &row);
                    let (unchanged, _) = worn_power_by_rays(eye, &prescribed, &wear);
                    assert_same_power(got.unchanged, unchanged, 1e-3, &row);
                }
            }
        }
    }

    #[test]
    fn the_textbook_loses_the_cylinder_of_two_tilts() {
        // "0.4 D off at 8° panto with 6° wrap, 1.3 D at 10° with 15°, in strong lenses" (computed, ray trace).
        let strong = lens(-15.0, 0.0, 180.0);
        for (panto, wrap, want_d) in [(8.0, 6.0, 0.4), (10.0, 15.0, 1.3)] {
            let got = worn(Eye::Right, &strong, &tilted(panto, wrap)).unwrap();
            let (exact, textbook) = (got.order.matrix(), got.order_textbook.matrix());
            assert_close(2.0 * (exact.xy_d - textbook.xy_d).abs(), want_d, 0.2, "the oblique cylinder lost");
        }
    }

    #[test]
    fn tilt_makes_prism_away_from_where_the_lens_turns() {
        // Small angles: 100 tan θ (t/n) F1, base down for panto, out for wrap (textbook).
        let order = LensOrder { front_power_d: 6.0, centre_thickness_mm: 3.0, index: 1.5, ..lens(-2.0, 0.0, 180.0) };
        let small = 100.0 * 3f64.to_radians().tan() * 0.003 / 1.5 * 6.0;
        let panto = worn(Eye::Right, &order, &tilted(3.0, 0.0)).unwrap().tilt_prism;
        assert_close(panto.y_pd, -small, 0.002, "base down");
        assert_close(panto.x_pd, 0.0, 1e-12, "nothing sideways");
        let wrap = worn(Eye::Left, &order, &tilted(0.0, 3.0)).unwrap().tilt_prism;
        assert_close(Eye::Left.nasal_sign() * wrap.x_pd, -small, 0.002, "base out");
    }

    #[test]
    fn mirrored_eyes_give_mirrored_orders() {
        let wear = Wear { vertex_from_mm: 13.0, vertex_to_mm: 11.0, panto_deg: 9.0, wrap_deg: 14.0 };
        let right = worn(Eye::Right, &lens(-5.0, -1.5, 35.0), &wear).unwrap();
        let left = worn(Eye::Left, &lens(-5.0, -1.5, 145.0), &wear).unwrap();
        assert_close(right.order.sphere_d, left.order.sphere_d, 1e-9, "sphere");
        assert_close(right.order.cylinder_d, left.order.cylinder_d, 1e-9, "cylinder");
        assert_close(right.order.axis_deg, 180.0 - left.order.axis_deg, 1e-7, "axis");
        assert_close(right.tilt_prism.x_pd, -left.tilt_prism.x_pd, 1e-12, "prism sideways");
        assert_close(right.tilt_prism.y_pd, left.tilt_prism.y_pd, 1e-12, "prism upwards");
    }

    #[test]
    fn refuses_what_nobody_wears() {
        let order = lens(-2.0, 0.0, 180.0);
        assert_eq!(
            worn(Eye::Right, &order, &tilted(f64::NAN, 0.0)).err().map(|e| e.to_string().is_empty()),
            Some(false)
        );
        assert_eq!(worn(Eye::Right, &order, &tilted(0.0, 41.0)), Err(WornError::Wrap(41.0)));
        let far = Wear { vertex_to_mm: 50.0, ..tilted(0.0, 0.0) };
        assert_eq!(worn(Eye::Right, &order, &far), Err(WornError::Vertex(50.0)));
    }
}
