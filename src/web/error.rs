//! What a request can end in besides its page.
//!
//! A field that is wrong is not an error of this kind: the handler shows its form again with status 422. What is here is
//! what the person cannot mend in a field: a thing that is not in the book, a step that is out of turn, our own failure.

use askama::Template;
use axum::http::StatusCode;
use axum::response::{Html, IntoResponse, Redirect, Response};
use thiserror::Error;

use super::chrome::Chrome;
use super::words::capital;
use crate::store::StoreError;

/// A request that cannot be answered with its page.
#[derive(Debug, Error)]
pub enum WebError {
    /// 404: the address names nothing.
    #[error("{0} is not in the book.")]
    NotFound(String),
    /// 409: the step is out of turn; the sentence says what to do first.
    #[error("{0}")]
    OutOfTurn(String),
    /// 303: the form was done before, so the answer is where the first one went. Not a failure, but it ends the handler.
    #[error("done before, see {0}")]
    DoneBefore(String),
    /// 410: it was in the book, and was erased.
    #[error("{said}")]
    Gone {
        /// When and why.
        said: String,
        /// The receipts that are kept of it.
        receipts: Vec<i64>,
    },
    /// 400: what was sent is no form of ours.
    #[error("{0}")]
    Malformed(String),
    /// 503 or 507: the disk did not take it, or may not.
    #[error("{said}")]
    NotKept {
        /// Whether there was no room.
        is_full: bool,
        /// What happened and what to do.
        said: String,
    },
    /// 401, 403, 405, 408, 413 or 415: refused before a page was asked.
    #[error("{1}")]
    Refused(StatusCode, String),
    /// 500: ours to mend; logged once, never shown.
    #[error("failed: {0}")]
    Internal(String),
}

const NO_ROOM: &str = "The disk is full, so nothing of this was kept. What was kept before is safe. Make room on the \
                       disk, go back and send it again: what you typed is still in the form.";

fn not_kept(is_full: bool, said: String) -> WebError {
    tracing::error!("not kept: {said}");
    WebError::NotKept { is_full, said }
}

fn disk_failed(why: &str) -> String {
    format!(
        "The disk with the book cannot be read or written ({why}), so nothing of this was kept. What was kept before stays as \
         it was. Look whether the disk is full, still connected and writable, go back and send it again."
    )
}

impl From<StoreError> for WebError {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::NotFound(what) => WebError::NotFound(capital(what)),
            StoreError::Busy | StoreError::MovedOn(_) => WebError::OutOfTurn(capital(&format!("{error}."))),
            StoreError::OldRecord(_) => WebError::OutOfTurn(error.to_string()),
            StoreError::Stopped(_) => WebError::OutOfTurn(format!("{error}.")),
            StoreError::TraceFile(_) | StoreError::BringingIn => WebError::OutOfTurn(capital(&format!("{error}."))),
            StoreError::NoRoom => not_kept(true, NO_ROOM.to_owned()),
            StoreError::Disk(why) => not_kept(false, disk_failed(&why)),
            StoreError::Unsound(trouble) => not_kept(false, format!("{trouble}.")),
            StoreError::Erased { ref receipts, .. } => {
                WebError::Gone { said: capital(&format!("{error}.")), receipts: receipts.clone() }
            }
            StoreError::Database(cause) => WebError::Internal(format!("database: {cause}")),
            other => WebError::Internal(other.to_string()),
        }
    }
}

impl From<askama::Error> for WebError {
    fn from(error: askama::Error) -> Self {
        WebError::Internal(format!("template: {error}"))
    }
}

#[derive(Template)]
#[template(path = "error.html")]
struct ErrorPage {
    chrome: Chrome,
    title: &'static str,
    said: String,
    receipts: Vec<i64>,
}

impl IntoResponse for WebError {
    fn into_response(self) -> Response {
        let (status, title, said) = match &self {
            WebError::DoneBefore(path) => return Redirect::to(path).into_response(),
            WebError::NotFound(_) => (StatusCode::NOT_FOUND, "Not in the book", self.to_string()),
            WebError::Gone { .. } => (StatusCode::GONE, "Erased", self.to_string()),
            WebError::OutOfTurn(_) => (StatusCode::CONFLICT, "Not yet", self.to_string()),
            WebError::Malformed(_) => (StatusCode::BAD_REQUEST, "Not understood", self.to_string()),
            WebError::NotKept { is_full: true, .. } => (StatusCode::INSUFFICIENT_STORAGE, "Not kept", self.to_string()),
            WebError::NotKept { .. } => (StatusCode::SERVICE_UNAVAILABLE, "Not kept", self.to_string()),
            WebError::Refused(status, _) => (*status, "Not done", self.to_string()),
            WebError::Internal(cause) => {
                let mark = uuid::Uuid::now_v7().simple().to_string();
                tracing::error!(mark, cause, "a page failed");
                let said = format!(
                    "Something failed, and you cannot fix it here. Everything saved before is safe. Go back and try \
                     again. If it fails again, look in the log for {mark}."
                );
                (StatusCode::INTERNAL_SERVER_ERROR, "Failed", said)
            }
        };
        let receipts = if let WebError::Gone { receipts, .. } = self { receipts } else { Vec::new() };
        let page = ErrorPage { chrome: Chrome::bare(), title, said, receipts };
        match page.render() {
            Ok(html) => (status, Html(html)).into_response(),
            Err(_) => (status, title).into_response(),
        }
    }
}
