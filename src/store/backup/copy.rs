//! One moment of the book in a file of its own, and the check of such a file.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection, SqliteSynchronous};
use sqlx::{ConnectOptions, Connection};

use super::BackupError;
use crate::store::open::{MAGIC, create_private, start_of};
use crate::store::{Store, companion};

/// What a copy holds, for the line that says so.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Contents {
    /// The lab's name; empty before the first run.
    pub lab: String,
    /// How many jobs.
    pub jobs: i64,
    /// When the newest thing happened to a job, as the book writes it.
    pub newest: Option<String>,
    /// The newest migration.
    pub version: i64,
}

/// After so many steps of SQLite's machine the copy looks at the time.
const STEPS: i32 = 200;
/// The copy works so long at a stretch, then leaves the disk and the processor to the counter for as long.
const STRETCH: Duration = Duration::from_millis(4);
/// So many bytes are written before they are put on the disk, so that a writer who has to wait for the disk waits for these
/// alone.
const AT_ONCE: u64 = 4 * 1024 * 1024;

/// Copies the book while others read and write it. The new file is its owner's alone.
pub(super) async fn copy_book(book: &Path, to: &Path) -> Result<(), BackupError> {
    if !book.is_file() {
        return Err(BackupError::read(book, "there is no such file"));
    }
    create_private(to).map_err(|why| BackupError::write(to, why))?;
    let name = to.to_str().ok_or_else(|| BackupError::write(to, "the name of the file is not UTF-8"))?;
    let failed = |why: sqlx::Error| BackupError::write(to, said(&why));
    let mut db = open(book, false).await?;
    db.lock_handle().await.map_err(failed)?.set_progress_handler(STEPS, pace(to.to_owned()));
    // No macro: SQLite cannot say beforehand what a copy answers.
    sqlx::query("vacuum into ?").bind(name).execute(&mut db).await.map_err(failed)?;
    db.close().await.map_err(failed)
}

/// Keeps a long statement from taking all of the machine. Opening the copy beside SQLite is safe here, because nobody else
/// has locks on it.
fn pace(to: PathBuf) -> impl FnMut() -> bool + Send + 'static {
    let (mut since, mut on_disk, mut file) = (Instant::now(), 0, None);
    move || {
        if since.elapsed() < STRETCH {
            return true;
        }
        if file.is_none() {
            file = File::open(&to).ok();
        }
        if let Some(file) = &file {
            let written = file.metadata().map_or(0, |data| data.len());
            if written > on_disk + AT_ONCE && file.sync_data().is_ok() {
                on_disk = written;
            }
        }
        std::thread::sleep(STRETCH);
        since = Instant::now();
        true
    }
}

/// Leaves some of the processor to the counter while a copy is checked.
fn gently() -> impl FnMut() -> bool + Send + 'static {
    let mut since = Instant::now();
    move || {
        if since.elapsed() >= STRETCH {
            std::thread::sleep(STRETCH / 2);
            since = Instant::now();
        }
        true
    }
}

/// Opens a book for reading. A copy that nobody writes is opened as such, which leaves no files beside it.
async fn open(file: &Path, is_copy: bool) -> Result<SqliteConnection, BackupError> {
    let options = SqliteConnectOptions::new()
        .filename(file)
        .read_only(true)
        .immutable(is_copy)
        .foreign_keys(false)
        // The copy is put on the disk by `pace` and by its maker.
        .synchronous(SqliteSynchronous::Off)
        .busy_timeout(Duration::from_secs(30))
        // A copy takes its time.
        .disable_statement_logging();
    options.connect().await.map_err(|why| match is_copy {
        true => BackupError::bad(file, said(&why)),
        false => BackupError::read(file, said(&why)),
    })
}

/// Opens a file that is still empty, to ask it once another copy has been written into it.
pub(super) async fn open_passing(file: &Path) -> Result<SqliteConnection, BackupError> {
    open(file, false).await
}

pub(super) fn is_sqlite(file: &Path) -> Result<(), BackupError> {
    let start = start_of(file, MAGIC.len()).map_err(|why| BackupError::read(file, why))?;
    if start == MAGIC { Ok(()) } else { Err(BackupError::bad(file, "it is not a file of SQLite")) }
}

/// Reads every page of a copy and checks what is in it: the tables and indexes (`integrity_check`), and that no row points
/// at one that is not there.
pub(super) async fn check_book(file: &Path) -> Result<Contents, BackupError> {
    is_sqlite(file)?;
    if companion(file, "-wal").exists() {
        return Err(BackupError::bad(file, "it is a book in use, not a backup: make one with `rimbook backup`"));
    }
    let mut db = open(file, true).await?;
    let answer = check_opened(&mut db, file).await;
    // What was asked is answered; a failed close changes nothing.
    let _closed = db.close().await;
    answer
}

/// The same of a copy that is open; `file` is what is named where it is bad.
pub(super) async fn check_opened(db: &mut SqliteConnection, file: &Path) -> Result<Contents, BackupError> {
    let bad = |why: sqlx::Error| BackupError::bad(file, said(&why));
    db.lock_handle().await.map_err(bad)?.set_progress_handler(STEPS, gently());
    // No macros below: the file may have the tables of an earlier version.
    let kept: i64 = sqlx::query_scalar("select count(*) from sqlite_master where name in ('_sqlx_migrations', 'job')")
        .fetch_one(&mut *db)
        .await
        .map_err(bad)?;
    if kept != 2 {
        return Err(BackupError::bad(file, "it is a file of SQLite, but no book of Rimbook"));
    }
    let found: Vec<String> = sqlx::query_scalar("pragma integrity_check(1)").fetch_all(&mut *db).await.map_err(bad)?;
    if found != ["ok"] {
        return Err(BackupError::bad(file, found.join("; ").replace('\n', " ")));
    }
    let lost: Option<String> = sqlx::query_scalar("select \"table\" from pragma_foreign_key_check limit 1")
        .fetch_optional(&mut *db)
        .await
        .map_err(bad)?;
    if let Some(table) = lost {
        return Err(BackupError::bad(file, format!("a row of {table} points at a row that is not there")));
    }
    contents(db, file).await
}

async fn contents(db: &mut SqliteConnection, file: &Path) -> Result<Contents, BackupError> {
    let bad = |why: sqlx::Error| BackupError::bad(file, said(&why));
    let version: i64 = sqlx::query_scalar("select coalesce(max(version), 0) from _sqlx_migrations")
        .fetch_one(&mut *db)
        .await
        .map_err(bad)?;
    let known = Store::newest_version();
    if version > known {
        return Err(BackupError::Newer { file: file.display().to_string(), found: version, known });
    }
    let lab: Option<String> =
        sqlx::query_scalar("select name from lab where id = 1").fetch_optional(&mut *db).await.map_err(bad)?;
    let newest: Option<String> = sqlx::query_scalar("select at from job_event order by seq desc limit 1")
        .fetch_optional(&mut *db)
        .await
        .map_err(bad)?;
    let jobs = sqlx::query_scalar("select count(*) from job").fetch_one(&mut *db).await.map_err(bad)?;
    Ok(Contents { lab: lab.unwrap_or_default(), jobs, newest, version })
}

/// The database's own words, on one line.
fn said(why: &sqlx::Error) -> String {
    why.as_database_error().map_or_else(|| why.to_string(), |e| e.message().to_owned()).replace('\n', " ")
}
