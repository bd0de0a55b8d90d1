//! Both shapes at true size, seen from the front: lay the frame or the cut lens on the paper.

use super::window::Window;
use crate::optics::unit::Axis;
use crate::optics::{Eye, Pair};
use crate::shape::boxing::Boxing;
use crate::shape::hole::Hole;
use crate::shape::layout::Decentration;
use crate::shape::outline::{Outline, Point};
use crate::shape::svg::{View, coordinates, holes_data, path_data};
use serde::{Deserialize, Serialize};

/// Room around the boxes: the widest pair of the book, two 75 mm eyes with a 30 mm bridge, still fits a letter sheet.
const ROOM_MM: f64 = 2.0;
/// Half the length of the axis line.
const AXIS_MM: f64 = 13.0;

/// One lens to draw.
#[derive(Debug, Clone, Copy)]
pub struct Drawn<'a> {
    /// The shape.
    pub outline: &'a Outline,
    /// The holes of a drilled mount.
    pub holes: &'a [Hole],
    /// Where its optical center goes.
    pub center: Decentration,
    /// The cylinder axis, when there is one.
    pub axis: Option<Axis>,
    /// Whether its optical center is laid out; the shape of a lens that stays is drawn alone.
    pub is_made: bool,
}

/// Both shapes at true size, ready to draw: all in millimeters, y down.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PairDrawing {
    /// Width, with its unit.
    pub width: String,
    /// Height, with its unit.
    pub height: String,
    /// The window.
    pub view_box: String,
    /// Right, then left.
    pub eyes: [EyeOutline; 2],
}

/// One shape.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct EyeOutline {
    /// `R` or `L`.
    pub letter: String,
    /// The middle of the letter's base line.
    pub letter_at: [String; 2],
    /// The box: x, y, width, height.
    pub frame: [String; 4],
    /// The shape.
    pub outline: String,
    /// The holes of a drilled mount; empty for none.
    #[serde(default)]
    pub holes: String,
    /// The small cross at the boxing center.
    #[serde(alias = "boxing_centre")]
    pub boxing_center: String,
    /// The line of the axis through the optical center.
    pub axis: Option<String>,
    /// The cross at the optical center.
    #[serde(alias = "optical_centre")]
    pub optical_center: String,
    /// The middle of the ring around it.
    pub ring: [String; 2],
    /// Whether the lens in the frame stays, so that no optical center is drawn.
    #[serde(default)]
    pub stays: bool,
}

impl PairDrawing {
    /// Lays both shapes side by side, with the bridge between them.
    pub fn of(eyes: Pair<Drawn<'_>>, dbl_mm: f64) -> Self {
        let boxing = eyes.map(|eye| Boxing::of(eye.outline));
        let view = View::of_pair(&boxing, dbl_mm, ROOM_MM);
        let Window { width, height, view_box } = Window::of(view.left_mm, view.top_mm, view.width_mm, view.height_mm);
        let eye = |eye: Eye| EyeOutline::of(eye, eyes.get(eye), boxing.get(eye), *view.centers.get(eye));
        Self { width, height, view_box, eyes: Eye::BOTH.map(eye) }
    }
}

impl EyeOutline {
    fn of(eye: Eye, drawn: &Drawn<'_>, boxing: &Boxing, place: Point) -> Self {
        let (a_mm, b_mm) = (boxing.a_mm, boxing.b_mm);
        let center = place.plus(drawn.center.point(eye));
        let along = drawn.axis.map(|axis| Point::polar(AXIS_MM, f64::from(axis.degrees())));
        let exact = |mm: f64| format!("{mm:.3}");
        Self {
            letter: eye.letter().to_owned(),
            // On the temple side, half way to the edge, clear of the optical center.
            letter_at: [place.x_mm - eye.nasal_sign() * a_mm / 4.0, -place.y_mm - b_mm / 5.0].map(exact),
            frame: [place.x_mm - a_mm / 2.0, -place.y_mm - b_mm / 2.0, a_mm, b_mm].map(exact),
            outline: path_data(drawn.outline, place),
            holes: holes_data(drawn.holes, place),
            boxing_center: cross(place, 2.0),
            axis: along
                .map(|along| format!("M{}L{}", coordinates(center.minus(along)), coordinates(center.plus(along)))),
            optical_center: cross(center, 3.0),
            ring: [center.x_mm, -center.y_mm].map(exact),
            stays: !drawn.is_made,
        }
    }
}

fn cross(at: Point, arm_mm: f64) -> String {
    let point = |x_mm, y_mm| coordinates(at.plus(Point::new(x_mm, y_mm)));
    format!("M{}L{}M{}L{}", point(-arm_mm, 0.0), point(arm_mm, 0.0), point(0.0, -arm_mm), point(0.0, arm_mm))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn is_drawn_at_true_size_with_the_right_eye_on_the_left() {
        // Two circles of 40 mm, bridge 20, centered 2 in and 1 up: window 40 + 20 + 40 + 4 = 104 by 44.
        let outline = Outline::from_radii_mm(&[20.0; 400]).unwrap();
        let center = Decentration { in_mm: 2.0, up_mm: 1.0 };
        let drawn =
            |axis: i32| Drawn { outline: &outline, holes: &[], center, axis: Axis::new(axis).ok(), is_made: true };
        let drawing = PairDrawing::of(Pair::new(drawn(180), drawn(90)), 20.0);
        // In whole CSS pixels of 25.4/96 mm: 394 by 167.
        assert_eq!((drawing.width.as_str(), drawing.height.as_str()), ("394px", "167px"));
        assert_eq!(drawing.view_box, "-52.000 -22.000 104.245833 44.185417");
        // Boxing centers at -30 and +30; in is towards the middle, up is less y.
        let [right, left] = &drawing.eyes;
        assert_eq!(
            (&right.ring, &left.ring),
            (&["-28.000", "-1.000"].map(String::from), &["28.000", "-1.000"].map(String::from))
        );
        // Axis 180 lies level, axis 90 stands.
        assert_eq!(right.axis.as_deref(), Some("M-15 -1L-41 -1"));
        assert_eq!(left.axis.as_deref(), Some("M28 12L28 -14"));
        assert_eq!((right.letter.as_str(), left.letter.as_str()), ("R", "L"));
    }

    #[test]
    fn the_widest_pair_fits_a_letter_sheet() {
        // 8.5 in less two margins of 0.6 in.
        const { assert!(75.0 * 2.0 + 30.0 + 2.0 * ROOM_MM <= (8.5 - 1.2) * 25.4) };
    }
}
