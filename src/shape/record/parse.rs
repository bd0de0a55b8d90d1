//! Reads records leniently: any line ending, spaces around values, lists over several lines with or without their
//! label, message framing, any order, private labels, unknown values. Strict about counts, ranges and checksums.

use super::assumption::{Assumptions, BrokenDepth, ByteOrder};
use super::check::{FaultLabels, LineNumber, RawTrace};
use super::coded::TraceForm;
use super::fault::{FaultKind, Faults, Warning, WarningKind, excerpt};
use super::measure::{Measure, Measures};
use super::open::{Data, Header, OpenRecord};
use super::source::{Source, SourceLine, latin_1, text_of, trimmed};
use super::turn::DeviceTurn;
use super::{
    DataSet, Depth, Framing, Item, MAX_BYTES, RecordFault, TraceFile, byte_order, complete, crc, decimal, drill,
};
use crate::optics::{Eye, Pair};
use crate::shape::boxing::Boxing;
use crate::shape::hole::{Hole, MOST_HOLES};
use crate::shape::trace::{Angles, Trace};

const FS: u8 = 0x1c;
const GS: u8 = 0x1d;
/// The records whose values may run over several lines.
const LISTS: [&str; 5] = ["R", "A", "Z", "ZA", "T"];
/// The records that are read as single values; no line goes on after them.
const SINGLES: [&str; 11] = ["TRCFMT", "ZFMT", "JOB", "DBL", "HBOX", "VBOX", "CIRC", "FCRV", "ZTILT", "PANTO", "CRC"];

/// Reads interchange records.
///
/// # Errors
///
/// Every fault found, in line order. Reading stops at a trace of which nothing is known, because what follows may be
/// binary.
pub fn parse(bytes: &[u8]) -> Result<TraceFile, Vec<RecordFault>> {
    parse_as(bytes, &Assumptions::default())
}

/// As [`parse`], for a device that needs other assumptions.
///
/// # Errors
///
/// As [`parse`].
pub fn parse_as(bytes: &[u8], assumptions: &Assumptions) -> Result<TraceFile, Vec<RecordFault>> {
    let mut faults = Faults::default();
    if bytes.len() > MAX_BYTES {
        faults.push(1, FaultKind::TooLarge(bytes.len()));
        return Err(faults.into_list());
    }
    if trimmed(bytes).is_empty() {
        faults.push(1, FaultKind::Empty);
        return Err(faults.into_list());
    }
    let (first, byte_order) = read_once(bytes, assumptions);
    // Text, or an order that is known.
    if byte_order == assumptions.byte_order {
        return first;
    }
    let (other, _) = read_once(bytes, &Assumptions { byte_order: byte_order.other(), ..*assumptions });
    byte_order::choose(first, byte_order, other)
}

/// Reads the records in one order of bytes, and says in which one the binary lists were read.
fn read_once(bytes: &[u8], assumptions: &Assumptions) -> (Result<TraceFile, Vec<RecordFault>>, ByteOrder) {
    let mut reader = RecordReader::new(bytes, assumptions);
    let mut last_line = 1;
    while let Some(line) = reader.source.next_line() {
        if trimmed(line.bytes).is_empty() {
            continue;
        }
        last_line = line.number;
        if !reader.line(&line) {
            return (Err(reader.faults.into_list()), reader.assumptions.byte_order);
        }
    }
    reader.check_end(bytes, last_line);
    let byte_order = reader.assumptions.byte_order;
    (reader.finish(last_line), byte_order)
}

/// What the next list belongs to: the format record last opened.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Current {
    /// No format record yet.
    Nothing,
    /// A trace or its depth.
    Trace,
    /// Any other data set, the last of the items.
    Set { is_binary: bool },
    /// A format record that says there is no data, or cannot be read.
    Skipped,
}

/// What a line without a label goes on with.
#[derive(Debug, Clone, Copy, PartialEq)]
enum LastLine {
    Nothing,
    List(&'static str),
    Record,
    Single,
}

/// A hole, and the line and record that it is from.
struct FoundHole {
    hole: Hole,
    line: usize,
    says: String,
}

struct RecordReader<'a> {
    source: Source<'a>,
    assumptions: Assumptions,
    faults: Faults,
    warnings: Vec<Warning>,
    last: LastLine,
    current: Current,
    radii: Option<OpenRecord>,
    depth_list: Option<OpenRecord>,
    seen: Pair<bool>,
    seen_depth: Pair<bool>,
    traces: Pair<Option<Trace>>,
    objects: Pair<Option<String>>,
    depth: Pair<Option<Depth>>,
    holes: Pair<Vec<FoundHole>>,
    holes_not_read: usize,
    job: Option<String>,
    measures: Measures,
    items: Vec<Item>,
    framing: Framing,
}

impl<'a> RecordReader<'a> {
    fn new(bytes: &'a [u8], assumptions: &Assumptions) -> Self {
        Self {
            source: Source::new(bytes),
            assumptions: *assumptions,
            faults: Faults::default(),
            warnings: Vec::new(),
            last: LastLine::Nothing,
            current: Current::Nothing,
            radii: None,
            depth_list: None,
            seen: Pair::default(),
            seen_depth: Pair::default(),
            traces: Pair::default(),
            objects: Pair::default(),
            depth: Pair::default(),
            holes: Pair::default(),
            holes_not_read: 0,
            job: None,
            measures: Measures::default(),
            items: Vec::new(),
            framing: Framing::default(),
        }
    }

    /// Reads one line; `false` when nothing after it can be read.
    fn line(&mut self, line: &SourceLine<'a>) -> bool {
        // A message starts before the label of its first record; further on, FS may be a byte of binary data.
        self.framing.is_message |=
            line.bytes.iter().take_while(|byte| !byte.is_ascii_graphic()).any(|byte| *byte == FS);
        let bytes = trimmed(line.bytes);
        let Some(equals) = bytes.iter().position(|&byte| byte == b'=') else {
            return self.goes_on(line.number, &text_of(bytes));
        };
        let label = text_of(bytes[..equals].trim_ascii());
        if label.is_empty() || !label.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_') {
            return self.goes_on(line.number, &text_of(bytes));
        }
        let label = if label.starts_with('_') { label } else { label.to_ascii_uppercase().into() };
        if let Some(list) = LISTS.into_iter().find(|list| *list == label) {
            if self.is_coded(list) {
                return self.coded(line, list);
            }
            self.list(line.number, list, &text_of(bytes[equals + 1..].trim_ascii()));
            return true;
        }
        if label == "CRC" {
            self.checksum(line, &text_of(bytes[equals + 1..].trim_ascii()));
            return true;
        }
        let value = text_of(&bytes[equals + 1..]);
        self.record(line.number, &label, value.trim())
    }

    /// A line without a label.
    fn goes_on(&mut self, line: usize, text: &str) -> bool {
        match (self.last, self.items.last_mut()) {
            (LastLine::List(label), _) if !text.contains('=') => self.list(line, label, text.trim()),
            (LastLine::Record, Some(Item::Record(_, value))) if !text.contains('=') => value.push_str(text.trim()),
            _ if text.chars().any(char::is_control) => self.faults.push(line, FaultKind::NotText),
            _ => self.faults.push(line, FaultKind::NotARecord(excerpt(text))),
        }
        true
    }

    fn record(&mut self, line: usize, label: &str, value: &str) -> bool {
        self.last = if SINGLES.contains(&label) { LastLine::Single } else { LastLine::Record };
        match label {
            "TRCFMT" => return self.open(line, Data::Radii, value),
            "ZFMT" => return self.open(line, Data::Depth, value),
            _ if label.len() > 3 && label.ends_with("FMT") => {
                self.open_set(label, value);
                return true;
            }
            "JOB" => self.name_job(line, value),
            "DRILL" | "DRILLE" => self.drill(line, label, value),
            _ => self.measure(line, label, value),
        }
        self.items.push(Item::Record(label.to_owned(), value.to_owned()));
        true
    }

    /// A hole that is not understood is no fault of the trace.
    fn drill(&mut self, line: usize, label: &str, value: &str) {
        let Some(read) = drill::read(label, value, &self.assumptions) else {
            self.holes_not_read += 1;
            if self.holes_not_read <= MOST_HOLES {
                let kind = WarningKind::HoleLeftOut(excerpt(value));
                self.warnings.push(Warning { line: Some(line), kind });
            }
            return;
        };
        for eye in Eye::BOTH {
            let holes = self.holes.get_mut(eye);
            // One too many is enough to leave them out.
            if holes.len() <= MOST_HOLES {
                let says = || excerpt(&format!("{label}={value}"));
                holes.extend(read.get(eye).map(|hole| FoundHole { hole, line, says: says() }));
            }
        }
    }

    /// A lens with more holes than any has is taken for one whose holes are not known.
    fn leave_out_holes(&mut self) {
        let more = self.holes_not_read.saturating_sub(MOST_HOLES);
        if more > 0 {
            self.warnings.push(Warning { line: None, kind: WarningKind::MoreHolesLeftOut(more) });
        }
        for eye in Eye::BOTH {
            if self.holes.get(eye).len() > MOST_HOLES {
                self.holes.get_mut(eye).clear();
                self.warnings.push(Warning { line: None, kind: WarningKind::TooManyHoles(eye) });
            }
        }
    }

    fn name_job(&mut self, line: usize, value: &str) {
        let job = value.trim_matches('"').trim();
        if job.is_empty() || job == "?" {
            return;
        }
        match &self.job {
            Some(first) if first != job => {
                let kind = FaultKind::SecondJob { first: excerpt(first), second: excerpt(job) };
                self.faults.push_in(line, "JOB", kind);
            }
            _ => self.job = Some(job.to_owned()),
        }
    }

    /// A record that states a measure; any other is only kept.
    fn measure(&mut self, line: usize, label: &str, value: &str) {
        let Some(measure) = Measure::of(label) else { return };
        let stated = self.pair(line, label, value, &measure);
        self.measures.add(label, stated, line);
    }

    /// Right and left values; one value stands for both; empty or `?` is unknown.
    fn pair(&mut self, line: usize, label: &str, value: &str, measure: &Measure) -> Pair<Option<f64>> {
        let mut read = |text: &str| {
            let text = text.trim();
            if text.is_empty() || text == "?" {
                return None;
            }
            let Some(value) = decimal(text) else {
                self.faults.push_in(line, label, FaultKind::NotANumber(excerpt(text)));
                return None;
            };
            let Measure { min, max, unit, is_unknown_at_zero, .. } = *measure;
            if is_unknown_at_zero && value == 0.0 {
                return None;
            }
            if !(min..=max).contains(&value) {
                self.faults.push_in(line, label, FaultKind::OutOfRange { value, min, max, unit });
                return None;
            }
            Some(value)
        };
        match value.split_once(';') {
            None => {
                let both = read(value);
                Pair::new(both, both)
            }
            Some((right, left)) => {
                let left = left.split(';').next().unwrap_or_default();
                Pair::new(read(right), read(left))
            }
        }
    }

    fn open(&mut self, line: usize, data: Data, value: &str) -> bool {
        if data == Data::Radii {
            self.close_trace();
        }
        self.close_depth();
        self.current = Current::Skipped;
        match OpenRecord::read(line, data, value, &mut self.faults) {
            Header::Nothing => self.items.push(Item::Record(data.format_label().to_owned(), value.to_owned())),
            Header::Faulty => {}
            Header::Unreadable => return false,
            Header::Opens(open) => {
                let seen = if data == Data::Radii { &mut self.seen } else { &mut self.seen_depth };
                let seen = if open.eye == Eye::Right { &mut seen.right } else { &mut seen.left };
                if std::mem::replace(seen, true) {
                    self.faults.push_in(line, data.format_label(), FaultKind::SecondTrace(open.eye));
                }
                self.current = Current::Trace;
                match data {
                    Data::Radii => {
                        self.items.push(Item::Trace(open.eye));
                        self.radii = Some(open);
                    }
                    Data::Depth => {
                        self.items.push(Item::Depth(open.eye));
                        self.depth_list = Some(open);
                    }
                }
            }
        }
        true
    }

    /// Any other data set: kept with its lists, and not taken for a trace.
    fn open_set(&mut self, label: &str, value: &str) {
        self.close_trace();
        self.close_depth();
        let set = DataSet { label: label.to_owned(), format: value.to_owned(), lists: Vec::new() };
        self.current = Current::Set { is_binary: set.is_binary() };
        self.items.push(Item::Set(set));
    }

    fn is_coded(&self, label: &str) -> bool {
        match self.current {
            Current::Set { is_binary } => is_binary,
            Current::Trace => {
                let open = if label.starts_with('Z') { &self.depth_list } else { &self.radii };
                open.as_ref().is_some_and(|open| open.form != TraceForm::Text)
            }
            _ => false,
        }
    }

    /// A binary list, which may hold line ends.
    fn coded(&mut self, line: &SourceLine<'a>, label: &'static str) -> bool {
        self.last = LastLine::Single;
        let equals = line.bytes.iter().position(|&byte| byte == b'=').unwrap_or(0);
        let place = line.start + equals + 1;
        if let Current::Set { .. } = self.current {
            self.add_to_set(label, latin_1(&line.bytes[equals + 1..]), "\n");
            return true;
        }
        let (bytes, assumptions) = (self.source.from(place), &mut self.assumptions);
        let open = if label.starts_with('Z') { self.depth_list.as_mut() } else { self.radii.as_mut() };
        let Some((used, lines)) =
            open.and_then(|open| open.add_coded(line.number, label, bytes, assumptions, &mut self.faults))
        else {
            return false;
        };
        self.source.go_to(place + used, lines);
        true
    }

    fn list(&mut self, line: usize, label: &'static str, value: &str) {
        self.last = LastLine::List(label);
        if let Current::Set { .. } = self.current {
            self.add_to_set(label, value.to_owned(), ";");
            return;
        }
        let open = if label.starts_with('Z') { self.depth_list.as_mut() } else { self.radii.as_mut() };
        // Depth that may be left out has no faults, only values that are missing.
        let mut unheard = Faults::default();
        let is_heard = !label.starts_with('Z') || self.assumptions.depth != BrokenDepth::LeftOut;
        let faults = if is_heard { &mut self.faults } else { &mut unheard };
        match open {
            Some(open) if label != "T" => open.add_text(line, label, value, faults),
            _ if label == "T" => self.items.push(Item::Record(label.to_owned(), value.to_owned())),
            _ if self.current == Current::Skipped => {}
            _ => {
                let format = if label.starts_with('Z') { "ZFMT" } else { "TRCFMT" };
                self.faults.push_in(line, label, FaultKind::BeforeFormat(format));
                // Reported once only.
                self.current = Current::Skipped;
            }
        }
    }

    fn add_to_set(&mut self, label: &str, value: String, separator: &str) {
        let Some(Item::Set(set)) = self.items.iter_mut().rev().find(|item| matches!(item, Item::Set(_))) else {
            return;
        };
        match set.lists.last_mut() {
            Some((last, values)) if last == label => {
                let separator = if values.ends_with(separator) { "" } else { separator };
                values.push_str(separator);
                values.push_str(&value);
            }
            _ => set.lists.push((label.to_owned(), value)),
        }
    }

    /// The checksum of a message must agree. Without its frame a file may have been changed on purpose.
    fn checksum(&mut self, line: &SourceLine<'a>, value: &str) {
        self.last = LastLine::Single;
        self.framing.has_checksum = true;
        let stated = value.parse::<u16>().ok();
        if stated.is_some_and(|stated| crc::agrees(self.source.before(line.start), stated, self.assumptions.checksum)) {
            return;
        }
        if self.framing.is_message {
            self.faults.push_in(line.number, "CRC", FaultKind::Checksum(excerpt(value)));
        } else {
            self.warnings.push(Warning { line: Some(line.number), kind: WarningKind::ChecksumDiffers(excerpt(value)) });
        }
    }

    fn close_trace(&mut self) {
        let Some(open) = self.radii.take() else { return };
        let (line, eye, object) = (open.line, open.eye, open.object.clone());
        let (is_equal, agrees) = (open.is_equal, open.check_counts(&mut self.faults));
        if open.has_idle_angles() {
            self.warnings.push(Warning { line: Some(line), kind: WarningKind::AnglesLeftOut("A", eye) });
        }
        // Radii are checked even when their count is wrong, so that every fault is reported at once.
        let angles = (!is_equal && agrees).then(|| open.angles.into_hundredths(360));
        let raw = RawTrace { eye, radii: open.values.into_hundredths(60), angles, labels: FaultLabels::OF_RECORDS };
        let trace = raw.check(&mut self.faults).filter(|_| agrees).and_then(|trace| self.turned(trace));
        *self.traces.get_mut(eye) = trace;
        *self.objects.get_mut(eye) = object;
    }

    /// The trace in the front view, where the device starts or runs otherwise.
    fn turned(&self, trace: Trace) -> Option<Trace> {
        let angles = match trace.angles() {
            Angles::Unequal(list) => Some(list.clone()),
            _ => None,
        };
        let (radii, angles) = DeviceTurn::of(&self.assumptions).list(trace.radii().to_vec(), angles);
        Trace::new(trace.eye(), radii, angles.map_or(Angles::Equal, Angles::Unequal)).ok()
    }

    fn close_depth(&mut self) {
        let Some(open) = self.depth_list.take() else { return };
        let (line, eye, promised, found) = (open.line, open.eye, open.promised, open.found().0);
        let is_left_out = self.assumptions.depth == BrokenDepth::LeftOut;
        let mut faults = Faults::default();
        let agrees = open.check_counts(if is_left_out { &mut faults } else { &mut self.faults });
        if !agrees {
            if is_left_out {
                let kind = WarningKind::DepthLeftOut { eye, promised, found };
                self.warnings.push(Warning { line: Some(line), kind });
            }
            return;
        }
        let is_equal = open.is_equal;
        let list = |items: Vec<LineNumber>| items.into_iter().map(|item| item.hundredths).collect();
        let angles = (!is_equal).then(|| list(open.angles.into_hundredths(360)));
        let (heights, angles) = DeviceTurn::of(&self.assumptions).list(list(open.values.into_hundredths(40)), angles);
        *self.depth.get_mut(eye) = Some(Depth { heights, angles });
    }

    /// A message that was cut off has no end.
    fn check_end(&mut self, bytes: &[u8], last_line: usize) {
        let start = bytes.iter().rposition(|&byte| byte == FS).filter(|_| self.framing.is_message);
        if let Some(start) = start
            && !bytes[start..].contains(&GS)
        {
            self.faults.push(last_line, FaultKind::NoEnd);
        }
    }

    fn finish(mut self, last_line: usize) -> Result<TraceFile, Vec<RecordFault>> {
        self.close_trace();
        self.close_depth();
        if !self.faults.is_empty() {
            return Err(self.faults.into_list());
        }
        self.leave_out_holes();
        self.warnings.extend(self.measures.warnings());
        let Some((traces, derived)) = complete(self.traces.right, self.traces.left) else {
            self.faults.push(last_line, FaultKind::NoTrace);
            return Err(self.faults.into_list());
        };
        let holes = holes_in_box(&self.holes, &traces, &self.assumptions, &mut self.warnings);
        let mut file = TraceFile {
            dbl_mm: self.measures.get("DBL").right,
            hbox_mm: self.measures.get("HBOX"),
            vbox_mm: self.measures.get("VBOX"),
            circ_mm: self.measures.get("CIRC"),
            fcrv_d: self.measures.get("FCRV"),
            ztilt_deg: self.measures.get("ZTILT"),
            panto_deg: self.measures.get("PANTO"),
            job: self.job,
            objects: self.objects,
            depth: self.depth,
            holes,
            items: self.items,
            framing: self.framing,
            warnings: self.warnings,
            ..TraceFile::of_traces(traces, derived)
        };
        file.warn_of_sizes();
        Ok(file)
    }
}

/// The holes of each eye from the middle of its box. Those that no lens of this size can have are left out and told.
fn holes_in_box(
    found: &Pair<Vec<FoundHole>>,
    traces: &Pair<Trace>,
    assumptions: &Assumptions,
    warnings: &mut Vec<Warning>,
) -> Pair<Vec<Hole>> {
    let mut holes: Pair<Vec<Hole>> = Pair::default();
    for eye in Eye::BOTH.into_iter().filter(|eye| !found.get(*eye).is_empty()) {
        let trace = traces.get(eye);
        let (middle, size) = (trace.middle(), Boxing::of(&trace.outline()));
        for FoundHole { hole, line, says } in found.get(eye) {
            let hole = drill::from_box(hole, middle, assumptions);
            if drill::is_possible(&hole, &size) {
                holes.get_mut(eye).push(hole);
                continue;
            }
            let (at, diameter_mm) = (hole.at, hole.diameter_mm);
            let kind = WarningKind::HoleNotPossible {
                says: says.clone(),
                eye,
                diameter_mm,
                x_mm: at.x_mm,
                y_mm: at.y_mm,
                a_mm: size.a_mm,
                b_mm: size.b_mm,
            };
            warnings.push(Warning { line: Some(*line), kind });
        }
    }
    holes
}

#[cfg(test)]
mod tests {
    use super::super::{read_any, write_as};
    use super::*;

    /// The text of a round trace of 12 radii.
    fn radii(value: i32) -> String {
        vec![value.to_string(); 12].join(";")
    }

    fn faults(text: &str) -> Vec<String> {
        parse(text.as_bytes()).expect_err("a fault").iter().map(ToString::to_string).collect()
    }

    #[test]
    fn reads_the_minimal_file_of_the_standard() {
        let text = format!(
            "REQ=FIL\r\nJOB=\"1042\"\r\nDO=B\r\nDBL=18.00\r\nHBOX=50.00;48.00\r\nVBOX=50.00;48.00\r\n\
             TRCFMT=1;12;E;R;F\r\nR={}\r\nTRCFMT=1;12;E;L;F\r\nR={}\r\n",
            radii(2500),
            radii(2400)
        );
        let file = parse(text.as_bytes()).unwrap();
        assert_eq!((file.job.as_deref(), file.dbl_mm, file.derived), (Some("1042"), Some(18.0), None));
        assert_eq!(file.traces.left.radii(), [2400; 12]);
        assert_eq!(file.value("DO"), Some("B"));
        assert_eq!(file.warnings, []);
    }

    #[test]
    fn is_lenient_about_what_tracers_write() {
        // Framing, LF, spaces, lists over lines with and without label, lower case, private and unknown records.
        let text = "\u{1c}job = \"A 7\" \n_XTRA=1;2\nhbox=?;50\nVBOX=0.00;50\nMEMO=one\n two\nTRCFMT=  1;12 ;E; L;F\n\
                    R=2500;2500 ; 2500;\n2500;2500;2500\nR=2500;2500;2500;2500;2500;2500\n\
                    ZFMT=1;3;E;L;F\nZ=10;-20;30\n\u{1d}";
        let file = parse(text.as_bytes()).unwrap();
        assert_eq!(file.job.as_deref(), Some("A 7"));
        assert_eq!((file.hbox_mm.right, file.hbox_mm.left), (None, Some(50.0)));
        assert_eq!((file.vbox_mm.right, file.vbox_mm.left), (None, Some(50.0)));
        assert_eq!(file.value("_XTRA"), Some("1;2"));
        assert_eq!(file.value("MEMO"), Some("onetwo"));
        assert_eq!(file.derived, Some(Eye::Right));
        assert_eq!(file.traces.right, file.traces.left.mirror());
        assert_eq!(file.depth.left.as_ref().map(|d| d.heights.clone()), Some(vec![10, -20, 30]));
    }

    #[test]
    fn reads_unequal_angles() {
        let angles: Vec<String> = (0..12).map(|i| (i * 3000 + 7 * i).to_string()).collect();
        let text = format!("TRCFMT=1;12;U;R;F\nR={}\nA={}\n", radii(2200), angles.join(";"));
        let file = parse(text.as_bytes()).unwrap();
        assert!((file.traces.right.angles_deg()[11] - 330.77).abs() < 1e-9);
    }

    #[test]
    fn reports_every_fault_with_its_line() {
        let text = format!(
            "HBOX=abc;52\nDBL=-3\nwhat is this\nTRCFMT=1;13;E;R;F\nR={}\nTRCFMT=1;12;E;L;F\n\
             R=2500;2500;400;2500;2500;2500\nR=2500;2x;2500;2500;2500\n",
            radii(2500)
        );
        assert_eq!(
            faults(&text),
            [
                "Line 1: HBOX: “abc” is not a number",
                "Line 2: DBL: -3 is out of range; between 1 and 50 mm was expected",
                "Line 3: “what is this” is not a record; LABEL=value was expected",
                "Line 4: TRCFMT: 13 points are stated for the right eye, but 12 R values follow",
                "Line 6: TRCFMT: 12 points are stated for the left eye, but 11 R values follow",
                "Line 7: R: radius 3 of the left eye is 4.00 mm; 5 to 50 mm was expected",
                "Line 8: R: “2x” is not a whole number of hundredths",
            ]
        );
    }

    #[test]
    fn each_broken_header_says_what_was_expected() {
        for (text, want) in [
            ("", "the file is empty"),
            ("JOB=1\n", "Line 1: the file ends without a trace"),
            ("R=2500;2500\n", "Line 1: R: this comes before a TRCFMT record"),
            ("TRCFMT=2;400;E;R;F\nR=\u{7f}\u{1}\n", "Line 2: R: 1 of the 400 numbers for the right eye"),
            ("TRCFMT=4;512;E;R;F\n", "512 points are stated for the right eye, but 0 R values follow"),
            ("TRCFMT=6;512;E;R;F\nR=x", "Line 1: TRCFMT: format 6 is a maker's own"),
            ("TRCFMT=9;512;E;R;F\n", "format 9 is a maker's own"),
            ("TRCFMT=x;7;E;R;F\n", "“x” is not a trace format"),
            ("TRCFMT=1;7;E;R;F\n", "“7” is not a count of points; 8 to "),
            ("TRCFMT=1;99999999999;E;R;F\nR=2500\n", "“99999999999” is not a count"),
            ("TRCFMT=1;12;X;R;F\n", "“X” does not say how the radii are spaced"),
            ("TRCFMT=1;12;E;B;F\n", "“B” is not a side"),
            ("TRCFMT=1;12;E;R;F\nTRCFMT=1;12;E;R;F\n", "Line 2: TRCFMT: this is a second trace of the right eye"),
            ("TRCFMT=1;12;U;R;F\nR=1;2\n", "but 0 A values follow"),
            ("JOB=1\n\u{1}\u{2}x\u{3}\n", "Line 2: this line is not text"),
        ] {
            let found = faults(text).join(" | ");
            assert!(found.contains(want), "{text:?}: {found}");
        }
    }

    #[test]
    fn reports_jumps_and_angles_that_decrease() {
        let mut list = vec![2500; 360];
        list[100] = 2801;
        let list: Vec<String> = list.iter().map(ToString::to_string).collect();
        let found = faults(&format!("TRCFMT=1;360;E;R;F\nR={}\n", list.join(";")));
        assert_eq!(found.len(), 2);
        assert!(
            found[0].contains("radius 101 of the right eye jumps from 25.00 to 28.01 mm; at most 3.0 mm"),
            "{found:?}"
        );
        let mut angles: Vec<String> = (0..12).map(|i| (i * 3000).to_string()).collect();
        angles[5] = "12000".into();
        let found = faults(&format!("TRCFMT=1;12;U;R;F\nR={}\nA={}\n", radii(2500), angles.join(";")));
        assert_eq!(
            found,
            ["Line 3: A: angle 6 of the right eye is 120.00°; angles that increase from 0 to 359.99 were expected"]
        );
    }

    #[test]
    fn a_list_belongs_to_the_format_record_last_opened() {
        // Thickness sets beside the traces, as public files have them: format record, radii, thicknesses.
        let text = format!(
            "TRCFMT=1;12;E;R;F\nR={0}\nSTHKFMT=1;3;E;R\nR=2400;2400\nR=2400\nT=210;215;220\n\
             TRCFMT=1;12;E;L;F\nR={0}\nSTHKFMT=1;2;E;L\nR=1\n2\nHBOX=50;50\n",
            radii(2500)
        );
        let file = parse(text.as_bytes()).unwrap();
        assert_eq!((file.traces.right.radii().len(), file.derived), (12, None));
        let sets: Vec<_> =
            file.items.iter().filter_map(|i| if let Item::Set(set) = i { Some(set) } else { None }).collect();
        let lists =
            |list: &[(&str, &str)]| list.iter().map(|(l, v)| (l.to_string(), v.to_string())).collect::<Vec<_>>();
        assert_eq!(sets[0].lists, lists(&[("R", "2400;2400;2400"), ("T", "210;215;220")]));
        assert_eq!(sets[1].lists, lists(&[("R", "1;2")]));
        let written = write_as(&file, TraceForm::Text, &Assumptions::default());
        let written = String::from_utf8(written).unwrap();
        assert!(
            written.contains("STHKFMT=1;3;E;R\r\nR=2400;2400;2400\r\nT=210;215;220\r\nTRCFMT=1;12;E;L;F"),
            "{written}"
        );
        // A binary set is kept byte for byte.
        let text = [b"TRCFMT=1;12;E;R;F\nR=", radii(2500).as_bytes(), b"\nXFMT=2;2;E;R\r\nR=\xc4\x1b\x91\xff=\x01\r\n"]
            .concat();
        let written = write_as(&parse(&text).unwrap(), TraceForm::Text, &Assumptions::default());
        assert!(written.ends_with(b"XFMT=2;2;E;R\r\nR=\xc4\x1b\x91\xff=\x01\r\n"), "{written:?}");
    }

    #[test]
    fn a_message_that_was_cut_or_damaged_is_refused() {
        let records = format!("JOB=1042\r\nTRCFMT=1;12;E;R;F\r\nR={}\r\n", radii(2500));
        let sum = crate::shape::record::crc::checksum(records.as_bytes(), super::super::assumption::Checksum::Any);
        let message = format!("\u{1c}{records}\u{1e}CRC={sum}\r\n\u{1d}");
        assert!(parse(message.as_bytes()).unwrap().framing.has_checksum);
        assert!(parse(message.replace("\r\n", "\n").as_bytes()).is_ok(), "line ends may change on the way");
        assert_eq!(
            faults(&message.replace("2500;2500", "2500;2501")),
            [format!("Line 4: CRC: the checksum {sum} is not that of the message: it was damaged on the way")]
        );
        assert_eq!(
            faults(message.trim_end_matches('\u{1d}')),
            ["Line 4: the message has a start (FS) but no end (GS): it was cut off"]
        );
        // A file without the frame may have been changed by hand.
        let file = parse(format!("{records}CRC=1\n").as_bytes()).unwrap();
        assert_eq!(file.warnings.len(), 1);
        let mut device = Assumptions::default();
        device.switch("checksum", "unchecked").unwrap();
        assert!(parse_as(message.replace("2500;2500", "2500;2501").as_bytes(), &device).is_ok());
    }

    #[test]
    fn depth_that_does_not_fit_is_refused_unless_it_may_be_left_out() {
        let text = format!("TRCFMT=1;12;E;R;F\nR={}\nZFMT=1;4;E;R;F\nZ=1;2;x\n", radii(2500));
        assert_eq!(faults(&text).len(), 2, "{:?}", faults(&text));
        let mut device = Assumptions::default();
        device.switch("depth", "left_out").unwrap();
        let file = parse_as(text.as_bytes(), &device).unwrap();
        assert_eq!((file.depth.right, file.warnings.len()), (None, 1));
    }

    #[test]
    fn jobs_are_text_and_numbers_may_have_a_point() {
        let text = format!(
            "JOB= \"B-10;42 / 7\" \nTRCFMT=1;12;U;R;P\nR={}\nA={}\n",
            ["25.10"; 12].join(";"),
            (0..12)
                .map(|i| format!("{i}.50"))
                .map(|a| a.replace(".50", ""))
                .map(|a| format!("{}.0", a.parse::<i32>().unwrap() * 30))
                .collect::<Vec<_>>()
                .join(";")
        );
        let file = parse(text.as_bytes()).unwrap();
        assert_eq!((file.job.as_deref(), file.objects.right.as_deref()), (Some("B-10;42 / 7"), Some("P")));
        assert_eq!((file.traces.right.radii()[0], file.traces.right.angles_deg()[11]), (2510, 330.0));
        let two = faults(&format!("JOB=1\nJOB=2\n{text}"));
        assert!(two[0].starts_with("Line 2: JOB: this is a second job, “2” after “1”"), "{two:?}");
        assert!(faults("TRCFMT=1;12;E;R;F\nR=NaN;inf;1e3;2500\n").len() >= 4);
    }

    /// A file of a megabyte can name tens of thousands of holes, and comparing each with each other takes minutes.
    #[test]
    fn more_holes_than_a_lens_has_are_left_out() {
        let trace = format!("TRCFMT=1;12;E;R;F\nR={}\n", radii(2500));
        let holes = |count: usize| "DRILL=R;-17;2;1.4\n".repeat(count);
        let most = parse((holes(MOST_HOLES) + &trace).as_bytes()).unwrap();
        assert_eq!((most.holes.right.len(), most.warnings.len()), (MOST_HOLES, 0));
        for count in [MOST_HOLES + 1, 40_000] {
            let file = parse((holes(count) + "DRILL=L;-17;2;1.4\n" + &trace).as_bytes()).unwrap();
            let said: Vec<String> = file.warnings.iter().map(ToString::to_string).collect();
            assert_eq!((file.holes.right.len(), file.holes.left.len()), (0, 1));
            assert_eq!(said, ["there are more than 12 holes for the right eye: they are left out, so measure them"]);
        }
        let file = parse(("DRILL=R;?\n".repeat(20_012) + &trace).as_bytes()).unwrap();
        assert_eq!(file.warnings.len(), MOST_HOLES + 1);
        assert_eq!(
            file.warnings[MOST_HOLES].to_string(),
            "20000 more drill records are not understood: their holes are left out, so measure them"
        );
    }

    #[test]
    fn a_hole_far_outside_of_the_lens_is_left_out_and_told() {
        let read = |record: &str| {
            let file = parse(format!("JOB=7\n{record}\nTRCFMT=1;12;E;R;F\nR={}\n", radii(2500)).as_bytes()).unwrap();
            let said: Vec<String> = file.warnings.iter().map(ToString::to_string).collect();
            (file.holes.right.len() + file.holes.left.len(), said)
        };
        let (holes, said) = read("DRILLE=R;C;80.00;5.00;1.50");
        assert_eq!(holes, 0);
        assert_eq!(
            said,
            [
                "Line 2: DRILLE=R;C;80.00;5.00;1.50 is a hole of 1.50 mm at x 80.00 and y 5.00 mm from the middle of the right \
              lens, which is 50.00 by 50.00 mm: it is left out, so measure it"
            ]
        );
        // Both eyes, the far end of a slot, hundredths taken for millimeters, a hole that no drill makes.
        for (record, told) in [
            ("DRILL=B;-80;5;1.5", 2),
            ("DRILL=R;-20;5;1.5;-60;5", 1),
            ("DRILL=L;2000;500;150", 1),
            ("DRILL=R;-20;5;40", 1),
        ] {
            let (holes, said) = read(record);
            assert_eq!((holes, said.len()), (0, told), "{record}: {said:?}");
            assert!(said.iter().all(|said| said.starts_with(&format!("Line 2: {record} is a hole"))), "{said:?}");
        }
        // A notch lies on the rim, and a hole may be named a little outside of it.
        for record in ["DRILL=R;-25;5;1.5", "DRILL=R;-28.5;5;1.5;-22;5"] {
            assert_eq!(read(record), (1, Vec::new()), "{record}");
        }
    }

    #[test]
    fn a_measure_stated_twice_is_a_warning_that_names_both() {
        let read = |records: &str| {
            let text = format!("{records}TRCFMT=1;12;E;R;F\nR={0}\nTRCFMT=1;12;E;L;F\nR={0}\n", radii(2500));
            let file = parse(text.as_bytes()).unwrap();
            let said: Vec<String> = file.warnings.iter().map(ToString::to_string).collect();
            (file, said)
        };
        let (file, said) = read("DBL=18\nJOB=7\nDBL=19.00;\n");
        assert_eq!(file.dbl_mm, Some(19.0));
        assert_eq!(said, ["Line 3: DBL says 19.00 mm, but line 1 says 18.00 mm; the last one is used"]);
        // Equal numbers are one, however they are written; one that is not known takes none away.
        for records in ["DBL=18\nDBL=18.00\ndbl=18;18\n", "DBL=18\nDBL=?\n", "DBL=?\nDBL=18\nDBL=\n", "DBL=0\nDBL=18\n"]
        {
            let (file, said) = read(records);
            assert_eq!((file.dbl_mm, said), (Some(18.0), Vec::<String>::new()), "{records}");
        }
        // One warning for a measure, of the last number and the last other one.
        assert_eq!(
            read("DBL=18\nDBL=19\nDBL=18\n").1,
            ["Line 3: DBL says 18.00 mm, but line 2 says 19.00 mm; the last one is used"]
        );
        let (file, said) = read("HBOX=50;50\nFCRV=4\nHBOX=50;50.05\nPANTO=8;9\nFCRV=-5.5\nPANTO=?;8\nHBOX=;\n");
        assert_eq!(
            (file.hbox_mm, file.panto_deg),
            (Pair::new(Some(50.0), Some(50.05)), Pair::new(Some(8.0), Some(8.0)))
        );
        assert_eq!(
            said,
            [
                "Line 3: HBOX of the left eye says 50.05 mm, but line 1 says 50.00 mm; the last one is used",
                "Line 5: FCRV says -5.50 D, but line 2 says 4.00 D; the last one is used",
                "Line 6: PANTO of the left eye says 8.00°, but line 4 says 9.00°; the last one is used",
            ]
        );
        for (label, one, other) in
            [("VBOX", "49.95", "50"), ("CIRC", "155", "157"), ("ZTILT", "1", "2"), ("FCRV", "0", "5")]
        {
            assert_eq!(read(&format!("{label}={one}\n{label}={other}\n")).1.len(), 1, "{label}");
        }
    }

    #[test]
    fn a_stated_box_that_differs_is_a_warning() {
        let text = format!("HBOX=50.10;50.11\nTRCFMT=1;12;E;R;F\nR={0}\nTRCFMT=1;12;E;L;F\nR={0}\n", radii(2500));
        let file = read_any(text.as_bytes()).unwrap();
        let found: Vec<String> = file.warnings.iter().map(ToString::to_string).collect();
        assert_eq!(
            found,
            [
                "HBOX of the left eye says 50.11 mm, but the trace measures 50.00 mm, more than 0.1 mm apart; the trace is used"
            ]
        );
    }

    #[test]
    fn a_stated_circumference_that_differs_is_a_warning() {
        // 24 sin 7.5° · 50 = 156.63 mm as a polygon, 157.08 mm as the smooth curve through so few points.
        let said = |records: &str| {
            let trace = format!("TRCFMT=1;12;E;R;F\nR={}\n", radii(2500));
            let file = parse((trace + records).as_bytes()).unwrap();
            file.warnings.iter().map(ToString::to_string).collect::<Vec<_>>()
        };
        let (shorter, longer) = (said("CIRC=156.00\n"), said("CIRC=160.50;160.50\n"));
        assert_eq!(
            longer,
            [
                "CIRC of the right eye says 160.50 mm, but the trace measures 157.08 mm around, and a rim is at most 3 mm longer \
              than its outline; the trace is used"
            ],
            "the left eye is the mirror image, and not measured"
        );
        assert_eq!(shorter.len(), 1, "{shorter:?}");
        for agrees in ["CIRC=156.70\n", "CIRC=157.10;150\n", "CIRC=159.90\n", "CIRC=?;170\n"] {
            assert_eq!(said(agrees), [""; 0], "{agrees}");
        }
        // With its depth traced, here flat, the rim is as long as it is.
        let flat = format!("ZFMT=1;12;E;R;F\nZ={}\n", ["5"; 12].join(";"));
        assert_eq!(
            said(&format!("CIRC=158.00\n{flat}")),
            [
                "CIRC of the right eye says 158.00 mm, but the trace measures 157.08 mm along the rim, more than 0.5 mm apart; \
              the trace is used"
            ]
        );
        assert_eq!(said(&format!("CIRC=157.40\n{flat}")), [""; 0]);
    }

    #[test]
    fn a_large_or_unreadable_file_gets_few_faults() {
        assert!(faults(&"x".repeat(MAX_BYTES + 1))[0].contains("1048577 bytes"));
        let found = faults(&"garbage\n".repeat(5000));
        assert_eq!(found.len(), 101);
        assert!(found[100].contains("and 4900 more faults"));
    }
}
