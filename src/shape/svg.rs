//! Outlines as SVG path data in true millimeters, without markup or style.
//!
//! SVG's y runs downwards, so y is flipped here and only here.

use std::fmt::Write;

use super::boxing::Boxing;
use super::hole::Hole;
use super::outline::{Outline, Point};
use crate::optics::{Eye, Pair};

/// A coordinate with at most three decimals, without trailing zeros.
fn millimeters(value_mm: f64) -> String {
    let mut text = String::new();
    push_millimeters(&mut text, value_mm);
    text
}

/// The same behind a text. A page draws thousands of them, and whole thousandths are written much faster than a
/// fraction.
fn push_millimeters(text: &mut String, value_mm: f64) {
    let thousandths = (value_mm * 1000.0).round() as i64;
    if thousandths < 0 {
        text.push('-');
    }
    let (whole, mut rest) = (thousandths.unsigned_abs() / 1000, thousandths.unsigned_abs() % 1000);
    // Writing to a string cannot fail.
    let _ = write!(text, "{whole}");
    if rest > 0 {
        text.push('.');
    }
    while rest > 0 {
        text.push(char::from(b'0' + (rest / 100) as u8));
        rest = rest % 100 * 10;
    }
}

/// A front-view coordinate pair as SVG writes it.
pub fn coordinates(point: Point) -> String {
    let mut text = String::with_capacity(16);
    push_coordinates(&mut text, point);
    text
}

/// The same behind a text.
pub fn push_coordinates(text: &mut String, point: Point) {
    push_millimeters(text, point.x_mm);
    text.push(' ');
    push_millimeters(text, -point.y_mm);
}

/// The `d` of a path with the boxing center at `place` (front view, mm).
pub fn path_data(outline: &Outline, place: Point) -> String {
    let mut data = String::with_capacity(outline.points().len() * 16);
    for (index, point) in outline.points().iter().enumerate() {
        data.push(if index == 0 { 'M' } else { 'L' });
        push_coordinates(&mut data, point.plus(place));
    }
    data.push('Z');
    data
}

/// The `d` of a path of holes with the boxing center at `place`: circles, and slots with round ends.
pub fn holes_data(holes: &[Hole], place: Point) -> String {
    let mut data = String::new();
    for hole in holes {
        let (at, end, radius) = (hole.at.plus(place), hole.end().plus(place), millimeters(hole.diameter_mm / 2.0));
        let way = end.minus(at);
        let way_deg = if way == Point::ORIGIN { 0.0 } else { way.angle_deg() };
        let beside = Point::polar(hole.diameter_mm / 2.0, way_deg + 90.0);
        let arc = |to: Point| format!("A{radius} {radius} 0 0 1 {}", coordinates(to));
        // y is flipped, so both half circles turn clockwise. Writing to a string cannot fail.
        let _ = write!(
            data,
            "M{}L{}{}L{}{}Z",
            coordinates(at.plus(beside)),
            coordinates(end.plus(beside)),
            arc(end.minus(beside)),
            coordinates(at.minus(beside)),
            arc(at.plus(beside))
        );
    }
    data
}

/// A drawing of a pair: the position of each boxing center and the visible area.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct View {
    /// The boxing center of each eye, front view: both on the datum line, the nose at x = 0.
    pub centers: Pair<Point>,
    /// The left edge of the view.
    pub left_mm: f64,
    /// The top edge of the view; y runs down.
    pub top_mm: f64,
    /// The width of the view.
    pub width_mm: f64,
    /// The height of the view.
    pub height_mm: f64,
}

impl View {
    /// A view of both eyes from the front, with space around the boxes.
    pub fn of_pair(boxing: &Pair<Boxing>, dbl_mm: f64, room_mm: f64) -> Self {
        let reach = |b: &Boxing| b.a_mm + dbl_mm / 2.0;
        let height_mm = boxing.right.b_mm.max(boxing.left.b_mm);
        let center = |eye: Eye| {
            let half = super::layout::half_frame_pd_mm(boxing.get(eye).a_mm, dbl_mm);
            Point::new(-eye.nasal_sign() * half, 0.0)
        };
        View {
            centers: Pair::new(center(Eye::Right), center(Eye::Left)),
            left_mm: -reach(&boxing.right) - room_mm,
            top_mm: -height_mm / 2.0 - room_mm,
            width_mm: reach(&boxing.right) + reach(&boxing.left) + 2.0 * room_mm,
            height_mm: height_mm + 2.0 * room_mm,
        }
    }

    /// The `viewBox` attribute.
    pub fn view_box(&self) -> String {
        [self.left_mm, self.top_mm, self.width_mm, self.height_mm].map(millimeters).join(" ")
    }

    /// The width and height as CSS lengths that print at true size.
    pub fn true_size(&self) -> (String, String) {
        (format!("{}mm", millimeters(self.width_mm)), format!("{}mm", millimeters(self.height_mm)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn writes_true_millimeters_with_y_down() {
        let outline = Outline::from_radii_mm(&[20.0; 8]).unwrap();
        assert_eq!(
            path_data(&outline, Point::ORIGIN),
            "M20 0L14.142 -14.142L0 -20L-14.142 -14.142L-20 0L-14.142 14.142L0 20L14.142 14.142Z"
        );
        assert!(path_data(&outline, Point::new(-35.0, 1.0)).starts_with("M-15 -1L"));
    }

    #[test]
    fn writes_a_number_as_the_standard_library_does() {
        let written = [0.0, -0.0, -0.0004, 0.0006, -0.0006, 7.0, -12.5, 0.05, 100.25, 1234.567, -10.001, 99.9996];
        for value_mm in written.into_iter().chain((0..2000).map(|k| f64::from(k) * 0.731 - 700.0)) {
            let text = format!("{value_mm:.3}");
            let text = text.trim_end_matches('0').trim_end_matches('.');
            assert_eq!(millimeters(value_mm), if text == "-0" { "0" } else { text });
        }
    }

    #[test]
    fn a_slot_has_round_ends() {
        let slot = Hole { at: Point::new(-2.0, 1.0), slot_end: Some(Point::new(2.0, 1.0)), diameter_mm: 1.0 };
        // Along its upper side, around its right end, back along its lower side, around its left end.
        let want = "M-2 -1.5L2 -1.5A0.5 0.5 0 0 1 2 -0.5L-2 -0.5A0.5 0.5 0 0 1 -2 -1.5Z";
        assert_eq!(holes_data(&[slot], Point::ORIGIN), want);
        let round = Hole { slot_end: None, ..slot };
        let want = "M-2 -1.5L-2 -1.5A0.5 0.5 0 0 1 -2 -0.5L-2 -0.5A0.5 0.5 0 0 1 -2 -1.5Z";
        assert_eq!(holes_data(&[round], Point::ORIGIN), want);
    }

    #[test]
    fn the_right_eye_is_drawn_on_the_left() {
        // A 52 and 50, DBL 18, B 36 and 34, 2 mm round: from -(52 + 9 + 2) to +(50 + 9 + 2).
        let size =
            |a_mm, b_mm| Boxing { a_mm, b_mm, ed_mm: 0.0, ed_axis_deg: 0.0, circumference_mm: 0.0, area_mm2: 0.0 };
        let view = View::of_pair(&Pair::new(size(52.0, 36.0), size(50.0, 34.0)), 18.0, 2.0);
        assert_eq!(view.view_box(), "-63 -20 124 40");
        assert_eq!((view.centers.right.x_mm, view.centers.left.x_mm), (-35.0, 34.0));
        assert_eq!(view.true_size(), ("124mm".to_owned(), "40mm".to_owned()));
    }
}
