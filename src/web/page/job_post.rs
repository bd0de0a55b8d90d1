//! A form of a job: the key it is shown with, and what a handler needs when it is posted.

use std::sync::Arc;

use super::job_bar::next_link;
use super::{PageResult, draft_of, form_key, go, incomplete};
use crate::desk::job::Job;
use crate::desk::step::Step;
use crate::store::draft::Fields;
use crate::store::once::{Once, act};
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;

/// The form of a step as a page shows it.
pub struct StepForm {
    /// Grows each time the step is done, so that a double click finds the first and a later use starts afresh.
    pub key: String,
    /// What stands in it.
    pub form: Form,
}

impl StepForm {
    /// The form with what was typed in it and not sent yet.
    pub async fn open(state: &AppState, job: &Job, step: Step) -> Result<Self, WebError> {
        let key = fresh_key(job, step);
        Ok(Self { form: draft_of(state, &key).await?, key })
    }

    /// A refused form, or else a fresh one.
    pub async fn again_or_open(
        refused: Option<StepForm>,
        state: &AppState,
        job: &Job,
        step: Step,
    ) -> Result<Self, WebError> {
        match refused {
            Some(refused) => Ok(refused),
            None => Self::open(state, job, step).await,
        }
    }
}

/// A posted form of a job whose turn it is. It has not been done before.
pub struct JobPost {
    /// The job.
    pub job: Arc<Job>,
    /// What was typed.
    pub form: Form,
    /// Whether the step was done since the form was shown.
    pub is_outdated: bool,
    /// The key under which the store does it once. The contents of the form are part of it: the same form twice is done
    /// once, a corrected one is another.
    pub act: String,
    key: String,
    step: Step,
}

impl JobPost {
    /// Reads a posted form.
    ///
    /// # Errors
    ///
    /// 400 without a key of this form, 409 when the job is at another stage. A form that was done before leads to where
    /// the first one went.
    pub async fn read(state: &AppState, number: i64, step: Step, fields: Fields) -> Result<Self, WebError> {
        Self::read_with_files(state, number, step, Form::new(fields), []).await
    }

    /// Reads a posted form with the files sent in it, by name and contents.
    ///
    /// # Errors
    ///
    /// As [`JobPost::read`].
    pub async fn read_with_files<'a>(
        state: &AppState,
        number: i64,
        step: Step,
        form: Form,
        files: impl IntoIterator<Item = (&'a str, &'a [u8])>,
    ) -> Result<Self, WebError> {
        let job = state.store.get_job_or_record(number).await?;
        let (key, times) = posted_key(&form, step, &job).ok_or_else(incomplete)?;
        let (key, is_outdated) = (key.to_owned(), times < step.count(&job));
        let files = files.into_iter().flat_map(|(name, bytes)| [name.as_bytes(), bytes]);
        let act = act(&key, form.contents().chain(files));
        if let Some(outcome) = state.store.find_outcome(&act).await? {
            return Err(WebError::DoneBefore(done_before(step, &job, &outcome)));
        }
        match step.refusal(&job) {
            Some(why) => Err(WebError::OutOfTurn(why)),
            None => Ok(Self { job, form, is_outdated, act, key, step }),
        }
    }

    /// The same form with its sentences, to be shown again.
    pub fn refused(self) -> StepForm {
        StepForm { key: self.key, form: self.form }
    }

    /// The same form with the key of a fresh one: it was about something older, and is sent again if it still holds.
    pub fn refused_as_outdated(self) -> StepForm {
        StepForm { key: fresh_key(&self.job, self.step), form: self.form }
    }

    /// On to the page of the next step where the step is finished, else as [`JobPost::done`].
    pub async fn goes_on<T>(&self, state: &AppState, done: Once<T>) -> PageResult {
        match done {
            Once::Now(_) => go(&after(self.step, &*state.store.get_job_or_record(self.job.number).await?)),
            before => self.done(before),
        }
    }

    /// On to the page where what was done can be seen, by this post or by one that was a moment faster.
    pub fn done<T>(&self, done: Once<T>) -> PageResult {
        let number = self.job.number;
        match done {
            Once::Now(_) => go(&page_of(self.step, number)),
            Once::Before(outcome) => go(&done_before(self.step, &self.job, &outcome)),
        }
    }
}

/// The key of a form that is opened now.
fn fresh_key(job: &Job, step: Step) -> String {
    form_key(step.key(), job.number, step.count(job))
}

/// The key that a form of a job came with, if this form of this job can have had it, and how often its step had been done.
fn posted_key<'a>(form: &'a Form, step: Step, job: &Job) -> Option<(&'a str, i64)> {
    let key = form.key();
    let times: i64 = key.strip_prefix(&format!("{}-{}-", step.key(), job.number))?.parse().ok()?;
    (0..=step.count(job)).contains(&times).then_some((key, times))
}

fn page_of(step: Step, number: i64) -> String {
    let end = match step {
        Step::Shape => "/shape",
        Step::Lenses | Step::Spoilage => "/lenses",
        Step::Compensation => "/compensation",
        Step::Ticket => "/ticket",
        Step::Cut => "/cut",
        Step::Check | Step::Concession => "/check",
        Step::Impact | Step::Packing => "/packing",
        Step::Shipment | Step::Return => "/shipment",
        Step::BillLine | Step::Reversal | Step::Payment | Step::Refund | Step::Receipt => "/bill",
        Step::People => "/people",
        Step::Promise | Step::DelayNotice | Step::DelayAnswer => "/promise",
        Step::OwnFrame => "/own-frame",
        Step::File => "/files",
        Step::Note | Step::Correction | Step::Cancellation => "",
    };
    format!("/jobs/{number}{end}")
}

/// Where a step leads that was done: to the next one when it is finished.
fn after(step: Step, job: &Job) -> String {
    let next = next_link(job).filter(|_| step.finishes() == Some(job.stage()));
    next.map_or_else(|| page_of(step, job.number), |(_, path)| path)
}

fn done_before(step: Step, job: &Job, outcome: &str) -> String {
    let number = job.number;
    match step {
        // Its page says what is doubtful about the shape.
        Step::Shape => page_of(step, number),
        Step::BillLine | Step::Reversal | Step::Payment | Step::Refund => {
            format!("{}?already={}", page_of(step, number), step.key())
        }
        Step::Receipt => format!("/receipts/{outcome}"),
        Step::Ticket => format!("/jobs/{number}/tickets/{outcome}"),
        _ => after(step, job),
    }
}
