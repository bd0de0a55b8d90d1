//! The folder with the backups of a book.

use std::fs;
use std::path::{Path, PathBuf};

use time::{Date, Duration, OffsetDateTime};

use super::{BackupError, seal, sum, verify};
use crate::desk::backup::{BackupName, to_remove};
use crate::store::fresh_file::{self, folder_of};
use crate::store::{FILE_NAME, make_private_folder};

/// A small file beside the book repeats where its backups are, for a book that can no longer be read.
const POINTER: &str = "backups-are-in.txt";

/// A backup in a folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FoundBackup {
    /// The file.
    pub path: PathBuf,
    /// What its name says.
    pub name: BackupName,
    /// Its size in bytes.
    pub size: u64,
}

/// The backups of one book in one folder.
#[derive(Debug, Clone)]
pub struct Shelf {
    /// The folder.
    pub folder: PathBuf,
    /// The mark of the book.
    pub mark: String,
}

/// Where backups go until the lab names a folder.
pub fn default_folder(data: &Path) -> PathBuf {
    data.join("backups")
}

/// Where the backups of the book in a data folder are, without opening the book.
pub fn folder_beside(data: &Path) -> PathBuf {
    let named = fs::read_to_string(data.join(POINTER)).map(|text| text.trim().to_owned()).unwrap_or_default();
    if named.is_empty() { default_folder(data) } else { PathBuf::from(named) }
}

/// Keeps the folder's name beside the book.
pub(super) fn point_at(data: &Path, folder: &Path) -> Result<(), BackupError> {
    let pointer = data.join(POINTER);
    let whole = std::path::absolute(folder).map_err(|why| BackupError::read(folder, why))?;
    let text = format!("{}\n", whole.display());
    if fs::read_to_string(&pointer).is_ok_and(|kept| kept == text) {
        return Ok(());
    }
    fs::write(&pointer, text).map_err(|why| BackupError::write(&pointer, why))
}

/// The newest backup in a folder that can be used, whichever book it is of: checked, or encrypted, which nobody can check
/// without its key.
pub async fn newest_good(folder: &Path) -> Option<FoundBackup> {
    for found in list(folder, None).ok()? {
        let is_good = match found.name.is_sealed {
            true => seal::is_sealed(&found.path).unwrap_or(false),
            false => verify(&found.path, None).await.is_ok(),
        };
        if is_good {
            return Some(found);
        }
    }
    None
}

/// The backups in a folder, the newest first. A folder that is not there has none.
fn list(folder: &Path, mark: Option<&str>) -> Result<Vec<FoundBackup>, BackupError> {
    let entries = match fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(why) if why.kind() == std::io::ErrorKind::NotFound => return Ok(Vec::new()),
        Err(why) => return Err(BackupError::read(folder, why)),
    };
    let mut found: Vec<FoundBackup> = entries
        .filter_map(|entry| {
            let entry = entry.ok()?;
            let name = BackupName::read(entry.file_name().to_str()?)?;
            let data = entry.metadata().ok().filter(fs::Metadata::is_file)?;
            mark.is_none_or(|mark| mark == name.mark).then(|| FoundBackup {
                path: entry.path(),
                name,
                size: data.len(),
            })
        })
        .collect();
    found.sort_by_key(|one| std::cmp::Reverse(one.name.at));
    Ok(found)
}

impl Shelf {
    /// The backups of the book, the newest first.
    ///
    /// # Errors
    ///
    /// [`BackupError::Read`] where the folder cannot be read.
    pub fn list(&self) -> Result<Vec<FoundBackup>, BackupError> {
        list(&self.folder, Some(&self.mark))
    }

    /// The file of a backup that is made now.
    pub fn place(&self, at: OffsetDateTime, is_sealed: bool) -> PathBuf {
        self.folder.join(BackupName { mark: self.mark.clone(), at, is_sealed }.file_name())
    }

    /// Makes the folder if it is not there. One that the owner made keeps its rights.
    ///
    /// # Errors
    ///
    /// [`BackupError::Write`] where it cannot be made or written.
    pub fn prepare(&self) -> Result<(), BackupError> {
        make_private_folder(&self.folder).map_err(|why| BackupError::write(&self.folder, why))
    }

    /// Removes the backups that newer ones make superfluous, and what a stopped backup left. `local` is the time on the wall.
    /// Answers how many backups were removed.
    ///
    /// # Errors
    ///
    /// [`BackupError::Write`] for a file that cannot be removed.
    pub fn thin(&self, today: Date, local: impl Fn(OffsetDateTime) -> OffsetDateTime) -> Result<usize, BackupError> {
        let found = self.list()?;
        let made: Vec<OffsetDateTime> = found.iter().map(|one| local(one.name.at)).collect();
        let gone = to_remove(&made, today);
        for place in &gone {
            let path = &found[*place].path;
            fs::remove_file(path).map_err(|why| BackupError::write(path, why))?;
            // A locked backup has none.
            let _no_sum = fs::remove_file(sum::place(path));
        }
        self.remove_stopped(today)?;
        Ok(gone.len())
    }

    /// Removes what is left of backups of earlier days that were stopped half-way.
    fn remove_stopped(&self, today: Date) -> Result<(), BackupError> {
        let entries = fs::read_dir(&self.folder).map_err(|why| BackupError::read(&self.folder, why))?;
        for path in entries.filter_map(|entry| Some(entry.ok()?.path())) {
            let name = path.file_name().and_then(|name| BackupName::read(name.to_str()?.strip_suffix(".part")?));
            if name.is_some_and(|name| name.mark == self.mark && name.at.date() < today.saturating_sub(Duration::DAY)) {
                fs::remove_file(&path).map_err(|why| BackupError::write(&path, why))?;
            }
        }
        Ok(())
    }
}

/// Whether a folder may hold the backups of a book: it can be written, and is not the book's own folder, where a backup
/// would be lost with the book.
///
/// # Errors
///
/// A sentence for the page.
pub(super) fn check_folder(book: &Path, folder: &str) -> Result<(), String> {
    let path = Path::new(folder);
    if !path.is_absolute() {
        return Err("Write the full path of the folder, from its root".to_owned());
    }
    if path == folder_of(book) {
        return Err(format!(
            "This is the folder of {FILE_NAME} itself: choose another, on another disk if there is one"
        ));
    }
    // Making the folder below a disk that is not connected would fill the wrong disk.
    if !path.is_dir() && !path.parent().is_some_and(Path::is_dir) {
        return Err("There is no such folder: create it first, or connect its disk".to_owned());
    }
    let shelf = Shelf { folder: path.to_owned(), mark: String::new() };
    shelf.prepare().map_err(|why| format!("Nothing can be written there: {why}"))?;
    fresh_file::sync_folder(path).map_err(|why| format!("Nothing can be written there: {why}"))
}
