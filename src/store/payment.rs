//! The money that came in for a job, or went back.

use sqlx::SqliteConnection;
use time::{Date, OffsetDateTime};

use super::event::append_event;
use super::once::{Done, Once};
use super::read::word;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::job::EventKind;
use crate::desk::money::Cents;
use crate::desk::payment::{Payment, PaymentKind};

impl Store {
    /// What came in for a job, in the order it was booked.
    pub async fn list_payments(&self, number: i64) -> Result<Vec<Payment>, StoreError> {
        sqlx::query!(
            r#"select kind, amount_cents, paid_on as "paid_on: Date" from payment where job_number = ? order by seq"#,
            number
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(|row| {
            Ok(Payment {
                kind: word("payment", &row.kind, PaymentKind::from_key(&row.kind))?,
                amount: Cents::new(row.amount_cents),
                paid_on: row.paid_on,
            })
        })
        .collect()
    }

    /// Books money that came in or went back.
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
    append_event(tx, number, EventKind::Paid, &format!("{} by {kind}", payment.amount), now).await?;
    Ok(())
}
