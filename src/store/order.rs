//! Taking an order: customer, frame, prescription, job, bill and first payment, all or nothing, and only once.

use sqlx::{Sqlite, Transaction};
use time::OffsetDateTime;
use uuid::Uuid;

use super::draft::{Once, outcome, settle};
use super::event::append_event;
use super::payment::append_payment;
use super::{Store, StoreError, customer, fitting, frame};
use crate::desk::bill::Charge;
use crate::desk::fitting::{FramePosition, PositionOfWear};
use crate::desk::job::EventKind;
use crate::desk::order::{CustomerChoice, FrameChoice, NewOrder};
use crate::desk::prescription::Prescription;
use crate::optics::prescription::{EyePrescription, Given};
use crate::optics::{Eye, Pair};

impl Store {
    /// Opens a job. The same `key` never opens a second one: the number of the first is returned instead.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] when a chosen customer, frame, material or earlier job is not in the book.
    pub async fn take_order(&self, key: &str, order: &NewOrder, now: OffsetDateTime) -> Result<Once<i64>, StoreError> {
        let mut tx = self.begin().await?;
        if let Some(number) = outcome(&mut tx, key).await? {
            return Ok(Once::Before(number));
        }
        let customer_id = match &order.customer {
            CustomerChoice::Known(id) => *id,
            CustomerChoice::New(person) => customer::insert_customer(&mut tx, person, now).await?,
        };
        let (frame_id, relens_of) = match &order.frame {
            FrameChoice::Known(id) => (*id, None),
            FrameChoice::New(details) => (frame::insert_frame(&mut tx, details, now).await?, None),
            FrameChoice::OfJob(number) => (frame_of(&mut tx, *number).await?, Some(*number)),
        };
        if let Some(wrap) = order.frame_wrap {
            // Only the wrap was asked for; the rest is the usual until the owner says otherwise.
            fitting::append_frame_position(
                &mut tx,
                frame_id,
                &FramePosition { wrap, ..PositionOfWear::usual().frame },
                now,
            )
            .await?;
        }
        let prescription_id = insert_prescription(&mut tx, customer_id, &order.prescription, now).await?;
        let number = insert_job(&mut tx, order, customer_id, frame_id, prescription_id, relens_of, now).await?;
        for (position, charge) in (1i64..).zip(&order.charges) {
            insert_charge(&mut tx, number, position, charge).await?;
        }
        append_event(&mut tx, number, EventKind::Taken, "", now).await?;
        if let Some(earlier) = relens_of {
            lend_shape(&mut tx, earlier, number, now).await?;
        }
        if let Some(payment) = &order.payment {
            append_payment(&mut tx, number, payment, now).await?;
        }
        settle(&mut tx, key, &number.to_string(), now).await?;
        tx.commit().await?;
        Ok(Once::Now(number))
    }
}

async fn frame_of(tx: &mut Transaction<'_, Sqlite>, number: i64) -> Result<Uuid, StoreError> {
    sqlx::query_scalar!(r#"select frame_id as "id: Uuid" from job where number = ?"#, number)
        .fetch_optional(&mut **tx)
        .await?
        .ok_or(StoreError::NotFound("the earlier job"))
}

/// Gives a re-lens the shape of the earlier job, if one is on file there.
async fn lend_shape(
    tx: &mut Transaction<'_, Sqlite>,
    earlier: i64,
    number: i64,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let lent = sqlx::query!(
        "insert into job_shape (job_number, shape_id, added_at)
         select ?, shape_id, ? from job_shape where job_number = ? order by seq desc limit 1",
        number,
        now,
        earlier
    )
    .execute(&mut **tx)
    .await?
    .rows_affected();
    if lent > 0 {
        append_event(tx, number, EventKind::ShapeKept, &format!("from job {earlier}"), now).await?;
    }
    Ok(())
}

async fn insert_prescription(
    tx: &mut Transaction<'_, Sqlite>,
    customer_id: Uuid,
    prescription: &Prescription,
    now: OffsetDateTime,
) -> Result<Uuid, StoreError> {
    struct EyeColumns {
        sphere: i32,
        cylinder: i32,
        axis: Option<i32>,
        base_in: i32,
        base_up: i32,
    }
    let Pair { right, left } = prescription.eyes.as_ref().map(|eye: &EyePrescription| EyeColumns {
        sphere: eye.power.sphere().hundredths(),
        cylinder: eye.power.cylinder().hundredths(),
        axis: eye.power.axis().map(|a| a.degrees()),
        base_in: eye.prism.base_in().hundredths(),
        base_up: eye.prism.base_up().hundredths(),
    });
    let id = Uuid::now_v7();
    let far = prescription.pupil_distance;
    let (pd_right, pd_left) = (far.mono(Eye::Right).hundredths(), far.mono(Eye::Left).hundredths());
    let pd_given = given_key(far.given());
    let near = prescription.near_pupil_distance;
    let near_right = near.map(|p| p.mono(Eye::Right).hundredths());
    let near_left = near.map(|p| p.mono(Eye::Left).hundredths());
    let near_given = near.map(|p| given_key(p.given()));
    sqlx::query!(
        "insert into prescription (
            id, customer_id,
            right_sphere_hundredths, right_cylinder_hundredths, right_axis_deg,
            right_prism_in_hundredths, right_prism_up_hundredths, right_text,
            left_sphere_hundredths, left_cylinder_hundredths, left_axis_deg,
            left_prism_in_hundredths, left_prism_up_hundredths, left_text,
            prescriber, written_on, expires_on, diagnosis,
            pd_right_hundredths, pd_left_hundredths, pd_given,
            near_given, near_right_hundredths, near_left_hundredths, added_at)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        customer_id,
        right.sphere,
        right.cylinder,
        right.axis,
        right.base_in,
        right.base_up,
        prescription.typed.right,
        left.sphere,
        left.cylinder,
        left.axis,
        left.base_in,
        left.base_up,
        prescription.typed.left,
        prescription.prescriber,
        prescription.written_on,
        prescription.expires_on,
        prescription.diagnosis,
        pd_right,
        pd_left,
        pd_given,
        near_given,
        near_right,
        near_left,
        now
    )
    .execute(&mut **tx)
    .await?;
    Ok(id)
}

fn given_key(given: Given) -> &'static str {
    match given {
        Given::Both => "one",
        Given::Each => "each",
    }
}

async fn insert_job(
    tx: &mut Transaction<'_, Sqlite>,
    order: &NewOrder,
    customer_id: Uuid,
    frame_id: Uuid,
    prescription_id: Uuid,
    relens_of: Option<i64>,
    now: OffsetDateTime,
) -> Result<i64, StoreError> {
    let (made_for, design) = (order.made_for.key(), order.design.key());
    let (height_right, height_left) = (order.height.right.hundredths(), order.height.left.hundredths());
    let number = sqlx::query!(
        "insert into job (customer_id, frame_id, prescription_id, relens_of, made_for, material_id, design, coating_id,
                          tint_id, height_right_hundredths, height_left_hundredths, ordered_on, promised_on, note, ordered_at)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        customer_id,
        frame_id,
        prescription_id,
        relens_of,
        made_for,
        order.material,
        design,
        order.coating,
        order.tint,
        height_right,
        height_left,
        order.ordered_on,
        order.promised_on,
        order.note,
        now
    )
    .execute(&mut **tx)
    .await?
    .last_insert_rowid();
    Ok(number)
}

async fn insert_charge(
    tx: &mut Transaction<'_, Sqlite>,
    number: i64,
    position: i64,
    charge: &Charge,
) -> Result<(), StoreError> {
    let (kind, eye, amount) = (charge.kind.key(), charge.eye.map(|e| e.name()), charge.amount.cents());
    sqlx::query!(
        "insert into charge (job_number, position, kind, eye, what, code, amount_cents) values (?, ?, ?, ?, ?, ?, ?)",
        number,
        position,
        kind,
        eye,
        charge.what,
        charge.code,
        amount
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
