//! A kept check as the page shows it.

use super::kept::ReadCheck;
use crate::bench::verification::{self, Outcome};
use crate::desk::job::Job;
use crate::optics::Eye;
use crate::web::{AppState, words};

/// A check as it is shown.
pub(super) struct ShownCheck {
    pub(super) attempt: i64,
    pub(super) at: String,
    pub(super) is_passed: bool,
    pub(super) is_current: bool,
    pub(super) sentence: String,
    pub(super) profile: String,
    /// Both powers in words, where the lenses were ordered compensated; else empty.
    pub(super) compensated: String,
    pub(super) typed: Vec<(&'static str, String)>,
    pub(super) rows: Vec<ShownRow>,
    pub(super) sources: Vec<(char, String)>,
    pub(super) reason: Option<String>,
    /// What the readings look like, the likeliest first.
    pub(super) looks_like: Vec<String>,
    /// Why the pair may not be sent even with a reason; else empty.
    pub(super) kept_back: String,
    /// Whether that is only because a thin lens has no proof of impact resistance yet.
    pub(super) is_too_thin: bool,
}

/// A row of the verdict as it is shown.
pub(super) struct ShownRow {
    pub(super) letter: &'static str,
    pub(super) row: verification::VerdictRow,
    pub(super) source: char,
    pub(super) class: &'static str,
    pub(super) mark: &'static str,
}

impl ShownCheck {
    pub(super) fn of(check: ReadCheck, is_current: bool, state: &AppState, job: &Job) -> Self {
        let (reading, verdict) = (check.reading, check.verdict);
        let kept_back = verdict.kept_back_of(job);
        // Each source stands once below the table, under a letter.
        let mut sources: Vec<(char, String)> = Vec::new();
        let mut letter_of = |source: &str| match sources.iter().find(|(_, known)| known == source) {
            Some((letter, _)) => *letter,
            None => {
                let letter = ('a'..='z').nth(sources.len()).unwrap_or('z');
                sources.push((letter, source.to_owned()));
                letter
            }
        };
        let rows = verdict.rows.iter().map(|row| ShownRow::of(row.clone(), letter_of(&row.source))).collect();
        let typed = Eye::BOTH.into_iter().map(|eye| (eye.name(), reading.get(eye).typed.clone()));
        Self {
            attempt: check.kept.attempt,
            at: words::moment(&state.clock.local(check.kept.at)),
            is_passed: check.kept.passed,
            is_current,
            sentence: verdict.sentence(),
            is_too_thin: verdict.kept_back.is_empty() && !kept_back.is_empty(),
            kept_back,
            looks_like: verdict.looks_like,
            profile: verdict.profile,
            compensated: verdict.compensated,
            typed: typed.filter(|(_, typed)| !typed.is_empty()).collect(),
            reason: check.kept.conceded(),
            rows,
            sources,
        }
    }
}

impl ShownRow {
    fn of(row: verification::VerdictRow, source: char) -> Self {
        Self {
            source,
            letter: match row.eye.as_str() {
                "right" => "R",
                "left" => "L",
                _ => "",
            },
            class: match row.outcome {
                Outcome::Pass => "pass",
                Outcome::PassAtLimit => "limit",
                Outcome::Fail => "fail",
                Outcome::NotChecked => "unchecked",
            },
            mark: row.outcome.words(),
            row,
        }
    }
}
