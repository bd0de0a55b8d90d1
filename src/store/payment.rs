//! The money that came in for a job.

use sqlx::{Sqlite, Transaction};
use time::{Date, OffsetDateTime};
use uuid::Uuid;

use super::draft::{Once, outcome, settle};
use super::event::append_event;
use super::read::word;
use super::{Store, StoreError};
use crate::desk::job::EventKind;
use crate::desk::money::Cents;
use crate::desk::payment::{Payment, PaymentKind};

impl Store {
    /// What came in for a job, oldest first.
    pub async fn list_payments(&self, number: i64) -> Result<Vec<Payment>, StoreError> {
        sqlx::query!(
            r#"select kind, amount_cents, paid_on as "paid_on: Date" from payment where job_number = ? order by id"#,
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
        let mut tx = self.begin().await?;
        if let Some(before) = outcome(&mut tx, key).await? {
            return Ok(Once::Before(before));
        }
        append_payment(&mut tx, number, payment, now).await?;
        settle(&mut tx, key, &number.to_string(), now).await?;
        tx.commit().await?;
        Ok(Once::Now(()))
    }
}

/// Books money in a transaction under way.
pub(super) async fn append_payment(
    tx: &mut Transaction<'_, Sqlite>,
    number: i64,
    payment: &Payment,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let (id, kind, amount) = (Uuid::now_v7(), payment.kind.key(), payment.amount.cents());
    sqlx::query!(
        "insert into payment (id, job_number, kind, amount_cents, paid_on, added_at) values (?, ?, ?, ?, ?, ?)",
        id,
        number,
        kind,
        amount,
        payment.paid_on,
        now
    )
    .execute(&mut **tx)
    .await?;
    append_event(tx, number, EventKind::Paid, &format!("{} by {kind}", payment.amount), now).await
}
