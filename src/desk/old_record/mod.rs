//! Jobs of before Rimbook, from a table of customers, frames and jobs and the trace files that belong to it.
//!
//! * [`column`](mod@column) – what a column of the table holds, and a guess from its head.
//! * [`row`] – a row read into what it says of a job.
//! * [`day`] – a day as other programs write it.
//! * [`gathered`] – every row with its trace file: the jobs that can be made, and what stands against the others.
//! * [`plan`] – what is new to the book, and what it holds already.
//! * [`problem`] – a line for each thing that is wrong or left out.

pub mod column;
pub mod day;
pub mod gathered;
pub mod plan;
pub mod problem;
pub mod row;

use super::text::folded;

/// What a job of before Rimbook has besides what every job has.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OldRecord {
    /// Its number of then, as it was written.
    pub number: String,
    /// Whether its day is known. Else it counts as of the day it was brought in.
    pub has_date: bool,
    /// Whether a pupil distance is known. Else the one of the job means nothing.
    pub has_pd: bool,
}

/// The most characters of an old number.
pub const MOST_NUMBER: usize = 40;

/// An old number as it is compared: capitals, blanks and zeros before it do not count.
pub fn number_key(number: &str) -> String {
    let key: String = folded(number).split_whitespace().collect();
    let shorter = key.trim_start_matches('0');
    if shorter.is_empty() { key } else { shorter.to_owned() }
}

/// What a table shows where it has nothing to say.
pub(super) fn is_nothing(cell: &str) -> bool {
    ["", "-", "--", "none", "n/a", "na", "null", "nil", "unknown", "?"].contains(&cell.trim().to_lowercase().as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn old_numbers_compare_without_blanks_and_leading_zeros() {
        for (number, key) in
            [("4711", "4711"), (" B-4711 ", "b-4711"), ("00417", "417"), ("000", "000"), ("47 11", "4711")]
        {
            assert_eq!(number_key(number), key, "{number}");
        }
    }
}
