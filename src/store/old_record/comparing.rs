//! Imports whose shapes are not compared with those on file yet, so that a stop of the program does not end it.

use std::ops::RangeInclusive;

use crate::desk::id::ShapeId;
use crate::store::shape::{ShapeTwin, insert_twins};
use crate::store::{Store, StoreError};

/// Some jobs whose shapes are to be compared.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Uncompared {
    /// The import that brought them in.
    import: i64,
    pub jobs: RangeInclusive<i64>,
}

impl Store {
    /// The next jobs of an import whose shapes are to be compared.
    pub async fn find_uncompared(&self, most: i64) -> Result<Option<Uncompared>, StoreError> {
        let row = sqlx::query!("select import_seq, next_job, last_job from old_uncompared order by import_seq limit 1");
        let row = row.fetch_optional(&self.read).await?;
        Ok(row.map(|row| Uncompared {
            import: row.import_seq,
            jobs: row.next_job..=row.last_job.min(row.next_job + most - 1),
        }))
    }

    /// Notes what the shapes of some jobs look like, and that these jobs are done.
    pub async fn keep_compared(
        &self,
        done: &Uncompared,
        twins: &[(ShapeId, Vec<ShapeTwin>)],
    ) -> Result<(), StoreError> {
        let next = done.jobs.end() + 1;
        let mut tx = self.begin().await?;
        for (shape, twins) in twins {
            insert_twins(&mut tx, *shape, twins).await?;
        }
        sqlx::query!("update old_uncompared set next_job = ?2 where import_seq = ?1", done.import, next)
            .execute(&mut *tx)
            .await?;
        sqlx::query!("delete from old_uncompared where next_job > last_job").execute(&mut *tx).await?;
        tx.commit().await
    }
}
