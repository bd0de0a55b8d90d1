//! The bill of a job.

use super::job::eye_from;
use super::read::word;
use super::{Store, StoreError};
use crate::desk::bill::{Charge, ChargeKind};
use crate::desk::money::Cents;

impl Store {
    /// The bill of a job, line by line.
    pub async fn list_charges(&self, number: i64) -> Result<Vec<Charge>, StoreError> {
        sqlx::query!(
            "select kind, eye, what, code, amount_cents from charge where job_number = ? order by position",
            number
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(|row| {
            Ok(Charge {
                kind: word("charge", &row.kind, ChargeKind::from_key(&row.kind))?,
                eye: row.eye.as_deref().map(|key| word("eye", key, eye_from(key))).transpose()?,
                what: row.what,
                code: row.code,
                amount: Cents::new(row.amount_cents),
            })
        })
        .collect()
    }
}
