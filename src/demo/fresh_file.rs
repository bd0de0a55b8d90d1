//! A demonstration is written to a file of its own, which takes the name of the book when it is complete. So a filling
//! that was stopped leaves no book behind.

use std::ffi::OsString;
use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use time::{Date, OffsetDateTime};

use super::lifetime::{self, Progress};
use super::{DemoError, Summary, load};
use crate::store::{FILE_NAME, Store};

/// What SQLite may leave beside a file.
const COMPANIONS: [&str; 4] = ["", "-wal", "-shm", "-journal"];

/// The file that is being filled.
fn unfinished(folder: &Path) -> PathBuf {
    folder.join(format!("{FILE_NAME}.unfinished"))
}

/// Removes what a stopped filling left.
///
/// # Errors
///
/// What the system says of a file that cannot be removed.
pub fn remove_unfinished(folder: &Path) -> io::Result<()> {
    remove_with_companions(&unfinished(folder))
}

/// Writes the demonstration and makes it the book of the folder, which has none or an empty one: the usual
/// demonstration, or one of as many jobs as are asked for.
///
/// # Errors
///
/// [`DemoError`]. The folder then has the book it had before.
pub async fn fill(
    folder: &Path,
    jobs: Option<u64>,
    today: Date,
    now: OffsetDateTime,
    progress: Progress<'_>,
) -> Result<Summary, DemoError> {
    let file = unfinished(folder);
    let summary = match jobs {
        Some(jobs) => lifetime::fill(&file, jobs, today, now, progress).await?,
        None => {
            let store = Store::open_file(&file).await?;
            let summary = load(&store, today, now).await?;
            store.close().await;
            summary
        }
    };
    make_it_the_book(folder)?;
    Ok(summary)
}

/// Gives the filled file the name of the book. Before, the file is closed and is on the disk.
fn make_it_the_book(folder: &Path) -> io::Result<()> {
    let (filled, book) = (unfinished(folder), folder.join(FILE_NAME));
    File::open(&filled)?.sync_all()?;
    // The log of the empty book must not be read into the new one.
    for companion in &COMPANIONS[1..] {
        remove(&beside(&book, companion))?;
    }
    fs::rename(filled, book)?;
    sync_folder(folder)
}

fn remove_with_companions(file: &Path) -> io::Result<()> {
    COMPANIONS.iter().try_for_each(|companion| remove(&beside(file, companion)))
}

fn beside(file: &Path, companion: &str) -> PathBuf {
    let mut name = OsString::from(file);
    name.push(companion);
    name.into()
}

fn remove(file: &Path) -> io::Result<()> {
    match fs::remove_file(file) {
        Err(why) if why.kind() != io::ErrorKind::NotFound => Err(why),
        _ => Ok(()),
    }
}

/// So that the new name is on the disk too.
#[cfg(unix)]
fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

#[cfg(not(unix))]
fn sync_folder(_: &Path) -> io::Result<()> {
    Ok(())
}
