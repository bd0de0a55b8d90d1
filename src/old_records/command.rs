//! `rimbook old-records FOLDER --csv FILE`: the same work as the page *Bring old records*, from the command line.

use std::collections::HashMap;
use std::fs::File;
use std::io::{self, Read, Write};
use std::path::Path;

use sha2::{Digest, Sha256};
use thiserror::Error;
use time::OffsetDateTime;

use super::folder::bytes_again;
use super::progress::{Progress, grouped};
use super::table::{self, Table, TableRefused, TableRow};
use super::{OldRecordsError, gather_all, guess_matching, read_shape};
use crate::config::{OldRecordsCommand, folder};
use crate::desk::old_record::column::Column;
use crate::desk::old_record::day::DayOrder;
use crate::desk::old_record::plan::{ImportPlan, ImportTally};
use crate::desk::old_record::row::Matching;
use crate::store::folder_lock::{FolderLock, LockError};
use crate::store::old_record::{ImportSource, ToBringIn, TraceFiles};
use crate::store::once::{Once, act};
use crate::store::{OpenError, Store, StoreError};

/// Why nothing was brought in. One line, after those of the problems.
#[derive(Debug, Error)]
pub enum CommandError {
    #[error("this system names no data folder for you: name one with --data DIR")]
    NoFolder,
    #[error("{file}: {why}")]
    Csv { file: String, why: io::Error },
    #[error("{file}: {why}")]
    Table { file: String, why: TableRefused },
    #[error("--column {said}: {why}")]
    Column { said: String, why: String },
    #[error(transparent)]
    Gather(#[from] OldRecordsError),
    #[error(transparent)]
    Lock(#[from] LockError),
    #[error(transparent)]
    Open(#[from] OpenError),
    #[error("{0}")]
    Store(#[from] StoreError),
    #[error("{0}")]
    Io(#[from] io::Error),
}

/// Does what the command asks. The problems are written out, a line each, and then what was done.
///
/// # Errors
///
/// [`CommandError`].
pub fn run(asked: &OldRecordsCommand, mut out: impl Write) -> Result<(), CommandError> {
    let data = folder(asked.data.as_deref()).ok_or(CommandError::NoFolder)?;
    let table = read_table(&asked.csv)?;
    let matching = matching_of(asked, &table)?;
    let from = std::path::absolute(&asked.folder)?;
    let progress = Progress::default();
    let gathered = gather_all(&table, &matching, &from, &progress)?;
    tokio::runtime::Builder::new_current_thread().enable_all().build()?.block_on(async {
        FolderLock::must_be_free(&data)?;
        crate::store::make_private_folder(&data)?;
        let _lock = FolderLock::take(&data)?;
        let store = Store::open_for_one(&data).await?;
        if store.is_writing_old_records().await? {
            store.write_staged(read_shape, &|_| {}).await?;
        }
        let known = store.known_of(&gathered).await?;
        let plan = ImportPlan::of(&gathered, &known);
        for problem in &plan.problems {
            writeln!(out, "{problem}")?;
        }
        if asked.dry_run {
            writeln!(out, "Nothing was written. {}", would_be(&plan.tally))?;
        } else {
            let (csv, named) = (asked.csv.display().to_string(), from.display().to_string());
            let what = ToBringIn {
                gathered: &gathered,
                leaves_out: asked.leave_out,
                source: ImportSource { folder: &named, table: &csv },
                files: TraceFiles { bytes: &|file| bytes_again(&from, file), read: read_shape },
            };
            let key = act("old-records-command", [Sha256::digest(now_text()).as_slice()]);
            let done = store.bring_in(&key, &what, OffsetDateTime::now_utc(), |_| {}).await?;
            if let Once::Now(tally) = done {
                writeln!(out, "Brought in: {}", was(&tally))?;
            }
        }
        store.close().await;
        Ok(())
    })
}

/// Tells one run of the command from another.
fn now_text() -> String {
    OffsetDateTime::now_utc().unix_timestamp_nanos().to_string()
}

fn read_table(file: &Path) -> Result<Table, CommandError> {
    let name = || file.display().to_string();
    let mut bytes = Vec::new();
    let open = File::open(file).map_err(|why| CommandError::Csv { file: name(), why })?;
    open.take(table::MAX_BYTES as u64 + 1)
        .read_to_end(&mut bytes)
        .map_err(|why| CommandError::Csv { file: name(), why })?;
    table::read(&bytes).map_err(|why| CommandError::Table { file: name(), why })
}

/// The guess, with what was said of single columns in its place.
fn matching_of(asked: &OldRecordsCommand, table: &Table) -> Result<Matching, CommandError> {
    let mut matching = guess_matching(table);
    if asked.day_first {
        matching.days = DayOrder::DayFirst;
    }
    if let Some(rim) = asked.rim.as_deref() {
        let wrong = || CommandError::Column {
            said: rim.to_owned(),
            why: "metal, plastic, cord or drilled is expected".to_owned(),
        };
        matching.rim = crate::desk::frame::Rim::from_key(rim).ok_or_else(wrong)?;
    }
    let named: Vec<&str> = asked.column.iter().filter_map(|said| Some(said.rsplit_once('=')?.0.trim())).collect();
    let heads = table.rows.first().map(TableRow::cells).unwrap_or_default();
    let places: HashMap<String, usize> =
        heads.iter().enumerate().map(|(at, head)| (head.trim().to_owned(), at)).collect();
    // Where one of them is named, the first row holds the heads.
    matching.has_head |= named.iter().any(|name| places.contains_key(*name));
    for said in &asked.column {
        let wrong = |why: String| CommandError::Column { said: said.clone(), why };
        let (head, kind) = said.rsplit_once('=').ok_or_else(|| wrong("write HEAD=KIND".to_owned()))?;
        let by_number = || head.trim().parse::<usize>().ok()?.checked_sub(1).filter(|at| *at < matching.columns.len());
        let at = places.get(head.trim()).copied().or_else(by_number);
        let at = at.ok_or_else(|| wrong(format!("no column is called “{head}”")))?;
        let kinds = || Column::ALL.iter().map(|kind| kind.key()).collect::<Vec<_>>().join(", ");
        let column = Column::from_key(kind.trim());
        matching.columns[at] = column.ok_or_else(|| wrong(format!("“{kind}” is none of {}", kinds())))?;
    }
    match matching.faults().into_iter().next() {
        Some((at, why)) => {
            let said = at.map_or_else(|| "HEAD=KIND".to_owned(), |at| (at + 1).to_string());
            Err(CommandError::Column { said, why })
        }
        None => Ok(matching),
    }
}

fn would_be(tally: &ImportTally) -> String {
    match tally.stopped {
        0 => format!("Would be brought in: {}", was(tally)),
        stopped => format!(
            "{} of {} rows cannot be brought in as they are; the others: {}",
            grouped(stopped),
            grouped(tally.rows),
            was(tally)
        ),
    }
}

fn was(tally: &ImportTally) -> String {
    let ImportTally { jobs, shapes, new_customers, known_customers, new_frames, already_here, .. } = *tally;
    let [jobs, shapes, new, known, frames, here] =
        [jobs, shapes, new_customers, known_customers, new_frames, already_here].map(grouped);
    format!(
        "{jobs} jobs, {shapes} of them with a shape; {new} new customers, {known} known; {frames} new frames; {here} rows \
         were here already"
    )
}

#[cfg(test)]
mod tests {
    use std::fs;

    use clap::Parser;

    use super::*;
    use crate::config::{Cli, Command};

    /// What the command prints, and why it ended.
    fn ran(args: &[&str]) -> (String, Option<String>) {
        let Some(Command::OldRecords(asked)) = Cli::parse_from([&["rimbook", "old-records"], args].concat()).command
        else {
            panic!("another command")
        };
        let mut out = Vec::new();
        let end = run(&asked, &mut out);
        (String::from_utf8(out).unwrap(), end.err().map(|why| why.to_string()))
    }

    #[test]
    fn the_command_tries_brings_in_and_says_what_it_did() {
        let home = tempfile::tempdir().unwrap();
        let [data, traces, csv] = ["book", "traces", "jobs.csv"].map(|name| home.path().join(name));
        fs::create_dir(&traces).unwrap();
        let trace = format!("DBL=18.00\r\nTRCFMT=1;36;E;R;F\r\nR={}\r\n", vec!["2500"; 36].join(";"));
        fs::write(traces.join("4711.txt"), trace).unwrap();
        fs::write(&csv, "Bin,Who\n4711,Ada Quill\n4712,Bo Tarn\n").unwrap();
        let [data, traces, csv] = [&data, &traces, &csv].map(|path| path.to_str().unwrap());
        let usual = [traces, "--csv", csv, "--data", data];
        let (out, end) = ran(&usual);
        assert_eq!(
            (out.as_str(), end.as_deref()),
            ("", Some("--column HEAD=KIND: Say which column holds the customer’s name"))
        );
        let matched = [&usual[..], &["--column", "Bin=number", "--column", "2=name"]].concat();
        let stops = "Row 3: neither the row nor a trace file says its eye size: type it in the row\n\
                     Row 3: neither the row nor a trace file says its bridge (DBL): type it in the row\n";
        let one = "1 jobs, 1 of them with a shape; 1 new customers, 0 known; 1 new frames; 0 rows were here already\n";
        let (out, end) = ran(&[&matched[..], &["--dry-run"]].concat());
        let would =
            format!("{stops}Nothing was written. 1 of 2 rows cannot be brought in as they are; the others: {one}");
        assert_eq!((out, end), (would, None));
        let (out, end) = ran(&matched);
        assert_eq!(out, stops);
        assert!(end.is_some_and(|why| why.starts_with("1 rows cannot be brought in as they are")));
        let (out, end) = ran(&[&matched[..], &["--leave-out"]].concat());
        assert_eq!((out, end), (format!("{stops}Brought in: {one}"), None));
        let (out, _) = ran(&[&matched[..], &["--leave-out"]].concat());
        assert!(out.ends_with("Brought in: 0 jobs, 0 of them with a shape; 0 new customers, 0 known; 0 new frames; 1 rows were here already\n"), "{out}");
        let (_, wrong) = ran(&[&usual[..], &["--column", "Bin=cheese"]].concat());
        assert!(wrong.is_some_and(|why| why.contains("“cheese” is none of nothing, number, date")));
        let (_, wrong) = ran(&[&usual[..], &["--column", "Tray=number"]].concat());
        assert_eq!(wrong.as_deref(), Some("--column Tray=number: no column is called “Tray”"));
    }
}
