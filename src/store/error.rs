//! What can go wrong with the book, and which refusals of SQLite mean something to a person.

use thiserror::Error;

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
                other => StoreError::Database(other),
            };
        };
        if let Some(what) = message.split("UNIQUE constraint failed: ").nth(1) {
            return StoreError::Twice(what.trim_end_matches(')').to_owned());
        }
        if let Some(what) = message.split("CHECK constraint failed: ").nth(1) {
            return StoreError::OutOfRange(what.trim_end_matches(')').to_owned());
        }
        if message.contains("database is locked") || message.contains("database table is locked") {
            return StoreError::Busy;
        }
        StoreError::Database(error)
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
    /// A file that is not a book, or damaged.
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
