//! Both outlines of a shape at true size, with the figures of their boxes.

use askama::Template;

use super::outline::{Drawn, PairDrawing};
use super::paper::ShapeTop;
use crate::desk::drilling::HoleTableRow;
use crate::desk::frame_shape::FrameShape;
use crate::optics::notation::long;
use crate::optics::{Eye, Pair};
use crate::shape::boxing::Boxing;
use crate::shape::layout::{Decentration, frame_pd_mm};

/// The sheet.
#[derive(Debug, Clone, PartialEq, Eq, Template)]
#[template(path = "print/shape_sheet.html")]
pub struct ShapeSheet {
    /// What stands on every sheet of a shape.
    pub top: ShapeTop,
    /// Both shapes at true size.
    pub outlines: PairDrawing,
    /// Right, then left.
    pub eyes: [EyeSizes; 2],
    /// The places of the holes of a drilled mount.
    pub holes: Vec<HoleTableRow>,
    /// The distance between the lenses.
    pub dbl: String,
    /// The distance between the boxing centers.
    pub frame_pd: String,
}

/// The figures of one outline.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EyeSizes {
    /// `R` or `L`.
    pub letter: &'static str,
    /// `right` or `left`.
    pub name: &'static str,
    /// A, B, ED and circumference, each with its name.
    pub figures: [(&'static str, String); 4],
}

impl ShapeSheet {
    /// The sheet of a shape.
    pub fn of(top: ShapeTop, shape: &FrameShape) -> Self {
        let (outlines, holes, dbl_mm) = (shape.outlines(), shape.holes_on_lenses(), shape.dbl.to_f64());
        let drawn = |eye: Eye| Drawn {
            outline: outlines.get(eye),
            holes: holes.get(eye),
            center: Decentration::default(),
            axis: None,
            is_made: false,
        };
        let boxing = outlines.as_ref().map(Boxing::of);
        Self {
            top,
            outlines: PairDrawing::of(Pair::new(drawn(Eye::Right), drawn(Eye::Left)), dbl_mm),
            eyes: Eye::BOTH.map(|eye| EyeSizes::of(eye, boxing.get(eye))),
            dbl: long(dbl_mm),
            holes: HoleTableRow::of(&shape.holes),
            frame_pd: long(frame_pd_mm(&boxing.right, &boxing.left, dbl_mm)),
        }
    }
}

impl EyeSizes {
    fn of(eye: Eye, boxing: &Boxing) -> Self {
        let figures = [
            ("A, width", long(boxing.a_mm)),
            ("B, height", long(boxing.b_mm)),
            ("ED", long(boxing.ed_mm)),
            ("Circumference, flat", long(boxing.circumference_mm)),
        ];
        Self { letter: eye.letter(), name: eye.name(), figures }
    }
}
