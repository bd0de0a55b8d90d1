//! The commands that copy the book: backups, their check and their way back. Each says in one line what it did.

use std::fs;
use std::io::{self, Read, Write};
use std::path::Path;

use thiserror::Error;
use time::OffsetDateTime;

use crate::config::{Backup, Command, Restore, Unlock, Verify, folder};
use crate::store::backup::{self, BackupError, Contents, Key, Seal};
use crate::store::folder_lock::{FolderLock, LockError};
use crate::store::{FILE_NAME, make_private_folder};

mod cell;
pub mod export;
mod files;
mod for_people;
pub mod import;

pub use self::files::FilesError;

/// Why a command did not do its work. Each is one line for the terminal.
#[derive(Debug, Error)]
pub enum SafekeepingError {
    /// The system names no data folder for this user.
    #[error("this system names no data folder for you: name one with --data DIR")]
    NoFolder,
    /// About an export or an import.
    #[error(transparent)]
    Files(#[from] FilesError),
    /// Another Rimbook has the folder that is to be written.
    #[error(transparent)]
    Lock(#[from] LockError),
    /// About a backup.
    #[error(transparent)]
    Backup(#[from] BackupError),
    /// A pass phrase that cannot be read.
    #[error("the pass phrase cannot be read from {file}: {why}")]
    PassPhrase {
        /// Where it was to be.
        file: String,
        /// What the system said.
        why: io::Error,
    },
    /// An error of the runtime.
    #[error("{0}")]
    Io(#[from] io::Error),
}

/// Does what a command asks and prints a line about it.
///
/// # Errors
///
/// [`SafekeepingError`].
pub fn run(command: &Command) -> Result<(), SafekeepingError> {
    let line = tokio::runtime::Builder::new_current_thread().enable_all().build()?.block_on(async {
        match command {
            Command::Backup(options) => make_backup(options).await,
            Command::Verify(options) => verify(options).await,
            Command::Restore(options) => restore(options).await,
            Command::Export { folder: to, data } => {
                let data = folder(data.as_deref()).ok_or(SafekeepingError::NoFolder)?;
                Ok(export::export(&data, to).await?)
            }
            Command::Import { folder: from, data } => {
                let _lock = take(data)?;
                Ok(import::import(from, data).await?)
            }
            Command::NewKey { file } => new_key(file),
            // These have their own way out, with another exit code.
            Command::Calc
            | Command::Shape(_)
            | Command::OldRecords(_)
            | Command::PassPhrase { .. }
            | Command::Devices(_)
            | Command::Install { .. } => Ok(String::new()),
        }
    })?;
    Ok(writeln!(io::stdout(), "{line}")?)
}

async fn make_backup(options: &Backup) -> Result<String, SafekeepingError> {
    let data = folder(options.data.as_deref()).ok_or(SafekeepingError::NoFolder)?;
    let book = data.join(FILE_NAME);
    let asked = match (&options.passphrase_file, &options.recipient) {
        (Some(file), _) => Some(Seal::pass_phrase(&pass_phrase(file)?)?),
        (None, Some(key)) => Some(Seal::recipient(key)?),
        (None, None) => None,
    };
    let (file, contents) = match &options.file {
        Some(file) => (file.clone(), backup::make(&book, file, &asked.unwrap_or(Seal::Open)).await?),
        None => {
            let (shelf, setting) = backup::shelf_of_book(&book).await?;
            let seal = asked.map_or_else(|| Seal::recipient(&setting.recipient), Ok)?;
            backup::make_on(&shelf, &book, &seal, OffsetDateTime::now_utc()).await?
        }
    };
    Ok(format!("Made and checked: {}, with {}", file.display(), holds(&contents)))
}

async fn verify(options: &Verify) -> Result<String, SafekeepingError> {
    let contents = backup::verify(&options.file, key(&options.unlock)?.as_ref()).await?;
    Ok(format!("Good: {} holds {}", options.file.display(), holds(&contents)))
}

async fn restore(options: &Restore) -> Result<String, SafekeepingError> {
    let (key, now) = (key(&options.unlock)?, OffsetDateTime::now_utc());
    let _lock = take(&options.data)?;
    let contents = backup::restore(&options.file, &options.data, key.as_ref(), options.replace, now).await?;
    let data = options.data.display();
    Ok(format!("Restored: the book in {data} holds {}. Start it with `rimbook --data {data}`", holds(&contents)))
}

/// Takes a data folder, made where it is not there, so that no program opens the book that is being put there.
fn take(data: &Path) -> Result<FolderLock, SafekeepingError> {
    FolderLock::must_be_free(data)?;
    make_private_folder(data)?;
    Ok(FolderLock::take(data)?)
}

fn new_key(file: &Path) -> Result<String, SafekeepingError> {
    let public = backup::make_key(file)?;
    Ok(format!(
        "The secret key is in {}: keep a copy away from this machine. The public key, for The lab > Backups:\n{public}",
        file.display()
    ))
}

fn holds(contents: &Contents) -> String {
    let jobs = if contents.jobs == 1 { "one job".to_owned() } else { format!("{} jobs", contents.jobs) };
    let of = if contents.lab.is_empty() { String::new() } else { format!(" of {}", contents.lab) };
    let until = contents.newest.as_ref().map(|at| format!(", the newest entry of {at}")).unwrap_or_default();
    format!("{jobs}{of}{until}")
}

fn key(unlock: &Unlock) -> Result<Option<Key>, SafekeepingError> {
    Ok(match (&unlock.passphrase_file, &unlock.key) {
        (Some(file), _) => Some(Key::pass_phrase(&pass_phrase(file)?)),
        (None, Some(file)) => Some(Key::from_file(file)?),
        (None, None) => None,
    })
}

/// The pass phrase in a file. It is no option of its own, because other accounts see the options of a program that runs.
fn pass_phrase(file: &Path) -> Result<String, SafekeepingError> {
    let mut text = String::new();
    let read = match file == Path::new("-") {
        true => io::stdin().read_to_string(&mut text).map(|_| text),
        false => fs::read_to_string(file),
    };
    read.map_err(|why| SafekeepingError::PassPhrase { file: file.display().to_string(), why })
}
