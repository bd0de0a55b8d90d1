//! Where the flat place that is pictured lies in the picture: millimeters to pixels and back.

use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

use super::gray::Pixel;
use crate::shape::outline::Point;

/// The projection of the plane of the lens onto the picture. In the plane x runs to the right and y up, in millimeters.
#[derive(Debug, Clone, PartialEq)]
pub struct Plane {
    to_px: Matrix3<f64>,
    to_mm: Matrix3<f64>,
}

impl Plane {
    /// A plane seen straight on: `pitch_mm` for each pixel, the origin at the picture's top left corner.
    pub fn flat(pitch_mm: f64) -> Self {
        let per_mm = 1.0 / pitch_mm;
        let to_px = Matrix3::new(per_mm, 0.0, 0.0, 0.0, -per_mm, 0.0, 0.0, 0.0, 1.0);
        let to_mm = Matrix3::new(pitch_mm, 0.0, 0.0, 0.0, -pitch_mm, 0.0, 0.0, 0.0, 1.0);
        Self { to_px, to_mm }
    }

    /// The plane in which four points have these places in the picture. `None` if three of them lie on a line.
    pub fn through(points: [Point; 4], places: [Pixel; 4]) -> Option<Self> {
        let mut rows = SMatrix::<f64, 8, 8>::zeros();
        let mut right = SVector::<f64, 8>::zeros();
        for (i, (point, place)) in points.iter().zip(&places).enumerate() {
            let (x, y) = (point.x_mm, point.y_mm);
            let (u, v) = (place.x, place.y);
            for (j, value) in [x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y].into_iter().enumerate() {
                rows[(2 * i, j)] = value;
            }
            for (j, value) in [0.0, 0.0, 0.0, x, y, 1.0, -v * x, -v * y].into_iter().enumerate() {
                rows[(2 * i + 1, j)] = value;
            }
            (right[2 * i], right[2 * i + 1]) = (u, v);
        }
        let h = rows.lu().solve(&right)?;
        let to_px = Matrix3::new(h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], 1.0);
        let to_mm = to_px.try_inverse()?;
        to_px.iter().chain(to_mm.iter()).all(|value| value.is_finite()).then_some(Self { to_px, to_mm })
    }

    /// Where a point of the plane is in the picture.
    pub fn to_px(&self, point: Point) -> Pixel {
        let v = self.to_px * Vector3::new(point.x_mm, point.y_mm, 1.0);
        Pixel::new(v.x / v.z, v.y / v.z)
    }

    /// Which point of the plane is seen at a place.
    pub fn to_mm(&self, place: Pixel) -> Point {
        let v = self.to_mm * Vector3::new(place.x, place.y, 1.0);
        Point::new(v.x / v.z, v.y / v.z)
    }

    /// The scale of the plane down over its scale across, as a camera with this focal length sees it whose axis meets the picture at
    /// `middle`: 1 where the four points of the plane have their true sizes.
    pub fn stretch(&self, focal_px: f64, middle: Pixel) -> f64 {
        let length = |column: usize| {
            let h = self.to_px.column(column);
            let (x, y) = ((h[0] - middle.x * h[2]) / focal_px, (h[1] - middle.y * h[2]) / focal_px);
            Vector3::new(x, y, h[2]).norm()
        };
        length(1) / length(0)
    }

    /// Millimeters for each pixel about a point, along the direction seen smallest and the one seen largest.
    pub fn pitch_mm(&self, about: Point) -> (f64, f64) {
        let here = self.to_px(about);
        let to = |x: f64, y: f64| {
            let there = self.to_px(about.plus(Point::new(x, y)));
            (there.x - here.x, there.y - here.y)
        };
        let (a, c) = to(0.01, 0.0);
        let (b, d) = to(0.0, 0.01);
        let (sum, difference) = ((a + d).hypot(b - c) / 2.0, (a - d).hypot(b + c) / 2.0);
        (0.01 / (sum + difference), 0.01 / (sum - difference).abs().max(1e-12))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plane_leads_there_and_back() {
        let flat = Plane::flat(25.4 / 300.0);
        let place = flat.to_px(Point::new(25.4, -50.8));
        assert!((place.x - 300.0).abs() < 1e-9 && (place.y - 600.0).abs() < 1e-9);
        let corners = [(0.0, 0.0), (85.6, 0.0), (85.6, -53.98), (0.0, -53.98)].map(|(x, y)| Point::new(x, y));
        let places = [(100.0, 120.0), (900.0, 90.0), (930.0, 640.0), (80.0, 610.0)].map(|(x, y)| Pixel::new(x, y));
        let plane = Plane::through(corners, places).unwrap();
        for (corner, place) in corners.iter().zip(places) {
            let there = plane.to_px(*corner);
            assert!((there.x - place.x).hypot(there.y - place.y) < 1e-6);
            assert!(plane.to_mm(place).minus(*corner).length_mm() < 1e-6);
        }
        let on_a_line = [(0.0, 0.0), (1.0, 1.0), (2.0, 2.0), (5.0, 0.0)].map(|(x, y)| Pixel::new(x, y));
        assert!(Plane::through(corners, on_a_line).is_none());
    }

    #[test]
    fn the_pitch_is_that_of_both_directions() {
        let corners = [(0.0, 0.0), (10.0, 0.0), (10.0, -10.0), (0.0, -10.0)].map(|(x, y)| Point::new(x, y));
        let places = [(0.0, 0.0), (100.0, 0.0), (100.0, 80.0), (0.0, 80.0)].map(|(x, y)| Pixel::new(x, y));
        let (least, most) = Plane::through(corners, places).unwrap().pitch_mm(Point::new(5.0, -5.0));
        assert!((least - 0.1).abs() < 1e-6 && (most - 0.125).abs() < 1e-6, "{least} {most}");
    }
}
