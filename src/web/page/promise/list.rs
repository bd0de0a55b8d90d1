//! What is owed to whom by when, for the first page.

use time::Date;

use crate::desk::delay::{Duty, last_day_of_duty};
use crate::store::delay::JobPromise;
use crate::web::AppState;
use crate::web::error::WebError;

/// A promise that asks for something.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct DutyRow {
    pub(crate) number: i64,
    pub(crate) customer: String,
    /// What is owed.
    pub(crate) what: String,
    /// Where it is done.
    pub(crate) path: String,
    /// Whether its day is past.
    pub(crate) is_late: bool,
    by: Option<Date>,
}

impl DutyRow {
    fn of(job: JobPromise, today: Date) -> Option<Self> {
        let duty = job.standing.duty(today);
        if duty == Duty::Nothing {
            return None;
        }
        let page = if matches!(duty, Duty::Refund { .. }) { "bill" } else { "promise" };
        Some(Self {
            number: job.number,
            customer: job.customer,
            what: duty.short(),
            path: format!("/jobs/{}/{page}", job.number),
            is_late: duty.is_late(today),
            by: duty.by(),
        })
    }
}

/// Every promise that asks for something, the earliest day first; what has no day is last.
pub(crate) async fn list_duties(state: &AppState) -> Result<Vec<DutyRow>, WebError> {
    let today = state.clock.today();
    let open = state.store.list_open_promises(last_day_of_duty(today)).await?;
    let closed = state.store.list_refunds_of_closed_jobs().await?;
    let mut rows: Vec<DutyRow> = open.into_iter().chain(closed).filter_map(|job| DutyRow::of(job, today)).collect();
    rows.sort_by_key(|row| (row.by.is_none(), row.by, row.number));
    Ok(rows)
}
