//! Outlines as a table of points: `eye,x_mm,y_mm`, both as they stand in the frame, seen from the front. The holes of a drilled
//! mount follow the points of their lens, in rows that also say the diameter and the other end of a slot.

use std::fmt::Write;

use super::hole::Hole;
use super::outline::{Outline, Point};
use crate::optics::{Eye, Pair};

/// The table of both eyes, whose boxing centers lie here.
pub fn table(outlines: &Pair<Outline>, holes: &Pair<Vec<Hole>>, centers: &Pair<Point>) -> String {
    let is_drilled = !holes.right.is_empty() || !holes.left.is_empty();
    let (more, none) = if is_drilled { (",hole_mm,slot_end_x_mm,slot_end_y_mm", ",,,") } else { ("", "") };
    let mut text = format!("eye,x_mm,y_mm{more}\r\n");
    for eye in Eye::BOTH {
        let place = |point: Point| {
            let at = point.plus(*centers.get(eye));
            format!("{:.4},{:.4}", at.x_mm, at.y_mm)
        };
        // Writing to a string cannot fail.
        for point in outlines.get(eye).points() {
            let _ = write!(text, "{},{}{none}\r\n", eye.name(), place(*point));
        }
        for hole in holes.get(eye) {
            let end = hole.slot_end.map_or_else(|| ",".to_owned(), place);
            let _ = write!(text, "{},{},{:.2},{end}\r\n", eye.name(), place(hole.at), hole.diameter_mm);
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
        let outlines = Pair::new(round(20.0), round(21.0));
        let text = table(&outlines, &Pair::default(), &centers);
        let lines: Vec<&str> = text.split_terminator("\r\n").collect();
        assert_eq!(lines.len(), 1 + 8 + 8);
        assert_eq!((lines[0], lines[1], lines[9]), ("eye,x_mm,y_mm", "right,-10.0000,0.0000", "left,52.0000,0.0000"));
        let hole = Hole { at: Point::new(-17.0, 2.0), slot_end: None, diameter_mm: 1.4 };
        let slot = Hole { slot_end: Some(Point::new(15.0, 2.0)), at: Point::new(17.0, 2.0), ..hole };
        let text = table(&outlines, &Pair::new(vec![hole], vec![slot]), &centers);
        let lines: Vec<&str> = text.split_terminator("\r\n").collect();
        assert_eq!(
            (lines[0], lines[1]),
            ("eye,x_mm,y_mm,hole_mm,slot_end_x_mm,slot_end_y_mm", "right,-10.0000,0.0000,,,")
        );
        assert_eq!(lines[9], "right,-47.0000,2.0000,1.40,,");
        assert_eq!(lines[18], "left,48.0000,2.0000,1.40,46.0000,2.0000");
    }
}
