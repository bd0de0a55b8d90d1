//! Frames.

use serde::Deserialize;
use sqlx::SqliteConnection;
use sqlx::types::Json;
use time::OffsetDateTime;
use uuid::Uuid;

use super::once::{Done, Once};
use super::read::{length, word};
use super::search::{index_frame, index_jobs_of_frame, matching};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::frame::{Frame, FrameDetails, FramePast, Rim};
use crate::desk::id::FrameId;
use crate::desk::money::Cents;

// The fields stand in the order of the view's array.
#[derive(Deserialize)]
pub(super) struct FrameRow {
    id: FrameId,
    maker: String,
    model: String,
    colour: String,
    eye_size_hundredths: i64,
    bridge_hundredths: i64,
    temple_hundredths: Option<i64>,
    rim: String,
    price_cents: i64,
}

impl TryFrom<FrameRow> for Frame {
    type Error = StoreError;
    fn try_from(row: FrameRow) -> Result<Self, StoreError> {
        Ok(Self {
            id: row.id,
            details: FrameDetails {
                maker: row.maker,
                model: row.model,
                color: row.colour,
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
    pub async fn get_frame(&self, id: FrameId) -> Result<Frame, StoreError> {
        sqlx::query_scalar!(r#"select body as "body!: Json<FrameRow>" from frame_json where id = ?"#, id)
            .fetch_optional(&self.read)
            .await?
            .ok_or(StoreError::NotFound("that frame"))?
            .0
            .try_into()
    }

    /// Frames whose maker, model, color or eye size has words that begin so; where there is none, with words that are
    /// close. Without text, all by maker and model.
    pub async fn list_frames(&self, text: &str, most: i64) -> Result<Vec<Frame>, StoreError> {
        let Some(begun) = matching(text) else { return self.list_first_frames(most).await };
        let mut frames = self.list_matching_frames(&begun, most).await?;
        if frames.is_empty() {
            let close = self.matching_closely(text).await?.unwrap_or(begun);
            frames = self.list_matching_frames(&close, most).await?;
        }
        frames.sort_by(|a, b| {
            let key = |f: &Frame| {
                (f.details.maker.clone(), f.details.model.clone(), f.details.eye_size, f.details.color.clone())
            };
            key(a).cmp(&key(b))
        });
        Ok(frames)
    }

    async fn list_matching_frames(&self, words: &str, most: i64) -> Result<Vec<Frame>, StoreError> {
        sqlx::query_as!(
            FrameRow,
            r#"select f.id as "id: FrameId", f.maker, f.model, f.colour, f.eye_size_hundredths, f.bridge_hundredths,
                      f.temple_hundredths, f.rim, f.price_cents
               from frame_search s join frame f on f.number = s.rowid
               where frame_search match ?1 order by s.rowid limit ?2"#,
            words,
            most
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(Frame::try_from)
        .collect()
    }

    async fn list_first_frames(&self, most: i64) -> Result<Vec<Frame>, StoreError> {
        sqlx::query_as!(
            FrameRow,
            r#"select id as "id: FrameId", maker, model, colour, eye_size_hundredths, bridge_hundredths,
                      temple_hundredths, rim, price_cents
               from frame order by maker, model, eye_size_hundredths, colour limit ?"#,
            most
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(Frame::try_from)
        .collect()
    }
}

struct FramePastRow {
    id: FrameId,
    maker: String,
    model: String,
    colour: String,
    eye_size_hundredths: i64,
    bridge_hundredths: i64,
    temple_hundredths: Option<i64>,
    rim: String,
    price_cents: i64,
    replaced_at: Stamp,
}

impl TryFrom<FramePastRow> for FramePast {
    type Error = StoreError;
    fn try_from(row: FramePastRow) -> Result<Self, StoreError> {
        let until = row.replaced_at.0;
        let frame = Frame::try_from(FrameRow {
            id: row.id,
            maker: row.maker,
            model: row.model,
            colour: row.colour,
            eye_size_hundredths: row.eye_size_hundredths,
            bridge_hundredths: row.bridge_hundredths,
            temple_hundredths: row.temple_hundredths,
            rim: row.rim,
            price_cents: row.price_cents,
        })?;
        Ok(Self { details: frame.details, until })
    }
}

impl Store {
    /// Corrects a frame; what stood before is kept by a trigger.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] when there is no such frame, [`StoreError::Twice`] when another one has the same maker,
    /// model, color, eye size and bridge.
    pub async fn change_frame(
        &self,
        key: &str,
        id: FrameId,
        details: &FrameDetails,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, None, now, async |tx| {
            let (eye, bridge) = (details.eye_size.hundredths(), details.bridge.hundredths());
            let temple = details.temple.map(|t| t.hundredths());
            let (rim, price, changed_at) = (details.rim.key(), details.price.cents(), Stamp(now));
            let changed = sqlx::query!(
                "update frame set maker = ?, model = ?, colour = ?, eye_size_hundredths = ?, bridge_hundredths = ?,
                    temple_hundredths = ?, rim = ?, price_cents = ?, changed_at = ? where id = ?",
                details.maker,
                details.model,
                details.color,
                eye,
                bridge,
                temple,
                rim,
                price,
                changed_at,
                id
            )
            .execute(&mut *tx)
            .await?
            .rows_affected();
            if changed == 0 {
                return Err(StoreError::NotFound("that frame"));
            }
            index_frame(tx, id).await?;
            index_jobs_of_frame(tx, id).await?;
            Ok(Done::new((), id))
        })
        .await
    }

    /// How often a frame was corrected: the running number of the form.
    pub async fn count_frame_changes(&self, id: FrameId) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select count(*) as "n!: i64" from frame_past where frame_id = ?"#, id)
            .fetch_one(&self.read)
            .await?)
    }

    /// What a frame's row said before its newest corrections, the newest first.
    pub async fn list_frame_past(&self, id: FrameId, most: i64) -> Result<Vec<FramePast>, StoreError> {
        sqlx::query_as!(
            FramePastRow,
            r#"select frame_id as "id: FrameId", maker, model, colour, eye_size_hundredths, bridge_hundredths,
                      temple_hundredths, rim, price_cents, replaced_at as "replaced_at: Stamp"
               from frame_past where frame_id = ? order by seq desc limit ?"#,
            id,
            most
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(FramePast::try_from)
        .collect()
    }
}

/// Adds a frame, or finds the one that is already there under the same maker, model, color and size.
pub(super) async fn insert_frame(
    tx: &mut SqliteConnection,
    details: &FrameDetails,
    now: OffsetDateTime,
) -> Result<FrameId, StoreError> {
    let (id, added_at) = (FrameId(Uuid::now_v7()), Stamp(now));
    let (eye, bridge) = (details.eye_size.hundredths(), details.bridge.hundredths());
    let (temple, rim, price) = (details.temple.map(|t| t.hundredths()), details.rim.key(), details.price.cents());
    let added = sqlx::query!(
        "insert into frame (id, maker, model, colour, eye_size_hundredths, bridge_hundredths, temple_hundredths, rim,
                            price_cents, added_at, changed_at)
         values (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?10)
         on conflict (maker, model, colour, eye_size_hundredths, bridge_hundredths) do nothing",
        id,
        details.maker,
        details.model,
        details.color,
        eye,
        bridge,
        temple,
        rim,
        price,
        added_at
    )
    .execute(&mut *tx)
    .await?
    .rows_affected();
    if added > 0 {
        index_frame(tx, id).await?;
        return Ok(id);
    }
    Ok(sqlx::query_scalar!(
        r#"select id as "id: FrameId" from frame where maker = ? and model = ? and colour = ?
           and eye_size_hundredths = ? and bridge_hundredths = ?"#,
        details.maker,
        details.model,
        details.color,
        eye,
        bridge
    )
    .fetch_one(tx)
    .await?)
}
