//! Keeps what is typed while it is typed.

use askama::Template;
use axum::Form as Posted;
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::http::header::CONTENT_LOCATION;
use axum::response::{Html, IntoResponse, Response};
use serde::Deserialize;
use time::Duration;

use super::orders::order_after;
use crate::store::draft::{Fields, KeptDraft, MOST_WINDOW, TypingWindow};
use crate::web::AppState;
use crate::web::clock::Clock;
use crate::web::error::WebError;

/// What a page says of itself in the address of what it sends; static/js/draft.js writes it.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct WindowQuery {
    #[serde(default)]
    window: String,
    #[serde(default)]
    before: String,
    /// For how long it is open.
    open_ms: Option<u32>,
}

impl WindowQuery {
    pub(super) fn writer(self, clock: Clock) -> TypingWindow {
        let is_name = |name: &str| name.len() <= MOST_WINDOW && name.bytes().all(|b| b.is_ascii_graphic());
        let name = |name: String| if is_name(&name) { name } else { String::new() };
        let opened_at = self.open_ms.map(|ms| clock.now() - Duration::milliseconds(ms.into()));
        TypingWindow { window: name(self.window), before: name(self.before), opened_at, filled_from: None }
    }
}

/// What a window is told when another one has the same form.
#[derive(Clone, Template)]
#[template(path = "orders/_second_window.html")]
pub(super) struct SecondWindow {
    /// The address of what the other window types; `None` where the form is no order.
    pub(super) other: Option<String>,
    /// The job that was taken from the page in the other window.
    pub(super) taken: Option<String>,
}

impl askama::filters::HtmlSafe for SecondWindow {}

/// The field that says which draft an order's page was filled in with. It is no part of the order.
const FILLED: &str = "filled";

pub(super) fn take_filled(fields: &mut Fields) -> Option<String> {
    let filled = fields.iter().position(|(name, _)| name == FILLED).map(|at| fields.remove(at).1);
    filled.filter(|mark| !mark.is_empty() && mark.len() <= MOST_WINDOW)
}

pub(crate) async fn keep_draft(
    State(state): State<AppState>,
    Path(key): Path<String>,
    Query(window): Query<WindowQuery>,
    Posted(mut fields): Posted<Fields>,
) -> Result<Response, WebError> {
    take_filled(&mut fields);
    if key.is_empty() || key.len() > 80 {
        return Err(WebError::Malformed("Rimbook has no such form.".to_owned()));
    }
    let writer = window.writer(state.clock);
    Ok(match state.store.keep_draft(&key, &fields, &writer, state.clock.now()).await? {
        KeptDraft::Here | KeptDraft::Finished => StatusCode::NO_CONTENT.into_response(),
        KeptDraft::NotKept => Html(SecondWindow { other: None, taken: None }.render()?).into_response(),
        KeptDraft::Aside { key: aside, taken } => {
            let address = order_after(&aside, taken.as_deref());
            let says = SecondWindow { other: Some(format!("/orders/{key}")), taken }.render()?;
            ([(CONTENT_LOCATION, address)], Html(says)).into_response()
        }
    })
}
