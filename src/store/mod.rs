//! The book: one SQLite file, and every line of SQL there is.
//!
//! One writer, several readers. A function that writes does all its work in one `BEGIN IMMEDIATE` transaction and
//! returns when SQLite has it on the disk (WAL with `synchronous=FULL`), so a page never says "kept" too early.
//! Functions are `find_` (may be absent), `get_` (absence is an error), `list_`, `insert_`, `append_`. A function that
//! finishes a form takes the form's key and does the work at most once: see [`once`].

use std::fs;
use std::path::Path;
use std::time::Duration;

use sqlx::migrate::Migrator;
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous};
use sqlx::{Sqlite, SqlitePool, Transaction};

mod account;
mod attachment;
pub mod bill;
mod bookkeeping;
pub mod bulk;
mod cancellation;
mod catalogue;
mod correction;
mod customer;
pub mod cut;
pub mod delay;
pub mod draft;
mod drawer;
pub mod error;
mod event;
mod fitting;
mod frame;
mod id;
mod impact;
mod job;
mod job_list;
mod lab;
pub mod layout;
pub mod lens;
mod need;
pub mod once;
mod open_balance;
mod order;
mod own_frame;
mod packing;
mod parcel_return;
mod payment;
mod people;
mod prescription;
mod process_spread;
pub mod promise;
pub mod purchase;
mod read;
pub mod receipt;
mod refund;
pub mod remake;
mod revision;
pub mod search;
mod shape;
pub mod shipment;
mod stamp;
mod supplier;
pub mod supplier_list;
pub mod takings;
pub mod verification;

pub use error::{OpenError, StoreError};

static MIGRATIONS: Migrator = sqlx::migrate!();

/// The open book. Cheap to clone.
#[derive(Debug, Clone)]
pub struct Store {
    read: SqlitePool,
    write: SqlitePool,
}

/// How many pages may read at one time.
const READERS: u32 = 4;

/// The file's name in the data folder.
pub const FILE_NAME: &str = "rimbook.db";

impl Store {
    /// Opens the book in `folder`, making both if they are not there, and brings its tables up to date.
    ///
    /// The folder and the file are readable by their owner alone: they hold health data.
    ///
    /// # Errors
    ///
    /// [`OpenError`], each variant a line for the terminal.
    pub async fn open(folder: &Path) -> Result<Self, OpenError> {
        let folder_error = |why| OpenError::Folder { folder: folder.display().to_string(), why };
        make_private_folder(folder).map_err(folder_error)?;
        Self::open_file(&folder.join(FILE_NAME)).await
    }

    /// Opens the book in a file, making the file if it is not there, and brings its tables up to date.
    ///
    /// # Errors
    ///
    /// [`OpenError`].
    pub async fn open_file(path: &Path) -> Result<Self, OpenError> {
        let file = path.display().to_string();
        make_private_file(path).map_err(|why| OpenError::Folder { folder: file.clone(), why })?;
        let not_a_book = |e: sqlx::Error| OpenError::NotABook { file: file.clone(), why: e.to_string() };
        let options = SqliteConnectOptions::new()
            .filename(path)
            .journal_mode(SqliteJournalMode::Wal)
            // FULL, not NORMAL: in WAL mode NORMAL may lose the last commit on a power cut.
            .synchronous(SqliteSynchronous::Full)
            .foreign_keys(true)
            .busy_timeout(Duration::from_secs(5));
        // A connection to a file does not go stale: asking each one before use would double the cost of a read.
        let pool = || SqlitePoolOptions::new().test_before_acquire(false);
        let write =
            pool().max_connections(1).min_connections(1).connect_with(options.clone()).await.map_err(not_a_book)?;
        refuse_other_schemas(&write, &file).await?;
        MIGRATIONS.run(&write).await.map_err(|e| OpenError::NotABook { file: file.clone(), why: e.to_string() })?;
        check_settings(&write, &file).await?;
        let not_indexed = |e: StoreError| OpenError::NotABook { file: file.clone(), why: e.to_string() };
        search::keep_words_of_old_book(&write).await.map_err(not_indexed)?;
        // 16 MiB for each reader: the inner pages of the indexes of a large book stay in memory.
        let reading = options.pragma("query_only", "on").pragma("cache_size", "-16384");
        let read = pool().max_connections(READERS).connect_with(reading).await.map_err(not_a_book)?;
        Ok(Self { read, write })
    }

    /// Closes every connection, so that the file stands alone.
    pub async fn close(&self) {
        self.read.close().await;
        self.write.close().await;
    }

    /// Begins a writing transaction. IMMEDIATE: a deferred one that upgrades can fail as busy half-way.
    async fn begin(&self) -> Result<Transaction<'static, Sqlite>, StoreError> {
        Ok(self.write.begin_with("BEGIN IMMEDIATE").await?)
    }
}

/// Refuses a book made by a later Rimbook, and one made before the schema was started afresh.
async fn refuse_other_schemas(pool: &SqlitePool, file: &str) -> Result<(), OpenError> {
    let not_a_book = |e: sqlx::Error| OpenError::NotABook { file: file.to_owned(), why: e.to_string() };
    let kept: i64 =
        sqlx::query_scalar("select count(*) from sqlite_master where type = 'table' and name = '_sqlx_migrations'")
            .fetch_one(pool)
            .await
            .map_err(not_a_book)?;
    if kept == 0 {
        return Ok(());
    }
    let found: i64 = sqlx::query_scalar("select coalesce(max(version), 0) from _sqlx_migrations")
        .fetch_one(pool)
        .await
        .map_err(not_a_book)?;
    let known = MIGRATIONS.iter().map(|m| m.version).max().unwrap_or(0);
    if found > known {
        return Err(OpenError::Newer { file: file.to_owned(), found, known });
    }
    let first: Option<Vec<u8>> = sqlx::query_scalar("select checksum from _sqlx_migrations where version = 1")
        .fetch_optional(pool)
        .await
        .map_err(not_a_book)?;
    let ours = MIGRATIONS.iter().find(|m| m.version == 1).map(|m| m.checksum.to_vec());
    if first.is_some() && first != ours {
        return Err(OpenError::Older { file: file.to_owned() });
    }
    Ok(())
}

/// Reads the settings back: asking for WAL is not the same as having it (a network folder refuses).
async fn check_settings(pool: &SqlitePool, file: &str) -> Result<(), OpenError> {
    let not_a_book = |e: sqlx::Error| OpenError::NotABook { file: file.to_owned(), why: e.to_string() };
    let journal: String = sqlx::query_scalar("pragma journal_mode").fetch_one(pool).await.map_err(not_a_book)?;
    let synchronous: i64 = sqlx::query_scalar("pragma synchronous").fetch_one(pool).await.map_err(not_a_book)?;
    let foreign_keys: i64 = sqlx::query_scalar("pragma foreign_keys").fetch_one(pool).await.map_err(not_a_book)?;
    for (setting, found, wanted) in [
        ("journal_mode", journal, "wal"),
        ("synchronous", synchronous.to_string(), "2"),
        ("foreign_keys", foreign_keys.to_string(), "1"),
    ] {
        if found != wanted {
            return Err(OpenError::Setting { file: file.to_owned(), setting, found, wanted });
        }
    }
    Ok(())
}

#[cfg(unix)]
fn make_private_folder(folder: &Path) -> std::io::Result<()> {
    use std::os::unix::fs::{DirBuilderExt, PermissionsExt};
    if folder.is_dir() {
        // A folder the owner made themselves keeps its rights; the file in it is private all the same.
        let probe = folder.join(".rimbook-can-write");
        fs::write(&probe, b"")?;
        fs::set_permissions(&probe, fs::Permissions::from_mode(0o600))?;
        return fs::remove_file(&probe);
    }
    fs::DirBuilder::new().recursive(true).mode(0o700).create(folder)
}

#[cfg(not(unix))]
fn make_private_folder(folder: &Path) -> std::io::Result<()> {
    fs::create_dir_all(folder)
}

/// SQLite gives its `-wal` and `-shm` files the rights of the database, so setting those once is enough.
#[cfg(unix)]
fn make_private_file(path: &Path) -> std::io::Result<()> {
    use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
    fs::OpenOptions::new().create(true).append(true).mode(0o600).open(path)?;
    fs::set_permissions(path, fs::Permissions::from_mode(0o600))
}

#[cfg(not(unix))]
fn make_private_file(path: &Path) -> std::io::Result<()> {
    fs::OpenOptions::new().create(true).append(true).open(path).map(|_| ())
}
