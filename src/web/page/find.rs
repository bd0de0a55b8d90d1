//! The box in the head of every page: a job number opens the job (a scanner is a keyboard), anything else is looked for.

use askama::Template;
use axum::extract::{Query, State};
use serde::Deserialize;

use super::{Chrome, PageResult, go, show};
use crate::store::StoreError;
use crate::web::{AppState, words};

#[derive(Deserialize)]
pub(crate) struct FindQuery {
    #[serde(default)]
    q: String,
}

#[derive(Template)]
#[template(path = "find/show.html")]
struct FindPage {
    chrome: Chrome,
    asked: String,
    customers: Vec<(String, String, String)>,
    frames: Vec<(String, String)>,
    jobs: Vec<(i64, String, String, String, String)>,
}

pub(crate) async fn find_anything(State(state): State<AppState>, Query(asked): Query<FindQuery>) -> PageResult {
    let asked = asked.q.trim().to_owned();
    if asked.is_empty() {
        return go("/");
    }
    if let Ok(number) = asked.parse::<i64>() {
        match state.store.get_job(number).await {
            Ok(job) => return go(&format!("/jobs/{}", job.number)),
            Err(StoreError::NotFound(_)) => {}
            Err(other) => return Err(other.into()),
        }
    }
    let customers = state.store.list_customers(&asked, 20).await?;
    let frames = state.store.list_frames(&asked, 20).await?;
    let jobs = state.store.find_jobs(&asked, 40).await?;
    show(&FindPage {
        chrome: Chrome::new(&state, ""),
        customers: customers
            .into_iter()
            .map(|c| {
                let place = [c.person.city, c.person.phone].into_iter().filter(|s| !s.is_empty()).collect::<Vec<_>>();
                (c.id.to_string(), c.person.name, place.join(", "))
            })
            .collect(),
        frames: frames.into_iter().map(|f| (f.id.to_string(), f.details.to_string())).collect(),
        jobs: jobs
            .into_iter()
            .map(|j| (j.number, j.customer, j.frame, words::day(&j.ordered_on), j.stage.words().to_owned()))
            .collect(),
        asked,
    })
}
