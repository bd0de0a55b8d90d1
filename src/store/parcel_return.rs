//! Parcels that came back or are lost. Each belongs to the shipment it was.

use time::OffsetDateTime;

use super::event::append_event;
use super::lens::{give_up_lens, list_eyes_in_hand};
use super::once::{Done, Once};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::fault::FaultCause;
use crate::desk::parcel_return::{ParcelReturn, ReturnCondition};
use crate::desk::step::Step;
use crate::desk::stock::OldLens;

impl Store {
    /// Records that the newest parcel of a job came back or is lost; the job is open again. The lenses of a lost parcel
    /// count as lost in the post.
    ///
    /// # Errors
    ///
    /// [`StoreError::MovedOn`] when the job is not sent, or the parcel was back already.
    pub async fn return_parcel(
        &self,
        key: &str,
        number: i64,
        back: &ParcelReturn,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let job = self.get_job(number).await?;
        self.once(key, Some((number, Step::Return)), now, async |tx| {
            if back.condition == ReturnCondition::Lost {
                for eye in list_eyes_in_hand(tx, number).await? {
                    give_up_lens(tx, &job, eye, OldLens::Spoiled(FaultCause::Post), now).await?;
                }
            }
            let event = append_event(tx, number, back.condition.event(), &back.words(), now).await?;
            let (cause, condition, at) = (back.cause.key(), back.condition.key(), Stamp(now));
            sqlx::query!(
                "insert into parcel_return (shipment_seq, job_number, cause, condition, returned_on, note, event_seq, at)
                 select max(seq), job_number, ?2, ?3, ?4, ?5, ?6, ?7 from shipment where job_number = ?1",
                number,
                cause,
                condition,
                back.returned_on,
                back.note,
                event,
                at
            )
            .execute(&mut *tx)
            .await?;
            Ok(Done::new((), number))
        })
        .await
    }
}
