//! Parcels that left.

use time::{Date, OffsetDateTime};

use super::event::append_event;
use super::once::{Done, Once};
use super::search::index_job;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::job::EventKind;
use crate::desk::step::Step;

/// A parcel that left.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shipment {
    /// Who carries it.
    pub carrier: String,
    /// Its number with the carrier, which may be empty.
    pub tracking: String,
    /// The day it left.
    pub sent_on: Date,
    /// Where it goes, as printed.
    pub address: String,
}

impl Store {
    /// The newest parcel of a job, once it has left.
    pub async fn find_shipment(&self, number: i64) -> Result<Option<Shipment>, StoreError> {
        let row = sqlx::query!(
            r#"select carrier, tracking, sent_on as "sent_on: Date", address
               from shipment where job_number = ? order by seq desc limit 1"#,
            number
        )
        .fetch_optional(&self.read)
        .await?;
        Ok(row.map(|row| Shipment {
            carrier: row.carrier,
            tracking: row.tracking,
            sent_on: row.sent_on,
            address: row.address,
        }))
    }

    /// The carriers of earlier parcels, the one used last first.
    pub async fn list_carriers(&self) -> Result<Vec<String>, StoreError> {
        Ok(sqlx::query_scalar!("select name from carrier order by last_used_at desc limit 8")
            .fetch_all(&self.read)
            .await?)
    }

    /// Books that the parcel left.
    ///
    /// # Errors
    ///
    /// [`StoreError::MovedOn`] when the job is not packed, or the parcel had left already.
    pub async fn insert_shipment(
        &self,
        key: &str,
        number: i64,
        shipment: &Shipment,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, Step::Shipment)), now, async |tx| {
            let at = Stamp(now);
            sqlx::query!(
                "insert into shipment (job_number, carrier, tracking, sent_on, address, at) values (?, ?, ?, ?, ?, ?)",
                number,
                shipment.carrier,
                shipment.tracking,
                shipment.sent_on,
                shipment.address,
                at
            )
            .execute(&mut *tx)
            .await?;
            let said = format!("{} {}", shipment.carrier, shipment.tracking);
            append_event(tx, number, EventKind::Sent, said.trim(), now).await?;
            index_job(tx, number).await?;
            Ok(Done::new((), number))
        })
        .await
    }
}
