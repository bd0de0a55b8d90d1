//! The files of a folder, read on a few threads. Links are not followed, so no loop of links is walked.

use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::thread;

use thiserror::Error;

use super::mark;
use super::progress::Progress;
use crate::desk::old_record::gathered::{ContentMark, FoundFile, InFile, ShapeFile};
use crate::desk::old_record::problem::Problem;
use crate::intake::{Format, ReadOptions, read_any};

/// The most files, and their most bytes together.
pub(super) const MAX_FILES: usize = 50_000;
pub(super) const MAX_ALL_BYTES: usize = 200 * 1024 * 1024;
/// The largest file: an interchange file of both eyes has under 0.1 MB, a drawing seldom more than 1.
pub const MAX_FILE_BYTES: u64 = 2 * 1024 * 1024;
/// How deep folders lie in each other.
pub(super) const MAX_DEPTH: usize = 12;
/// More threads wait for the disk.
const MAX_THREADS: usize = 8;

/// Why a folder is refused. Each says what to do.
#[derive(Debug, Error)]
pub enum FolderRefused {
    #[error("no folder is named: choose one, or write its whole path, such as /home/ada/traces")]
    Unnamed,
    #[error("“{0}” is not a whole path: begin with the root of the disk, such as /home/ada/traces")]
    NotWhole(String),
    #[error("the folder “{folder}” cannot be read: {why}")]
    Io { folder: String, why: io::Error },
    #[error("“{0}” is a file: name the folder that it is in")]
    NoFolder(String),
    #[error("there are more than 50,000 files in the folder: bring them in by parts, from a folder each")]
    TooMany,
    #[error("the files of the folder have more than 200 MB together: bring them in by parts, from a folder each")]
    TooLarge,
}

/// Whether there is such a folder.
///
/// # Errors
///
/// [`FolderRefused`].
pub fn check(folder: &Path) -> Result<(), FolderRefused> {
    let named = folder.display().to_string();
    if named.is_empty() {
        return Err(FolderRefused::Unnamed);
    }
    if !folder.is_absolute() {
        return Err(FolderRefused::NotWhole(named));
    }
    match fs::metadata(folder) {
        Ok(there) if there.is_dir() => Ok(()),
        Ok(_) => Err(FolderRefused::NoFolder(named)),
        Err(why) => Err(FolderRefused::Io { folder: named, why }),
    }
}

/// Lists the files of a folder and of the folders in it, by their paths within it, in order. What is left out is said.
///
/// # Errors
///
/// [`FolderRefused`].
pub fn list(folder: &Path) -> Result<(Vec<String>, Vec<Problem>), FolderRefused> {
    check(folder)?;
    let io_error = |why| FolderRefused::Io { folder: folder.display().to_string(), why };
    let (mut files, mut left_out, mut folders) = (Vec::new(), Vec::new(), vec![(PathBuf::new(), 0)]);
    while let Some((within, depth)) = folders.pop() {
        let entries = match fs::read_dir(folder.join(&within)) {
            Ok(entries) => entries,
            Err(why) if within.as_os_str().is_empty() => return Err(io_error(why)),
            Err(why) => {
                left_out.push(Problem::file(&name_of(&within), format!("this folder is left out: {why}")));
                continue;
            }
        };
        for entry in entries {
            let entry = entry.map_err(io_error)?;
            let path = within.join(entry.file_name());
            // What a system keeps for itself.
            if entry.file_name().to_string_lossy().starts_with('.') {
                continue;
            }
            let kind = entry.file_type().map_err(io_error)?;
            match () {
                () if kind.is_dir() && depth < MAX_DEPTH => folders.push((path, depth + 1)),
                () if kind.is_dir() => {
                    left_out.push(Problem::file(&name_of(&path), "this folder lies too deep, so it is left out"));
                }
                () if kind.is_file() => match path.to_str() {
                    Some(_) => files.push(name_of(&path)),
                    None => left_out.push(Problem::file(&name_of(&path), "its name is no text, so it is left out")),
                },
                () if kind.is_symlink() => {
                    left_out.push(Problem::file(
                        &name_of(&path),
                        "it is a link, so it is left out: copy the file itself here",
                    ));
                }
                () => left_out.push(Problem::file(&name_of(&path), "it is no file, so it is left out")),
            }
            if files.len() > MAX_FILES || left_out.len() > MAX_FILES {
                return Err(FolderRefused::TooMany);
            }
        }
    }
    files.sort_unstable();
    Ok((files, left_out))
}

/// A path with `/` between its parts.
fn name_of(path: &Path) -> String {
    path.components().map(|part| part.as_os_str().to_string_lossy()).collect::<Vec<_>>().join("/")
}

/// Reads files of a folder, and keeps of each what its row may need. A file with the mark `table` is the table itself and is passed over.
///
/// # Errors
///
/// [`FolderRefused::TooLarge`].
pub fn read_all(
    folder: &Path,
    files: &[String],
    table: ContentMark,
    progress: &Progress,
) -> Result<(Vec<FoundFile>, Vec<Problem>), FolderRefused> {
    let (next, bytes, is_over) = (AtomicUsize::new(0), AtomicUsize::new(0), AtomicBool::new(false));
    let work = || {
        let mut read = Vec::new();
        loop {
            let at = next.fetch_add(1, Ordering::Relaxed);
            let Some(name) = files.get(at).filter(|_| !is_over.load(Ordering::Relaxed)) else { return read };
            let (found, length) = read_file(folder, name, table);
            if bytes.fetch_add(length, Ordering::Relaxed) + length > MAX_ALL_BYTES {
                is_over.store(true, Ordering::Relaxed);
            }
            read.extend(found.map(|found| (at, found)));
            progress.one_more();
        }
    };
    let threads = thread::available_parallelism().map_or(2, usize::from).min(MAX_THREADS).min(files.len().max(1));
    let mut all = thread::scope(|scope| {
        let others: Vec<_> = (1..threads).map(|_| scope.spawn(work)).collect();
        let mut all = work();
        for other in others {
            match other.join() {
                Ok(read) => all.extend(read),
                Err(cause) => std::panic::resume_unwind(cause),
            }
        }
        all
    });
    if is_over.load(Ordering::Relaxed) {
        return Err(FolderRefused::TooLarge);
    }
    all.sort_by_key(|(at, _)| *at);
    let (mut found, mut left_out) = (Vec::new(), Vec::new());
    for (_, file) in all {
        match file {
            Ok(file) => found.push(file),
            Err(problem) => left_out.push(problem),
        }
    }
    Ok((found, left_out))
}

/// Reads one file, and says how many bytes it has. `None` for the table itself.
fn read_file(folder: &Path, name: &str, table: ContentMark) -> (Option<Result<FoundFile, Problem>>, usize) {
    let left_out = |why: String| (Some(Err(Problem::file(name, why))), 0);
    let bytes = match bytes_of(&folder.join(name)) {
        Ok(Some(bytes)) => bytes,
        Ok(None) => return left_out("it is larger than 2 MB, so it is no trace file and is left out".to_owned()),
        Err(why) => return left_out(format!("it cannot be read, so it is left out: {why}")),
    };
    let mark = mark(&[&bytes]);
    if mark == table {
        return (None, bytes.len());
    }
    let read = match Format::of(&bytes) {
        Format::Picture => Err("it is a picture; the outline in it is read on the page of a job’s shape".to_owned()),
        _ => {
            read_any(&bytes, &ReadOptions::default()).map_err(|why| why.to_string()).and_then(|read| InFile::of(&read))
        }
    };
    (Some(Ok(FoundFile { name: name.to_owned(), mark, read })), bytes.len())
}

/// The bytes of a trace file once more, if they are still those that were read.
pub fn bytes_again(folder: &Path, file: &ShapeFile) -> Option<Vec<u8>> {
    let bytes = bytes_of(&folder.join(&file.path)).ok().flatten()?;
    (mark(&[&bytes]) == file.mark).then_some(bytes)
}

/// The bytes of a file that is not too large.
fn bytes_of(path: &Path) -> io::Result<Option<Vec<u8>>> {
    let file = File::open(path)?;
    let length = file.metadata()?.len();
    if length > MAX_FILE_BYTES {
        return Ok(None);
    }
    let mut bytes = Vec::with_capacity(usize::try_from(length).unwrap_or_default());
    // It may grow meanwhile.
    file.take(MAX_FILE_BYTES + 1).read_to_end(&mut bytes)?;
    Ok(Some(bytes).filter(|bytes| bytes.len() as u64 <= MAX_FILE_BYTES))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_is_walked_without_its_links() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path();
        fs::create_dir(path.join("in")).unwrap();
        for name in ["b.txt", "in/a.txt", ".hidden"] {
            fs::write(path.join(name), "R").unwrap();
        }
        #[cfg(unix)]
        std::os::unix::fs::symlink(path, path.join("in/loop")).unwrap();
        let (files, left_out) = list(path).unwrap();
        assert_eq!(files, ["b.txt", "in/a.txt"]);
        if cfg!(unix) {
            let said: Vec<String> = left_out.iter().map(ToString::to_string).collect();
            assert_eq!(said, ["File in/loop: it is a link, so it is left out: copy the file itself here"]);
        }
        for (folder, says) in [
            (PathBuf::new(), "no folder is named"),
            (PathBuf::from("traces"), "“traces” is not a whole path"),
            (path.join("b.txt"), "is a file: name the folder"),
            (path.join("gone"), "cannot be read"),
        ] {
            let why = list(&folder).unwrap_err().to_string();
            assert!(why.contains(says), "{why}");
        }
    }

    #[test]
    fn every_file_is_read_or_said() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path();
        let trace = format!("JOB=7\r\nTRCFMT=1;36;E;R;F\r\nR={}\r\n", vec!["2500"; 36].join(";"));
        fs::write(path.join("7.txt"), &trace).unwrap();
        fs::write(path.join("broken.txt"), &trace[..60]).unwrap();
        fs::write(path.join("scan.png"), b"\x89PNG\r\n\x1a\n").unwrap();
        fs::write(path.join("jobs.csv"), "No,Name\n").unwrap();
        // A file of 2 GB that takes no room on the disk.
        File::create(path.join("video.bin")).unwrap().set_len(2 << 30).unwrap();
        let (files, progress) = (list(path).unwrap().0, Progress::default());
        let (found, left_out) = read_all(path, &files, mark(&[b"No,Name\n"]), &progress).unwrap();
        let said: Vec<_> =
            found.iter().map(|file| (file.name.as_str(), file.read.as_ref().err().map(String::as_str))).collect();
        assert_eq!((said[0], said.len()), (("7.txt", None), 3), "{said:?}");
        assert!(said[1].1.is_some() && said[2].1.is_some_and(|why| why.starts_with("it is a picture")), "{said:?}");
        assert_eq!(
            left_out.iter().map(ToString::to_string).collect::<Vec<_>>(),
            ["File video.bin: it is larger than 2 MB, so it is no trace file and is left out"]
        );
        assert_eq!(progress.now().1, 5);
        let file = ShapeFile { path: "7.txt".to_owned(), mark: found[0].mark };
        assert_eq!(bytes_again(path, &file).as_deref(), Some(trace.as_bytes()));
        fs::write(path.join("7.txt"), trace.replace("2500", "2501")).unwrap();
        assert_eq!(bytes_again(path, &file), None, "it is another shape now");
    }
}
