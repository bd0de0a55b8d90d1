//! The position of wear of a job, and the owner's decision which power to order.

use sqlx::SqliteConnection;
use time::OffsetDateTime;

use super::event::append_event;
use super::once::{Done, Once};
use super::prescription::both_eyes;
use super::read::{axis, length, power, tilt, unreadable};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::fitting::{FramePosition, PositionOfWear, PowerDecision};
use crate::desk::id::FrameId;
use crate::desk::job::EventKind;
use crate::desk::step::Step;
use crate::optics::Pair;
use crate::optics::prescription::LensPower;
use crate::optics::unit::Millimetre;

struct PositionRow {
    vertex_tested_hundredths: Option<i64>,
    vertex_hundredths: i64,
    panto_hundredths: i64,
    wrap_hundredths: i64,
}

impl PositionRow {
    fn frame(&self) -> Result<FramePosition, StoreError> {
        Ok(FramePosition {
            vertex: length("vertex distance", self.vertex_hundredths)?,
            panto: tilt("pantoscopic tilt", self.panto_hundredths)?,
            wrap: tilt("wrap", self.wrap_hundredths)?,
        })
    }

    fn whole(&self) -> Result<PositionOfWear, StoreError> {
        let frame = self.frame()?;
        let tested = self.vertex_tested_hundredths.map(|mm| length("vertex distance", mm)).transpose()?;
        Ok(PositionOfWear { vertex_from: tested.unwrap_or(frame.vertex), frame })
    }
}

struct DecisionEyeRow {
    eye: String,
    sphere_hundredths: i64,
    cylinder_hundredths: i64,
    axis_deg: Option<i64>,
}

impl DecisionEyeRow {
    fn power(self) -> Result<LensPower, StoreError> {
        let (sphere, cylinder) =
            (power("sphere", self.sphere_hundredths)?, power("cylinder", self.cylinder_hundredths)?);
        LensPower::new(sphere, cylinder, axis("axis", self.axis_deg)?).map_err(unreadable("ordered power"))
    }
}

/// How the frame of a job sits, where that is known.
pub(super) async fn find_position(db: &mut SqliteConnection, job: i64) -> Result<Option<FramePosition>, StoreError> {
    let row = sqlx::query_as!(
        PositionRow,
        "select vertex_tested_hundredths, vertex_hundredths, panto_hundredths, wrap_hundredths
         from position_of_wear where job_number = ? order by seq desc limit 1",
        job
    )
    .fetch_optional(db)
    .await?;
    row.map(|row| row.frame()).transpose()
}

/// The newest decision of a job.
pub(super) async fn find_decision(db: &mut SqliteConnection, job: i64) -> Result<Option<PowerDecision>, StoreError> {
    let Some(head) = sqlx::query!(
        r#"select d.seq, d.choice, d.at as "at: Stamp",
                  p.vertex_tested_hundredths, p.vertex_hundredths, p.panto_hundredths, p.wrap_hundredths
           from power_decision d join position_of_wear p on p.seq = d.position_seq
           where d.job_number = ? order by d.seq desc limit 1"#,
        job
    )
    .fetch_optional(&mut *db)
    .await?
    else {
        return Ok(None);
    };
    let position = PositionRow {
        vertex_tested_hundredths: head.vertex_tested_hundredths,
        vertex_hundredths: head.vertex_hundredths,
        panto_hundredths: head.panto_hundredths,
        wrap_hundredths: head.wrap_hundredths,
    };
    let rows = sqlx::query_as!(
        DecisionEyeRow,
        "select eye, sphere_hundredths, cylinder_hundredths, axis_deg from power_decision_eye where decision_seq = ?",
        head.seq
    )
    .fetch_all(db)
    .await?;
    let rows = both_eyes("ordered power", rows, |row| &row.eye)?;
    Ok(Some(PowerDecision {
        is_compensated: head.choice == COMPENSATED,
        position: position.whole()?,
        power: Pair::new(rows.right.power()?, rows.left.power()?),
        at: head.at.0,
    }))
}

const COMPENSATED: &str = "compensated";
const PRESCRIBED: &str = "prescribed";

impl Store {
    /// Keeps the owner's decision which power to order for a job, and with it how the job's frame sits.
    ///
    /// `said` stands in the job's history.
    pub async fn append_power_decision(
        &self,
        key: &str,
        number: i64,
        frame: FrameId,
        decision: &PowerDecision,
        said: &str,
    ) -> Result<Once<()>, StoreError> {
        let now = decision.at;
        self.once(key, Some((number, Step::Compensation)), now, async |tx| {
            let position =
                append_position(tx, number, frame, &decision.position.frame, Some(decision.position.vertex_from), now)
                    .await?;
            let event = append_event(tx, number, EventKind::PowerDecided, said, now).await?;
            let (choice, at) = (if decision.is_compensated { COMPENSATED } else { PRESCRIBED }, Stamp(now));
            let seq = sqlx::query!(
                "insert into power_decision (job_number, choice, position_seq, event_seq, at) values (?, ?, ?, ?, ?)",
                number,
                choice,
                position,
                event,
                at
            )
            .execute(&mut *tx)
            .await?
            .last_insert_rowid();
            for (eye, power) in decision.power.iter() {
                let (eye, sphere, cylinder) = (eye.name(), power.sphere().hundredths(), power.cylinder().hundredths());
                let axis = power.axis().map(|axis| axis.degrees());
                sqlx::query!(
                    "insert into power_decision_eye (decision_seq, eye, sphere_hundredths, cylinder_hundredths, axis_deg)
                     values (?, ?, ?, ?, ?)",
                    seq,
                    eye,
                    sphere,
                    cylinder,
                    axis
                )
                .execute(&mut *tx)
                .await?;
            }
            Ok(Done::new((), number))
        })
        .await
    }
}

/// Keeps how the frame of a job sits.
pub(super) async fn append_position(
    tx: &mut SqliteConnection,
    job: i64,
    frame: FrameId,
    position: &FramePosition,
    vertex_tested: Option<Millimetre>,
    now: OffsetDateTime,
) -> Result<i64, StoreError> {
    let tested = vertex_tested.map(|mm| mm.hundredths());
    let (vertex, panto, wrap) = (position.vertex.hundredths(), position.panto.hundredths(), position.wrap.hundredths());
    let at = Stamp(now);
    Ok(sqlx::query!(
        "insert into position_of_wear (job_number, frame_id, vertex_tested_hundredths, vertex_hundredths,
                                       panto_hundredths, wrap_hundredths, at)
         values (?, ?, ?, ?, ?, ?, ?)",
        job,
        frame,
        tested,
        vertex,
        panto,
        wrap,
        at
    )
    .execute(tx)
    .await?
    .last_insert_rowid())
}

/// How a frame sat on the newest job in it: where the next job starts from.
pub(super) async fn find_last_position(
    tx: &mut SqliteConnection,
    frame: FrameId,
) -> Result<Option<FramePosition>, StoreError> {
    let row = sqlx::query_as!(
        PositionRow,
        "select vertex_tested_hundredths, vertex_hundredths, panto_hundredths, wrap_hundredths
         from position_of_wear where frame_id = ? order by seq desc limit 1",
        frame
    )
    .fetch_optional(tx)
    .await?;
    row.map(|row| row.frame()).transpose()
}
