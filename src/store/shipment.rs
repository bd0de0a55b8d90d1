//! Parcels that left.

use time::{Date, OffsetDateTime};

use super::event::append_event;
use super::once::{Done, Once};
use super::read::word;
use super::search::index_job;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::job::EventKind;
use crate::desk::parcel_return::{ParcelReturn, ReturnCause, ReturnCondition};
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

/// A parcel that left, and what became of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SentParcel {
    /// As it left.
    pub shipment: Shipment,
    /// Where it came back or was lost.
    pub back: Option<ParcelReturn>,
}

impl Store {
    /// Every parcel of a job, the newest first.
    pub async fn list_parcels(&self, number: i64) -> Result<Vec<SentParcel>, StoreError> {
        let rows = sqlx::query!(
            r#"select s.carrier, s.tracking, s.sent_on as "sent_on: Date", s.address, r.cause as "cause?",
                      r.condition as "condition?", r.returned_on as "returned_on?: Date", r.note as "note?"
               from shipment s left join parcel_return r on r.shipment_seq = s.seq
               where s.job_number = ? order by s.seq desc"#,
            number
        )
        .fetch_all(&self.read)
        .await?;
        let parcels = rows.into_iter().map(|row| {
            let back = match (row.cause, row.condition, row.returned_on, row.note) {
                (Some(cause), Some(condition), Some(returned_on), Some(note)) => Some(ParcelReturn {
                    cause: word("return", &cause, ReturnCause::from_key(&cause))?,
                    condition: word("condition", &condition, ReturnCondition::from_key(&condition))?,
                    returned_on,
                    note,
                }),
                _ => None,
            };
            let (carrier, tracking) = (row.carrier, row.tracking);
            Ok(SentParcel {
                shipment: Shipment { carrier, tracking, sent_on: row.sent_on, address: row.address },
                back,
            })
        });
        parcels.collect()
    }

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
