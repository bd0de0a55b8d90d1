//! The parts of a form with files, each within its limit. What is over it is read and dropped, so that no upload takes much
//! memory.

use axum::body::Bytes;
use axum::extract::Multipart;
use axum::extract::multipart::{Field, MultipartError};
use axum::http::StatusCode;

use crate::web::error::WebError;
use crate::web::form::Form;
use crate::web::guard::BODY_LIMIT;

/// The most fields that are typed; no page has so many.
const MOST_FIELDS: usize = 200;

/// Puts what was typed in a part into a form.
pub(super) async fn set_typed(form: &mut Form, part: Field<'_>) -> Result<(), WebError> {
    let name = part.name().unwrap_or("").to_owned();
    if form.fields().len() >= MOST_FIELDS && !form.has(&name) {
        return Err(WebError::Malformed(
            "This form has more fields than its page. Go back, reload the page and try again; nothing was changed."
                .into(),
        ));
    }
    let typed = start_of(part, BODY_LIMIT + 1).await?;
    if typed.len() > BODY_LIMIT {
        return Err(WebError::Malformed(
            "More than 2 MB stand in one field of this form. Send them as a file, or in parts; nothing was changed."
                .into(),
        ));
    }
    form.set(&name, String::from_utf8_lossy(&typed));
    Ok(())
}

/// Reads and drops the rest of an upload that is refused: a browser shows the answer only once it could send what it has.
pub(super) async fn after_rest(mut sent: Multipart, why: WebError) -> WebError {
    while let Ok(Some(_)) = sent.next_field().await {}
    why
}

/// The first bytes of a part.
pub(super) async fn start_of(mut part: Field<'_>, most: usize) -> Result<Vec<u8>, WebError> {
    let mut bytes: Vec<u8> = Vec::new();
    while let Some(chunk) = next(&mut part).await? {
        let room = most - bytes.len();
        bytes.extend(&chunk[..chunk.len().min(room)]);
    }
    Ok(bytes)
}

async fn next(part: &mut Field<'_>) -> Result<Option<Bytes>, WebError> {
    part.chunk().await.map_err(not_read)
}

/// Why an upload was not read.
pub(super) fn not_read(error: MultipartError) -> WebError {
    if error.status() == StatusCode::PAYLOAD_TOO_LARGE {
        return WebError::Malformed(
            "What was sent is too large. Send fewer files at a time, or smaller ones; nothing was changed.".into(),
        );
    }
    WebError::Malformed("The upload was incomplete. Go back and send it again; nothing was changed.".into())
}
