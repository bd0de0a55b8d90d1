//! Checks of finished pairs.

use time::OffsetDateTime;
use uuid::Uuid;

use super::draft::{Once, outcome, settle};
use super::event::{append_event, must_stand};
use super::{Store, StoreError};
use crate::desk::job::{EventKind, Stage};

/// A check as it was judged. The reading and the verdict are JSON, so that they stay as they were said even when the
/// tables change.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptCheck {
    /// The key in the book.
    pub id: Uuid,
    /// First, second, … reading of this job.
    pub attempt: i64,
    /// The tolerance profile it was judged by.
    pub profile: String,
    /// What was typed.
    pub reading: String,
    /// The lines of the verdict.
    pub verdict: String,
    /// Whether every required line was within its limit.
    pub passed: bool,
    /// Why a failed pair is sent all the same.
    pub reason: Option<String>,
    /// When.
    pub at: OffsetDateTime,
}

/// A check to keep.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewCheck {
    /// The tolerance profile it was judged by.
    pub profile: &'static str,
    /// What was typed, as JSON.
    pub reading: String,
    /// The lines of the verdict, as JSON.
    pub verdict: String,
    /// Whether every required line was within its limit.
    pub passed: bool,
    /// In a few words, for the history.
    pub summary: String,
}

impl Store {
    /// Every check of a job, oldest first.
    pub async fn list_checks(&self, number: i64) -> Result<Vec<KeptCheck>, StoreError> {
        let rows = sqlx::query!(
            r#"select v.id as "id: Uuid", v.attempt, v.profile, v.reading, v.verdict, v.passed, e.reason as "reason?",
                      v.added_at as "at: OffsetDateTime"
               from verification v left join verification_excuse e on e.verification_id = v.id
               where v.job_number = ? order by v.attempt"#,
            number
        )
        .fetch_all(&self.read)
        .await?;
        Ok(rows
            .into_iter()
            .map(|row| KeptCheck {
                id: row.id,
                attempt: row.attempt,
                profile: row.profile,
                reading: row.reading,
                verdict: row.verdict,
                passed: row.passed != 0,
                reason: row.reason,
                at: row.at,
            })
            .collect())
    }

    /// Keeps a check; `key` makes a second click find the first.
    pub async fn insert_check(
        &self,
        key: &str,
        number: i64,
        check: &NewCheck,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let mut tx = self.begin().await?;
        if let Some(before) = outcome(&mut tx, key).await? {
            return Ok(Once::Before(before));
        }
        must_stand(&mut tx, number, Stage::Cut..=Stage::Packed).await?;
        let id = Uuid::now_v7();
        sqlx::query!(
            "insert into verification (id, job_number, attempt, profile, reading, verdict, passed, added_at)
             values (?1, ?2, (select count(*) + 1 from verification where job_number = ?2), ?3, ?4, ?5, ?6, ?7)",
            id,
            number,
            check.profile,
            check.reading,
            check.verdict,
            check.passed,
            now
        )
        .execute(&mut *tx)
        .await?;
        let kind = if check.passed { EventKind::CheckPassed } else { EventKind::CheckFailed };
        append_event(&mut tx, number, kind, &check.summary, now).await?;
        settle(&mut tx, key, &number.to_string(), now).await?;
        tx.commit().await?;
        Ok(Once::Now(()))
    }

    /// Writes down why the newest check, which failed, does not keep the pair back.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] when the newest check of the job did not fail; [`StoreError::OutOfRange`] when the
    /// reason is shorter than ten letters.
    pub async fn concede_check(
        &self,
        key: &str,
        number: i64,
        reason: &str,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let mut tx = self.begin().await?;
        if let Some(before) = outcome(&mut tx, key).await? {
            return Ok(Once::Before(before));
        }
        must_stand(&mut tx, number, Stage::Cut..=Stage::Cut).await?;
        let id = sqlx::query_scalar!(
            r#"select id as "id: Uuid" from verification v
               where job_number = ?1 and passed = 0
                 and attempt = (select max(attempt) from verification where job_number = ?1)"#,
            number
        )
        .fetch_optional(&mut *tx)
        .await?
        .ok_or(StoreError::NotFound("a failed check"))?;
        sqlx::query!(
            "insert into verification_excuse (verification_id, reason, added_at) values (?, ?, ?)",
            id,
            reason,
            now
        )
        .execute(&mut *tx)
        .await?;
        append_event(&mut tx, number, EventKind::CheckConceded, reason, now).await?;
        settle(&mut tx, key, &number.to_string(), now).await?;
        tx.commit().await?;
        Ok(Once::Now(()))
    }
}
