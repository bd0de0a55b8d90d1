//! Lens surfaces: sag (depth behind the vertex plane), slope and second derivatives, without approximation.
//!
//! A surface is seen from the front. Its **sag** at (x, y) is its depth behind the tangent plane at the vertex,
//! positive towards the wearer. A curvature is positive when its center lies on the wearer's side, so a convex front
//! and a concave back both have positive curvature. Power from curvature c in 1/mm: the front's is 1000 (n - 1) c,
//! the back's -1000 (n - 1) c (textbook, F = (n - 1) / r).

/// Sag, slope and second derivatives of a surface at one point.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Local {
    /// Depth behind the vertex plane.
    pub sag_mm: f64,
    /// Slope of the sag along x and y, mm per mm.
    pub slope: [f64; 2],
    /// Second derivatives of the sag, xx, xy and yy, in 1/mm.
    pub bend_per_mm: [f64; 3],
}

/// The index that lens clocks and surfacing tools are marked for.
pub const TOOL_INDEX: f64 = 1.530;

/// Curvature of a front surface from its true power.
pub fn front_curvature_per_mm(power_d: f64, index: f64) -> f64 {
    power_d / (1000.0 * (index - 1.0))
}

/// Curvature of a back surface from its true power.
pub fn back_curvature_per_mm(power_d: f64, index: f64) -> f64 {
    -power_d / (1000.0 * (index - 1.0))
}

/// The true power, in a lens of this index, of a curve marked in tool power: F · (n - 1) / 0.530 (textbook).
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

    /// The largest distance from the axis that the surface reaches; infinite for a plane, paraboloid or hyperboloid.
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

    /// Sag, slope and second derivatives; `None` at and beyond the rim of the surface.
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
/// center of curvature of the flatter one. Equal curvatures make a sphere, a flat arc a cylinder.
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
    /// The more strongly curved arc is revolved. Of two equal and opposite curvatures the positive one is, so the
    /// surface does not depend on the order of the arguments.
    pub fn new(along_per_mm: f64, across_per_mm: f64, along_deg: f64) -> Self {
        let (sine, cosine) = along_deg.to_radians().sin_cos();
        let difference = along_per_mm.abs() - across_per_mm.abs();
        let tolerance = 1e-12 * along_per_mm.abs();
        let along_is_strong = difference > tolerance || (difference.abs() <= tolerance && along_per_mm > across_per_mm);
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
    fn rotated(&self, x_mm: f64, y_mm: f64) -> (f64, f64) {
        let (c, s) = self.strong_along;
        (c * x_mm + s * y_mm, c * y_mm - s * x_mm)
    }

    /// Sag in the tyre form; `None` where the surface does not reach.
    ///
    /// Along the strong arc q = c u² / (1 + √(1 - c² u²)). Revolved about the line at the flat radius R behind
    /// the vertex, (R - s)² + v² = (R - q)². Written in curvatures, so a flat arc (R infinite) needs no special case.
    #[inline]
    pub fn sag_mm(&self, x_mm: f64, y_mm: f64) -> Option<f64> {
        let (u, v) = self.rotated(x_mm, y_mm);
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

    /// Sag, slope and second derivatives; `None` at and beyond the rim of the surface.
    pub fn local(&self, x_mm: f64, y_mm: f64) -> Option<Local> {
        let (u, v) = self.rotated(x_mm, y_mm);
        let TorusPoint { sag_mm, along, across, a, to_axis, arc_slope, root } = self.torus_point(u, v)?;
        let flat = self.flat_per_mm;
        let arc_bend = self.strong_per_mm / (root * root * root);
        let uu = (arc_bend * to_axis - flat * arc_slope * arc_slope + flat * along * along) / a;
        let uv = flat * along * across / a;
        let vv = flat * (1.0 + across * across) / a;
        let (c, s) = self.strong_along;
        Some(Local {
            sag_mm,
            slope: self.rotated_back(along, across),
            bend_per_mm: [
                c * c * uu - 2.0 * c * s * uv + s * s * vv,
                c * s * (uu - vv) + (c * c - s * s) * uv,
                s * s * uu + 2.0 * c * s * uv + c * c * vv,
            ],
        })
    }

    /// Sag and slope only: all that following a ray to the surface needs.
    #[inline]
    pub fn sag_and_slope(&self, x_mm: f64, y_mm: f64) -> Option<(f64, [f64; 2])> {
        let (u, v) = self.rotated(x_mm, y_mm);
        let point = self.torus_point(u, v)?;
        Some((point.sag_mm, self.rotated_back(point.along, point.across)))
    }

    #[inline]
    fn rotated_back(&self, along: f64, across: f64) -> [f64; 2] {
        let (c, s) = self.strong_along;
        [c * along - s * across, s * along + c * across]
    }

    /// With A = 1 - s·flat, B = 1 - q·flat: A² + (flat v)² = B². The slopes and second derivatives come from that.
    #[inline]
    fn torus_point(&self, u: f64, v: f64) -> Option<TorusPoint> {
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
        Some(TorusPoint {
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

/// A point on a torus in its own axes: sag, slopes along and across the strong arc, and intermediate values.
struct TorusPoint {
    sag_mm: f64,
    along: f64,
    across: f64,
    a: f64,
    to_axis: f64,
    arc_slope: f64,
    root: f64,
}

#[cfg(test)]
mod tests;
