//! Trace files: interchange records (ISO 16284 text form) and plain tables of radii.
//!
//! Reading is lenient, writing is strict. A file is either read completely or refused with *every* fault, each with
//! its line. The details of the standard are from memory, so unknown records are stored unchecked.
//!
//! * [`parse`](mod@parse) – reads records. [`table`] – reads plain tables. [`write`](mod@write) – writes records.
//! * `rim` – the curve of the rim. `check` – the checks shared by both readers. `fault` – faults and warnings.
//!
//! # What this room does not do
//!
//! It does not implement the live serial session, does not verify the `CRC` record, and reads no binary trace format.

mod check;
mod fault;
pub mod parse;
mod rim;
pub mod table;
pub mod write;

pub use fault::{FaultKind, RecordFault, Warning, WarningKind};
pub use parse::parse;
pub use table::parse_table;
pub use write::write;

use super::boxing::Boxing;
use super::outline::Outline;
use super::trace::Trace;
use crate::optics::{Eye, Pair};

/// The largest file read: about ten times two eyes of [`super::outline::MAX_POINTS`] points with angles and depths.
pub const MAX_BYTES: usize = 1 << 20;

/// A stated box further from the traced one is reported, mm. Source: common practice (from memory).
pub const BOX_AGREES_MM: f64 = 0.1;

/// The depth of a rim, from its `Z` records. Used for the curve of the rim, not for the outline.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Depth {
    /// Sagittal heights, hundredths of a millimeter.
    pub heights: Vec<i32>,
    /// Their angles, hundredths of a degree; `None` when equally spaced from 0°.
    pub angles: Option<Vec<i32>>,
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
    /// Every other record in file order, label and value, not interpreted.
    pub records: Vec<(String, String)>,
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
            depth: Pair::default(),
            records: Vec::new(),
            warnings: Vec::new(),
        }
    }

    /// The outline of each eye.
    pub fn outlines(&self) -> Pair<Outline> {
        self.traces.as_ref().map(Trace::outline)
    }

    /// The value of the first other record with this label.
    pub fn value(&self, label: &str) -> Option<&str> {
        self.records.iter().find(|(l, _)| l == label).map(|(_, v)| v.as_str())
    }

    /// Adds a warning for each stated box that differs from the traced one. Mirrored eyes are skipped.
    fn warn_of_boxes(&mut self) {
        for (eye, outline) in self.outlines().iter() {
            if self.derived == Some(eye) {
                continue;
            }
            let size = Boxing::of(outline);
            let stated = [("HBOX", self.hbox_mm.get(eye), size.a_mm), ("VBOX", self.vbox_mm.get(eye), size.b_mm)];
            for (label, stated, traced_mm) in stated {
                if let Some(stated_mm) = *stated
                    && (stated_mm - traced_mm).abs() > BOX_AGREES_MM + 1e-9
                {
                    let kind = WarningKind::BoxDiffers { label, eye, stated_mm, traced_mm };
                    self.warnings.push(Warning { line: None, kind });
                }
            }
        }
    }
}

/// One or two traces as a pair; a missing one is mirrored.
fn complete(right: Option<Trace>, left: Option<Trace>) -> Option<(Pair<Trace>, Option<Eye>)> {
    match (right, left) {
        (Some(right), Some(left)) => Some((Pair::new(right, left), None)),
        (Some(right), None) => Some((Pair::new(right.clone(), right.mirror()), Some(Eye::Left))),
        (None, Some(left)) => Some((Pair::new(left.mirror(), left), Some(Eye::Right))),
        (None, None) => None,
    }
}

/// Reads either kind of file: records if any line has the form `LABEL=value`, otherwise a table.
///
/// # Errors
///
/// Every fault found, in the order of the lines.
pub fn read_any(bytes: &[u8]) -> Result<TraceFile, Vec<RecordFault>> {
    let read = if bytes.contains(&b'=') { parse(bytes) } else { parse_table(&text_of(bytes)) };
    read.map_err(|faults| {
        // A picture or a spreadsheet has a fault in every line; one sentence is enough.
        let mut not_text = faults.iter().filter(|fault| fault.kind == FaultKind::NotText);
        match (not_text.next(), not_text.count()) {
            (Some(first), 3..) => vec![RecordFault { line: first.line, kind: FaultKind::NotATextFile }],
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
fn numbered_lines(text: &str) -> impl Iterator<Item = (usize, &str)> {
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

/// A whole number of at most six digits.
fn whole(text: &str) -> Option<i32> {
    let digits = text.strip_prefix(['+', '-']).unwrap_or(text);
    let plain = !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit());
    if plain && digits.len() <= 6 { text.parse().ok() } else { None }
}
