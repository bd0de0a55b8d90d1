//! A trace or its depth while it is read: the format record and the numbers so far.

use super::assumption::{Assumptions, ByteOrder};
use super::check::LineNumber;
use super::coded::{ListKind, TraceForm, read_list};
use super::fault::{FaultKind, Faults, excerpt};
use super::whole;
use crate::optics::Eye;
use crate::shape::outline::{MAX_POINTS, MIN_POINTS};

/// The fewest depths of a rim.
const MIN_DEPTHS: usize = 3;

/// What a format record opens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Data {
    Radii,
    Depth,
}

impl Data {
    pub(super) fn format_label(self) -> &'static str {
        if self == Data::Radii { "TRCFMT" } else { "ZFMT" }
    }

    pub(super) fn value_label(self) -> &'static str {
        if self == Data::Radii { "R" } else { "Z" }
    }

    pub(super) fn angle_label(self) -> &'static str {
        if self == Data::Radii { "A" } else { "ZA" }
    }

    fn least(self) -> usize {
        if self == Data::Radii { MIN_POINTS } else { MIN_DEPTHS }
    }
}

/// A list of numbers so far.
#[derive(Default)]
pub(super) struct NumberList {
    pub(super) numbers: Vec<LineNumber>,
    /// Some numbers have a decimal point; all are kept a hundred times as large.
    has_points: bool,
    /// Values that could not be read. Already reported, but counted with the others.
    unread: usize,
}

/// A format record and its lists.
pub(super) struct OpenRecord {
    pub(super) line: usize,
    pub(super) data: Data,
    pub(super) eye: Eye,
    pub(super) form: TraceForm,
    pub(super) promised: usize,
    pub(super) is_equal: bool,
    pub(super) object: Option<String>,
    pub(super) values: NumberList,
    pub(super) angles: NumberList,
}

/// What a format record says.
pub(super) enum Header {
    Opens(OpenRecord),
    /// There is no data: format 0 or unknown.
    Nothing,
    /// It cannot be read; its lists are skipped.
    Faulty,
    /// Nothing after it can be read.
    Unreadable,
}

impl OpenRecord {
    /// Reads a `TRCFMT` or `ZFMT` record: form; count; spacing; side; object.
    pub(super) fn read(line: usize, data: Data, value: &str, faults: &mut Faults) -> Header {
        let mut fields = value.split(';').map(str::trim);
        let mut field = || fields.next().unwrap_or_default();
        let mut fault = |kind| faults.push_in(line, data.format_label(), kind);
        let format = field();
        let form = match whole(format) {
            Some(0) => return Header::Nothing,
            _ if format == "?" => return Header::Nothing,
            Some(number) => TraceForm::of_number(number),
            None => {
                fault(FaultKind::Format(excerpt(format)));
                return Header::Faulty;
            }
        };
        let Some(form) = form else {
            fault(FaultKind::MakersFormat(whole(format).unwrap_or_default()));
            return Header::Unreadable;
        };
        let (count, spacing, side, object) = (field(), field(), field(), field());
        let least = data.least();
        let promised = whole(count).and_then(|n| usize::try_from(n).ok()).filter(|n| (least..=MAX_POINTS).contains(n));
        if promised.is_none() {
            fault(FaultKind::PointCount { text: excerpt(count), least });
        }
        let is_equal = match spacing {
            "E" | "e" => Some(true),
            "U" | "u" => Some(false),
            _ => {
                fault(FaultKind::Spacing(excerpt(spacing)));
                None
            }
        };
        let eye = match side {
            "R" | "r" => Some(Eye::Right),
            "L" | "l" => Some(Eye::Left),
            _ => {
                fault(FaultKind::Side(excerpt(side)));
                None
            }
        };
        let (Some(promised), Some(is_equal), Some(eye)) = (promised, is_equal, eye) else {
            // Binary lists of an unknown length have no end that can be found.
            return if form == TraceForm::Text { Header::Faulty } else { Header::Unreadable };
        };
        let object = (!object.is_empty()).then(|| object.to_owned());
        let (values, angles) = (NumberList::default(), NumberList::default());
        Header::Opens(OpenRecord { line, data, eye, form, promised, is_equal, object, values, angles })
    }

    fn list(&mut self, label: &str) -> &mut NumberList {
        if label.ends_with('A') { &mut self.angles } else { &mut self.values }
    }

    /// Adds the numbers of one line of text.
    pub(super) fn add_text(&mut self, line: usize, label: &str, value: &str, faults: &mut Faults) {
        let list = self.list(label);
        // A list broken over lines may end each with its separator.
        let value = value.strip_suffix(';').unwrap_or(value);
        for text in value.split(';').map(str::trim) {
            if !list.add(line, text) {
                list.unread += 1;
                faults.push_in(line, label, FaultKind::NotWhole(excerpt(text)));
            }
        }
    }

    /// Adds a whole binary list. Gives how many bytes and lines it took; `None` when it cannot be read. The order of bytes
    /// that the first list shows holds for the lists after it: small heights would look right in either.
    pub(super) fn add_coded(
        &mut self,
        line: usize,
        label: &str,
        bytes: &[u8],
        assumptions: &mut Assumptions,
        faults: &mut Faults,
    ) -> Option<(usize, usize)> {
        let kind = match (label, self.data) {
            ("A" | "ZA", _) => ListKind::Angles,
            (_, Data::Radii) => ListKind::Radii,
            (_, Data::Depth) => ListKind::Heights,
        };
        let (eye, promised) = (self.eye, self.promised);
        match read_list(bytes, label, self.form, kind, promised, assumptions) {
            Ok(coded) => {
                assumptions.byte_order = if coded.low_first { ByteOrder::LowFirst } else { ByteOrder::HighFirst };
                let numbers = coded.numbers.into_iter().map(|hundredths| LineNumber { line, hundredths });
                self.list(label).numbers.extend(numbers);
                Some((coded.used, coded.lines))
            }
            Err(broken) => {
                let kind = match broken.found {
                    found if found > promised => FaultKind::CodedTooLong { eye, promised },
                    found => FaultKind::Coded { eye, promised, found },
                };
                faults.push_in(line, label, kind);
                None
            }
        }
    }

    /// How many values and angles the file has.
    pub(super) fn found(&self) -> (usize, usize) {
        (self.values.found(), self.angles.found())
    }

    pub(super) fn is_broken(&self) -> bool {
        self.values.unread + self.angles.unread > 0
    }

    /// Reports counts that differ from the stated one.
    pub(super) fn check_counts(&self, faults: &mut Faults) -> bool {
        let (values, angles) = self.found();
        let mut counts = vec![(self.data.value_label(), values)];
        if !self.is_equal {
            counts.push((self.data.angle_label(), angles));
        }
        let mut agrees = !self.is_broken();
        for (label, found) in counts {
            if found != self.promised {
                agrees = false;
                let kind = FaultKind::Count { label, eye: self.eye, promised: self.promised, found };
                faults.push_in(self.line, self.data.format_label(), kind);
            }
        }
        agrees
    }

    /// Whether equal angles are also listed, and the list says something else.
    pub(super) fn has_idle_angles(&self) -> bool {
        let step = 36_000.0 / self.promised as f64;
        let numbers = &self.angles.numbers;
        let is_off =
            |(index, angle): (usize, &LineNumber)| (f64::from(angle.hundredths) - step * index as f64).abs() > 2.0;
        self.is_equal
            && !numbers.is_empty()
            && (numbers.len() != self.promised || numbers.iter().enumerate().any(is_off))
    }
}

impl NumberList {
    fn found(&self) -> usize {
        self.numbers.len() + self.unread
    }

    /// Adds a number; `false` if it is none.
    fn add(&mut self, line: usize, text: &str) -> bool {
        let hundredths = match whole(text) {
            Some(number) if !self.has_points => Some(number),
            Some(number) => Some(number * 100),
            None => super::decimal(text).filter(|number| number.abs() < 1e6).map(|number| {
                if !self.has_points {
                    self.has_points = true;
                    self.numbers.iter_mut().for_each(|item| item.hundredths *= 100);
                }
                (number * 100.0).round() as i32
            }),
        };
        // What is beyond is counted only.
        match hundredths {
            Some(_) if self.numbers.len() > MAX_POINTS => self.unread += 1,
            Some(hundredths) => self.numbers.push(LineNumber { line, hundredths }),
            None => {}
        }
        hundredths.is_some()
    }

    /// The numbers in hundredths. Numbers with a decimal point are whole units if none is larger than `most_units`:
    /// some tracers write them so (seen in public files).
    pub(super) fn into_hundredths(self, most_units: i32) -> Vec<LineNumber> {
        let mut numbers = self.numbers;
        if self.has_points && numbers.iter().any(|item| item.hundredths > most_units * 100) {
            numbers.iter_mut().for_each(|item| item.hundredths = (f64::from(item.hundredths) / 100.0).round() as i32);
        }
        numbers
    }
}
