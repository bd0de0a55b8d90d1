//! A strip as long as the circumference, to wrap around a cut lens.

use std::fmt::Write;

use askama::Template;

use super::paper::ShapeTop;
use super::window::Window;
use crate::optics::notation::long;
use crate::optics::{Eye, Pair};

/// The longest piece that fits across a letter sheet, with its tab.
const LONGEST_MM: f64 = 165.0;
/// The height of the strip: as high as a usual edge is thick, so that it follows the edge.
const HEIGHT_MM: f64 = 5.0;
/// The tab under which the other end goes.
const TAB_MM: f64 = 10.0;
/// The scale reaches so far to either side of the end.
const SCALE_MM: i32 = 4;
/// How much shorter a strip of this paper reads: it is bent around the lens at half its thickness, so by π times its
/// thickness. Source: geometry; 0.1 mm is the usual thickness of office paper (from memory).
pub const PAPER_ADDS_MM: f64 = std::f64::consts::PI * 0.1;

/// The sheet.
#[derive(Debug, Clone, PartialEq, Eq, Template)]
#[template(path = "print/strip.html")]
pub struct StripSheet {
    /// What stands on every sheet of a shape.
    pub top: ShapeTop,
    /// The pieces of both eyes.
    pub pieces: Vec<StripPiece>,
    /// How much the thickness of the paper adds.
    pub paper_adds: String,
}

/// A piece of a strip.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StripPiece {
    /// `R` or `L`.
    pub letter: &'static str,
    /// What it is.
    pub words: String,
    /// The length from line to line.
    pub length: String,
    /// Width of the drawing, with its unit.
    pub width: String,
    /// Height, with its unit.
    pub height: String,
    /// The window.
    pub view_box: String,
    /// The border, to cut along; open toward the tab.
    pub border: String,
    /// The lines at both ends.
    pub ends: String,
    /// The ticks about the end, of the last piece.
    pub scale: String,
    /// Where the marks of the scale stand.
    pub scale_words: Vec<(String, String)>,
}

impl StripSheet {
    /// The sheet of a shape with these circumferences.
    pub fn of(top: ShapeTop, circumference_mm: Pair<f64>) -> Self {
        let pieces = Eye::BOTH.into_iter().flat_map(|eye| pieces(eye, *circumference_mm.get(eye))).collect();
        Self { top, pieces, paper_adds: format!("{PAPER_ADDS_MM:.1}") }
    }
}

fn pieces(eye: Eye, circumference_mm: f64) -> Vec<StripPiece> {
    let count = (circumference_mm / LONGEST_MM).ceil().max(1.0);
    let length_mm = circumference_mm / count;
    let whole = long(circumference_mm);
    let count = count as usize;
    let piece = |index: usize| {
        let words = match count {
            1 => format!("{} {whole} mm", eye.letter()),
            _ => format!("{} {whole} mm, piece {} of {count}", eye.letter(), index + 1),
        };
        StripPiece::of(eye, length_mm, words, index + 1 == count)
    };
    (0..count).map(piece).collect()
}

impl StripPiece {
    fn of(eye: Eye, length_mm: f64, words: String, is_last: bool) -> Self {
        let (left_mm, top_mm) = (2.0, 4.0);
        let end_mm = length_mm + TAB_MM;
        let mut scale = String::new();
        let mut scale_words = Vec::new();
        if is_last {
            for half in -2 * SCALE_MM..=2 * SCALE_MM {
                let (x_mm, long) = (length_mm + f64::from(half) / 2.0, if half % 2 == 0 { 2.0 } else { 1.2 });
                // Writing to a String cannot fail.
                let _ = write!(scale, "M{x_mm:.3} 0v{long}");
            }
            let marks = [(-SCALE_MM, format!("−{SCALE_MM}")), (0, "0".to_owned()), (SCALE_MM, format!("+{SCALE_MM}"))];
            scale_words = marks.map(|(mm, words)| (format!("{:.3}", length_mm + f64::from(mm)), words)).to_vec();
        }
        let Window { width, height, view_box } =
            Window::of(-left_mm, -top_mm, end_mm + 2.0 * left_mm, HEIGHT_MM + top_mm + 1.0);
        Self {
            letter: eye.letter(),
            words,
            length: format!("{length_mm:.3}"),
            width,
            height,
            view_box,
            border: format!("M0 0H{end_mm:.3}V{HEIGHT_MM}H0"),
            ends: format!("M0 0V{HEIGHT_MM}M{length_mm:.3} 0V{HEIGHT_MM}"),
            scale,
            scale_words,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_strip_that_is_too_long_comes_in_equal_pieces() {
        let one = pieces(Eye::Right, 141.8);
        assert_eq!((one.len(), one[0].length.as_str(), one[0].words.as_str()), (1, "141.800", "R 141.80 mm"));
        assert_eq!(one[0].scale.matches('M').count(), 17);
        let two = pieces(Eye::Left, 235.62);
        assert_eq!(two.iter().map(|p| p.length.as_str()).collect::<Vec<_>>(), ["117.810", "117.810"]);
        assert!(two[0].scale.is_empty() && two[1].words.ends_with("piece 2 of 2"));
    }

    #[test]
    fn the_longest_piece_fits_a_letter_sheet() {
        // 8.5 in less two margins of 0.6 in.
        const { assert!(LONGEST_MM + TAB_MM + 4.0 <= (8.5 - 1.2) * 25.4) };
    }
}
