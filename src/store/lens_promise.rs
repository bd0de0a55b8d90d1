//! Lenses of the drawer that are promised to an eye of a job. The book itself refuses to promise more than there are.

use sqlx::SqliteConnection;
use time::OffsetDateTime;

use super::event::must_stand;
use super::once::{Done, Once};
use super::read::eye;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::id::DrawerLensId;
use crate::desk::step::Step;
use crate::optics::{Eye, Pair};

/// A lens that the drawer keeps for an eye of a job.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LensPromise {
    pub job: i64,
    pub eye: Eye,
    pub lens: DrawerLensId,
}

impl Store {
    /// Every open promise, by job.
    pub async fn list_promises(&self) -> Result<Vec<LensPromise>, StoreError> {
        let rows = sqlx::query!(
            r#"select job_number, eye, drawer_lens_id as "lens: DrawerLensId" from lens_promise
               where is_open = 1 order by job_number, eye desc"#
        )
        .fetch_all(&self.read)
        .await?;
        let promise = |job, key: String, lens| Ok(LensPromise { job, eye: eye("eye", &key)?, lens });
        rows.into_iter().map(|row| promise(row.job_number, row.eye, row.lens)).collect()
    }

    /// How often a lens was promised: the running number of the form that promises.
    pub async fn count_promises(&self) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select coalesce(max(seq), 0) as "n!: i64" from lens_promise"#)
            .fetch_one(&self.read)
            .await?)
    }

    /// The lens promised to each eye of a job.
    pub async fn find_promises(&self, job: i64) -> Result<Pair<Option<DrawerLensId>>, StoreError> {
        let rows = sqlx::query!(
            r#"select eye, drawer_lens_id as "lens: DrawerLensId" from lens_promise where job_number = ? and is_open = 1"#,
            job
        )
        .fetch_all(&self.read)
        .await?;
        let mut pair = Pair::new(None, None);
        for row in rows {
            match eye("eye", &row.eye)? {
                Eye::Right => pair.right = Some(row.lens),
                Eye::Left => pair.left = Some(row.lens),
            }
        }
        Ok(pair)
    }

    /// Promises lenses of the drawer to eyes of jobs; another lens promised to the same eye is free again.
    ///
    /// # Errors
    ///
    /// [`StoreError::OutOfRange`] when all lenses of a kind are promised already.
    pub async fn promise_lenses(
        &self,
        key: &str,
        promises: &[LensPromise],
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, None, now, async |tx| {
            for promise in promises {
                must_stand(tx, promise.job, Step::Lenses).await?;
                promise_lens(tx, promise, now).await?;
            }
            Ok(Done::new((), promises.len()))
        })
        .await
    }

    /// Sets what the drawer keeps for the eyes of a job; `None` frees what was kept.
    ///
    /// # Errors
    ///
    /// As [`Store::promise_lenses`].
    pub async fn set_promises(
        &self,
        key: &str,
        job: i64,
        lenses: &Pair<Option<DrawerLensId>>,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((job, Step::Lenses)), now, async |tx| {
            // First all are free, so that the eyes can change places.
            release_lenses(tx, job).await?;
            for (eye, lens) in lenses.iter() {
                if let Some(lens) = *lens {
                    promise_lens(tx, &LensPromise { job, eye, lens }, now).await?;
                }
            }
            Ok(Done::new((), job))
        })
        .await
    }
}

pub(super) async fn promise_lens(
    tx: &mut SqliteConnection,
    promise: &LensPromise,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    release_lens(tx, promise.job, promise.eye).await?;
    let (eye, at) = (promise.eye.name(), Stamp(now));
    sqlx::query!(
        "insert into lens_promise (drawer_lens_id, job_number, eye, at) values (?, ?, ?, ?)",
        promise.lens,
        promise.job,
        eye,
        at
    )
    .execute(tx)
    .await?;
    Ok(())
}

/// Frees the lens that was promised to an eye of a job, if any.
pub(super) async fn release_lens(tx: &mut SqliteConnection, job: i64, eye: Eye) -> Result<(), StoreError> {
    let eye = eye.name();
    sqlx::query!("update lens_promise set is_open = 0 where job_number = ? and eye = ? and is_open = 1", job, eye)
        .execute(tx)
        .await?;
    Ok(())
}

/// Frees all that the drawer keeps for a job. When a job closes, the book does it by itself.
pub(super) async fn release_lenses(tx: &mut SqliteConnection, job: i64) -> Result<(), StoreError> {
    for eye in Eye::BOTH {
        release_lens(tx, job, eye).await?;
    }
    Ok(())
}
