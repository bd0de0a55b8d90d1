//! The customer's own frame: when it came in and what it was like, each time it was noted.

use time::{Date, OffsetDateTime};

use super::attachment::insert_file;
use super::event::append_event;
use super::once::{Done, Once};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::attachment::NewFile;
use crate::desk::date::day;
use crate::desk::job::EventKind;
use crate::desk::own_frame::{NotedArrival, OwnFrameArrival};
use crate::desk::step::Step;

impl Store {
    /// How the customer's own frame of a job came in, as it was noted last.
    pub async fn find_own_frame(&self, number: i64) -> Result<Option<NotedArrival>, StoreError> {
        let row = sqlx::query!(
            r#"select received_on as "received_on: Date", condition, at as "at: Stamp" from own_frame_arrival
               where job_number = ? order by seq desc limit 1"#,
            number
        )
        .fetch_optional(&self.read)
        .await?;
        Ok(row.map(|row| NotedArrival {
            arrival: OwnFrameArrival { received_on: row.received_on, condition: row.condition },
            at: row.at.0,
        }))
    }

    /// Notes how the customer's own frame came in, with its photographs. Noting it again adds; what was noted stays.
    pub async fn receive_own_frame(
        &self,
        key: &str,
        number: i64,
        arrival: &OwnFrameArrival,
        photographs: &[NewFile],
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, Step::OwnFrame)), now, async |tx| {
            let at = Stamp(now);
            sqlx::query!(
                "insert into own_frame_arrival (job_number, received_on, condition, at) values (?, ?, ?, ?)",
                number,
                arrival.received_on,
                arrival.condition,
                at
            )
            .execute(&mut *tx)
            .await?;
            let said = format!("{}, {}", day(&arrival.received_on), arrival.condition);
            append_event(tx, number, EventKind::OwnFrameReceived, &said, now).await?;
            for photograph in photographs {
                insert_file(tx, number, photograph, now).await?;
            }
            Ok(Done::new((), number))
        })
        .await
    }
}
