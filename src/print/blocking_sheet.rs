//! The sheet on which a lens is aligned by hand: outline, blank, axis, and the dots under which the lensmeter's marks
//! must lie. Each eye is drawn alone, since two blanks at the distance of the frame would overlap.

use askama::Template;

use super::paper::ShapeTop;
use super::window::Window;
use crate::bench::layout::{Cover, EyeOnBench};
use crate::optics::direction::Directed;
use crate::optics::notation::long;
use crate::optics::prescription::EyePrescription;
use crate::shape::outline::Point;
use crate::shape::svg::{coordinates, holes_data, path_data};

/// Room around what is drawn.
const ROOM_MM: f64 = 2.0;
/// From the middle dot to the outer ones. Lensmeters differ; the line through the dots counts. Source: common practice
/// (from memory).
pub const MARKS_APART_MM: f64 = 16.0;

/// The sheet.
#[derive(Debug, Clone, PartialEq, Eq, Template)]
#[template(path = "print/blocking_sheet.html")]
pub struct BlockingSheet {
    /// What stands on every sheet of a shape.
    pub top: ShapeTop,
    /// The lenses that are made.
    pub eyes: Vec<BlockingEye>,
    /// What can go wrong with this pair.
    pub cautions: Vec<String>,
}

/// One lens.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BlockingEye {
    /// `R` or `L`.
    pub letter: &'static str,
    /// `right` or `left`.
    pub name: &'static str,
    /// Width, with its unit.
    pub width: String,
    /// Height, with its unit.
    pub height: String,
    /// The window.
    pub view_box: String,
    /// The box: x, y, width, height.
    pub frame: [String; 4],
    /// The shape.
    pub outline: String,
    /// The holes of a drilled mount; empty for none.
    pub holes: String,
    /// The cross at the boxing center.
    pub boxing_center: String,
    /// The uncut lens: middle and radius.
    pub blank: [String; 3],
    /// The line of the axis, from edge to edge of the blank.
    pub axis: Option<String>,
    /// The line of the three marks.
    pub mark_line: String,
    /// The dots, the middle one in the middle.
    pub marks: [[String; 2]; 3],
    /// The middle of the letter's base line.
    pub letter_at: [String; 2],
    /// The power as the lensmeter reads it.
    pub power: String,
    /// The prescribed prism that is read in the middle; empty for none.
    pub prism: String,
    /// The way from the boxing center to the middle dot.
    pub decentration: [Directed; 2],
    /// A and B.
    pub size: String,
    /// The uncut lens in words.
    pub blank_words: String,
}

impl BlockingEye {
    /// One eye on its uncut lens, with the power that is read.
    pub fn of(eye: &EyeOnBench, cover: &Cover, blank_words: String, read: &EyePrescription) -> Self {
        let boxing = eye.layout.boxing;
        let (half_a, half_b, radius_mm) = (boxing.a_mm / 2.0, boxing.b_mm / 2.0, cover.diameter_mm / 2.0);
        let moved = eye.layout.decentration;
        let center = moved.point(eye.eye);
        let low = |half: f64, middle: f64| (-half).min(middle - radius_mm) - ROOM_MM;
        let high = |half: f64, middle: f64| half.max(middle + radius_mm) + ROOM_MM;
        let (x, y) = (cover.middle.x_mm, -cover.middle.y_mm);
        let (left_mm, top_mm) = (low(half_a, x), low(half_b, y));
        let Window { width, height, view_box } =
            Window::of(left_mm, top_mm, high(half_a, x) - left_mm, high(half_b, y) - top_mm);
        let power = read.power.to_minus();
        let along = power.axis().map(|axis| Point::polar(radius_mm, f64::from(axis.degrees())));
        let beside = Point::new(MARKS_APART_MM, 0.0);
        let marks = [center.minus(beside), center, center.plus(beside)];
        let exact = |mm: f64| format!("{mm:.3}");
        Self {
            letter: eye.eye.letter(),
            name: eye.eye.name(),
            width,
            height,
            view_box,
            frame: [-half_a, -half_b, boxing.a_mm, boxing.b_mm].map(exact),
            outline: path_data(&eye.outline, Point::ORIGIN),
            holes: holes_data(&eye.holes, Point::ORIGIN),
            boxing_center: "M-3 0H3M0 -3V3".to_owned(),
            blank: [cover.middle.x_mm, -cover.middle.y_mm, radius_mm].map(exact),
            axis: along.map(|a| format!("M{}L{}", coordinates(center.minus(a)), coordinates(center.plus(a)))),
            mark_line: format!("M{}L{}", coordinates(marks[0]), coordinates(marks[2])),
            marks: marks.map(|at| [at.x_mm, -at.y_mm].map(exact)),
            letter_at: [-eye.eye.nasal_sign() * boxing.a_mm / 4.0, half_b * 0.7].map(exact),
            power: power.to_string(),
            prism: if read.prism.is_none() { String::new() } else { read.prism.to_string() },
            decentration: [Directed::of(moved.in_mm, "in", "out"), Directed::of(moved.up_mm, "up", "down")],
            size: format!("{} × {}", long(boxing.a_mm), long(boxing.b_mm)),
            blank_words: format!("⌀ {blank_words}"),
        }
    }
}
