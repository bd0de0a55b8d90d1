//! Copies of the book: made while it is in use, checked, locked on request, restored.
//!
//! SQLite writes the copy itself (`VACUUM INTO`): what it holds is one moment of the book, whoever writes meanwhile. The file
//! of a book that is open is never opened by another means than SQLite: on Unix, closing it again would take away the locks
//! of every connection of this program.

use std::io;
use std::path::Path;

use thiserror::Error;
use time::OffsetDateTime;

use super::{FILE_NAME, companion, fresh_file, make_private_folder};

mod copy;
mod passing;
mod seal;
mod setting;
mod shelf;
mod sum;

pub use copy::Contents;
pub use seal::{Key, Seal, make_key, read_recipient};
pub use setting::{make_on, shelf_of_book};
pub use shelf::{FoundBackup, Shelf, default_folder, folder_beside, newest_good};

use self::copy::{check_book, check_opened, copy_book, is_sqlite};
use self::passing::Passing;
use self::sum::Sum;

/// Why a copy was not made, or cannot be used. Each is one line.
#[derive(Debug, Error)]
pub enum BackupError {
    /// The system refused to write.
    #[error("cannot write {file}: {why}")]
    Write {
        /// The file or folder.
        file: String,
        /// What the system or SQLite said.
        why: String,
    },
    /// The system refused to read.
    #[error("cannot read {file}: {why}")]
    Read {
        /// The file.
        file: String,
        /// What the system or SQLite said.
        why: String,
    },
    /// Something else, or a broken copy.
    #[error("{file} is no good backup: {why}")]
    Bad {
        /// The file.
        file: String,
        /// What is wrong with it.
        why: String,
    },
    /// Made by a later Rimbook.
    #[error("{file} was made by a newer Rimbook (its version {found}, this one knows {known}): use that one")]
    Newer {
        /// The file.
        file: String,
        /// Version of the newest migration in it.
        found: i64,
        /// Version of our newest migration.
        known: i64,
    },
    /// It is encrypted and nothing was given to open it with.
    #[error("{0} is encrypted: give its pass phrase (--passphrase-file FILE) or its key (--key FILE)")]
    Sealed(String),
    /// What was given does not open it, or it was changed.
    #[error("{file} cannot be opened with this pass phrase or key: {why}")]
    NotOpened {
        /// The file.
        file: String,
        /// What was said.
        why: String,
    },
    /// A pass phrase or a key that is none.
    #[error("{0}")]
    Key(String),
    /// A restore never overwrites a book.
    #[error(
        "there is a book in {0} already: choose an empty folder, or add --replace, which keeps that book under another name"
    )]
    BookThere(String),
}

impl BackupError {
    fn write(file: &Path, why: impl ToString) -> Self {
        Self::Write { file: file.display().to_string(), why: why.to_string() }
    }

    fn read(file: &Path, why: impl ToString) -> Self {
        Self::Read { file: file.display().to_string(), why: why.to_string() }
    }

    fn bad(file: &Path, why: impl ToString) -> Self {
        Self::Bad { file: file.display().to_string(), why: why.to_string() }
    }
}

/// The copy beside the book that an encrypted backup is made of.
const PLAIN_COPY: &str = "rimbook.db.backup";

/// Removes the copy that a program left in a data folder when it was stopped inside an encrypted backup.
///
/// # Errors
///
/// What the system says.
pub fn remove_leftover(data: &Path) -> io::Result<()> {
    fresh_file::remove_with_companions(&data.join(PLAIN_COPY))
}

/// Copies a book to a new file, checks the copy, locks it if asked, and gives it its name when all of that has succeeded.
///
/// # Errors
///
/// [`BackupError`]. Nothing is left of a copy that failed.
pub async fn make(book: &Path, to: &Path, seal: &Seal) -> Result<Contents, BackupError> {
    if to.exists() {
        return Err(BackupError::write(to, "there is a file of this name already"));
    }
    let part = companion(to, ".part");
    // A copy that is to be locked is never readable in the folder of the backups, which may be another's disk.
    let plain = match seal {
        Seal::Open => part.clone(),
        _ => book.with_file_name(PLAIN_COPY),
    };
    let made = make_parts(book, &plain, &part, seal).await;
    let named = made.and_then(|(contents, sum)| take_name(&part, to, sum).map(|()| contents));
    for file in [&plain, &part] {
        // Removed already where it took its name.
        fresh_file::remove_with_companions(file).map_err(|why| BackupError::write(file, why))?;
    }
    named
}

/// Answers what the copy holds and, where it is not locked, the sum of its bytes.
async fn make_parts(
    book: &Path,
    plain: &Path,
    part: &Path,
    seal: &Seal,
) -> Result<(Contents, Option<Sum>), BackupError> {
    for file in [plain, part] {
        fresh_file::remove_with_companions(file).map_err(|why| BackupError::write(file, why))?;
    }
    copy_book(book, plain).await?;
    let contents = check_book(plain).await?;
    let (plain, part, seal) = (plain.to_owned(), part.to_owned(), seal.clone());
    let sum = off_the_runtime(move || match seal {
        Seal::Open => Ok(Some(sum::of_file(&plain)?)),
        // A locked file has its own tags.
        _ => seal::lock(&plain, &part, &seal).map(|()| None),
    });
    Ok((contents, sum.await?))
}

/// The copy is on the disk before it has its name.
fn take_name(part: &Path, to: &Path, sum: Option<Sum>) -> Result<(), BackupError> {
    let named = || -> io::Result<()> {
        if let Some(sum) = sum {
            sum::keep_beside(to, &sum)?;
        }
        fresh_file::take_name(part, to)
    };
    named().map_err(|why| BackupError::write(to, why))
}

/// Opens a backup and checks all of it. An encrypted one is opened into a file that has no name (`passing.rs`).
///
/// # Errors
///
/// [`BackupError`], which says what is wrong.
pub async fn verify(file: &Path, key: Option<&Key>) -> Result<Contents, BackupError> {
    if !seal::is_sealed(file)? {
        check_sum(file).await?;
        return check_book(file).await;
    }
    let key = key_for(file, key)?;
    let mut passing = Passing::make().await?;
    let checked = verify_sealed(file, key, &mut passing).await;
    passing.discard().await?;
    checked
}

async fn verify_sealed(file: &Path, key: Key, passing: &mut Passing) -> Result<Contents, BackupError> {
    let mut out = passing.file.try_clone().map_err(|why| BackupError::read(file, why))?;
    let sealed = file.to_owned();
    off_the_runtime(move || seal::unlock_into(&sealed, &mut out, &key)).await?;
    check_opened(&mut passing.book, file).await
}

fn key_for(file: &Path, key: Option<&Key>) -> Result<Key, BackupError> {
    key.cloned().ok_or_else(|| BackupError::Sealed(file.display().to_string()))
}

async fn unlock(file: &Path, to: &Path, key: Option<&Key>) -> Result<(), BackupError> {
    let (key, file, to) = (key_for(file, key)?, file.to_owned(), to.to_owned());
    off_the_runtime(move || seal::unlock(&file, &to, &key)).await
}

/// Makes a backup the book of a folder, once the copy there has been checked. The backup stays as it is.
///
/// # Errors
///
/// [`BackupError`]. The folder then has the book it had before.
pub async fn restore(
    file: &Path,
    folder: &Path,
    key: Option<&Key>,
    replace: bool,
    now: OffsetDateTime,
) -> Result<Contents, BackupError> {
    make_private_folder(folder).map_err(|why| BackupError::write(folder, why))?;
    let book = folder.join(FILE_NAME);
    let is_there = book.exists();
    if is_there && !replace {
        return Err(BackupError::BookThere(folder.display().to_string()));
    }
    let fresh = fresh_file::unfinished(folder);
    let clean = || fresh_file::remove_unfinished(folder).map_err(|why| BackupError::write(&fresh, why));
    clean()?;
    let filled = fill(file, &fresh, key).await;
    let Ok(contents) = filled else {
        clean()?;
        return filled;
    };
    let named = || -> io::Result<()> {
        if is_there {
            fresh_file::set_aside(folder, &aside_name(now))?;
        }
        fresh_file::make_it_the_book(folder)
    };
    named().map_err(|why| BackupError::write(&book, why))?;
    Ok(contents)
}

/// What a book is called that a restore took the place of.
fn aside_name(now: OffsetDateTime) -> String {
    format!("rimbook-replaced-{}.db", now.unix_timestamp())
}

async fn fill(file: &Path, fresh: &Path, key: Option<&Key>) -> Result<Contents, BackupError> {
    if seal::is_sealed(file)? {
        unlock(file, fresh, key).await?;
    } else {
        is_sqlite(file)?;
        check_sum(file).await?;
        // A book with a log beside it is one that is in use; SQLite alone can read it whole.
        copy_book(file, fresh).await?;
    }
    check_book(fresh).await
}

/// Compares a backup with the sum that was kept beside it, if one was.
async fn check_sum(file: &Path) -> Result<(), BackupError> {
    let file = file.to_owned();
    off_the_runtime(move || sum::check(&file)).await
}

/// Runs work that waits for the disk or the processor on a thread of its own.
async fn off_the_runtime<T: Send + 'static>(
    work: impl FnOnce() -> Result<T, BackupError> + Send + 'static,
) -> Result<T, BackupError> {
    match tokio::task::spawn_blocking(work).await {
        Ok(done) => done,
        Err(why) => Err(BackupError::Key(format!("the backup stopped: {why}"))),
    }
}
