//! Checks typed text: trimmed, without control characters, of a limited length.

use thiserror::Error;

/// Why a typed text is refused.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum TextError {
    /// A required text is empty.
    #[error("{0} is needed")]
    Missing(&'static str),
    /// Longer than its place on paper allows.
    #[error("{what} is too long: at most {most} characters")]
    TooLong {
        /// The name of the field, such as `A name`. Starts the sentence.
        what: &'static str,
        /// The most characters allowed.
        most: usize,
    },
}

/// One line of text, which may be empty.
pub fn line(what: &'static str, text: &str, most: usize) -> Result<String, TextError> {
    let clean: String = text.split_whitespace().collect::<Vec<_>>().join(" ");
    let clean: String = clean.chars().filter(|c| !c.is_control()).collect();
    if clean.chars().count() > most { Err(TextError::TooLong { what, most }) } else { Ok(clean) }
}

/// One line of text that must not be empty.
pub fn needed(what: &'static str, text: &str, most: usize) -> Result<String, TextError> {
    let clean = line(what, text, most)?;
    if clean.is_empty() { Err(TextError::Missing(what)) } else { Ok(clean) }
}

/// Several lines, each trimmed, empty ones at the ends dropped.
pub fn lines(what: &'static str, text: &str, most: usize) -> Result<String, TextError> {
    let clean = text
        .lines()
        .map(|l| l.chars().filter(|c| !c.is_control()).collect::<String>().trim().to_owned())
        .collect::<Vec<_>>()
        .join("\n");
    let clean = clean.trim_matches('\n').to_owned();
    if clean.chars().count() > most { Err(TextError::TooLong { what, most }) } else { Ok(clean) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn trims_and_limits_length() {
        assert_eq!(line("A name", "  Ada \t Quill\u{7} ", 20), Ok("Ada Quill".into()));
        assert_eq!(needed("A name", " \n ", 20), Err(TextError::Missing("A name")));
        assert!(line("A name", "abcdef", 5).is_err());
        assert_eq!(lines("An address", "\n 1 Quay \r\n\n Pellmarsh \n", 50), Ok("1 Quay\n\nPellmarsh".into()));
    }
}
