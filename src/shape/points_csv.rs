//! Outlines as a table of points: `eye,x_mm,y_mm`, both as they stand in the frame, seen from the front.

use std::fmt::Write;

use super::outline::{Outline, Point};
use crate::optics::{Eye, Pair};

/// The table of both eyes, whose boxing centers lie here.
pub fn table(outlines: &Pair<Outline>, centers: &Pair<Point>) -> String {
    let mut text = "eye,x_mm,y_mm\r\n".to_owned();
    for eye in Eye::BOTH {
        for point in outlines.get(eye).points() {
            let at = point.plus(*centers.get(eye));
            // Writing to a string cannot fail.
            let _ = write!(text, "{},{:.4},{:.4}\r\n", eye.name(), at.x_mm, at.y_mm);
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_point_of_both_eyes_is_a_line() {
        let round = |mm: f64| Outline::from_radii_mm(&[mm; 8]).unwrap();
        let centers = Pair::new(Point::new(-30.0, 0.0), Point::new(31.0, 0.0));
        let text = table(&Pair::new(round(20.0), round(21.0)), &centers);
        let lines: Vec<&str> = text.split_terminator("\r\n").collect();
        assert_eq!(lines.len(), 1 + 8 + 8);
        assert_eq!((lines[0], lines[1], lines[9]), ("eye,x_mm,y_mm", "right,-10.0000,0.0000", "left,52.0000,0.0000"));
    }
}
