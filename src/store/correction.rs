//! Corrections of an order: a revision more, with everything that follows from it.

use sqlx::SqliteConnection;
use time::OffsetDateTime;
use uuid::Uuid;

use super::bill::{BillChange, append_bill_line, append_reversal};
use super::event::append_event;
use super::lens::give_up_lens;
use super::once::{Done, Once};
use super::order::Made;
use super::prescription::insert_prescription;
use super::revision::{Change, PairChange, revise};
use super::search::index_job;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::correction::Correction;
use crate::desk::id::CustomerId;
use crate::desk::job::EventKind;
use crate::desk::step::Step;

impl Store {
    /// Corrects the order of a job. Patient, payer, recipient and promise stay as they are.
    ///
    /// # Errors
    ///
    /// [`StoreError::MovedOn`] when the lenses are cut, or when the order was corrected since it was looked at.
    pub async fn correct_job(
        &self,
        key: &str,
        number: i64,
        correction: &Correction,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        // As it was ordered before: a lens that was bought for it goes into the drawer as what it was bought for.
        let job = self.get_job(number).await?;
        self.once(key, Some((number, Step::Correction)), now, async |tx| {
            revise_order(tx, number, correction, now).await?;
            for (eye, place) in &correction.lenses {
                give_up_lens(tx, &job, *eye, *place, now).await?;
            }
            let event = append_event(tx, number, EventKind::Corrected, &correction.said, now).await?;
            // What is added first: a bill is never negative in between.
            let change = BillChange { reason: &correction.reason, on: correction.on };
            for charge in &correction.rebill.added {
                append_bill_line(tx, number, charge, change, now).await?;
            }
            for line in &correction.rebill.reversed {
                append_reversal(tx, number, line.seq, change, now).await?;
            }
            if correction.withdraws_decision {
                withdraw_decision(tx, number, event, now).await?;
            }
            index_job(tx, number).await?;
            Ok(Done::new((), number))
        })
        .await
    }
}

/// Adds the revision, if the newest one is still the one that was looked at.
async fn revise_order(
    tx: &mut SqliteConnection,
    number: i64,
    correction: &Correction,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let newest = sqlx::query!(
        r#"select j.revision, j.patient_id as "patient: CustomerId", r.prescription_id as "prescription: Uuid"
           from job j join job_revision r on r.job_number = j.number and r.revision = j.revision where j.number = ?"#,
        number
    )
    .fetch_optional(&mut *tx)
    .await?
    .ok_or(StoreError::NotFound("that job number"))?;
    if newest.revision != correction.revision {
        return Err(StoreError::MovedOn(number));
    }
    let prescription = match &correction.prescription {
        Some(prescription) => insert_prescription(tx, newest.patient, prescription, now).await?,
        None => newest.prescription,
    };
    let pair = PairChange {
        frame: correction.frame,
        prescription,
        made_for: correction.made_for,
        material: correction.material,
        design: correction.design,
        note: &correction.note,
        made: Made {
            tasks: correction.tasks,
            height: correction.height,
            coating: correction.coating,
            second_coating: correction.second_coating,
            tint: correction.tint,
        },
    };
    let change = Change { pair: Some(pair), reason: &correction.reason, ..Change::default() };
    revise(tx, number, &change, now).await?;
    Ok(())
}

/// A newer decision without a power takes the place of the one before it, if there is one.
async fn withdraw_decision(
    tx: &mut SqliteConnection,
    number: i64,
    event: i64,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let at = Stamp(now);
    sqlx::query!(
        "insert into power_decision (job_number, choice, position_seq, event_seq, at)
         select job_number, 'withdrawn', position_seq, ?2, ?3 from power_decision
         where job_number = ?1 order by seq desc limit 1",
        number,
        event,
        at
    )
    .execute(tx)
    .await?;
    Ok(())
}
