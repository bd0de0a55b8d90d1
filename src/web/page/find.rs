//! The box in the head of every page, and scanned barcodes. A job number opens the job; anything else is looked for.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, State};
use uuid::Uuid;

use super::job_bar::next_link;
use super::{Chrome, PageResult, go, show};
use crate::desk::search::{self, FoundJob, SearchTerm};
use crate::optics::Eye;
use crate::store::StoreError;
use crate::web::asked::PostedSearch;
use crate::web::error::WebError;
use crate::web::{AppState, words};

/// Most jobs that are shown.
const MOST_JOBS: i64 = 40;

/// Most customers, and most frames.
const MOST_OTHERS: i64 = 20;

#[derive(Template)]
#[template(path = "find/show.html")]
struct FindPage {
    chrome: Chrome,
    asked: String,
    is_scanned: bool,
    left_out: Vec<String>,
    jobs: Vec<FoundJobRow>,
    close: Vec<FoundJobRow>,
    customers: Vec<(String, String, String)>,
    frames: Vec<(String, String)>,
}

/// A job as it is found: enough to pick it by.
struct FoundJobRow {
    number: i64,
    customer: String,
    town: String,
    /// Who pays and who gets the parcel, where that is not the customer.
    others: Vec<String>,
    frame: String,
    right: String,
    left: String,
    ordered: String,
    stage: &'static str,
    /// Of an old record.
    old_number: Option<String>,
}

impl From<FoundJob> for FoundJobRow {
    fn from(job: FoundJob) -> Self {
        let power = |eye: Eye| match job.eyes.get(eye) {
            Some(rx) => rx.power.to_minus().to_string(),
            None => "none".to_owned(),
        };
        let payer = job.payer.map(|name| format!("paid by {name}"));
        let recipient = job.recipient.map(|name| format!("sent to {name}"));
        Self {
            others: payer.into_iter().chain(recipient).collect(),
            right: power(Eye::Right),
            left: power(Eye::Left),
            number: job.number,
            frame: job.frame.to_string(),
            ordered: words::day(&job.ordered_on),
            stage: job.stage.words(),
            old_number: job.old_number,
            customer: job.customer,
            town: job.town,
        }
    }
}

/// Opens the job whose number was typed; of an old record, also by the number that it had. Where that is two jobs, and for
/// anything else, there is a page of what was found.
pub(crate) async fn ask(State(state): State<AppState>, Posted(search): Posted<PostedSearch>) -> PageResult {
    let typed = search.q.trim();
    if typed.is_empty() {
        return go("/");
    }
    let found = (job_number(&state, typed).await?, state.store.find_old_number(typed).await?);
    match found {
        (Some(number), None) | (None, Some(number)) => go(&format!("/jobs/{number}")),
        (Some(number), Some(old)) if number == old => go(&format!("/jobs/{number}")),
        _ => go(&format!("/find/{}", state.asked.keep(typed))),
    }
}

/// What was found.
pub(crate) async fn show_found(State(state): State<AppState>, Path(key): Path<Uuid>) -> PageResult {
    match state.asked.find(key) {
        Some(typed) => show_found_for(&state, typed, false).await,
        None => Err(WebError::OutOfTurn("This search is no longer kept: type it again in the box above.".to_owned())),
    }
}

async fn show_found_for(state: &AppState, typed: String, is_scanned: bool) -> PageResult {
    let found = state.store.find_jobs(&search::read(&typed, state.clock.today()), MOST_JOBS).await?;
    let customers = state.store.list_customers(&typed, MOST_OTHERS).await?;
    let frames = state.store.list_frames(&typed, MOST_OTHERS).await?;
    show(&FindPage {
        chrome: Chrome::new(state, ""),
        is_scanned,
        left_out: found.left_out,
        jobs: found.jobs.into_iter().map(FoundJobRow::from).collect(),
        close: found.close.into_iter().map(FoundJobRow::from).collect(),
        customers: customers
            .into_iter()
            .map(|c| {
                let place = [c.person.city, c.person.phone].into_iter().filter(|s| !s.is_empty()).collect::<Vec<_>>();
                (c.id.to_string(), c.person.name, place.join(", "))
            })
            .collect(),
        frames: frames.into_iter().map(|f| (f.id.to_string(), f.details.to_string())).collect(),
        asked: typed,
    })
}

/// The job whose number was typed.
async fn job_number(state: &AppState, typed: &str) -> Result<Option<i64>, StoreError> {
    let Ok(number) = typed.parse::<i64>() else { return Ok(None) };
    match state.store.get_job_or_record(number).await {
        Ok(job) => Ok(Some(job.number)),
        Err(StoreError::NotFound(_)) => Ok(None),
        Err(other) => Err(other),
    }
}

/// Leads from a scanned barcode to what comes next on its job: the number of the job, or another number that only one job
/// has, such as that of its parcel. `static/js/scan.js` asks for it from any page.
pub(crate) async fn open_scanned(State(state): State<AppState>, Path(scanned): Path<String>) -> PageResult {
    let scanned: String = scanned.chars().filter(|c| c.is_ascii_alphanumeric()).collect();
    let number = match job_number(&state, &scanned).await? {
        Some(number) => number,
        None => {
            let found = state.store.find_jobs(&[SearchTerm::Word(scanned.clone())], 2).await?;
            match found.jobs.as_slice() {
                [only] => only.number,
                _ => return show_found_for(&state, scanned, true).await,
            }
        }
    };
    let job = state.store.get_job_or_record(number).await?;
    go(&next_link(&job).map_or_else(|| format!("/jobs/{number}"), |(_, path)| path))
}
