//! A correction of an order: the newest revision once more, with what changes and why.

use sqlx::SqliteConnection;
use time::{Date, OffsetDateTime};
use uuid::Uuid;

use super::StoreError;
use super::order::{Made, insert_made};
use super::stamp::Stamp;
use crate::desk::id::{CustomerId, FrameId, MaterialVersionId};
use crate::desk::order::Design;
use crate::desk::prescription::MadeFor;

/// What a new revision changes; `None` stays as it is.
#[derive(Default)]
pub(super) struct Change<'a> {
    pub(super) payer: Option<CustomerId>,
    pub(super) recipient: Option<CustomerId>,
    pub(super) promised_on: Option<Date>,
    pub(super) pair: Option<PairChange<'a>>,
    /// Why.
    pub(super) reason: &'a str,
}

/// What is made. All of it is written again.
pub(super) struct PairChange<'a> {
    pub(super) frame: FrameId,
    pub(super) prescription: Uuid,
    pub(super) made_for: MadeFor,
    pub(super) material: MaterialVersionId,
    pub(super) design: Design,
    pub(super) note: &'a str,
    pub(super) made: Made,
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
    let pair = change.pair.as_ref();
    let (frame, prescription) = (pair.map(|p| p.frame), pair.map(|p| p.prescription));
    let (lens_use, design) = (pair.map(|p| p.made_for.key()), pair.map(|p| p.design.key()));
    let (material, note) = (pair.map(|p| p.material), pair.map(|p| p.note));
    sqlx::query!(
        "insert into job_revision (job_number, revision, patient_id, payer_id, recipient_id, frame_id, prescription_id,
                                   lens_use, material_version_id, design, promised_on, note, reason, at)
         select job_number, ?3, patient_id, coalesce(?4, payer_id), coalesce(?5, recipient_id), coalesce(?6, frame_id),
                coalesce(?7, prescription_id), coalesce(?8, lens_use), coalesce(?9, material_version_id),
                coalesce(?10, design), coalesce(?11, promised_on), coalesce(?12, note), ?13, ?14
         from job_revision where job_number = ?1 and revision = ?2",
        number,
        newest,
        next,
        change.payer,
        change.recipient,
        frame,
        prescription,
        lens_use,
        material,
        design,
        change.promised_on,
        note,
        change.reason,
        at
    )
    .execute(&mut *tx)
    .await?;
    match pair {
        Some(pair) => insert_made(tx, number, next, &pair.made).await?,
        None => copy_made(tx, number, newest, next).await?,
    }
    Ok(next)
}

/// The eyes and treatments of a revision, as in the one before.
async fn copy_made(tx: &mut SqliteConnection, number: i64, newest: i64, next: i64) -> Result<(), StoreError> {
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
    Ok(())
}
