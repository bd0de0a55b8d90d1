//! The sum of a file's bytes (SHA-256), which sees what the checks of SQLite cannot: a changed figure in a row that is still a
//! row. It stands beside a backup in the form that `sha256sum --check` reads.

use std::fs::{self, File};
use std::io::{self, Read, Write};
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use super::BackupError;
use crate::store::companion;

/// A SHA-256.
pub(super) type Sum = [u8; 32];

/// Where the sum of a backup is kept.
pub(super) fn place(file: &Path) -> PathBuf {
    companion(file, ".sha256")
}

pub(super) fn of_file(file: &Path) -> Result<Sum, BackupError> {
    let mut sum = Summing::new(io::sink());
    let summed = File::open(file).and_then(|mut open| io::copy(&mut open, &mut sum));
    summed.map(|_| sum.sum()).map_err(|why| BackupError::read(file, why))
}

/// Keeps the sum of a file that is about to have this name.
pub(super) fn keep_beside(file: &Path, sum: &Sum) -> io::Result<()> {
    let name = file.file_name().unwrap_or_default().to_string_lossy();
    let mut out = File::create(place(file))?;
    out.write_all(format!("{}  {name}\n", const_hex::encode(sum)).as_bytes())?;
    out.sync_all()
}

/// Compares a file with the sum beside it. A backup without one was copied by hand, and is checked by SQLite alone.
pub(super) fn check(file: &Path) -> Result<(), BackupError> {
    let kept = match fs::read_to_string(place(file)) {
        Ok(kept) => kept,
        Err(why) if why.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(why) => return Err(BackupError::read(&place(file), why)),
    };
    let is_equal = kept.split_whitespace().next() == Some(const_hex::encode(of_file(file)?).as_str());
    if is_equal { Ok(()) } else { Err(BackupError::bad(file, "its bytes are not those that were written (SHA-256)")) }
}

/// Adds up what passes through.
pub(super) struct Summing<T> {
    pub(super) inner: T,
    hash: Sha256,
}

impl<T> Summing<T> {
    pub(super) fn new(inner: T) -> Self {
        Self { inner, hash: Sha256::new() }
    }

    pub(super) fn sum(&self) -> Sum {
        self.hash.clone().finalize().into()
    }
}

impl<T: Write> Write for Summing<T> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let written = self.inner.write(bytes)?;
        self.hash.update(&bytes[..written]);
        Ok(written)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.inner.flush()
    }
}

impl<T: Read> Read for Summing<T> {
    fn read(&mut self, bytes: &mut [u8]) -> io::Result<usize> {
        let read = self.inner.read(bytes)?;
        self.hash.update(&bytes[..read]);
        Ok(read)
    }
}
