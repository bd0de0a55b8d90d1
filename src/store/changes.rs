//! A number that says whether the book changed, so that what was read from it can be kept in memory while it did not. All
//! changes go through this program: it alone has the folder ([`super::folder_lock`]).

use std::ops::{Deref, DerefMut};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use sqlx::{Sqlite, SqliteConnection, Transaction};

use super::{Store, StoreError};

/// How often the book changed since the program started. What is typed and not sent yet does not count: it is saved at
/// every pause in typing, and only its own form shows it, and the list of the orders that were begun.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Changes(u64);

/// Where the changes of a book are counted. Cheap to clone.
#[derive(Debug, Clone, Default)]
pub(super) struct ChangeCount(Arc<AtomicU64>);

impl Store {
    /// How often the book changed. It is asked for before anything is read: what is read is then never older than that.
    pub fn changes(&self) -> Changes {
        Changes(self.changes.0.load(Ordering::SeqCst))
    }

    /// Begins a writing transaction that counts as a change once it is committed.
    pub(super) async fn begin(&self) -> Result<Writing, StoreError> {
        Ok(Writing { tx: self.begin_uncounted().await?, changes: self.changes.clone() })
    }
}

/// A writing transaction. Dropped before its commit, it changes nothing.
pub(super) struct Writing {
    tx: Transaction<'static, Sqlite>,
    changes: ChangeCount,
}

impl Writing {
    /// Puts it on the disk. It counts even where the answer is an error, since what became of it is not known then; and where
    /// nobody waits for the answer any more, because it may be on the disk all the same.
    pub(super) async fn commit(self) -> Result<(), StoreError> {
        let Self { tx, changes } = self;
        let commit = tokio::spawn(async move {
            let done = tx.commit().await;
            changes.0.fetch_add(1, Ordering::SeqCst);
            done
        });
        Ok(commit.await.map_err(|why| StoreError::Database(sqlx::Error::Io(why.into())))??)
    }

    /// Takes it back.
    pub(super) async fn rollback(self) -> Result<(), StoreError> {
        Ok(self.tx.rollback().await?)
    }
}

impl Deref for Writing {
    type Target = SqliteConnection;
    fn deref(&self) -> &SqliteConnection {
        &self.tx
    }
}

impl DerefMut for Writing {
    fn deref_mut(&mut self) -> &mut SqliteConnection {
        &mut self.tx
    }
}
