//! Outlines as a drawing exchange file (DXF release 12, text), in millimeters: closed polylines, one a layer.
//!
//! Source of the group codes: the published DXF reference (from memory); a test reads the file with a library.

use std::fmt::Write;

use super::outline::{Outline, Point};

/// A drawing of outlines, each with the name of its layer and the place of its boxing center.
pub fn drawing(outlines: &[(&str, &Outline, Point)]) -> String {
    let mut text = "0\r\nSECTION\r\n2\r\nHEADER\r\n".to_owned();
    // 4 is the unit millimeter, 1 is metric.
    for (variable, code, value) in [("$ACADVER", 1, "AC1009"), ("$INSUNITS", 70, "4"), ("$MEASUREMENT", 70, "1")] {
        group(&mut text, 9, variable);
        group(&mut text, code, value);
    }
    text += "0\r\nENDSEC\r\n0\r\nSECTION\r\n2\r\nENTITIES\r\n";
    outlines.iter().for_each(|(layer, outline, place)| polyline(&mut text, layer, outline, *place));
    text += "0\r\nENDSEC\r\n0\r\nEOF\r\n";
    text
}

fn polyline(text: &mut String, layer: &str, outline: &Outline, place: Point) {
    group(text, 0, "POLYLINE");
    group(text, 8, layer);
    // Vertices follow; the polyline is closed.
    group(text, 66, 1);
    group(text, 70, 1);
    for point in outline.points() {
        let at = point.plus(place);
        group(text, 0, "VERTEX");
        group(text, 8, layer);
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
        let text = drawing(&[("right", &square, Point::new(-30.0, 0.0))]);
        assert_eq!(text.matches("VERTEX").count(), 8);
        let first = "66\r\n1\r\n70\r\n1\r\n0\r\nVERTEX\r\n8\r\nright\r\n10\r\n-10.0000\r\n20\r\n0.0000\r\n";
        assert!(text.contains(first), "{text}");
        assert!(text.ends_with("SEQEND\r\n0\r\nENDSEC\r\n0\r\nEOF\r\n"));
    }
}
