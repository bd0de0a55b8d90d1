//! The page of one job: where it stands, what is next, what was ordered, what has happened.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, Query, State};
use serde::Deserialize;

use super::cancellations::cancelled_words;
use super::compensation::{WearNote, wear_notes};
use super::files::{FileView, list_files};
use super::job_bar::{EyeWords, JobBar};
use super::job_post::{JobPost, StepForm};
use super::old_records::record::RecordPage;
use super::orders::remake::refusal;
use super::promise::standing;
use super::{Chrome, PageResult, show, show_again};
use crate::desk::job::{EventKind, Failure, Job};
use crate::desk::prescription::Prescription;
use crate::desk::step::Step;
use crate::desk::text;
use crate::optics::Eye;
use crate::store::delay::PromiseLog;
use crate::store::draft::Fields;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::{AppState, words};

#[derive(Template)]
#[template(path = "jobs/show.html")]
struct JobPage {
    chrome: Chrome,
    bar: JobBar,
    already: bool,
    /// Who cancelled the order, and why.
    cancelled: Option<String>,
    /// What became of the newest parcel, where it is to be sent again.
    to_send_again: Option<String>,
    /// What the newest correction changed, until the ticket is printed again.
    corrected: Option<String>,
    can_correct: bool,
    can_cancel: bool,
    is_sent: bool,
    delay: Option<String>,
    asks_each_pd: bool,
    failure: Option<&'static str>,
    right: EyeWords,
    left: EyeWords,
    facts: Vec<(&'static str, String)>,
    earlier: Option<i64>,
    /// The job that this one makes again, and why.
    remake_of: Option<(i64, String)>,
    /// The jobs that make this one again, and why.
    remakes: Vec<(i64, String)>,
    can_remake: bool,
    customer_id: String,
    people: Vec<(&'static str, String, String)>,
    has_shape: bool,
    charged: String,
    paid: String,
    owed: String,
    is_owed: bool,
    receipt: Option<i64>,
    prescription_facts: Vec<(&'static str, String)>,
    is_past: bool,
    wear_notes: Vec<WearNote>,
    awaits_own_frame: bool,
    files: Vec<FileView>,
    history: Vec<(String, &'static str, String, String)>,
}

#[derive(Deserialize)]
pub(crate) struct JobQuery {
    already: Option<String>,
}

pub(crate) async fn show_job(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Query(asked): Query<JobQuery>,
) -> PageResult {
    let job = state.store.get_job_or_record(number).await?;
    match job.old {
        Some(_) => show(&RecordPage::of(&state, &job).await?),
        None => show(&page(&state, &job, asked.already.is_some()).await?),
    }
}

async fn page(state: &AppState, job: &Job, already: bool) -> Result<JobPage, WebError> {
    let earlier = job.relens_of().and(job.parent).map(|parent| parent.eyes);
    let today = state.clock.today();
    // The history says what else there is: the pages of most jobs need no more of the book.
    let has = |kinds: &[EventKind]| job.history.iter().any(|event| kinds.contains(&event.kind));
    let log = match has(&EventKind::OF_PROMISE) {
        true => state.store.get_promise_log(job.number).await?,
        false => PromiseLog::default(),
    };
    let remakes = match has(&[EventKind::Remade]) {
        true => state.store.list_remakes_of(job.number).await?,
        false => Vec::new(),
    };
    let files = if has(&[EventKind::FileAdded]) { list_files(state, job.number).await? } else { Vec::new() };
    Ok(JobPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "job", state),
        already,
        cancelled: cancelled_words(state, job),
        to_send_again: back_words(job),
        corrected: job.fresh_correction().map(|event| event.note.clone()),
        can_correct: Step::Correction.refusal(job).is_none(),
        can_cancel: Step::Cancellation.refusal(job).is_none(),
        is_sent: job.sent_on.is_some(),
        delay: standing(job, &log).duty(today).words(),
        asks_each_pd: job.prescription.wants_pd_of_each_eye(job.made_for),
        failure: job.failure().map(failure_words),
        right: EyeWords::of(job, Eye::Right, earlier.as_ref()),
        left: EyeWords::of(job, Eye::Left, earlier.as_ref()),
        facts: facts(job),
        earlier: job.relens_of(),
        remake_of: job.parent.zip(job.remake.as_ref()).map(|(parent, remake)| (parent.number, remake.words())),
        remakes: remakes.into_iter().map(|(n, r)| (n, r.words())).collect(),
        can_remake: refusal(job).is_none(),
        customer_id: job.customer.id.to_string(),
        people: people(job),
        has_shape: job.shape.is_some(),
        charged: job.charged.to_string(),
        paid: job.paid.to_string(),
        owed: job.owed().to_string(),
        is_owed: job.owed().cents() != 0,
        receipt: job.receipt,
        prescription_facts: prescription_facts(&job.prescription),
        is_past: job.prescription.is_past(job.ordered_on),
        wear_notes: wear_notes(state, job).await?,
        awaits_own_frame: job.awaits_own_frame(),
        files,
        history: job
            .history
            .iter()
            .rev()
            .map(|e| {
                let by = e.by.clone().unwrap_or_default();
                (words::moment(&state.clock.local(e.at)), e.kind.words(), e.note.clone(), by)
            })
            .collect(),
    })
}

fn back_words(job: &Job) -> Option<String> {
    let is_back =
        |kind| matches!(kind, EventKind::ReturnedUnopened | EventKind::ReturnedOpened | EventKind::ParcelLost);
    let event = job.history.iter().rev().find(|event| is_back(event.kind)).filter(|_| job.is_to_send_again())?;
    Some(format!("{}: {}.", event.kind.words(), event.note))
}

fn failure_words(failure: Failure) -> &'static str {
    match failure {
        Failure::Waits => "did not pass its check",
        Failure::Conceded => "did not pass its check, and a reason to send it anyway is on record",
    }
}

/// Who pays and who gets the parcel, where that is not the patient: what, the name, the address of the page.
fn people(job: &Job) -> Vec<(&'static str, String, String)> {
    [("Paid by", job.other_payer()), ("Sent to", job.other_recipient())]
        .into_iter()
        .filter_map(|(what, person)| {
            let person = person?;
            Some((what, person.person.name.clone(), format!("/customers/{}", person.id)))
        })
        .collect()
}

fn facts(job: &Job) -> Vec<(&'static str, String)> {
    let mut facts = vec![
        ("Frame", format!("{}; {}", job.frame.details, job.frame.details.rim.words())),
        (
            "Lens",
            format!("{}, {}, {}", job.material.details.name, job.design.words(), job.material.details.cutting.words()),
        ),
    ];
    for (what, coating) in [("Coating", &job.coating), ("Second coating", &job.second_coating)] {
        if let Some(coating) = coating {
            facts.push((what, coating.details.name.clone()));
        }
    }
    if let Some(tint) = &job.tint {
        facts.push(("Tint", tint.details.name.clone()));
    }
    facts.push((
        "Made for",
        format!("{}, PD {}", job.made_for.words(), job.prescription.centered_on(job.made_for).words()),
    ));
    if let Some(answer) = job.vertex {
        facts.push(("Vertex distance", answer.words()));
    }
    facts.push(("Ordered", words::day(&job.ordered_on)));
    facts.push(("Promised", words::day(&job.promised_on)));
    if !job.note.is_empty() {
        facts.push(("For the bench", job.note.clone()));
    }
    facts
}

fn prescription_facts(prescription: &Prescription) -> Vec<(&'static str, String)> {
    let mut facts = Vec::new();
    if !prescription.prescriber.is_empty() {
        let npi = prescription.prescriber_npi.as_ref().map(|npi| format!(", NPI {npi}")).unwrap_or_default();
        facts.push(("Prescriber", format!("{}{npi}", prescription.prescriber)));
    }
    if let Some(day) = prescription.written_on {
        facts.push(("Written", words::day(&day)));
    }
    if let Some(day) = prescription.expires_on {
        facts.push(("Good until", words::day(&day)));
    }
    if let Some(near) = prescription.near_pupil_distance {
        facts.push(("Near PD", near.to_string()));
    }
    if !prescription.diagnosis.is_empty() {
        facts.push(("Diagnosis", prescription.diagnosis.clone()));
    }
    facts
}

#[derive(Template)]
#[template(path = "jobs/note.html")]
struct NotePage {
    chrome: Chrome,
    bar: JobBar,
    key: String,
    form: Form,
}

/// A remark as it is typed.
struct NoteForm {
    note: String,
}

impl NoteForm {
    const NOTE: &str = "note";

    fn read(form: &mut Form) -> Option<Self> {
        Some(Self { note: form.read(Self::NOTE, |t| text::needed("A note", t, 500))? })
    }
}

fn note_page(state: &AppState, job: &Job, form: StepForm) -> NotePage {
    let StepForm { key, form } = form;
    NotePage { chrome: Chrome::new(state, ""), bar: JobBar::of(job, "job", state), key, form }
}

pub(crate) async fn new_note(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job_or_record(number).await?;
    let form = StepForm::open(&state, &job, Step::Note).await?;
    show(&note_page(&state, &job, form))
}

pub(crate) async fn add_note(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Note, fields).await?;
    let Some(typed) = NoteForm::read(&mut post.form) else {
        return show_again(&note_page(&state, &post.job.clone(), post.refused()));
    };
    let done = state.store.append_note(&post.act, number, &typed.note, state.clock.now()).await;
    match post.form.kept(done)? {
        Some(done) => post.done(done),
        None => show_again(&note_page(&state, &post.job.clone(), post.refused())),
    }
}
