//! The cut: what the edger is set to, and the word that both lenses were edged.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};

use super::compensation::{WearNote, wear_notes};
use super::job_bar::{JobBar, next_link};
use super::job_post::{JobPost, StepForm};
use super::risk::risk_sentence;
use super::ticket::layout_as_made;
use super::{Chrome, PageResult, show, show_again};
use crate::bench::edge_finish::EDGER_SIZE;
use crate::bench::notes::BenchNotes;
use crate::desk::job::{Event, EventKind, Job, Stage};
use crate::desk::step::Step;
use crate::desk::text;
use crate::optics::Pair;
use crate::optics::unit::Millimetre;
use crate::store::cut::NewCut;
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

/// What the edger was set to.
pub(in crate::web) struct CutForm {
    size: Millimetre,
    note: String,
}

impl CutForm {
    pub(in crate::web) const SIZE: &str = "size";
    const NOTE: &str = "note";

    fn read(form: &mut Form) -> Option<Self> {
        let size = form.read_optional(Self::SIZE, |t| EDGER_SIZE.read(t));
        let note = form.read(Self::NOTE, |t| text::line("A note", t, 300));
        Some(Self { size: size?.unwrap_or(Millimetre::ZERO), note: note? })
    }
}

pub(crate) async fn show_cut(State(state): State<AppState>, Path(number): Path<i64>) -> PageResult {
    let job = state.store.get_job(number).await?;
    let form = StepForm::open(&state, &job, Step::Cut).await?;
    show(&page(&state, &job, form).await?)
}

pub(crate) async fn insert_cut(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Cut, fields).await?;
    let Some(CutForm { size, note }) = CutForm::read(&mut post.form) else {
        return show_again(&page(&state, &post.job.clone(), post.refused()).await?);
    };
    let cut = NewCut { size: Pair::new(size, size), note, layout: layout_as_made(&state, &post.job).await? };
    let done = state.store.insert_cut(&post.act, number, &cut, state.clock.now()).await;
    match post.form.kept(done)? {
        Some(done) => post.done(done),
        None => show_again(&page(&state, &post.job.clone(), post.refused()).await?),
    }
}

async fn page(state: &AppState, job: &Job, form: StepForm) -> Result<CutPage, WebError> {
    let reached = job.stage();
    let StepForm { key, mut form } = form;
    form.set_default(CutForm::SIZE, Millimetre::ZERO.to_string());
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
        first: next_link(job).filter(|_| reached < Stage::LensesInHand),
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
