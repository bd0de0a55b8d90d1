//! What the host says to a device.

use super::super::record::assumption::{Refusal, SentChecksum};
use super::super::record::crc::checksum;
use super::super::record::{Assumptions, Item, TraceFile, write_as};
use super::frame::{FS, GS, RS};
use super::message::{Message, TraceWish};
use crate::optics::{Eye, Pair};
use crate::shape::outline::OutlineError;
use crate::shape::trace::{Angles, Trace};

/// The longest sentence beside a status, so that the line stays within 80 characters.
const LONGEST_REASON: usize = 64;
/// The longest job that is repeated in an answer.
const LONGEST_JOB: usize = 60;

/// What became of a request. The numbers: 0 and 1 from a description of the standard, 2 from memory.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum AnswerStatus {
    /// Done: 0.
    Done,
    /// The job is not on file: 1.
    UnknownJob,
    /// The job is on file and is none that a device works on, and why: 1, which every device knows as a job that it cannot have.
    NoWork(String),
    /// Not done, and why: 2.
    Refused(String),
}

impl AnswerStatus {
    fn value(&self, rule: Refusal) -> String {
        match (self, rule) {
            (AnswerStatus::Done, _) => "0".to_owned(),
            (AnswerStatus::UnknownJob, _) => "1".to_owned(),
            (AnswerStatus::NoWork(why), _) => format!("1;{}", plain(why, LONGEST_REASON)),
            (AnswerStatus::Refused(why), Refusal::Numbered) => format!("2;{}", plain(why, LONGEST_REASON)),
            (AnswerStatus::Refused(why), Refusal::AsUnknown) => format!("1;{}", plain(why, LONGEST_REASON)),
        }
    }
}

/// An answer before it is written.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// What became of the request.
    pub status: AnswerStatus,
    /// Records in their order, label and value.
    pub records: Vec<(&'static str, String)>,
    /// A shape, written after them.
    pub shape: Option<Pair<Trace>>,
}

impl From<AnswerStatus> for Answer {
    fn from(status: AnswerStatus) -> Self {
        Self { status, records: Vec::new(), shape: None }
    }
}

impl Answer {
    /// The message that answers another one: `ANS`, `JOB`, `STATUS`, then the records and the shape as the device wants it.
    pub fn write(&self, to: &Message, wish: TraceWish, assumptions: &Assumptions) -> Vec<u8> {
        let mut records = Vec::new();
        let mut record = |label: &str, value: &str| records.extend(format!("{label}={value}\r\n").into_bytes());
        let asked = to.request().or_else(|| to.value("ANS").map(str::to_owned)).unwrap_or_default();
        record("ANS", &plain(&asked, LONGEST_JOB));
        if let Some(job) = to.job() {
            record("JOB", &format!("\"{}\"", plain(job, LONGEST_JOB)));
        }
        record("STATUS", &self.status.value(assumptions.refusal));
        self.records.iter().for_each(|(label, value)| record(label, &plain(value, LONGEST_REASON)));
        if let Some(traces) = &self.shape {
            records.extend(written(traces, wish, assumptions));
        }
        let has_checksum = match assumptions.sent_checksum {
            SentChecksum::AsReceived => to.has_checksum,
            SentChecksum::Always => true,
            SentChecksum::Never => false,
        };
        framed(&records, has_checksum, assumptions)
    }
}

/// Records between FS and GS, with their checksum after RS where there is to be one.
pub fn framed(records: &[u8], has_checksum: bool, assumptions: &Assumptions) -> Vec<u8> {
    let mut bytes = vec![FS];
    bytes.extend(records);
    if has_checksum {
        bytes.push(RS);
        bytes.extend(format!("CRC={}\r\n", checksum(records, assumptions.checksum)).into_bytes());
    }
    bytes.push(GS);
    bytes
}

/// Printable ASCII of a limited length, which no device misreads.
fn plain(text: &str, most: usize) -> String {
    let known = |c: char| match c {
        '“' | '”' => '\'',
        '’' => '\'',
        '–' => '-',
        ' '..='~' => c,
        _ => '?',
    };
    text.chars().map(known).take(most).collect()
}

/// The trace records of both eyes. A count that the device wants is met by radii of the outline; where the outline has
/// no such radii, it is sent as it is on file.
fn written(traces: &Pair<Trace>, wish: TraceWish, assumptions: &Assumptions) -> Vec<u8> {
    let counted = |eye: Eye| -> Result<Trace, OutlineError> {
        let trace = traces.get(eye);
        match wish.count {
            Some(count) if trace.radii().len() != count || *trace.angles() != Angles::Equal => {
                Trace::of_outline(eye, &trace.outline(), count)
            }
            _ => Ok(trace.clone()),
        }
    };
    let sent = |eye: Eye| counted(eye).unwrap_or_else(|_| traces.get(eye).clone());
    let mut file = TraceFile::of_traces(Pair::new(sent(Eye::Right), sent(Eye::Left)), None);
    file.items = vec![Item::Trace(Eye::Right), Item::Trace(Eye::Left)];
    write_as(&file, wish.form, assumptions)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::shape::record::{TraceForm, parse};

    fn request(text: &str) -> Message {
        Message::read(text.as_bytes().to_vec(), &Assumptions::default()).expect("no checksum")
    }

    fn square_ish() -> Pair<Trace> {
        let radii: Vec<i32> = (0..400).map(|at| 2200 + (at % 100 - 50) * (at % 100 - 50) / 10).collect();
        let right = Trace::new(Eye::Right, radii, Angles::Equal).expect("a shape");
        Pair::new(right.clone(), right.mirror())
    }

    #[test]
    fn an_answer_names_request_job_and_status() {
        let (asked, assumed) = (request("\x1cREQ=EDG\r\nJOB=1042\r\n\x1d"), Assumptions::default());
        let answer = Answer { records: vec![("DBL", "18.00".to_owned())], ..AnswerStatus::Done.into() };
        let bytes = answer.write(&asked, TraceWish::default(), &assumed);
        assert_eq!(bytes, b"\x1cANS=EDG\r\nJOB=\"1042\"\r\nSTATUS=0\r\nDBL=18.00\r\n\x1d");
        let refused = Answer::from(AnswerStatus::Refused("Job 1042 is “cut”\r\nalready".to_owned()));
        let bytes = refused.write(&asked, TraceWish::default(), &assumed);
        assert_eq!(bytes, b"\x1cANS=EDG\r\nJOB=\"1042\"\r\nSTATUS=2;Job 1042 is 'cut'??already\r\n\x1d");
        let as_unknown = Assumptions { refusal: Refusal::AsUnknown, ..assumed };
        assert!(
            String::from_utf8_lossy(&refused.write(&asked, TraceWish::default(), &as_unknown)).contains("STATUS=1;")
        );
    }

    #[test]
    fn a_checksum_is_sent_to_whom_sends_one() {
        let asked = request("\x1cREQ=INI\r\n\x1d");
        let always = Assumptions { sent_checksum: SentChecksum::Always, ..Assumptions::default() };
        let bytes = Answer::from(AnswerStatus::Done).write(&asked, TraceWish::default(), &always);
        let sum = checksum(b"ANS=INI\r\nSTATUS=0\r\n", always.checksum);
        assert_eq!(bytes, format!("\x1cANS=INI\r\nSTATUS=0\r\n\x1eCRC={sum}\r\n\x1d").into_bytes());
        assert!(Message::read(bytes, &Assumptions::default()).is_ok_and(|read| read.has_checksum));
    }

    #[test]
    fn a_shape_is_sent_in_the_form_and_count_asked_for() {
        let asked = request("\x1cREQ=EDG\r\nJOB=1042\r\n\x1d");
        for form in [TraceForm::Text, TraceForm::Binary, TraceForm::Differences, TraceForm::Packed] {
            for count in [None, Some(1000)] {
                let answer = Answer { shape: Some(square_ish()), ..AnswerStatus::Done.into() };
                let bytes = answer.write(&asked, TraceWish { form, count }, &Assumptions::default());
                assert_eq!(bytes.iter().filter(|byte| **byte == GS).count(), 1, "{form:?}");
                let read = parse(&bytes).expect("read again");
                assert_eq!(read.traces.right.radii().len(), count.unwrap_or(400));
                if count.is_none() {
                    assert_eq!(read.traces, square_ish(), "{form:?}");
                }
            }
        }
    }
}
