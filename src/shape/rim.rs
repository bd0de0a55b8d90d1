//! A rim in space: how long it is, how much it is curved, how its plane is tilted.

use super::bevel::curve_tool_d;
use super::calm::{calm, length_mm};

/// The measures of a rim whose depth was traced.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RimMeasures {
    /// The length along the rim in space.
    pub circumference_mm: f64,
    /// The curve of the best-fitting sphere in tool power (1.530); `None` where no sphere fits, as for a flat rim.
    pub curve_tool_d: Option<f64>,
    /// The angle between the plane that fits the rim best and the plane it was traced in.
    pub tilt_deg: f64,
}

impl RimMeasures {
    /// Measures a rim from its points in space, around it in order, the outline in x and y. `flat_mm` is the
    /// circumference of the outline. `None` for fewer than five points or points in a line.
    ///
    /// Few points cut the corners of a rim, in space as in the plane. So the length is that of the outline, longer by as
    /// much as the polygon in space is longer than its image in the plane.
    ///
    /// Tracers differ in the sign of the depth (from memory), so the curve and the tilt are given without a sign.
    pub fn of(points: &[[f64; 3]], flat_mm: f64) -> Option<Self> {
        if points.len() < 5 {
            return None;
        }
        let line = calm(points);
        let flat: Vec<[f64; 3]> = line.iter().map(|[x, y, _]| [*x, *y, 0.0]).collect();
        Some(Self {
            circumference_mm: flat_mm * length_mm(&line) / length_mm(&flat),
            curve_tool_d: curve_tool_d(points.iter().copied()).map(f64::abs),
            tilt_deg: tilt_deg(points)?,
        })
    }
}

/// The tilt of the plane z = c + ax + by with the least squares: atan √(a² + b²).
fn tilt_deg(points: &[[f64; 3]]) -> Option<f64> {
    let count = points.len() as f64;
    let mean: [f64; 3] = std::array::from_fn(|k| points.iter().map(|p| p[k]).sum::<f64>() / count);
    let sum = |i: usize, j: usize| points.iter().map(|p| (p[i] - mean[i]) * (p[j] - mean[j])).sum::<f64>();
    let (xx, xy, yy, xz, yz) = (sum(0, 0), sum(0, 1), sum(1, 1), sum(0, 2), sum(1, 2));
    let whole = xx * yy - xy * xy;
    (whole > 1e-9 * xx * yy).then(|| {
        let (a, b) = ((xz * yy - yz * xy) / whole, (yz * xx - xz * xy) / whole);
        a.hypot(b).atan().to_degrees()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::{PI, TAU};

    /// A circle of 22 mm whose plane is tilted, traced at `count` points.
    fn tilted(count: usize, deg: f64) -> Vec<[f64; 3]> {
        (0..count)
            .map(|i| {
                let (sin, cos) = (TAU * i as f64 / count as f64).sin_cos();
                [22.0 * cos * deg.to_radians().cos(), 22.0 * sin, 22.0 * cos * deg.to_radians().sin()]
            })
            .collect()
    }

    #[test]
    fn a_tilted_circle_keeps_its_length_in_space() {
        // In the plane it is an ellipse 22 cos t by 22: Ramanujan's second formula. In space 2π · 22: closed form.
        for (deg, count) in [(0.0, 400), (6.0, 400), (15.0, 120)] {
            let (a, b) = (22.0 * f64::to_radians(deg).cos(), 22.0);
            let h = ((a - b) / (a + b)).powi(2);
            let flat = PI * (a + b) * (1.0 + 3.0 * h / (10.0 + (4.0 - 3.0 * h).sqrt()));
            let rim = RimMeasures::of(&tilted(count, deg), flat).unwrap();
            assert!((rim.circumference_mm - 44.0 * PI).abs() < 0.005, "{deg}: {rim:?}");
            assert!((rim.tilt_deg - deg).abs() < 1e-6, "{deg}: {rim:?}");
        }
    }

    /// Heights and radii in hundredths, close together: rounding must not make the rim longer.
    #[test]
    fn many_rounded_points_are_no_longer_than_the_rim() {
        let rounded = |mm: f64| (mm * 100.0).round() / 100.0;
        for count in [400, 1000, 3600, 10_000] {
            let points = tilted(count, 6.0).into_iter().map(|[x, y, z]| {
                let radius = x.hypot(y);
                let share = rounded(radius) / radius;
                [x * share, y * share, rounded(z)]
            });
            let (a, b) = (22.0 * f64::to_radians(6.0).cos(), 22.0);
            let h = ((a - b) / (a + b)).powi(2);
            let flat = PI * (a + b) * (1.0 + 3.0 * h / (10.0 + (4.0 - 3.0 * h).sqrt()));
            let rim = RimMeasures::of(&points.collect::<Vec<_>>(), flat).unwrap();
            assert!((rim.circumference_mm - 44.0 * PI).abs() < 0.02, "{count}: {rim:?}");
        }
    }

    #[test]
    fn a_rim_bent_on_a_sphere() {
        // On a sphere of 530/6 mm (6 D in tool power) an oval is longer than its image; here by numerical integration of
        // √(x'² + y'² + z'²) with z = √(R² - x² - y²) - R.
        let sphere: f64 = 530.0 / 6.0;
        let at = |t: f64| {
            let (x, y) = (26.0 * t.cos(), 18.0 * t.sin());
            [x, y, (sphere * sphere - x * x - y * y).sqrt() - sphere]
        };
        let ring = |count: usize| (0..count).map(|i| at(TAU * i as f64 / count as f64)).collect::<Vec<_>>();
        let length = |points: &[[f64; 3]], dims: usize| {
            let next = points.iter().cycle().skip(1);
            points
                .iter()
                .zip(next)
                .map(|(p, q)| (0..dims).map(|k| (q[k] - p[k]).powi(2)).sum::<f64>().sqrt())
                .sum::<f64>()
        };
        let fine = ring(200_000);
        let rim = RimMeasures::of(&ring(100), length(&fine, 2)).unwrap();
        assert!((rim.circumference_mm - length(&fine, 3)).abs() < 0.01, "{rim:?}");
        assert!((rim.curve_tool_d.unwrap() - 6.0).abs() < 1e-6 && rim.tilt_deg < 1e-6, "{rim:?}");
    }
}
