//! Kept shapes.

use time::OffsetDateTime;
use uuid::Uuid;

use super::draft::{Once, outcome, settle};
use super::event::append_event;
use super::{Store, StoreError};
use crate::desk::frame_shape::NewShape;
use crate::desk::job::EventKind;

impl Store {
    /// Keeps a shape under a job number, with the bytes it came from, and makes it the job's shape.
    pub async fn keep_shape(
        &self,
        key: &str,
        number: i64,
        shape: &NewShape,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let mut tx = self.begin().await?;
        if let Some(before) = outcome(&mut tx, key).await? {
            return Ok(Once::Before(before));
        }
        let id = Uuid::now_v7();
        let (right, left) = (shape.traces.right.to_bytes(), shape.traces.left.to_bytes());
        let (derived, dbl) = (shape.derived.map(|e| e.name()), shape.dbl.hundredths());
        sqlx::query!(
            "insert into shape (id, job_number, right_trace, left_trace, derived, dbl_hundredths, original, original_name, added_at)
             values (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            id,
            number,
            right,
            left,
            derived,
            dbl,
            shape.original,
            shape.original_name,
            now
        )
        .execute(&mut *tx)
        .await?;
        sqlx::query!("insert into job_shape (job_number, shape_id, added_at) values (?, ?, ?)", number, id, now)
            .execute(&mut *tx)
            .await?;
        append_event(&mut tx, number, EventKind::ShapeKept, &shape.original_name, now).await?;
        settle(&mut tx, key, &number.to_string(), now).await?;
        tx.commit().await?;
        Ok(Once::Now(()))
    }

    /// The name and the very bytes a shape came from.
    pub async fn get_original(&self, shape: Uuid) -> Result<(String, Vec<u8>), StoreError> {
        let row = sqlx::query!("select original_name, original from shape where id = ?", shape)
            .fetch_optional(&self.read)
            .await?
            .ok_or(StoreError::NotFound("that shape"))?;
        Ok((row.original_name, row.original))
    }

    /// The jobs in a frame that have a shape on file.
    pub async fn list_shaped_jobs(&self, frame: Uuid) -> Result<Vec<i64>, StoreError> {
        Ok(sqlx::query_scalar!(
            r#"select number as "number!: i64" from job
               where frame_id = ? and exists (select 1 from job_shape s where s.job_number = job.number)
               order by number"#,
            frame
        )
        .fetch_all(&self.read)
        .await?)
    }

    /// How many shapes were ever put under a job number: the running number of its next upload form.
    pub async fn count_shapes(&self, number: i64) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select count(*) as "n!: i64" from job_shape where job_number = ?"#, number)
            .fetch_one(&self.read)
            .await?)
    }
}
