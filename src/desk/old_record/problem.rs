//! What is wrong with a row or a file, in a line that says what to do.

use std::fmt;

/// Where a problem is.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Place {
    /// A row of the table, counted as a spreadsheet does.
    Row(u64),
    /// A file of the folder, by its path within the folder.
    File(String),
}

/// A line of what was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Where it is.
    pub place: Place,
    /// What it is and what to do, a sentence without its full stop.
    pub says: String,
    /// Whether the row cannot be brought in so. Else it is only said.
    pub stops: bool,
}

impl Problem {
    /// A row that cannot be brought in so.
    pub fn stops(row: u64, says: impl Into<String>) -> Self {
        Self { place: Place::Row(row), says: one_line(&says.into()), stops: true }
    }

    /// Something that is only said of a row.
    pub fn note(row: u64, says: impl Into<String>) -> Self {
        Self { place: Place::Row(row), says: one_line(&says.into()), stops: false }
    }

    /// A file that is left out.
    pub fn file(name: &str, says: impl Into<String>) -> Self {
        Self { place: Place::File(one_line(name)), says: one_line(&says.into()), stops: false }
    }
}

/// A cell and the name of a file may hold several lines.
fn one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Place::Row(row) => write!(f, "Row {row}"),
            Place::File(name) => write!(f, "File {name}"),
        }
    }
}

impl fmt::Display for Problem {
    /// `Row 17: the file “4711.txt” is not in the folder: put it there, or empty the cell`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.place, self.says)
    }
}
