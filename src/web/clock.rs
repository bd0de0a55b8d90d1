//! The one place that knows what time it is.

use time::{Date, OffsetDateTime, UtcOffset};

/// Where the pages take the time from.
#[derive(Debug, Clone, Copy)]
pub enum Clock {
    /// The machine's clock and its time zone.
    System,
    /// A moment that does not move, for tests.
    Fixed(OffsetDateTime),
}

impl Clock {
    /// Now, in UTC.
    pub fn now(self) -> OffsetDateTime {
        match self {
            Clock::System => OffsetDateTime::now_utc(),
            Clock::Fixed(moment) => moment,
        }
    }

    /// The day it is at the counter.
    pub fn today(self) -> Date {
        self.local(self.now()).date()
    }

    /// A moment as the clock on the wall shows it.
    pub fn local(self, moment: OffsetDateTime) -> OffsetDateTime {
        match self {
            Clock::System => moment.to_offset(offset_at(moment)),
            Clock::Fixed(_) => moment,
        }
    }
}

/// The time zone's offset at a moment. `time` gives up on it in a threaded program on Unix; jiff reads the zone itself.
fn offset_at(moment: OffsetDateTime) -> UtcOffset {
    let Ok(stamp) = jiff::Timestamp::from_second(moment.unix_timestamp()) else { return UtcOffset::UTC };
    let seconds = jiff::tz::TimeZone::system().to_offset(stamp).seconds();
    UtcOffset::from_whole_seconds(seconds).unwrap_or(UtcOffset::UTC)
}
