//! Frames.

use sqlx::{Sqlite, Transaction};
use time::OffsetDateTime;
use uuid::Uuid;

use super::customer::anywhere;
use super::read::{length, word};
use super::{Store, StoreError};
use crate::desk::frame::{Frame, FrameDetails, Rim};
use crate::desk::money::Cents;

pub(super) struct FrameRow {
    pub id: Uuid,
    pub maker: String,
    pub model: String,
    pub colour: String,
    pub eye_size_hundredths: i64,
    pub bridge_hundredths: i64,
    pub temple_hundredths: Option<i64>,
    pub rim: String,
    pub price_cents: i64,
}

impl TryFrom<FrameRow> for Frame {
    type Error = StoreError;
    fn try_from(row: FrameRow) -> Result<Self, StoreError> {
        Ok(Self {
            id: row.id,
            details: FrameDetails {
                maker: row.maker,
                model: row.model,
                colour: row.colour,
                eye_size: length("eye size", row.eye_size_hundredths)?,
                bridge: length("bridge", row.bridge_hundredths)?,
                temple: row.temple_hundredths.map(|t| length("temple", t)).transpose()?,
                rim: word("rim", &row.rim, Rim::from_key(&row.rim))?,
                price: Cents::new(row.price_cents),
            },
        })
    }
}

impl Store {
    /// One frame.
    pub async fn get_frame(&self, id: Uuid) -> Result<Frame, StoreError> {
        sqlx::query_as!(
            FrameRow,
            r#"select id as "id: Uuid", maker, model, colour, eye_size_hundredths, bridge_hundredths, temple_hundredths,
                      rim, price_cents from frame where id = ?"#,
            id
        )
        .fetch_optional(&self.read)
        .await?
        .ok_or(StoreError::NotFound("that frame"))?
        .try_into()
    }

    /// Frames whose maker, model or colour holds every word of `text`.
    pub async fn list_frames(&self, text: &str, most: i64) -> Result<Vec<Frame>, StoreError> {
        // SQLite has no word search without an extension: the rarest need here is maker and model together.
        let mut words = text.split_whitespace();
        let (first, second) = (anywhere(words.next().unwrap_or("")), anywhere(words.next().unwrap_or("")));
        sqlx::query_as!(
            FrameRow,
            r#"select id as "id: Uuid", maker, model, colour, eye_size_hundredths, bridge_hundredths, temple_hundredths,
                      rim, price_cents
               from frame
               where (maker || ' ' || model || ' ' || colour) like ?1 escape '\'
                 and (maker || ' ' || model || ' ' || colour) like ?2 escape '\'
               order by maker, model, eye_size_hundredths, colour limit ?3"#,
            first,
            second,
            most
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(Frame::try_from)
        .collect()
    }
}

/// Adds a frame, or finds the one that is already there under the same maker, model, colour and size.
pub(super) async fn insert_frame(
    tx: &mut Transaction<'_, Sqlite>,
    details: &FrameDetails,
    now: OffsetDateTime,
) -> Result<Uuid, StoreError> {
    let id = Uuid::now_v7();
    let (eye, bridge) = (details.eye_size.hundredths(), details.bridge.hundredths());
    let (temple, rim, price) = (details.temple.map(|t| t.hundredths()), details.rim.key(), details.price.cents());
    let row = sqlx::query!(
        r#"insert into frame (id, maker, model, colour, eye_size_hundredths, bridge_hundredths, temple_hundredths, rim,
                              price_cents, added_at)
           values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
           on conflict (maker, model, colour, eye_size_hundredths, bridge_hundredths) do nothing
           returning id as "id: Uuid""#,
        id,
        details.maker,
        details.model,
        details.colour,
        eye,
        bridge,
        temple,
        rim,
        price,
        now
    )
    .fetch_optional(&mut **tx)
    .await?;
    match row {
        Some(row) => Ok(row.id),
        None => Ok(sqlx::query_scalar!(
            r#"select id as "id: Uuid" from frame where maker = ? and model = ? and colour = ?
               and eye_size_hundredths = ? and bridge_hundredths = ?"#,
            details.maker,
            details.model,
            details.colour,
            eye,
            bridge
        )
        .fetch_one(&mut **tx)
        .await?),
    }
}
