//! Packing: the sentences that were ticked, each time.

use time::OffsetDateTime;

use super::event::append_event;
use super::once::{Done, Once};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::job::EventKind;
use crate::desk::step::Step;

impl Store {
    /// The sentences that were ticked when a job was packed, newest time only.
    pub async fn find_packing(&self, number: i64) -> Result<Option<Vec<String>>, StoreError> {
        let packing = sqlx::query_scalar!(r#"select max(seq) as "seq: i64" from packing where job_number = ?"#, number)
            .fetch_one(&self.read)
            .await?;
        let Some(packing) = packing else { return Ok(None) };
        let ticks =
            sqlx::query_scalar!("select says from packing_tick where packing_seq = ? order by position", packing)
                .fetch_all(&self.read)
                .await?;
        Ok(Some(ticks))
    }

    /// Books that the packing list was gone through. Packing again adds; what was ticked before stays.
    pub async fn insert_packing(
        &self,
        key: &str,
        number: i64,
        ticks: &[String],
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, Step::Packing)), now, async |tx| {
            let at = Stamp(now);
            let seq = sqlx::query!("insert into packing (job_number, at) values (?, ?)", number, at)
                .execute(&mut *tx)
                .await?
                .last_insert_rowid();
            for (position, says) in (1i64..).zip(ticks) {
                sqlx::query!(
                    "insert into packing_tick (packing_seq, position, says) values (?, ?, ?)",
                    seq,
                    position,
                    says
                )
                .execute(&mut *tx)
                .await?;
            }
            append_event(tx, number, EventKind::Packed, "", now).await?;
            Ok(Done::new((), number))
        })
        .await
    }
}
