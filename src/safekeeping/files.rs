//! The folder of an export: what is in it and where. The export writes it and the import reads it.

use std::collections::BTreeMap;
use std::io;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use thiserror::Error;

use crate::store::StoreError;
use crate::store::backup::BackupError;

/// What is in the folder, as `book.json` says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Manifest {
    /// Always [`FORMAT`].
    pub format: String,
    /// The newest migration of the book.
    pub schema_version: i64,
    /// Every table, with its columns and how many rows its file has.
    pub tables: BTreeMap<String, TableNote>,
}

/// A table in the manifest.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TableNote {
    /// The columns in the order of the file.
    pub columns: Vec<String>,
    /// How many rows.
    pub rows: u64,
}

/// The name and the version of the format.
pub const FORMAT: &str = "rimbook export 1";
/// The file that says what there is.
pub const MANIFEST: &str = "book.json";
/// For a person.
pub const READ_ME: &str = "READ-ME.txt";
/// How the tables were made, with the comments that explain their columns.
pub const SCHEMA: &str = "tables.sql";
/// The table and the column whose values are files of their own.
pub const BYTES: (&str, &str) = ("attachment_bytes", "bytes");

/// The file of a table.
pub fn table_file(folder: &Path, table: &str) -> PathBuf {
    folder.join("tables").join(format!("{table}.csv"))
}

/// The place of a kept file in the folder, by its SHA-256.
pub fn kept_file(hash: &[u8]) -> String {
    format!("files/{}", const_hex::encode(hash))
}

/// Why a folder was not written or read. Each is one line.
#[derive(Debug, Error)]
pub enum FilesError {
    /// The folder is not empty.
    #[error("{0} has something in it already: name a new folder")]
    NotEmpty(String),
    /// There is a book where one was to be made.
    #[error("there is a book in {0} already: choose an empty folder")]
    BookThere(String),
    /// The system refused.
    #[error("{file}: {why}")]
    Io {
        /// The file or folder.
        file: String,
        /// What the system said.
        why: io::Error,
    },
    /// The book could not be read or written.
    #[error("the book: {0}")]
    Book(String),
    /// What was written is no good book.
    #[error(transparent)]
    Bad(#[from] BackupError),
    /// A file of the export is not as it was written.
    #[error("{file}, line {line}: {why}")]
    Line {
        /// The file.
        file: String,
        /// The line.
        line: u64,
        /// What is wrong.
        why: String,
    },
    /// The folder is no export, or one that this version cannot read.
    #[error("{file}: {why}")]
    NoExport {
        /// The file.
        file: String,
        /// What is wrong.
        why: String,
    },
}

impl FilesError {
    pub(super) fn io(file: &Path) -> impl FnOnce(io::Error) -> Self {
        let file = file.display().to_string();
        move |why| Self::Io { file, why }
    }

    pub(super) fn no_export(file: &Path, why: impl ToString) -> Self {
        Self::NoExport { file: file.display().to_string(), why: why.to_string() }
    }
}

impl From<StoreError> for FilesError {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::Database(why) => Self::Book(why.to_string().replace('\n', " ")),
            other => Self::Book(other.to_string()),
        }
    }
}
