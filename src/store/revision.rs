//! A correction of an order: the newest revision once more, with what changes and why.

use sqlx::SqliteConnection;
use time::{Date, OffsetDateTime};

use super::StoreError;
use super::stamp::Stamp;
use crate::desk::id::CustomerId;

/// What a new revision changes; `None` stays as it is.
#[derive(Default)]
pub(super) struct Change<'a> {
    pub(super) payer: Option<CustomerId>,
    pub(super) recipient: Option<CustomerId>,
    pub(super) promised_on: Option<Date>,
    /// Why.
    pub(super) reason: &'a str,
}

/// Adds a revision that says what the newest one says, but for the change. Answers its number.
pub(super) async fn revise(
    tx: &mut SqliteConnection,
    number: i64,
    change: &Change<'_>,
    now: OffsetDateTime,
) -> Result<i64, StoreError> {
    let at = Stamp(now);
    let newest = sqlx::query_scalar!("select revision from job where number = ?", number)
        .fetch_optional(&mut *tx)
        .await?
        .ok_or(StoreError::NotFound("that job number"))?;
    let next = newest + 1;
    sqlx::query!(
        "insert into job_revision (job_number, revision, patient_id, payer_id, recipient_id, frame_id, prescription_id,
                                   lens_use, material_version_id, design, promised_on, note, reason, at)
         select job_number, ?3, patient_id, coalesce(?4, payer_id), coalesce(?5, recipient_id), frame_id,
                prescription_id, lens_use, material_version_id, design, coalesce(?6, promised_on), note, ?7, ?8
         from job_revision where job_number = ?1 and revision = ?2",
        number,
        newest,
        next,
        change.payer,
        change.recipient,
        change.promised_on,
        change.reason,
        at
    )
    .execute(&mut *tx)
    .await?;
    sqlx::query!(
        "insert into job_eye (job_number, revision, eye, task, height_hundredths, height_from)
         select job_number, ?3, eye, task, height_hundredths, height_from
         from job_eye where job_number = ?1 and revision = ?2",
        number,
        newest,
        next
    )
    .execute(&mut *tx)
    .await?;
    sqlx::query!(
        "insert into job_treatment (job_number, revision, kind, position, version_id)
         select job_number, ?3, kind, position, version_id from job_treatment where job_number = ?1 and revision = ?2",
        number,
        newest,
        next
    )
    .execute(&mut *tx)
    .await?;
    Ok(next)
}
