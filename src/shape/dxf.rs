//! Outlines as a drawing exchange file (DXF release 12, text), in millimeters: closed polylines, one a layer.
//!
//! Source of the group codes: the published DXF reference (from memory); a test reads the file with a library.

use std::fmt::Write;

use super::hole::Hole;
use super::outline::{Outline, Point};

/// One eye of a drawing.
#[derive(Debug, Clone, Copy)]
pub struct Layer<'a> {
    /// The name of the layer.
    pub name: &'a str,
    /// The shape.
    pub outline: &'a Outline,
    /// The holes of a drilled mount.
    pub holes: &'a [Hole],
    /// Where its boxing center is.
    pub place: Point,
}

/// A drawing of these layers.
pub fn drawing(layers: &[Layer<'_>]) -> String {
    let mut text = "0\r\nSECTION\r\n2\r\nHEADER\r\n".to_owned();
    // 4 is the unit millimeter, 1 is metric.
    for (variable, code, value) in [("$ACADVER", 1, "AC1009"), ("$INSUNITS", 70, "4"), ("$MEASUREMENT", 70, "1")] {
        group(&mut text, 9, variable);
        group(&mut text, code, value);
    }
    text += "0\r\nENDSEC\r\n0\r\nSECTION\r\n2\r\nENTITIES\r\n";
    for layer in layers {
        polyline(&mut text, layer, layer.outline.points());
        layer.holes.iter().for_each(|hole| match hole.slot_end {
            None => circle(&mut text, layer, hole),
            Some(end) => polyline(&mut text, layer, &slot_border(hole, end)),
        });
    }
    text += "0\r\nENDSEC\r\n0\r\nEOF\r\n";
    text
}

/// A slot with round ends, every 5°.
fn slot_border(hole: &Hole, end: Point) -> Vec<Point> {
    let way_deg = end.minus(hole.at).angle_deg();
    let half = |center: Point, from_deg: f64| {
        (0..=36).map(move |step| center.plus(Point::polar(hole.diameter_mm / 2.0, from_deg + f64::from(step) * 5.0)))
    };
    half(end, way_deg - 90.0).chain(half(hole.at, way_deg + 90.0)).collect()
}

fn circle(text: &mut String, layer: &Layer<'_>, hole: &Hole) {
    let at = hole.at.plus(layer.place);
    group(text, 0, "CIRCLE");
    group(text, 8, layer.name);
    group(text, 10, format_args!("{:.4}", at.x_mm));
    group(text, 20, format_args!("{:.4}", at.y_mm));
    group(text, 40, format_args!("{:.4}", hole.diameter_mm / 2.0));
}

fn polyline(text: &mut String, layer: &Layer<'_>, points: &[Point]) {
    group(text, 0, "POLYLINE");
    group(text, 8, layer.name);
    // Vertices follow; the polyline is closed.
    group(text, 66, 1);
    group(text, 70, 1);
    for point in points {
        let at = point.plus(layer.place);
        group(text, 0, "VERTEX");
        group(text, 8, layer.name);
        group(text, 10, format_args!("{:.4}", at.x_mm));
        group(text, 20, format_args!("{:.4}", at.y_mm));
    }
    group(text, 0, "SEQEND");
}

fn group(text: &mut String, code: i32, value: impl std::fmt::Display) {
    // Writing to a string cannot fail.
    let _ = write!(text, "{code}\r\n{value}\r\n");
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_polyline_is_closed_and_at_its_place() {
        let square = Outline::from_radii_mm(&[20.0; 8]).unwrap();
        let layer = Layer { name: "right", outline: &square, holes: &[], place: Point::new(-30.0, 0.0) };
        let text = drawing(&[layer]);
        assert_eq!(text.matches("VERTEX").count(), 8);
        let first = "66\r\n1\r\n70\r\n1\r\n0\r\nVERTEX\r\n8\r\nright\r\n10\r\n-10.0000\r\n20\r\n0.0000\r\n";
        assert!(text.contains(first), "{text}");
        assert!(text.ends_with("SEQEND\r\n0\r\nENDSEC\r\n0\r\nEOF\r\n"));
    }
}
