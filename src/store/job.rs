//! One job with all that its pages show, read in one statement: each noun is JSON (migrations/README.md) for the row type
//! in the noun's own file. Lists of jobs are in [`super::job_list`].

use std::sync::Arc;

use serde::Deserialize;
use sqlx::types::Json;
use time::Date;

use super::catalogue::{MaterialRow, TreatmentRow};
use super::customer::CustomerRow;
use super::event::{EventRow, erased_on, history};
use super::fitting::{DecisionRow, PositionRow};
use super::frame::FrameRow;
use super::prescription::{EyeRow, PrescriptionRow, both_eyes, prescribed_eyes};
use super::read::{length, word};
use super::remake::RemakeRow;
use super::{Store, StoreError};
use crate::desk::catalogue::{Treatment, TreatmentKind};
use crate::desk::center_height::CenterHeight;
use crate::desk::customer::Customer;
use crate::desk::date::day;
use crate::desk::id::ShapeId;
use crate::desk::job::{EyeTask, Job, JobEye, Parent, ParentReason};
use crate::desk::money::Cents;
use crate::desk::old_record::OldRecord;
use crate::desk::order::Design;
use crate::desk::prescription::MadeFor;
use crate::optics::Pair;

/// A job with the row of each of its nouns.
struct JobRow {
    number: i64,
    revision: i64,
    lens_use: String,
    design: String,
    note: String,
    ordered_on: Date,
    promised_on: Date,
    old: Option<Json<OldRow>>,
    parent_number: Option<i64>,
    parent_reason: Option<String>,
    parent_eyes: Option<Json<Vec<EyeRow>>>,
    remake: Option<Json<RemakeRow>>,
    customer: Json<CustomerRow>,
    other_payer: Option<Json<CustomerRow>>,
    other_recipient: Option<Json<CustomerRow>>,
    frame: Json<FrameRow>,
    prescription: Json<PrescriptionRow>,
    material: Json<MaterialRow>,
    treatments: Json<Vec<JobTreatmentRow>>,
    eyes: Json<Vec<JobEyeRow>>,
    shape: Option<ShapeId>,
    position: Option<Json<PositionRow>>,
    decision: Option<Json<DecisionRow>>,
    history: Json<Vec<EventRow>>,
    charged: i64,
    paid: i64,
    sent_on: Option<Date>,
    receipt: Option<i64>,
}

impl TryFrom<JobRow> for Job {
    type Error = StoreError;
    fn try_from(row: JobRow) -> Result<Self, StoreError> {
        let (mut coating, mut second_coating, mut tint) = (None, None, None);
        for JobTreatmentRow { position, treatment } in row.treatments.0 {
            let treatment = Treatment::try_from(treatment)?;
            match (treatment.details.kind, position) {
                (TreatmentKind::Coating, 1) => coating = Some(treatment),
                (TreatmentKind::Coating, _) => second_coating = Some(treatment),
                (TreatmentKind::Tint, _) => tint = Some(treatment),
            }
        }
        let customer = Customer::from(row.customer.0);
        let other = |other: Option<Json<CustomerRow>>| other.map_or_else(|| customer.clone(), |row| row.0.into());
        let eyes = both_eyes("job", row.eyes.0, |eye| &eye.eye)?;
        let has_pd = row.prescription.has_pd();
        let prescription = match row.old {
            Some(_) => row.prescription.0.of_old_record()?,
            None => row.prescription.0.try_into()?,
        };
        Ok(Self {
            number: row.number,
            payer: other(row.other_payer),
            recipient: other(row.other_recipient),
            customer,
            frame: row.frame.0.try_into()?,
            prescription,
            made_for: word("use", &row.lens_use, MadeFor::from_key(&row.lens_use))?,
            material: row.material.0.try_into()?,
            design: word("design", &row.design, Design::from_key(&row.design))?,
            coating,
            second_coating,
            tint,
            eyes: Pair::new(eyes.right.try_into()?, eyes.left.try_into()?),
            ordered_on: row.ordered_on,
            promised_on: row.promised_on,
            note: row.note,
            revision: row.revision,
            old: row.old.map(|old| OldRecord { number: old.0.number, has_date: old.0.has_date != 0, has_pd }),
            parent: parent(row.parent_number, row.parent_reason, row.parent_eyes)?,
            remake: row.remake.map(|remake| remake.0.try_into()).transpose()?,
            shape: row.shape,
            charged: Cents::new(row.charged),
            paid: Cents::new(row.paid),
            sent_on: row.sent_on,
            receipt: row.receipt,
            vertex: row.position.as_ref().map(|position| position.0.answer()).transpose()?.flatten(),
            frame_position: row.position.map(|position| position.0.frame()).transpose()?,
            power_decision: row.decision.map(|decision| decision.0.decision()).transpose()?.flatten(),
            history: history(row.history.0)?,
        })
    }
}

/// What a job of before Rimbook has of its own.
#[derive(Deserialize)]
struct OldRow {
    number: String,
    has_date: i64,
}

/// A coating or tint of the job, and its place among those of its kind.
// The fields stand in the order of the view's array.
#[derive(Deserialize)]
struct JobTreatmentRow {
    position: i64,
    treatment: TreatmentRow,
}

// The fields stand in the order of the view's array.
#[derive(Deserialize)]
struct JobEyeRow {
    eye: String,
    task: String,
    height_hundredths: Option<i64>,
    height_from: String,
}

impl TryFrom<JobEyeRow> for JobEye {
    type Error = StoreError;
    fn try_from(row: JobEyeRow) -> Result<Self, StoreError> {
        let stated = row.height_hundredths.map(|mm| length("height", mm)).transpose()?;
        let height = match (stated, row.height_from.as_str()) {
            (Some(height), "bottom") => CenterHeight::Bottom(height),
            (Some(up), _) => CenterHeight::Middle(up),
            (None, _) => CenterHeight::Assumed,
        };
        Ok(Self { task: word("eye task", &row.task, EyeTask::from_key(&row.task))?, height })
    }
}

/// The jobs that a condition finds.
macro_rules! job_rows {
    ($where:literal, $bound:expr) => {
        sqlx::query_as!(
            JobRow,
            r#"select j.number, r.revision, r.lens_use, r.design, r.note, j.ordered_on as "ordered_on: Date",
                  r.promised_on as "promised_on: Date",
                  (select json_object('number', number, 'has_date', has_date) from old_record where job_number = j.number)
                      as "old?: Json<OldRow>",
                  j.parent_number, j.parent_reason,
                  (select p.body from job e join job_revision er on er.job_number = e.number and er.revision = e.revision
                   join prescription_eyes_json p on p.id = er.prescription_id where e.number = j.parent_number)
                      as "parent_eyes?: Json<Vec<EyeRow>>",
                  (select json_object('cause', cause, 'paid_by', paid_by, 'frame_stays', frame_stays, 'lesson', lesson)
                   from remake where job_number = j.number) as "remake?: Json<RemakeRow>",
                  (select body from customer_json where id = r.patient_id) as "customer!: Json<CustomerRow>",
                  (select body from customer_json where id = r.payer_id and r.payer_id <> r.patient_id)
                      as "other_payer?: Json<CustomerRow>",
                  (select body from customer_json where id = r.recipient_id and r.recipient_id <> r.patient_id)
                      as "other_recipient?: Json<CustomerRow>",
                  (select body from frame_json where id = r.frame_id) as "frame!: Json<FrameRow>",
                  (select body from prescription_json where id = r.prescription_id)
                      as "prescription!: Json<PrescriptionRow>",
                  (select body from material_version_json where id = r.material_version_id)
                      as "material!: Json<MaterialRow>",
                  (select body from job_treatments_json t where t.job_number = j.number and t.revision = r.revision)
                      as "treatments!: Json<Vec<JobTreatmentRow>>",
                  (select body from job_eyes_json e where e.job_number = j.number and e.revision = r.revision)
                      as "eyes!: Json<Vec<JobEyeRow>>",
                  (select shape_id from job_shape where job_number = j.number order by seq desc limit 1)
                      as "shape?: ShapeId",
                  (select body from position_of_wear_json p where p.job_number = j.number order by seq desc limit 1)
                      as "position?: Json<PositionRow>",
                  (select body from power_decision_json d where d.job_number = j.number order by seq desc limit 1)
                      as "decision?: Json<DecisionRow>",
                  (select body from job_history_json h where h.job_number = j.number)
                      as "history!: Json<Vec<EventRow>>",
                  (select coalesce(sum(amount_cents), 0) from charge where job_number = j.number) as "charged!: i64",
                  (select coalesce(sum(amount_cents), 0) from payment where job_number = j.number) as "paid!: i64",
                  (select sent_on from shipment where job_number = j.number and j.stage = 'sent'
                       order by seq desc limit 1) as "sent_on?: Date",
                  (select max(number) from receipt where job_number = j.number) as "receipt?: i64"
           from job j join job_revision r on r.job_number = j.number and r.revision = j.revision
               "# + $where,
            $bound
        )
    };
}

impl Store {
    /// One job with everything its pages show.
    ///
    /// # Errors
    ///
    /// As [`Store::get_job_or_record`], and [`StoreError::OldRecord`] for a job of before Rimbook: its lenses, its pupil distance
    /// and its bill may be unknown.
    pub async fn get_job(&self, number: i64) -> Result<Arc<Job>, StoreError> {
        let job = self.get_job_or_record(number).await?;
        if job.old.is_some() { Err(StoreError::OldRecord(number)) } else { Ok(job) }
    }

    /// One job, which may be an old record that was brought in.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] for a number that was never given, [`StoreError::Erased`] for a job whose records were erased.
    pub async fn get_job_or_record(&self, number: i64) -> Result<Arc<Job>, StoreError> {
        let row = job_rows!("where j.number = ?", number)
            .fetch_optional(&self.read)
            .await?
            .ok_or(StoreError::NotFound("that job number"))?;
        let Some(erased_on) = erased_on(&row.history) else { return Ok(Arc::new(row.try_into()?)) };
        let receipts = sqlx::query_scalar!("select number from receipt where job_number = ? order by number", number);
        let receipts = receipts.fetch_all(&self.read).await?;
        Err(StoreError::Erased { number, on: day(&erased_on), receipts })
    }

    /// Several jobs, in the order of their numbers.
    pub(super) async fn list_jobs(&self, numbers: &[i64]) -> Result<Vec<Job>, StoreError> {
        let numbers = serde_json::json!(numbers);
        job_rows!("where j.number in (select value from json_each(?)) order by j.number", numbers)
            .fetch_all(&self.read)
            .await?
            .into_iter()
            .map(Job::try_from)
            .collect()
    }
}

fn parent(
    number: Option<i64>,
    reason: Option<String>,
    eyes: Option<Json<Vec<EyeRow>>>,
) -> Result<Option<Parent>, StoreError> {
    let (Some(number), Some(reason), Some(eyes)) = (number, reason, eyes) else { return Ok(None) };
    let reason = word("parent reason", &reason, ParentReason::from_key(&reason))?;
    Ok(Some(Parent { number, reason, eyes: prescribed_eyes(eyes.0)? }))
}
