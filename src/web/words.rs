//! How the pages write a day, a moment, a count.

use time::macros::format_description;
use time::{Date, OffsetDateTime};

use crate::optics::Eye;

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

/// `Nov 25, 2026, 4:05 pm`, as the clock on the wall showed it.
pub fn moment(at: &OffsetDateTime) -> String {
    at.format(format_description!(
        "[month repr:short] [day padding:none], [year], [hour repr:12 padding:none]:[minute] [period case:lower]"
    ))
    .unwrap_or_default()
}

/// With a capital first letter, as a sentence or a row begins.
pub fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

/// The class of everything of one eye in the style sheet; what it is stands in words beside it.
pub fn eye_class(eye: Eye) -> &'static str {
    match eye {
        Eye::Right => "r",
        Eye::Left => "l",
    }
}

/// Reads a date field, or a day typed by hand as month/day/year.
///
/// # Errors
///
/// A sentence that says how to write it.
pub fn parse_day(text: &str) -> Result<Date, String> {
    let text = text.trim();
    Date::parse(text, format_description!("[year]-[month]-[day]"))
        .or_else(|_| Date::parse(text, format_description!("[month padding:none]/[day padding:none]/[year]")))
        .map_err(|_| {
            if text.is_empty() {
                "A day is needed".to_owned()
            } else {
                format!("“{text}” is not a day: write it like 2026-11-25 or 11/25/2026")
            }
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::{date, datetime};

    #[test]
    fn writes_and_reads_days() {
        assert_eq!(day(&date!(2026 - 11 - 05)), "Nov 5, 2026");
        assert_eq!(iso(&date!(2026 - 11 - 05)), "2026-11-05");
        assert_eq!(moment(&datetime!(2026-11-25 16:05 UTC)), "Nov 25, 2026, 4:05 pm");
        assert_eq!(parse_day("11/5/2026"), Ok(date!(2026 - 11 - 05)));
        assert_eq!(parse_day("2026-11-05"), Ok(date!(2026 - 11 - 05)));
        assert!(parse_day("2026-02-30").is_err());
        assert_eq!(capital("power along the axis"), "Power along the axis");
    }
}
