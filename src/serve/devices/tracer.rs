//! A shape that a tracer sends: kept as an upload is kept, or refused whole.

use time::OffsetDateTime;

use super::host::{Conversation, Host, Reply, has_its_shape, no_job, not_kept};
use crate::desk::eye_by_eye::TraceMessage;
use crate::desk::frame_shape::{NewShape, ShapeWarning};
use crate::desk::job::{EventKind, Job, Stage};
use crate::desk::text;
use crate::optics::Eye;
use crate::shape::record::{Assumptions, parse_as};
use crate::shape::wire::frame::messages;
use crate::shape::wire::{AnswerStatus, Message};
use crate::store::StoreError;
use crate::store::once::{Once, act};
use crate::web::words::capital;

const SENT: &str = "sent a shape";
/// The longest name of a trace.
const LONGEST_NAME: usize = 100;
/// What is kept of a long line's name: its end, which tells ports apart.
const LINE_KEPT: usize = 80;

/// What one eye is to the shape that is on file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum SentEye {
    /// Both eyes came at once.
    Both,
    /// One eye; the other one may follow.
    First(Eye),
    /// One eye; its device traces no other.
    Alone(Eye),
    /// One eye, whose other one came just before.
    Second(Eye),
    /// The same, but something was made by the other one meanwhile.
    TooLate(Eye),
    /// One eye, whose other one came so many minutes before or earlier: too long ago to belong to it for certain.
    Stale(Eye, u64),
}

/// The eye that a trace lacks, as its device sent it before.
enum Earlier {
    /// It did not.
    No,
    /// Just before.
    Fresh(Box<TraceMessage>),
    /// More than so many minutes before.
    Stale(u64),
}

impl Conversation {
    /// The name of a trace that comes from here. It ends with the line, by which the other eye is known again.
    fn trace_name(&self) -> String {
        let line = self.line_end();
        let with_model = self.model.as_ref().map(|model| format!("trace from {model} at {line}"));
        let clean = |name: String| text::line("A name", &name, LONGEST_NAME).ok();
        with_model.and_then(clean).unwrap_or_else(|| format!("trace from {line}"))
    }

    /// Whether a trace of this name came over this line.
    fn has_sent(&self, trace_name: &str) -> bool {
        let line = self.line_end();
        trace_name
            .strip_prefix("trace from ")
            .is_some_and(|from| from == line || from.ends_with(&format!(" at {line}")))
    }

    fn line_end(&self) -> String {
        let line: Vec<char> = self.line.chars().filter(|c| !c.is_control() && !c.is_whitespace()).collect();
        line[line.len().saturating_sub(LINE_KEPT)..].iter().collect()
    }
}

impl Host {
    /// Keeps a shape, or says why not. One eye makes one shape with the other, where that came from the same device for the
    /// same job just before, in a message of its own.
    pub(super) async fn keep_shape(&self, message: &Message, from: &Conversation, assumptions: &Assumptions) -> Reply {
        // One at a time: what is on file stays as it is from the look at it until the shape is kept.
        let _turn = self.keeping.lock().await;
        let job = match self.job_or_record(message).await {
            Ok(job) => job,
            Err(why) => return no_job(SENT, why),
        };
        let number = job.number;
        let refused = |why: String| Reply::refused(SENT, Some(number), why);
        if job.old.is_some() && job.shape.is_some() {
            return refused(has_its_shape(number));
        }
        // Perhaps the number of another job was keyed. Its page takes a new shape all the same.
        if job.shape.is_some() && job.stage_of_work() >= Stage::Cut {
            return refused(format!("job {number} is cut by the shape on file"));
        }
        let came = match read(&message.bytes, assumptions) {
            Ok(came) => came,
            Err(why) => return refused(why),
        };
        let on_file = match self.bytes_on_file(&job).await {
            Ok(on_file) => on_file,
            Err(why) => return refused(not_kept(&why)),
        };
        // The same bytes again are a repeat of a device that did not hear us.
        if messages(&on_file).any(|kept| kept == message.bytes) {
            return again(number);
        }
        let first = other_eye(&job, &came, &on_file, self.now(), from, assumptions);
        let (shape, sent) = match join(&job, &came, first, from, assumptions) {
            Ok(joined) => joined,
            Err(why) => return refused(why),
        };
        // After the owner put another shape on file, the same trace may come again on purpose.
        let before = job.shape.map_or_else(String::new, |shape| shape.0.to_string());
        let key = act(&format!("device-shape-{number}"), [&message.bytes[..], before.as_bytes()]);
        match self.put_on_file(&key, number, &shape).await {
            Ok(Once::Now(())) => {
                if let SentEye::Stale(eye, minutes) = sent
                    && let Err(why) = self
                        .note(
                            &act(&format!("device-note-{number}"), [&key]),
                            number,
                            &capital(&stale_words(eye, minutes)),
                        )
                        .await
                {
                    tracing::warn!("the history of a job does not say that an eye came late: {why}");
                }
                kept(&job, &shape, sent)
            }
            Ok(Once::Before(_)) => again(number),
            Err(StoreError::MovedOn(_)) => refused(format!("job {number} is past the step of tracing")),
            Err(why) => refused(not_kept(&why)),
        }
    }
}

/// The shape in a message, or why there is none.
fn read(bytes: &[u8], assumptions: &Assumptions) -> Result<TraceMessage, String> {
    let first = |faults: Vec<_>| faults.first().map_or_else(String::new, ToString::to_string);
    Ok(TraceMessage { file: parse_as(bytes, assumptions).map_err(first)?, bytes: bytes.to_vec() })
}

/// The eye that `came` lacks, where the same device sent it for the same job before, in a message of its own.
fn other_eye(
    job: &Job,
    came: &TraceMessage,
    on_file: &[u8],
    now: OffsetDateTime,
    from: &Conversation,
    assumptions: &Assumptions,
) -> Earlier {
    let Some((eye, within)) = came.file.only_eye().zip(assumptions.other_eye.within()) else { return Earlier::No };
    let Some(last) = job.last(EventKind::ShapeKept).filter(|last| from.has_sent(&last.note)) else {
        return Earlier::No;
    };
    let earlier = messages(on_file).filter_map(|bytes| read(bytes, assumptions).ok());
    match earlier.filter(|earlier| earlier.file.only_eye() == Some(eye.other())).last() {
        None => Earlier::No,
        Some(_) if now - last.at > within => Earlier::Stale(within.as_secs() / 60),
        Some(earlier) => Earlier::Fresh(Box::new(earlier)),
    }
}

/// The shape to be kept, or why there is none.
fn join(
    job: &Job,
    came: &TraceMessage,
    first: Earlier,
    from: &Conversation,
    assumptions: &Assumptions,
) -> Result<(NewShape, SentEye), String> {
    let (both, sent) = match (came.file.only_eye(), first) {
        (None, _) => (None, SentEye::Both),
        (Some(eye), Earlier::Stale(minutes)) => (None, SentEye::Stale(eye, minutes)),
        (Some(eye), Earlier::Fresh(_)) if job.is_shape_used() => (None, SentEye::TooLate(eye)),
        (Some(eye), Earlier::Fresh(first)) => match TraceMessage::joined(&first, came) {
            Some(both) => (Some(both), SentEye::Second(eye)),
            None => (None, SentEye::First(eye)),
        },
        (Some(eye), Earlier::No) if assumptions.other_eye.within().is_none() => (None, SentEye::Alone(eye)),
        (Some(eye), Earlier::No) => (None, SentEye::First(eye)),
    };
    let message = both.as_ref().unwrap_or(came);
    let mut shape = message.shape(&from.trace_name(), job.frame.details.bridge).map_err(|why| why.to_string())?;
    if let SentEye::Stale(eye, minutes) = sent {
        shape.warnings.push(ShapeWarning { kind: "other_eye_stale", says: stale_words(eye, minutes) });
    }
    Ok((shape, sent))
}

/// What the shape's page, the history and the page of the devices say of an eye that came too late.
fn stale_words(eye: Eye, minutes: u64) -> String {
    let (eye, other) = (eye.name(), eye.other().name());
    let ago = if minutes == 1 { "a minute".to_owned() } else { format!("{minutes} minutes") };
    format!(
        "the {eye} eye came more than {ago} after the {other} one, so the two were not joined, and the {other} eye is the \
         mirror image of the {eye} one: trace the {other} eye again"
    )
}

fn again(number: i64) -> Reply {
    let words = format!("sent the shape of job {number} again; it is on file already");
    Reply::done(AnswerStatus::Done, Some(number), words)
}

fn kept(job: &Job, shape: &NewShape, sent: SentEye) -> Reply {
    let replaces = job.shape.is_some() && !matches!(sent, SentEye::Second(_));
    let earlier = if replaces { "; the earlier shape stays on file" } else { "" };
    let odd = match sent {
        // Its sentence is that warning.
        SentEye::Stale(..) => None,
        _ => shape.warnings.first(),
    };
    let odd = odd.map_or_else(String::new, |warning| format!("; {}", warning.says));
    let words = format!("{}{earlier}{odd}", kept_words(job.number, sent));
    let reply = Reply::done(AnswerStatus::Done, Some(job.number), words);
    if replaces || !shape.warnings.is_empty() { reply.worth_a_look() } else { reply }
}

fn kept_words(number: i64, sent: SentEye) -> String {
    let eye_of = |eye: Eye| format!("sent the {} eye of job {number}, which was kept", eye.name());
    match sent {
        SentEye::Both => format!("sent the shape of job {number}, which was kept"),
        SentEye::First(eye) => {
            format!("{}; its mirror image stands for the {} one until that comes", eye_of(eye), eye.other().name())
        }
        SentEye::Alone(eye) => format!("{}; its mirror image stands for the {} one", eye_of(eye), eye.other().name()),
        SentEye::Second(eye) => format!("{} as one shape with the {} one", eye_of(eye), eye.other().name()),
        SentEye::Stale(eye, minutes) => format!("{}; {}", eye_of(eye), stale_words(eye, minutes)),
        SentEye::TooLate(eye) => format!(
            "{} by itself, because something was made by the {other} one already: send the {other} one again, or \
             the mirror image stands for it",
            eye_of(eye),
            other = eye.other().name()
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_trace_is_known_again_by_its_line() {
        let long = format!("/dev/serial/by-id/{}-port0", "x".repeat(120));
        for line in ["192.0.2.7", "/dev/ttyUSB0", &long] {
            let mut from = Conversation::new(line);
            let unnamed = from.trace_name();
            from.model = Some("Fjordline T2".to_owned());
            for name in [unnamed, from.trace_name()] {
                assert!(from.has_sent(&name) && name.len() <= LONGEST_NAME, "{name}");
                assert!(!Conversation::new("2.7").has_sent(&name) && !Conversation::new("USB0").has_sent(&name));
            }
        }
        assert!(!Conversation::new("192.0.2.7").has_sent("192.0.2.7"), "a file that was uploaded");
    }
}
