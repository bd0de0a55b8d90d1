//! Both shapes at true size, seen from the front: lay the frame or the cut lens on the paper.

use std::fmt::Write;

use crate::optics::unit::Axis;
use crate::optics::{Eye, Pair};
use crate::shape::boxing::Boxing;
use crate::shape::layout::Decentration;
use crate::shape::outline::{Outline, Point};
use crate::shape::svg::{View, coordinates, path_data};

/// Room around the boxes: the widest pair of the book, two 75 mm eyes with a 30 mm bridge, still fits a letter sheet.
const ROOM_MM: f64 = 2.0;
/// Half the length of the axis line.
const AXIS_MM: f64 = 13.0;

/// One lens to draw.
#[derive(Debug, Clone, Copy)]
pub struct Drawn<'a> {
    /// The shape.
    pub outline: &'a Outline,
    /// Where its optical centre goes.
    pub centre: Decentration,
    /// The cylinder axis, when there is one.
    pub axis: Option<Axis>,
}

/// A whole `<svg>` at true size: for each eye its letter, the box (dashed), the boxing centre (small upright
/// cross), the optical centre (ring with a cross) and the axis line through it. Black on white, no class needed.
pub fn svg(eyes: Pair<Drawn<'_>>, dbl_mm: f64) -> String {
    let boxing = eyes.map(|eye| Boxing::of(eye.outline));
    let view = View::of_pair(&boxing, dbl_mm, ROOM_MM);
    let (width, height) = view.true_size();
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"{height}\" viewBox=\"{}\" role=\"img\" \
         aria-label=\"Both shapes at true size, front view\" fill=\"none\" stroke=\"#000\">",
        view.view_box()
    );
    for (eye, drawn) in eyes.iter() {
        draw_eye(&mut svg, eye, drawn, boxing.get(eye), *view.centres.get(eye));
    }
    svg.push_str("</svg>");
    svg
}

fn draw_eye(svg: &mut String, eye: Eye, drawn: &Drawn<'_>, boxing: &Boxing, place: Point) {
    let (a_mm, b_mm) = (boxing.a_mm, boxing.b_mm);
    let centre = place.plus(drawn.centre.point(eye));
    let along = drawn.axis.map(|axis| Point::polar(AXIS_MM, f64::from(axis.degrees())));
    // Writing to a String cannot fail.
    let _ = write!(
        svg,
        "<g><rect x=\"{:.3}\" y=\"{:.3}\" width=\"{a_mm:.3}\" height=\"{b_mm:.3}\" stroke-width=\"0.15\" \
         stroke-dasharray=\"1.5 1\"/><path d=\"{}\" stroke-width=\"0.35\"/><path d=\"{}\" stroke-width=\"0.2\"/>",
        place.x_mm - a_mm / 2.0,
        -place.y_mm - b_mm / 2.0,
        path_data(drawn.outline, place),
        cross(place, 2.0),
    );
    if let Some(along) = along {
        let _ = write!(
            svg,
            "<path d=\"M{}L{}\" stroke-width=\"0.25\" stroke-dasharray=\"4 1 1 1\"/>",
            coordinates(centre.minus(along)),
            coordinates(centre.plus(along)),
        );
    }
    let _ = write!(
        svg,
        "<path d=\"{}\" stroke-width=\"0.25\"/><circle cx=\"{:.3}\" cy=\"{:.3}\" r=\"1.5\" stroke-width=\"0.25\"/>\
         <text x=\"{:.3}\" y=\"{:.3}\" font-size=\"5\" font-weight=\"700\" text-anchor=\"middle\" fill=\"#000\" \
         stroke=\"none\">{}</text></g>",
        cross(centre, 3.0),
        centre.x_mm,
        -centre.y_mm,
        // The letter stands on the temple side, half way to the edge, clear of the optical centre.
        place.x_mm - eye.nasal_sign() * a_mm / 4.0,
        -place.y_mm - b_mm / 5.0,
        eye.letter(),
    );
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
        // Two circles of 40 mm, bridge 20, centred 2 in and 1 up: window 40 + 20 + 40 + 4 = 104 by 44.
        let outline = Outline::from_radii_mm(&[20.0; 400]).unwrap();
        let centre = Decentration { in_mm: 2.0, up_mm: 1.0 };
        let drawn = |axis: i32| Drawn { outline: &outline, centre, axis: Axis::new(axis).ok() };
        let svg = svg(Pair::new(drawn(180), drawn(90)), 20.0);
        assert!(svg.contains("width=\"104mm\" height=\"44mm\" viewBox=\"-52 -22 104 44\""), "{svg}");
        // Boxing centres at -30 and +30; in is towards the middle, up is less y.
        assert!(
            svg.contains("<circle cx=\"-28.000\" cy=\"-1.000\"") && svg.contains("<circle cx=\"28.000\" cy=\"-1.000\"")
        );
        // Axis 180 lies level, axis 90 stands.
        assert!(svg.contains("M-15 -1L-41 -1") && svg.contains("M28 12L28 -14"), "{svg}");
        let right = svg.find(">R<").unwrap();
        assert!(right < svg.find(">L<").unwrap() && !svg.contains("style"));
    }

    #[test]
    fn the_widest_pair_fits_a_letter_sheet() {
        // 8.5 in less two margins of 0.6 in.
        const { assert!(75.0 * 2.0 + 30.0 + 2.0 * ROOM_MM <= (8.5 - 1.2) * 25.4) };
    }
}
