//! Keeps what is typed while it is typed.

use axum::Form as Posted;
use axum::extract::{Path, State};
use axum::http::StatusCode;

use crate::store::draft::Fields;
use crate::web::AppState;
use crate::web::error::WebError;

pub(crate) async fn keep_draft(
    State(state): State<AppState>,
    Path(key): Path<String>,
    Posted(fields): Posted<Fields>,
) -> Result<StatusCode, WebError> {
    if key.is_empty() || key.len() > 80 {
        return Err(WebError::Malformed("Rimbook has no such form.".to_owned()));
    }
    state.store.keep_draft(&key, &fields, state.clock.now()).await?;
    Ok(StatusCode::NO_CONTENT)
}
