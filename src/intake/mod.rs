//! Every way a shape comes in: picks the reader of a file, and says what it read as JSON. `rimbook shape` is here.
//!
//! * [`read_any`] – the one function that picks the reader.
//! * [`json`] – a shape as JSON, both ways.
//! * [`write`](mod@write) – a shape as a file, in every format that is written.
//! * [`command`] – the command line, `rimbook shape read` and `rimbook shape write`.

pub mod command;
pub mod json;
pub mod write;

use clap::ValueEnum;
use thiserror::Error;

use crate::picture::{self, Ask, PictureRefused, Scale, Subject};
use crate::shape::drawing::{self, DrawingKind, DrawingRefused, Placed, Unit};
use crate::shape::record::{self, Assumptions, FileKind, RecordFault, TraceFile};

/// The largest file taken. Each reader has its own limit too.
pub const MAX_BYTES: usize = picture::MAX_BYTES;

/// What a file is. Without it the contents decide.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// Interchange records.
    Records,
    /// A plain table of radii.
    Table,
    /// An SVG drawing.
    Svg,
    /// A DXF drawing, text form.
    Dxf,
    /// Rows of x and y, or of angle and radius.
    Points,
    /// A scan or a photo.
    Picture,
}

impl Format {
    /// What the contents look like.
    pub fn of(bytes: &[u8]) -> Self {
        if picture::format_of(bytes).is_some() {
            return Format::Picture;
        }
        match drawing::kind_of(bytes) {
            Some(DrawingKind::Svg) => Format::Svg,
            Some(DrawingKind::Dxf) => Format::Dxf,
            Some(DrawingKind::Points) => Format::Points,
            None => match FileKind::of(bytes) {
                FileKind::Records => Format::Records,
                FileKind::Table => Format::Table,
            },
        }
    }
}

/// What the caller knows of a file.
#[derive(Debug, Clone, Default)]
pub struct ReadOptions {
    /// What it is, where that was said.
    pub format: Option<Format>,
    /// What its device does otherwise.
    pub assumptions: Assumptions,
    /// The unit of a drawing that does not state one.
    pub unit: Option<Unit>,
    /// What says how large a picture is. Default: the resolution in the file.
    pub scale: Option<Scale>,
    /// Lens or rim.
    pub subject: Subject,
    /// The eye of a single outline, how far it is turned to be level, and from where it is seen.
    pub placed: Placed,
}

/// Why nothing was read or written. One line.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum IntakeError {
    /// The faults of a trace file or table.
    #[error("{}", first_of(.0))]
    Records(Vec<RecordFault>),
    /// A drawing that gives no shape.
    #[error("{0}")]
    Drawing(#[from] DrawingRefused),
    /// A picture that gives no shape.
    #[error("{0}")]
    Picture(#[from] PictureRefused),
    /// The JSON of a shape that is to be written.
    #[error("{field}: {problem}")]
    Json {
        /// The field as a path, `eyes.right.radii_mm`.
        field: String,
        /// What is wrong and what was expected.
        problem: String,
    },
    /// An assumption that cannot be switched so.
    #[error("--assume: {0}")]
    Assumption(String),
    /// A file that cannot be opened, or is too large.
    #[error("{0}")]
    File(String),
}

/// The first fault in the order of the lines, and how many follow.
pub fn first_of(faults: &[RecordFault]) -> String {
    let first = faults.first().map_or_else(String::new, ToString::to_string);
    match faults.len().saturating_sub(1) {
        0 => first,
        more => format!("{first} (and {more} more)"),
    }
}

/// Reads a shape from the bytes of a file of any kind.
///
/// # Errors
///
/// [`IntakeError`] with every fault of the file.
pub fn read_any(bytes: &[u8], options: &ReadOptions) -> Result<TraceFile, IntakeError> {
    let recorded = |kind| record::read_as(bytes, kind, &options.assumptions).map_err(IntakeError::Records);
    let drawn = |kind| Ok(drawing::read(bytes, kind, options.unit, options.placed)?);
    match options.format.unwrap_or_else(|| Format::of(bytes)) {
        Format::Records => recorded(FileKind::Records),
        Format::Table => recorded(FileKind::Table),
        Format::Svg => drawn(DrawingKind::Svg),
        Format::Dxf => drawn(DrawingKind::Dxf),
        Format::Points => drawn(DrawingKind::Points),
        Format::Picture => {
            let ask = Ask { scale: options.scale.unwrap_or(Scale::OfTheFile), subject: options.subject };
            Ok(picture::read(bytes, &ask)?.traces(options.placed)?)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shape::boxing::Boxing;

    #[test]
    fn the_contents_say_what_a_file_is() {
        let xy: String = (0..36).map(|i| format!("{},{}\n", 20 - i, i)).collect();
        for (bytes, want) in [
            (&b"TRCFMT=1;36;E;R;F\r\nR=1"[..], Format::Records),
            (b"25.1\n25.2\n", Format::Table),
            (b"<?xml version=\"1.0\"?>\n<svg width=\"9mm\"/>", Format::Svg),
            (b"  0\r\nSECTION\r\n  2\r\nHEADER\r\n", Format::Dxf),
            (xy.as_bytes(), Format::Points),
            (b"\x89PNG\r\n\x1a\n", Format::Picture),
            (b"\xff\xd8\xff\xe0", Format::Picture),
        ] {
            assert_eq!(Format::of(bytes), want);
        }
    }

    #[test]
    fn a_drawing_is_read_with_what_is_known_of_it() {
        let svg =
            b"<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 60 50\"><rect x=\"4\" y=\"6\" width=\"52\" \
                    height=\"38\" rx=\"15\"/></svg>";
        let refused = read_any(svg, &ReadOptions::default()).unwrap_err().to_string();
        assert!(refused.contains("does not say its unit"), "{refused}");
        let placed = Placed { level_deg: 90.0, ..Placed::default() };
        let file = read_any(svg, &ReadOptions { unit: Some(Unit::Mm), placed, ..ReadOptions::default() }).unwrap();
        let size = Boxing::of(&file.outlines().right);
        assert!((size.a_mm - 38.0).abs() < 0.02 && (size.b_mm - 52.0).abs() < 0.02, "{size:?}");
    }

    #[test]
    fn a_picture_without_a_scale_is_refused() {
        let refused = read_any(b"\x89PNG\r\n\x1a\n", &ReadOptions::default()).unwrap_err();
        assert!(matches!(refused, IntakeError::Picture(PictureRefused::Damaged)), "{refused}");
    }
}
