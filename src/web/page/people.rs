//! Who pays for a job and who gets its parcel, corrected after the order.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::job_bar::JobBar;
use super::job_post::{JobPost, StepForm};
use super::party::{PartyPart, PeopleFacts, fill_people};
use super::{Chrome, PageResult, show, show_again};
use crate::desk::job::{Job, Stage};
use crate::desk::step::Step;
use crate::desk::text;
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::form::Form;

/// Why the people change.
const REASON: &str = "reason";

#[derive(Template)]
#[template(path = "people/show.html")]
struct PeoplePage {
    chrome: Chrome,
    bar: JobBar,
    number: i64,
    form: Form,
    key: String,
    problems: usize,
    patient: String,
    parts: [PartyPart; 2],
    is_sent: bool,
}

async fn page(state: &AppState, job: &Job, refused: Option<StepForm>) -> Result<PeoplePage, WebError> {
    let StepForm { key, mut form } = StepForm::again_or_open(refused, state, job, Step::People).await?;
    if form.fields().is_empty() {
        fill_people(&mut form, job);
    }
    let facts = PeopleFacts::load(&state.store, &mut form).await?;
    Ok(PeoplePage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "job", state),
        number: job.number,
        key,
        problems: form.count_errors(),
        patient: job.customer.person.label(),
        parts: facts.parts(&form),
        is_sent: job.stage() >= Stage::Sent,
        form,
    })
}

pub(crate) async fn show_people(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    show(&page(&state, &job, None).await?)
}

pub(crate) async fn change_people(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::People, fields).await?;
    let facts = PeopleFacts::load(&state.store, &mut post.form).await?;
    let people = facts.read(&mut post.form, None);
    let reason = post.form.read(REASON, |t| text::needed("The reason", t, 200));
    let (Some(people), Some(reason), true) = (people, reason, post.form.is_fine()) else {
        return show_again(&page(&state, &post.job.clone(), Some(post.refused())).await?);
    };
    let done = state.store.change_people(&post.act, number, &people, &reason, state.clock.now()).await;
    match post.form.kept(done)? {
        Some(done) => post.done(done),
        None => show_again(&page(&state, &post.job.clone(), Some(post.refused())).await?),
    }
}
