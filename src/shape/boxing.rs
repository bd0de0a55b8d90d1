//! The boxing system (ISO 8624): A, B and ED, with the circumference and area of the same polygon.

use super::calm::{calm, length_mm};
use super::outline::{Outline, Point, doubled_area_mm2, extent};

/// The size of an outline. All values are those of the closed polygon through the traced points. The circumference is
/// therefore the flat one, not the length of the rim in space. The zigzag of rounded radii does not count in it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Boxing {
    /// Width of the box.
    pub a_mm: f64,
    /// Height of the box.
    pub b_mm: f64,
    /// Effective diameter: twice the longest radius from the boxing center.
    pub ed_mm: f64,
    /// The direction of that radius, 0 up to 360, front view; the smallest angle if several are equally long.
    pub ed_axis_deg: f64,
    /// Length of the polygon, without the zigzag of rounded points.
    pub circumference_mm: f64,
    /// Area of the polygon.
    pub area_mm2: f64,
}

impl Boxing {
    /// Measures an outline.
    pub fn of(outline: &Outline) -> Self {
        let points = outline.points();
        let (low, high) = extent(points);
        let (ed_mm, ed_axis_deg) = farthest(points, Point::ORIGIN);
        Self {
            a_mm: high.x_mm - low.x_mm,
            b_mm: high.y_mm - low.y_mm,
            ed_mm: 2.0 * ed_mm,
            ed_axis_deg,
            circumference_mm: length_mm(&calm(&points.iter().map(|p| [p.x_mm, p.y_mm, 0.0]).collect::<Vec<_>>())),
            area_mm2: doubled_area_mm2(points) / 2.0,
        }
    }
}

/// The longest distance from `center` to a corner. A polygon's farthest point is always a corner.
pub(crate) fn farthest_mm(points: &[Point], center: Point) -> f64 {
    points.iter().map(|p| p.minus(center)).map(|p| p.dot(p)).fold(0.0, f64::max).sqrt()
}

/// The same and its direction about `center`: the smallest angle if several corners are equally far.
pub(crate) fn farthest(points: &[Point], center: Point) -> (f64, f64) {
    let longest_mm = farthest_mm(points, center);
    let least_mm2 = (longest_mm - 1e-9).max(0.0).powi(2);
    let from_center = points.iter().map(|p| p.minus(center));
    let axis_deg = from_center.filter(|p| p.dot(*p) >= least_mm2).map(Point::angle_deg).fold(360.0, f64::min);
    (longest_mm, axis_deg)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    fn close(got: f64, want: f64, tolerance: f64, what: &str) {
        assert!((got - want).abs() <= tolerance, "{what}: got {got}, want {want} ± {tolerance}");
    }

    #[test]
    fn a_regular_polygon_by_its_closed_form() {
        // Perimeter 2·N·r·sin(π/N), area ½·N·r²·sin(2π/N): closed form.
        let n = 400;
        let size = Boxing::of(&Outline::from_radii_mm(&vec![22.0; n]).unwrap());
        let n = n as f64;
        close(size.a_mm, 44.0, 1e-9, "A");
        close(size.b_mm, 44.0, 1e-9, "B");
        close(size.ed_mm, 44.0, 1e-9, "ED");
        close(size.ed_axis_deg, 0.0, 1e-9, "ED axis");
        close(size.circumference_mm, 2.0 * n * 22.0 * (PI / n).sin(), 1e-9, "circumference");
        close(size.area_mm2, n / 2.0 * 22.0 * 22.0 * (2.0 * PI / n).sin(), 1e-9, "area");
    }

    #[test]
    fn a_rectangle_by_its_closed_form() {
        // 50 × 30: ED is the diagonal, hypot(50, 30) = 58.3095, at atan2(30, 50) = 30.9638°.
        let corners = [(25.0, 0.0), (25.0, 15.0), (0.0, 15.0), (-25.0, 15.0)];
        let others = corners.map(|(x, y)| Point::new(-x, -y));
        let points = corners.map(|(x, y)| Point::new(x, y)).into_iter().chain(others).collect();
        let size = Boxing::of(&Outline::from_points(points).unwrap());
        close(size.a_mm, 50.0, 1e-12, "A");
        close(size.b_mm, 30.0, 1e-12, "B");
        close(size.ed_mm, 58.309_519, 1e-6, "ED");
        // All four corners are equally far: the smallest angle is named.
        close(size.ed_axis_deg, 30.963_757, 1e-6, "ED axis");
        close(size.circumference_mm, 160.0, 1e-12, "circumference");
        close(size.area_mm2, 1500.0, 1e-12, "area");
    }
}
