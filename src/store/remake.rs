//! Remakes, and what went wrong over time.

use serde::Deserialize;
use sqlx::SqliteConnection;
use time::OffsetDateTime;

use super::event::append_event;
use super::read::word;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::causes::MishapKind;
use crate::desk::fault::FaultCause;
use crate::desk::id::ShapeId;
use crate::desk::job::EventKind;
use crate::desk::remake::{Remake, RemakePayer};

/// A remake as a job has it.
#[derive(Deserialize)]
pub(super) struct RemakeRow {
    cause: String,
    paid_by: String,
    frame_stays: i64,
    lesson: String,
}

impl TryFrom<RemakeRow> for Remake {
    type Error = StoreError;
    fn try_from(row: RemakeRow) -> Result<Self, StoreError> {
        Ok(Self {
            cause: word("fault cause", &row.cause, FaultCause::from_key(&row.cause))?,
            paid_by: word("payer of a remake", &row.paid_by, RemakePayer::from_key(&row.paid_by))?,
            frame_stays: row.frame_stays != 0,
            lesson: row.lesson,
        })
    }
}

/// Records why a new job is a remake. The earlier job's history names the new one.
pub(super) async fn insert_remake(
    tx: &mut SqliteConnection,
    number: i64,
    parent: i64,
    remake: &Remake,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let (cause, paid_by, at) = (remake.cause.key(), remake.paid_by.key(), Stamp(now));
    sqlx::query!(
        "insert into remake (job_number, cause, paid_by, frame_stays, lesson, at) values (?, ?, ?, ?, ?, ?)",
        number,
        cause,
        paid_by,
        remake.frame_stays,
        remake.lesson,
        at
    )
    .execute(&mut *tx)
    .await?;
    append_event(tx, parent, EventKind::Remade, &format!("as job {number}; {}", remake.words()), now).await?;
    Ok(())
}

/// A lesson of a remake.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lesson {
    /// The remake.
    pub job: i64,
    pub cause: FaultCause,
    pub says: String,
    pub at: OffsetDateTime,
}

/// The most lessons that a page shows.
const MOST_LESSONS: i64 = 50;

impl Store {
    /// The remakes of a job with their causes, the oldest first.
    pub async fn list_remakes_of(&self, number: i64) -> Result<Vec<(i64, Remake)>, StoreError> {
        let rows = sqlx::query!(
            r#"select r.job_number as "number!: i64", r.cause, r.paid_by, r.frame_stays, r.lesson
               from job j join remake r on r.job_number = j.number where j.parent_number = ? order by j.number"#,
            number
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter()
            .map(|row| {
                let (cause, paid_by) = (row.cause, row.paid_by);
                let remake = RemakeRow { cause, paid_by, frame_stays: row.frame_stays, lesson: row.lesson };
                Ok((row.number, remake.try_into()?))
            })
            .collect()
    }

    /// Lessons from remakes on a shape, the newest first.
    pub async fn list_shape_lessons(&self, shape: ShapeId) -> Result<Vec<Lesson>, StoreError> {
        let rows = sqlx::query!(
            r#"select distinct r.job_number as "number!: i64", r.cause, r.lesson, r.at as "at: Stamp"
               from job_shape s join remake r on r.job_number = s.job_number
               where s.shape_id = ? and r.lesson <> '' order by r.job_number desc limit ?"#,
            shape,
            MOST_LESSONS
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(|row| lesson(row.number, &row.cause, row.lesson, row.at)).collect()
    }

    /// Lessons from remakes between two moments, the newest first.
    pub async fn list_lessons(&self, from: OffsetDateTime, before: OffsetDateTime) -> Result<Vec<Lesson>, StoreError> {
        let (from, before) = (Stamp(from), Stamp(before));
        let rows = sqlx::query!(
            r#"select r.job_number as "number!: i64", r.cause, r.lesson, r.at as "at: Stamp"
               from fault_cause c cross join remake r on r.cause = c.key
               where r.at >= ? and r.at < ? and r.lesson <> '' order by r.job_number desc limit ?"#,
            from,
            before,
            MOST_LESSONS
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(|row| lesson(row.number, &row.cause, row.lesson, row.at)).collect()
    }

    /// Remakes and spoilage between two moments, with its moment.
    pub async fn list_mishaps(
        &self,
        from: OffsetDateTime,
        before: OffsetDateTime,
    ) -> Result<Vec<(MishapKind, FaultCause, OffsetDateTime)>, StoreError> {
        let (from, before) = (Stamp(from), Stamp(before));
        let rows = sqlx::query!(
            r#"select 0 as "is_remake!: bool", c.key as "cause!: String", s.at as "at!: Stamp"
               from fault_cause c cross join spoiled_lens s on s.cause = c.key where s.at >= ?1 and s.at < ?2
               union all
               select 1, c.key, r.at
               from fault_cause c cross join remake r on r.cause = c.key where r.at >= ?1 and r.at < ?2"#,
            from,
            before
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter()
            .map(|row| {
                let kind = if row.is_remake { MishapKind::Remade } else { MishapKind::Spoiled };
                Ok((kind, word("fault cause", &row.cause, FaultCause::from_key(&row.cause))?, row.at.0))
            })
            .collect()
    }

    /// How many jobs were sent in each month of a year. A parcel that is sent again does not count again in its month.
    pub async fn count_sent(&self, year: i32) -> Result<[u32; 12], StoreError> {
        let (first, last) = (format!("{year:04}-01"), format!("{year:04}-12"));
        let rows = sqlx::query!(
            r#"select cast(substr(month, 6) as integer) as "month!: i64", jobs from sent_in_month
               where month between ? and ?"#,
            first,
            last
        )
        .fetch_all(&self.read)
        .await?;
        let mut sent = [0; 12];
        for row in rows {
            if let Some(month) = usize::try_from(row.month - 1).ok().and_then(|month| sent.get_mut(month)) {
                *month = u32::try_from(row.jobs).unwrap_or(u32::MAX);
            }
        }
        Ok(sent)
    }
}

fn lesson(job: i64, cause: &str, says: String, at: Stamp) -> Result<Lesson, StoreError> {
    Ok(Lesson { job, cause: word("fault cause", cause, FaultCause::from_key(cause))?, says, at: at.0 })
}
