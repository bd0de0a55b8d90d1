//! Reads records leniently: any line ending, spaces around values, lists over several lines with or without their
//! label, message framing, private labels, unknown values.

use super::check::{LineNumber, RawTrace};
use super::fault::{FaultKind, Faults, Warning, WarningKind, excerpt};
use super::{Depth, MAX_BYTES, RecordFault, TraceFile, complete, decimal, numbered_lines, text_of, whole};
use crate::optics::{Eye, Pair};
use crate::shape::outline::{MAX_POINTS, MIN_POINTS};
use crate::shape::trace::Trace;

/// The records whose values may run over several lines.
const LISTS: [&str; 4] = ["R", "A", "Z", "ZA"];
/// The records this file reads as single values.
const SINGLES: [&str; 11] = ["TRCFMT", "ZFMT", "JOB", "DBL", "HBOX", "VBOX", "CIRC", "FCRV", "ZTILT", "PANTO", "CRC"];

/// Reads the text form of the interchange records.
///
/// # Errors
///
/// Every fault found, in line order. Reading stops at a binary trace, because what follows is not text.
pub fn parse(bytes: &[u8]) -> Result<TraceFile, Vec<RecordFault>> {
    let mut reader = RecordReader::default();
    if bytes.len() > MAX_BYTES {
        reader.faults.push(1, FaultKind::TooLarge(bytes.len()));
        return Err(reader.faults.into_list());
    }
    let text = text_of(bytes);
    if text.trim().is_empty() {
        reader.faults.push(1, FaultKind::Empty);
        return Err(reader.faults.into_list());
    }
    let mut last_line = 1;
    for (line, text) in numbered_lines(&text) {
        // FS, GS and RS frame a message; NUL and SUB pad old files.
        let text = text.trim_matches(|c: char| {
            c.is_whitespace() || ('\u{1c}'..='\u{1e}').contains(&c) || c == '\0' || c == '\u{1a}'
        });
        if text.is_empty() {
            continue;
        }
        last_line = line;
        if !reader.line(line, text) {
            return Err(reader.faults.into_list());
        }
    }
    reader.finish(last_line)
}

/// A trace being read: its header and the numbers so far.
struct Open {
    header_line: usize,
    eye: Eye,
    promised: usize,
    is_equal: bool,
    values: Vec<LineNumber>,
    angles: Vec<LineNumber>,
    /// Values that could not be read. Already reported, but counted with the others.
    unread_values: usize,
    unread_angles: usize,
}

#[derive(Default)]
struct RecordReader {
    faults: Faults,
    warnings: Vec<Warning>,
    last_label: Option<String>,
    trace: Option<Open>,
    depth_trace: Option<Open>,
    /// The numbers of a trace with a faulty header are skipped.
    is_skipping: bool,
    seen: Pair<bool>,
    traces: Pair<Option<Trace>>,
    depth: Pair<Option<Depth>>,
    job: Option<String>,
    dbl_mm: Option<f64>,
    hbox_mm: Pair<Option<f64>>,
    vbox_mm: Pair<Option<f64>>,
    circ_mm: Pair<Option<f64>>,
    fcrv_d: Pair<Option<f64>>,
    ztilt_deg: Pair<Option<f64>>,
    panto_deg: Pair<Option<f64>>,
    records: Vec<(String, String)>,
}

impl RecordReader {
    /// Reads one line; `false` when nothing after it can be read.
    fn line(&mut self, line: usize, text: &str) -> bool {
        if let Some((label, value)) = text.split_once('=') {
            let label = label.trim();
            if !label.is_empty() && label.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_') {
                let label = if label.starts_with('_') { label.to_owned() } else { label.to_ascii_uppercase() };
                self.last_label = Some(label.clone());
                return self.record(line, &label, value.trim());
            }
        } else if let Some(label) = self.last_label.clone() {
            if LISTS.contains(&label.as_str()) {
                return self.record(line, &label, text);
            }
            if !SINGLES.contains(&label.as_str())
                && let Some((_, value)) = self.records.last_mut()
            {
                value.push_str(text);
                return true;
            }
        }
        let kind =
            if text.chars().any(char::is_control) { FaultKind::NotText } else { FaultKind::NotARecord(excerpt(text)) };
        self.faults.push(line, kind);
        true
    }

    fn record(&mut self, line: usize, label: &str, value: &str) -> bool {
        match label {
            "TRCFMT" => return self.open_trace(line, value),
            "ZFMT" => self.open_depth(line, value),
            "R" | "A" | "Z" | "ZA" => self.numbers(line, label, value),
            "JOB" => {
                let job = value.trim_matches('"').trim();
                self.job = (!job.is_empty() && job != "?").then(|| job.to_owned());
            }
            "DBL" => self.dbl_mm = self.pair(line, label, value, Some((1.0, 50.0))).right,
            "HBOX" => self.hbox_mm = self.pair(line, label, value, Some((10.0, 100.0))),
            "VBOX" => self.vbox_mm = self.pair(line, label, value, Some((10.0, 100.0))),
            "CIRC" => self.circ_mm = self.pair(line, label, value, None),
            "FCRV" => self.fcrv_d = self.pair(line, label, value, None),
            "ZTILT" => self.ztilt_deg = self.pair(line, label, value, None),
            "PANTO" => self.panto_deg = self.pair(line, label, value, None),
            "CRC" => {}
            _ => self.records.push((label.to_owned(), value.to_owned())),
        }
        true
    }

    /// Right and left values; one value stands for both; empty or `?` is unknown.
    fn pair(&mut self, line: usize, label: &str, value: &str, range: Option<(f64, f64)>) -> Pair<Option<f64>> {
        let mut read = |text: &str| {
            let text = text.trim();
            if text.is_empty() || text == "?" {
                return None;
            }
            let Some(value) = decimal(text) else {
                let kind = FaultKind::NotANumber { label: label.to_owned(), text: excerpt(text) };
                self.faults.push(line, kind);
                return None;
            };
            // Some devices write 0 for a size they do not know.
            if range.is_some() && value == 0.0 {
                return None;
            }
            if let Some((min, max)) = range
                && !(min..=max).contains(&value)
            {
                self.faults.push(line, FaultKind::OutOfRange { label: label.to_owned(), value, min, max });
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

    fn open_trace(&mut self, line: usize, value: &str) -> bool {
        self.close_trace();
        self.close_depth();
        self.is_skipping = true;
        let mut fields = value.split(';').map(str::trim);
        let mut field = || fields.next().unwrap_or_default();
        let format = field();
        match whole(format) {
            Some(1) => {}
            // 0 and ? mean that there is no trace.
            Some(0) => return true,
            _ if format == "?" => return true,
            Some(binary @ 2..=4) => {
                self.faults.push(line, FaultKind::BinaryFormat(binary));
                return false;
            }
            _ => {
                self.faults.push(line, FaultKind::Format(excerpt(format)));
                return true;
            }
        }
        let (count, spacing, side) = (field(), field(), field());
        let promised =
            whole(count).and_then(|n| usize::try_from(n).ok()).filter(|n| (MIN_POINTS..=MAX_POINTS).contains(n));
        if promised.is_none() {
            self.faults.push(line, FaultKind::PointCount(excerpt(count)));
        }
        let is_equal = match spacing {
            "E" | "e" => Some(true),
            "U" | "u" => Some(false),
            _ => {
                self.faults.push(line, FaultKind::Spacing(excerpt(spacing)));
                None
            }
        };
        let eye = eye_of(side);
        match eye {
            None => self.faults.push(line, FaultKind::Side(excerpt(side))),
            Some(eye) if *self.seen.get(eye) => self.faults.push(line, FaultKind::SecondTrace(eye)),
            Some(Eye::Right) => self.seen.right = true,
            Some(Eye::Left) => self.seen.left = true,
        }
        if let (Some(promised), Some(is_equal), Some(eye)) = (promised, is_equal, eye) {
            self.is_skipping = false;
            self.trace = Some(Open::new(line, eye, promised, is_equal));
        }
        true
    }

    /// Depth is optional and never a reason to refuse a shape. A header that cannot be read leaves it out.
    fn open_depth(&mut self, line: usize, value: &str) {
        self.close_depth();
        let fields: Vec<&str> = value.split(';').map(str::trim).collect();
        let [format, count, spacing, side, ..] = fields[..] else { return };
        let promised = whole(count).and_then(|n| usize::try_from(n).ok()).filter(|n| (1..=MAX_POINTS).contains(n));
        if let (Some(1), Some(promised), Some(eye)) = (whole(format), promised, eye_of(side)) {
            self.depth_trace = Some(Open::new(line, eye, promised, spacing.eq_ignore_ascii_case("E")));
        }
    }

    fn numbers(&mut self, line: usize, label: &str, value: &str) {
        let is_depth = label.starts_with('Z');
        let open = if is_depth { &mut self.depth_trace } else { &mut self.trace };
        let Some(open) = open else {
            if !is_depth && !self.is_skipping {
                self.faults.push(line, FaultKind::BeforeFormat(label.to_owned()));
                // Reported once only.
                self.is_skipping = true;
            }
            return;
        };
        // A list broken over lines may end each with its separator.
        let value = value.strip_suffix(';').unwrap_or(value);
        let (list, unread) = match label.ends_with('A') {
            true => (&mut open.angles, &mut open.unread_angles),
            false => (&mut open.values, &mut open.unread_values),
        };
        for text in value.split(';').map(str::trim) {
            match whole(text) {
                Some(hundredths) => {
                    if list.len() <= MAX_POINTS {
                        list.push(LineNumber { line, hundredths });
                    }
                }
                None => {
                    *unread += 1;
                    if !is_depth {
                        let kind = FaultKind::NotWhole { label: label.to_owned(), text: excerpt(text) };
                        self.faults.push(line, kind);
                    }
                }
            }
        }
    }

    fn close_trace(&mut self) {
        let Some(open) = self.trace.take() else { return };
        let (eye, promised) = (open.eye, open.promised);
        let (radii, angles) = open.found();
        let mut counts = vec![("R", radii)];
        if !open.is_equal {
            counts.push(("A", angles));
        }
        let mut agrees = !open.is_broken();
        for (label, found) in counts {
            if found != promised {
                agrees = false;
                self.faults.push(open.header_line, FaultKind::Count { label, eye, promised, found });
            }
        }
        // Radii are checked even when their count is wrong, so that every fault is reported at once.
        let angles = (!open.is_equal && agrees).then_some(open.angles);
        let trace = RawTrace { eye, radii: open.values, angles }.check(&mut self.faults);
        if agrees {
            match eye {
                Eye::Right => self.traces.right = trace,
                Eye::Left => self.traces.left = trace,
            }
        }
    }

    fn close_depth(&mut self) {
        let Some(open) = self.depth_trace.take() else { return };
        let (eye, promised) = (open.eye, open.promised);
        let (found, angles) = open.found();
        let angles_agree = open.is_equal || angles == promised;
        if open.is_broken() || found != promised || !angles_agree {
            let kind = WarningKind::DepthLeftOut { eye, promised, found };
            self.warnings.push(Warning { line: Some(open.header_line), kind });
            return;
        }
        let list = |items: Vec<LineNumber>| items.into_iter().map(|item| item.hundredths).collect();
        let depth = Depth { heights: list(open.values), angles: (!open.is_equal).then(|| list(open.angles)) };
        match eye {
            Eye::Right => self.depth.right = Some(depth),
            Eye::Left => self.depth.left = Some(depth),
        }
    }

    fn finish(mut self, last_line: usize) -> Result<TraceFile, Vec<RecordFault>> {
        self.close_trace();
        self.close_depth();
        if !self.faults.is_empty() {
            return Err(self.faults.into_list());
        }
        let Some((traces, derived)) = complete(self.traces.right, self.traces.left) else {
            self.faults.push(last_line, FaultKind::NoTrace);
            return Err(self.faults.into_list());
        };
        let mut file = TraceFile {
            job: self.job,
            dbl_mm: self.dbl_mm,
            hbox_mm: self.hbox_mm,
            vbox_mm: self.vbox_mm,
            circ_mm: self.circ_mm,
            fcrv_d: self.fcrv_d,
            ztilt_deg: self.ztilt_deg,
            panto_deg: self.panto_deg,
            depth: self.depth,
            records: self.records,
            warnings: self.warnings,
            ..TraceFile::of_traces(traces, derived)
        };
        file.warn_of_boxes();
        Ok(file)
    }
}

impl Open {
    fn new(header_line: usize, eye: Eye, promised: usize, is_equal: bool) -> Self {
        Self {
            header_line,
            eye,
            promised,
            is_equal,
            values: Vec::new(),
            angles: Vec::new(),
            unread_values: 0,
            unread_angles: 0,
        }
    }

    /// How many values and angles the file has.
    fn found(&self) -> (usize, usize) {
        (self.values.len() + self.unread_values, self.angles.len() + self.unread_angles)
    }

    fn is_broken(&self) -> bool {
        self.unread_values + self.unread_angles > 0
    }
}

fn eye_of(side: &str) -> Option<Eye> {
    match side {
        "R" | "r" => Some(Eye::Right),
        "L" | "l" => Some(Eye::Left),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::super::read_any;
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
                    ZFMT=1;3;E;L;F\nZ=10;-20;30\n\u{1e}CRC=12345\n\u{1d}";
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
                "Line 2: DBL is -3; between 1 and 50 mm was expected",
                "Line 3: “what is this” is not a record; LABEL=value was expected",
                "Line 4: TRCFMT states 13 radii for the right eye, but 12 R values follow",
                "Line 6: TRCFMT states 12 radii for the left eye, but 11 R values follow",
                "Line 7: radius 3 of the left eye is 4.00 mm; 5 to 50 mm was expected",
                "Line 8: R: “2x” is not a whole number of hundredths",
            ]
        );
    }

    #[test]
    fn each_broken_header_says_what_was_expected() {
        for (text, want) in [
            ("", "the file is empty"),
            ("JOB=1\n", "Line 1: the file ends without a trace"),
            ("R=2500;2500\n", "Line 1: R comes before a TRCFMT record"),
            ("TRCFMT=2;400;E;R;F\nR=\u{7f}\u{1}\n", "binary format 2; only the text format (TRCFMT=1)"),
            ("TRCFMT=4;512;E;R;F\n", "binary format 4"),
            ("TRCFMT=9;512;E;R;F\n", "“9” is not a trace format"),
            ("TRCFMT=1;7;E;R;F\n", "“7” is not a count of radii; 8 to 4000"),
            ("TRCFMT=1;4001;E;R;F\n", "“4001” is not a count"),
            ("TRCFMT=1;12;X;R;F\n", "“X” does not say how the radii are spaced"),
            ("TRCFMT=1;12;E;B;F\n", "“B” is not a side"),
            ("TRCFMT=1;12;E;R;F\nTRCFMT=1;12;E;R;F\n", "Line 2: this is a second trace of the right eye"),
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
            ["Line 3: angle 6 of the right eye is 120.00°; angles that increase from 0 to 359.99 were expected"]
        );
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
    fn a_large_or_unreadable_file_gets_few_faults() {
        assert!(faults(&"x".repeat(MAX_BYTES + 1))[0].contains("1048577 bytes"));
        let found = faults(&"garbage\n".repeat(5000));
        assert_eq!(found.len(), 101);
        assert!(found[100].contains("and 4900 more faults"));
    }
}
