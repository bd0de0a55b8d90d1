//! Orders that were cancelled: the lenses, the bill, the money and the job, all in one step.

use time::OffsetDateTime;

use super::bill::{BillChange, insert_charge, reverse_charges};
use super::event::append_event;
use super::lens::give_up_lens;
use super::once::{Done, Once};
use super::refund::append_refund;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::bill::{Charge, ChargeKind};
use crate::desk::cancellation::Cancellation;
use crate::desk::job::EventKind;
use crate::desk::money::Cents;
use crate::desk::step::Step;

impl Store {
    /// Cancels the order of a job. Every line of its bill is taken back, so that nothing is owed but what is kept.
    ///
    /// # Errors
    ///
    /// [`StoreError::MovedOn`] when the parcel has left or the order was canceled before; [`StoreError::NotFound`] when a
    /// lens is no longer in hand, or is kept for a job that is not open.
    pub async fn cancel_job(
        &self,
        key: &str,
        number: i64,
        cancellation: &Cancellation,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let job = self.get_job(number).await?;
        self.once(key, Some((number, Step::Cancellation)), now, async |tx| {
            for (eye, place) in &cancellation.lenses {
                give_up_lens(tx, &job, *eye, *place, now).await?;
            }
            reverse_charges(tx, number, BillChange { reason: "the order was canceled", on: cancellation.on }, now)
                .await?;
            if cancellation.kept != Cents::ZERO {
                let kept = Charge {
                    kind: ChargeKind::Other,
                    eye: None,
                    what: "Charge for work done on a canceled order".to_owned(),
                    code: String::new(),
                    amount: cancellation.kept,
                };
                insert_charge(tx, number, &kept, "the order was canceled", cancellation.on, now).await?;
            }
            if let Some(refund) = &cancellation.refund {
                append_refund(tx, number, refund, now).await?;
            }
            let event = append_event(tx, number, EventKind::Cancelled, &cancellation.words(), now).await?;
            let (asked_by, at) = (cancellation.asked_by.key(), Stamp(now));
            sqlx::query!(
                "insert into cancellation (job_number, asked_by, reason, event_seq, at) values (?, ?, ?, ?, ?)",
                number,
                asked_by,
                cancellation.reason,
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
