//! A new book is written to a file of its own, which takes the name of the book when it is complete. So a demonstration, a
//! restore or an import that was stopped leaves no book behind.

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use super::{FILE_NAME, companion};

/// What SQLite may leave beside a file.
const COMPANIONS: [&str; 4] = ["", "-wal", "-shm", "-journal"];

/// The file that is being filled.
pub fn unfinished(folder: &Path) -> PathBuf {
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

/// Gives the filled file the name of the book. Before, the file is closed.
///
/// # Errors
///
/// What the system says. The folder then has the book it had before.
pub fn make_it_the_book(folder: &Path) -> io::Result<()> {
    let book = folder.join(FILE_NAME);
    // The log of the empty book must not be read into the new one.
    for end in &COMPANIONS[1..] {
        remove(&companion(&book, end))?;
    }
    take_name(&unfinished(folder), &book)
}

/// Gives a file that is closed its name once it is on the disk. The name is on the disk then too.
pub(super) fn take_name(file: &Path, name: &Path) -> io::Result<()> {
    File::open(file)?.sync_all()?;
    fs::rename(file, name)?;
    sync_folder(folder_of(name))
}

/// The folder of a file that may be named without one.
pub(super) fn folder_of(file: &Path) -> &Path {
    file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Gives the book of a folder another name, with what belongs to it.
///
/// # Errors
///
/// What the system says.
pub(super) fn set_aside(folder: &Path, name: &str) -> io::Result<()> {
    for end in COMPANIONS {
        match fs::rename(companion(&folder.join(FILE_NAME), end), companion(&folder.join(name), end)) {
            Err(why) if why.kind() != io::ErrorKind::NotFound => return Err(why),
            _ => {}
        }
    }
    sync_folder(folder)
}

pub(super) fn remove_with_companions(file: &Path) -> io::Result<()> {
    COMPANIONS.iter().try_for_each(|end| remove(&companion(file, end)))
}

pub(super) fn remove(file: &Path) -> io::Result<()> {
    match fs::remove_file(file) {
        Err(why) if why.kind() != io::ErrorKind::NotFound => Err(why),
        _ => Ok(()),
    }
}

/// So that a new name is on the disk too.
#[cfg(unix)]
pub(super) fn sync_folder(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

#[cfg(not(unix))]
pub(super) fn sync_folder(_: &Path) -> io::Result<()> {
    Ok(())
}
