//! The open jobs that need a lens.

use std::collections::BTreeMap;

use super::read::eye;
use super::{Store, StoreError};
use crate::desk::frame_shape::FrameShape;
use crate::desk::job::Job;
use crate::optics::Eye;

/// A job that needs lenses.
#[derive(Debug, Clone, PartialEq)]
pub struct JobInNeed {
    pub job: Job,
    pub shape: Option<FrameShape>,
    /// The eyes without a lens in hand, promised or on its way.
    pub eyes: Vec<Eye>,
}

/// Where a job stands in the book, as far as its needs follow from it: while it is the same, the needs are the same. It
/// names the newest row of everything that a job is read from ([`Store::list_jobs_in_need`]) and that a layout uses.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NeedVersion(String);

impl Store {
    /// The versions of some jobs, by number.
    pub async fn list_need_versions(&self, numbers: &[i64]) -> Result<BTreeMap<i64, NeedVersion>, StoreError> {
        let numbers = serde_json::json!(numbers);
        let rows = sqlx::query!(
            r#"select j.number as "number!: i64",
                  json_array(j.revision, j.promised_on,
                      (select max(seq) from job_event where job_number = j.number),
                      (select max(seq) from job_shape where job_number = j.number),
                      (select max(seq) from position_of_wear where job_number = j.number),
                      (select max(seq) from power_decision where job_number = j.number),
                      (select max(seq) from supplier_list where job_number = j.number),
                      (select max(seq) from frame_past where frame_id = j.frame_id),
                      (select name from customer where id = j.patient_id)) as "version!: String"
               from json_each(?) n cross join job j on j.number = n.value"#,
            numbers
        )
        .fetch_all(&self.read)
        .await?;
        Ok(rows.into_iter().map(|row| (row.number, NeedVersion(row.version))).collect())
    }

    /// The open jobs that need a lens, by promised date. An eye needs one when a lens is made for it and none is in hand,
    /// promised from the drawer or on its way from a supplier.
    pub async fn list_jobs_in_need(&self) -> Result<Vec<JobInNeed>, StoreError> {
        let needs = self.list_eyes_in_need().await?;
        self.list_jobs_of_needs(&needs).await
    }

    /// The jobs of some of the eyes in need, which stand in the order of their jobs.
    pub async fn list_jobs_of_needs(&self, needs: &[(i64, Eye)]) -> Result<Vec<JobInNeed>, StoreError> {
        let mut numbers: Vec<i64> = needs.iter().map(|(job, _)| *job).collect();
        numbers.dedup();
        let jobs = self.list_jobs(&numbers).await?;
        let shapes: Vec<_> = jobs.iter().filter_map(|job| job.shape).collect();
        let shapes = self.list_shapes(&shapes).await?;
        let mut jobs: Vec<JobInNeed> = jobs
            .into_iter()
            .map(|job| JobInNeed {
                shape: job.shape.and_then(|id| shapes.get(&id).cloned()),
                eyes: needs.iter().filter(|(number, _)| *number == job.number).map(|(_, eye)| *eye).collect(),
                job,
            })
            .collect();
        jobs.sort_by_key(|need| (need.job.promised_on, need.job.number));
        Ok(jobs)
    }

    /// The eyes in need with their jobs, the right one first.
    pub async fn list_eyes_in_need(&self) -> Result<Vec<(i64, Eye)>, StoreError> {
        // From "lenses in hand" on, every lens is here.
        let rows = sqlx::query!(
            r#"select j.number as "number!: i64", e.eye from job j indexed by job_open
               join job_eye e on e.job_number = j.number and e.revision = j.revision
               where j.closed_at is null and j.stage in ('taken', 'shape_on_file') and e.task <> 'keep'
                 and not exists (select 1 from lens_in_hand l
                                 where l.seq = (select max(seq) from lens_in_hand
                                                where job_number = j.number and eye = e.eye)
                                   and not exists (select 1 from spoiled_lens s where s.lens_seq = l.seq)
                                   and not exists (select 1 from lens_put_back b where b.lens_seq = l.seq))
                 and not exists (select 1 from lens_promise p
                                 where p.job_number = j.number and p.eye = e.eye and p.is_open = 1)
                 and not exists (select 1 from purchase_line o
                                 where o.job_number = j.number and o.eye = e.eye and o.to_come + o.here > 0)
               order by j.number, e.eye desc"#
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(|row| Ok((row.number, eye("eye", &row.eye)?))).collect()
    }
}
