//! How frames sit, and the owner's decisions which power to order.

use sqlx::{Sqlite, Transaction};
use time::OffsetDateTime;
use uuid::Uuid;

use super::draft::{Once, outcome, settle};
use super::event::{append_event, must_stand};
use super::{Store, StoreError};
use crate::desk::fitting::{FramePosition, PowerDecision};
use crate::desk::job::{EventKind, Stage};

impl Store {
    /// Keeps the owner's decision which power to order for a job, and with it how the job's frame sits.
    ///
    /// `said` stands in the job's history.
    pub async fn append_power_decision(
        &self,
        key: &str,
        number: i64,
        frame: Uuid,
        order: &PowerDecision,
        said: &str,
    ) -> Result<Once<()>, StoreError> {
        let mut tx = self.begin().await?;
        if let Some(before) = outcome(&mut tx, key).await? {
            return Ok(Once::Before(before));
        }
        must_stand(&mut tx, number, Stage::Taken..=Stage::LensesInHand).await?;
        let now = order.at;
        let decision = if order.is_compensated { "compensated" } else { "prescribed" };
        let position = order.position;
        let (from, to) = (position.vertex_from.hundredths(), position.frame.vertex.hundredths());
        let (panto, wrap) = (position.frame.panto.hundredths(), position.frame.wrap.hundredths());
        let (right, left) = (order.power.right, order.power.left);
        let (right_sphere, right_cylinder) = (right.sphere().hundredths(), right.cylinder().hundredths());
        let (left_sphere, left_cylinder) = (left.sphere().hundredths(), left.cylinder().hundredths());
        let (right_axis, left_axis) = (right.axis().map(|a| a.degrees()), left.axis().map(|a| a.degrees()));
        sqlx::query!(
            "insert into worn_order (job_number, decision, vertex_from_hundredths, vertex_to_hundredths,
                panto_hundredths, wrap_hundredths, right_sphere_hundredths, right_cylinder_hundredths, right_axis_deg,
                left_sphere_hundredths, left_cylinder_hundredths, left_axis_deg, at)
             values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            number,
            decision,
            from,
            to,
            panto,
            wrap,
            right_sphere,
            right_cylinder,
            right_axis,
            left_sphere,
            left_cylinder,
            left_axis,
            now
        )
        .execute(&mut *tx)
        .await?;
        append_frame_position(&mut tx, frame, &position.frame, now).await?;
        append_event(&mut tx, number, EventKind::Note, said, now).await?;
        settle(&mut tx, key, &number.to_string(), now).await?;
        tx.commit().await?;
        Ok(Once::Now(()))
    }

    /// How many decisions a job has had: the running number of their form.
    pub async fn count_power_decisions(&self, number: i64) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select count(*) as "n!: i64" from worn_order where job_number = ?"#, number)
            .fetch_one(&self.read)
            .await?)
    }
}

/// Keeps how a frame sits.
pub(super) async fn append_frame_position(
    tx: &mut Transaction<'_, Sqlite>,
    frame: Uuid,
    wear: &FramePosition,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let (vertex, panto, wrap) = (wear.vertex.hundredths(), wear.panto.hundredths(), wear.wrap.hundredths());
    sqlx::query!(
        "insert into frame_wear (frame_id, vertex_hundredths, panto_hundredths, wrap_hundredths, added_at)
         values (?, ?, ?, ?, ?)",
        frame,
        vertex,
        panto,
        wrap,
        now
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
