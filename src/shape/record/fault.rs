//! Faults and warnings about a trace file, as sentences that say what was expected.

use std::fmt;

use thiserror::Error;

use super::super::hole::MOST_HOLES;
use super::super::outline::{MAX_POINTS, MAX_RADIUS_MM, MIN_POINTS, MIN_RADIUS_MM, OutlineError};
use super::assumption::ByteOrder;
use super::{BOX_AGREES_MM, CIRCUMFERENCE_AGREES_MM, MAX_BYTES, RIM_LONGER_MM};
use crate::optics::Eye;
use crate::optics::notation::brief;

/// The most faults listed; a file with more is not a trace file.
const MAX_FAULTS: usize = 100;

/// One fault and where it is.
#[derive(Debug, Clone, PartialEq)]
pub struct RecordFault {
    /// The line, from 1.
    pub line: usize,
    /// The record, where the line is one.
    pub record: Option<String>,
    /// What is wrong.
    pub kind: FaultKind,
}

impl fmt::Display for RecordFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let says = brief(self.kind.to_string());
        match &self.record {
            // Said of the file, not of a line.
            None if matches!(self.kind, FaultKind::NotRead(_) | FaultKind::NotATextFile) => f.write_str(&says),
            Some(record) => write!(f, "Line {}: {record}: {says}", self.line),
            None => write!(f, "Line {}: {says}", self.line),
        }
    }
}

/// What is wrong with a line, or with the data that ends there.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum FaultKind {
    /// The file is empty.
    #[error("the file is empty")]
    Empty,
    /// A file larger than [`MAX_BYTES`].
    #[error("the file has {0} bytes; a trace file has at most {MAX_BYTES}")]
    TooLarge(usize),
    /// A kind of file that holds no trace, and what to do with it.
    #[error("{0}")]
    NotRead(&'static str),
    /// Control characters in a line.
    #[error("this line is not text; a text trace file was expected")]
    NotText,
    /// Control characters in many lines.
    #[error(
        "this is neither text nor a picture that is read; a trace file, a table, a drawing or a picture was expected"
    )]
    NotATextFile,
    /// A line that is neither a record nor the continuation of a list.
    #[error("“{0}” is not a record; LABEL=value was expected")]
    NotARecord(String),
    /// A trace format that only its maker can read.
    #[error("format {0} is a maker's own and cannot be read; set the tracer to one of the formats 1 to 4")]
    MakersFormat(i32),
    /// A trace format that does not exist.
    #[error("“{0}” is not a trace format; 1 to 4 was expected")]
    Format(String),
    /// Binary data that do not hold the stated count.
    #[error("{found} of the {promised} numbers for the {} eye can be read from the binary data", eye.name())]
    Coded {
        /// The eye it is about.
        eye: Eye,
        /// The count in the format record.
        promised: usize,
        /// The count found.
        found: usize,
    },
    /// More bytes than the stated count needs.
    #[error("the binary data hold more than the {promised} numbers stated for the {} eye", eye.name())]
    CodedTooLong {
        /// The eye it is about.
        eye: Eye,
        /// The count in the format record.
        promised: usize,
    },
    /// A message with a start and no end.
    #[error("the message has a start (FS) but no end (GS): it was cut off")]
    NoEnd,
    /// A checksum that is not that of the message.
    #[error("the checksum {0} is not that of the message: it was damaged on the way")]
    Checksum(String),
    /// Two jobs in one file.
    #[error("this is a second job, “{second}” after “{first}”; one job per file was expected")]
    SecondJob {
        /// The job named first.
        first: String,
        /// The other one.
        second: String,
    },
    /// Not a count of points.
    #[error("“{text}” is not a count of points; {least} to {MAX_POINTS} was expected")]
    PointCount {
        /// The text found.
        text: String,
        /// The least count accepted.
        least: usize,
    },
    /// Neither equal nor unequal spacing.
    #[error("“{0}” does not say how the radii are spaced; E (equal angles) or U (angles follow) was expected")]
    Spacing(String),
    /// Neither right nor left.
    #[error("“{0}” is not a side; R or L was expected")]
    Side(String),
    /// Radii or angles before the record that names their eye.
    #[error("this comes before a {0} record that says which eye it belongs to")]
    BeforeFormat(&'static str),
    /// Two traces of the same eye.
    #[error("this is a second trace of the {} eye; one trace for each eye was expected", .0.name())]
    SecondTrace(Eye),
    /// Not a number of a list.
    #[error("“{0}” is not a whole number of hundredths")]
    NotWhole(String),
    /// Not a number.
    #[error("“{0}” is not a number")]
    NotANumber(String),
    /// A number outside its range.
    #[error("{value} is out of range; between {min} and {max}{unit} was expected")]
    OutOfRange {
        /// The value found.
        value: f64,
        /// The smallest value accepted.
        min: f64,
        /// The largest value accepted.
        max: f64,
        /// The unit, with a space before it where it has one.
        unit: &'static str,
    },
    /// More or fewer values than the header states.
    #[error("{promised} points are stated for the {} eye, but {found} {label} values follow", eye.name())]
    Count {
        /// `R`, `A`, `Z` or `ZA`.
        label: &'static str,
        /// The eye it is about.
        eye: Eye,
        /// The count stated.
        promised: usize,
        /// The count found.
        found: usize,
    },
    /// Too few or too many radii in a table.
    #[error("there are {found} radii for the {} eye; {MIN_POINTS} to {MAX_POINTS} were expected", eye.name())]
    TableCount {
        /// The eye it is about.
        eye: Eye,
        /// The count found.
        found: usize,
    },
    /// A radius that no lens has.
    #[error(
        "radius {nth} of the {} eye is {radius_mm:.2} mm; {MIN_RADIUS_MM} to {MAX_RADIUS_MM} mm was expected",
        eye.name()
    )]
    Radius {
        /// The eye it is about.
        eye: Eye,
        /// Which radius, from 1.
        nth: usize,
        /// Its length.
        radius_mm: f64,
    },
    /// Neighboring radii too different to be one rim.
    #[error(
        "radius {nth} of the {} eye jumps from {from_mm:.2} to {to_mm:.2} mm; at most {limit_mm:.1} mm between \
         neighbors was expected",
        eye.name()
    )]
    Jump {
        /// The eye it is about.
        eye: Eye,
        /// The second radius of the jump, from 1.
        nth: usize,
        /// The radius before.
        from_mm: f64,
        /// The radius.
        to_mm: f64,
        /// The largest difference accepted.
        limit_mm: f64,
    },
    /// An angle that does not follow its predecessor.
    #[error(
        "angle {nth} of the {} eye is {angle_deg:.2}°; angles that increase from 0 to 359.99 were expected",
        eye.name()
    )]
    Angle {
        /// The eye it is about.
        eye: Eye,
        /// Which angle, from 1.
        nth: usize,
        /// The angle.
        angle_deg: f64,
    },
    /// A gap in the trace.
    #[error("there is no radius for more than 60° after angle {nth} of the {} eye", eye.name())]
    Gap {
        /// The eye it is about.
        eye: Eye,
        /// The angle before the gap, from 1.
        nth: usize,
    },
    /// Any other reason why the numbers are not a shape.
    #[error("the trace of the {} eye is not a shape: {error}", eye.name())]
    Shape {
        /// The eye it is about.
        eye: Eye,
        /// Why.
        error: OutlineError,
    },
    /// A row with a different number of columns than the heading.
    #[error("this row has {found} numbers; {expected} were expected")]
    Columns {
        /// The columns of the heading.
        expected: usize,
        /// The numbers in the row.
        found: usize,
    },
    /// An unknown heading.
    #[error("“{0}” is not a heading; angle, radius, R or L was expected")]
    Heading(String),
    /// No trace anywhere in the file.
    #[error("the file ends without a trace; TRCFMT and R records, or a table of radii, were expected")]
    NoTrace,
    /// Too many faults to list.
    #[error("and {0} more faults; this does not look like a trace file")]
    More(usize),
}

/// Something that was read but should be reported.
#[derive(Debug, Clone, PartialEq)]
pub struct Warning {
    /// The line, from 1, where there is one.
    pub line: Option<usize>,
    /// What it is about.
    pub kind: WarningKind,
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.line {
            Some(line) => write!(f, "Line {line}: {}", self.kind),
            None => self.kind.fmt(f),
        }
    }
}

/// What a warning is about.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum WarningKind {
    /// A stated box that differs from the traced one.
    #[error(
        "{label} of the {} eye says {stated_mm:.2} mm, but the trace measures {traced_mm:.2} mm, more than \
         {BOX_AGREES_MM} mm apart; the trace is used",
        eye.name()
    )]
    BoxDiffers {
        /// `HBOX` or `VBOX`.
        label: &'static str,
        /// The eye it is about.
        eye: Eye,
        /// What the file says.
        stated_mm: f64,
        /// What the trace measures.
        traced_mm: f64,
    },
    /// A stated circumference that differs from the traced one.
    #[error(
        "CIRC of the {} eye says {stated_mm:.2} mm, but the trace measures {traced_mm:.2} mm {}; the trace is used",
        eye.name(), around_words(*is_flat)
    )]
    CircumferenceDiffers {
        /// The eye it is about.
        eye: Eye,
        /// What the file says.
        stated_mm: f64,
        /// What the trace measures.
        traced_mm: f64,
        /// Whether the depth of the rim was not traced, so that the measure is that of its outline.
        is_flat: bool,
    },
    /// Binary data that give a lens in either order of bytes.
    #[error(
        "which byte of a number is first (byte_order) cannot be told from this file: the right lens is {a_mm:.2} mm wide with \
         the {} byte first, as it was read, and {other_a_mm:.2} mm with the {} byte first, so measure it",
        order.first(), order.other().first()
    )]
    ByteOrderAssumed {
        /// The order that was assumed.
        order: ByteOrder,
        /// The width of the right lens in that order.
        a_mm: f64,
        /// Its width in the other order.
        other_a_mm: f64,
    },
    /// A table that does not name its eye.
    #[error("the file does not say which eye it is for; it was read as the right eye")]
    SideAssumed,
    /// Angles of a list that says its angles are equal.
    #[error("the {0} angles of the {side} eye are not used: its format record says that they are equal", side = .1.name())]
    AnglesLeftOut(&'static str, Eye),
    /// Angles of a table that are neither in order nor in the opposite one.
    #[error("the angles{} are in no order: the radii were sorted by them", of_the_eye(*.0))]
    AnglesSorted(Option<Eye>),
    /// A checksum of a file that is no message.
    #[error("the checksum {0} is not that of the file, which may have been changed since")]
    ChecksumDiffers(String),
    /// A drill record that is not understood.
    #[error("the drill record {0} is not understood: its hole is left out, so measure it")]
    HoleLeftOut(String),
    /// A hole that a lens of this size cannot have.
    #[error(
        "{says} is a hole of {diameter_mm:.2} mm at x {x_mm:.2} and y {y_mm:.2} mm from the middle of the {} lens, which is \
         {a_mm:.2} by {b_mm:.2} mm: it is left out, so measure it",
        eye.name()
    )]
    HoleNotPossible {
        /// The record.
        says: String,
        /// The eye it is about.
        eye: Eye,
        /// The diameter of the hole.
        diameter_mm: f64,
        /// Where it is from the middle of the box, to the observer's right.
        x_mm: f64,
        /// Where it is, up.
        y_mm: f64,
        /// The width of the lens.
        a_mm: f64,
        /// Its height.
        b_mm: f64,
    },
    /// Drill records that are not understood, besides those that are named.
    #[error("{0} more drill records are not understood: their holes are left out, so measure them")]
    MoreHolesLeftOut(usize),
    /// More holes than a lens has.
    #[error("there are more than {MOST_HOLES} holes for the {} eye: they are left out, so measure them", .0.name())]
    TooManyHoles(Eye),
    /// A pair of which one lens is drilled.
    #[error(
        "there are holes for the {} eye only, and none for the {} one: if that is drilled too, its holes must be added",
        .0.name(), .0.other().name()
    )]
    HolesOfOneEye(Eye),
    /// Two eyes that came each by itself, with two distances between the lenses.
    #[error(
        "the eyes came with two distances between the lenses, {first_mm:.2} and {second_mm:.2} mm; the second is used"
    )]
    DblDiffers {
        /// What the first file says.
        first_mm: f64,
        /// What the second file says.
        second_mm: f64,
    },
    /// A measure that the file states twice, with two numbers.
    #[error(
        "{label}{} says {last:.2}{unit}, but line {other_line} says {other:.2}{unit}; {}",
        of_the_eye(*eye), used_words(*typed, unit)
    )]
    StatedTwice {
        /// The record.
        label: &'static str,
        /// The eye it is about; `None` for both.
        eye: Option<Eye>,
        /// The number that is used, unless one was typed.
        last: f64,
        /// The number before it.
        other: f64,
        /// The line of that.
        other_line: usize,
        /// The unit, with a space before it where it has one.
        unit: &'static str,
        /// The number that was typed beside the file and is used instead.
        typed: Option<f64>,
    },
    /// Depth records that cannot be used.
    #[error("the depth (Z) records of the {} eye are not used: {found} values instead of {promised}", eye.name())]
    DepthLeftOut {
        /// The eye it is about.
        eye: Eye,
        /// The count in ZFMT.
        promised: usize,
        /// The count found.
        found: usize,
    },
    /// Lines of a drawing that lie on each other.
    #[error("some lines of the drawing are there twice, one on the other: they were read once")]
    DrawnTwice,
    /// Something that should be known of a picture.
    #[error("{0}")]
    Picture(String),
}

impl WarningKind {
    /// A name that never changes, for the book.
    pub fn key(&self) -> &'static str {
        match self {
            WarningKind::BoxDiffers { .. } => "box_differs",
            WarningKind::CircumferenceDiffers { .. } => "circumference_differs",
            WarningKind::ByteOrderAssumed { .. } => "byte_order_assumed",
            WarningKind::SideAssumed => "side_assumed",
            WarningKind::AnglesSorted(_) => "angles_sorted",
            WarningKind::AnglesLeftOut(..) => "angles_left_out",
            WarningKind::HoleLeftOut(_) | WarningKind::HoleNotPossible { .. } | WarningKind::MoreHolesLeftOut(_) => {
                "hole_left_out"
            }
            WarningKind::TooManyHoles(_) => "holes_left_out",
            WarningKind::HolesOfOneEye(_) => "holes_of_one_eye",
            WarningKind::ChecksumDiffers(_) => "checksum_differs",
            WarningKind::DblDiffers { .. } => "dbl_differs",
            WarningKind::StatedTwice { .. } => "stated_twice",
            WarningKind::DepthLeftOut { .. } => "depth_left_out",
            WarningKind::DrawnTwice => "drawn_twice",
            WarningKind::Picture(_) => "picture",
        }
    }
}

fn of_the_eye(eye: Option<Eye>) -> String {
    eye.map_or_else(String::new, |eye| format!(" of the {} eye", eye.name()))
}

fn around_words(is_flat: bool) -> String {
    if is_flat {
        format!("around, and a rim is at most {RIM_LONGER_MM} mm longer than its outline")
    } else {
        format!("along the rim, more than {CIRCUMFERENCE_AGREES_MM} mm apart")
    }
}

fn used_words(typed: Option<f64>, unit: &str) -> String {
    typed.map_or_else(|| "the last one is used".to_owned(), |typed| format!("the typed {typed:.2}{unit} is used"))
}

/// Collects faults, up to [`MAX_FAULTS`].
#[derive(Default)]
pub(super) struct Faults {
    list: Vec<RecordFault>,
    more: usize,
}

impl Faults {
    /// A fault of a line that is no record.
    pub(super) fn push(&mut self, line: usize, kind: FaultKind) {
        self.add(line, None, kind);
    }

    /// A fault of a record.
    pub(super) fn push_in(&mut self, line: usize, record: &str, kind: FaultKind) {
        self.add(line, Some(record), kind);
    }

    pub(super) fn add(&mut self, line: usize, record: Option<&str>, kind: FaultKind) {
        if self.list.len() < MAX_FAULTS {
            self.list.push(RecordFault { line, record: record.map(excerpt), kind });
        } else {
            self.more += 1;
        }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// In the order of the lines.
    pub(super) fn into_list(mut self) -> Vec<RecordFault> {
        self.list.sort_by_key(|fault| fault.line);
        if self.more > 0 {
            let line = self.list.last().map_or(1, |fault| fault.line);
            self.list.push(RecordFault { line, record: None, kind: FaultKind::More(self.more) });
        }
        self.list
    }
}

/// The first 40 characters of the faulty text, safe to print.
pub(super) fn excerpt(text: &str) -> String {
    let clean: String = text.chars().map(|c| if c.is_control() { '·' } else { c }).take(40).collect();
    if text.chars().count() > 40 { clean + "…" } else { clean }
}
