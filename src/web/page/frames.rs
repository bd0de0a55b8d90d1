//! Frames: found by maker, model and color; shown with the jobs made in them; corrected.

use std::collections::BTreeSet;

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, Query, State};
use axum::response::Html;
use serde::{Deserialize, Serialize};

use super::orders::{FrameFields, OrderForm};
use super::{
    CHANGED_ELSEWHERE, Chrome, JobListRow, PageResult, draft_or, fill_json, go, key_of, posted_key, show, show_again,
};
use crate::desk::fitting::FramePosition;
use crate::desk::frame::{Frame, FrameDetails, FramePast, Rim};
use crate::desk::job::{JobLine, Stage};
use crate::desk::money::Cents;
use crate::optics::notation::short;
use crate::store::draft::Fields;
use crate::store::once::Once;
use crate::web::asked::{FoundQuery, PostedSearch};
use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::two_windows::{PostedCorrection, correct};
use crate::web::{AppState, words};

const MOST: i64 = 200;
const MOST_JOBS: usize = 50;
const MOST_SUGGESTED: i64 = 8;
/// The most earlier versions of a frame on its page.
const MOST_PAST: i64 = 20;
/// The newest jobs of a frame that are looked through for open ones.
const MOST_OPEN: i64 = 50;

struct FrameListRow {
    path: String,
    maker: String,
    model: String,
    color: String,
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
            color: details.color,
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

pub(crate) async fn search_frames(State(state): State<AppState>, Posted(search): Posted<PostedSearch>) -> PageResult {
    go(&state.asked.address("/frames", &search))
}

pub(crate) async fn list_frames(State(state): State<AppState>, Query(asked): Query<FoundQuery>) -> PageResult {
    let q = state.asked.narrows(&asked);
    let found = state.store.list_frames(&q, MOST).await?;
    show(&FrameListPage {
        chrome: Chrome::new(&state, "frames"),
        q,
        is_cut_off: i64::try_from(found.len()).is_ok_and(|n| n == MOST),
        rows: found.into_iter().map(FrameListRow::new).collect(),
    })
}

/// What the book said of the frame before a correction.
struct PastRow {
    until: String,
    said: String,
}

impl PastRow {
    fn new(past: FramePast, state: &AppState) -> Self {
        let details = past.details;
        Self {
            until: words::moment(&state.clock.local(past.until)),
            said: format!("{details}, {}, {}", details.rim.words(), details.price),
        }
    }
}

/// A job in the frame, and where new lenses for it begin when its shape is on file.
struct FrameJob {
    job: JobListRow,
    relens: Option<String>,
}

#[derive(Template)]
#[template(path = "frames/frame.html")]
struct FramePage {
    chrome: Chrome,
    frame: FrameListRow,
    past: Vec<PastRow>,
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
            job: JobListRow::new(job),
        })
        .collect();
    let past = state.store.list_frame_past(frame.id, MOST_PAST).await?;
    show(&FramePage {
        past: past.into_iter().map(|past| PastRow::new(past, &state)).collect(),
        chrome: Chrome::new(&state, "frames"),
        frame: FrameListRow::new(frame),
        jobs,
        is_later_page: asked.before.is_some(),
        earlier,
    })
}

#[derive(Template)]
#[template(path = "frames/details.html")]
struct FrameDetailsPage {
    chrome: Chrome,
    form: Form,
    key: String,
    name: String,
    back: String,
    rims: Vec<(&'static str, &'static str)>,
    /// The jobs in the frame that are not finished.
    open: Vec<JobListRow>,
}

impl FrameDetailsPage {
    async fn new(state: &AppState, form: Form, key: String, frame: &Frame) -> Result<Self, WebError> {
        let jobs = state.store.list_jobs_of_frame(frame.id, i64::MAX, MOST_OPEN).await?;
        let is_open = |job: &JobLine| ![Stage::Sent, Stage::Cancelled, Stage::BroughtIn].contains(&job.stage);
        Ok(Self {
            chrome: Chrome::new(state, "frames"),
            form,
            key,
            name: frame.details.to_string(),
            back: format!("/frames/{}", frame.id),
            rims: Rim::ALL.iter().map(|rim| (rim.key(), rim.words())).collect(),
            open: jobs.into_iter().filter(is_open).map(JobListRow::new).collect(),
        })
    }
}

async fn key(state: &AppState, frame: &Frame) -> Result<String, WebError> {
    Ok(format!("frame-{}-{}", frame.id.0.simple(), state.store.count_frame_changes(frame.id).await?))
}

pub(crate) async fn edit_frame(State(state): State<AppState>, Path(id): Path<String>) -> PageResult {
    let frame = state.store.get_frame(key_of(&id, "That frame")?).await?;
    let key = key(&state, &frame).await?;
    let form = draft_or(&state, &key, || fill(&frame.details)).await?;
    show(&FrameDetailsPage::new(&state, form, key, &frame).await?)
}

pub(crate) async fn change_frame(
    State(state): State<AppState>,
    Path(id): Path<String>,
    Posted(fields): Posted<Fields>,
) -> PageResult {
    let mut form = Form::new(fields);
    let frame = state.store.get_frame(key_of(&id, "That frame")?).await?;
    let (posted_key, key) = (posted_key(&form, "frame-")?, key(&state, &frame).await?);
    let shown = format!("/frames/{}", frame.id);
    let details = match correct(&mut form, &frame.details, &fill(&frame.details), posted_key != key, read) {
        PostedCorrection::Nothing => return go(&shown),
        PostedCorrection::Refused => return show_again(&FrameDetailsPage::new(&state, form, key, &frame).await?),
        PostedCorrection::Changed(details) => details,
    };
    let kept = state.store.change_frame(&key, frame.id, &details, state.clock.now()).await;
    match form.kept(kept)? {
        None => show_again(&FrameDetailsPage::new(&state, form, key, &frame).await?),
        Some(Once::Now(())) => go(&shown),
        Some(Once::Before(_)) => {
            form.fail(OrderForm::FRAME_MAKER, CHANGED_ELSEWHERE);
            show_again(&FrameDetailsPage::new(&state, form, key, &frame).await?)
        }
    }
}

/// The fields have the names of those on the order page.
fn fill(details: &FrameDetails) -> Form {
    Form::of([
        (OrderForm::FRAME_MAKER, details.maker.clone()),
        (OrderForm::FRAME_MODEL, details.model.clone()),
        (OrderForm::FRAME_COLOR, details.color.clone()),
        (OrderForm::FRAME_EYE_SIZE, short(details.eye_size.to_f64())),
        (OrderForm::FRAME_BRIDGE, short(details.bridge.to_f64())),
        (OrderForm::FRAME_TEMPLE, details.temple.map(|t| short(t.to_f64())).unwrap_or_default()),
        (OrderForm::FRAME_RIM, details.rim.key().to_owned()),
        (OrderForm::PRICE_FRAME, details.price.plain()),
    ])
}

fn read(form: &mut Form) -> Option<FrameDetails> {
    let frame = FrameFields::read_typed(form);
    let price = form.read_optional(OrderForm::PRICE_FRAME, |t| Cents::read_price(t, Cents::MOST_PRICE));
    frame.details(price?.unwrap_or(Cents::ZERO))
}

/// What a chosen suggestion puts in the order's form.
#[derive(Serialize)]
struct FrameFill {
    frame_id: String,
    frame_name: String,
    price_frame: String,
    /// Of the newest job in the frame; not sent where none is known, so that what was typed stays.
    #[serde(skip_serializing_if = "Option::is_none")]
    tilt: Option<String>,
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
    Posted(search): Posted<PostedSearch>,
) -> Result<Html<String>, WebError> {
    let found = match search.q.trim() {
        "" => Vec::new(),
        text => state.store.list_frames(text, MOST_SUGGESTED).await?,
    };
    let mut suggestions = Vec::new();
    for frame in found {
        let position = state.store.find_frame_position(frame.id).await?;
        suggestions.push(suggest(frame, position)?);
    }
    Ok(Html(FrameSuggestions { suggestions }.render()?))
}

fn suggest(frame: Frame, position: Option<FramePosition>) -> Result<FrameSuggestion, WebError> {
    let details = frame.details;
    let fill = fill_json(&FrameFill {
        frame_id: frame.id.to_string(),
        frame_name: details.to_string(),
        price_frame: details.price.plain(),
        tilt: position.map(|position| short(position.panto.to_f64())),
    })?;
    let color = if details.color.is_empty() { String::new() } else { format!("{} · ", details.color) };
    Ok(FrameSuggestion {
        fill,
        detail: format!("{color}{} · {} · {}", details.stamp(), details.rim.words(), details.price),
        name: format!("{} {}", details.maker, details.model),
    })
}
