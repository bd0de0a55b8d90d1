//! What happened to a job, and whether something may happen now.

use serde::Deserialize;
use sqlx::SqliteConnection;
use time::{Date, OffsetDateTime};

use super::once::{Done, Once};
use super::read::{eye, word};
use super::screen::acting_screen;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::impact::unproven;
use crate::desk::job::{Event, EventKind, EyeTask, Stage, stage};
use crate::desk::step::{Step, has_left, is_cancelled_for_delay};
use crate::optics::{Eye, Pair};

// The fields stand in the order of the view's array.
#[derive(Deserialize)]
pub(super) struct EventRow {
    seq: i64,
    kind: String,
    note: String,
    by: Option<String>,
    at: Stamp,
}

impl TryFrom<EventRow> for Event {
    type Error = StoreError;
    fn try_from(row: EventRow) -> Result<Self, StoreError> {
        Ok(Self {
            kind: word("event", &row.kind, EventKind::from_key(&row.kind))?,
            note: row.note,
            by: row.by,
            at: row.at.0,
        })
    }
}

/// Everything that happened to a job, oldest first.
pub(super) fn history(mut rows: Vec<EventRow>) -> Result<Vec<Event>, StoreError> {
    rows.sort_by_key(|row| row.seq);
    rows.into_iter().map(Event::try_from).collect()
}

/// The day on which a job was erased, if it was.
pub(super) fn erased_on(rows: &[EventRow]) -> Option<Date> {
    rows.iter().find(|row| row.kind == EventKind::Erased.key()).map(|row| row.at.0.date())
}

impl Store {
    /// Adds a remark to a job's history.
    pub async fn append_note(
        &self,
        key: &str,
        number: i64,
        note: &str,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, None, now, async |tx| {
            append_event(tx, number, EventKind::Note, note, now).await?;
            Ok(Done::new((), number))
        })
        .await
    }
}

/// Refuses a step on a job that stands at none of its stages, packing lenses without proof of impact resistance, and what
/// a promise asks for once the parcel left. A page asks before it shows a form; this asks again in the transaction that does the work, because a second window may
/// have been faster.
pub(super) async fn must_stand(tx: &mut SqliteConnection, number: i64, step: Step) -> Result<(), StoreError> {
    let key = sqlx::query_scalar!("select stage from job where number = ?", number)
        .fetch_optional(&mut *tx)
        .await?
        .ok_or(StoreError::NotFound("that job number"))?;
    let reached = word("stage", &key, Stage::from_key(&key))?;
    let is_in_turn = step.may_be_at(reached)
        && (step != Step::Packing || unproven(tasks(tx, number).await?, list_kinds(tx, number).await?).is_empty())
        && !(step.ends_with_a_cancellation() && is_cancelled_for_delay(list_kinds(tx, number).await?))
        && !(step.is_about_the_promise() && has_left(list_kinds(tx, number).await?));
    if is_in_turn { Ok(()) } else { Err(StoreError::MovedOn(number)) }
}

/// Writes one line of history and the stage the job has come to by it. Answers the event's place in the history.
pub(super) async fn append_event(
    tx: &mut SqliteConnection,
    number: i64,
    kind: EventKind,
    note: &str,
    now: OffsetDateTime,
) -> Result<i64, StoreError> {
    let (key, at, by) = (kind.key(), Stamp(now), acting_screen());
    let seq = sqlx::query!(
        "insert into job_event (job_number, kind, note, by, at) values (?, ?, ?, ?, ?)",
        number,
        key,
        note,
        by,
        at
    )
    .execute(&mut *tx)
    .await?
    .last_insert_rowid();
    let reached = stage(tasks(tx, number).await?, list_kinds(tx, number).await?).key();
    sqlx::query!("update job set stage = ?1 where number = ?2 and stage <> ?1", reached, number).execute(tx).await?;
    Ok(seq)
}

/// What is done for each eye of a job, by its newest revision.
pub(super) async fn tasks(tx: &mut SqliteConnection, number: i64) -> Result<Pair<EyeTask>, StoreError> {
    let rows = sqlx::query!(
        "select e.eye, e.task from job j join job_eye e on e.job_number = j.number and e.revision = j.revision
         where j.number = ?",
        number
    )
    .fetch_all(tx)
    .await?;
    let mut tasks = EyeTask::PAIR;
    for row in rows {
        let task = word("eye task", &row.task, EyeTask::from_key(&row.task))?;
        match eye("eye", &row.eye)? {
            Eye::Right => tasks.right = task,
            Eye::Left => tasks.left = task,
        }
    }
    Ok(tasks)
}

/// The kind of everything that happened to a job, oldest first.
async fn list_kinds(tx: &mut SqliteConnection, number: i64) -> Result<Vec<EventKind>, StoreError> {
    let keys = sqlx::query_scalar!("select kind from job_event where job_number = ? order by seq", number)
        .fetch_all(tx)
        .await?;
    keys.iter().map(|key| word("event", key, EventKind::from_key(key))).collect()
}
