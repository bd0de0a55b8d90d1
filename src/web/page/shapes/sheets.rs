//! The shape of a job on paper, at true size.

use axum::extract::{Path, Query, State};
use serde::Deserialize;

use super::kept_shape;
use crate::bench::layout::step_of;
use crate::desk::job::Job;
use crate::optics::Eye;
use crate::print::blocking_sheet::{BlockingEye, BlockingSheet};
use crate::print::paper::{Paper, ShapeTop};
use crate::print::shape_sheet::ShapeSheet;
use crate::print::strip::StripSheet;
use crate::shape::boxing::Boxing;
use crate::web::AppState;
use crate::web::error::WebError;
use crate::web::page::layout::{choose, lay_out};
use crate::web::page::{PageResult, show};

#[derive(Deserialize)]
pub(crate) struct PaperQuery {
    #[serde(default)]
    paper: String,
}

fn top(state: &AppState, job: &Job, asked: &PaperQuery) -> ShapeTop {
    ShapeTop::of(&state.lab(), job.number, &job.frame.details, Paper::from_word(&asked.paper))
}

pub(crate) async fn print_outline(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Query(asked): Query<PaperQuery>,
) -> PageResult {
    let job = state.store.get_job(number).await?;
    let shape = kept_shape(&state, number).await?;
    show(&ShapeSheet::of(top(&state, &job, &asked), &shape))
}

pub(crate) async fn print_strip(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Query(asked): Query<PaperQuery>,
) -> PageResult {
    let job = state.store.get_job(number).await?;
    let circumference_mm = kept_shape(&state, number).await?.outlines().map(|o| Boxing::of(&o).circumference_mm);
    show(&StripSheet::of(top(&state, &job, &asked), circumference_mm))
}

/// Each lens that is made on the blank in hand, or on the one that the layout chooses.
pub(crate) async fn print_blocking(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Query(asked): Query<PaperQuery>,
) -> PageResult {
    let job = state.store.get_job(number).await?;
    let lenses = state.store.find_lenses(number).await?;
    let laid = lay_out(&state, &job, step_of(&state.lab())).await?;
    let laid = laid.ok_or_else(|| WebError::NotFound(format!("A shape of job {number}")))?;
    let read = job.lens_prescriptions();
    let eye = |eye: Eye| {
        let chosen = choose(&job, &laid, eye, lenses.get(eye).as_ref(), None);
        BlockingEye::of(laid.eyes.get(eye), &chosen.cover, chosen.which, read.get(eye))
    };
    let made = laid.eyes.iter().filter(|(_, eye)| eye.is_made);
    show(&BlockingSheet {
        top: top(&state, &job, &asked),
        eyes: job.made_eyes().map(eye).collect(),
        cautions: made.flat_map(|(_, eye)| eye.cautions()).chain(laid.wrap_words()).collect(),
    })
}
