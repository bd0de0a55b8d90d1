//! How a date is written: one style, `Nov 25, 2026`, for pages and papers.

use time::macros::format_description;
use time::{Date, OffsetDateTime};

time::serde::format_description!(pub iso_date, Date, "[year]-[month]-[day]");

/// Reads `2026-11-25`, as a date field sends it, or a day typed by hand as month/day/year.
///
/// # Errors
///
/// A sentence that says how to write it.
pub fn read(text: &str) -> Result<Date, String> {
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
    fn writes_days_and_moments() {
        assert_eq!(day(&date!(2026 - 11 - 05)), "Nov 5, 2026");
        assert_eq!(weekday(&date!(2026 - 11 - 25)), "Wed Nov 25");
        assert_eq!(iso(&date!(2026 - 11 - 05)), "2026-11-05");
        assert_eq!(moment(&datetime!(2026-11-25 16:05 UTC)), "Nov 25, 2026, 4:05 pm");
    }
}
