//! The money of a job: its bill and its payments, read together.

use sqlx::SqliteConnection;
use time::Date;

use super::read::{eye, word};
use super::{Store, StoreError};
use crate::desk::account::{Account, BillLine, BookedPayment};
use crate::desk::bill::{Charge, ChargeKind};
use crate::desk::money::Cents;
use crate::desk::payment::{Payment, PaymentKind};
use crate::desk::refund::RefundCause;

impl Store {
    /// The bill and the payments of a job.
    pub async fn get_account(&self, number: i64) -> Result<Account, StoreError> {
        account(&mut *self.read.acquire().await?, number).await
    }
}

/// The same in a transaction under way.
pub(super) async fn account(db: &mut SqliteConnection, number: i64) -> Result<Account, StoreError> {
    Ok(Account { lines: lines(&mut *db, number).await?, payments: payments(db, number).await? })
}

async fn lines(db: &mut SqliteConnection, number: i64) -> Result<Vec<BillLine>, StoreError> {
    sqlx::query!(
        r#"select seq as "seq!", kind, eye, what, code, amount_cents, reverses, reason, charged_on as "charged_on: Date"
           from charge where job_number = ? order by seq"#,
        number
    )
    .fetch_all(db)
    .await?
    .into_iter()
    .map(|row| {
        let charge = Charge {
            kind: word("charge", &row.kind, ChargeKind::from_key(&row.kind))?,
            eye: row.eye.as_deref().map(|key| eye("eye", key)).transpose()?,
            what: row.what,
            code: row.code,
            amount: Cents::new(row.amount_cents),
        };
        let (reverses, reason, charged_on) = (row.reverses, row.reason, row.charged_on);
        Ok(BillLine { seq: row.seq, charge, reverses, reason, charged_on })
    })
    .collect()
}

async fn payments(db: &mut SqliteConnection, number: i64) -> Result<Vec<BookedPayment>, StoreError> {
    sqlx::query!(
        r#"select kind, amount_cents, paid_on as "paid_on: Date", refund_cause, reason
           from payment where job_number = ? order by seq"#,
        number
    )
    .fetch_all(db)
    .await?
    .into_iter()
    .map(|row| {
        let cause = row.refund_cause.map(|key| word("refund", &key, RefundCause::from_key(&key))).transpose()?;
        Ok(BookedPayment {
            payment: Payment {
                kind: word("payment", &row.kind, PaymentKind::from_key(&row.kind))?,
                amount: Cents::new(row.amount_cents),
                paid_on: row.paid_on,
            },
            refund_cause: cause,
            reason: row.reason,
        })
    })
    .collect()
}
