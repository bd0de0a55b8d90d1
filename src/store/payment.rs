//! The money that came in for a job.

use sqlx::SqliteConnection;
use time::OffsetDateTime;

use super::event::append_event;
use super::once::{Done, Once};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::job::EventKind;
use crate::desk::payment::Payment;

impl Store {
    /// Books money that came in.
    pub async fn insert_payment(
        &self,
        key: &str,
        number: i64,
        payment: &Payment,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, None, now, async |tx| {
            append_payment(tx, number, payment, now).await?;
            Ok(Done::new((), number))
        })
        .await
    }
}

/// Books money in a transaction under way.
pub(super) async fn append_payment(
    tx: &mut SqliteConnection,
    number: i64,
    payment: &Payment,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let (kind, amount, at) = (payment.kind.key(), payment.amount.cents(), Stamp(now));
    sqlx::query!(
        "insert into payment (job_number, kind, amount_cents, paid_on, at) values (?, ?, ?, ?, ?)",
        number,
        kind,
        amount,
        payment.paid_on,
        at
    )
    .execute(&mut *tx)
    .await?;
    append_event(tx, number, EventKind::Paid, &format!("{} by {}", payment.amount, payment.kind.words()), now).await?;
    Ok(())
}
