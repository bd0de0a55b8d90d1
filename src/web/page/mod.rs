//! One module a noun, each with its routes, handlers and template structs.

use std::str::FromStr;

use askama::Template;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};
use serde::Deserialize;

use super::error::WebError;
use super::form::Form;
use super::{AppState, two_windows, words};
use crate::desk::job::{JobLine, Stage};
use crate::store::once::act;

pub mod backups;
pub mod bill_lines;
pub mod bills;
pub mod blanks;
pub mod buying;
pub mod cancellations;
pub mod causes;
pub mod checks;
pub mod compensation;
pub mod customers;
pub mod cuts;
pub mod devices;
pub mod drafts;
pub mod edge;
pub mod erasure;
pub mod files;
pub mod find;
pub mod frames;
pub mod impact;
pub mod job_bar;
pub mod job_post;
pub mod jobs;
pub mod lab;
pub mod layout;
pub mod lenses;
pub mod materials;
pub mod measuring;
pub mod money;
pub mod old_records;
pub mod orders;
pub mod own_frame;
pub mod packing;
pub mod papers;
pub mod party;
pub mod payments;
pub mod people;
pub mod prism;
pub mod process_spread;
pub mod promise;
pub mod purchases;
pub mod receipts;
pub mod refunds;
pub mod returns;
pub mod reversals;
pub mod risk;
pub mod screens;
mod sent;
pub mod shapes;
pub mod shipments;
pub mod spoilage;
pub mod start;
pub mod stock;
pub mod suppliers;
pub mod ticket;
pub mod today;
pub mod understood;

pub use super::chrome::Chrome;

/// What a handler answers.
pub type PageResult = Result<Response, WebError>;

/// A page, status 200.
pub fn show(page: &impl Template) -> PageResult {
    Ok(Html(page.render()?).into_response())
}

/// The same form again, status 422, with sentences beside the fields.
pub fn show_again(page: &impl Template) -> PageResult {
    Ok((StatusCode::UNPROCESSABLE_ENTITY, Html(page.render()?)).into_response())
}

/// On to another page after a post (303 See Other), so that a reload does not post again.
pub fn go(path: &str) -> PageResult {
    Ok(Redirect::to(path).into_response())
}

/// What the address of a page says after one of its own forms was saved, so that the page can say so.
#[derive(Debug, Default, Deserialize)]
pub struct SavedQuery {
    saved: Option<String>,
}

impl SavedQuery {
    /// The address of a page whose form was saved.
    pub fn after(path: &str) -> String {
        format!("{path}?saved=yes")
    }

    /// Whether the page says so.
    pub fn is_saved(&self) -> bool {
        self.saved.is_some()
    }
}

/// An address that names no page.
pub async fn not_found() -> WebError {
    WebError::NotFound("This address".to_owned())
}

/// The key of a form of a job: the form, the job, and a running number.
pub fn form_key(form: &str, job: i64, done_before: i64) -> String {
    format!("{form}-{job}-{done_before}")
}

/// The key under which a form that adds something each time is done once: see [`act`].
pub fn act_of(key: &str, form: &Form) -> String {
    act(key, form.contents())
}

/// What was typed in a form that is not done yet.
pub async fn draft_of(state: &AppState, key: &str) -> Result<Form, WebError> {
    Ok(Form::new(state.store.find_draft(key).await?.map(|draft| draft.fields).unwrap_or_default()))
}

/// What was typed in a correction that is not done yet, else what the book holds.
pub async fn draft_or(state: &AppState, key: &str, kept: impl FnOnce() -> Form) -> Result<Form, WebError> {
    Ok(match state.store.find_draft(key).await? {
        Some(draft) if draft.outcome.is_none() => Form::new(draft.fields),
        _ => two_windows::filled(kept()),
    })
}

/// A key in an address. What is no key names nothing in the book.
pub fn key_of<Id: FromStr>(text: &str, what: &str) -> Result<Id, WebError> {
    text.parse().map_err(|_| WebError::NotFound(what.to_owned()))
}

/// When a form was done before with other words in it: two windows were open.
pub const CHANGED_ELSEWHERE: &str =
    "This was just changed in another window. What you typed is below: check it and save again";

/// The key that came with a form, if it is one of this kind.
pub fn posted_key(form: &Form, kind: &str) -> Result<String, WebError> {
    let key = form.key();
    if key.starts_with(kind) && key.len() <= 80 { Ok(key.to_owned()) } else { Err(incomplete()) }
}

/// What a form without its key is told.
pub fn incomplete() -> WebError {
    WebError::Malformed("That form is not complete. Go back, reload the page and try again.".to_owned())
}

/// What a suggestion puts in a form, as JSON; the template escapes it for its attribute.
pub fn fill_json(fields: &impl serde::Serialize) -> Result<String, WebError> {
    serde_json::to_string(fields).map_err(|why| WebError::Internal(format!("suggestion: {why}")))
}

/// A job as a line of a list on the page of a customer or a frame.
#[derive(Debug, Clone)]
pub struct JobListRow {
    /// The number on the tray.
    pub number: i64,
    /// For whom.
    pub customer: String,
    /// Maker, model and color.
    pub frame: String,
    /// The day it was taken.
    pub ordered: String,
    /// The day it was promised for, or the day it left.
    pub until: String,
    /// How far it has come.
    pub stage: &'static str,
}

impl JobListRow {
    /// The line of a job.
    pub fn new(job: JobLine) -> Self {
        Self {
            number: job.number,
            customer: job.customer,
            frame: job.frame,
            ordered: words::day(&job.ordered_on),
            until: match job.sent_on {
                None if job.stage == Stage::Cancelled => "not sent".to_owned(),
                None if job.stage == Stage::BroughtIn => "from old records".to_owned(),
                Some(sent) => format!("sent {}", words::day(&sent)),
                None => format!("promised {}", words::day(&job.promised_on)),
            },
            stage: job.stage.words(),
        }
    }
}
