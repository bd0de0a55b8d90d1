//! A traced frame shape kept under the number of the job it was traced for.

use uuid::Uuid;

use crate::optics::unit::Millimetre;
use crate::optics::{Eye, Pair};
use crate::shape::trace::Trace;

/// What an upload gives before it is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct NewShape {
    /// Both eyes, one of them perhaps a mirror of the other.
    pub traces: Pair<Trace>,
    /// The eye that was not traced, if one.
    pub derived: Option<Eye>,
    /// Distance between the lenses.
    pub dbl: Millimetre,
    /// The very bytes that were uploaded.
    pub original: Vec<u8>,
    /// The name of the file, or what it was.
    pub original_name: String,
}

/// A shape in the book.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptShape {
    /// The key in the book.
    pub id: Uuid,
    /// The job it was traced for.
    pub job_number: i64,
    /// Both eyes.
    pub traces: Pair<Trace>,
    /// The eye that is only a mirror of the other.
    pub derived: Option<Eye>,
    /// Distance between the lenses.
    pub dbl: Millimetre,
    /// The name of the file it came from.
    pub original_name: String,
}
