//! Every way a shape comes in: picks the reader of a file, and says what it read as JSON. `rimbook shape` is here.
//!
//! * [`read_any`] – the one function that picks the reader.
//! * [`json`] – a shape as JSON, both ways.
//! * [`command`] – the command line, `rimbook shape read` and `rimbook shape write`.

pub mod command;
pub mod json;

use clap::ValueEnum;
use thiserror::Error;

use crate::shape::record::{self, Assumptions, FileKind, RecordFault, TraceFile};

/// The largest file taken. Each reader has its own limit too.
pub const MAX_BYTES: usize = record::MAX_BYTES;

/// What a file is. Without it the contents decide.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// Interchange records.
    Records,
    /// A plain table of radii.
    Table,
}

/// What the caller knows of a file.
#[derive(Debug, Clone, Default)]
pub struct ReadOptions {
    /// What it is, where that was said.
    pub format: Option<Format>,
    /// What its device does otherwise.
    pub assumptions: Assumptions,
}

/// Why nothing was read or written. One line.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum IntakeError {
    /// The faults of a trace file or table.
    #[error("{}", first_of(.0))]
    Records(Vec<RecordFault>),
    /// The JSON of a shape that is to be written.
    #[error("{field}: {problem}")]
    Json {
        /// The field as a path, `eyes.right.radii_mm`.
        field: String,
        /// What is wrong and what was expected.
        problem: String,
    },
    /// An assumption that cannot be switched so.
    #[error("--assume: {0}")]
    Assumption(String),
    /// A file that cannot be opened, or is too large.
    #[error("{0}")]
    File(String),
}

/// The first fault in the order of the lines, and how many follow.
fn first_of(faults: &[RecordFault]) -> String {
    let first = faults.first().map_or_else(String::new, ToString::to_string);
    match faults.len().saturating_sub(1) {
        0 => first,
        more => format!("{first} (and {more} more)"),
    }
}

/// Reads a shape from the bytes of a file of any kind.
///
/// # Errors
///
/// [`IntakeError`] with every fault of the file.
pub fn read_any(bytes: &[u8], options: &ReadOptions) -> Result<TraceFile, IntakeError> {
    let kind = match options.format {
        Some(Format::Records) => FileKind::Records,
        Some(Format::Table) => FileKind::Table,
        None => FileKind::of(bytes),
    };
    record::read_as(bytes, kind, &options.assumptions).map_err(IntakeError::Records)
}
