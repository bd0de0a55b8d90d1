//! Opens the book: what is there is looked at before anything is written, and a new book is made beside its place.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::Path;
use std::time::Duration;

use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous};
use sqlx::{ConnectOptions, Connection, SqliteConnection, SqlitePool};

use super::changes::ChangeCount;
use super::fresh_file::{remove, remove_with_companions, take_name};
use super::health::{self, Health};
use super::{FILE_NAME, MIGRATIONS, OpenError, Store, StoreError, companion, customer, search};

/// How many pages may read at one time.
const READERS: u32 = 4;

/// Rows that a reader may have ready.
const ROWS_AT_ONCE: usize = 1000;

/// A book up to this size is checked before it is opened; a larger one while its pages are open already. A second or
/// so of waiting on an old disk.
const CHECKED_BEFORE_BYTES: u64 = 128 * 1024 * 1024;

/// Every database of SQLite begins so (the file format of SQLite, 1.3.1).
pub(super) const MAGIC: &[u8] = b"SQLite format 3\0";

impl Store {
    /// Opens the book in `folder`, making both if they are not there, and brings its tables up to date.
    ///
    /// The folder and the file are readable by their owner alone: they hold health data.
    ///
    /// # Errors
    ///
    /// [`OpenError`], each variant a line for the terminal.
    pub async fn open(folder: &Path) -> Result<Self, OpenError> {
        Self::open_in(folder, READERS).await
    }

    /// Opens the book as [`Store::open`] does, but with one reader: a command or a test asks one thing at a time, and each
    /// reader takes time to open.
    ///
    /// # Errors
    ///
    /// [`OpenError`].
    pub async fn open_for_one(folder: &Path) -> Result<Self, OpenError> {
        Self::open_in(folder, 1).await
    }

    async fn open_in(folder: &Path, readers: u32) -> Result<Self, OpenError> {
        make_private_folder(folder).map_err(|why| cannot_write(folder, why))?;
        Self::open_with(&folder.join(FILE_NAME), readers).await
    }

    /// Opens the book in a file, making the file if it is not there, and brings its tables up to date. A file that is
    /// there is read first, and is not touched unless it is a whole book that this version knows.
    ///
    /// # Errors
    ///
    /// [`OpenError`].
    pub async fn open_file(path: &Path) -> Result<Self, OpenError> {
        Self::open_with(path, READERS).await
    }

    async fn open_with(path: &Path, readers: u32) -> Result<Self, OpenError> {
        let is_large = if path.symlink_metadata().is_ok() {
            refuse_what_is_no_book(path).await?
        } else {
            make_book(path).await?;
            false
        };
        let not_a_book = |e: sqlx::Error| not_a_book(path, e);
        make_private(path).map_err(|why| cannot_write(path, why))?;
        let options = options(path);
        let write = writers().connect_with(options.clone()).await.map_err(not_a_book)?;
        MIGRATIONS.run(&write).await.map_err(|why| not_a_book(why.into()))?;
        check_settings(&write, path).await?;
        search::keep_words_of_old_book(&write).await.map_err(|why| refused(path, why))?;
        search::overwrite_words(&write).await.map_err(|why| refused(path, why))?;
        customer::renew_name_keys(&write).await.map_err(|why| refused(path, why))?;
        // 5 MiB for each reader: the inner pages of the indexes of a large book stay in memory.
        // A list comes over in one go: with a small buffer, the thread that reads and the one that takes wait for each other.
        let reading = options.pragma("query_only", "on").pragma("cache_size", "-5120").row_buffer_size(ROWS_AT_ONCE);
        let read =
            pool().max_connections(readers).min_connections(readers).connect_with(reading).await.map_err(not_a_book)?;
        Ok(Self { file: path.into(), read, write, health: Health::of(path, is_large), changes: ChangeCount::default() })
    }
}

/// How the book is opened for writing.
fn options(path: &Path) -> SqliteConnectOptions {
    SqliteConnectOptions::new()
        .filename(path)
        .journal_mode(SqliteJournalMode::Wal)
        // FULL, not NORMAL: in WAL mode NORMAL may lose the last commit on a power cut.
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true)
        // What is deleted is overwritten: a name that was erased is not to be found in an unused part of the file.
        .pragma("secure_delete", "on")
        .busy_timeout(Duration::from_secs(5))
}

/// Connections stay open as long as the program: one that is opened anew by name might find another file. A connection
/// to a file does not go stale either: asking each one before use would double the cost of a read.
fn pool() -> SqlitePoolOptions {
    SqlitePoolOptions::new()
        .test_before_acquire(false)
        .idle_timeout(None)
        .max_lifetime(None)
        .acquire_timeout(Duration::from_secs(15))
}

/// One connection writes. When the disk is full, SQLite gives up the transaction by itself, and the connection is then
/// counted as inside one for ever: it is thrown away and another is opened.
fn writers() -> SqlitePoolOptions {
    pool().max_connections(1).min_connections(1).after_release(|connection, _| {
        Box::pin(async move {
            // A rollback that waits in the queue is done before the answer to this.
            connection.ping().await?;
            Ok(!connection.is_in_transaction())
        })
    })
}

/// Makes an empty book beside its place and gives it its name when it is whole, so that a start that was cut off
/// leaves no book that is half made.
async fn make_book(path: &Path) -> Result<(), OpenError> {
    if companion(path, "-wal").metadata().is_ok_and(|log| log.len() > 0) {
        return Err(OpenError::Lost { file: path.display().to_string(), backup: newest_backup(path).await });
    }
    let unfinished = companion(path, ".new");
    let io_error = |why| cannot_write(path, why);
    remove_with_companions(&unfinished).map_err(io_error)?;
    create_private(&unfinished).map_err(io_error)?;
    let pool = writers().connect_with(options(&unfinished)).await.map_err(|e| not_a_book(path, e))?;
    MIGRATIONS.run(&pool).await.map_err(|why| not_a_book(path, why.into()))?;
    pool.close().await;
    take_name(&unfinished, path).map_err(io_error)
}

/// Reads a file that is there without changing it. Answers whether it is so large that it is checked later.
async fn refuse_what_is_no_book(path: &Path) -> Result<bool, OpenError> {
    let damaged = async |why: String| {
        let backup = newest_backup(path).await;
        OpenError::Damaged { file: path.display().to_string(), why, backup }
    };
    let start = start_of(path, MAGIC.len()).map_err(|why| cannot_write(path, why))?;
    match start.as_slice() {
        [] => return Err(damaged("it is empty".to_owned()).await),
        start if start.iter().all(|byte| *byte == 0) => return Err(damaged("it begins with zeros".to_owned()).await),
        start if start != MAGIC => return Err(refused(path, "it is no book of Rimbook")),
        _ => {}
    }
    let mut book = match read_only(path).await {
        Ok(book) => book,
        Err(why) => return Err(damaged(why.to_string()).await),
    };
    let schema = match schema_of(&mut book).await {
        Ok(schema) => schema,
        Err(why) => return Err(damaged(why.to_string()).await),
    };
    schema.refuse_others(path)?;
    let length = |file: &Path| file.metadata().map_or(0, |m| m.len());
    let is_large = length(path) + length(&companion(path, "-wal")) > CHECKED_BEFORE_BYTES;
    let fault = if is_large { None } else { health::fault_of(&mut book, false).await };
    book.close().await.map_err(|e| not_a_book(path, e))?;
    match fault {
        Some(why) => Err(damaged(why).await),
        None => Ok(is_large),
    }
}

/// The first bytes of a file, as many as there are.
pub(super) fn start_of(file: &Path, length: usize) -> io::Result<Vec<u8>> {
    let mut start = Vec::with_capacity(length);
    File::open(file)?.take(length as u64).read_to_end(&mut start)?;
    Ok(start)
}

/// Opens a file to look at it alone.
pub(super) async fn read_only(path: &Path) -> Result<SqliteConnection, sqlx::Error> {
    SqliteConnectOptions::new().filename(path).read_only(true).busy_timeout(Duration::from_secs(5)).connect().await
}

/// What a file says of the migrations it was made with.
struct Schema {
    /// Their numbers and hashes; nothing where it is another program's file.
    applied: Vec<(i64, Vec<u8>)>,
}

async fn schema_of(book: &mut SqliteConnection) -> Result<Schema, sqlx::Error> {
    let kept: i64 =
        sqlx::query_scalar("select count(*) from sqlite_master where type = 'table' and name = '_sqlx_migrations'")
            .fetch_one(&mut *book)
            .await?;
    if kept == 0 {
        return Ok(Schema { applied: Vec::new() });
    }
    let applied = sqlx::query_as("select version, checksum from _sqlx_migrations order by version");
    Ok(Schema { applied: applied.fetch_all(book).await? })
}

impl Schema {
    /// Refuses another program's file, a book of a later Rimbook, and one made before the schema was started afresh.
    fn refuse_others(&self, path: &Path) -> Result<(), OpenError> {
        let file = path.display().to_string();
        let Some((found, _)) = self.applied.last() else {
            return Err(refused(path, "it was made by another program"));
        };
        let known = Store::newest_version();
        if *found > known {
            return Err(OpenError::Newer { file, found: *found, known });
        }
        let ours = |version: i64| MIGRATIONS.iter().find(|m| m.version == version).map(|m| m.checksum.as_ref());
        if self.applied.iter().any(|(version, checksum)| ours(*version) != Some(checksum)) {
            return Err(OpenError::Older { file });
        }
        Ok(())
    }
}

/// Reads the settings back: asking for WAL is not the same as having it (a network folder refuses).
async fn check_settings(pool: &SqlitePool, path: &Path) -> Result<(), OpenError> {
    let not_a_book = |e: sqlx::Error| not_a_book(path, e);
    let journal: String = sqlx::query_scalar("pragma journal_mode").fetch_one(pool).await.map_err(not_a_book)?;
    let synchronous: i64 = sqlx::query_scalar("pragma synchronous").fetch_one(pool).await.map_err(not_a_book)?;
    let foreign_keys: i64 = sqlx::query_scalar("pragma foreign_keys").fetch_one(pool).await.map_err(not_a_book)?;
    for (setting, found, wanted) in [
        ("journal_mode", journal, "wal"),
        ("synchronous", synchronous.to_string(), "2"),
        ("foreign_keys", foreign_keys.to_string(), "1"),
    ] {
        if found != wanted {
            return Err(OpenError::Setting { file: path.display().to_string(), setting, found, wanted });
        }
    }
    Ok(())
}

/// The newest backup that is whole, in words for the line of the terminal.
async fn newest_backup(path: &Path) -> String {
    match health::newest_good_backup(path).await {
        Some(backup) => format!("The newest good backup is {}", backup.display()),
        None => "No good backup was found beside it".to_owned(),
    }
}

fn cannot_write(path: &Path, why: io::Error) -> OpenError {
    OpenError::Folder { folder: path.display().to_string(), why }
}

fn not_a_book(path: &Path, why: sqlx::Error) -> OpenError {
    match StoreError::from(why) {
        StoreError::Database(why) => refused(path, why),
        why => refused(path, why),
    }
}

fn refused(path: &Path, why: impl ToString) -> OpenError {
    OpenError::NotABook { file: path.display().to_string(), why: why.to_string() }
}

/// Makes the folder, or tries whether a folder that is there can be written.
///
/// # Errors
///
/// The system's.
pub fn make_private_folder(folder: &Path) -> io::Result<()> {
    if folder.is_dir() { try_to_write(folder) } else { new_private_folder(folder) }
}

/// A folder the owner made themselves keeps its rights; the file in it is private all the same. The file tried with is
/// a new one: a link of that name is not followed.
fn try_to_write(folder: &Path) -> io::Result<()> {
    let probe = folder.join(".rimbook-can-write");
    remove(&probe)?;
    create_private(&probe)?;
    fs::remove_file(probe)
}

#[cfg(unix)]
fn new_private_folder(folder: &Path) -> io::Result<()> {
    use std::os::unix::fs::DirBuilderExt;
    fs::DirBuilder::new().recursive(true).mode(0o700).create(folder)
}

#[cfg(not(unix))]
fn new_private_folder(folder: &Path) -> io::Result<()> {
    fs::create_dir_all(folder)
}

/// Makes a file that was not there, for its owner alone.
pub(super) fn create_private(path: &Path) -> io::Result<()> {
    let mut how = fs::OpenOptions::new();
    how.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut how, 0o600);
    how.open(path).map(|_| ())
}

/// SQLite gives its `-wal` and `-shm` files the rights of the database, so setting those once is enough.
fn make_private(path: &Path) -> io::Result<()> {
    // Opened for writing: a file that cannot be written is said before the pages are open.
    fs::OpenOptions::new().append(true).open(path)?;
    #[cfg(unix)]
    fs::set_permissions(path, std::os::unix::fs::PermissionsExt::from_mode(0o600))?;
    Ok(())
}
