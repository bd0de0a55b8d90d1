//! How a date is written: one style, `Nov 25, 2026`, for pages and papers.

use std::ops::RangeInclusive;

use time::macros::format_description;
use time::{Date, OffsetDateTime};

time::serde::format_description!(pub iso_date, Date, "[year]-[month]-[day]");

/// Whoever wears a pair may be old; nobody promises one for the next century but one.
pub(super) const YEARS: RangeInclusive<i32> = 1900..=2199;

/// Reads `2026-11-25`, as a date field sends it, or a day typed by hand as month/day/year.
///
/// # Errors
///
/// A sentence that says how to write it.
pub fn read(text: &str) -> Result<Date, String> {
    let text = text.trim();
    let day = Date::parse(text, format_description!("[year]-[month]-[day]"))
        .or_else(|_| Date::parse(text, format_description!("[month padding:none]/[day padding:none]/[year]")));
    match day {
        Ok(day) if YEARS.contains(&day.year()) => Ok(day),
        Ok(_) => {
            Err(format!("“{text}” is not a year of this book: write one from {} to {}", YEARS.start(), YEARS.end()))
        }
        Err(_) if text.is_empty() => Err("A day is needed".to_owned()),
        Err(_) => Err(format!("“{text}” is not a day: write it like 2026-11-25 or 11/25/2026")),
    }
}

/// `Nov 25, 2026`.
pub fn day(date: &Date) -> String {
    date.format(format_description!("[month repr:short] [day padding:none], [year]")).unwrap_or_default()
}

/// `Wed Nov 25`.
pub fn weekday(date: &Date) -> String {
    date.format(format_description!("[weekday repr:short] [month repr:short] [day padding:none]")).unwrap_or_default()
}

/// `2026-11-25`, as a date field holds it.
pub fn iso(date: &Date) -> String {
    date.format(format_description!("[year]-[month]-[day]")).unwrap_or_default()
}

/// `Nov 25, 2026, 4:05 pm`, local time.
pub fn moment(at: &OffsetDateTime) -> String {
    at.format(format_description!(
        "[month repr:short] [day padding:none], [year], [hour repr:12 padding:none]:[minute] [period case:lower]"
    ))
    .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::{date, datetime};

    #[test]
    fn reads_days_of_this_book_alone() {
        for (text, want) in [("2026-11-25", date!(2026 - 11 - 25)), (" 11/5/2026 ", date!(2026 - 11 - 05))] {
            assert_eq!(read(text), Ok(want));
        }
        for (text, said) in [
            ("-0001-01-01", "1900 to 2199"),
            ("0026-11-25", "1900 to 2199"),
            ("9999-12-31", "1900 to 2199"),
            ("11/25/26", "not a day"),
            ("", "needed"),
        ] {
            assert!(read(text).is_err_and(|why| why.contains(said)), "{text}: {:?}", read(text));
        }
    }

    #[test]
    fn writes_days_and_moments() {
        assert_eq!(day(&date!(2026 - 11 - 05)), "Nov 5, 2026");
        assert_eq!(weekday(&date!(2026 - 11 - 25)), "Wed Nov 25");
        assert_eq!(iso(&date!(2026 - 11 - 05)), "2026-11-05");
        assert_eq!(moment(&datetime!(2026-11-25 16:05 UTC)), "Nov 25, 2026, 4:05 pm");
    }
}
