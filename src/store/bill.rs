//! The bill of a job, line by line.

use sqlx::SqliteConnection;
use time::OffsetDateTime;

use super::read::{eye, word};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::bill::{Charge, ChargeKind};
use crate::desk::money::Cents;

impl Store {
    /// The bill of a job.
    pub async fn list_charges(&self, number: i64) -> Result<Vec<Charge>, StoreError> {
        sqlx::query!("select kind, eye, what, code, amount_cents from charge where job_number = ? order by seq", number)
            .fetch_all(&self.read)
            .await?
            .into_iter()
            .map(|row| {
                Ok(Charge {
                    kind: word("charge", &row.kind, ChargeKind::from_key(&row.kind))?,
                    eye: row.eye.as_deref().map(|key| eye("eye", key)).transpose()?,
                    what: row.what,
                    code: row.code,
                    amount: Cents::new(row.amount_cents),
                })
            })
            .collect()
    }
}

/// Adds a line; `reason` says why one came after the order.
pub(super) async fn insert_charge(
    tx: &mut SqliteConnection,
    number: i64,
    charge: &Charge,
    reason: &str,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let (kind, eye, amount, at) = (charge.kind.key(), charge.eye.map(|e| e.name()), charge.amount.cents(), Stamp(now));
    sqlx::query!(
        "insert into charge (job_number, kind, eye, what, code, amount_cents, reason, at) values (?, ?, ?, ?, ?, ?, ?, ?)",
        number,
        kind,
        eye,
        charge.what,
        charge.code,
        amount,
        reason,
        at
    )
    .execute(tx)
    .await?;
    Ok(())
}

/// Takes back every line of a bill that still counts, each by a line of its own; `reason` says why.
pub(super) async fn reverse_charges(
    tx: &mut SqliteConnection,
    number: i64,
    reason: &str,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let at = Stamp(now);
    sqlx::query!(
        "insert into charge (job_number, kind, eye, what, code, amount_cents, reverses, reason, at)
         select job_number, kind, eye, what, code, -amount_cents, seq, ?2, ?3 from charge c
         where job_number = ?1 and reverses is null and not exists (select 1 from charge r where r.reverses = c.seq)
         order by seq",
        number,
        reason,
        at
    )
    .execute(tx)
    .await?;
    Ok(())
}
