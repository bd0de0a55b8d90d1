//! The jobs read lately, kept as long as nobody has written.
//!
//! A job with all that its pages show is a hundred columns of nine tables; the owner goes back and forth between the
//! pages of the few jobs on the bench. SQLite says on any connection whether another one has committed since
//! (`pragma data_version`, which sees other programs too), so one small question replaces the large one and nothing
//! stale is ever shown.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use sqlx::SqlitePool;

use super::StoreError;
use crate::desk::job::Job;

/// How many jobs are kept; a bench holds fewer.
const MOST: usize = 64;

/// Jobs read since the last write.
#[derive(Debug, Clone)]
pub(super) struct Recent {
    /// One connection, for its version counts from its own beginning.
    watch: SqlitePool,
    kept: Arc<Mutex<Kept>>,
}

#[derive(Debug, Default)]
struct Kept {
    version: i64,
    jobs: HashMap<i64, Arc<Job>>,
}

impl Recent {
    /// Nothing kept yet; `watch` is a pool of one connection that never writes.
    pub fn new(watch: SqlitePool) -> Self {
        Self { watch, kept: Arc::default() }
    }

    /// Closes the connection.
    pub async fn close(&self) {
        self.watch.close().await;
    }

    /// The version of the book now. Ask before reading what is kept under it.
    pub async fn version(&self) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar("pragma data_version").fetch_one(&self.watch).await?)
    }

    /// A job read under this version.
    pub fn find(&self, version: i64, number: i64) -> Option<Arc<Job>> {
        let kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.version == version { kept.jobs.get(&number).cloned() } else { None }
    }

    /// Keeps a job that was read after this version was asked for.
    pub fn keep(&self, version: i64, job: &Arc<Job>) {
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        if kept.version != version || kept.jobs.len() >= MOST {
            *kept = Kept { version, jobs: HashMap::new() };
        }
        kept.jobs.insert(job.number, Arc::clone(job));
    }
}
