//! The lab's process spread: one row, once the owner has changed a default.

use time::OffsetDateTime;

use super::once::{Done, Once};
use super::read::{int, tilt};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::bench::process_spread::ProcessSpread;

impl Store {
    /// The lab's process spread; the defaults until the owner has changed one.
    pub async fn get_process_spread(&self) -> Result<ProcessSpread, StoreError> {
        let Some(row) = sqlx::query!("select * from process_spread where id = 1").fetch_optional(&self.read).await?
        else {
            return Ok(ProcessSpread::default());
        };
        Ok(ProcessSpread {
            // In the order of `FIGURES`.
            figures: [
                int("process spread", row.blank_power_hundredths)?,
                int("process spread", row.blank_cylinder_hundredths)?,
                int("process spread", row.blank_prism_hundredths)?,
                int("process spread", row.axis_marking_hundredths)?,
                int("process spread", row.axis_blocking_hundredths)?,
                int("process spread", row.edging_turn_hundredths)?,
                int("process spread", row.centre_marking_hundredths)?,
                int("process spread", row.blocking_hundredths)?,
                int("process spread", row.lensmeter_step_hundredths)?,
                int("process spread", row.prism_step_hundredths)?,
                int("process spread", row.axis_step_hundredths)?,
                int("process spread", row.stick_step_hundredths)?,
            ],
            nudges: row.nudges != 0,
            offer_wrap: tilt("offered wrap", row.offer_wrap_hundredths)?,
        })
    }

    /// Keeps the lab's process spread; what it was before is kept by a trigger.
    pub async fn change_process_spread(
        &self,
        key: &str,
        spread: &ProcessSpread,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let [
            blank_power,
            blank_cylinder,
            blank_prism,
            axis_marking,
            axis_blocking,
            edging_turn,
            center_marking,
            blocking,
            lensmeter_step,
            prism_step,
            axis_step,
            stick_step,
        ] = spread.figures;
        let offer_wrap = spread.offer_wrap.hundredths();
        self.once(key, None, now, async |tx| {
            let changed_at = Stamp(now);
            sqlx::query!(
                "insert into process_spread (
                    id, blank_power_hundredths, blank_cylinder_hundredths, blank_prism_hundredths,
                    axis_marking_hundredths, axis_blocking_hundredths, edging_turn_hundredths,
                    centre_marking_hundredths, blocking_hundredths, lensmeter_step_hundredths,
                    prism_step_hundredths, axis_step_hundredths, stick_step_hundredths, nudges,
                    offer_wrap_hundredths, changed_at)
                 values (1, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
                 on conflict (id) do update set
                    blank_power_hundredths = excluded.blank_power_hundredths,
                    blank_cylinder_hundredths = excluded.blank_cylinder_hundredths,
                    blank_prism_hundredths = excluded.blank_prism_hundredths,
                    axis_marking_hundredths = excluded.axis_marking_hundredths,
                    axis_blocking_hundredths = excluded.axis_blocking_hundredths,
                    edging_turn_hundredths = excluded.edging_turn_hundredths,
                    centre_marking_hundredths = excluded.centre_marking_hundredths,
                    blocking_hundredths = excluded.blocking_hundredths,
                    lensmeter_step_hundredths = excluded.lensmeter_step_hundredths,
                    prism_step_hundredths = excluded.prism_step_hundredths,
                    axis_step_hundredths = excluded.axis_step_hundredths,
                    stick_step_hundredths = excluded.stick_step_hundredths,
                    nudges = excluded.nudges,
                    offer_wrap_hundredths = excluded.offer_wrap_hundredths,
                    changed_at = excluded.changed_at",
                blank_power,
                blank_cylinder,
                blank_prism,
                axis_marking,
                axis_blocking,
                edging_turn,
                center_marking,
                blocking,
                lensmeter_step,
                prism_step,
                axis_step,
                stick_step,
                spread.nudges,
                offer_wrap,
                changed_at
            )
            .execute(&mut *tx)
            .await?;
            Ok(Done::new((), "process-spread"))
        })
        .await
    }

    /// How often the process spread was changed: the running number of their form.
    pub async fn count_process_spread_changes(&self) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(
            r#"select (select count(*) from process_spread) + (select count(*) from process_spread_past) as "n!: i64""#
        )
        .fetch_one(&self.read)
        .await?)
    }
}
