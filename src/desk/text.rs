//! Checks typed text: trimmed, composed, without control characters and direction overrides, of a limited length.

use caseless::Caseless;
use thiserror::Error;
use unicode_normalization::UnicodeNormalization;

/// Why a typed text is refused.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum TextError {
    /// A required text is empty.
    #[error("{0} is needed")]
    Missing(&'static str),
    /// It has characters, but none that can be seen.
    #[error("{0} has nothing in it that can be seen: type it again")]
    Invisible(&'static str),
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
    let clean = shown(&text.split_whitespace().collect::<Vec<_>>().join(" ")).trim().to_owned();
    if clean.chars().count() > most { Err(TextError::TooLong { what, most }) } else { Ok(clean) }
}

/// One line of text that must not be empty.
pub fn needed(what: &'static str, text: &str, most: usize) -> Result<String, TextError> {
    let clean = line(what, text, most)?;
    match () {
        () if !clean.chars().all(is_blank) => Ok(clean),
        () if text.trim().is_empty() => Err(TextError::Missing(what)),
        () => Err(TextError::Invisible(what)),
    }
}

/// The same words compare equal however they are typed: capitals, composed and decomposed accents, and wide or joined
/// letters do not count (Unicode's compatibility caseless match), nor does how many blanks stand between them.
pub fn folded(text: &str) -> String {
    let folded: String = shown(text).nfkd().default_case_fold().nfkc().collect();
    folded.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The text composed (an e and its accent are one letter), without what only changes how the rest is shown.
fn shown(text: &str) -> String {
    text.nfc().filter(|c| !is_hidden(*c)).collect()
}

/// Control characters, marks and overrides of the direction, and characters of no width that join nothing (Unicode's
/// `Default_Ignorable_Code_Point` without joiners, variation selectors and fillers).
fn is_hidden(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{ad}' | '\u{34f}' | '\u{61c}' | '\u{180e}' | '\u{200b}' | '\u{200e}' | '\u{200f}' | '\u{feff}'
            | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{e0000}'..='\u{e007f}')
}

/// What leaves no mark by itself: blanks, joiners, variation selectors, the fillers of Hangul and the empty Braille cell.
fn is_blank(c: char) -> bool {
    c.is_whitespace()
        || matches!(c, '\u{200c}' | '\u{200d}' | '\u{115f}' | '\u{1160}' | '\u{3164}' | '\u{ffa0}' | '\u{2800}'
            | '\u{fe00}'..='\u{fe0f}' | '\u{e0100}'..='\u{e01ef}')
}

/// Several lines, each trimmed, empty ones at the ends dropped.
pub fn lines(what: &'static str, text: &str, most: usize) -> Result<String, TextError> {
    let clean = text.lines().map(|l| shown(l).trim().to_owned()).collect::<Vec<_>>().join("\n");
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
        assert_eq!(lines("An address", "1 Quay\u{202e}\nPellmarsh", 50), Ok("1 Quay\nPellmarsh".into()));
        assert_eq!(lines("An address", "\n 1 Quay \r\n\n Pellmarsh \n", 50), Ok("1 Quay\n\nPellmarsh".into()));
    }

    #[test]
    fn what_cannot_be_seen_is_no_name() {
        for unseen in ["\u{200b}", "\u{3164}\u{3164}", "\u{2800}", "\u{200d} \u{fe0f}", "\u{202e}"] {
            assert_eq!(needed("A name", unseen, 20), Err(TextError::Invisible("A name")), "{unseen:?}");
        }
        // An override would show the rest of the line backward.
        assert_eq!(needed("A name", "Ada\u{202e} Quill\u{2066}", 20), Ok("Ada Quill".into()));
        // A joiner inside a word belongs to it.
        assert_eq!(needed("A name", "می\u{200c}خواهم", 20), Ok("می\u{200c}خواهم".into()));
    }

    /// Pairs of the Unicode Standard, chapter 3.13 (default caseless matching) and chapter 2.12 (equivalent sequences).
    #[test]
    fn folded_words_are_the_same_however_they_are_typed() {
        for (one, other) in [
            ("Élodie  QUILL", "e\u{301}lodie quill"),
            ("Łukasz", "ŁUKASZ"),
            ("ИВАН", "иван"),
            ("Weiß", "WEISS"),
            ("ΜΑΪΟΣ", "μαϊος"),
            ("Ａda", "ada"),
            ("ﬁn", "FIN"),
            ("A\u{200b}da", "ada"),
        ] {
            assert_eq!(folded(one), folded(other), "{one} {other}");
        }
        assert_ne!(folded("Elodie"), folded("Élodie"), "an accent is a letter of its own");
        assert_eq!(folded("Ada Quill"), "ada quill");
    }
}
