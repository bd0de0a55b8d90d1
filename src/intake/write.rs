//! A shape as a file, in every format that is written. Each of them is read back by [`read_any`](super::read_any).

use askama::Template;
use clap::ValueEnum;

use super::IntakeError;
use crate::optics::{Eye, Pair};
use crate::shape::boxing::Boxing;
use crate::shape::dxf::{self, Layer};
use crate::shape::points_csv;
use crate::shape::record::{Assumptions, TraceFile, TraceForm, write_as};
use crate::shape::svg::{View, holes_data, path_data};

/// Lenses are drawn so far apart where the distance between them is not known: no frame is so wide, so a reader does not take
/// it for that distance.
const APART_MM: f64 = 60.0;
/// Room around a drawing.
const ROOM_MM: f64 = 0.5;

/// The formats of a written shape.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum WriteFormat {
    /// Interchange records as text (form 1).
    Text,
    /// Records, two bytes a number (form 2).
    Binary,
    /// Records, one byte a difference (form 3).
    Differences,
    /// Records, half a byte a difference (form 4).
    Packed,
    /// Rows of eye, x and y, and of the holes of a drilled mount.
    Points,
    /// An SVG drawing.
    Svg,
    /// A DXF drawing.
    Dxf,
}

impl WriteFormat {
    /// Every format.
    pub const ALL: [Self; 7] =
        [Self::Text, Self::Binary, Self::Differences, Self::Packed, Self::Points, Self::Svg, Self::Dxf];

    /// The format of a word in an address.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|format| format.word() == word)
    }

    /// Its word in an address.
    pub fn word(self) -> &'static str {
        match self {
            WriteFormat::Text => "text",
            WriteFormat::Binary => "binary",
            WriteFormat::Differences => "differences",
            WriteFormat::Packed => "packed",
            WriteFormat::Points => "points",
            WriteFormat::Svg => "svg",
            WriteFormat::Dxf => "dxf",
        }
    }

    /// The file of a shape.
    ///
    /// # Errors
    ///
    /// [`IntakeError::File`] where a drawing cannot be written.
    pub fn file_of(self, shape: &TraceFile, assumptions: &Assumptions) -> Result<Vec<u8>, IntakeError> {
        let records = |form| Ok(write_as(shape, form, assumptions));
        match self {
            WriteFormat::Text => records(TraceForm::Text),
            WriteFormat::Binary => records(TraceForm::Binary),
            WriteFormat::Differences => records(TraceForm::Differences),
            WriteFormat::Packed => records(TraceForm::Packed),
            WriteFormat::Points => {
                Ok(points_csv::table(&shape.outlines(), &shape.holes, &view_of(shape).centers).into_bytes())
            }
            WriteFormat::Svg => svg(shape),
            WriteFormat::Dxf => Ok(dxf(shape)),
        }
    }
}

/// Both lenses as they stand in the frame.
fn view_of(shape: &TraceFile) -> View {
    let boxing = shape.outlines().as_ref().map(Boxing::of);
    View::of_pair(&boxing, shape.dbl_mm.unwrap_or(APART_MM), ROOM_MM)
}

fn dxf(shape: &TraceFile) -> Vec<u8> {
    let (outlines, view) = (shape.outlines(), view_of(shape));
    let layers = Eye::BOTH.map(|eye| Layer {
        name: eye.name(),
        outline: outlines.get(eye),
        holes: shape.holes.get(eye),
        place: *view.centers.get(eye),
    });
    dxf::drawing(&layers).into_bytes()
}

/// A drawing of both outlines at true size.
#[derive(Template)]
#[template(path = "shapes/outlines.svg")]
struct OutlinesSvg {
    title: String,
    width: String,
    height: String,
    view_box: String,
    /// The eye, its path and that of its holes.
    paths: [(&'static str, String, String); 2],
}

fn svg(shape: &TraceFile) -> Result<Vec<u8>, IntakeError> {
    let (outlines, view): (Pair<_>, View) = (shape.outlines(), view_of(shape));
    let (width, height) = view.true_size();
    let drawing = OutlinesSvg {
        title: format!("{}, seen from the front, millimeters", shape.job.as_deref().unwrap_or("Shape")),
        width,
        height,
        view_box: view.view_box(),
        paths: Eye::BOTH.map(|eye| {
            let place = *view.centers.get(eye);
            (eye.name(), path_data(outlines.get(eye), place), holes_data(shape.holes.get(eye), place))
        }),
    };
    Ok(drawing.render().map_err(|why| IntakeError::File(why.to_string()))?.into_bytes())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::{ReadOptions, read_any};
    use crate::shape::hole::Hole;
    use crate::shape::outline::Point;
    use crate::shape::trace::{Angles, Trace};

    /// Two lenses that differ, one with a corner, with holes, a slot among them.
    fn drilled() -> TraceFile {
        let trace = |eye: Eye, a_mm: f64| {
            let radius = |i: i32| {
                let (sin, cos) = (f64::from(i) * 0.9).to_radians().sin_cos();
                let corner = if (80..100).contains(&i) { 0.6 } else { 0.0 };
                ((a_mm * 18.0 / (18.0 * cos).hypot(a_mm * sin) + corner) * 100.0).round() as i32
            };
            Trace::new(eye, (0..400).map(radius).collect(), Angles::Equal).unwrap()
        };
        let hole = |x_mm, y_mm| Hole { at: Point::new(x_mm, y_mm), slot_end: None, diameter_mm: 1.4 };
        let slot = Hole { slot_end: Some(Point::new(18.5, -1.5)), ..hole(20.5, -1.0) };
        TraceFile {
            job: Some("1042".to_owned()),
            dbl_mm: Some(17.3),
            holes: Pair::new(vec![hole(-21.5, 2.0), slot], vec![hole(21.0, 2.0)]),
            ..TraceFile::of_traces(Pair::new(trace(Eye::Right, 26.0), trace(Eye::Left, 25.5)), None)
        }
    }

    #[test]
    fn every_format_is_read_back() {
        let shape = drilled();
        let want = shape.outlines();
        for format in WriteFormat::ALL {
            let bytes = format.file_of(&shape, &Assumptions::default()).unwrap();
            let back = read_any(&bytes, &ReadOptions::default()).unwrap_or_else(|why| panic!("{format:?}: {why}"));
            assert_eq!((back.derived, back.warnings.len()), (None, 0), "{format:?}");
            assert!((back.dbl_mm.unwrap() - 17.3).abs() < 0.005, "{format:?}: {:?}", back.dbl_mm);
            for (eye, outline) in back.outlines().iter() {
                let size = (Boxing::of(outline), Boxing::of(want.get(eye)));
                assert!((size.0.a_mm - size.1.a_mm).abs() < 0.011, "{format:?}: {size:?}");
                assert!((size.0.b_mm - size.1.b_mm).abs() < 0.011, "{format:?}: {size:?}");
                let worst_mm = (0..720)
                    .map(|i| f64::from(i) / 2.0)
                    .map(|deg| (outline.radius_at_mm(deg) - want.get(eye).radius_at_mm(deg)).abs())
                    .fold(0.0, f64::max);
                // Where the radius jumps by 0.6 mm from one point to the next, a direction off by 0.02° is 0.02 mm.
                assert!(worst_mm < 0.03, "{format:?}: {worst_mm}");
                check_holes(format, back.holes.get(eye), shape.holes.get(eye));
            }
        }
    }

    /// The records have them to the hundredth.
    fn check_holes(format: WriteFormat, found: &[Hole], want: &[Hole]) {
        assert_eq!(found.len(), want.len(), "{format:?}: {found:?}");
        for hole in want {
            let is_same = |other: &&Hole| {
                let off_mm = other.at.minus(hole.at).length_mm().max(other.end().minus(hole.end()).length_mm());
                off_mm < 0.02 && (other.diameter_mm - hole.diameter_mm).abs() < 0.02
            };
            assert!(found.iter().any(|other| is_same(&other)), "{format:?}: {hole:?} in {found:?}");
        }
    }

    #[test]
    fn an_unknown_distance_between_the_lenses_stays_unknown() {
        let shape = TraceFile { dbl_mm: None, ..drilled() };
        for format in WriteFormat::ALL {
            let bytes = format.file_of(&shape, &Assumptions::default()).unwrap();
            assert_eq!(read_any(&bytes, &ReadOptions::default()).unwrap().dbl_mm, None, "{format:?}");
        }
    }

    #[test]
    fn a_format_has_a_word() {
        for format in WriteFormat::ALL {
            assert_eq!(WriteFormat::from_word(format.word()), Some(format));
        }
        assert_eq!(WriteFormat::from_word("pdf"), None);
    }
}
