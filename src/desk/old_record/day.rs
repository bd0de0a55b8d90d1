//! A day as other programs write it: year first, month first or day first, with numbers or the name of the month.

use strum::{EnumString, IntoStaticStr, VariantArray};
use time::{Date, Month};

use crate::desk::date::{YEARS, iso};
use crate::desk::key::keyed;

/// Which number comes first in `4/5/2019`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum DayOrder {
    /// As in the United States.
    #[default]
    MonthFirst,
    DayFirst,
}

keyed!(DayOrder);

impl DayOrder {
    /// For a person.
    pub fn words(self) -> &'static str {
        match self {
            DayOrder::MonthFirst => "month first, 4/25/2019",
            DayOrder::DayFirst => "day first, 25/4/2019",
        }
    }

    /// What the days of a column look like: the day comes first where a first number is no month.
    pub fn of<'a>(cells: impl IntoIterator<Item = &'a str>) -> Self {
        let is_day_first = |cell: &str| {
            let parts = parts(cell);
            let number = |at: usize| parts.get(at).and_then(|part: &&str| part.parse::<u16>().ok());
            parts.len() == 3 && number(0).is_some_and(|n| (13..=31).contains(&n)) && number(1).is_some_and(|n| n <= 12)
        };
        if cells.into_iter().any(is_day_first) { DayOrder::DayFirst } else { DayOrder::MonthFirst }
    }
}

/// The years of two digits from here on are of the last century.
const OLD_YEARS: i32 = 70;

/// The three parts of a day. A time of day behind it is dropped.
fn parts(cell: &str) -> Vec<&str> {
    let cell = cell.trim();
    let day = cell.split_once('T').filter(|(day, _)| day.len() == 10).map_or(cell, |(day, _)| day);
    let day = match day.split_once(' ') {
        Some((first, time)) if time.contains(':') && parts_of(first).len() == 3 => first,
        _ => day,
    };
    parts_of(day)
}

fn parts_of(day: &str) -> Vec<&str> {
    day.split(|c: char| "-/., ".contains(c)).filter(|part| !part.is_empty()).collect()
}

/// Reads a day.
///
/// # Errors
///
/// A sentence that says how to write it.
pub fn read(cell: &str, order: DayOrder) -> Result<Date, String> {
    let day = match parts(cell).as_slice() {
        [year, month, day] if year.len() == 4 && number(year).is_some() => {
            date(number(year), month_of(month), number(day))
        }
        [month, day, year] if number(month).is_none() => date(year_of(year), month_of(month), number(day)),
        [day, month, year] if number(month).is_none() => date(year_of(year), month_of(month), number(day)),
        [day, month, year] if order == DayOrder::DayFirst => date(year_of(year), month_of(month), number(day)),
        [month, day, year] => date(year_of(year), month_of(month), number(day)),
        _ => None,
    };
    match day {
        Some(day) if YEARS.contains(&day.year()) => Ok(day),
        Some(day) => Err(format!("“{}” is not a year of this book: write the day like 2019-04-25", iso(&day))),
        None => Err(format!("“{}” is not a day: write it like 2019-04-25", cell.trim())),
    }
}

fn date(year: Option<i32>, month: Option<Month>, day: Option<i32>) -> Option<Date> {
    Date::from_calendar_date(year?, month?, u8::try_from(day?).ok()?).ok()
}

fn number(part: &str) -> Option<i32> {
    part.parse().ok().filter(|_| part.len() <= 4 && part.bytes().all(|b| b.is_ascii_digit()))
}

fn year_of(part: &str) -> Option<i32> {
    let year = number(part)?;
    match part.len() {
        2 if year >= OLD_YEARS => Some(1900 + year),
        2 => Some(2000 + year),
        4 => Some(year),
        _ => None,
    }
}

fn month_of(part: &str) -> Option<Month> {
    if let Some(number) = number(part) {
        return Month::try_from(u8::try_from(number).ok()?).ok();
    }
    /// The fewest letters that name a month.
    const SHORTEST: usize = 3;
    let name = part.to_lowercase();
    let is_it = |month: &Month| {
        let full = month.to_string().to_lowercase();
        name.len() >= SHORTEST && (full.starts_with(&name) || name == "sept" && full == "september")
    };
    (1..=12).filter_map(|number| Month::try_from(number).ok()).find(is_it)
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    #[test]
    fn reads_days_as_spreadsheets_write_them() {
        let april = date!(2019 - 04 - 05);
        for (cell, order, want) in [
            ("2019-04-05", DayOrder::DayFirst, Some(april)),
            ("2019/4/5", DayOrder::MonthFirst, Some(april)),
            ("2019-04-05 00:00:00", DayOrder::MonthFirst, Some(april)),
            ("2019-04-05T10:11:12", DayOrder::MonthFirst, Some(april)),
            ("4/5/2019", DayOrder::MonthFirst, Some(april)),
            ("4/5/19", DayOrder::MonthFirst, Some(april)),
            ("5/4/2019", DayOrder::DayFirst, Some(april)),
            ("05.04.2019", DayOrder::DayFirst, Some(april)),
            ("5-Apr-2019", DayOrder::MonthFirst, Some(april)),
            ("April 5, 2019", DayOrder::DayFirst, Some(april)),
            ("5 april 2019 14:30", DayOrder::MonthFirst, None),
            ("5 Sept 1998", DayOrder::MonthFirst, Some(date!(1998 - 09 - 05))),
            ("12/31/70", DayOrder::MonthFirst, Some(date!(1970 - 12 - 31))),
            ("12/31/69", DayOrder::MonthFirst, Some(date!(2069 - 12 - 31))),
            ("25/4/2019", DayOrder::MonthFirst, None),
            ("2/30/2019", DayOrder::MonthFirst, None),
            ("1/1/1", DayOrder::MonthFirst, None),
            ("43560", DayOrder::MonthFirst, None),
            ("1600-01-01", DayOrder::MonthFirst, None),
            ("", DayOrder::MonthFirst, None),
            ("99999999999/1/1", DayOrder::MonthFirst, None),
        ] {
            assert_eq!(read(cell, order).ok(), want, "{cell:?} {order:?}");
        }
        assert_eq!(read("soon", DayOrder::MonthFirst).unwrap_err(), "“soon” is not a day: write it like 2019-04-25");
    }

    #[test]
    fn a_number_over_twelve_says_which_comes_first() {
        assert_eq!(DayOrder::of(["4/5/2019", "25/4/2019"]), DayOrder::DayFirst);
        assert_eq!(DayOrder::of(["4/5/2019", "4/25/2019"]), DayOrder::MonthFirst);
        assert_eq!(DayOrder::of(["2019-04-25", "x", ""]), DayOrder::MonthFirst);
    }
}
