//! Rays and narrow pencils of light: Snell's law in vector form, and its second-order form for a pencil.
//!
//! Space is the front view with z towards the observer: light runs towards -z. Directions are unit vectors.

/// A vector: x to the observer's right, y up, z towards the observer.
pub type Vector = [f64; 3];

/// The scalar product.
#[inline]
pub fn dot(a: Vector, b: Vector) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// `a` plus `scale` times `b`.
#[inline]
pub fn add_scaled(a: Vector, b: Vector, scale: f64) -> Vector {
    [a[0] + scale * b[0], a[1] + scale * b[1], a[2] + scale * b[2]]
}

/// The unit vector along `a`.
#[inline]
pub fn unit(a: Vector) -> Vector {
    let length = dot(a, a).sqrt();
    [a[0] / length, a[1] / length, a[2] / length]
}

fn cross(a: Vector, b: Vector) -> Vector {
    [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
}

/// A direction after refraction; `None` when all light is reflected.
///
/// Snell's law in vectors: n' k' - n k lies along the normal. The normal may point either way.
#[inline]
pub fn refract(along: Vector, normal: Vector, index_before: f64, index_after: f64) -> Option<Vector> {
    let cosine = dot(along, normal);
    let normal = if cosine < 0.0 { [-normal[0], -normal[1], -normal[2]] } else { normal };
    let cosine = cosine.abs();
    let ratio = index_before / index_after;
    let squared = 1.0 - ratio * ratio * (1.0 - cosine * cosine);
    (squared >= 0.0).then(|| {
        let turn = squared.sqrt() - ratio * cosine;
        unit([
            ratio * along[0] + turn * normal[0],
            ratio * along[1] + turn * normal[1],
            ratio * along[2] + turn * normal[2],
        ])
    })
}

/// A symmetric two-by-two matrix: xx, xy, yy.
pub type Symmetric = [f64; 3];

/// A surface where a ray meets it: two tangent vectors, the normal and the second derivatives.
#[derive(Debug, Clone, Copy)]
pub struct Patch {
    /// Two tangent vectors, not of unit length in general.
    pub tangents: [Vector; 2],
    /// The unit normal, on the side the light goes to.
    pub normal: Vector,
    /// Second derivatives along the normal, in 1/mm; positive when the surface curves to the side the light goes to.
    pub bend_per_mm: Symmetric,
}

/// A narrow pencil about its ray: the ray's direction, two directions across it, and the reduced vergence along those
/// in 1/mm, positive when the pencil converges.
#[derive(Debug, Clone, Copy)]
pub struct Pencil {
    /// The direction of the ray, a unit vector.
    pub along: Vector,
    /// Two unit vectors across the ray and at right angles to each other.
    pub across: [Vector; 2],
    /// Index over distance to the focus.
    pub vergence_per_mm: Symmetric,
}

/// Two directions across a ray; the first is as close to x as possible.
pub fn across(along: Vector) -> [Vector; 2] {
    let first = unit(add_scaled([1.0, 0.0, 0.0], along, -along[0]));
    // Right-handed as the observer sees it: x, y, and the ray running away.
    let second = cross(first, along);
    [first, second]
}

impl Pencil {
    /// Light from far away.
    pub fn parallel(along: Vector) -> Self {
        Self { along, across: across(along), vergence_per_mm: [0.0; 3] }
    }

    /// The pencil after a surface; `None` when all light is reflected.
    ///
    /// The phase of both pencils agrees over the surface to second order (generalised Coddington equations,
    /// Kneisly 1964; derived here): `K'ᵀ L' K' = Kᵀ L K + (n' cos i' - n cos i) B`. K is the tangents projected
    /// across each ray, L the vergence and B the second derivatives of the surface.
    pub fn refracted(&self, patch: &Patch, index_before: f64, index_after: f64) -> Option<Self> {
        let along = refract(self.along, patch.normal, index_before, index_after)?;
        let step = index_after * dot(along, patch.normal) - index_before * dot(self.along, patch.normal);
        let before = self.on_surface(patch);
        let sum = [0, 1, 2].map(|i| before[i] + step * patch.bend_per_mm[i]);
        let across = across(along);
        let vergence_per_mm = from_surface(sum, projected(&patch.tangents, &across));
        Some(Self { along, across, vergence_per_mm })
    }

    /// The pencil after a distance in one medium: `L (1 - (d/n) L)⁻¹` (step-along, in matrices).
    pub fn after(&self, distance_mm: f64, index: f64) -> Self {
        let [a, b, d] = self.vergence_per_mm;
        let t = distance_mm / index;
        let determinant = a * d - b * b;
        let divisor = 1.0 - t * (a + d) + t * t * determinant;
        let vergence_per_mm = [(a - t * determinant) / divisor, b / divisor, (d - t * determinant) / divisor];
        Self { vergence_per_mm, ..*self }
    }

    /// The vergence as a form on the tangents of a surface: Kᵀ L K.
    pub fn on_surface(&self, patch: &Patch) -> Symmetric {
        let k = projected(&patch.tangents, &self.across);
        let [a, b, d] = self.vergence_per_mm;
        let form = |i: usize, j: usize| {
            a * k[0][i] * k[0][j] + b * (k[0][i] * k[1][j] + k[1][i] * k[0][j]) + d * k[1][i] * k[1][j]
        };
        [form(0, 0), form(0, 1), form(1, 1)]
    }
}

/// The tangents projected across a ray: k[i][j] is tangent j along direction i.
fn projected(tangents: &[Vector; 2], across: &[Vector; 2]) -> [[f64; 2]; 2] {
    [
        [dot(across[0], tangents[0]), dot(across[0], tangents[1])],
        [dot(across[1], tangents[0]), dot(across[1], tangents[1])],
    ]
}

/// Solves Kᵀ L K = form for L.
fn from_surface(form: Symmetric, k: [[f64; 2]; 2]) -> Symmetric {
    let determinant = k[0][0] * k[1][1] - k[0][1] * k[1][0];
    // J = K⁻¹, L = Jᵀ form J.
    let j = [[k[1][1] / determinant, -k[0][1] / determinant], [-k[1][0] / determinant, k[0][0] / determinant]];
    let [a, b, d] = form;
    let at = |p: usize, q: usize| {
        a * j[0][p] * j[0][q] + b * (j[0][p] * j[1][q] + j[1][p] * j[0][q]) + d * j[1][p] * j[1][q]
    };
    [at(0, 0), at(0, 1), at(1, 1)]
}

#[cfg(test)]
mod tests;
