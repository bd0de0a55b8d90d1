//! Writes records strictly: CR LF, ten numbers per line of text, no line of a trace over 80 characters.

use std::fmt::Write;

use super::assumption::Assumptions;
use super::coded::{TraceForm, write_list};
use super::crc::checksum;
use super::drill;
use super::turn::DeviceTurn;
use super::{DataSet, Depth, Item, TraceFile};
use crate::optics::{Eye, Pair};
use crate::shape::boxing::Boxing;
use crate::shape::trace::{Angles, Trace};

const FS: u8 = 0x1c;
const GS: u8 = 0x1d;
const RS: u8 = 0x1e;
const NUMBERS_PER_LINE: usize = 10;
/// Keeps `JOB="…"` within the 80 characters.
const MAX_JOB_CHARS: usize = 60;

/// Writes both eyes as text for other devices.
///
/// `HBOX` and `VBOX` come from the traces. Records that were not interpreted on reading are not written. A trace that
/// starts half a step after 0° is written with its angles.
pub fn write(file: &TraceFile) -> String {
    let mut writer = Writer { file, form: TraceForm::Text, assumptions: Assumptions::default(), bytes: Vec::new() };
    usual_items(file).iter().for_each(|item| writer.item(item));
    String::from_utf8_lossy(&writer.bytes).into_owned()
}

/// Writes what was read, every record in its place, the traces in any form and as the device expects them. A file that
/// was not read from records has the usual ones.
pub fn write_as(file: &TraceFile, form: TraceForm, assumptions: &Assumptions) -> Vec<u8> {
    let mut writer = Writer { file, form, assumptions: *assumptions, bytes: Vec::new() };
    let usual = if file.items.is_empty() { usual_items(file) } else { Vec::new() };
    file.items.iter().chain(&usual).for_each(|item| writer.item(item));
    let records = writer.bytes;
    let sum = checksum(&records, assumptions.checksum);
    let is_message = file.framing.is_message;
    let mut bytes = if is_message { vec![FS] } else { Vec::new() };
    bytes.extend(records);
    if file.framing.has_checksum {
        if is_message {
            bytes.push(RS);
        }
        bytes.extend(format!("CRC={sum}\r\n").into_bytes());
    }
    if is_message {
        bytes.push(GS);
    }
    bytes
}

/// The records of a file for other devices.
pub(super) fn usual_items(file: &TraceFile) -> Vec<Item> {
    let record = |label: &str, value: String| Item::Record(label.to_owned(), value);
    let mut items = vec![record("REQ", "FIL".to_owned())];
    if let Some(job) = &file.job {
        let clean: String = job.chars().filter(|c| (' '..='~').contains(c) && *c != '"').take(MAX_JOB_CHARS).collect();
        items.push(record("JOB", format!("\"{}\"", clean.trim())));
    }
    items.push(record("DO", "B".to_owned()));
    items.extend(file.dbl_mm.map(|dbl_mm| record("DBL", format!("{dbl_mm:.2}"))));
    let size = file.outlines().as_ref().map(Boxing::of);
    items.push(record("HBOX", format!("{:.2};{:.2}", size.right.a_mm, size.left.a_mm)));
    items.push(record("VBOX", format!("{:.2};{:.2}", size.right.b_mm, size.left.b_mm)));
    let measures =
        [("CIRC", &file.circ_mm), ("FCRV", &file.fcrv_d), ("ZTILT", &file.ztilt_deg), ("PANTO", &file.panto_deg)];
    let known = |values: &Pair<Option<f64>>| values.right.is_some() || values.left.is_some();
    items.extend(measures.into_iter().filter(|m| known(m.1)).map(|(label, values)| record(label, pair(values))));
    items.extend(Eye::BOTH.map(Item::Holes));
    items.extend(Eye::BOTH.into_iter().flat_map(|eye| [Item::Trace(eye), Item::Depth(eye)]));
    items
}

struct Writer<'a> {
    file: &'a TraceFile,
    form: TraceForm,
    assumptions: Assumptions,
    bytes: Vec<u8>,
}

impl Writer<'_> {
    fn item(&mut self, item: &Item) {
        match item {
            Item::Record(label, value) => self.record(label, value),
            Item::Trace(eye) => self.trace(*eye),
            Item::Depth(eye) => self.depth(*eye),
            Item::Holes(eye) => self.holes(*eye),
            Item::Set(set) => self.set(set),
        }
    }

    fn record(&mut self, label: &str, value: &str) {
        let line = format!("{label}={value}").replace(char::is_control, " ");
        self.bytes.extend(line.into_bytes());
        self.bytes.extend(b"\r\n");
    }

    fn trace(&mut self, eye: Eye) {
        let trace = self.file.traces.get(eye);
        let object = self.file.objects.get(eye).as_deref().unwrap_or("F");
        self.data(["TRCFMT", "R", "A"], eye, object, trace.radii().to_vec(), listed_angles(trace));
    }

    fn depth(&mut self, eye: Eye) {
        let Some(Depth { heights, angles }) = self.file.depth.get(eye) else { return };
        let object = self.file.objects.get(eye).as_deref().unwrap_or("F");
        self.data(["ZFMT", "Z", "ZA"], eye, object, heights.clone(), angles.clone());
    }

    fn holes(&mut self, eye: Eye) {
        let middle = self.file.traces.get(eye).middle();
        for hole in self.file.holes.get(eye) {
            let (label, value) = drill::write(eye, hole, middle, &self.assumptions);
            self.record(label, &value);
        }
    }

    fn data(&mut self, labels: [&str; 3], eye: Eye, object: &str, values: Vec<i32>, angles: Option<Vec<i32>>) {
        let [format, value_label, angle_label] = labels;
        let (values, angles) = DeviceTurn::of(&self.assumptions).inverse().list(values, angles);
        let spacing = if angles.is_none() { "E" } else { "U" };
        let (form, count, side) = (self.form.number(), values.len(), eye.letter());
        self.record(format, &format!("{form};{count};{spacing};{side};{object}"));
        self.list(value_label, &values);
        if let Some(angles) = angles {
            self.list(angle_label, &angles);
        }
    }

    fn list(&mut self, label: &str, numbers: &[i32]) {
        if self.form != TraceForm::Text {
            let coded = write_list(numbers, self.form, &self.assumptions);
            self.bytes.extend([label.as_bytes(), b"=", &coded, b"\r\n"].concat());
            return;
        }
        for chunk in numbers.chunks(NUMBERS_PER_LINE) {
            self.record(label, &joined(chunk));
        }
    }

    /// A data set that is not a trace, as it came.
    fn set(&mut self, set: &DataSet) {
        self.record(&set.label, &set.format);
        for (label, values) in &set.lists {
            if set.is_binary() {
                for line in values.split('\n') {
                    self.bytes.extend(format!("{label}=").into_bytes());
                    // One character a byte.
                    self.bytes.extend(line.chars().map(|c| u8::try_from(c).unwrap_or(b'?')));
                    self.bytes.extend(b"\r\n");
                }
                continue;
            }
            let numbers: Vec<&str> = values.split(';').map(str::trim).collect();
            for chunk in numbers.chunks(NUMBERS_PER_LINE) {
                self.record(label, &chunk.join(";"));
            }
        }
    }
}

/// The angles of a trace, where a file must list them.
fn listed_angles(trace: &Trace) -> Option<Vec<i32>> {
    match trace.angles() {
        Angles::Equal => None,
        Angles::Unequal(list) => Some(list.clone()),
        Angles::EqualFromHalfStep => Some(trace.angles_deg().iter().map(|deg| (deg * 100.0).round() as i32).collect()),
    }
}

fn joined(numbers: &[i32]) -> String {
    let mut line = String::with_capacity(numbers.len() * 5);
    for (index, number) in numbers.iter().enumerate() {
        let separator = if index == 0 { "" } else { ";" };
        // Writing to a string cannot fail.
        let _ = write!(line, "{separator}{number}");
    }
    line
}

fn pair(values: &Pair<Option<f64>>) -> String {
    let text = |value: &Option<f64>| value.map_or_else(|| "?".to_owned(), |v| format!("{v:.2}"));
    format!("{};{}", text(&values.right), text(&values.left))
}

#[cfg(test)]
mod tests {
    use super::super::{Framing, parse, parse_as};
    use super::*;
    use crate::shape::hole::Hole;
    use crate::shape::outline::Point;
    use crate::shape::trace::Trace;
    use proptest::prelude::*;

    /// Radii that stay within the limit on jumps.
    fn any_radii(n: usize) -> impl Strategy<Value = Vec<i32>> {
        prop::collection::vec(2400..=2600_i32, n)
    }

    fn any_trace(eye: Eye) -> impl Strategy<Value = Trace> {
        let equal = (8..500_usize).prop_flat_map(any_radii).prop_map(|radii| (radii, Angles::Equal));
        let unequal = (8..360_usize).prop_flat_map(|n| (any_radii(n), prop::collection::vec(0..90_i32, n))).prop_map(
            |(radii, shifts)| {
                let step = 36_000 / radii.len() as i32;
                let angles = shifts.iter().zip(0..).map(|(s, i)| i * step + s).collect();
                (radii, Angles::Unequal(angles))
            },
        );
        prop_oneof![equal, unequal].prop_map(move |(radii, angles)| Trace::new(eye, radii, angles).unwrap())
    }

    fn any_depth() -> impl Strategy<Value = Option<Depth>> {
        prop::option::of((8..100_usize).prop_flat_map(|n| {
            (prop::collection::vec(-900..900_i32, n), prop::option::of(prop::collection::vec(0..36_000_i32, n)))
                .prop_map(|(heights, angles)| Depth { heights, angles })
        }))
    }

    fn any_holes() -> impl Strategy<Value = Vec<Hole>> {
        let mm = |range| prop::num::i32::ANY.prop_map(move |n: i32| f64::from(n.rem_euclid(range) - range / 2) / 100.0);
        let place = move || (mm(4000), mm(4000)).prop_map(|(x_mm, y_mm)| Point::new(x_mm, y_mm));
        let apart = |at: Point, end: Point| Some(end).filter(|end| *end != at);
        let hole = (place(), prop::option::of(place()), 50..600_i32).prop_map(move |(at, end, d)| Hole {
            at,
            slot_end: end.and_then(|end| apart(at, end)),
            diameter_mm: f64::from(d) / 100.0,
        });
        prop::collection::vec(hole, 0..3)
    }

    prop_compose! {
        fn any_file()(
            right in any_trace(Eye::Right), left in any_trace(Eye::Left),
            job in prop::option::of("[A-Z0-9][A-Za-z0-9 /=;-]{0,20}[A-Z0-9]"),
            dbl in prop::option::of(100..3000_i32), curve in prop::option::of(0..1200_i32),
            depth_right in any_depth(), depth_left in any_depth(), holes_right in any_holes(), holes_left in any_holes(),
        ) -> TraceFile {
            let mm = |h: i32| f64::from(h) / 100.0;
            TraceFile {
                job,
                dbl_mm: dbl.map(mm),
                fcrv_d: Pair::new(curve.map(mm), None),
                depth: Pair::new(depth_right, depth_left),
                holes: Pair::new(holes_right, holes_left),
                ..TraceFile::of_traces(Pair::new(right, left), None)
            }
        }
    }

    #[test]
    fn writes_the_minimal_file() {
        let round = |eye| Trace::new(eye, vec![2500; 12], Angles::Equal).unwrap();
        let mut file = TraceFile::of_traces(Pair::new(round(Eye::Right), round(Eye::Left)), None);
        (file.job, file.dbl_mm) = (Some("10\"42\r\nR=1".into()), Some(18.0));
        let radii = "R=2500;2500;2500;2500;2500;2500;2500;2500;2500;2500\r\nR=2500;2500\r\n";
        assert_eq!(
            write(&file),
            format!(
                "REQ=FIL\r\nJOB=\"1042R=1\"\r\nDO=B\r\nDBL=18.00\r\nHBOX=50.00;50.00\r\nVBOX=50.00;50.00\r\n\
                 TRCFMT=1;12;E;R;F\r\n{radii}TRCFMT=1;12;E;L;F\r\n{radii}"
            )
        );
    }

    proptest! {
        #[test]
        fn what_is_written_reads_back(file in any_file()) {
            let text = write(&file);
            prop_assert!(text.split("\r\n").all(|line| line.len() <= 80 && !line.contains('\n')));
            let mut back = parse(text.as_bytes()).unwrap();
            prop_assert!(back.warnings.is_empty());
            prop_assert_eq!((back.value("REQ"), back.value("DO")), (Some("FIL"), Some("B")));
            // Stated by the writer, not by the file that was written.
            back.items.clear();
            back.objects = Pair::default();
            (back.hbox_mm, back.vbox_mm) = (Pair::default(), Pair::default());
            prop_assert_eq!(back, file);
        }

        #[test]
        fn binary_to_text_to_binary_is_the_same_bytes(
            file in any_file(), form in prop::sample::select(vec![TraceForm::Binary, TraceForm::Differences, TraceForm::Packed]),
            start in prop::sample::select(vec!["right", "top", "left", "bottom"]), is_clockwise in any::<bool>(),
            is_message in any::<bool>(), has_checksum in any::<bool>(),
        ) {
            let mut device = Assumptions::default();
            device.switch("first_radius", start).unwrap();
            device.switch("direction", if is_clockwise { "clockwise" } else { "counter_clockwise" }).unwrap();
            let framed = TraceFile { framing: Framing { is_message, has_checksum }, ..file };
            let binary = write_as(&framed, form, &device);
            let read = parse_as(&binary, &device).unwrap();
            let text = write_as(&read, TraceForm::Text, &device);
            let again = parse_as(&text, &device).unwrap();
            prop_assert_eq!(&again, &read);
            prop_assert_eq!(write_as(&again, form, &device), binary);
        }
    }
}
