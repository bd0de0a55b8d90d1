//! Where an encrypted backup is opened to be checked: in the system's folder for passing files, because the backup's own folder
//! may not be writable.
//!
//! What is opened holds people's data, and a program can be killed at any moment. So on Unix the file has lost its name before
//! the first byte of the backup is in it, and the system frees it when the program ends, however it ends. Elsewhere an open
//! file cannot lose its name: it is removed when the check is over.

use std::fs::File;
use std::io;
use std::path::{Path, PathBuf};

use sqlx::sqlite::SqliteConnection;

use super::BackupError;
use super::copy::open_passing;
use crate::store::fresh_file;
use crate::store::open::create_private;

/// The file, open twice: to be filled, and to be asked as a book once it is full.
pub(super) struct Passing {
    /// The way in.
    pub(super) file: File,
    /// The way out.
    pub(super) book: SqliteConnection,
    path: PathBuf,
}

impl Passing {
    /// Makes an empty one.
    pub(super) async fn make() -> Result<Self, BackupError> {
        let path = std::env::temp_dir().join(format!("rimbook-{}.verify", uuid::Uuid::now_v7().simple()));
        let opened = Self::open(&path).await;
        if cfg!(unix) || opened.is_err() {
            remove(&path)?;
        }
        opened
    }

    async fn open(path: &Path) -> Result<Self, BackupError> {
        let failed = |why: io::Error| BackupError::write(path, why);
        create_private(path).map_err(failed)?;
        let file = File::options().write(true).open(path).map_err(failed)?;
        Ok(Self { file, book: open_passing(path).await?, path: path.to_owned() })
    }

    /// Lets go of it.
    pub(super) async fn discard(self) -> Result<(), BackupError> {
        // What was asked is answered; a failed close changes nothing.
        let _closed = sqlx::Connection::close(self.book).await;
        drop(self.file);
        remove(&self.path)
    }
}

fn remove(path: &Path) -> Result<(), BackupError> {
    fresh_file::remove_with_companions(path).map_err(|why| BackupError::write(path, why))
}
