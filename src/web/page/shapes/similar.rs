//! The shapes on file that look like that of a job: for a caller who knows only what the frame looks like, and to find the
//! same frame under another name.

use std::collections::HashMap;

use askama::Template;
use axum::extract::{Path, Query, State};

use super::kept_shape;
use crate::shape::twins::Ways;
use crate::store::Store;
use crate::store::StoreError;
use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::form::Form;
use crate::web::page::job_bar::JobBar;
use crate::web::page::{Chrome, PageResult, show};
use crate::web::twins::{Alike, apart_words};

#[derive(Template)]
#[template(path = "shapes/similar.html")]
struct SimilarPage {
    chrome: Chrome,
    bar: JobBar,
    form: Form,
    found: Vec<SimilarRow>,
}

struct SimilarRow {
    job: i64,
    customer: String,
    frame: String,
    apart: String,
    /// Empty where the sizes are compared as they are.
    size: String,
}

/// The ways a shape may be changed before it is compared.
const WAYS: &str = "may";

pub(crate) async fn show_similar(
    State(state): State<AppState>,
    Path(number): Path<i64>,
    Query(asked): Query<Fields>,
) -> PageResult {
    let job = state.store.get_job_or_record(number).await?;
    let shape = kept_shape(&state, number).await?;
    let form = Form::new(asked);
    let ways =
        Ways { mirrored: form.is_checked(WAYS, "be_mirrored"), any_size: form.is_checked(WAYS, "have_another_size") };
    let found = rows(&state.store, state.similar(&shape, ways).await?, ways).await?;
    show(&SimilarPage { chrome: Chrome::new(&state, ""), bar: JobBar::of(&job, "shape", &state), form, found })
}

async fn rows(store: &Store, found: Vec<Alike>, ways: Ways) -> Result<Vec<SimilarRow>, StoreError> {
    let numbers: Vec<i64> = found.iter().map(|alike| alike.job).collect();
    let mut jobs: HashMap<i64, _> =
        store.list_job_lines(&numbers).await?.into_iter().map(|job| (job.number, job)).collect();
    let row = |alike: &Alike| {
        let (customer, frame) = jobs.remove(&alike.job).map(|job| (job.customer, job.frame)).unwrap_or_default();
        let percent = (1.0 / alike.found.scale - 1.0) * 100.0;
        let size = if ways.any_size { format!("{percent:+.1} %").replace('-', "−") } else { String::new() };
        let apart = apart_words(alike.found.gap_mm, alike.found.is_mirrored);
        SimilarRow { job: alike.job, customer, frame, apart, size }
    };
    Ok(found.iter().map(row).collect())
}
