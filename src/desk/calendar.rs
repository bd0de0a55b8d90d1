//! The days on which the lab is closed, and the working days between them.

use time::{Date, Weekday};

use super::date::{self, iso};
use super::text;

/// The days of the week as forms and the book name them.
pub const WEEK: [(&str, Weekday, &str); 7] = [
    ("mon", Weekday::Monday, "Monday"),
    ("tue", Weekday::Tuesday, "Tuesday"),
    ("wed", Weekday::Wednesday, "Wednesday"),
    ("thu", Weekday::Thursday, "Thursday"),
    ("fri", Weekday::Friday, "Friday"),
    ("sat", Weekday::Saturday, "Saturday"),
    ("sun", Weekday::Sunday, "Sunday"),
];

/// How many lines a list of closed days may have.
const MOST_PERIODS: usize = 100;
/// How long the lab may be closed in one line, days.
const MOST_DAYS_CLOSED: i64 = 366;
/// Where the search for an open day ends. No list of closed days reaches so far.
const MOST_DAYS: usize = 400_000;

/// Days on which the lab does not work.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ClosedDays {
    /// Closed every week. Never all seven.
    pub weekdays: Vec<Weekday>,
    /// Closed once, such as a holiday or a vacation.
    pub periods: Vec<ClosedPeriod>,
}

/// One day or several on which the lab is closed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClosedPeriod {
    pub first: Date,
    pub last: Date,
    /// Such as `Thanksgiving`.
    pub name: String,
}

impl ClosedPeriod {
    /// As it is typed: `2026-12-24 to 2027-01-01 Winter break`.
    fn typed(&self) -> String {
        let (first, last) = (iso(&self.first), iso(&self.last));
        let days = if self.first == self.last { first } else { format!("{first} to {last}") };
        format!("{days} {}", self.name).trim_end().to_owned()
    }

    fn read(line: &str) -> Result<Self, String> {
        let (first, rest) = split_day(line)?;
        let (last, name) = match rest.strip_prefix("to ").or_else(|| rest.strip_prefix("- ")) {
            Some(rest) => split_day(rest.trim_start())?,
            None => (first, rest),
        };
        if last < first || (last - first).whole_days() >= MOST_DAYS_CLOSED {
            return Err(format!("“{line}”: the last day must come after the first, within a year"));
        }
        let name = text::line("The name of a closed day", name, 60).map_err(|why| why.to_string())?;
        Ok(Self { first, last, name })
    }
}

fn split_day(text: &str) -> Result<(Date, &str), String> {
    let (day, rest) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    Ok((date::read(day)?, rest.trim()))
}

impl ClosedDays {
    /// Saturday and Sunday.
    pub fn weekend() -> Self {
        Self { weekdays: vec![Weekday::Saturday, Weekday::Sunday], periods: Vec::new() }
    }

    /// Reads the keys of the days of the week, such as `sat sun`.
    ///
    /// # Errors
    ///
    /// A sentence for the page, when no day is left open or a word is none of them.
    pub fn read_weekdays<'a>(keys: impl IntoIterator<Item = &'a str>) -> Result<Vec<Weekday>, String> {
        let mut weekdays = Vec::new();
        for key in keys {
            let day =
                WEEK.iter().find(|(known, ..)| *known == key).ok_or_else(|| format!("“{key}” is not a weekday"))?;
            if !weekdays.contains(&day.1) {
                weekdays.push(day.1);
            }
        }
        weekdays.sort_by_key(|day| day.number_from_monday());
        if weekdays.len() == WEEK.len() { Err("Leave at least one day open".to_owned()) } else { Ok(weekdays) }
    }

    /// Reads the list of closed days, a line each: a day, or `first to last`, then a name.
    ///
    /// # Errors
    ///
    /// A sentence for the page.
    pub fn read_periods(typed: &str) -> Result<Vec<ClosedPeriod>, String> {
        let lines = typed.lines().map(str::trim).filter(|line| !line.is_empty());
        let mut periods = lines.map(ClosedPeriod::read).collect::<Result<Vec<_>, _>>()?;
        periods.sort_by_key(|period| (period.first, period.last));
        periods.dedup();
        if periods.len() > MOST_PERIODS { Err(format!("At most {MOST_PERIODS} lines")) } else { Ok(periods) }
    }

    /// The keys of the weekly days, such as `sat sun`.
    pub fn weekday_keys(&self) -> Vec<&'static str> {
        WEEK.iter().filter(|(_, day, _)| self.weekdays.contains(day)).map(|(key, ..)| *key).collect()
    }

    /// The list as it is typed.
    pub fn typed_periods(&self) -> String {
        self.periods.iter().map(ClosedPeriod::typed).collect::<Vec<_>>().join("\n")
    }

    /// Why the lab is closed on a day: a name, or the day of the week; `None` when it is open.
    pub fn closed_for(&self, day: Date) -> Option<String> {
        let period = self.periods.iter().find(|period| (period.first..=period.last).contains(&day));
        match period {
            Some(period) if !period.name.is_empty() => Some(period.name.clone()),
            Some(_) => Some("a closed day".to_owned()),
            None => self.weekdays.contains(&day.weekday()).then(|| format!("{}", day.weekday())),
        }
    }

    /// The day that is so many working days after another. The first working day after it counts as 1.
    pub fn working_days_after(&self, day: Date, working_days: i64) -> Date {
        let wanted = usize::try_from(working_days).unwrap_or_default();
        let Some(before) = wanted.checked_sub(1) else { return day };
        let days = std::iter::successors(day.next_day(), |day| day.next_day()).take(MOST_DAYS);
        days.filter(|day| self.closed_for(*day).is_none()).nth(before).unwrap_or(Date::MAX)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use time::Duration;
    use time::macros::date;

    fn closed(periods: &str) -> ClosedDays {
        ClosedDays { periods: ClosedDays::read_periods(periods).unwrap(), ..ClosedDays::weekend() }
    }

    /// Counted on a wall calendar: Nov 26, 2026 is a Thursday.
    #[test]
    fn working_days_leave_out_closed_days() {
        let thanksgiving = "2026-11-26 to 2026-11-27 Thanksgiving";
        let winter = "2026-12-24 to 2027-01-01 Winter break";
        for (periods, from, days, want) in [
            ("", date!(2026 - 11 - 20), 1, date!(2026 - 11 - 23)), // Friday, then Monday
            ("", date!(2026 - 11 - 21), 1, date!(2026 - 11 - 23)), // Saturday, then Monday
            ("", date!(2026 - 11 - 25), 10, date!(2026 - 12 - 09)), // ten working days are two weeks
            (thanksgiving, date!(2026 - 11 - 25), 1, date!(2026 - 11 - 30)),
            (thanksgiving, date!(2026 - 11 - 25), 10, date!(2026 - 12 - 11)),
            (winter, date!(2026 - 12 - 23), 1, date!(2027 - 01 - 04)),
            (winter, date!(2026 - 12 - 22), 1, date!(2026 - 12 - 23)),
            ("", date!(2026 - 11 - 25), 0, date!(2026 - 11 - 25)),
        ] {
            assert_eq!(closed(periods).working_days_after(from, days), want, "{days} after {from} without {periods}");
        }
        let never = ClosedDays::default();
        assert_eq!(never.working_days_after(date!(2028 - 02 - 20), 10), date!(2028 - 03 - 01), "a leap year");
        assert_eq!(never.working_days_after(Date::MAX, 3), Date::MAX);
    }

    #[test]
    fn a_list_is_read_line_by_line() {
        let read = closed("12/25/2026 Christmas\n\n 2026-11-26 - 2026-11-27  Thanksgiving \n2026-12-31");
        let lines = "2026-11-26 to 2026-11-27 Thanksgiving\n2026-12-25 Christmas\n2026-12-31";
        assert_eq!(read.typed_periods(), lines);
        assert_eq!(read.closed_for(date!(2026 - 11 - 27)).as_deref(), Some("Thanksgiving"));
        assert_eq!(read.closed_for(date!(2026 - 11 - 28)).as_deref(), Some("Saturday"));
        assert_eq!(read.closed_for(date!(2026 - 12 - 31)).as_deref(), Some("a closed day"));
        assert_eq!(read.closed_for(date!(2026 - 12 - 30)), None);
        for (typed, says) in [
            ("Christmas", "not a day"),
            ("2026-12-25 to Christmas", "not a day"),
            ("2026-12-25 to 2026-12-24 Christmas", "must come after"),
            ("2026-01-01 to 2027-06-01 Away", "within a year"),
        ] {
            let why = ClosedDays::read_periods(typed).unwrap_err();
            assert!(why.contains(says), "{typed}: {why}");
        }
    }

    #[test]
    fn a_week_has_an_open_day() {
        let read = |text: &'static str| ClosedDays::read_weekdays(text.split(' '));
        assert_eq!(read("sun sat sun"), Ok(vec![Weekday::Saturday, Weekday::Sunday]));
        assert!(read("mon tue wed thu fri sat").is_ok());
        assert!(read("mon tue wed thu fri sat sun").is_err_and(|why| why.contains("at least one")));
        assert!(read("someday").is_err());
        assert_eq!(ClosedDays::weekend().weekday_keys(), ["sat", "sun"]);
    }

    proptest! {
        #[test]
        fn a_working_day_is_open_and_later(offset in 0_i64..4000, days in 1_i64..60, from in 0_i64..40, long in 0_i64..30) {
            let day = date!(2026 - 01 - 01) + Duration::days(offset);
            let first = day + Duration::days(from);
            let period = ClosedPeriod { first, last: first + Duration::days(long), name: "Away".to_owned() };
            let closed = ClosedDays { periods: vec![period], ..ClosedDays::weekend() };
            let found = closed.working_days_after(day, days);
            prop_assert!(found > day && closed.closed_for(found).is_none());
            let open = (1..=(found - day).whole_days()).filter(|n| closed.closed_for(day + Duration::days(*n)).is_none());
            prop_assert_eq!(open.count() as i64, days);
            prop_assert_eq!(ClosedDays::read_periods(&closed.typed_periods()).unwrap(), closed.periods);
        }
    }
}
