//! What the book says to a device.

use std::collections::HashMap;
use std::sync::Arc;

use time::OffsetDateTime;
use tokio::runtime::Handle;
use tokio::sync::Mutex;
use tokio::task::spawn_blocking;

use crate::bench::bevel_place::usual_edges;
use crate::bench::device_records::{PlacedLenses, records};
use crate::bench::layout::{JobLayout, step_of};
use crate::bench::layout_record::LayoutRecord;
use crate::desk::frame_shape::NewShape;
use crate::desk::job::{Job, Stage};
use crate::shape::record::Assumptions;
use crate::shape::record::assumption::{BareTrace, WantedRecords};
use crate::shape::wire::{Answer, AnswerStatus, Message, TraceWish};
use crate::store::StoreError;
use crate::store::once::Once;
use crate::web::AppState;
use crate::web::devices::{Devices, Said};
use crate::web::error::WebError;
use crate::web::page::layout::supply_of;

/// The requests for the records of a job: an edger, a blocker, a drill. Data Communication Standard (from memory).
const JOB_REQUESTS: [&str; 3] = ["EDG", "BLK", "DRL"];

/// The book, as devices see it.
#[derive(Debug, Clone)]
pub struct Host {
    state: AppState,
    /// Whether what is said is printed too.
    is_telling: bool,
    /// Taken while a shape is kept.
    pub(super) keeping: Arc<Mutex<()>>,
}

/// What a device told of itself on its line.
#[derive(Debug, Clone)]
pub struct Conversation {
    pub(super) line: String,
    pub(super) model: Option<String>,
    wish: TraceWish,
    /// The labels it wants in answer to a request.
    wanted: HashMap<String, Vec<String>>,
}

impl Conversation {
    /// Nothing yet.
    pub fn new(line: &str) -> Self {
        Self { line: line.to_owned(), model: None, wish: TraceWish::default(), wanted: HashMap::new() }
    }

    /// The device for a reader: its model where it said it, and its line.
    pub fn name(&self) -> String {
        match &self.model {
            Some(model) => format!("{model} at {}", self.line),
            None => self.line.clone(),
        }
    }
}

impl Conversation {
    /// What the device wants of an answer, where it said so.
    fn of_wanted(&self, asked: &Message, mut answer: Answer) -> Answer {
        if let Some(wanted) = asked.request().and_then(|request| self.wanted.get(&request)) {
            let wants = |label: &str| wanted.iter().any(|one| one == label);
            answer.records.retain(|(label, _)| wants(label));
            answer.shape = answer.shape.filter(|_| wants("TRCFMT"));
        }
        answer
    }
}

/// An answer, and the sentence about it.
pub(super) struct Reply {
    answer: Option<Answer>,
    words: String,
    job: Option<i64>,
    is_trouble: bool,
}

impl Reply {
    pub(super) fn done(answer: impl Into<Answer>, job: Option<i64>, words: String) -> Self {
        Self { answer: Some(answer.into()), words, job, is_trouble: false }
    }

    /// `asked` is what the device did, `why` the rest of the sentence and what the device is told.
    pub(super) fn refused(asked: &str, job: Option<i64>, why: String) -> Self {
        let words = format!("{asked}, and was refused: {why}");
        Self { answer: Some(AnswerStatus::Refused(why).into()), words, job, is_trouble: true }
    }

    /// A job that no device works on. The status says so in the standard's own code.
    fn no_work(asked: &str, job: i64, why: String) -> Self {
        let words = format!("{asked}, and was refused: {why}");
        Self { answer: Some(AnswerStatus::NoWork(why).into()), words, job: Some(job), is_trouble: true }
    }

    /// The same; somebody should look at it.
    pub(super) fn worth_a_look(self) -> Self {
        Self { is_trouble: true, ..self }
    }

    fn unknown(asked: &str, typed: &str) -> Self {
        let words = format!("{asked}, but no job “{typed}” is in the book; nothing was stored");
        Self { answer: Some(AnswerStatus::UnknownJob.into()), words, job: None, is_trouble: true }
    }
}

/// Why a job could not be had.
pub(super) enum NoJob {
    /// No number was sent.
    Unnamed,
    /// There is none.
    Unknown(String),
    /// It was made before Rimbook: what is to be done instead, in words for the device.
    Old(i64, String),
    /// Anything else, in words for the device.
    Other(i64, String),
}

impl Host {
    /// The book behind the pages.
    pub fn new(state: AppState) -> Self {
        Self { state, is_telling: false, keeping: Arc::default() }
    }

    /// The book without pages: what is said is printed.
    pub fn telling(state: AppState) -> Self {
        Self { is_telling: true, ..Self::new(state) }
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
            conversation.wanted = match assumptions.wanted_records {
                WantedRecords::All => HashMap::new(),
                WantedRecords::Defined => message.definitions(),
            };
        }
        let (host, conversation) = (self.clone(), conversation.clone());
        let handle = Handle::current();
        let answered = spawn_blocking(move || {
            let reply = handle.block_on(host.reply(&message, &conversation, &assumptions));
            let wish = message.wish().unwrap_or(conversation.wish);
            let bytes = reply.answer.map(|answer| answer.write(&message, wish, &assumptions));
            host.keep_said(&conversation.name(), reply.words, reply.job, reply.is_trouble);
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

    async fn reply(&self, message: &Message, from: &Conversation, assumptions: &Assumptions) -> Reply {
        let request = message.request();
        match request.as_deref() {
            _ if message.has_radii => self.keep_shape(message, from, assumptions).await,
            Some("INI") => Reply::done(AnswerStatus::Done, None, "introduced itself".to_owned()),
            Some("TRC") if assumptions.bare_trace == BareTrace::Permission => self.permit(message).await,
            Some(request) if request == "TRC" || JOB_REQUESTS.contains(&request) => {
                self.send_job(message, from, assumptions).await
            }
            Some(request) => {
                let asked = format!("asked for {}", clean(request));
                Reply::refused(&asked, None, format!("{} is no request that Rimbook answers", clean(request)))
            }
            None if !message.is_answer() => {
                let words = "sent a message that asks for nothing; nothing was stored".to_owned();
                Reply { answer: None, words, job: None, is_trouble: true }
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
        match self.job_or_record(message).await {
            Ok(job) if job.old.is_some() && job.shape.is_some() => {
                Reply::refused(ASKED, Some(job.number), has_its_shape(job.number))
            }
            Ok(job) => {
                Reply::done(AnswerStatus::Done, Some(job.number), format!("{ASKED} for job {}; it may", job.number))
            }
            Err(why) => no_job(ASKED, why),
        }
    }

    /// The moment by the lab's clock.
    pub(super) fn now(&self) -> OffsetDateTime {
        self.state.clock.now()
    }

    /// Puts a shape on file.
    pub(super) async fn put_on_file(&self, key: &str, number: i64, shape: &NewShape) -> Result<Once<()>, StoreError> {
        self.state.put_on_file(key, number, shape, None).await
    }

    /// Notes something with a job, once.
    pub(super) async fn note(&self, key: &str, number: i64, words: &str) -> Result<Once<()>, StoreError> {
        self.state.store.append_note(key, number, words, self.now()).await
    }

    /// The bytes that the shape of a job was read from; none where it was made from another shape.
    pub(super) async fn bytes_on_file(&self, job: &Job) -> Result<Vec<u8>, StoreError> {
        let Some(shape) = job.shape else { return Ok(Vec::new()) };
        match self.state.store.get_original(shape).await {
            Ok((_, bytes)) => Ok(bytes),
            Err(StoreError::NotFound(_)) => Ok(Vec::new()),
            Err(why) => Err(why),
        }
    }

    /// Shape and layout of a job.
    async fn send_job(&self, message: &Message, from: &Conversation, assumptions: &Assumptions) -> Reply {
        const ASKED: &str = "asked for a job";
        let job = match self.job(message).await {
            Ok(job) => job,
            Err(why) => return no_job(ASKED, why),
        };
        let number = job.number;
        match self.job_answer(&job, assumptions).await {
            Ok(Some((answer, which))) => {
                let words = format!("asked for job {number} and got its shape and layout, {which}");
                Reply::done(from.of_wanted(message, answer), Some(number), words)
            }
            Ok(None) => Reply::refused(ASKED, Some(number), format!("job {number} has no shape yet")),
            Err(why) => {
                tracing::error!("a job was not sent to a device: {why}");
                Reply::refused(ASKED, Some(number), format!("job {number} cannot be laid out; see its page"))
            }
        }
    }

    async fn job_answer(
        &self,
        job: &Job,
        assumptions: &Assumptions,
    ) -> Result<Option<(Answer, &'static str)>, WebError> {
        let (store, lab) = (&self.state.store, self.state.lab());
        let Some(shape) = store.find_job_shape(job).await? else { return Ok(None) };
        let supply = supply_of(&self.state, job).await?;
        let (placed, which) = match store.find_placed(job).await? {
            Some(placed) => (placed, "as made"),
            None => {
                let record = LayoutRecord::of_job(job, &shape, &lab, &supply);
                let record = record.map_err(|why| WebError::Internal(format!("layout: {why}")))?;
                (PlacedLenses::from(&record), "as the ticket would print it now")
            }
        };
        let layout = JobLayout::with_supply(job, &shape, &lab, step_of(&lab), &supply);
        let edges = usual_edges(job, &layout, &supply.in_hand);
        let records = records(job, &shape, &placed, &edges, assumptions);
        Ok(Some((Answer { status: AnswerStatus::Done, records, shape: Some(shape.traces) }, which)))
    }

    /// The job that a message names, to be worked on.
    async fn job(&self, message: &Message) -> Result<Arc<Job>, NoJob> {
        let job = self.job_or_record(message).await?;
        match job.old {
            Some(_) => Err(NoJob::Old(job.number, old_words(&job))),
            None => Ok(job),
        }
    }

    /// The job that a message names, which a shape may be put on file for: a job that is worked on, or one of before Rimbook.
    pub(super) async fn job_or_record(&self, message: &Message) -> Result<Arc<Job>, NoJob> {
        let Some(typed) = message.job() else { return Err(NoJob::Unnamed) };
        let Some(number) = message.job_number() else { return Err(self.unknown(typed).await) };
        let job = match self.state.store.get_job_or_record(number).await {
            Ok(job) => job,
            Err(StoreError::NotFound(_)) => return Err(self.unknown(typed).await),
            Err(StoreError::Erased { .. }) => {
                return Err(NoJob::Other(number, format!("the records of job {number} were erased")));
            }
            Err(why) => return Err(NoJob::Other(number, not_kept(&why))),
        };
        match job.stage() {
            Stage::Cancelled => Err(NoJob::Other(number, format!("job {number} is cancelled"))),
            _ => Ok(job),
        }
    }

    /// Why there is no job of a number: perhaps it is one of before Rimbook.
    async fn unknown(&self, typed: &str) -> NoJob {
        match self.state.store.find_old_number(typed).await {
            Ok(Some(job)) => {
                let says = format!("{} is the number that job {job} had before Rimbook: key {job}", clean(typed));
                NoJob::Old(job, says)
            }
            _ => NoJob::Unknown(clean(typed)),
        }
    }
}

/// Why a job of before Rimbook is not sent to a device.
fn old_words(job: &Job) -> String {
    format!("job {} was made before Rimbook: key the job of its new lenses", job.number)
}

pub(super) fn no_job(asked: &str, why: NoJob) -> Reply {
    match why {
        NoJob::Unnamed => Reply::refused(asked, None, "there is no job number: key or scan it first".to_owned()),
        NoJob::Unknown(typed) => Reply::unknown(asked, &typed),
        NoJob::Old(number, why) => Reply::no_work(asked, number, why),
        NoJob::Other(number, why) => Reply::refused(asked, Some(number), why),
    }
}

/// Why the shape of an old record is not replaced from a device: perhaps the number of another job was keyed.
pub(super) fn has_its_shape(number: i64) -> String {
    format!("job {number} is an old record with a shape: replace it on its page")
}

/// A failed book in words for a device; the log says more.
pub(super) fn not_kept(why: &StoreError) -> String {
    tracing::error!("a device was refused: {why}");
    "the book cannot be read or written now".to_owned()
}

/// A text of a device, short and harmless.
fn clean(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(40).collect()
}
