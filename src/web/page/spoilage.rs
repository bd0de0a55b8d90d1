//! A lens was spoiled: which, and where it went wrong. The job needs another one then.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, Query, State};
use serde::Deserialize;

use super::job_bar::JobBar;
use super::job_post::{JobPost, StepForm};
use super::{Chrome, PageResult, show, show_again};
use crate::desk::fault::FaultCause;
use crate::desk::job::{Job, Stage};
use crate::desk::step::Step;
use crate::desk::text;
use crate::optics::Eye;
use crate::store::draft::Fields;
use crate::store::lens::SpoiledLens;
use crate::web::AppState;
use crate::web::form::Form;

#[derive(Template)]
#[template(path = "spoilage/form.html")]
struct SpoilagePage {
    chrome: Chrome,
    bar: JobBar,
    /// Why no lens can be spoiled now.
    refused: Option<String>,
    /// The lenses in hand: value and words.
    lenses: Vec<(&'static str, &'static str)>,
    causes: Vec<(&'static str, &'static str)>,
    /// Where the lens was looked at: the page and its words.
    back: (&'static str, &'static str),
    key: String,
    form: Form,
}

/// The fields of the form.
struct SpoilageForm;

impl SpoilageForm {
    const LENS: &str = "lens";
    const CAUSE: &str = "cause";
    const NOTE: &str = "note";
    const BOTH: &str = "both";

    fn read(form: &mut Form, job: &Job) -> Option<Vec<SpoiledLens>> {
        let eyes = form.read(Self::LENS, |typed| {
            let chosen: Vec<Eye> =
                Eye::BOTH.into_iter().filter(|eye| typed == eye.name() || typed == Self::BOTH).collect();
            let is_here = !chosen.is_empty() && chosen.iter().all(|eye| job.is_lens_in_hand(*eye));
            if is_here { Ok(chosen) } else { Err("Choose the lens that was spoiled") }
        });
        let cause = form.read(Self::CAUSE, |typed| {
            let known = FaultCause::from_key(typed).filter(|cause| FaultCause::OF_A_LENS.contains(cause));
            known.ok_or("Choose where it went wrong")
        });
        let note = form.read(Self::NOTE, |typed| text::line("A note", typed, 300));
        let (eyes, cause, note) = (eyes?, cause?, note?);
        Some(eyes.into_iter().map(|eye| SpoiledLens { eye, cause, note: note.clone() }).collect())
    }
}

fn page(state: &AppState, job: &Job, form: StepForm) -> SpoilagePage {
    let StepForm { key, mut form } = form;
    let in_hand: Vec<Eye> = Eye::BOTH.into_iter().filter(|eye| job.is_lens_in_hand(*eye)).collect();
    let mut lenses: Vec<_> = in_hand
        .iter()
        .map(|eye| match eye {
            Eye::Right => ("right", "the right lens"),
            Eye::Left => ("left", "the left lens"),
        })
        .collect();
    match in_hand.as_slice() {
        [only] => form.set_default(SpoilageForm::LENS, only.name()),
        [_, _] => lenses.push((SpoilageForm::BOTH, "both lenses")),
        _ => {}
    }
    SpoilagePage {
        chrome: Chrome::new(state, ""),
        bar: JobBar::of(job, "lenses", state),
        refused: Step::Spoilage.refusal(job),
        lenses,
        back: match job.stage_of_work() < Stage::Cut {
            true => ("lenses", "Back to the lenses"),
            false => ("check", "Back to the check"),
        },
        causes: FaultCause::OF_A_LENS.map(|cause| (cause.key(), cause.words())).into(),
        key,
        form,
    }
}

/// The lens that the link names.
#[derive(Deserialize)]
pub(crate) struct SpoilageQuery {
    eye: Option<String>,
}

pub(crate) async fn ask_spoilage(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Query(asked): Query<SpoilageQuery>,
) -> PageResult {
    let job = state.store.get_job(number).await?;
    let mut form = StepForm::open(&state, &job, Step::Spoilage).await?;
    if let Some(eye) = asked.eye {
        form.form.set_default(SpoilageForm::LENS, eye);
    }
    show(&page(&state, &job, form))
}

pub(crate) async fn keep_spoilage(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut post = JobPost::read(&state, number, Step::Spoilage, fields).await?;
    let Some(lenses) = SpoilageForm::read(&mut post.form, &post.job) else {
        return show_again(&page(&state, &post.job.clone(), post.refused()));
    };
    let done = state.store.spoil_lenses(&post.act, number, &lenses, state.clock.now()).await?;
    post.done(done)
}
