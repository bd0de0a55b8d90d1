//! Packing and sending.

use time::{Date, OffsetDateTime};

use super::draft::{Once, outcome, settle};
use super::event::{append_event, must_stand};
use super::{Store, StoreError};
use crate::desk::job::{EventKind, Stage};

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
    /// The sentences that were ticked when a job was packed, newest time only.
    pub async fn find_packing(&self, number: i64) -> Result<Option<Vec<String>>, StoreError> {
        let ticks = sqlx::query_scalar!("select ticks from packing where job_number = ?", number)
            .fetch_optional(&self.read)
            .await?;
        ticks
            .map(|t| {
                serde_json::from_str(&t)
                    .map_err(|e| StoreError::Unreadable { what: "packing list", why: e.to_string() })
            })
            .transpose()
    }

    /// Books that the packing list was gone through. Packing again (after a remake) replaces nothing in the history.
    pub async fn insert_packing(
        &self,
        key: &str,
        number: i64,
        ticks: &[String],
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let mut tx = self.begin().await?;
        if let Some(before) = outcome(&mut tx, key).await? {
            return Ok(Once::Before(before));
        }
        must_stand(&mut tx, number, Stage::Checked..=Stage::Checked).await?;
        let ticks = serde_json::to_string(ticks)
            .map_err(|e| StoreError::Unreadable { what: "packing list", why: e.to_string() })?;
        sqlx::query!(
            "insert into packing (job_number, ticks, added_at) values (?, ?, ?)
             on conflict (job_number) do update set ticks = excluded.ticks, added_at = excluded.added_at",
            number,
            ticks,
            now
        )
        .execute(&mut *tx)
        .await?;
        append_event(&mut tx, number, EventKind::Packed, "", now).await?;
        settle(&mut tx, key, &number.to_string(), now).await?;
        tx.commit().await?;
        Ok(Once::Now(()))
    }

    /// The parcel of a job, once it has left.
    pub async fn find_shipment(&self, number: i64) -> Result<Option<Shipment>, StoreError> {
        let row = sqlx::query!(
            r#"select carrier, tracking, sent_on as "sent_on: Date", address from shipment where job_number = ?"#,
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
        Ok(sqlx::query_scalar!(
            r#"select carrier as "carrier!" from shipment group by carrier order by max(added_at) desc limit 8"#
        )
        .fetch_all(&self.read)
        .await?)
    }

    /// Books that the parcel left.
    ///
    /// # Errors
    ///
    /// [`StoreError::Twice`] when it had left already.
    pub async fn insert_shipment(
        &self,
        key: &str,
        number: i64,
        shipment: &Shipment,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let mut tx = self.begin().await?;
        if let Some(before) = outcome(&mut tx, key).await? {
            return Ok(Once::Before(before));
        }
        // One that is sent is refused by its row, whose refusal says more.
        must_stand(&mut tx, number, Stage::Packed..=Stage::Sent).await?;
        sqlx::query!(
            "insert into shipment (job_number, carrier, tracking, sent_on, address, added_at) values (?, ?, ?, ?, ?, ?)",
            number,
            shipment.carrier,
            shipment.tracking,
            shipment.sent_on,
            shipment.address,
            now
        )
        .execute(&mut *tx)
        .await?;
        let said = format!("{} {}", shipment.carrier, shipment.tracking);
        append_event(&mut tx, number, EventKind::Sent, said.trim(), now).await?;
        settle(&mut tx, key, &number.to_string(), now).await?;
        tx.commit().await?;
        Ok(Once::Now(()))
    }
}
