//! The position of wear of a job, and the owner's decision which power to order.

use serde::Deserialize;
use sqlx::SqliteConnection;
use sqlx::types::Json;
use time::OffsetDateTime;

use super::event::append_event;
use super::once::{Done, Once};
use super::prescription::both_eyes;
use super::read::{axis, length, power, tilt, unreadable, word};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::fitting::{DecidedLens, FramePosition, PositionOfWear, PowerDecision, TracePlane, VertexAnswer};
use crate::desk::id::FrameId;
use crate::desk::job::EventKind;
use crate::desk::step::Step;
use crate::optics::Pair;
use crate::optics::prescription::LensPower;

#[derive(Deserialize)]
pub(super) struct PositionRow {
    vertex_tested_hundredths: Option<i64>,
    vertex_hundredths: i64,
    panto_hundredths: i64,
    wrap_hundredths: i64,
    vertex_is_known: i64,
    trace_plane: Option<String>,
}

impl PositionRow {
    pub(super) fn frame(&self) -> Result<FramePosition, StoreError> {
        Ok(FramePosition {
            vertex: length("vertex distance", self.vertex_hundredths)?,
            panto: tilt("pantoscopic tilt", self.panto_hundredths)?,
            wrap: tilt("wrap", self.wrap_hundredths)?,
            trace: match &self.trace_plane {
                Some(key) => word("plane of a trace", key, TracePlane::from_key(key))?,
                None => TracePlane::default(),
            },
        })
    }

    /// The vertex distances, where they were asked for and answered.
    pub(super) fn answer(&self) -> Result<Option<VertexAnswer>, StoreError> {
        let Some(tested) = self.vertex_tested_hundredths else { return Ok(None) };
        let (tested, worn) = (length("vertex distance", tested)?, length("vertex distance", self.vertex_hundredths)?);
        Ok(Some(match self.vertex_is_known {
            0 => VertexAnswer::NotKnown,
            _ => VertexAnswer::Known { tested, worn },
        }))
    }

    fn whole(&self) -> Result<PositionOfWear, StoreError> {
        let frame = self.frame()?;
        let tested = self.vertex_tested_hundredths.map(|mm| length("vertex distance", mm)).transpose()?;
        let vertex_is_known = self.vertex_is_known == 1;
        Ok(PositionOfWear { vertex_from: tested.unwrap_or(frame.vertex), vertex_is_known, frame })
    }
}

#[derive(Deserialize)]
struct DecisionEyeRow {
    eye: String,
    sphere_hundredths: i64,
    cylinder_hundredths: i64,
    axis_deg: Option<i64>,
    front_power_hundredths: Option<i64>,
    centre_hundredths: Option<i64>,
}

impl DecisionEyeRow {
    fn lens(&self) -> Result<Option<DecidedLens>, StoreError> {
        let (Some(front), Some(center)) = (self.front_power_hundredths, self.centre_hundredths) else {
            return Ok(None);
        };
        let (front, center) = (power("front power", front)?, length("center thickness", center)?);
        Ok(Some(DecidedLens { front, center }))
    }

    fn power(self) -> Result<LensPower, StoreError> {
        let (sphere, cylinder) =
            (power("sphere", self.sphere_hundredths)?, power("cylinder", self.cylinder_hundredths)?);
        LensPower::new(sphere, cylinder, axis("axis", self.axis_deg)?).map_err(unreadable("ordered power"))
    }
}

/// A decision, with the position it was made for.
#[derive(Deserialize)]
pub(super) struct DecisionRow {
    choice: String,
    at: Stamp,
    position: PositionRow,
    eyes: Vec<DecisionEyeRow>,
}

impl DecisionRow {
    /// The decision; `None` where it was withdrawn.
    pub(super) fn decision(self) -> Result<Option<PowerDecision>, StoreError> {
        if self.choice == WITHDRAWN {
            return Ok(None);
        }
        let eyes = both_eyes("ordered power", self.eyes, |eye| &eye.eye)?;
        Ok(Some(PowerDecision {
            is_compensated: self.choice == COMPENSATED,
            position: self.position.whole()?,
            lenses: Pair::new(eyes.right.lens()?, eyes.left.lens()?),
            power: Pair::new(eyes.right.power()?, eyes.left.power()?),
            at: self.at.0,
        }))
    }
}

const COMPENSATED: &str = "compensated";
const PRESCRIBED: &str = "prescribed";
const WITHDRAWN: &str = "withdrawn";

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
                append_position(tx, number, frame, &decision.position.frame, Some(VertexAnswer::of(&decision.position)), now)
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
            for (side, power) in decision.power.iter() {
                let (eye, sphere, cylinder) = (side.name(), power.sphere().hundredths(), power.cylinder().hundredths());
                let axis = power.axis().map(|axis| axis.degrees());
                let lens = decision.lenses.get(side);
                let (front, center) =
                    (lens.map(|lens| lens.front.hundredths()), lens.map(|lens| lens.center.hundredths()));
                sqlx::query!(
                    "insert into power_decision_eye (decision_seq, eye, sphere_hundredths, cylinder_hundredths, axis_deg,
                                                     front_power_hundredths, centre_hundredths)
                     values (?, ?, ?, ?, ?, ?, ?)",
                    seq,
                    eye,
                    sphere,
                    cylinder,
                    axis,
                    front,
                    center
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
    answered: Option<VertexAnswer>,
    now: OffsetDateTime,
) -> Result<i64, StoreError> {
    let tested = answered.map(|answer| match answer {
        VertexAnswer::Known { tested, .. } => tested.hundredths(),
        VertexAnswer::NotKnown => position.vertex.hundredths(),
    });
    let (is_known, trace) = (answered != Some(VertexAnswer::NotKnown), position.trace.key());
    let (vertex, panto, wrap) = (position.vertex.hundredths(), position.panto.hundredths(), position.wrap.hundredths());
    let at = Stamp(now);
    Ok(sqlx::query!(
        "insert into position_of_wear (job_number, frame_id, vertex_tested_hundredths, vertex_hundredths,
                                       panto_hundredths, wrap_hundredths, vertex_is_known, trace_plane, at)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        job,
        frame,
        tested,
        vertex,
        panto,
        wrap,
        is_known,
        trace,
        at
    )
    .execute(tx)
    .await?
    .last_insert_rowid())
}

/// How the frame of a job sat, where that is known, with the answer about its vertex distances.
pub(super) async fn find_position(
    tx: &mut SqliteConnection,
    job: i64,
) -> Result<Option<(FramePosition, Option<VertexAnswer>)>, StoreError> {
    let row = sqlx::query_scalar!(
        r#"select body as "body!: Json<PositionRow>" from position_of_wear_json where job_number = ? order by seq desc limit 1"#,
        job
    )
    .fetch_optional(tx)
    .await?;
    row.map(|row| Ok((row.0.frame()?, row.0.answer()?))).transpose()
}

impl Store {
    /// How a frame sat on the newest job in it, where that is known.
    pub async fn find_frame_position(&self, frame: FrameId) -> Result<Option<FramePosition>, StoreError> {
        find_last_position(&mut *self.read.acquire().await?, frame).await
    }
}

/// How a frame sat on the newest job in it: where the next job starts from.
pub(super) async fn find_last_position(
    tx: &mut SqliteConnection,
    frame: FrameId,
) -> Result<Option<FramePosition>, StoreError> {
    let row = sqlx::query_scalar!(
        r#"select body as "body!: Json<PositionRow>" from position_of_wear_json where frame_id = ? order by seq desc limit 1"#,
        frame
    )
    .fetch_optional(tx)
    .await?;
    row.map(|row| row.0.frame()).transpose()
}
