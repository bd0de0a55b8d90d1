//! What can go wrong with the book, and which refusals of SQLite mean something to a person.

use thiserror::Error;

use super::health::Trouble;
use crate::desk::step::brought_in_words;

// Result codes of SQLite.
const BUSY: i32 = 5;
const LOCKED: i32 = 6;
const READ_ONLY: i32 = 8;
const IO_ERROR: i32 = 10;
const CORRUPT: i32 = 11;
const FULL: i32 = 13;
const CANNOT_OPEN: i32 = 14;
const NO_DATABASE: i32 = 26;

/// A failed read or write.
#[derive(Debug, Error)]
pub enum StoreError {
    /// No such row.
    #[error("{0} is not in the book")]
    NotFound(&'static str),
    /// The row would stand twice; the text names the columns, such as `frame.maker`.
    #[error("already in the book ({0})")]
    Twice(String),
    /// A value outside its range; the text is the name of the check in the migration.
    #[error("out of range ({0})")]
    OutOfRange(String),
    /// The job is no longer where the page showed it: a second window was faster.
    #[error("job {0} has moved on meanwhile, perhaps in another window: look at it again")]
    MovedOn(i64),
    /// What the job held of its customer was erased at their request.
    #[error(
        "the records of job {number} were erased at the customer’s request on {on}; its receipts and its shape are kept"
    )]
    Erased {
        /// The job.
        number: i64,
        /// The day, as the book writes it.
        on: String,
        /// The numbers of its receipts.
        receipts: Vec<i64>,
    },
    /// The job was made before Rimbook, and the page is about work or money.
    #[error("{}", brought_in_words(*.0))]
    OldRecord(i64),
    /// Old records that cannot be brought in as they are.
    #[error("{0} rows cannot be brought in as they are: look at their lines, or leave them out")]
    Stopped(usize),
    /// A trace file that was read before is another one now, or gone; its name.
    #[error("the trace file “{0}” was changed or removed while it was brought in: try again")]
    TraceFile(String),
    /// Old records are on their way into the book.
    #[error("old records are being brought in: try again when that is done")]
    BringingIn,
    /// Another program holds the book.
    #[error("the book is held by another program; close it and try again")]
    Busy,
    /// A row that this version cannot read.
    #[error("the book holds a {what} that cannot be read: {why}")]
    Unreadable {
        /// Which column or row.
        what: &'static str,
        /// Why.
        why: String,
    },
    /// No room for what was to be written.
    #[error("the disk is full, or the book may not grow")]
    NoRoom,
    /// The disk failed, or the file may not be written any more.
    #[error("the disk with the book cannot be written: {0}")]
    Disk(String),
    /// The file is damaged or gone; nothing may be written.
    #[error("{0}")]
    Unsound(Trouble),
    /// Anything else the database says.
    #[error("the database failed")]
    Database(#[source] sqlx::Error),
}

impl From<sqlx::Error> for StoreError {
    /// sqlx does not fill `constraint()` for SQLite, so the meaning is read from the message, whose form SQLite
    /// has kept for a decade: `UNIQUE constraint failed: job.number`, `CHECK constraint failed: lab_name`.
    fn from(error: sqlx::Error) -> Self {
        let Some(message) = error.as_database_error().map(|e| e.message().to_owned()) else {
            return match error {
                sqlx::Error::RowNotFound => StoreError::NotFound("it"),
                sqlx::Error::PoolTimedOut => StoreError::Busy,
                other => StoreError::Database(other),
            };
        };
        if let Some(what) = message.split("UNIQUE constraint failed: ").nth(1) {
            return StoreError::Twice(what.trim_end_matches(')').to_owned());
        }
        if let Some(what) = message.split("CHECK constraint failed: ").nth(1) {
            return StoreError::OutOfRange(what.trim_end_matches(')').to_owned());
        }
        // The last byte of an extended code is the code: https://www.sqlite.org/rescode.html
        let code = error.as_database_error().and_then(|e| e.code()?.parse::<i32>().ok()).unwrap_or(0) & 0xff;
        match code {
            BUSY | LOCKED => StoreError::Busy,
            FULL => StoreError::NoRoom,
            IO_ERROR | READ_ONLY | CANNOT_OPEN => StoreError::Disk(message),
            CORRUPT | NO_DATABASE => StoreError::Unsound(Trouble::Damaged(message)),
            _ => StoreError::Database(error),
        }
    }
}

/// Why the book could not be opened; each is one line for the terminal.
#[derive(Debug, Error)]
pub enum OpenError {
    /// The folder cannot be made or written.
    #[error("cannot write in the data folder {folder}: {why}. Choose another with --data DIR")]
    Folder {
        /// The folder.
        folder: String,
        /// What the system said.
        why: std::io::Error,
    },
    /// Made by a later Rimbook.
    #[error("the book {file} was made by a newer Rimbook (its version {found}, this one knows {known}): use that one")]
    Newer {
        /// The file.
        file: String,
        /// Version of the newest migration in it.
        found: i64,
        /// Version of our newest migration.
        known: i64,
    },
    /// Made before the tables had their present form.
    #[error(
        "the book {file} was made by an early trial version of Rimbook and cannot be read: choose another folder with --data DIR"
    )]
    Older {
        /// The file.
        file: String,
    },
    /// A book that is damaged.
    #[error("the book {file} is damaged ({why}), so it was not opened and not changed. {backup}")]
    Damaged {
        /// The file.
        file: String,
        /// What is wrong with it.
        why: String,
        /// Where a good one is.
        backup: String,
    },
    /// The file is gone, and what was last written stands beside where it was.
    #[error("the book {file} is gone, but its log {file}-wal is there: put the book back beside it. {backup}")]
    Lost {
        /// The file.
        file: String,
        /// Where a good one is.
        backup: String,
    },
    /// A file that is not a book.
    #[error("cannot open the book {file}: {why}")]
    NotABook {
        /// The file.
        file: String,
        /// What SQLite said.
        why: String,
    },
    /// SQLite did not take a setting the book's safety rests on.
    #[error("the book {file} cannot be kept safely: {setting} is {found}, not {wanted}")]
    Setting {
        /// The file.
        file: String,
        /// Which pragma.
        setting: &'static str,
        /// What was read back.
        found: String,
        /// What was asked for.
        wanted: &'static str,
    },
}
