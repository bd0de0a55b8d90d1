//! The cut: what the edger is set to, and the word that both lenses were edged.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::compensation::{WearNote, wear_notes};
use super::job_bar::JobBar;
use super::risk::risk_sentence;
use super::{Chrome, PageResult, act_of, draft_of, form_key, go, posted_job_key, show, show_again};
use crate::bench::notes::BenchNotes;
use crate::desk::job::{Event, EventKind, Job, Stage};
use crate::desk::text;
use crate::optics::unit::Millimetre;
use crate::store::draft::Fields;
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::{AppState, words};

#[derive(Template)]
#[template(path = "cuts/show.html")]
struct CutPage {
    chrome: Chrome,
    bar: JobBar,
    rim: &'static str,
    material: String,
    notes: BenchNotes,
    wear_notes: Vec<WearNote>,
    risk: String,
    /// What must come first, with its page.
    first: Option<(&'static str, String)>,
    is_sent: bool,
    done: Vec<String>,
    is_cut: bool,
    key: String,
    form: Form,
}

pub(crate) async fn show_cut(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let key = form_key("cut", number, state.store.count_cuts(number).await?);
    let job = state.store.get_job(number).await?;
    let form = draft_of(&state, &key).await?;
    show(&page(&state, &job, key, form).await?)
}

pub(crate) async fn insert_cut(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let job = state.store.get_job(number).await?;
    let reached = job.stage();
    if let Some((what, _)) = first(reached, number) {
        return Err(WebError::OutOfTurn(format!("Job {number} cannot be cut yet: first {what}.")));
    }
    if reached == Stage::Sent {
        return Err(WebError::OutOfTurn(format!("Job {number} is sent; there is nothing left to cut.")));
    }
    let mut form = Form::new(fields);
    let key = posted_job_key(&form, "cut", number, state.store.count_cuts(number).await?);
    let size = form.read_optional("size", read_size);
    let note = form.read("note", |t| text::line("A note", t, 300));
    let (Some(size), Some(note)) = (size, note) else {
        return show_again(&page(&state, &job, key, form).await?);
    };
    state
        .store
        .insert_cut(&act_of(&key, &form), number, size.unwrap_or(Millimetre::ZERO), &note, state.clock.now())
        .await?;
    go(&format!("/jobs/{number}/cut"))
}

fn read_size(text: &str) -> Result<Millimetre, String> {
    let size: Millimetre = text.parse().map_err(|why: crate::optics::unit::UnitError| why.to_string())?;
    if size.hundredths().abs() > 200 {
        return Err(format!("{size} mm is more than an edger is set by: between -2.00 and 2.00 was expected"));
    }
    Ok(size)
}

fn first(reached: Stage, number: i64) -> Option<(&'static str, String)> {
    match reached {
        Stage::Taken => Some(("put the shape on file", format!("/jobs/{number}/shape"))),
        Stage::ShapeOnFile => Some(("take both lenses in hand", format!("/jobs/{number}/lenses"))),
        _ => None,
    }
}

async fn page(state: &AppState, job: &Job, key: String, mut form: Form) -> Result<CutPage, WebError> {
    let reached = job.stage();
    form.set_default("size", "0.00");
    let rim = job.frame.details.rim;
    let cut = |e: &&Event| e.kind == EventKind::Cut;
    Ok(CutPage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "cut", state),
        rim: rim.words(),
        material: job.material.details.name.clone(),
        notes: BenchNotes::of(rim, &job.material.details, job.tint.as_ref().map(|t| &t.details)),
        wear_notes: wear_notes(state, job).await?,
        risk: risk_sentence(state, job).await?,
        first: first(reached, job.number),
        is_sent: reached == Stage::Sent,
        done: job
            .history
            .iter()
            .filter(cut)
            .map(|e| {
                let when = words::moment(&state.clock.local(e.at));
                if e.note.is_empty() { when } else { format!("{when}: {}", e.note) }
            })
            .collect(),
        is_cut: reached >= Stage::Cut,
        key,
        form,
    })
}
