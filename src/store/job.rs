//! One job with all that its pages show, read noun by noun on one connection. Lists of jobs are in [`super::job_list`].

use std::sync::Arc;

use sqlx::SqliteConnection;
use time::Date;
use uuid::Uuid;

use super::catalogue::{list_job_treatments, read_material};
use super::customer::read_customer;
use super::event::list_events;
use super::fitting::{find_decision, find_position};
use super::frame::read_frame;
use super::prescription::{both_eyes, read_prescription};
use super::read::{length, word};
use super::shape::find_job_shape;
use super::{Store, StoreError};
use crate::desk::catalogue::TreatmentKind;
use crate::desk::id::{CustomerId, FrameId, MaterialVersionId};
use crate::desk::job::{EventKind, EyeTask, Job, JobEye, Parent, ParentReason};
use crate::desk::money::Cents;
use crate::desk::order::Design;
use crate::desk::prescription::{MadeFor, Prescription};
use crate::optics::Pair;

/// What the job's own row and its newest revision say.
struct JobRow {
    revision: i64,
    patient_id: CustomerId,
    frame_id: FrameId,
    prescription_id: Uuid,
    material_version_id: MaterialVersionId,
    lens_use: String,
    design: String,
    note: String,
    ordered_on: Date,
    promised_on: Date,
    parent_number: Option<i64>,
    parent_reason: Option<String>,
}

struct JobEyeRow {
    eye: String,
    task: String,
    height_hundredths: Option<i64>,
}

impl TryFrom<JobEyeRow> for JobEye {
    type Error = StoreError;
    fn try_from(row: JobEyeRow) -> Result<Self, StoreError> {
        let height = row.height_hundredths.ok_or_else(|| no_height(&row.eye))?;
        Ok(Self { task: word("eye task", &row.task, EyeTask::from_key(&row.task))?, height: length("height", height)? })
    }
}

fn no_height(eye: &str) -> StoreError {
    StoreError::Unreadable { what: "height", why: format!("the {eye} eye has none") }
}

/// The money of a job and what left with it.
struct AccountRow {
    charged: i64,
    paid: i64,
    sent_on: Option<Date>,
    receipt: Option<i64>,
}

impl Store {
    /// One job with everything its pages show.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] for a number that was never given.
    pub async fn get_job(&self, number: i64) -> Result<Arc<Job>, StoreError> {
        let mut db = self.read.acquire().await?;
        Ok(Arc::new(read_job(&mut db, number).await?))
    }

    /// The prescription of one job, without the rest of it.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] for a number that was never given.
    pub async fn get_job_prescription(&self, number: i64) -> Result<Prescription, StoreError> {
        let mut db = self.read.acquire().await?;
        let row = read_row(&mut db, number).await?;
        read_prescription(&mut db, row.prescription_id).await
    }
}

async fn read_job(db: &mut SqliteConnection, number: i64) -> Result<Job, StoreError> {
    let row = read_row(db, number).await?;
    let history = list_events(db, number).await?;
    let happened = |kind| history.iter().any(|event| event.kind == kind);
    let (mut coating, mut tint) = (None, None);
    for treatment in list_job_treatments(db, number, row.revision).await? {
        match treatment.details.kind {
            TreatmentKind::Coating => coating = Some(treatment),
            TreatmentKind::Tint => tint = Some(treatment),
        }
    }
    let account = read_account(db, number).await?;
    Ok(Job {
        number,
        customer: read_customer(db, row.patient_id).await?,
        frame: read_frame(db, row.frame_id).await?,
        prescription: read_prescription(db, row.prescription_id).await?,
        made_for: word("use", &row.lens_use, MadeFor::from_key(&row.lens_use))?,
        material: read_material(db, row.material_version_id).await?,
        design: word("design", &row.design, Design::from_key(&row.design))?,
        coating,
        tint,
        eyes: read_eyes(db, number, row.revision).await?,
        ordered_on: row.ordered_on,
        promised_on: row.promised_on,
        note: row.note,
        revision: row.revision,
        parent: parent(row.parent_number, row.parent_reason)?,
        shape: if happened(EventKind::ShapeKept) { find_job_shape(db, number).await? } else { None },
        charged: Cents::new(account.charged),
        paid: Cents::new(account.paid),
        sent_on: account.sent_on,
        receipt: account.receipt,
        frame_position: find_position(db, number).await?,
        power_decision: if happened(EventKind::PowerDecided) { find_decision(db, number).await? } else { None },
        history,
    })
}

async fn read_row(db: &mut SqliteConnection, number: i64) -> Result<JobRow, StoreError> {
    sqlx::query_as!(
        JobRow,
        r#"select r.revision, r.patient_id as "patient_id: CustomerId", r.frame_id as "frame_id: FrameId",
                  r.prescription_id as "prescription_id: Uuid", r.material_version_id as "material_version_id: MaterialVersionId",
                  r.lens_use, r.design, r.note, j.ordered_on as "ordered_on: Date", r.promised_on as "promised_on: Date",
                  j.parent_number, j.parent_reason
           from job j join job_revision r on r.job_number = j.number and r.revision = j.revision
           where j.number = ?"#,
        number
    )
    .fetch_optional(db)
    .await?
    .ok_or(StoreError::NotFound("that job number"))
}

async fn read_eyes(db: &mut SqliteConnection, number: i64, revision: i64) -> Result<Pair<JobEye>, StoreError> {
    let rows = sqlx::query_as!(
        JobEyeRow,
        "select eye, task, height_hundredths from job_eye where job_number = ? and revision = ?",
        number,
        revision
    )
    .fetch_all(db)
    .await?;
    let rows = both_eyes("job", rows, |row| &row.eye)?;
    Ok(Pair::new(rows.right.try_into()?, rows.left.try_into()?))
}

async fn read_account(db: &mut SqliteConnection, number: i64) -> Result<AccountRow, StoreError> {
    Ok(sqlx::query_as!(
        AccountRow,
        r#"select (select coalesce(sum(amount_cents), 0) from charge where job_number = ?1) as "charged!: i64",
                  (select coalesce(sum(amount_cents), 0) from payment where job_number = ?1) as "paid!: i64",
                  (select sent_on from shipment where job_number = ?1 order by seq desc limit 1) as "sent_on?: Date",
                  (select max(number) from receipt where job_number = ?1) as "receipt?: i64""#,
        number
    )
    .fetch_one(db)
    .await?)
}

fn parent(number: Option<i64>, reason: Option<String>) -> Result<Option<Parent>, StoreError> {
    let (Some(number), Some(reason)) = (number, reason) else { return Ok(None) };
    Ok(Some(Parent { number, reason: word("parent reason", &reason, ParentReason::from_key(&reason))? }))
}
