//! Money that goes back to a customer.

use sqlx::SqliteConnection;
use time::OffsetDateTime;

use super::account::account;
use super::bill::insert_charge;
use super::event::append_event;
use super::once::{Done, Once};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::job::EventKind;
use crate::desk::money::Cents;
use crate::desk::refund::Refund;
use crate::desk::step::Step;

impl Store {
    /// Gives money back; for goodwill the bill goes down in the same step.
    pub async fn give_refund(
        &self,
        key: &str,
        number: i64,
        refund: &Refund,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, Step::Refund)), now, async |tx| {
            append_refund(tx, number, refund, now).await?;
            Ok(Done::new((), number))
        })
        .await
    }
}

/// Gives money back in a transaction under way.
pub(super) async fn append_refund(
    tx: &mut SqliteConnection,
    number: i64,
    refund: &Refund,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    // The page asked before; a second window may have been faster.
    let account = account(tx, number).await?;
    refund.check(&account).map_err(|_| StoreError::MovedOn(number))?;
    // Between the two rows the balance keeps its sign, so the day since when it is open stays.
    if account.owed() > Cents::ZERO {
        insert_refund(tx, number, refund, now).await?;
        reduce_bill(tx, number, refund, now).await?;
    } else {
        reduce_bill(tx, number, refund, now).await?;
        insert_refund(tx, number, refund, now).await?;
    }
    let note = format!("{} by {}: {}", refund.amount, refund.kind.words(), refund.reason);
    append_event(tx, number, EventKind::Refunded, &note, now).await?;
    Ok(())
}

async fn reduce_bill(
    tx: &mut SqliteConnection,
    number: i64,
    refund: &Refund,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    match refund.bill_line() {
        Some(line) => insert_charge(tx, number, &line, &refund.reason, refund.paid_on, now).await,
        None => Ok(()),
    }
}

async fn insert_refund(
    tx: &mut SqliteConnection,
    number: i64,
    refund: &Refund,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let payment = refund.payment();
    let (kind, amount, cause, at) = (payment.kind.key(), payment.amount.cents(), refund.cause.key(), Stamp(now));
    sqlx::query!(
        "insert into payment (job_number, kind, amount_cents, paid_on, refund_cause, reason, at)
         values (?, ?, ?, ?, ?, ?, ?)",
        number,
        kind,
        amount,
        payment.paid_on,
        cause,
        refund.reason,
        at
    )
    .execute(tx)
    .await?;
    Ok(())
}
