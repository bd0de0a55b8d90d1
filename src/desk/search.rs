//! What a person types to find a job by: words in any order, numbers with or without punctuation, and years in words,
//! as in "three years ago, a gold one, name like Marchver".

use time::Date;
use unicode_normalization::UnicodeNormalization;

use super::frame::FrameDetails;
use super::job::Stage;
use crate::optics::Pair;
use crate::optics::prescription::EyePrescription;

/// One thing that a typed search asks for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SearchTerm {
    /// A word or a number.
    Word(String),
    /// A year counted back from today. People are off by one.
    YearsAgo {
        /// The year that comes out.
        year: i32,
        /// What was typed for it.
        typed: String,
    },
}

impl SearchTerm {
    /// As it was typed.
    pub fn typed(&self) -> &str {
        match self {
            SearchTerm::Word(word) => word,
            SearchTerm::YearsAgo { typed, .. } => typed,
        }
    }
}

/// A job as a line of what was found: enough to pick it by.
#[derive(Debug, Clone, PartialEq)]
pub struct FoundJob {
    /// The number on the tray.
    pub number: i64,
    /// For whom.
    pub customer: String,
    /// Where they live.
    pub town: String,
    /// Who pays, if it is somebody else.
    pub payer: Option<String>,
    /// Who gets the parcel, if it is somebody else.
    pub recipient: Option<String>,
    /// In which frame.
    pub frame: FrameDetails,
    /// What was prescribed; `None` for an eye without a prescription.
    pub eyes: Pair<Option<EyePrescription>>,
    /// The day of the order.
    pub ordered_on: Date,
    /// How far it has come.
    pub stage: Stage,
    /// Its number of before Rimbook, of an old record.
    pub old_number: Option<String>,
}

/// Words that describe nothing in the book, and are dropped where anything else is asked for.
const FILLERS: [&str; 34] = [
    "a",
    "an",
    "the",
    "one",
    "ones",
    "pair",
    "pairs",
    "of",
    "in",
    "on",
    "at",
    "to",
    "by",
    "with",
    "without",
    "from",
    "for",
    "and",
    "or",
    "name",
    "named",
    "names",
    "called",
    "like",
    "something",
    "some",
    "about",
    "around",
    "frame",
    "frames",
    "glasses",
    "job",
    "who",
    "lives",
];

/// Numbers as words.
const NUMBERS: [&str; 10] = ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"];

/// Longest search that is read, in words.
const MOST_WORDS: usize = 12;

/// Reads a typed search. Words that say nothing are left out, unless there is nothing else.
pub fn read(typed: &str, today: Date) -> Vec<SearchTerm> {
    // An e and its accent are one letter; alone, the accent would end the word.
    let tokens = tokens(&typed.nfc().collect::<String>());
    let mut wanted = Vec::new();
    let mut at = 0;
    while at < tokens.len() {
        match years_ago(&tokens[at..]) {
            Some((years, used)) => {
                let typed = tokens[at..at + used].join(" ");
                wanted.push(SearchTerm::YearsAgo { year: today.year() - years, typed });
                at += used;
            }
            None => {
                wanted.push(SearchTerm::Word(tokens[at].clone()));
                at += 1;
            }
        }
    }
    let says_something = |one: &SearchTerm| match one {
        SearchTerm::Word(word) => !FILLERS.contains(&word.to_lowercase().as_str()),
        SearchTerm::YearsAgo { .. } => true,
    };
    if wanted.iter().any(says_something) {
        wanted.retain(says_something);
    }
    wanted.truncate(MOST_WORDS);
    wanted
}

/// The words of a text, letters and digits only. The country code of a telephone number is left out.
fn tokens(typed: &str) -> Vec<String> {
    typed
        .split_whitespace()
        .filter(|chunk| *chunk != "+1")
        .flat_map(|chunk| chunk.split(|c: char| !c.is_alphanumeric()))
        .filter(|word| !word.is_empty())
        .map(|word| without_country(word).to_owned())
        .collect()
}

/// Ten digits of an eleven-digit number that begins with 1.
fn without_country(word: &str) -> &str {
    match word.strip_prefix('1') {
        Some(rest) if rest.len() == 10 && rest.bytes().all(|b| b.is_ascii_digit()) => rest,
        _ => word,
    }
}

/// How many years back the first words say, and how many words that took: `three years ago`, `last year`.
fn years_ago(tokens: &[String]) -> Option<(i32, usize)> {
    let word = |place: usize| tokens.get(place).map(|word| word.to_lowercase()).unwrap_or_default();
    let (first, second, third) = (word(0), word(1), word(2));
    match (first.as_str(), second.as_str(), third.as_str()) {
        ("this", "year", _) => Some((0, 2)),
        ("last", "year", _) => Some((1, 2)),
        (count, "year" | "years" | "yr" | "yrs", "ago" | "back") => Some((count_of(count)?, 3)),
        _ => None,
    }
}

fn count_of(word: &str) -> Option<i32> {
    if word == "a" {
        return Some(1);
    }
    let in_words = NUMBERS.iter().zip(1..).find(|(name, _)| **name == word).map(|(_, count)| count);
    in_words.or_else(|| word.parse().ok().filter(|count| (1..=60).contains(count)))
}

/// How many letters of a typed word may be wrong, missing, added or exchanged with the next: none in a short one.
pub fn forgiven(letters: usize) -> usize {
    match letters {
        0..=3 => 0,
        4..=6 => 1,
        _ => 2,
    }
}

/// How many letters from the beginning of a word [`gaps`] looks at.
const COMPARED: usize = 7;

/// The beginning of a word with up to `most` letters left out, in every way. Two words that differ by at most `most`
/// letters have one of these in common, whatever the difference is, so that an index of them finds the one by the other.
pub fn gaps(word: &str, most: usize) -> Vec<String> {
    let beginning: Vec<char> = word.chars().take(COMPARED).collect();
    let mut all = vec![beginning];
    let mut from = 0;
    for _ in 0..most {
        let to = all.len();
        for place in from..to {
            let shorter: Vec<Vec<char>> = (0..all[place].len())
                .filter(|_| all[place].len() > 1)
                .map(|left_out| {
                    let letters = all[place].iter().enumerate();
                    letters.filter(|(at, _)| *at != left_out).map(|(_, letter)| *letter).collect()
                })
                .collect();
            all.extend(shorter);
        }
        from = to;
    }
    let mut gaps: Vec<String> = all.into_iter().map(|letters| letters.into_iter().collect()).collect();
    gaps.sort_unstable();
    gaps.dedup();
    gaps
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use time::macros::date;

    fn read_words(typed: &str) -> String {
        let said = |one: SearchTerm| match one {
            SearchTerm::Word(word) => word,
            SearchTerm::YearsAgo { year, .. } => format!("<{year}>"),
        };
        read(typed, date!(2026 - 11 - 26)).into_iter().map(said).collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn reads_what_people_type() {
        for (typed, words) in [
            ("three years ago, a gold one, name like Marchver", "<2023> gold Marchver"),
            ("last year Quill", "<2025> Quill"),
            ("a year ago 2 yrs back", "<2025> <2024>"),
            ("this year", "<2026>"),
            ("years ago", "years ago"),
            ("0 years ago", "0 years ago"),
            ("(617) 555-0142", "617 555 0142"),
            ("+1 617 555 0142", "617 555 0142"),
            ("16175550142", "6175550142"),
            ("Heron & Rye 52", "Heron Rye 52"),
            // With nothing else a filler is a word.
            ("the one", "the one"),
            ("  \"; -- ", ""),
        ] {
            assert_eq!(read_words(typed), words, "{typed}");
        }
    }

    #[test]
    fn what_was_typed_for_a_year_is_kept() {
        let wanted = read("gold, Three years ago", date!(2026 - 11 - 26));
        assert_eq!(wanted.iter().map(SearchTerm::typed).collect::<Vec<_>>(), ["gold", "Three years ago"]);
    }

    #[test]
    fn gaps_of_a_word() {
        assert_eq!(gaps("tern", 0), ["tern"]);
        assert_eq!(gaps("tern", 1), ["ern", "ten", "ter", "tern", "trn"]);
        assert_eq!(gaps("a", 2), ["a"]);
        // 1 + 7 + 21 of the first seven letters, all different here.
        assert_eq!(gaps("abcdefghij", 2).len(), 29);
    }

    proptest! {
        /// Changing, leaving out or adding as many letters as are forgiven leaves a gap in common.
        #[test]
        fn close_words_share_a_gap(
            word in "[a-z]{4,14}",
            edits in prop::collection::vec((0_usize..3, 0_usize..20, prop::char::range('a', 'z')), 0..=2),
        ) {
            let mut typed: Vec<char> = word.chars().collect();
            for (kind, place, letter) in &edits {
                let place = place % typed.len();
                match kind {
                    0 => typed[place] = *letter,
                    1 => { typed.remove(place); }
                    _ => typed.insert(place, *letter),
                }
            }
            let typed: String = typed.into_iter().collect();
            let (one, other) = (gaps(&word, edits.len()), gaps(&typed, edits.len()));
            prop_assert!(one.iter().any(|gap| other.contains(gap)), "{word} {typed}");
        }
    }
}
