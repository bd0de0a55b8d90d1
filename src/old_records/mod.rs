//! Brings the records of before Rimbook along: a folder of trace files, and a table of customers, frames and jobs.
//!
//! * [`table`] – the rows of a table, whatever a spreadsheet saved it as.
//! * [`folder`] – the files of a folder, read on a few threads.
//! * [`progress`] – how far it has come.
//! * [`uploaded`] – trace files that a browser sent.
//! * [`command`] – the command line, `rimbook old-records`.

pub mod command;
pub mod folder;
pub mod progress;
pub mod table;
pub mod uploaded;

use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};
use thiserror::Error;

use self::folder::FolderRefused;
use self::progress::{Phase, Progress};
use self::table::{Table, TableRefused, TableRow};
use crate::desk::frame::Rim;
use crate::desk::frame_shape::NewShape;
use crate::desk::old_record::column::Column;
use crate::desk::old_record::column::{guess, is_head};
use crate::desk::old_record::day::DayOrder;
use crate::desk::old_record::gathered::{ContentMark, Gathered, gather, shape_of};
use crate::desk::old_record::row::{Matching, read_row};
use crate::intake::{ReadOptions, read_any};
use crate::optics::unit::Millimeter;

/// Why nothing was gathered.
#[derive(Debug, Error)]
pub enum OldRecordsError {
    /// The table.
    #[error(transparent)]
    Table(#[from] TableRefused),
    /// The folder.
    #[error(transparent)]
    Folder(#[from] FolderRefused),
}

/// How many rows a guess looks at.
const LOOKED_AT: usize = 50;

/// What the columns of a table look like.
pub fn guess_matching(table: &Table) -> Matching {
    let first = table.rows.first().map(TableRow::cells).unwrap_or_default();
    let has_head = is_head(&first);
    let rows: Vec<Vec<String>> =
        table.rows.iter().skip(usize::from(has_head)).take(LOOKED_AT).map(TableRow::cells).collect();
    let mut heads = if has_head { first } else { Vec::new() };
    heads.resize(table.width(), String::new());
    let columns = guess(&heads, &rows);
    let day_of = columns.iter().position(|column| *column == Column::Date);
    let days = DayOrder::of(rows.iter().filter_map(|row| row.get(day_of?)).map(String::as_str));
    Matching { columns, has_head, days, rim: Rim::Plastic }
}

/// Reads every row and every file, and puts them together. A file with the bytes of the table is the table itself.
///
/// # Errors
///
/// [`OldRecordsError`] for a folder that cannot be read, or holds too much.
pub fn gather_all(
    table: &Table,
    matching: &Matching,
    folder: &Path,
    progress: &Progress,
) -> Result<Gathered, OldRecordsError> {
    progress.begin(Phase::Looking, 0);
    let (files, mut left_out) = folder::list(folder)?;
    progress.begin(Phase::Reading, files.len());
    let (files, unread) = folder::read_all(folder, &files, table.mark, progress)?;
    left_out.extend(unread);
    progress.begin(Phase::Matching, 0);
    let rows = table.rows.iter().skip(usize::from(matching.has_head));
    let rows = rows.map(|row| read_row(row.at, &row.cells(), matching)).collect();
    let mut gathered = gather(rows, &files, matching.rim, mark);
    gathered.problems.extend(left_out);
    Ok(gathered)
}

/// Reads the shape of an old job from its trace file, for a frame of this bridge.
///
/// # Errors
///
/// A sentence without its full stop.
pub fn read_shape(name: &str, bytes: &[u8], bridge: Millimeter) -> Result<NewShape, String> {
    let read = read_any(bytes, &ReadOptions::default()).map_err(|why| why.to_string())?;
    shape_of(name, bytes, read, bridge)
}

/// SHA-256 of some parts, each with its length before it.
fn mark(parts: &[&[u8]]) -> ContentMark {
    let mut hash = Sha256::new();
    for part in parts {
        hash.update((part.len() as u64).to_le_bytes());
        hash.update(part);
    }
    hash.finalize().into()
}

/// The folder that was typed, without blanks and quotes around it. A tilde is the user's own folder.
pub fn folder_of(typed: &str) -> PathBuf {
    let typed = typed.trim().trim_matches(['"', '\'']);
    match typed.strip_prefix("~/").zip(dirs::home_dir()) {
        Some((rest, home)) => home.join(rest),
        None => PathBuf::from(typed),
    }
}

#[cfg(test)]
mod tests;
