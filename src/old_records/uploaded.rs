//! Trace files that a browser sent: they lie in a folder beside the book until they are brought in. They are written one by one
//! as they come, so that a large upload needs little memory.

use std::fs;
use std::io;
use std::path::{Component, Path, PathBuf};

use thiserror::Error;

use super::folder::{MAX_ALL_BYTES, MAX_DEPTH, MAX_FILES};

/// What the page of the imports calls the folder.
pub const CALLED: &str = "uploaded trace files";
/// The name of the folder.
const NAME: &str = "uploaded-traces";

/// The folder of the uploaded files of a book.
pub fn place(book: &Path) -> PathBuf {
    book.join(NAME)
}

/// Removes them. What cannot be removed is said in the log, and is tried again at the next start.
pub fn forget(book: &Path) {
    match fs::remove_dir_all(place(book)) {
        Ok(()) => {}
        Err(why) if why.kind() == io::ErrorKind::NotFound => {}
        Err(why) => tracing::warn!(%why, "uploaded trace files stay beside the book for now"),
    }
}

/// Why uploaded files are refused. Each says what to do.
#[derive(Debug, Error)]
pub enum UploadRefused {
    #[error("there are more than 50,000 files: bring them in by parts")]
    TooMany,
    #[error("the files have more than 200 MB together: bring them in by parts")]
    TooLarge,
    #[error("the files cannot be kept beside the book: {0}")]
    Io(#[from] io::Error),
}

/// Files that are being kept.
#[derive(Debug)]
pub struct Uploading {
    folder: PathBuf,
    files: usize,
    bytes: usize,
}

impl Uploading {
    /// Begins anew: what was uploaded before goes.
    ///
    /// # Errors
    ///
    /// [`UploadRefused::Io`].
    pub fn begin(book: &Path) -> Result<Self, UploadRefused> {
        forget(book);
        let folder = place(book);
        crate::store::make_private_folder(&folder)?;
        Ok(Self { folder, files: 0, bytes: 0 })
    }

    /// Keeps a file under the name that the browser gave it, with the folders in it. What a system keeps for itself is left out.
    ///
    /// # Errors
    ///
    /// [`UploadRefused`].
    pub fn keep(&mut self, name: &str, bytes: &[u8]) -> Result<(), UploadRefused> {
        let Some(within) = within(name) else { return Ok(()) };
        (self.files, self.bytes) = (self.files + 1, self.bytes + bytes.len());
        match () {
            () if self.files > MAX_FILES => return Err(UploadRefused::TooMany),
            () if self.bytes > MAX_ALL_BYTES => return Err(UploadRefused::TooLarge),
            () => {}
        }
        let file = self.folder.join(within);
        if let Some(folder) = file.parent() {
            fs::create_dir_all(folder)?;
        }
        Ok(fs::write(file, bytes)?)
    }

    /// How many files there are.
    pub fn count(&self) -> usize {
        self.files
    }
}

/// The path of a file within the folder. None leads out of it.
fn within(name: &str) -> Option<PathBuf> {
    let name = name.replace('\\', "/");
    let parts: Option<Vec<&str>> = Path::new(&name)
        .components()
        .map(|part| match part {
            Component::Normal(part) => part.to_str().filter(|part| !part.starts_with('.') && !part.contains(':')),
            _ => None,
        })
        .collect();
    parts.filter(|parts| (1..=MAX_DEPTH).contains(&parts.len())).map(|parts| parts.iter().collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_file_leaves_the_folder() {
        for (name, path) in [
            ("4711.txt", Some("4711.txt")),
            ("traces/in/b 7.TRC", Some("traces/in/b 7.TRC")),
            ("traces\\4711.txt", Some("traces/4711.txt")),
            ("Müller.txt", Some("Müller.txt")),
            ("../4711.txt", None),
            ("a/../../b", None),
            ("/etc/passwd", None),
            ("\\\\server\\share", None),
            ("C:\\book", None),
            ("a/.hidden", None),
            ("", None),
        ] {
            assert_eq!(within(name), path.map(PathBuf::from), "{name}");
        }
    }

    #[test]
    fn files_are_kept_anew_each_time() {
        let book = tempfile::tempdir().unwrap();
        let mut first = Uploading::begin(book.path()).unwrap();
        first.keep("traces/1.txt", b"R").unwrap();
        first.keep("../2.txt", b"R").unwrap();
        assert_eq!(first.count(), 1);
        let mut second = Uploading::begin(book.path()).unwrap();
        second.keep("3.txt", b"R").unwrap();
        assert!(!place(book.path()).join("traces").exists() && place(book.path()).join("3.txt").exists());
        let large = vec![0; MAX_ALL_BYTES];
        assert!(matches!(second.keep("4.txt", &large), Err(UploadRefused::TooLarge)));
        forget(book.path());
        assert!(!place(book.path()).exists());
        forget(book.path());
    }
}
