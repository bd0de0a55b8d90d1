//! One program at a time has the data folder. Two on one book would undo each other's settings, because each keeps them
//! in memory.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};

use thiserror::Error;

/// The file that is locked. It stays when the program ends; only the lock on it says that the folder is taken.
const LOCK_FILE: &str = "rimbook.lock";

/// The data folder, held by this program until it ends, however it ends.
#[derive(Debug)]
pub struct FolderLock {
    file: File,
}

/// Why the folder could not be taken.
#[derive(Debug, Error)]
pub enum LockError {
    /// Another program has it.
    #[error("the book in {} is open in another Rimbook already{}", .folder.display(), said_of(.holder))]
    Held {
        /// The folder.
        folder: PathBuf,
        /// Who has it.
        holder: Holder,
    },
    /// The lock could not be asked for.
    #[error("cannot lock the data folder {}: {why}. Choose another with --data DIR", .folder.display())]
    Io {
        /// The folder.
        folder: PathBuf,
        /// The system's error.
        why: io::Error,
    },
}

/// What the program that has the folder wrote about itself.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Holder {
    /// The number of its process.
    pub process: Option<u32>,
    /// Where its pages are. None before they are open, and for a program that shows none.
    pub address: Option<String>,
}

fn said_of(holder: &Holder) -> String {
    let process = holder.process.map_or_else(String::new, |number| format!(" (process {number})"));
    match &holder.address {
        Some(address) => format!("{process}. Its pages are at {address}"),
        None => format!("{process}. Close that one first"),
    }
}

impl FolderLock {
    /// Takes a folder that is there.
    ///
    /// # Errors
    ///
    /// [`LockError`].
    pub fn take(folder: &Path) -> Result<Self, LockError> {
        let io_error = |why| LockError::Io { folder: folder.to_owned(), why };
        let path = folder.join(LOCK_FILE);
        let mut file = open(&path).map_err(io_error)?;
        match file.try_lock() {
            Ok(()) => {}
            Err(TryLockError::WouldBlock) => {
                return Err(LockError::Held { folder: folder.to_owned(), holder: Holder::read(&mut file) });
            }
            Err(TryLockError::Error(why)) => return Err(io_error(why)),
        }
        let mut lock = Self { file };
        lock.write("").map_err(io_error)?;
        Ok(lock)
    }

    /// Fails where another program has the folder. A folder that is not there, or was never taken, is left as it is.
    ///
    /// # Errors
    ///
    /// [`LockError::Held`].
    pub fn must_be_free(folder: &Path) -> Result<(), LockError> {
        if folder.join(LOCK_FILE).symlink_metadata().is_err() {
            return Ok(());
        }
        match Self::take(folder) {
            Err(held @ LockError::Held { .. }) => Err(held),
            _ => Ok(()),
        }
    }

    /// Leaves word where this program's pages are.
    ///
    /// # Errors
    ///
    /// The system's.
    pub fn say_address(&mut self, address: &str) -> io::Result<()> {
        self.write(address)
    }

    fn write(&mut self, address: &str) -> io::Result<()> {
        self.file.set_len(0)?;
        self.file.seek(SeekFrom::Start(0))?;
        write!(self.file, "{}\n{address}\n", std::process::id())
    }
}

impl Holder {
    /// What stands in the file; nothing where it cannot be read or is something else.
    fn read(file: &mut File) -> Self {
        let mut text = String::new();
        let read = file.take(1000).read_to_string(&mut text);
        let mut lines = if read.is_ok() { text.lines() } else { "".lines() };
        let process = lines.next().and_then(|line| line.parse().ok());
        let is_ours = |line: &&str| line.starts_with("http://") || line.starts_with("https://");
        Self { process, address: lines.next().filter(is_ours).map(str::to_owned) }
    }
}

/// Opens the file, made for its owner alone. A link in its place is not followed.
fn open(path: &Path) -> io::Result<File> {
    if path.symlink_metadata().is_ok_and(|m| !m.is_file()) {
        return Err(io::Error::new(io::ErrorKind::InvalidInput, format!("{} is no plain file", path.display())));
    }
    let mut how = OpenOptions::new();
    how.read(true).write(true).create(true).truncate(false);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut how, 0o600);
    how.open(path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_is_taken_by_one_at_a_time() {
        let folder = tempfile::tempdir().expect("a folder");
        assert!(FolderLock::must_be_free(folder.path()).is_ok());
        let mut first = FolderLock::take(folder.path()).expect("free");
        let held =
            |address: Option<&str>| Holder { process: Some(std::process::id()), address: address.map(str::to_owned) };
        let found = || match FolderLock::take(folder.path()) {
            Err(LockError::Held { holder, .. }) => holder,
            other => panic!("{other:?}"),
        };
        assert_eq!(found(), held(None));
        first.say_address("http://127.0.0.1:4127").expect("written");
        assert_eq!(found(), held(Some("http://127.0.0.1:4127")));
        assert!(FolderLock::must_be_free(folder.path()).is_err());
        drop(first);
        FolderLock::take(folder.path()).expect("free again");
    }

    #[cfg(unix)]
    #[test]
    fn a_link_in_its_place_is_not_followed() {
        let folder = tempfile::tempdir().expect("a folder");
        let letter = folder.path().join("letter");
        std::fs::write(&letter, "Dear Ada").expect("written");
        std::os::unix::fs::symlink(&letter, folder.path().join(LOCK_FILE)).expect("linked");
        assert!(matches!(FolderLock::take(folder.path()), Err(LockError::Io { .. })));
        assert_eq!(std::fs::read_to_string(letter).expect("read"), "Dear Ada");
    }
}
