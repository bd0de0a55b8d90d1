//! The book: one SQLite file, and every line of SQL there is.
//!
//! One writer, several readers. A function that writes does all its work in one `BEGIN IMMEDIATE` transaction and
//! returns when SQLite has it on the disk (WAL with `synchronous=FULL`), so a page never says "kept" too early.
//! Functions are `find_` (may be absent), `get_` (absence is an error), `list_`, `insert_`, `append_`. A function that
//! finishes a form takes the form's key and does the work at most once: see [`once`].

use std::ffi::OsString;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use sqlx::migrate::Migrator;
use sqlx::{Sqlite, SqlitePool, Transaction};

mod account;
mod attachment;
pub mod backup;
pub mod bill;
mod bookkeeping;
pub mod bulk;
mod cancellation;
mod catalogue;
pub mod changes;
mod correction;
mod customer;
pub mod cut;
pub mod delay;
pub mod draft;
mod drawer;
pub mod erasure;
pub mod error;
mod event;
mod fitting;
pub mod folder_lock;
mod frame;
pub mod fresh_file;
mod handover;
pub mod health;
mod id;
mod impact;
mod job;
mod job_list;
mod lab;
pub mod layout;
pub mod lens;
pub mod lens_promise;
pub mod need;
pub mod old_record;
pub mod once;
mod open;
mod open_balance;
mod order;
mod own_frame;
mod packing;
mod parcel_return;
mod payment;
mod people;
mod prescription;
mod process_spread;
pub mod purchase;
mod read;
pub mod receipt;
mod refund;
pub mod remake;
mod revision;
pub mod screen;
pub mod search;
pub mod shape;
pub mod shipment;
mod stamp;
mod supplier;
pub mod supplier_list;
pub mod table_walk;
pub mod takings;
pub mod verification;

pub use error::{OpenError, StoreError};
pub use open::make_private_folder;

static MIGRATIONS: Migrator = sqlx::migrate!();

/// The open book. Cheap to clone.
#[derive(Debug, Clone)]
pub struct Store {
    file: Arc<Path>,
    read: SqlitePool,
    write: SqlitePool,
    health: health::Health,
    changes: changes::ChangeCount,
}

/// How long the last work of a program that stops may take.
const CLOSING: Duration = Duration::from_secs(2);

/// The file's name in the data folder.
pub const FILE_NAME: &str = "rimbook.db";

impl Store {
    /// The newest version of the tables that this program knows.
    pub fn newest_version() -> i64 {
        MIGRATIONS.iter().map(|m| m.version).max().unwrap_or(0)
    }

    /// Closes every connection, so that the file stands alone. A page that still reads is not waited for: then what
    /// stands in the log is moved into the file all the same.
    pub async fn close(&self) {
        let settled = tokio::time::timeout(CLOSING, self.settle()).await;
        if !matches!(settled, Ok(Ok(true))) {
            tracing::debug!("the log could not be emptied; the next start reads it");
        }
        // One after the other: the last connection removes the log, which fails where another is being closed meanwhile.
        let close = async {
            self.read.close().await;
            self.write.close().await;
        };
        let _ = tokio::time::timeout(CLOSING, close).await;
    }

    /// The folder that the book is in.
    pub fn folder(&self) -> &Path {
        fresh_file::folder_of(&self.file)
    }

    /// Begins a writing transaction that does not count as a change of the book ([`changes`]). IMMEDIATE: a deferred one
    /// that upgrades can fail as busy half-way.
    async fn begin_uncounted(&self) -> Result<Transaction<'static, Sqlite>, StoreError> {
        self.must_be_sound().await?;
        Ok(self.write.begin_with("BEGIN IMMEDIATE").await?)
    }
}

/// A file that SQLite keeps beside another: `-wal`, `-shm`, `-journal`. An empty end is the file itself.
fn companion(file: &Path, end: &str) -> PathBuf {
    let mut name = OsString::from(file);
    name.push(end);
    name.into()
}
