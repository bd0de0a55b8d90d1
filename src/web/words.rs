//! Words of the pages: capital letters, classes of an eye, typed days. Dates are written by `desk::date`.

pub use crate::desk::date::{day, iso, moment, read as parse_day, weekday};
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
