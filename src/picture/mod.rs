//! Pictures: from a scan or a photo of a demo lens, or of the empty rim, to its outline in millimeters; and from a photo of
//! a face to the pupil distance. Pure: of this crate it imports [`crate::optics`] and [`crate::shape`].
//!
//! # How a picture is read
//!
//! 1. `decode` – bytes to brightness, within limits of size and memory. `density` – the resolution a file states; `jpeg` –
//!    the segments of that format.
//! 2. `card` – the card of standard size that gives the scale and undoes perspective; [`plane`] – the projection.
//! 3. `region` – what a closed line of steep brightness separates from the background, on a small copy of the picture.
//! 4. `find` – which of these are lenses, and why not.
//! 5. `edge` – the edge to a fraction of a pixel, in rows along its normals (`strip`); `choose` – which of several
//!    edges; `profile` – the course of the brightness across it (`rows`), to which a `step` is fitted; `dust` – what covers the edge.
//!
//! [`face`] reads nothing by itself: it computes from marks that a person has set.
//!
//! # What this room does not do
//!
//! It does not level: which way a lens is turned is not seen in its outline. It does not know lens distortion of a camera,
//! nor that the edge of a lens stands higher than the card; from 40 cm and more both stay small. It never guesses a scale.
#![deny(missing_docs)]

mod card;
mod choose;
mod decode;
mod density;
mod dust;
mod edge;
pub mod face;
mod find;
mod gray;
mod jpeg;
pub mod plane;
mod profile;
mod refused;
mod region;
mod rows;
mod step;
mod strip;

use std::fmt;

use image::ImageFormat;

pub use card::{CARD_MM, TILT_DEG};
pub use gray::{Gray, Pixel};
pub use refused::PictureRefused;

use crate::shape::drawing::{DrawingRefused, DrawnLens, Placed, traces};
use crate::shape::outline::Point;
use crate::shape::record::{TraceFile, Warning, WarningKind};
use plane::Plane;
use region::Wanted;

/// The longest file that is read.
pub const MAX_BYTES: usize = 40 << 20;
/// The resolutions of scanners.
pub const DPI_RANGE: std::ops::RangeInclusive<f64> = 100.0..=2400.0;
/// A pixel that covers more than this is too coarse for a lens, mm.
const COARSEST_MM: f64 = 0.3;
/// Marks on a ruler are at least so far apart.
const LEAST_RULER_MM: f64 = 20.0;
const LEAST_RULER_PX: f64 = 150.0;
/// Resolutions that screens and cameras write without meaning.
const MEANINGLESS_DPI: [f64; 2] = [72.0, 96.0];

/// What says how large the picture is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Scale {
    /// The file's own resolution, if a scanner can have stated it.
    OfTheFile,
    /// The resolution of a scan, dots for each inch.
    Dpi(f64),
    /// Two marks on a ruler beside the lens.
    Ruler {
        /// One mark.
        from: Pixel,
        /// The other.
        to: Pixel,
        /// The distance between them.
        mm: f64,
    },
    /// A card of standard size in the picture, to be found.
    Card,
    /// The four corners of such a card, in any order.
    CardCorners([Pixel; 4]),
}

/// What the picture shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Subject {
    /// A lens: its outer edge is the outline.
    #[default]
    Lens,
    /// An empty rim: its inner edge is the outline.
    Rim,
}

/// What is to be read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ask {
    /// The scale.
    pub scale: Scale,
    /// Lens or rim.
    pub subject: Subject,
}

/// Something that should be known of a reading.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Note {
    /// The scale is the resolution in the file.
    ScaleOfTheFile(f64),
    /// The file states another resolution.
    OtherDpi {
        /// The one used.
        used: f64,
        /// The one in the file.
        in_file: f64,
    },
    /// The camera was tilted more than is good.
    Tilted(f64),
    /// The card has square corners.
    SquareCard,
    /// The length of the card over its height, which is not that of the standard size.
    OtherCard(f64),
    /// The card is as bright as the table, and its color is seen less sharply.
    CardByColor,
    /// So many sides of the card are not seen beside the marks on its corners.
    UnseenSides(usize),
    /// The card lies level, and so does the outline.
    LevelWithCard,
    /// Two lenses were found: the left one in the picture is the right eye.
    Pair,
    /// The picture is so blurred or noisy, or dust lies so along the edge, that the outline may be off by so many millimeters.
    Unsure(f64),
    /// The edge is uneven by so many millimeters: dust, or a scratched lens.
    Dusty(f64),
    /// Another line runs beside a part of the outline, so many millimeters away.
    SecondLine(f64),
    /// A band so wide in millimeters runs along the edge of what was said to be a lens.
    LikeARim(f64),
    /// The dark line outside of what was said to be an opening is only so wide in millimeters.
    LikeALens(f64),
    /// Something is seen inside of the outline: a lamp, a print, or it is no lens.
    Marked,
}

impl Note {
    /// Whether it makes the reading doubtful.
    pub fn is_doubt(&self) -> bool {
        *self != Note::LevelWithCard
    }
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Note::ScaleOfTheFile(dpi) => {
                write!(f, "The scale is the {dpi:.0} dpi that the file states: compare the width with the lens once")
            }
            Note::OtherDpi { used, in_file } => {
                write!(f, "The file states {in_file:.0} dpi; the {used:.0} dpi you stated are used")
            }
            Note::Tilted(deg) => {
                write!(
                    f,
                    "The camera sees the card from the side, by about {deg:.0}°: measure the width of the lens too"
                )
            }
            Note::SquareCard => write!(
                f,
                "The card's corners look square, and those of a bank or identity card are round: is it 85.60 by 53.98 mm?"
            ),
            Note::OtherCard(ratio) => write!(
                f,
                "The card looks {ratio:.3} times as long as it is high, and a bank or identity card is 1.586 times: if it is not \
                 85.60 by 53.98 mm, the outline has the wrong size"
            ),
            Note::CardByColor => write!(
                f,
                "The card is as bright as the table and was found by its color: the outline may be off by 0.5 mm. Look whether the \
                 lines lie on its sides, or mark its corners"
            ),
            Note::UnseenSides(count) => write!(
                f,
                "{count} of the 4 sides of the card are not seen clearly beside your marks: the size is only as exact as the marks"
            ),
            Note::LevelWithCard => {
                write!(f, "The outline is level with the card: turn it if the lens lies turned beside it")
            }
            Note::Pair => write!(f, "Two lenses were found: the left one in the picture is used as the right eye"),
            Note::Marked => write!(
                f,
                "Something is seen inside of the outline, a reflection or a print: look whether the line lies on the edge all \
                 around"
            ),
            Note::SecondLine(mm) => write!(
                f,
                "Another line runs beside a part of the edge, about {mm:.1} mm from it: the other side of a bevel, or a shadow. Look \
                 whether the outline lies on the outer edge of the lens all around; for a scan, turn the lens and scan it again"
            ),
            Note::LikeARim(mm) => write!(
                f,
                "A band of {mm:.1} mm runs along the edge: if this is an empty rim, say so, or the outline is that of its outside"
            ),
            Note::LikeALens(mm) => write!(
                f,
                "The line around the opening is only {mm:.1} mm wide: if this is a lens, say so, or the outline is that much too small"
            ),
            Note::Unsure(mm) => {
                write!(
                    f,
                    "The picture is blurred or noisy, or a fiber lies along the edge: the outline may be off by "
                )?;
                match *mm > MOST_STATED_MM {
                    true => write!(f, "more than {MOST_STATED_MM:.0} mm")?,
                    false => write!(f, "{mm:.2} mm")?,
                }
                write!(
                    f,
                    ". Compare it with the lens, or clean the lens and take a sharper picture; for a scan, press it flat on clean \
                     glass"
                )
            }
            Note::Dusty(mm) => {
                write!(
                    f,
                    "The edge is uneven by about {mm:.2} mm: clean the lens and the glass if the shape looks rough"
                )
            }
        }
    }
}

/// The outline of one lens in a picture.
#[derive(Debug, Clone, PartialEq)]
pub struct SeenLens {
    /// The edge in the plane, about the middle of its box: x to the right in the picture, y up, counter-clockwise.
    pub points: Vec<Point>,
    /// The middle of its box in the plane.
    pub middle: Point,
}

/// What was read from a picture.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// One lens, or two from left to right.
    pub lenses: Vec<SeenLens>,
    /// Where the plane of the lens lies in the picture.
    pub plane: Plane,
    /// Pixels across and down, upright.
    pub size_px: (usize, usize),
    /// What should be known.
    pub notes: Vec<Note>,
}

impl Reading {
    /// The traces of the lenses, and what should be known as warnings.
    ///
    /// # Errors
    ///
    /// [`DrawingRefused`] for an outline that, once leveled, is not that of a lens.
    pub fn traces(&self, placed: Placed) -> Result<TraceFile, DrawingRefused> {
        let lenses: Vec<DrawnLens> = self.lenses.iter().map(|lens| DrawnLens::undrilled(lens.in_the_plane())).collect();
        // Two lenses on the glass of a scanner are not as far apart as in the frame.
        let mut file = traces(&lenses, placed, false)?;
        let note = |note: &Note| Warning { line: None, kind: WarningKind::Picture(note.to_string()) };
        file.warnings.extend(self.notes.iter().filter(|note| note.is_doubt()).map(note));
        Ok(file)
    }
}

impl SeenLens {
    /// The edge where it lies in the plane.
    pub fn in_the_plane(&self) -> Vec<Point> {
        self.points.iter().map(|point| point.plus(self.middle)).collect()
    }
}

/// Edges more uneven than this are mentioned, mm.
const UNEVEN_MM: f64 = 0.05;

/// An outline is expected to be this exact from a scan and from a photo with a card; one that may be farther off says so, mm.
const EXPECTED_MM: (f64, f64) = (0.05, 0.25);

/// Beyond this the edge is lost, and how far it may be off is not known, mm.
const MOST_STATED_MM: f64 = 1.0;
/// A band wider than the first runs along a rim, and the dark line of a lens is narrower than the second, mm (from memory).
const BAND_MM: (f64, f64) = (1.8, 1.0);

/// Which kind of picture the bytes are, if one that is read.
pub fn format_of(bytes: &[u8]) -> Option<ImageFormat> {
    match bytes {
        [0x89, b'P', b'N', b'G', b'\r', b'\n', ..] => Some(ImageFormat::Png),
        [0xff, 0xd8, 0xff, ..] => Some(ImageFormat::Jpeg),
        [b'I', b'I', 42, 0, ..] | [b'M', b'M', 0, 42, ..] => Some(ImageFormat::Tiff),
        [b'B', b'M', ..] if bytes.len() > 54 && bytes[6..10] == [0; 4] => Some(ImageFormat::Bmp),
        _ => None,
    }
}

/// Reads a picture.
///
/// # Errors
///
/// [`PictureRefused`]: what is wrong with the file, its scale, or what it shows. Whatever is doubtful is refused.
pub fn read(bytes: &[u8], ask: &Ask) -> Result<Reading, PictureRefused> {
    let decoded = decode::decode(bytes, ask.scale == Scale::Card)?;
    let scaled = scaled(&decoded, ask.scale)?;
    let pitch_mm = pitch_mm(&scaled.plane, &decoded.gray);
    if pitch_mm > COARSEST_MM {
        return Err(PictureRefused::Coarse(pitch_mm));
    }
    let wanted = match ask.subject {
        Subject::Lens => Wanted::Body,
        Subject::Rim => Wanted::Opening,
    };
    let find = |gray: &Gray| find::find(gray, &scaled.plane, wanted, scaled.card);
    let found = find(&decoded.gray).or_else(|why| match &decoded.darkest {
        Some(darkest) => find(darkest).map_err(|_| why),
        None => Err(why),
    })?;
    let mut notes = scaled.notes;
    notes.extend((found.len() == 2).then_some(Note::Pair));
    let uneven = found.iter().map(|lens| lens.edge.spread_mm).fold(0.0, f64::max);
    let unsure = found.iter().map(|lens| lens.edge.unsure_mm).fold(0.0, f64::max);
    let second = found.iter().map(|lens| lens.edge.second_mm).fold(0.0, f64::max);
    notes.extend((second > 0.0).then_some(Note::SecondLine(second)));
    let expected = if scaled.card.is_some() { EXPECTED_MM.1 } else { EXPECTED_MM.0 };
    notes.extend((unsure > expected).then_some(Note::Unsure(unsure)));
    notes.extend(found.iter().find_map(|lens| band_note(lens.edge.band_mm?, wanted)));
    notes.extend((uneven > UNEVEN_MM).then_some(Note::Dusty(uneven)));
    notes.extend(found.iter().any(|lens| lens.is_marked).then_some(Note::Marked));
    let seen = |lens: find::FoundLens| SeenLens { points: lens.outline.points().to_vec(), middle: lens.middle };
    Ok(Reading {
        lenses: found.into_iter().map(seen).collect(),
        plane: scaled.plane,
        size_px: (decoded.gray.width, decoded.gray.height),
        notes,
    })
}

fn band_note(band_mm: f64, wanted: Wanted) -> Option<Note> {
    match wanted {
        Wanted::Body => (band_mm > BAND_MM.0).then_some(Note::LikeARim(band_mm)),
        Wanted::Opening => (band_mm < BAND_MM.1).then_some(Note::LikeALens(band_mm)),
    }
}

/// Pixels across and down of a picture, upright as a browser shows it.
///
/// # Errors
///
/// [`PictureRefused`] for a file that cannot be read.
pub fn size_px(bytes: &[u8]) -> Result<(usize, usize), PictureRefused> {
    decode::size_px(bytes)
}

/// The resolution that a file states, if it can be that of a scan.
pub fn stated_dpi(bytes: &[u8]) -> Option<f64> {
    dpi_of_the_file(&density::stated(bytes)).ok()
}

/// Pixels across and down of a picture that states more than a page can show: a short file can state any number. `None` of
/// any other file.
pub fn too_many_px(bytes: &[u8]) -> Option<(u32, u32)> {
    decode::too_many_px(bytes)
}

/// The corners of a card of standard size, clockwise as seen from the top left, if one is found.
pub fn card_corners(bytes: &[u8]) -> Option<[Pixel; 4]> {
    let decoded = decode::decode(bytes, true).ok()?;
    card::find_card(decoded.channels()).ok().map(|card| card.corners)
}

fn pitch_mm(plane: &Plane, gray: &Gray) -> f64 {
    let center = Pixel::new(gray.width as f64 / 2.0, gray.height as f64 / 2.0);
    plane.pitch_mm(plane.to_mm(center)).1
}

/// The plane, the card's corners where nothing else is looked for, and what should be known of the scale.
struct Scaled {
    plane: Plane,
    card: Option<[Pixel; 4]>,
    notes: Vec<Note>,
}

impl Scaled {
    fn flat(pitch_mm: f64, note: Option<Note>) -> Self {
        Self { plane: Plane::flat(pitch_mm), card: None, notes: note.into_iter().collect() }
    }

    fn by_card(card: card::Card) -> Self {
        let mut notes = Vec::new();
        notes.extend((card.tilt_deg > TILT_DEG.0).then_some(Note::Tilted(card.tilt_deg)));
        notes.extend((!card.is_round).then_some(Note::SquareCard));
        notes.extend(card.other_format.map(Note::OtherCard));
        notes.extend(card.is_by_color.then_some(Note::CardByColor));
        notes.extend((card.sides_by_marks > 0).then_some(Note::UnseenSides(card.sides_by_marks)));
        notes.extend(card.is_level.then_some(Note::LevelWithCard));
        Self { plane: card.plane, card: Some(card.corners), notes }
    }
}

fn scaled(decoded: &decode::Decoded, scale: Scale) -> Result<Scaled, PictureRefused> {
    let in_file = decoded.stated.dpi.filter(|_| !decoded.stated.is_photo);
    match scale {
        Scale::OfTheFile => {
            let dpi = dpi_of_the_file(&decoded.stated)?;
            Ok(Scaled::flat(25.4 / dpi, Some(Note::ScaleOfTheFile(dpi))))
        }
        Scale::Dpi(dpi) if !DPI_RANGE.contains(&dpi) => Err(PictureRefused::Dpi(dpi)),
        Scale::Dpi(used) => {
            if let Some((across, down)) = in_file.filter(|(across, down)| is_meant(*across) && is_meant(*down)) {
                same_both_ways(across, down)?;
            }
            let other = in_file.map(|(across, _)| across).filter(|in_file| is_meant(*in_file));
            let other = other.filter(|in_file| (in_file / used - 1.0).abs() > 0.01);
            Ok(Scaled::flat(25.4 / used, other.map(|in_file| Note::OtherDpi { used, in_file })))
        }
        Scale::Ruler { from, to, mm } => Ok(Scaled::flat(ruler_pitch_mm(&decoded.gray, from, to, mm)?, None)),
        Scale::Card => card::find_card(decoded.channels()).map(Scaled::by_card),
        Scale::CardCorners(corners) => card::marked_card(&decoded.gray, corners).map(Scaled::by_card),
    }
}

fn is_meant(dpi: f64) -> bool {
    DPI_RANGE.contains(&dpi) && MEANINGLESS_DPI.iter().all(|screen| (dpi - screen).abs() > 0.5)
}

fn same_both_ways(across: f64, down: f64) -> Result<(), PictureRefused> {
    let is_same = (across / down - 1.0).abs() < 0.005;
    if is_same { Ok(()) } else { Err(PictureRefused::DpiUnequal { across, down }) }
}

/// The resolution in the file, if it says anything.
fn dpi_of_the_file(stated: &density::StatedDensity) -> Result<f64, PictureRefused> {
    let (across, down) = stated.dpi.ok_or(PictureRefused::NoScale)?;
    same_both_ways(across, down)?;
    if stated.is_photo || !is_meant(across) {
        return Err(PictureRefused::DpiDoubtful(across));
    }
    // A file in dots for each meter or centimeter has lost the whole number.
    Ok(if (across - across.round()).abs() < 0.4 { across.round() } else { across })
}

fn ruler_pitch_mm(gray: &Gray, from: Pixel, to: Pixel, mm: f64) -> Result<f64, PictureRefused> {
    let px = from.away_px(to);
    if !mm.is_finite() || !px.is_finite() || !gray.holds(from, 0.0) || !gray.holds(to, 0.0) {
        return Err(PictureRefused::Ruler("the marks on the ruler must lie in the picture, with a length in mm"));
    }
    if mm < LEAST_RULER_MM || px < LEAST_RULER_PX {
        return Err(PictureRefused::Ruler(
            "the marks on the ruler are too near to each other: mark 50 mm or more, at least 20",
        ));
    }
    Ok(mm / px)
}
