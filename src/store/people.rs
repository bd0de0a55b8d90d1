//! Who pays for a job, and who gets its parcel.

use sqlx::SqliteConnection;
use time::OffsetDateTime;

use super::customer::customer_of;
use super::event::append_event;
use super::once::{Done, Once};
use super::revision::{Change, revise};
use super::search::index_job;
use super::{Store, StoreError};
use crate::desk::id::CustomerId;
use crate::desk::job::EventKind;
use crate::desk::order::{People, Recipient};
use crate::desk::step::Step;

impl Store {
    /// Adds a revision of a job with these people.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] for a number that was never given.
    pub async fn change_people(
        &self,
        key: &str,
        number: i64,
        people: &People,
        reason: &str,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, Step::People)), now, async |tx| {
            let patient =
                sqlx::query_scalar!(r#"select patient_id as "id: CustomerId" from job where number = ?"#, number)
                    .fetch_one(&mut *tx)
                    .await?;
            let (payer, recipient) = people_of(tx, patient, people, now).await?;
            let change = Change { payer: Some(payer), recipient: Some(recipient), reason, ..Change::default() };
            revise(tx, number, &change, now).await?;
            append_event(tx, number, EventKind::PeopleChanged, reason, now).await?;
            index_job(tx, number).await?;
            Ok(Done::new((), number))
        })
        .await
    }
}

/// Who pays and who gets the parcel; new people are added.
pub(super) async fn people_of(
    tx: &mut SqliteConnection,
    patient: CustomerId,
    people: &People,
    now: OffsetDateTime,
) -> Result<(CustomerId, CustomerId), StoreError> {
    let payer = match &people.payer {
        Some(payer) => customer_of(tx, payer, now).await?,
        None => patient,
    };
    let recipient = match &people.recipient {
        Recipient::Patient => patient,
        Recipient::Payer => payer,
        Recipient::Other(other) => customer_of(tx, other, now).await?,
    };
    Ok((payer, recipient))
}
