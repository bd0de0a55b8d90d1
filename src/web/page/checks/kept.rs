//! The checks of a job as the book keeps them, read back.

use crate::bench::verification::{PairReading, Verdict};
use crate::desk::job::Job;
use crate::print::CheckSummary;
use crate::store::verification::KeptCheck;
use crate::web::AppState;
use crate::web::error::WebError;

/// A kept check, read back.
pub struct ReadCheck {
    /// As the book holds it.
    pub kept: KeptCheck,
    /// What was typed.
    pub reading: PairReading,
    /// How it was judged.
    pub verdict: Verdict,
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

/// The newest check as it prints, while it is of the lenses as they are now.
pub async fn check_summary(state: &AppState, job: &Job) -> Result<Option<CheckSummary>, WebError> {
    if !job.is_check_current() {
        return Ok(None);
    }
    let newest = list_checks(state, job.number).await?.pop();
    Ok(newest.map(|check| CheckSummary::of(&check.verdict, check.kept.conceded().as_deref())))
}
