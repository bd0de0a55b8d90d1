//! What happened to a job, and whether something may happen now.

use std::ops::RangeInclusive;

use sqlx::{Sqlite, Transaction};
use time::OffsetDateTime;

use super::draft::{Once, outcome, settle};
use super::read::word;
use super::{Store, StoreError};
use crate::desk::job::{EventKind, Stage, stage};

impl Store {
    /// Adds a remark to a job's history.
    pub async fn append_note(
        &self,
        key: &str,
        number: i64,
        note: &str,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let mut tx = self.begin().await?;
        if let Some(before) = outcome(&mut tx, key).await? {
            return Ok(Once::Before(before));
        }
        append_event(&mut tx, number, EventKind::Note, note, now).await?;
        settle(&mut tx, key, &number.to_string(), now).await?;
        tx.commit().await?;
        Ok(Once::Now(()))
    }
}

/// Refuses work on a job that stands at none of these stages. A page asks before it shows a form; this asks again in
/// the transaction that does the work, because a second window may have been faster.
pub(super) async fn must_stand(
    tx: &mut Transaction<'_, Sqlite>,
    number: i64,
    stages: RangeInclusive<Stage>,
) -> Result<(), StoreError> {
    let kinds = sqlx::query_scalar!("select kind from job_event where job_number = ? order by seq", number)
        .fetch_all(&mut **tx)
        .await?;
    let kinds = kinds.iter().map(|key| word("event", key, EventKind::from_key(key))).collect::<Result<Vec<_>, _>>()?;
    if stages.contains(&stage(kinds)) { Ok(()) } else { Err(StoreError::MovedOn(number)) }
}

/// Writes one line of history.
pub(super) async fn append_event(
    tx: &mut Transaction<'_, Sqlite>,
    number: i64,
    kind: EventKind,
    note: &str,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let kind = kind.key();
    sqlx::query!("insert into job_event (job_number, kind, note, at) values (?, ?, ?, ?)", number, kind, note, now)
        .execute(&mut **tx)
        .await?;
    Ok(())
}
