//! Taking an order: customer, frame, prescription, job, bill and first payment, all or nothing, and only once.

use sqlx::SqliteConnection;
use time::OffsetDateTime;
use uuid::Uuid;

use super::bill::insert_charge;
use super::customer::customer_of;
use super::event::append_event;
use super::fitting::{append_position, find_last_position, find_position};
use super::frame::insert_frame;
use super::once::{Done, Once};
use super::payment::append_payment;
use super::people::people_of;
use super::prescription::insert_prescription;
use super::remake::insert_remake;
use super::search::index_job;
use super::shape::lend_shape;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::catalogue::TreatmentKind;
use crate::desk::center_height::CenterHeight;
use crate::desk::fitting::{FramePosition, PositionOfWear, VertexAnswer};
use crate::desk::id::{CustomerId, FrameId, TreatmentVersionId};
use crate::desk::job::{EventKind, EyeTask, ParentReason, Stage};
use crate::desk::order::{FrameChoice, NewOrder};
use crate::optics::Pair;

/// The rows an order points at.
struct OrderRows {
    patient: CustomerId,
    payer: CustomerId,
    recipient: CustomerId,
    frame: FrameId,
    prescription: Uuid,
    parent: Option<i64>,
}

impl Store {
    /// Opens a job. The same `key` never opens a second one: the number of the first is returned instead.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] when a chosen customer, frame, material or earlier job is not in the book.
    pub async fn take_order(&self, key: &str, order: &NewOrder, now: OffsetDateTime) -> Result<Once<i64>, StoreError> {
        self.once(key, None, now, async |tx| {
            let number = insert_order(tx, order, now).await?;
            Ok(Done::new(number, number))
        })
        .await
    }
}

async fn insert_order(tx: &mut SqliteConnection, order: &NewOrder, now: OffsetDateTime) -> Result<i64, StoreError> {
    let patient = customer_of(tx, &order.customer, now).await?;
    let (payer, recipient) = people_of(tx, patient, &order.people, now).await?;
    let (frame, parent) = match &order.frame {
        FrameChoice::Known(id) => (*id, None),
        FrameChoice::New(details) => (insert_frame(tx, details, now).await?, None),
        FrameChoice::OfJob(number) => (frame_of(tx, *number).await?, Some(*number)),
    };
    let prescription = insert_prescription(tx, patient, &order.prescription, now).await?;
    let rows = OrderRows { patient, payer, recipient, frame, prescription, parent };
    let number = insert_job(tx, order, &rows, now).await?;
    insert_revision(tx, number, order, &rows, now).await?;
    for charge in &order.charges {
        insert_charge(tx, number, charge, "", order.ordered_on, now).await?;
    }
    append_event(tx, number, EventKind::Taken, "", now).await?;
    if let (Some(earlier), Some(remake)) = (parent, &order.remake) {
        insert_remake(tx, number, earlier, remake, now).await?;
    }
    if order.is_for_own_frame() {
        append_event(tx, number, EventKind::OwnFrameExpected, "", now).await?;
    } else if let Some(earlier) = parent
        && comes_back(tx, order, earlier).await?
    {
        append_event(tx, number, EventKind::OwnFrameExpected, "with the glasses of the earlier job", now).await?;
    }
    if let Some((position, answer)) = starting_position(tx, order, frame, parent).await? {
        append_position(tx, number, frame, &position, answer, now).await?;
    }
    if let Some(earlier) = parent {
        lend_shape(tx, earlier, number, now).await?;
    }
    if let Some(payment) = &order.payment {
        append_payment(tx, number, payment, now).await?;
    }
    index_job(tx, number).await?;
    Ok(number)
}

/// Whether the frame of a remake must come back first: it is with the customer and does not stay there.
async fn comes_back(tx: &mut SqliteConnection, order: &NewOrder, earlier: i64) -> Result<bool, StoreError> {
    if order.remake.as_ref().is_none_or(|remake| remake.frame_stays) {
        return Ok(false);
    }
    let stage = sqlx::query_scalar!("select stage from job where number = ?", earlier).fetch_one(tx).await?;
    Ok(stage == Stage::Sent.key())
}

/// For a remake the position of the earlier job. Else the wrap that was typed with the order, or the tilts of the frame's
/// last job. The vertex distance is the wearer's own, so it is the one that was answered with the order, or the usual one.
async fn starting_position(
    tx: &mut SqliteConnection,
    order: &NewOrder,
    frame: FrameId,
    parent: Option<i64>,
) -> Result<Option<(FramePosition, Option<VertexAnswer>)>, StoreError> {
    let usual = PositionOfWear::usual().frame;
    let (known, answer) = match (parent, order.remake.is_some(), order.frame_wrap) {
        (Some(earlier), true, _) => match find_position(tx, earlier).await? {
            Some((position, answered)) => (Some(position), order.vertex.or(answered)),
            None => (None, order.vertex),
        },
        (_, _, Some(wrap)) => (Some(FramePosition { wrap, ..usual }), order.vertex),
        (_, _, None) => {
            let last = find_last_position(tx, frame).await?;
            (last.map(|last| FramePosition { vertex: usual.vertex, ..last }), order.vertex)
        }
    };
    let position = known.or(answer.map(|_| usual));
    Ok(position.map(|frame| (PositionOfWear::starting(frame, answer).frame, answer)))
}

async fn frame_of(tx: &mut SqliteConnection, number: i64) -> Result<FrameId, StoreError> {
    sqlx::query_scalar!(r#"select frame_id as "id: FrameId" from job where number = ?"#, number)
        .fetch_optional(tx)
        .await?
        .ok_or(StoreError::NotFound("the earlier job"))
}

fn reason_of(order: &NewOrder) -> ParentReason {
    if order.remake.is_some() { ParentReason::Remake } else { ParentReason::NewLenses }
}

async fn insert_job(
    tx: &mut SqliteConnection,
    order: &NewOrder,
    rows: &OrderRows,
    now: OffsetDateTime,
) -> Result<i64, StoreError> {
    let (taken_at, reason) = (Stamp(now), rows.parent.map(|_| reason_of(order).key()));
    Ok(sqlx::query!(
        "insert into job (patient_id, parent_number, parent_reason, ordered_on, taken_at, frame_id, promised_on)
         values (?, ?, ?, ?, ?, ?, ?)",
        rows.patient,
        rows.parent,
        reason,
        order.ordered_on,
        taken_at,
        rows.frame,
        order.promised_on
    )
    .execute(tx)
    .await?
    .last_insert_rowid())
}

/// The first revision of a job: the order itself.
async fn insert_revision(
    tx: &mut SqliteConnection,
    number: i64,
    order: &NewOrder,
    rows: &OrderRows,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let (lens_use, design, at) = (order.made_for.key(), order.design.key(), Stamp(now));
    sqlx::query!(
        "insert into job_revision (job_number, revision, patient_id, payer_id, recipient_id, frame_id, prescription_id,
                                   lens_use, material_version_id, design, promised_on, note, at)
         values (?, 1, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        number,
        rows.patient,
        rows.payer,
        rows.recipient,
        rows.frame,
        rows.prescription,
        lens_use,
        order.material,
        design,
        order.promised_on,
        order.note,
        at
    )
    .execute(&mut *tx)
    .await?;
    let made = Made {
        tasks: order.tasks,
        height: order.height,
        coating: order.coating,
        second_coating: order.second_coating,
        tint: order.tint,
    };
    insert_made(tx, number, 1, &made).await
}

/// What is done for each eye, and what is put on the lenses.
pub(super) struct Made {
    pub(super) tasks: Pair<EyeTask>,
    pub(super) height: Pair<CenterHeight>,
    pub(super) coating: Option<TreatmentVersionId>,
    pub(super) second_coating: Option<TreatmentVersionId>,
    pub(super) tint: Option<TreatmentVersionId>,
}

/// A height as its columns: hundredths of a millimeter, and what it counts from.
pub(super) fn height_columns(height: CenterHeight) -> (Option<i32>, &'static str) {
    match height {
        CenterHeight::Bottom(height) => (Some(height.hundredths()), "bottom"),
        CenterHeight::Middle(up) => (Some(up.hundredths()), "middle"),
        CenterHeight::Assumed => (None, "middle"),
    }
}

/// The eyes and treatments of a revision.
pub(super) async fn insert_made(
    tx: &mut SqliteConnection,
    number: i64,
    revision: i64,
    made: &Made,
) -> Result<(), StoreError> {
    for (eye, height) in made.height.iter() {
        let (task, eye) = (made.tasks.get(eye).key(), eye.name());
        let (height, from) = height_columns(*height);
        sqlx::query!(
            "insert into job_eye (job_number, revision, eye, task, height_hundredths, height_from)
             values (?, ?, ?, ?, ?, ?)",
            number,
            revision,
            eye,
            task,
            height,
            from
        )
        .execute(&mut *tx)
        .await?;
    }
    for (kind, position, version) in [
        (TreatmentKind::Coating, 1, made.coating),
        (TreatmentKind::Coating, 2, made.second_coating),
        (TreatmentKind::Tint, 1, made.tint),
    ] {
        let (kind, Some(version)) = (kind.key(), version) else { continue };
        sqlx::query!(
            "insert into job_treatment (job_number, revision, kind, position, version_id) values (?, ?, ?, ?, ?)",
            number,
            revision,
            kind,
            position,
            version
        )
        .execute(&mut *tx)
        .await?;
    }
    Ok(())
}
