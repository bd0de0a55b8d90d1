//! One lens drawn for the screen: every coordinate and word ready for the template, in millimeters with y down.

use crate::bench::layout::{Cover, EyeOnBench};
use crate::optics::Eye;
use crate::optics::notation::short;
use crate::shape::boxing::Boxing;
use crate::shape::hole::Hole;
use crate::shape::outline::{Outline, Point};
use crate::shape::svg::{holes_data, path_data};
use crate::web::words::capital;

/// Room around what is drawn, mm.
const ROOM_MM: f64 = 1.0;
/// Height of a line of words in the drawing, mm, as in the style sheet.
const LINE_MM: f64 = 3.2;
/// Half the size of a cross, mm.
const CROSS_MM: f64 = 3.0;

/// A drawing of one lens, seen from the front.
#[derive(Debug, Clone)]
pub struct EyeDrawing {
    /// What it shows, for those who do not see it.
    pub label: String,
    /// The window.
    pub view_box: String,
    /// The shape.
    pub outline: String,
    /// The holes of a drilled mount; empty for none.
    pub holes: String,
    /// The box: x, y, width, height.
    pub frame: [String; 4],
    /// The lines through the boxing center.
    pub datum: String,
    /// The longest radius.
    pub longest: Option<String>,
    /// The uncut lens: middle and radius.
    pub blank: Option<[String; 3]>,
    /// The axis of the cylinder.
    pub axis: Option<String>,
    /// The cross where the prescription is read: the pupil.
    pub pupil: Option<String>,
    /// The optical center where prescribed prism moves it away from the pupil.
    pub optical_center: Option<[String; 2]>,
    /// The words.
    pub words: Vec<DrawnWord>,
}

/// Words in a drawing.
#[derive(Debug, Clone)]
pub struct DrawnWord {
    /// Their class in the style sheet.
    pub class: &'static str,
    /// Where.
    pub x: String,
    /// Where.
    pub y: String,
    /// Which end of them stands there.
    pub anchor: &'static str,
    /// What they say.
    pub text: String,
}

/// A square window: its middle (front view) and half its width.
struct DrawingWindow {
    middle: Point,
    half_mm: f64,
}

impl DrawingWindow {
    fn view_box(&self) -> String {
        let (side, x, y) = (2.0 * self.half_mm, self.middle.x_mm - self.half_mm, -self.middle.y_mm - self.half_mm);
        format!("{x:.2} {y:.2} {side:.2} {side:.2}")
    }

    /// Words in a corner, which a round lens leaves free.
    fn word(&self, class: &'static str, is_right: bool, is_top: bool, text: String) -> DrawnWord {
        let x_mm = self.middle.x_mm + if is_right { self.half_mm - 0.5 } else { 0.5 - self.half_mm };
        let y_mm = -self.middle.y_mm + if is_top { LINE_MM - self.half_mm } else { self.half_mm - 0.8 };
        let anchor = if is_right { "end" } else { "start" };
        DrawnWord { class, x: format!("{x_mm:.2}"), y: format!("{y_mm:.2}"), anchor, text }
    }
}

impl EyeDrawing {
    /// A shape with its box, its boxing center and its longest radius. Both eyes of a pair share `reach_mm`, the
    /// largest half side of their boxes, so that they are drawn in one scale.
    pub fn of_shape(eye: Eye, outline: &Outline, boxing: &Boxing, reach_mm: f64) -> Self {
        // Below the shape, room for a line of words.
        let window = DrawingWindow { middle: Point::ORIGIN, half_mm: reach_mm + ROOM_MM };
        let end = Point::polar(boxing.ed_mm / 2.0, boxing.ed_axis_deg);
        Self {
            label: format!(
                "{} eye seen from the front: the shape in its box, A {:.2}, B {:.2} mm",
                capital(eye.name()),
                boxing.a_mm,
                boxing.b_mm
            ),
            longest: Some(format!("M0 0L{}", at(end))),
            words: vec![window.word("nose", eye == Eye::Right, false, "nose".into())],
            ..Self::bare(outline, boxing, &window)
        }
    }

    /// A shape inside its uncut lens, with the pupil and the axis.
    pub fn on_blank(eye: &EyeOnBench, cover: &Cover, axis_deg: Option<i32>, half_mm: f64) -> Self {
        let window = DrawingWindow { middle: cover.middle, half_mm };
        let pupil = eye.layout.decentration.point(eye.eye);
        let (radius_mm, diameter) = (cover.diameter_mm / 2.0, short(cover.diameter_mm));
        let mut words = vec![
            window.word("nose", eye.eye == Eye::Right, false, "nose".into()),
            window.word("aid", eye.eye == Eye::Left, false, format!("⌀ {diameter} mm")),
        ];
        if let Some(axis) = axis_deg {
            words.push(window.word("plain", axis <= 90 || axis == 180, true, format!("axis {axis}°")));
        }
        let (name, axis_words) = (eye.eye.name(), axis_deg.map(|a| format!(", axis {a}")).unwrap_or_default());
        let moved = eye.prism.as_ref().is_some_and(|prism| prism.moved().is_some());
        let center = eye.optical_center();
        Self {
            label: format!(
                "{} eye seen from the front: the shape inside a {diameter} mm blank{axis_words}",
                capital(name)
            ),
            blank: Some([
                format!("{:.2}", cover.middle.x_mm),
                format!("{:.2}", -cover.middle.y_mm),
                format!("{radius_mm:.2}"),
            ]),
            axis: axis_deg.map(|axis| across(pupil, axis, cover.middle, radius_mm)),
            pupil: Some(cross(pupil)),
            optical_center: moved.then(|| [format!("{:.2}", center.x_mm), format!("{:.2}", -center.y_mm)]),
            words,
            ..Self::bare(&eye.outline, &eye.layout.boxing, &window).with_holes(&eye.holes)
        }
    }

    /// The same drawing with the holes of a drilled mount.
    pub fn with_holes(self, holes: &[Hole]) -> Self {
        Self { holes: holes_data(holes, Point::ORIGIN), ..self }
    }

    fn bare(outline: &Outline, boxing: &Boxing, window: &DrawingWindow) -> Self {
        let (half_a, half_b) = (boxing.a_mm / 2.0, boxing.b_mm / 2.0);
        Self {
            label: String::new(),
            view_box: window.view_box(),
            outline: path_data(outline, Point::ORIGIN),
            holes: String::new(),
            frame: [-half_a, -half_b, boxing.a_mm, boxing.b_mm].map(|mm| format!("{mm:.2}")),
            datum: format!("M{:.2} 0H{:.2}M0 {:.2}V{:.2}", -half_a, half_a, -half_b, half_b),
            longest: None,
            blank: None,
            axis: None,
            pupil: None,
            optical_center: None,
            words: Vec::new(),
        }
    }
}

/// Half the side of a square window that shows this uncut lens and the whole shape.
pub fn reach_mm(cover: &Cover) -> f64 {
    (cover.diameter_mm / 2.0).max(cover.needs.exact_mm / 2.0) + ROOM_MM
}

fn at(point: Point) -> String {
    format!("{:.2} {:.2}", point.x_mm, -point.y_mm)
}

fn cross(point: Point) -> String {
    let (x, y) = (point.x_mm, -point.y_mm);
    let (left, right, top, bottom) = (x - CROSS_MM, x + CROSS_MM, y - CROSS_MM, y + CROSS_MM);
    format!("M{left:.2} {y:.2}H{right:.2}M{x:.2} {top:.2}V{bottom:.2}")
}

/// A line through `point` from edge to edge of the blank.
fn across(point: Point, axis_deg: i32, middle: Point, radius_mm: f64) -> String {
    let way = Point::polar(1.0, f64::from(axis_deg));
    let from_middle = point.minus(middle);
    let along = from_middle.x_mm * way.x_mm + from_middle.y_mm * way.y_mm;
    let inside = along * along + radius_mm * radius_mm - from_middle.length_mm().powi(2);
    // A point off the blank still gets a line as long as the blank.
    let half = if inside > 0.0 { inside.sqrt() } else { radius_mm };
    let end = |t: f64| at(Point::new(point.x_mm + t * way.x_mm, point.y_mm + t * way.y_mm));
    format!("M{}L{}", end(-along - half), end(-along + half))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_axis_runs_from_edge_to_edge() {
        // At 45° through the middle of a circle of radius 5: 5 cos 45° = 3.54 to either side, y counted downwards.
        assert_eq!(across(Point::ORIGIN, 45, Point::ORIGIN, 5.0), "M-3.54 3.54L3.54 -3.54");
        // Upright at x = 3 the same circle is met at y = ±4.
        assert_eq!(across(Point::new(3.0, 1.0), 90, Point::ORIGIN, 5.0), "M3.00 4.00L3.00 -4.00");
    }
}
