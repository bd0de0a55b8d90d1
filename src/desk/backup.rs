//! Backups: how their files are named, which of them are kept as they grow old, and when to warn.

use time::format_description::BorrowedFormatItem;
use time::macros::format_description;
use time::{Date, Duration, OffsetDateTime, PrimitiveDateTime, UtcOffset};

/// The moment in the name of a file, in UTC.
const STAMP: &[BorrowedFormatItem<'_>] = format_description!("[year]-[month]-[day]T[hour][minute][second]Z");
/// How the name begins.
const PREFIX: &str = "rimbook-";
/// How the name of a readable backup ends, and that of an encrypted one.
const PLAIN: &str = ".db";
const SEALED: &str = ".db.age";

/// For so many days a backup of each day is kept.
pub const DAILY_DAYS: i64 = 14;
/// For so many days one of each week is kept. After that, one of each month is kept for good.
pub const WEEKLY_DAYS: i64 = 92;
/// The newest backup may be so old before the pages warn.
pub const WARN_AFTER: Duration = Duration::days(2);

/// Where backups go, and how they are locked.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct BackupSetting {
    /// The folder, as typed: a whole path. Empty: the folder `backups` beside the book.
    pub folder: String,
    /// The public key that automatic backups are encrypted for. Empty: they are not encrypted.
    pub recipient: String,
}

/// The longest path and key that a field takes.
pub const MOST_FOLDER: usize = 1000;
pub const MOST_RECIPIENT: usize = 200;

/// What the name of a backup file says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BackupName {
    /// The mark of the book it is a copy of: two books may share a folder.
    pub mark: String,
    /// When it was made, to the second.
    pub at: OffsetDateTime,
    /// Whether it is encrypted.
    pub is_sealed: bool,
}

impl BackupName {
    /// The name of the file: `rimbook-0a1b2c3d-2026-11-26T174232Z.db`, with `.age` behind it when it is encrypted.
    pub fn file_name(&self) -> String {
        let at = self.at.to_offset(UtcOffset::UTC).format(STAMP).unwrap_or_default();
        format!("{PREFIX}{}-{at}{}", self.mark, if self.is_sealed { SEALED } else { PLAIN })
    }

    /// Reads a file's name. `None` for a file that is no backup of ours, which is then left alone.
    pub fn read(file_name: &str) -> Option<Self> {
        let rest = file_name.strip_prefix(PREFIX)?;
        let (rest, is_sealed) = match rest.strip_suffix(SEALED) {
            Some(rest) => (rest, true),
            None => (rest.strip_suffix(PLAIN)?, false),
        };
        let (mark, at) = rest.split_once('-')?;
        let is_mark = mark.len() == 8 && mark.bytes().all(|b| b.is_ascii_hexdigit());
        let at = PrimitiveDateTime::parse(at, STAMP).ok()?.assume_utc();
        is_mark.then(|| Self { mark: mark.to_owned(), at, is_sealed })
    }
}

/// How long a backup of a day is kept beside others.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum KeepingTime {
    Day(Date),
    /// A week of the ISO calendar, and the month: a week that lies in two months has one for each, so no month is left without.
    Week(i32, u8, time::Month),
    Month(i32, time::Month),
}

fn shelf(day: Date, today: Date) -> KeepingTime {
    match (today - day).whole_days() {
        ..DAILY_DAYS => KeepingTime::Day(day),
        DAILY_DAYS..WEEKLY_DAYS => {
            let (year, week, _) = day.to_iso_week_date();
            KeepingTime::Week(year, week, day.month())
        }
        _ => KeepingTime::Month(day.year(), day.month()),
    }
}

/// Which backups may go: all but the newest of each day of two weeks, of each week of three months, of each month before.
/// The newest of all stays. The answer holds places in `made`, whose days may stand in any order.
pub fn to_remove(made: &[OffsetDateTime], today: Date) -> Vec<usize> {
    let mut places: Vec<usize> = (0..made.len()).collect();
    places.sort_by_key(|place| std::cmp::Reverse(made[*place]));
    let mut last = None;
    places
        .into_iter()
        .filter(|place| {
            let this = shelf(made[*place].date(), today);
            let is_taken = last == Some(this);
            last = Some(this);
            is_taken
        })
        .collect()
}

/// Whether the pages warn of the age of the newest backup.
pub fn is_too_old(newest: OffsetDateTime, now: OffsetDateTime) -> bool {
    now - newest > WARN_AFTER
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use time::macros::{date, datetime};

    use super::*;

    #[test]
    fn a_name_is_read_back_and_others_are_left_alone() {
        for is_sealed in [false, true] {
            let name = BackupName { mark: "0a1b2c3d".into(), at: datetime!(2026-11-26 17:42:32 UTC), is_sealed };
            assert_eq!(BackupName::read(&name.file_name()), Some(name));
        }
        for other in [
            "rimbook.db",
            "rimbook-2026-11-26T174232Z.db",
            "rimbook-0a1b2c3d-2026-11-26T174232Z.db.part",
            "rimbook-0a1b2c3d-2026-13-26T174232Z.db",
            "rimbook-0a1b2c3x-2026-11-26T174232Z.db",
            "copy of rimbook-0a1b2c3d-2026-11-26T174232Z.db",
        ] {
            assert_eq!(BackupName::read(other), None, "{other}");
        }
    }

    /// The days that are left of a year of daily backups, worked out by hand on a calendar of 2026.
    #[test]
    fn a_year_of_days_thins_to_days_weeks_and_months() {
        let today = date!(2026 - 11 - 26);
        let made: Vec<OffsetDateTime> =
            (0..365).map(|back| (today - Duration::days(back)).midnight().assume_utc()).collect();
        let gone = to_remove(&made, today);
        let mut left: Vec<Date> =
            made.iter().enumerate().filter(|(at, _)| !gone.contains(at)).map(|(_, m)| m.date()).collect();
        left.reverse();
        let months = [
            date!(2025 - 11 - 30),
            date!(2025 - 12 - 31),
            date!(2026 - 01 - 31),
            date!(2026 - 02 - 28),
            date!(2026 - 03 - 31),
            date!(2026 - 04 - 30),
            date!(2026 - 05 - 31),
            date!(2026 - 06 - 30),
            date!(2026 - 07 - 31),
            // 92 days before November 26 is August 26.
            date!(2026 - 08 - 26),
        ];
        let weeks = [
            date!(2026 - 08 - 30),
            date!(2026 - 08 - 31),
            date!(2026 - 09 - 06),
            date!(2026 - 09 - 13),
            date!(2026 - 09 - 20),
            date!(2026 - 09 - 27),
            date!(2026 - 09 - 30),
            date!(2026 - 10 - 04),
            date!(2026 - 10 - 11),
            date!(2026 - 10 - 18),
            date!(2026 - 10 - 25),
            date!(2026 - 10 - 31),
            date!(2026 - 11 - 01),
            date!(2026 - 11 - 08),
            date!(2026 - 11 - 12),
        ];
        let days = (13..=26).filter_map(|day| Date::from_calendar_date(2026, time::Month::November, day).ok());
        assert_eq!(left, months.into_iter().chain(weeks).chain(days).collect::<Vec<_>>());
    }

    proptest! {
        /// Whatever days there are and however often they are thinned: the newest stays, every month that had one keeps one, and
        /// thinning again on the same day takes nothing.
        #[test]
        fn the_newest_and_every_month_stay(minutes in prop::collection::vec(0i64..800_000, 1..80), step in 1i64..40) {
            let first = datetime!(2025-01-01 00:00 UTC);
            let mut all: Vec<OffsetDateTime> = minutes.iter().map(|m| first + Duration::minutes(*m)).collect();
            all.sort();
            all.dedup();
            let month = |at: &OffsetDateTime| (at.year(), at.month());
            let mut kept: Vec<OffsetDateTime> = Vec::new();
            let mut left = all.clone();
            let mut today = first.date();
            while !left.is_empty() {
                today += Duration::days(step);
                kept.extend(left.extract_if(.., |at| at.date() <= today));
                let gone = to_remove(&kept, today);
                let before = kept.clone();
                kept = before.iter().enumerate().filter(|(at, _)| !gone.contains(at)).map(|(_, m)| *m).collect();
                prop_assert_eq!(kept.iter().max(), before.iter().max());
                prop_assert!(to_remove(&kept, today).is_empty());
                for at in &before {
                    prop_assert!(kept.iter().any(|k| month(k) == month(at)), "{} on {}", at, today);
                }
            }
        }
    }

    #[test]
    fn two_days_are_too_old() {
        let newest = datetime!(2026-11-24 09:00 UTC);
        assert!(!is_too_old(newest, datetime!(2026-11-26 09:00 UTC)));
        assert!(is_too_old(newest, datetime!(2026-11-26 09:00:01 UTC)));
    }
}
