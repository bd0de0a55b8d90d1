//! Frames: found by maker, model and colour; shown with the jobs made in them.

use std::collections::BTreeSet;

use askama::Template;
use axum::extract::{Path, Query, State};
use axum::response::Html;
use serde::{Deserialize, Serialize};

use super::{Chrome, JobRow, PageResult, fill_json, key_of, show};
use crate::desk::frame::Frame;
use crate::web::AppState;
use crate::web::error::WebError;

const MOST: i64 = 200;
const MOST_JOBS: usize = 50;
const MOST_SUGGESTED: i64 = 8;

#[derive(Deserialize)]
pub(crate) struct FrameQuery {
    #[serde(default)]
    q: String,
}

struct FrameListRow {
    path: String,
    maker: String,
    model: String,
    colour: String,
    stamp: String,
    rim: &'static str,
    price: String,
}

impl FrameListRow {
    fn new(frame: Frame) -> Self {
        let details = frame.details;
        Self {
            path: format!("/frames/{}", frame.id),
            stamp: details.stamp(),
            rim: details.rim.words(),
            price: details.price.to_string(),
            maker: details.maker,
            model: details.model,
            colour: details.colour,
        }
    }
}

#[derive(Template)]
#[template(path = "frames/list.html")]
struct FrameListPage {
    chrome: Chrome,
    q: String,
    rows: Vec<FrameListRow>,
    is_cut_off: bool,
}

pub(crate) async fn list_frames(State(state): State<AppState>, Query(search): Query<FrameQuery>) -> PageResult {
    let found = state.store.list_frames(&search.q, MOST).await?;
    show(&FrameListPage {
        chrome: Chrome::new(&state, "frames"),
        q: search.q,
        is_cut_off: i64::try_from(found.len()).is_ok_and(|n| n == MOST),
        rows: found.into_iter().map(FrameListRow::new).collect(),
    })
}

/// A job in the frame, and where new lenses for it begin when its shape is on file.
struct FrameJob {
    job: JobRow,
    relens: Option<String>,
}

#[derive(Template)]
#[template(path = "frames/frame.html")]
struct FramePage {
    chrome: Chrome,
    frame: FrameListRow,
    jobs: Vec<FrameJob>,
    /// Whether these are not the newest jobs.
    is_later_page: bool,
    /// Where the jobs before these stand.
    earlier: Option<String>,
}

/// Which jobs of a frame to show: those with a lower number.
#[derive(Deserialize)]
pub(crate) struct FrameJobsQuery {
    before: Option<i64>,
}

pub(crate) async fn show_frame(
    State(state): State<AppState>,
    Path(id): Path<String>,
    Query(asked): Query<FrameJobsQuery>,
) -> PageResult {
    let frame = state.store.get_frame(key_of(&id, "That frame")?).await?;
    let mut jobs =
        state.store.list_jobs_of_frame(frame.id, asked.before.unwrap_or(i64::MAX), MOST_JOBS as i64 + 1).await?;
    let has_more = jobs.len() > MOST_JOBS;
    jobs.truncate(MOST_JOBS);
    let shaped: BTreeSet<i64> = match (jobs.last(), jobs.first()) {
        (Some(oldest), Some(newest)) => {
            state.store.list_shaped_jobs(frame.id, oldest.number..=newest.number).await?.into_iter().collect()
        }
        _ => BTreeSet::new(),
    };
    let earlier =
        jobs.last().filter(|_| has_more).map(|oldest| format!("/frames/{}?before={}", frame.id, oldest.number));
    let jobs = jobs
        .into_iter()
        .map(|job| FrameJob {
            relens: shaped.contains(&job.number).then(|| format!("/jobs/{}/relens", job.number)),
            job: JobRow::new(job),
        })
        .collect();
    show(&FramePage {
        chrome: Chrome::new(&state, "frames"),
        frame: FrameListRow::new(frame),
        jobs,
        is_later_page: asked.before.is_some(),
        earlier,
    })
}

/// What a chosen suggestion puts in the order's form.
#[derive(Serialize)]
struct FrameFill {
    frame_id: String,
    frame_name: String,
    price_frame: String,
}

struct FrameSuggestion {
    fill: String,
    name: String,
    detail: String,
}

#[derive(Template)]
#[template(path = "frames/_suggestions.html")]
struct FrameSuggestions {
    suggestions: Vec<FrameSuggestion>,
}

pub(crate) async fn suggest_frames(
    State(state): State<AppState>,
    Query(search): Query<FrameQuery>,
) -> Result<Html<String>, WebError> {
    let found = match search.q.trim() {
        "" => Vec::new(),
        text => state.store.list_frames(text, MOST_SUGGESTED).await?,
    };
    let suggestions = found.into_iter().map(suggest).collect::<Result<_, _>>()?;
    Ok(Html(FrameSuggestions { suggestions }.render()?))
}

fn suggest(frame: Frame) -> Result<FrameSuggestion, WebError> {
    let details = frame.details;
    let fill = fill_json(&FrameFill {
        frame_id: frame.id.to_string(),
        frame_name: details.to_string(),
        price_frame: details.price.plain(),
    })?;
    let colour = if details.colour.is_empty() { String::new() } else { format!("{} · ", details.colour) };
    Ok(FrameSuggestion {
        fill,
        detail: format!("{colour}{} · {} · {}", details.stamp(), details.rim.words(), details.price),
        name: format!("{} {}", details.maker, details.model),
    })
}
