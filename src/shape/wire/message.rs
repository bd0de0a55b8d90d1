//! What a message says: its records, without the lists of a trace, which [`crate::shape::record`] reads.

use std::collections::HashMap;

use super::super::record::{Assumptions, TraceForm, agrees};
use super::frame::{FS, GS, RS};

/// The most records looked at; a device sends a few dozen.
const MOST_RECORDS: usize = 400;
/// The longest value looked at.
const LONGEST_VALUE: usize = 200;
/// The longest label.
const LONGEST_LABEL: usize = 16;
/// The records that are lists, or open one.
const LISTS: [&str; 5] = ["R", "A", "Z", "ZA", "T"];

/// A message whose checksum agrees, or that has none.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message {
    /// As it came, with FS and GS.
    pub bytes: Vec<u8>,
    /// Label and value of its records, without lists.
    records: Vec<(String, String)>,
    /// Whether it has the radii of a trace.
    pub has_radii: bool,
    /// Whether it has a checksum.
    pub has_checksum: bool,
}

/// Why a framed message is not taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotTaken {
    /// Its checksum does not agree.
    Damaged,
    /// It has no record, so it names nothing: no request, no job and no shape.
    Empty,
}

/// The form in which a device wants a shape.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct TraceWish {
    /// How numbers are written.
    pub form: TraceForm,
    /// How many radii; as on file where the device does not say.
    pub count: Option<usize>,
}

impl Message {
    /// Reads a framed message.
    ///
    /// # Errors
    ///
    /// [`NotTaken`]. A checksum alone is no record.
    pub fn read(bytes: Vec<u8>, assumptions: &Assumptions) -> Result<Self, NotTaken> {
        let (mut records, mut has_radii, mut has_checksum) = (Vec::new(), false, false);
        let mut place = 0;
        for line in bytes.split_inclusive(|byte| matches!(byte, b'\r' | b'\n')) {
            let start = place;
            place += line.len();
            let Some((label, value)) = record_of(line) else { continue };
            match label.as_str() {
                "CRC" => {
                    has_checksum = true;
                    let stated = value.parse().map_err(|_| NotTaken::Damaged)?;
                    if !agrees(&bytes[..start], stated, assumptions.checksum) {
                        return Err(NotTaken::Damaged);
                    }
                }
                "R" => has_radii = true,
                list if LISTS.contains(&list) => {}
                _ if records.len() < MOST_RECORDS => records.push((label, value)),
                _ => {}
            }
        }
        if records.is_empty() && !has_radii {
            return Err(NotTaken::Empty);
        }
        Ok(Self { bytes, records, has_radii, has_checksum })
    }

    /// The value of the first record with this label; `None` where it is empty or says that it is not known.
    pub fn value(&self, label: &str) -> Option<&str> {
        let value = self.records.iter().find(|record| record.0 == label).map(|record| record.1.as_str());
        value.filter(|value| !value.is_empty() && *value != "?")
    }

    /// What the device asks for: `INI`, `TRC`, `EDG`, ...; `None` for an answer of its own.
    pub fn request(&self) -> Option<String> {
        self.value("REQ").map(|request| request.chars().take(8).collect::<String>().to_ascii_uppercase())
    }

    /// Whether it answers a message of ours.
    pub fn is_answer(&self) -> bool {
        self.records.iter().any(|(label, _)| ["ANS", "STATUS"].contains(&label.as_str()))
    }

    /// The job as it was keyed or scanned.
    pub fn job(&self) -> Option<&str> {
        self.value("JOB").map(|job| job.trim_matches('"').trim()).filter(|job| !job.is_empty())
    }

    /// Its number in the book; `None` for a text that is no number of a job.
    pub fn job_number(&self) -> Option<i64> {
        let job = self.job()?;
        job.bytes().all(|byte| byte.is_ascii_digit()).then(|| job.parse().ok()).flatten()
    }

    /// What the device calls itself: its maker and model, or its kind.
    pub fn device(&self) -> Option<String> {
        let named: Vec<&str> = ["VEN", "MODEL"].iter().filter_map(|label| self.value(label)).collect();
        let name = if named.is_empty() { self.value("DEV")?.to_owned() } else { named.join(" ") };
        let clean: String = name.chars().filter(|c| !c.is_control() && *c != '"').take(40).collect();
        Some(clean.trim().to_owned()).filter(|name| !name.is_empty())
    }

    /// The labels that a device wants in answer to a request of its own, as it says when it introduces itself:
    /// `DEF=request`, `D=label;label` as often as needed, `ENDDEF=request`.
    pub fn definitions(&self) -> HashMap<String, Vec<String>> {
        let mut wanted: HashMap<String, Vec<String>> = HashMap::new();
        let mut open: Option<String> = None;
        for (label, value) in &self.records {
            match (label.as_str(), &open) {
                ("DEF", _) => open = value.split([';', ',']).next().map(|request| request.trim().to_ascii_uppercase()),
                ("ENDDEF", _) => open = None,
                ("D", Some(request)) => {
                    let labels = value.split([';', ',']).map(|label| label.trim().to_ascii_uppercase());
                    wanted.entry(request.clone()).or_default().extend(labels.filter(|label| !label.is_empty()));
                }
                _ => {}
            }
        }
        wanted
    }

    /// The first form among its format records that can be written. Only one without radii is a wish.
    pub fn wish(&self) -> Option<TraceWish> {
        if self.has_radii {
            return None;
        }
        let formats = self.records.iter().filter(|record| record.0 == "TRCFMT");
        formats.map(|record| &record.1).find_map(|value| {
            let mut fields = value.split(';').map(str::trim);
            let form = TraceForm::of_number(fields.next()?.parse().ok()?)?;
            let count = fields.next().and_then(|count| count.parse().ok()).filter(|count| WISHED.contains(count));
            Some(TraceWish { form, count })
        })
    }
}

/// How many radii a device may ask for.
const WISHED: std::ops::RangeInclusive<usize> = 36..=4000;

/// Label and value of a line; `None` for anything else.
fn record_of(line: &[u8]) -> Option<(String, String)> {
    let framing = |byte: &u8| byte.is_ascii_whitespace() || [FS, GS, RS].contains(byte);
    let from = line.iter().position(|byte| !framing(byte))?;
    let to = line.iter().rposition(|byte| !framing(byte))?;
    let line = &line[from..=to];
    let equals = line.iter().take(LONGEST_LABEL + 1).position(|byte| *byte == b'=')?;
    let label = line[..equals].trim_ascii();
    if label.is_empty() || !label.iter().all(|byte| byte.is_ascii_alphanumeric() || *byte == b'_') {
        return None;
    }
    let value = line[equals + 1..].trim_ascii();
    let label = String::from_utf8_lossy(label).to_ascii_uppercase();
    // A list may be binary and is read elsewhere.
    let value = if LISTS.contains(&label.as_str()) { &[] } else { &value[..value.len().min(LONGEST_VALUE)] };
    Some((label, String::from_utf8_lossy(value).into_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(bytes: &[u8]) -> Result<Message, NotTaken> {
        Message::read(bytes.to_vec(), &Assumptions::default())
    }

    #[test]
    fn reads_what_a_device_says() {
        let message =
            read(b"\x1cREQ=INI\r\nDEV=TRC\r\nVEN=Fjordline\r\nMODEL=T2\r\nTRCFMT=6;400\r\nTRCFMT=3;512;E;B\r\n\x1d")
                .expect("no checksum");
        assert_eq!(message.request().as_deref(), Some("INI"));
        assert_eq!(message.device().as_deref(), Some("Fjordline T2"));
        assert_eq!(message.wish(), Some(TraceWish { form: TraceForm::Differences, count: Some(512) }));
        assert_eq!((message.job(), message.has_radii, message.has_checksum), (None, false, false));
        let trace = read(b"\x1c req = TRC\nJOB=\"1042\"\nTRCFMT=2;400;E;R;F\nR=\x01\x02JOB=7\n\x1d").expect("read");
        assert_eq!((trace.request().as_deref(), trace.job_number()), (Some("TRC"), Some(1042)));
        assert!(trace.has_radii && trace.wish().is_none());
        for (job, number) in [("TRAY 12", None), ("\"0042\"", Some(42)), ("-3", None), ("?", None), ("", None)] {
            let asked = read(format!("\x1cREQ=EDG\r\nJOB={job}\r\n\x1d").as_bytes()).expect("read");
            assert_eq!(asked.job_number(), number, "{job}");
        }
        for (text, is_answer) in [("JOB=7", false), ("ANS=", true), ("STATUS=0", true)] {
            let said = read(format!("\x1c{text}\r\n\x1d").as_bytes()).expect("read");
            assert_eq!((said.request(), said.is_answer()), (None, is_answer), "{text}");
        }
    }

    #[test]
    fn a_message_without_a_record_is_not_taken() {
        let sum = crate::shape::record::crc::checksum(b"", Assumptions::default().checksum);
        let checked = format!("\x1c\x1eCRC={sum}\r\n\x1d");
        let long = format!("\x1c{}=1\r\n\x1d", "L".repeat(LONGEST_LABEL + 1));
        for bytes in [&b"\x1c\x1d"[..], b"\x1c\r\n\x1d", b"\x1c123\r\n=5\r\n\x1d", b"\x1cA=1;2\r\n\x1d"] {
            assert_eq!(read(bytes), Err(NotTaken::Empty), "{bytes:?}");
        }
        assert_eq!((read(checked.as_bytes()), read(long.as_bytes())), (Err(NotTaken::Empty), Err(NotTaken::Empty)));
        for bytes in [&b"\x1c_X=1\x1d"[..], b"\x1cR=2200\r\n\x1d"] {
            assert!(read(bytes).is_ok(), "{bytes:?}");
        }
    }

    #[test]
    fn a_device_says_which_records_it_wants() {
        let said = "\x1cREQ=INI\r\nD=LOST\r\nDEF=BLK\r\nD=IPD;ocht\r\nD=DBL\r\nENDDEF=BLK\r\nDEF=edg;1\r\nD=TRCFMT,BEVP;\r\n\x1d";
        let wanted = read(said.as_bytes()).expect("no checksum").definitions();
        let of = |request: &str| wanted.get(request).map(|labels| labels.join(" "));
        assert_eq!((of("BLK").as_deref(), of("EDG").as_deref()), (Some("IPD OCHT DBL"), Some("TRCFMT BEVP")));
        assert_eq!(wanted.len(), 2);
    }

    #[test]
    fn a_checksum_that_differs_is_no_message() {
        assert!(read(b"\x1cREQ=INI\r\n\x1d").is_ok_and(|message| !message.has_checksum));
        let sum = crate::shape::record::crc::checksum(b"REQ=INI\r\n", Assumptions::default().checksum);
        let with = |sum: &str| format!("\x1cREQ=INI\r\n\x1eCRC={sum}\r\n\x1d").into_bytes();
        assert!(read(&with(&sum.to_string())).is_ok_and(|message| message.has_checksum));
        for wrong in ["1", "x"] {
            assert_eq!(read(&with(wrong)), Err(NotTaken::Damaged), "{wrong}");
        }
        let unchecked =
            Assumptions { checksum: crate::shape::record::assumption::Checksum::Unchecked, ..Assumptions::default() };
        assert!(Message::read(with("1"), &unchecked).is_ok());
    }
}
