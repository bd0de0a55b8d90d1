//! Trace files: interchange records (ISO 16284), text and binary, and plain tables of radii.
//!
//! Reading is lenient about line ends, order, spaces and unknown records, and strict about counts, ranges and
//! checksums. A file is either read completely or refused with *every* fault, each with its line and record. What
//! could not be confirmed in the standard stands in one table, [`assumption`].
//!
//! * [`parse`](mod@parse) – reads records. [`table`] – reads plain tables. [`write`](mod@write) – writes records.
//! * [`coded`] – the binary forms of a list. `byte_order` – which of its bytes is first. [`crc`] – the checksum.
//! * `turn` – devices that start or run otherwise.
//! * `source` – the lines of a file. `open` – a trace while it is read. `check` – the checks of both readers.
//! * `again` – a file that was kept, read again and its records written with a shape. `joined` – two files of one eye each as
//!   one. [`drill`] – the holes of a drilled mount. `measure` – what is stated once. `rim` – the rim in space. `fault` – faults and
//!   warnings.

mod again;
pub mod assumption;
mod byte_order;
mod check;
pub mod coded;
pub mod crc;
pub mod drill;
mod fault;
mod joined;
mod measure;
mod open;
pub mod parse;
mod rim;
mod source;
pub mod table;
mod turn;
pub mod write;

pub use again::{parse_again, with_records_of};
pub use assumption::Assumptions;
pub use coded::TraceForm;
pub(super) use crc::agrees;
pub use drill::DRILL_LABELS;
pub use fault::{FaultKind, RecordFault, Warning, WarningKind};
pub use parse::{parse, parse_as};
pub(in crate::shape) use table::is_heading;
pub use table::parse_table;
pub use write::{write, write_as};

use super::boxing::Boxing;
use super::bytes::{is_separator_line, not_read, utf8};
use super::hole::Hole;
use super::outline::Outline;
use super::trace::Trace;
use crate::optics::{Eye, Pair};

/// The largest file read: about twice two eyes of 10,000 points with angles and depths.
pub const MAX_BYTES: usize = 1 << 20;

/// A stated box further from the traced one is reported, mm. Source: common practice (from memory).
pub const BOX_AGREES_MM: f64 = 0.1;

/// A stated circumference further from the traced one is reported, mm. Source: common practice (from memory).
pub const CIRCUMFERENCE_AGREES_MM: f64 = 0.5;

/// So much longer than its outline may a rim be that is bent in a way that was not traced, mm. Computed: an oval of 60 by 32 mm on
/// a sphere of 9 D is 2.4 mm longer.
pub const RIM_LONGER_MM: f64 = 3.0;

/// The depth of a rim, from its `Z` records. Used for the curve of the rim, not for the outline.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Depth {
    /// Sagittal heights, hundredths of a millimeter.
    pub heights: Vec<i32>,
    /// Their angles, hundredths of a degree; `None` when equally spaced from 0°.
    pub angles: Option<Vec<i32>>,
}

/// A data set that is not a trace, kept as it came: lens thickness, say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DataSet {
    /// The record that opened it, `STHKFMT`.
    pub label: String,
    /// The value of that record.
    pub format: String,
    /// Its lists, label and values. Binary ones have a character for each byte, still escaped.
    pub lists: Vec<(String, String)>,
}

impl DataSet {
    /// Whether its lists are binary: the form is the first field of its format record.
    pub(super) fn is_binary(&self) -> bool {
        let form = whole(self.format.split(';').next().unwrap_or_default().trim()).and_then(TraceForm::of_number);
        form.is_some_and(|form| form != TraceForm::Text)
    }
}

/// A part of a file, in its order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Item {
    /// A record, label and value.
    Record(String, String),
    /// The trace of an eye.
    Trace(Eye),
    /// The depth of an eye.
    Depth(Eye),
    /// The holes of an eye, written as drill records. In a file that was read, those are records like others.
    Holes(Eye),
    /// Any other data set.
    Set(DataSet),
}

/// How the records are framed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Framing {
    /// They are a message, between FS and GS.
    pub is_message: bool,
    /// They have a checksum, a `CRC` record.
    pub has_checksum: bool,
}

/// The contents of a trace file. Always both eyes: a missing one is the mirror image of the other, named in `derived`.
#[derive(Debug, Clone, PartialEq)]
pub struct TraceFile {
    /// The job number or name in the file.
    pub job: Option<String>,
    /// Distance between lenses.
    pub dbl_mm: Option<f64>,
    /// The trace of each eye.
    pub traces: Pair<Trace>,
    /// What was traced, as the format record says: `F` frame, `P` pattern, `D` demo lens (from memory).
    pub objects: Pair<Option<String>>,
    /// The eye that was not in the file.
    pub derived: Option<Eye>,
    /// The A stated in the file.
    pub hbox_mm: Pair<Option<f64>>,
    /// The B stated in the file.
    pub vbox_mm: Pair<Option<f64>>,
    /// The circumference stated in the file, along the rim in space.
    pub circ_mm: Pair<Option<f64>>,
    /// The frame curve, for index 1.53.
    pub fcrv_d: Pair<Option<f64>>,
    /// The tilt of the traced rim plane.
    pub ztilt_deg: Pair<Option<f64>>,
    /// The pantoscopic tilt.
    pub panto_deg: Pair<Option<f64>>,
    /// The depth of each rim.
    pub depth: Pair<Option<Depth>>,
    /// The holes of a drilled mount that are named for each eye, in its front view.
    pub holes: Pair<Vec<Hole>>,
    /// Everything in file order. Empty when the file was not read from records.
    pub items: Vec<Item>,
    /// How the records were framed.
    pub framing: Framing,
    /// What was read but should be reported to the owner.
    pub warnings: Vec<Warning>,
}

impl TraceFile {
    /// A file with two traces and nothing else.
    pub fn of_traces(traces: Pair<Trace>, derived: Option<Eye>) -> Self {
        Self {
            job: None,
            dbl_mm: None,
            traces,
            derived,
            hbox_mm: Pair::default(),
            vbox_mm: Pair::default(),
            circ_mm: Pair::default(),
            fcrv_d: Pair::default(),
            ztilt_deg: Pair::default(),
            panto_deg: Pair::default(),
            objects: Pair::default(),
            depth: Pair::default(),
            holes: Pair::default(),
            items: Vec::new(),
            framing: Framing::default(),
            warnings: Vec::new(),
        }
    }

    /// The outline of each eye.
    pub fn outlines(&self) -> Pair<Outline> {
        self.traces.as_ref().map(Trace::outline)
    }

    /// The holes of each lens. A lens that is the mirror image of the other has its holes too.
    pub fn holes_of_lenses(&self) -> Pair<Vec<Hole>> {
        let mut holes = self.holes.clone();
        if let Some(eye) = self.derived.filter(|eye| self.holes.get(*eye).is_empty()) {
            *holes.get_mut(eye) = self.holes.get(eye.other()).iter().map(Hole::mirror).collect();
        }
        holes
    }

    /// That one lens has holes and the other none.
    pub fn warning_of_holes(&self) -> Option<Warning> {
        let holes = self.holes_of_lenses();
        let eye = match (holes.right.is_empty(), holes.left.is_empty()) {
            (false, true) => Eye::Right,
            (true, false) => Eye::Left,
            _ => return None,
        };
        Some(Warning { line: None, kind: WarningKind::HolesOfOneEye(eye) })
    }

    /// The records that are not data sets, label and value, in file order.
    pub fn records(&self) -> impl Iterator<Item = (&str, &str)> {
        self.items.iter().filter_map(|item| match item {
            Item::Record(label, value) => Some((label.as_str(), value.as_str())),
            _ => None,
        })
    }

    /// The value of the first record with this label.
    pub fn value(&self, label: &str) -> Option<&str> {
        self.records().find(|record| record.0 == label).map(|record| record.1)
    }

    /// Adds a warning for each stated size that differs from the traced one. Mirrored eyes are skipped.
    fn warn_of_sizes(&mut self) {
        for eye in Eye::BOTH {
            let is_stated = [&self.hbox_mm, &self.vbox_mm, &self.circ_mm].iter().any(|size| size.get(eye).is_some());
            if self.derived == Some(eye) || !is_stated {
                continue;
            }
            let size = Boxing::of(&self.traces.get(eye).outline());
            let stated = [("HBOX", self.hbox_mm.get(eye), size.a_mm), ("VBOX", self.vbox_mm.get(eye), size.b_mm)];
            for (label, stated, traced_mm) in stated {
                if let Some(stated_mm) = *stated
                    && (stated_mm - traced_mm).abs() > BOX_AGREES_MM + 1e-9
                {
                    let kind = WarningKind::BoxDiffers { label, eye, stated_mm, traced_mm };
                    self.warnings.push(Warning { line: None, kind });
                }
            }
            let rim = self.rim(eye);
            let is_flat = rim.is_none();
            let traced_mm = rim.map_or(size.circumference_mm, |rim| rim.circumference_mm);
            let longer_mm = if is_flat { RIM_LONGER_MM } else { CIRCUMFERENCE_AGREES_MM };
            if let Some(stated_mm) = *self.circ_mm.get(eye)
                && !(-CIRCUMFERENCE_AGREES_MM..=longer_mm).contains(&(stated_mm - traced_mm))
            {
                let kind = WarningKind::CircumferenceDiffers { eye, stated_mm, traced_mm, is_flat };
                self.warnings.push(Warning { line: None, kind });
            }
        }
    }
}

/// One or two traces as a pair; a missing one is mirrored.
pub fn complete(right: Option<Trace>, left: Option<Trace>) -> Option<(Pair<Trace>, Option<Eye>)> {
    match (right, left) {
        (Some(right), Some(left)) => Some((Pair::new(right, left), None)),
        (Some(right), None) => Some((Pair::new(right.clone(), right.mirror()), Some(Eye::Left))),
        (None, Some(left)) => Some((Pair::new(left.mirror(), left), Some(Eye::Right))),
        (None, None) => None,
    }
}

/// The kinds of file that are read here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FileKind {
    /// Interchange records.
    Records,
    /// A plain table of radii.
    Table,
}

impl FileKind {
    /// What the contents look like: records have the form `LABEL=value`.
    pub fn of(bytes: &[u8]) -> Self {
        let first = bytes.split(|byte| matches!(byte, b'\r' | b'\n')).next().unwrap_or_default();
        let rest = if is_separator_line(&String::from_utf8_lossy(first)) { &bytes[first.len()..] } else { bytes };
        if rest.contains(&b'=') { FileKind::Records } else { FileKind::Table }
    }
}

/// Reads a file of the kind that its contents look like.
///
/// # Errors
///
/// Every fault found, in the order of the lines.
pub fn read_any(bytes: &[u8]) -> Result<TraceFile, Vec<RecordFault>> {
    read_as(bytes, FileKind::of(bytes), &Assumptions::default())
}

/// As [`read_any`], for a file of a known kind or from a device that needs other assumptions.
///
/// # Errors
///
/// As [`read_any`].
pub fn read_as(bytes: &[u8], kind: FileKind, assumptions: &Assumptions) -> Result<TraceFile, Vec<RecordFault>> {
    if let Some(says) = not_read(bytes) {
        return Err(vec![RecordFault { line: 1, record: None, kind: FaultKind::NotRead(says) }]);
    }
    let bytes = &*utf8(bytes);
    let read = match kind {
        FileKind::Records => parse_as(bytes, assumptions),
        FileKind::Table => parse_table(&text_of(bytes)),
    };
    read.map_err(|faults| {
        // A picture or a spreadsheet has a fault in every line; one sentence is enough.
        let mut not_text = faults.iter().filter(|fault| fault.kind == FaultKind::NotText);
        match (not_text.next(), not_text.count()) {
            (Some(first), 3..) => vec![RecordFault { line: first.line, record: None, kind: FaultKind::NotATextFile }],
            _ => faults,
        }
    })
}

/// Bytes as text: UTF-8, or one character per byte, which keeps line numbers and ASCII.
fn text_of(bytes: &[u8]) -> String {
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes.iter().map(|&b| char::from(b)).collect(),
    };
    text.strip_prefix('\u{feff}').map(str::to_owned).unwrap_or(text)
}

/// Lines with their numbers from 1. CR LF, LF and CR all end a line.
pub(in crate::shape) fn numbered_lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
    let mut rest = Some(text);
    let split = std::iter::from_fn(move || {
        let text = rest?;
        match text.find(['\r', '\n']) {
            Some(at) => {
                let ending = if text[at..].starts_with("\r\n") { 2 } else { 1 };
                rest = Some(&text[at + ending..]);
                Some(&text[..at])
            }
            None => {
                rest = None;
                Some(text)
            }
        }
    });
    split.enumerate().map(|(index, line)| (index + 1, line))
}

/// A plain decimal number: digits with a sign and a point, nothing else (no exponent, no `inf`, no `nan`).
fn decimal(text: &str) -> Option<f64> {
    let digits = text.strip_prefix(['+', '-']).unwrap_or(text);
    let plain = digits.bytes().all(|b| b.is_ascii_digit() || b == b'.') && digits.bytes().any(|b| b.is_ascii_digit());
    if plain && text.len() <= 15 { text.parse().ok() } else { None }
}

/// A whole number of at most six digits. A file is mostly made of them.
fn whole(text: &str) -> Option<i32> {
    let (digits, sign) = match text.as_bytes() {
        [b'-', digits @ ..] => (digits, -1),
        [b'+', digits @ ..] => (digits, 1),
        digits => (digits, 1),
    };
    if digits.is_empty() || digits.len() > 6 {
        return None;
    }
    let mut number = 0;
    for byte in digits {
        if !byte.is_ascii_digit() {
            return None;
        }
        number = number * 10 + i32::from(byte - b'0');
    }
    Some(sign * number)
}
