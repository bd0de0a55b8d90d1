//! A job opened for one of its last steps: check, packing, sending, paper.

use std::sync::Arc;

use crate::bench::verification::{self, PairReading, Verdict};
use crate::desk::job::{Event, EventKind, Job, Stage};
use crate::print::CheckSummary;
use crate::store::verification::KeptCheck;
use crate::web::AppState;
use crate::web::error::WebError;

/// A job with how far it has come.
pub struct JobStep {
    /// The job.
    pub job: Arc<Job>,
    /// How far it has come.
    pub stage: Stage,
}

/// A kept check, read back.
pub struct ReadCheck {
    /// As the book holds it.
    pub kept: KeptCheck,
    /// What was typed.
    pub reading: PairReading,
    /// How it was judged.
    pub verdict: Verdict,
}

impl JobStep {
    /// Opens a job.
    pub async fn read(state: &AppState, number: i64) -> Result<Self, WebError> {
        let job = state.store.get_job(number).await?;
        Ok(Self { stage: job.stage(), job })
    }

    /// How often something happened: the running number of the form that makes it happen.
    pub fn count(&self, kind: EventKind) -> i64 {
        self.job.history.iter().filter(|e| e.kind == kind).count() as i64
    }

    /// The last time something happened.
    pub fn last(&self, kind: EventKind) -> Option<&Event> {
        self.job.history.iter().rev().find(|e| e.kind == kind)
    }

    /// Whether the newest check is of the lenses as they are now.
    pub fn is_check_current(&self) -> bool {
        verification::is_current(self.job.history.iter().map(|e| e.kind))
    }

    /// The newest check as it prints, while it is of the lenses as they are now.
    pub async fn check_summary(&self, state: &AppState) -> Result<Option<CheckSummary>, WebError> {
        if !self.is_check_current() {
            return Ok(None);
        }
        let newest = list_checks(state, self.job.number).await?.pop();
        Ok(newest.map(|check| CheckSummary::of(&check.verdict, check.kept.reason.as_deref())))
    }

    /// Refuses a step before the job has come to `needed`, and after the parcel has left.
    pub fn must_have_come_to(&self, needed: Stage) -> Result<(), WebError> {
        match self.not_yet(needed) {
            Some(why) => Err(WebError::OutOfTurn(why)),
            None if self.stage == Stage::Sent => Err(WebError::OutOfTurn(format!(
                "Job {} has been sent. What happened is not changed afterwards.",
                self.job.number
            ))),
            None => Ok(()),
        }
    }

    /// What must happen before the job has come to `needed`; `None` when it has.
    pub fn not_yet(&self, needed: Stage) -> Option<String> {
        if self.stage >= needed {
            return None;
        }
        let number = self.job.number;
        Some(match self.stage {
            Stage::Taken => format!("Job {number} has no shape yet: trace the frame first."),
            Stage::ShapeOnFile => format!("The lenses of job {number} are not in hand yet."),
            Stage::LensesInHand => format!("Job {number} is not cut yet: lay out, block and cut first."),
            Stage::Cut if self.is_check_current() => format!(
                "The pair of job {number} did not pass its check: put it right and read it again, or write down why it \
                 is sent anyway."
            ),
            Stage::Cut => format!("The pair of job {number} is cut but not checked: read it on the lensmeter first."),
            Stage::Checked => format!("Job {number} is not packed yet: go through the packing list first."),
            Stage::Packed | Stage::Sent => format!("Job {number} is not sent yet."),
        })
    }
}

/// Every check of a job, oldest first.
pub async fn list_checks(state: &AppState, number: i64) -> Result<Vec<ReadCheck>, WebError> {
    let unreadable = |e: serde_json::Error| WebError::Internal(format!("a kept check cannot be read: {e}"));
    let kept = state.store.list_checks(number).await?;
    kept.into_iter()
        .map(|kept| {
            let reading = serde_json::from_str(&kept.reading).map_err(unreadable)?;
            let verdict = serde_json::from_str(&kept.verdict).map_err(unreadable)?;
            Ok(ReadCheck { kept, reading, verdict })
        })
        .collect()
}
