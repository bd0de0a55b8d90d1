//! Words of the pages: capital letters, classes of an eye, typed days. Dates are written by `desk::date`.

use time::Date;
use time::macros::format_description;

pub use crate::desk::date::{day, iso, moment, weekday};
use crate::optics::Eye;

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
    use time::macros::date;

    #[test]
    fn reads_days() {
        assert_eq!(parse_day("11/5/2026"), Ok(date!(2026 - 11 - 05)));
        assert_eq!(parse_day("2026-11-05"), Ok(date!(2026 - 11 - 05)));
        assert!(parse_day("2026-02-30").is_err());
        assert_eq!(capital("power along the axis"), "Power along the axis");
    }
}
