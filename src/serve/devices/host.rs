//! What the book says to a device.

use std::sync::Arc;

use tokio::runtime::Handle;
use tokio::task::spawn_blocking;

use crate::bench::device_records::{Placed, records};
use crate::bench::edge_finish::usual_edges;
use crate::bench::layout::{JobLayout, step_of};
use crate::bench::layout_record::LayoutRecord;
use crate::desk::frame_shape::{NewShape, Original, ShapeOrigin};
use crate::desk::job::{Job, Stage};
use crate::desk::text;
use crate::optics::Eye;
use crate::shape::record::assumption::BareTrace;
use crate::shape::record::{Assumptions, parse_as};
use crate::shape::wire::{Answer, Message, Status, TraceWish};
use crate::store::StoreError;
use crate::store::once::{Once, act};
use crate::web::AppState;
use crate::web::devices::{Devices, Said};
use crate::web::error::WebError;
use crate::web::page::layout::supply_of;

/// The requests for the records of a job: an edger, a blocker, a drill. Data Communication Standard (from memory).
const JOB_REQUESTS: [&str; 3] = ["EDG", "BLK", "DRL"];
/// The longest name of a trace.
const LONGEST_NAME: usize = 100;

/// The book, as devices see it.
#[derive(Debug, Clone)]
pub struct Host {
    state: AppState,
    /// Whether what is said is printed too.
    is_telling: bool,
}

/// What a device told of itself on its line.
#[derive(Debug, Clone)]
pub struct Conversation {
    line: String,
    model: Option<String>,
    wish: TraceWish,
}

impl Conversation {
    /// Nothing yet.
    pub fn new(line: &str) -> Self {
        Self { line: line.to_owned(), model: None, wish: TraceWish::default() }
    }

    /// The device for a reader: its model where it said it, and its line.
    pub fn name(&self) -> String {
        match &self.model {
            Some(model) => format!("{model} at {}", self.line),
            None => self.line.clone(),
        }
    }
}

/// An answer, and the sentence about it.
struct Reply {
    answer: Option<Answer>,
    words: String,
    job: Option<i64>,
    is_trouble: bool,
}

impl Reply {
    fn done(answer: impl Into<Answer>, job: Option<i64>, words: String) -> Self {
        Self { answer: Some(answer.into()), words, job, is_trouble: false }
    }

    /// `asked` is what the device did, `why` the rest of the sentence and what the device is told.
    fn refused(asked: &str, job: Option<i64>, why: String) -> Self {
        let words = format!("{asked}, and was refused: {why}");
        Self { answer: Some(Status::Refused(why).into()), words, job, is_trouble: true }
    }

    fn unknown(asked: &str, typed: &str) -> Self {
        let words = format!("{asked}, but no job “{typed}” is in the book; nothing was stored");
        Self { answer: Some(Status::UnknownJob.into()), words, job: None, is_trouble: true }
    }
}

/// Why a job could not be had.
enum NoJob {
    /// No number was sent.
    Unnamed,
    /// There is none.
    Unknown(String),
    /// Anything else, in words for the device.
    Other(i64, String),
}

impl Host {
    /// The book behind the pages.
    pub fn new(state: AppState) -> Self {
        Self { state, is_telling: false }
    }

    /// The book without pages: what is said is printed.
    pub fn telling(state: AppState) -> Self {
        Self { state, is_telling: true }
    }

    /// What is known of the devices.
    pub fn devices(&self) -> &Devices {
        &self.state.devices
    }

    /// Keeps a sentence about a device.
    pub fn say(&self, device: &str, words: &str) {
        self.keep_said(device, words.to_owned(), None, false);
    }

    /// The same, where somebody should look at it.
    pub fn say_trouble(&self, device: &str, words: &str) {
        self.keep_said(device, words.to_owned(), None, true);
    }

    fn keep_said(&self, device: &str, words: String, job: Option<i64>, is_trouble: bool) {
        if self.is_telling {
            super::print_line(&format!("{device} {words}."));
        }
        let (at, device) = (self.state.clock.now(), device.to_owned());
        self.state.devices.say(Said { at, device, words, job, is_trouble, times: 1 });
    }

    /// Keeps bytes as they were.
    pub fn keep_raw(&self, device: &str, is_ours: bool, bytes: &[u8]) {
        self.state.devices.keep_raw(self.state.clock.now(), device, is_ours, bytes);
    }

    /// Answers a message, beside the threads that answer pages. `None` where there is nothing to say.
    pub async fn answer(
        &self,
        message: Message,
        conversation: &mut Conversation,
        assumptions: Assumptions,
    ) -> Option<Vec<u8>> {
        if message.request().as_deref() == Some("INI") {
            conversation.model = message.device();
            conversation.wish = message.wish().unwrap_or_default();
        }
        let (host, device, wish) = (self.clone(), conversation.name(), conversation.wish);
        let handle = Handle::current();
        let answered = spawn_blocking(move || {
            let reply = handle.block_on(host.reply(&message, &device, &assumptions));
            let bytes = reply.answer.map(|answer| answer.write(&message, message.wish().unwrap_or(wish), &assumptions));
            host.keep_said(&device, reply.words, reply.job, reply.is_trouble);
            bytes
        });
        match answered.await {
            Ok(bytes) => bytes,
            Err(why) => {
                tracing::error!("a device was not answered: {why}");
                None
            }
        }
    }

    async fn reply(&self, message: &Message, device: &str, assumptions: &Assumptions) -> Reply {
        let request = message.request();
        match request.as_deref() {
            _ if message.has_radii => self.keep_shape(message, device, assumptions).await,
            Some("INI") => Reply::done(Status::Done, None, "introduced itself".to_owned()),
            Some("TRC") if assumptions.bare_trace == BareTrace::Permission => self.permit(message).await,
            Some(request) if request == "TRC" || JOB_REQUESTS.contains(&request) => self.send_job(message).await,
            Some(request) => {
                let asked = format!("asked for {}", clean(request));
                Reply::refused(&asked, None, format!("{} is no request that Rimbook answers", clean(request)))
            }
            None => {
                let status = message.value("STATUS").map(|status| format!(" with status {}", clean(status)));
                let words = format!("answered{}", status.unwrap_or_default());
                Reply { answer: None, words, job: None, is_trouble: false }
            }
        }
    }

    /// A tracer asks whether it may send the shape of a job.
    async fn permit(&self, message: &Message) -> Reply {
        const ASKED: &str = "asked whether it may send a shape";
        match self.job(message).await {
            Ok(job) => Reply::done(Status::Done, Some(job.number), format!("{ASKED} for job {}; it may", job.number)),
            Err(why) => no_job(ASKED, why),
        }
    }

    /// Keeps a shape as an upload is kept, or says why not.
    async fn keep_shape(&self, message: &Message, device: &str, assumptions: &Assumptions) -> Reply {
        const SENT: &str = "sent a shape";
        let job = match self.job(message).await {
            Ok(job) => job,
            Err(why) => return no_job(SENT, why),
        };
        let number = job.number;
        let refused = |why: String| Reply::refused(SENT, Some(number), why);
        // Perhaps the number of another job was keyed. Its page takes a new shape all the same.
        if job.shape.is_some() && job.stage_of_work() >= Stage::Cut {
            return refused(format!("job {number} is cut by the shape on file"));
        }
        let file = match parse_as(&message.bytes, assumptions) {
            Ok(file) => file,
            Err(faults) => return refused(faults.first().map_or_else(String::new, ToString::to_string)),
        };
        let name = text::line("A name", &format!("trace from {device}"), LONGEST_NAME);
        let name = name.unwrap_or_else(|_| "trace from a device".to_owned());
        let original = Original { bytes: &message.bytes, name: &name, origin: ShapeOrigin::Traced };
        let shape = match NewShape::of_file(file, original, None, None, job.frame.details.bridge) {
            Ok(shape) => shape,
            Err(why) => return refused(why.to_string()),
        };
        // The same bytes again are a repeat of a device that did not hear us.
        let key = act(&format!("device-shape-{number}"), [&message.bytes]);
        match self.state.store.keep_shape(&key, number, &shape, self.state.clock.now()).await {
            Ok(once) => {
                self.note_twins(number).await;
                let is_odd = once == Once::Now(()) && (job.shape.is_some() || !shape.warnings.is_empty());
                let done = Reply::done(Status::Done, Some(number), kept_words(&once, &job, &shape));
                Reply { is_trouble: is_odd, ..done }
            }
            Err(StoreError::MovedOn(_)) => refused(format!("job {number} is past the step of tracing")),
            Err(why) => refused(not_kept(&why)),
        }
    }

    /// As where a shape is uploaded; the shape is kept, whatever comes of it.
    async fn note_twins(&self, number: i64) {
        let noted = async {
            let job = self.state.store.get_job(number).await?;
            match self.state.store.find_job_shape(&job).await? {
                Some(shape) => self.state.note_twins(&shape).await,
                None => Ok(()),
            }
        };
        if let Err(why) = noted.await {
            tracing::warn!("a new shape was not compared with the others: {why}");
        }
    }

    /// Shape and layout of a job.
    async fn send_job(&self, message: &Message) -> Reply {
        const ASKED: &str = "asked for a job";
        let job = match self.job(message).await {
            Ok(job) => job,
            Err(why) => return no_job(ASKED, why),
        };
        let number = job.number;
        match self.job_answer(&job).await {
            Ok(Some((answer, which))) => Reply::done(
                answer,
                Some(number),
                format!("asked for job {number} and got its shape and layout, {which}"),
            ),
            Ok(None) => Reply::refused(ASKED, Some(number), format!("job {number} has no shape yet")),
            Err(why) => {
                tracing::error!("a job was not sent to a device: {why}");
                Reply::refused(ASKED, Some(number), format!("job {number} cannot be laid out; see its page"))
            }
        }
    }

    async fn job_answer(&self, job: &Job) -> Result<Option<(Answer, &'static str)>, WebError> {
        let (store, lab) = (&self.state.store, self.state.lab());
        let Some(shape) = store.find_job_shape(job).await? else { return Ok(None) };
        let supply = supply_of(&self.state, job).await?;
        let (placed, which) = match store.find_placed(job).await? {
            Some(placed) => (placed, "as made"),
            None => {
                let record = LayoutRecord::of_job(job, &shape, &lab, &supply);
                let record = record.map_err(|why| WebError::Internal(format!("layout: {why}")))?;
                (Placed::from(&record), "as the ticket would print it now")
            }
        };
        let layout = JobLayout::with_supply(job, &shape, &lab, step_of(&lab), &supply);
        let edges = usual_edges(job, &layout, &supply.in_hand);
        let records = records(job, &shape, &placed, &edges);
        Ok(Some((Answer { status: Status::Done, records, shape: Some(shape.traces) }, which)))
    }

    /// The job that a message names.
    async fn job(&self, message: &Message) -> Result<Arc<Job>, NoJob> {
        let Some(typed) = message.job() else { return Err(NoJob::Unnamed) };
        let unknown = || NoJob::Unknown(clean(typed));
        let number = message.job_number().ok_or_else(unknown)?;
        let job = self.state.store.get_job(number).await.map_err(|why| match why {
            StoreError::NotFound(_) => unknown(),
            StoreError::Erased { .. } => NoJob::Other(number, format!("the records of job {number} were erased")),
            why => NoJob::Other(number, not_kept(&why)),
        })?;
        match job.stage() {
            Stage::Cancelled => Err(NoJob::Other(number, format!("job {number} is cancelled"))),
            _ => Ok(job),
        }
    }
}

fn no_job(asked: &str, why: NoJob) -> Reply {
    match why {
        NoJob::Unnamed => Reply::refused(asked, None, "there is no job number: key or scan it first".to_owned()),
        NoJob::Unknown(typed) => Reply::unknown(asked, &typed),
        NoJob::Other(number, why) => Reply::refused(asked, Some(number), why),
    }
}

/// A failed book in words for a device; the log says more.
fn not_kept(why: &StoreError) -> String {
    tracing::error!("a device was refused: {why}");
    "the book cannot be read or written now".to_owned()
}

fn kept_words(once: &Once<()>, job: &Job, shape: &NewShape) -> String {
    let number = job.number;
    if let Once::Before(_) = once {
        return format!("sent the shape of job {number} again; it is on file already");
    }
    let eyes = match shape.derived {
        Some(Eye::Right) => "; only the left eye, so the right one is its mirror image",
        Some(Eye::Left) => "; only the right eye, so the left one is its mirror image",
        None => "",
    };
    let earlier = if job.shape.is_some() { "; the earlier one stays on file" } else { "" };
    let odd = match shape.warnings.first() {
        Some(warning) => format!("; {}", warning.says),
        None => String::new(),
    };
    format!("sent the shape of job {number}, which was kept{eyes}{earlier}{odd}")
}

/// A text of a device, short and harmless.
fn clean(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(40).collect()
}
