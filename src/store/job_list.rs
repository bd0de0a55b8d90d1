//! Lists of jobs, a line each. Each question has its own query, so that each uses its own index.

use time::Date;

use super::read::word;
use super::{Store, StoreError};
use crate::desk::id::{CustomerId, FrameId};
use crate::desk::job::{EventKind, Failure, JobLine, Stage};
use crate::desk::parcel_return::ReturnCondition;

struct JobLineRow {
    number: i64,
    customer: String,
    frame: String,
    ordered_on: Date,
    promised_on: Date,
    sent_on: Option<Date>,
    /// Of the newest parcel that came back or was lost, of an open job.
    came_back: Option<String>,
    stage: String,
    /// The newest event about the lenses, of an open job.
    about_lenses: Option<String>,
}

impl TryFrom<JobLineRow> for JobLine {
    type Error = StoreError;
    fn try_from(row: JobLineRow) -> Result<Self, StoreError> {
        let about_lenses = row.about_lenses.map(|key| word("event", &key, EventKind::from_key(&key))).transpose()?;
        Ok(Self {
            failure: about_lenses.and_then(Failure::of),
            stage: word("stage", &row.stage, Stage::from_key(&row.stage))?,
            number: row.number,
            customer: row.customer,
            frame: row.frame,
            ordered_on: row.ordered_on,
            promised_on: row.promised_on,
            sent_on: row.sent_on,
            came_back: row
                .came_back
                .map(|key| word("condition of a parcel", &key, ReturnCondition::from_key(&key)))
                .transpose()?,
        })
    }
}

fn lines(rows: Vec<JobLineRow>) -> Result<Vec<JobLine>, StoreError> {
    rows.into_iter().map(JobLine::try_from).collect()
}

/// The lines of jobs, sent or not, that a `from` clause finds.
macro_rules! job_lines {
    ($store:ident, $from:literal, $($bound:expr),+) => {
        lines(
            sqlx::query_as!(
                JobLineRow,
                r#"select j.number as "number!: i64", c.name as customer,
                          f.maker || ' ' || f.model || iif(f.colour = '', '', ', ' || f.colour) as "frame!: String",
                          j.ordered_on as "ordered_on: Date", j.promised_on as "promised_on: Date",
                          (select sent_on from shipment where job_number = j.number and j.stage = 'sent'
                           order by seq desc limit 1) as "sent_on?: Date",
                          null as "came_back?: String", j.stage, null as "about_lenses?: String"
                   "# + $from,
                $($bound),+
            )
            .fetch_all(&$store.read)
            .await?,
        )
    };
}

impl Store {
    /// The open jobs by promised date, the earliest first.
    pub async fn list_open_jobs(&self) -> Result<Vec<JobLine>, StoreError> {
        let about_lenses: Vec<&str> =
            EventKind::ALL.iter().filter(|kind| kind.is_about_lenses()).map(|kind| kind.key()).collect();
        let about_lenses = serde_json::json!(about_lenses);
        lines(
            sqlx::query_as!(
                JobLineRow,
                r#"select j.number as "number!: i64", c.name as customer,
                          f.maker || ' ' || f.model || iif(f.colour = '', '', ', ' || f.colour) as "frame!: String",
                          j.ordered_on as "ordered_on: Date", j.promised_on as "promised_on: Date",
                          null as "sent_on?: Date",
                          (select condition from parcel_return where job_number = j.number order by shipment_seq desc limit 1)
                              as "came_back?: String", j.stage,
                          (select kind from job_event
                           where job_number = j.number and kind in (select value from json_each(?))
                           order by seq desc limit 1) as "about_lenses?: String"
                   from job j join customer c on c.id = j.patient_id join frame f on f.id = j.frame_id
                   where j.closed_at is null order by j.promised_on, j.number"#,
                about_lenses
            )
            .fetch_all(&self.read)
            .await?,
        )
    }

    /// The newest jobs of a customer.
    pub async fn list_jobs_of_customer(&self, customer: CustomerId, most: i64) -> Result<Vec<JobLine>, StoreError> {
        job_lines!(
            self,
            "from job j join customer c on c.id = j.patient_id join frame f on f.id = j.frame_id
             where j.patient_id = ? order by j.number desc limit ?",
            customer,
            most
        )
    }

    /// The newest jobs that a customer pays for and another one wears.
    pub async fn list_jobs_paid_by(&self, payer: CustomerId, most: i64) -> Result<Vec<JobLine>, StoreError> {
        job_lines!(
            self,
            "from job_revision r join job j on j.number = r.job_number and j.revision = r.revision
             join customer c on c.id = j.patient_id join frame f on f.id = j.frame_id
             where r.payer_id = ? and r.payer_id <> r.patient_id order by r.job_number desc limit ?",
            payer,
            most
        )
    }

    /// Some jobs by their numbers.
    pub async fn list_job_lines(&self, numbers: &[i64]) -> Result<Vec<JobLine>, StoreError> {
        let numbers = serde_json::json!(numbers);
        job_lines!(
            self,
            "from job j join customer c on c.id = j.patient_id join frame f on f.id = j.frame_id
             where j.number in (select value from json_each(?))",
            numbers
        )
    }

    /// The jobs that came from an earlier one, in the order of their numbers.
    pub async fn list_jobs_from(&self, earlier: i64) -> Result<Vec<i64>, StoreError> {
        Ok(sqlx::query_scalar!(
            r#"select number as "n!: i64" from job where parent_number = ? order by number"#,
            earlier
        )
        .fetch_all(&self.read)
        .await?)
    }

    /// The newest jobs in a frame with a number below `before`.
    pub async fn list_jobs_of_frame(&self, frame: FrameId, before: i64, most: i64) -> Result<Vec<JobLine>, StoreError> {
        job_lines!(
            self,
            "from job j join customer c on c.id = j.patient_id join frame f on f.id = j.frame_id
             where j.frame_id = ? and j.number < ? order by j.number desc limit ?",
            frame,
            before,
            most
        )
    }

    /// The number of a customer's newest job, whose prescription a new one is compared with. An old record counts where there is
    /// no other job.
    pub async fn find_last_job_of(&self, customer: CustomerId) -> Result<Option<i64>, StoreError> {
        Ok(sqlx::query_scalar!(
            "select number from job where patient_id = ?
               and not exists (select 1 from job_event where job_number = number and kind = 'erased')
             order by stage = 'brought_in', number desc limit 1",
            customer
        )
        .fetch_optional(&self.read)
        .await?)
    }
}
