//! Lines of a job's bill: with the order, and added or taken back after it.

use sqlx::SqliteConnection;
use time::{Date, OffsetDateTime};

use super::account::account;
use super::event::append_event;
use super::once::{Done, Once};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::bill::Charge;
use crate::desk::job::EventKind;
use crate::desk::step::Step;

/// Why and when a bill is changed after the order.
#[derive(Debug, Clone, Copy)]
pub struct BillChange<'a> {
    /// In the owner's words.
    pub reason: &'a str,
    /// The day at the counter.
    pub on: Date,
}

impl Store {
    /// Adds a line to a bill.
    pub async fn add_bill_line(
        &self,
        key: &str,
        number: i64,
        charge: &Charge,
        change: BillChange<'_>,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, Step::BillLine)), now, async |tx| {
            append_bill_line(tx, number, charge, change, now).await?;
            Ok(Done::new((), number))
        })
        .await
    }

    /// Takes a line of a bill back.
    pub async fn reverse_bill_line(
        &self,
        key: &str,
        number: i64,
        seq: i64,
        change: BillChange<'_>,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, Step::Reversal)), now, async |tx| {
            append_reversal(tx, number, seq, change, now).await?;
            Ok(Done::new((), number))
        })
        .await
    }
}

/// Adds a line after the order, in a transaction under way.
pub(super) async fn append_bill_line(
    tx: &mut SqliteConnection,
    number: i64,
    charge: &Charge,
    change: BillChange<'_>,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    // The page asked before; a second window may have changed the bill since.
    account(tx, number).await?.check_line(charge).map_err(|_| StoreError::MovedOn(number))?;
    insert_charge(tx, number, charge, change.reason, change.on, now).await?;
    append_event(tx, number, EventKind::BillLine, &note(charge, change.reason), now).await?;
    Ok(())
}

/// Takes a line back, in a transaction under way.
pub(super) async fn append_reversal(
    tx: &mut SqliteConnection,
    number: i64,
    seq: i64,
    change: BillChange<'_>,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let back = account(tx, number).await?.reverse(seq).map_err(|_| StoreError::MovedOn(number))?;
    insert_line(tx, number, &back, Some(seq), change.reason, change.on, now).await?;
    append_event(tx, number, EventKind::BillLineReversed, &note(&back, change.reason), now).await?;
    Ok(())
}

fn note(charge: &Charge, reason: &str) -> String {
    format!("{}, {}: {reason}", charge.what, charge.amount)
}

/// Adds a line; `reason` says why one came after the order, `on` is the day it is billed.
pub(super) async fn insert_charge(
    tx: &mut SqliteConnection,
    number: i64,
    charge: &Charge,
    reason: &str,
    on: Date,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    insert_line(tx, number, charge, None, reason, on, now).await
}

async fn insert_line(
    tx: &mut SqliteConnection,
    number: i64,
    charge: &Charge,
    reverses: Option<i64>,
    reason: &str,
    on: Date,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let (kind, eye, amount, at) = (charge.kind.key(), charge.eye.map(|e| e.name()), charge.amount.cents(), Stamp(now));
    sqlx::query!(
        "insert into charge (job_number, kind, eye, what, code, amount_cents, reverses, reason, charged_on, at)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        number,
        kind,
        eye,
        charge.what,
        charge.code,
        amount,
        reverses,
        reason,
        on,
        at
    )
    .execute(tx)
    .await?;
    Ok(())
}

/// Takes back every line of a bill that still counts, each by a line of its own.
pub(super) async fn reverse_charges(
    tx: &mut SqliteConnection,
    number: i64,
    change: BillChange<'_>,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let account = account(tx, number).await?;
    for line in account.standing() {
        let back = account.reverse(line.seq).map_err(|_| StoreError::MovedOn(number))?;
        insert_line(tx, number, &back, Some(line.seq), change.reason, change.on, now).await?;
    }
    Ok(())
}
