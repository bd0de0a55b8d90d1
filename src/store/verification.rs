//! Checks of finished pairs, and the concession for one that did not pass.

use sqlx::SqliteConnection;
use time::OffsetDateTime;
use uuid::Uuid;

use super::event::append_event;
use super::once::{Done, Once};
use super::read::word;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::bench::verification::VerdictFigure;
use crate::desk::fault::ConcessionCause;
use crate::desk::job::EventKind;
use crate::desk::step::Step;

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
    /// The rows of the verdict.
    pub verdict: String,
    /// Whether every required row was within its limit.
    pub passed: bool,
    /// Why a pair that did not pass is sent.
    pub reason: Option<String>,
    /// From the short list; none before there was one.
    pub cause: Option<ConcessionCause>,
    /// When.
    pub at: OffsetDateTime,
}

impl KeptCheck {
    /// Why the pair is sent all the same, in words.
    pub fn conceded(&self) -> Option<String> {
        let reason = self.reason.as_ref()?;
        Some(match self.cause {
            Some(cause) => format!("{}. {reason}", cause.words()),
            None => reason.clone(),
        })
    }
}

/// A check to keep.
#[derive(Debug, Clone, PartialEq)]
pub struct NewCheck {
    /// The tolerance profile it was judged by.
    pub profile: &'static str,
    /// What was typed, as JSON.
    pub reading: String,
    /// The rows of the verdict, as JSON.
    pub verdict: String,
    /// The rows of the verdict in numbers.
    pub figures: Vec<VerdictFigure>,
    /// Whether every required row was within its limit.
    pub passed: bool,
    /// In a few words, for the history.
    pub summary: String,
}

impl Store {
    /// Every check of a job, oldest first.
    pub async fn list_checks(&self, number: i64) -> Result<Vec<KeptCheck>, StoreError> {
        let rows = sqlx::query!(
            r#"select v.id as "id: Uuid", v.attempt, v.profile, v.reading, v.verdict, v.passed, c.reason as "reason?",
                      c.cause as "cause?",
                      v.at as "at: Stamp"
               from verification v left join concession c on c.verification_id = v.id
               where v.job_number = ? order by v.attempt"#,
            number
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter()
            .map(|row| {
                let cause = row.cause.map(|key| word("concession cause", &key, ConcessionCause::from_key(&key)));
                Ok(KeptCheck {
                    id: row.id,
                    attempt: row.attempt,
                    profile: row.profile,
                    reading: row.reading,
                    verdict: row.verdict,
                    passed: row.passed != 0,
                    reason: row.reason,
                    cause: cause.transpose()?,
                    at: row.at.0,
                })
            })
            .collect()
    }

    /// Keeps a check; `key` makes a second click find the first.
    pub async fn insert_check(
        &self,
        key: &str,
        number: i64,
        check: &NewCheck,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, Step::Check)), now, async |tx| {
            let (id, at) = (Uuid::now_v7(), Stamp(now));
            sqlx::query!(
                "insert into verification (id, job_number, attempt, profile, reading, verdict, passed, at)
                 values (?1, ?2, (select coalesce(max(attempt), 0) + 1 from verification where job_number = ?2),
                         ?3, ?4, ?5, ?6, ?7)",
                id,
                number,
                check.profile,
                check.reading,
                check.verdict,
                check.passed,
                at
            )
            .execute(&mut *tx)
            .await?;
            for (position, figure) in (1i64..).zip(&check.figures) {
                insert_figure(tx, id, position, figure).await?;
            }
            let kind = if check.passed { EventKind::CheckPassed } else { EventKind::CheckFailed };
            append_event(tx, number, kind, &check.summary, now).await?;
            Ok(Done::new((), number))
        })
        .await
    }

    /// Writes down why a check, which is the newest and failed, does not keep the pair back.
    ///
    /// # Errors
    ///
    /// [`StoreError::MovedOn`] when it is not the newest check of the job or did not fail; [`StoreError::OutOfRange`] when the
    /// reason is shorter than ten letters.
    pub async fn concede_check(
        &self,
        key: &str,
        number: i64,
        attempt: i64,
        cause: ConcessionCause,
        reason: &str,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, Step::Concession)), now, async |tx| {
            let id = sqlx::query_scalar!(
                r#"select id as "id: Uuid" from verification
                   where job_number = ?1 and attempt = ?2 and passed = 0
                     and attempt = (select max(attempt) from verification where job_number = ?1)"#,
                number,
                attempt
            )
            .fetch_optional(&mut *tx)
            .await?
            .ok_or(StoreError::MovedOn(number))?;
            let (cause_key, at) = (cause.key(), Stamp(now));
            sqlx::query!(
                "insert into concession (verification_id, job_number, cause, reason, at) values (?, ?, ?, ?, ?)",
                id,
                number,
                cause_key,
                reason,
                at
            )
            .execute(&mut *tx)
            .await?;
            let said = format!("{}; {reason}", cause.words());
            append_event(tx, number, EventKind::CheckConceded, &said, now).await?;
            Ok(Done::new((), number))
        })
        .await
    }
}

async fn insert_figure(
    tx: &mut SqliteConnection,
    check: Uuid,
    position: i64,
    figure: &VerdictFigure,
) -> Result<(), StoreError> {
    let eye = figure.eye.map(|eye| eye.name());
    sqlx::query!(
        "insert into verification_row (verification_id, position, eye, quantity, unit, wanted, measured, limit_size,
                                       deviation, passes)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        check,
        position,
        eye,
        figure.quantity,
        figure.unit,
        figure.wanted,
        figure.measured,
        figure.limit,
        figure.off_by,
        figure.passes
    )
    .execute(tx)
    .await?;
    Ok(())
}
