//! Why a picture gives no outline.

use thiserror::Error;

/// Why a picture gives no outline, with what to do.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum PictureRefused {
    /// The bytes are of no kind of picture that is read.
    #[error("this is not a picture that can be read: save it as PNG, JPEG, TIFF or BMP")]
    NotAPicture,
    /// The file is longer than any picture that is read.
    #[error("the file has {} MB; at most {} are read: scan the lens alone, at 300 dpi", .0 >> 20, super::MAX_BYTES >> 20)]
    FileTooLarge(usize),
    /// More pixels than are read.
    #[error("the picture is {width} by {height} pixels, too large to read: scan the lens alone, at 300 dpi")]
    TooLarge {
        /// Pixels across.
        width: u32,
        /// Pixels down.
        height: u32,
    },
    /// Too few pixels for a lens.
    #[error("the picture is only {width} by {height} pixels: a lens needs 200 at least")]
    TooSmall {
        /// Pixels across.
        width: u32,
        /// Pixels down.
        height: u32,
    },
    /// The file ends early or contradicts itself.
    #[error("the picture is damaged or ends early: send the file again, or save it anew as PNG or JPEG")]
    Damaged,
    /// A rare kind of one of the formats.
    #[error("the picture is of a rare kind that is not read: save it as a plain PNG or JPEG")]
    RareKind,
    /// Neither a resolution nor a card nor a ruler.
    #[error("nothing says how large the picture is: state the dpi of the scan, two marks on a ruler, or a card in it")]
    NoScale,
    /// The file states a resolution that a camera or a screen writes.
    #[error(
        "the file says {0:.0} dpi, which says nothing about the size of what is seen: state the dpi of the scan, two \
         marks on a ruler, or a card in the picture"
    )]
    DpiDoubtful(f64),
    /// The file states one resolution across and another one down.
    #[error(
        "the file states {across:.0} dpi across and {down:.0} down, so a circle in it may be no circle: scan at the same \
         resolution both ways"
    )]
    DpiUnequal {
        /// Across.
        across: f64,
        /// Down.
        down: f64,
    },
    /// A stated resolution that no scanner has.
    #[error("{0} dpi is no resolution of a scan: between {low} and {high} was expected", low = super::DPI_RANGE.start(),
        high = super::DPI_RANGE.end())]
    Dpi(f64),
    /// A ruler that is too short or outside of the picture.
    #[error("{0}")]
    Ruler(&'static str),
    /// No card was seen.
    #[error(
        "no card was found: lay a bank or identity card (85.60 by 53.98 mm) flat beside the lens, all of it in the \
         picture, on a plain ground of another brightness; or mark its four corners"
    )]
    NoCard,
    /// Four corners that are not those of a card.
    #[error("the card's corners are not those of a card of 85.60 by 53.98 mm: its sides are as {0:.2} to 1, not 1.59")]
    NotACard(f64),
    /// The camera looked from the side.
    #[error("the camera sees the card from the side, by about {0:.0}°: hold it straight above the lens, within 20°")]
    Tilted(f64),
    /// Too coarse to measure.
    #[error("each pixel covers {0:.2} mm: too coarse for a lens; scan at 300 dpi, or take the photo from nearer")]
    Coarse(f64),
    /// Nothing is enclosed by an edge.
    #[error(
        "no lens was found: nothing in the picture has a closed edge. Lay the lens alone on a plain ground that is \
         lighter or darker than its edge"
    )]
    NothingClosed,
    /// The rim was asked for and nothing is enclosed by one.
    #[error(
        "no opening of a rim was found: nothing in the picture is closed all around. Lay the frame flat, rims open"
    )]
    NoOpening,
    /// What was found reaches the edge of the picture.
    #[error("the lens reaches the edge of the picture: all of it must be seen, with some ground around it")]
    CutOff,
    /// The outline has a size that no lens has.
    #[error("what was found is {wide_mm:.1} by {high_mm:.1} mm, and no lens is: is the scale right, and is it a lens?")]
    Size {
        /// Its width.
        wide_mm: f64,
        /// Its height.
        high_mm: f64,
    },
    /// A part of the edge can't be seen.
    #[error("the edge can't be seen for {mm:.1} mm at {} o'clock: use another ground or more light", clock(*.toward_deg))]
    Unseen {
        /// How long the part is.
        mm: f64,
        /// Its direction from the middle, counter-clockwise from the right.
        toward_deg: f64,
    },
    /// The edge is too blurred.
    #[error("the edge is blurred over {0:.1} mm: it is no edge of a lens, or the picture is out of focus")]
    Blurred(f64),
    /// The edge is ragged.
    #[error("the edge is not smooth: single points are {0:.2} mm off it. This is no lens, or the picture is too noisy")]
    Ragged(f64),
    /// Hollows that no lens has.
    #[error("what was found has hollows or corners that no lens has: if it is a lens, clean it and scan it alone")]
    NotALens,
    /// There is a drawing inside of the outline.
    #[error(
        "there is something inside of the outline ({0:.0}% of its area): this is no clear view of a lens. Take off \
         labels and clean it"
    )]
    NotPlain(f64),
    /// More than a pair.
    #[error("{0} things of a lens's size were found: leave one lens, or the two of a pair side by side")]
    Several(usize),
}

/// The hour on a clock face of a direction counter-clockwise from the right.
fn clock(toward_deg: f64) -> u32 {
    let hour = ((90.0 - toward_deg).rem_euclid(360.0) / 30.0).round() as u32 % 12;
    if hour == 0 { 12 } else { hour }
}
