//! How a date is written: one style, `Nov 25, 2026`, for pages and papers.

use time::macros::format_description;
use time::{Date, OffsetDateTime};

time::serde::format_description!(pub iso_date, Date, "[year]-[month]-[day]");

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
