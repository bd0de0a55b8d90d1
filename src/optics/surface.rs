//! Lens surfaces: the depth of a surface behind its vertex plane (sag), its slope and its bending, exactly.
//!
//! A surface is seen from the front. Its **sag** at (x, y) is how far it lies behind the plane that touches its
//! vertex, positive towards the wearer; a curvature is positive when the centre lies on the wearer's side, so a
//! convex front and a concave back both have positive curvature. Power and curvature, c in 1/mm: the front's
//! power is 1000 (n - 1) c, the back's -1000 (n - 1) c (textbook, F = (n - 1) / r).

/// Sag, slope and second derivatives of a surface at one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Local {
    /// Depth behind the vertex plane.
    pub sag_mm: f64,
    /// Slope of the sag along x and y, mm per mm.
    pub slope: [f64; 2],
    /// Second derivatives of the sag, xx, xy and yy, in 1/mm.
    pub bend_per_mm: [f64; 3],
}

/// The index that lens clocks and surfacing tools are marked in.
pub const TOOL_INDEX: f64 = 1.530;

/// Curvature of a front surface from its true power.
pub fn front_curvature_per_mm(power_d: f64, index: f64) -> f64 {
    power_d / (1000.0 * (index - 1.0))
}

/// Curvature of a back surface from its true power.
pub fn back_curvature_per_mm(power_d: f64, index: f64) -> f64 {
    -power_d / (1000.0 * (index - 1.0))
}

/// What a curve marked in tool power is worth in a lens of this index: F · (n - 1) / 0.530 (textbook).
pub fn true_from_tool_d(tool_d: f64, index: f64) -> f64 {
    tool_d * (index - 1.0) / (TOOL_INDEX - 1.0)
}

/// The tool power of a true surface power: F · 0.530 / (n - 1) (textbook).
pub fn tool_from_true_d(true_d: f64, index: f64) -> f64 {
    true_d * (TOOL_INDEX - 1.0) / (index - 1.0)
}

/// A surface of revolution about the optical axis: a sphere, or a conic asphere.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conic {
    /// Curvature at the vertex.
    pub curvature_per_mm: f64,
    /// The conic constant: 0 a sphere, between -1 and 0 an ellipse flattening outwards, -1 a paraboloid.
    pub conic: f64,
}

impl Conic {
    /// A sphere.
    pub fn sphere(curvature_per_mm: f64) -> Self {
        Self { curvature_per_mm, conic: 0.0 }
    }

    /// How far from the axis the surface reaches before it turns back; infinite for a plane or a hyperboloid.
    pub fn reach_mm(&self) -> f64 {
        let squared = (1.0 + self.conic) * self.curvature_per_mm * self.curvature_per_mm;
        if squared > 0.0 { squared.sqrt().recip() } else { f64::INFINITY }
    }

    /// Sag c h² / (1 + √(1 - (1 + k) c² h²)) (textbook, conic section); `None` where the surface does not reach.
    #[inline]
    pub fn sag_mm(&self, x_mm: f64, y_mm: f64) -> Option<f64> {
        let c = self.curvature_per_mm;
        let h2 = x_mm * x_mm + y_mm * y_mm;
        let under = 1.0 - (1.0 + self.conic) * c * c * h2;
        (under >= 0.0).then(|| c * h2 / (1.0 + under.sqrt()))
    }

    /// Sag, slope and bending; `None` at and beyond the rim of the surface.
    pub fn local(&self, x_mm: f64, y_mm: f64) -> Option<Local> {
        let c = self.curvature_per_mm;
        let k1 = 1.0 + self.conic;
        let h2 = x_mm * x_mm + y_mm * y_mm;
        let under = 1.0 - k1 * c * c * h2;
        if under <= 0.0 {
            return None;
        }
        let root = under.sqrt();
        // ds/dh = c h / root, so the slope is c/root times (x, y); d(1/root)/d(h²) = k1 c² / (2 root³).
        let rate = c / root;
        let growth = k1 * c * c * c / (root * under);
        Some(Local {
            sag_mm: c * h2 / (1.0 + root),
            slope: [rate * x_mm, rate * y_mm],
            bend_per_mm: [rate + growth * x_mm * x_mm, growth * x_mm * y_mm, rate + growth * y_mm * y_mm],
        })
    }
}

/// A toric surface in its tyre form: the more strongly curved principal arc revolved about the line through the
/// centre of curvature of the flatter one. Equal curvatures make a sphere, a flat arc a cylinder.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Toric {
    strong_per_mm: f64,
    flat_per_mm: f64,
    /// Cosine and sine of the direction along which the strong arc runs.
    strong_along: (f64, f64),
}

impl Toric {
    /// A surface from its two principal curvatures; the first runs along `along_deg`, the other at right angles.
    ///
    /// Which of the two is the stronger is found here. Curvatures equal and opposite have no flatter one: then
    /// the positive arc is revolved, so that the surface does not depend on the order they were named in.
    pub fn new(along_per_mm: f64, across_per_mm: f64, along_deg: f64) -> Self {
        let (sine, cosine) = along_deg.to_radians().sin_cos();
        let difference = along_per_mm.abs() - across_per_mm.abs();
        let hair = 1e-12 * along_per_mm.abs();
        let along_is_strong = difference > hair || (difference.abs() <= hair && along_per_mm > across_per_mm);
        if along_is_strong {
            Self { strong_per_mm: along_per_mm, flat_per_mm: across_per_mm, strong_along: (cosine, sine) }
        } else {
            Self { strong_per_mm: across_per_mm, flat_per_mm: along_per_mm, strong_along: (-sine, cosine) }
        }
    }

    /// The curvature of the arc that is revolved.
    pub fn strong_per_mm(&self) -> f64 {
        self.strong_per_mm
    }

    /// The curvature across it, at the vertex.
    pub fn flat_per_mm(&self) -> f64 {
        self.flat_per_mm
    }

    /// How far from the vertex the surface reaches in every direction; infinite for a plane.
    pub fn reach_mm(&self) -> f64 {
        self.strong_per_mm.abs().recip()
    }

    #[inline]
    fn turned(&self, x_mm: f64, y_mm: f64) -> (f64, f64) {
        let (c, s) = self.strong_along;
        (c * x_mm + s * y_mm, c * y_mm - s * x_mm)
    }

    /// Sag in the tyre form; `None` where the surface does not reach.
    ///
    /// Along the strong arc q = c u² / (1 + √(1 - c² u²)). Revolved about the line at the flat radius R behind
    /// the vertex, (R - s)² + v² = (R - q)²; written in curvatures, so that a flat arc (R infinite) is no case
    /// apart.
    #[inline]
    pub fn sag_mm(&self, x_mm: f64, y_mm: f64) -> Option<f64> {
        let (u, v) = self.turned(x_mm, y_mm);
        let (strong, flat) = (self.strong_per_mm, self.flat_per_mm);
        let under = 1.0 - strong * strong * u * u;
        if under < 0.0 {
            return None;
        }
        let arc = strong * u * u / (1.0 + under.sqrt());
        let to_axis = 1.0 - arc * flat;
        let lean = flat * v;
        let rest = to_axis * to_axis - lean * lean;
        (rest >= 0.0).then(|| arc + flat * v * v / (to_axis + rest.sqrt()))
    }

    /// Sag, slope and bending; `None` at and beyond the rim of the surface.
    pub fn local(&self, x_mm: f64, y_mm: f64) -> Option<Local> {
        let (u, v) = self.turned(x_mm, y_mm);
        let place = self.place(u, v)?;
        let Place { sag_mm, along, across, a, to_axis, arc_slope, root } = place;
        let flat = self.flat_per_mm;
        let arc_bend = self.strong_per_mm / (root * root * root);
        let uu = (arc_bend * to_axis - flat * arc_slope * arc_slope + flat * along * along) / a;
        let uv = flat * along * across / a;
        let vv = flat * (1.0 + across * across) / a;
        let (c, s) = self.strong_along;
        Some(Local {
            sag_mm,
            slope: self.turned_back(along, across),
            bend_per_mm: [
                c * c * uu - 2.0 * c * s * uv + s * s * vv,
                c * s * (uu - vv) + (c * c - s * s) * uv,
                s * s * uu + 2.0 * c * s * uv + c * c * vv,
            ],
        })
    }

    /// Sag and slope alone, for following a ray to the surface.
    #[inline]
    pub fn sag_and_slope(&self, x_mm: f64, y_mm: f64) -> Option<(f64, [f64; 2])> {
        let (u, v) = self.turned(x_mm, y_mm);
        let place = self.place(u, v)?;
        Some((place.sag_mm, self.turned_back(place.along, place.across)))
    }

    #[inline]
    fn turned_back(&self, along: f64, across: f64) -> [f64; 2] {
        let (c, s) = self.strong_along;
        [c * along - s * across, s * along + c * across]
    }

    /// With A = 1 - s·flat, B = 1 - q·flat: A² + (flat v)² = B²; slopes and bending differentiate that.
    #[inline]
    fn place(&self, u: f64, v: f64) -> Option<Place> {
        let (strong, flat) = (self.strong_per_mm, self.flat_per_mm);
        let under = 1.0 - strong * strong * u * u;
        if under <= 0.0 {
            return None;
        }
        let root = under.sqrt();
        let arc = strong * u * u / (1.0 + root);
        let arc_slope = strong * u / root;
        let to_axis = 1.0 - arc * flat;
        let rest = to_axis * to_axis - (flat * v) * (flat * v);
        if rest <= 0.0 {
            return None;
        }
        let a = rest.sqrt();
        Some(Place {
            sag_mm: arc + flat * v * v / (to_axis + a),
            along: arc_slope * to_axis / a,
            across: flat * v / a,
            a,
            to_axis,
            arc_slope,
            root,
        })
    }
}

/// A place on a torus in its own axes: sag, its slopes along and across the strong arc, and what they are made of.
struct Place {
    sag_mm: f64,
    along: f64,
    across: f64,
    a: f64,
    to_axis: f64,
    arc_slope: f64,
    root: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn assert_close(got: f64, want: f64, tolerance: f64, row: &str) {
        assert!((got - want).abs() <= tolerance, "{row}: got {got}, want {want} ± {tolerance}");
    }

    #[test]
    fn sag_of_a_sphere() {
        for (power_d, index, h_mm, want_mm, source) in [
            (6.0, 1.530, 35.0, 7.230, "computed, s = r - √(r² - h²)"),
            (4.0, 1.530, 30.0, 3.441, "computed, s = r - √(r² - h²)"),
        ] {
            let front = Conic::sphere(front_curvature_per_mm(power_d, index));
            assert_close(front.sag_mm(h_mm, 0.0).unwrap(), want_mm, 5e-4, source);
            assert_close(front.sag_mm(h_mm * 0.6, -h_mm * 0.8).unwrap(), want_mm, 5e-4, source);
        }
        assert_eq!(Conic::sphere(0.0).sag_mm(35.0, 0.0), Some(0.0), "a plane");
        assert_eq!(Conic::sphere(1.0 / 30.0).sag_mm(30.5, 0.0), None, "beyond the rim");
    }

    #[test]
    fn a_paraboloid_and_an_ellipsoid_lie_where_their_equations_say() {
        let paraboloid = Conic { curvature_per_mm: 1.0 / 80.0, conic: -1.0 };
        assert_close(paraboloid.sag_mm(20.0, 0.0).unwrap(), 400.0 / 160.0, 1e-12, "s = h² / 2r");
        let ellipsoid = Conic { curvature_per_mm: 1.0 / 80.0, conic: -0.5 };
        let s = ellipsoid.sag_mm(12.0, 16.0).unwrap();
        assert_close(400.0 - 2.0 * 80.0 * s + 0.5 * s * s, 0.0, 1e-9, "h² - 2rs + (1 + k)s² = 0");
    }

    #[test]
    fn tool_powers() {
        assert_close(true_from_tool_d(6.0, 1.586), 6.63, 5e-3, "computed, F (n - 1) / 0.530");
        for (index, want) in [(1.498, 5.64), (1.60, 6.79), (1.67, 7.58)] {
            assert_close(true_from_tool_d(6.0, index), want, 5e-3, "computed, F (n - 1) / 0.530");
            assert_close(tool_from_true_d(true_from_tool_d(6.0, index), index), 6.0, 1e-12, "and back");
        }
    }

    /// The torus by its implicit equation in its own axes, solved by bisection: shares nothing with the formula.
    fn torus_sag_by_bisection(strong_r: f64, flat_r: f64, u: f64, v: f64) -> f64 {
        let gap = |s: f64| {
            let from_axis = ((flat_r - s).powi(2) + v * v).sqrt();
            // The tube of radius strong_r runs at flat_r - strong_r from the axis of revolution.
            (from_axis - (flat_r - strong_r)).powi(2) + u * u - strong_r * strong_r
        };
        let (mut low, mut high) = (0.0, strong_r.min(30.0));
        for _ in 0..200 {
            let middle = (low + high) / 2.0;
            if gap(middle) > 0.0 { low = middle } else { high = middle }
        }
        (low + high) / 2.0
    }

    #[test]
    fn tyre_form_lies_on_its_torus() {
        let (strong_r, flat_r) = (60.0, 95.0);
        // The strong arc runs along 30 degrees.
        for surface in [Toric::new(1.0 / strong_r, 1.0 / flat_r, 30.0), Toric::new(1.0 / flat_r, 1.0 / strong_r, 120.0)]
        {
            for (x, y) in [(20.0, 5.0), (-12.0, 22.0), (0.0, -25.0), (25.0, 0.0)] {
                let (s, c) = 30f64.to_radians().sin_cos();
                let want = torus_sag_by_bisection(strong_r, flat_r, c * x + s * y, c * y - s * x);
                assert_close(surface.sag_mm(x, y).unwrap(), want, 1e-9, "torus, implicit equation");
            }
        }
    }

    #[test]
    fn equal_curvatures_make_a_sphere_and_a_flat_arc_a_cylinder() {
        let sphere = Toric::new(1.0 / 90.0, 1.0 / 90.0, 17.0);
        assert_close(sphere.sag_mm(15.0, 20.0).unwrap(), 90.0 - (8100f64 - 625.0).sqrt(), 1e-12, "sphere");
        let cylinder = Toric::new(0.0, -1.0 / 90.0, 0.0);
        assert_close(cylinder.sag_mm(40.0, 20.0).unwrap(), -(90.0 - (8100f64 - 400.0).sqrt()), 1e-12, "cylinder");
        assert_eq!(Toric::new(0.0, 0.0, 5.0).sag_mm(3.0, 4.0), Some(0.0), "plane");
    }

    #[test]
    fn slopes_and_bending_are_those_of_the_sag() {
        let step = 1e-4;
        let toric = Toric::new(1.0 / 55.0, -1.0 / 140.0, 25.0);
        let conic = Conic { curvature_per_mm: 1.0 / 70.0, conic: -0.7 };
        let conic_sag = |x, y| conic.sag_mm(x, y).unwrap();
        let toric_sag = |x, y| toric.sag_mm(x, y).unwrap();
        type Sag<'a> = &'a dyn Fn(f64, f64) -> f64;
        type LocalForm<'a> = &'a dyn Fn(f64, f64) -> Option<Local>;
        let surfaces: [(Sag, LocalForm); 2] =
            [(&conic_sag, &|x, y| conic.local(x, y)), (&toric_sag, &|x, y| toric.local(x, y))];
        for (sag, local) in surfaces {
            for (x, y) in [(0.0, 0.0), (18.0, -7.0), (-9.0, -21.0)] {
                let here = local(x, y).unwrap();
                assert_close(here.sag_mm, sag(x, y), 1e-12, "sag");
                let dx = (sag(x + step, y) - sag(x - step, y)) / (2.0 * step);
                let dy = (sag(x, y + step) - sag(x, y - step)) / (2.0 * step);
                assert_close(here.slope[0], dx, 1e-8, "slope along x");
                assert_close(here.slope[1], dy, 1e-8, "slope along y");
                assert_eq!(toric.sag_and_slope(x, y).unwrap().1, toric.local(x, y).unwrap().slope);
                let up = local(x, y + step).unwrap().slope;
                let down = local(x, y - step).unwrap().slope;
                let right = local(x + step, y).unwrap().slope;
                let left = local(x - step, y).unwrap().slope;
                assert_close(here.bend_per_mm[0], (right[0] - left[0]) / (2.0 * step), 1e-7, "xx");
                assert_close(here.bend_per_mm[1], (up[0] - down[0]) / (2.0 * step), 1e-7, "xy");
                assert_close(here.bend_per_mm[1], (right[1] - left[1]) / (2.0 * step), 1e-7, "yx");
                assert_close(here.bend_per_mm[2], (up[1] - down[1]) / (2.0 * step), 1e-7, "yy");
            }
        }
    }
}
