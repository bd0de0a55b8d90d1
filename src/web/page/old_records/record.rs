//! The page of one job of before Rimbook: what its record says, its shape, and new lenses for its frame.

use askama::Template;

use crate::desk::job::Job;
use crate::optics::Eye;
use crate::web::error::WebError;
use crate::web::page::Chrome;
use crate::web::page::files::{FileView, list_files};
use crate::web::page::job_bar::JobBar;
use crate::web::words::eye_class;
use crate::web::{AppState, words};

#[derive(Template)]
#[template(path = "old_records/record.html")]
pub(in crate::web::page) struct RecordPage {
    chrome: Chrome,
    bar: JobBar,
    old_number: String,
    eyes: Vec<EyeFacts>,
    facts: Vec<(&'static str, String)>,
    customer_id: String,
    has_shape: bool,
    /// The jobs that took its frame and its shape.
    later: Vec<i64>,
    files: Vec<FileView>,
    history: Vec<(String, &'static str, String, String)>,
}

struct EyeFacts {
    name: &'static str,
    letter: &'static str,
    class: &'static str,
    /// The power in minus-cylinder form; `None` where none is recorded.
    power: Option<String>,
    facts: Vec<(&'static str, String)>,
}

impl RecordPage {
    pub(in crate::web::page) async fn of(state: &AppState, job: &Job) -> Result<Self, WebError> {
        let old = job.old.as_ref();
        let event = |event: &crate::desk::job::Event| {
            let by = event.by.clone().unwrap_or_default();
            (words::moment(&state.clock.local(event.at)), event.kind.words(), event.note.clone(), by)
        };
        Ok(Self {
            chrome: Chrome::new(state, ""),
            bar: JobBar::of(job, "job", state),
            old_number: old.map(|old| old.number.clone()).unwrap_or_default(),
            eyes: Eye::BOTH.map(|eye| eye_facts(job, eye)).into(),
            facts: facts(job),
            customer_id: job.customer.id.to_string(),
            has_shape: job.shape.is_some(),
            later: state.store.list_jobs_from(job.number).await?,
            files: list_files(state, job.number).await?,
            history: job.history.iter().rev().map(event).collect(),
        })
    }
}

fn facts(job: &Job) -> Vec<(&'static str, String)> {
    let has_date = job.old.as_ref().is_some_and(|old| old.has_date);
    let ordered = if has_date { words::day(&job.ordered_on) } else { "not recorded".to_owned() };
    let mut facts =
        vec![("Ordered", ordered), ("Frame", format!("{}; {}", job.frame.details, job.frame.details.rim.words()))];
    let mut say = |what, said: String| {
        if !said.is_empty() {
            facts.push((what, said));
        }
    };
    if job.knows_pd() {
        say("PD", job.prescription.pupil_distance.words());
    }
    say("Near PD", job.prescription.near_pupil_distance.map(|near| near.to_string()).unwrap_or_default());
    say("Prescriber", job.prescription.prescriber.clone());
    say("Note", job.note.clone());
    facts
}

fn eye_facts(job: &Job, eye: Eye) -> EyeFacts {
    let (rx, height) = (job.prescription.eyes.get(eye), job.eyes.get(eye).height);
    let power = job.prescription.has_power.get(eye).then(|| rx.power.to_minus().to_string());
    let mut facts = Vec::new();
    if power.is_some() && !rx.prism.is_none() {
        facts.push(("Prism", rx.prism.to_string()));
    }
    if !height.typed().is_empty() {
        facts.push(("Height", height.words()));
    }
    let typed = job.prescription.typed.get(eye);
    if !typed.is_empty() {
        facts.push(("As recorded", typed.clone()));
    }
    EyeFacts { name: eye.name(), letter: eye.letter(), class: eye_class(eye), power, facts }
}
