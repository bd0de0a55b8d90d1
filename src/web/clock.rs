//! The one place that knows what time it is.

use jiff::tz::TimeZone;
use time::{Date, OffsetDateTime, UtcOffset};

/// Where the pages take the time from.
#[derive(Debug, Clone, Copy)]
pub enum Clock {
    /// The machine's clock and its time zone.
    System,
    /// A moment that does not move, in a zone without summer time, for tests.
    Fixed {
        /// The moment.
        now: OffsetDateTime,
        /// What the clock on the wall adds to UTC.
        zone: UtcOffset,
    },
}

impl Clock {
    /// Now, in UTC.
    pub fn now(self) -> OffsetDateTime {
        match self {
            Clock::System => OffsetDateTime::now_utc(),
            Clock::Fixed { now, .. } => now,
        }
    }

    /// The day it is at the counter.
    pub fn today(self) -> Date {
        self.local(self.now()).date()
    }

    /// A moment as the clock on the wall shows it.
    pub fn local(self, moment: OffsetDateTime) -> OffsetDateTime {
        match self {
            Clock::System => moment.to_offset(offset_at(moment, &TimeZone::system())),
            Clock::Fixed { zone, .. } => moment.to_offset(zone),
        }
    }
}

/// The time zone's offset at a moment. `time` gives up on it in a threaded program on Unix; jiff reads the zone itself.
fn offset_at(moment: OffsetDateTime, zone: &TimeZone) -> UtcOffset {
    let Ok(stamp) = jiff::Timestamp::from_second(moment.unix_timestamp()) else { return UtcOffset::UTC };
    let seconds = zone.to_offset(stamp).seconds();
    UtcOffset::from_whole_seconds(seconds).unwrap_or(UtcOffset::UTC)
}

#[cfg(test)]
mod tests {
    use time::macros::{date, datetime, offset};

    use super::*;

    #[test]
    fn the_local_day_turns_at_local_midnight() {
        let today = |now, zone| Clock::Fixed { now, zone }.today();
        // (moment in UTC, zone, local day)
        for (now, zone, day) in [
            (datetime!(2026-11-25 23:59:59 UTC), offset!(UTC), date!(2026 - 11 - 25)),
            (datetime!(2026-11-26 00:00:00 UTC), offset!(UTC), date!(2026 - 11 - 26)),
            (datetime!(2026-11-26 04:59:59 UTC), offset!(-5), date!(2026 - 11 - 25)),
            (datetime!(2026-11-26 05:00:00 UTC), offset!(-5), date!(2026 - 11 - 26)),
            (datetime!(2026-11-25 18:29:59 UTC), offset!(+5:30), date!(2026 - 11 - 25)),
            (datetime!(2026-11-25 18:30:00 UTC), offset!(+5:30), date!(2026 - 11 - 26)),
            (datetime!(2026-12-31 10:00:00 UTC), offset!(+14), date!(2027 - 01 - 01)),
        ] {
            assert_eq!(today(now, zone), day, "{now} at {zone}");
            assert_eq!(Clock::Fixed { now, zone }.now(), now);
        }
    }

    #[test]
    fn summer_time_counts_on_its_own_days_only() {
        // The rule of the eastern United States since 2007, as POSIX writes it: second Sunday of March, first of November.
        let zone = TimeZone::posix("EST5EDT,M3.2.0,M11.1.0").unwrap();
        // (moment in UTC, hours behind UTC): an hour's turn on 8 March and 1 November 2026.
        for (moment, hours) in [
            (datetime!(2026-03-08 06:59:59 UTC), -5),
            (datetime!(2026-03-08 07:00:00 UTC), -4),
            (datetime!(2026-11-01 05:59:59 UTC), -4),
            (datetime!(2026-11-01 06:00:00 UTC), -5),
        ] {
            assert_eq!(offset_at(moment, &zone).whole_hours(), hours, "{moment}");
        }
    }
}
