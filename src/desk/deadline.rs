//! The promised date: how near it is, and what the mail-order rule requires (16 CFR Part 435).
//!
//! A lead time counts calendar days, with Sundays and holidays, as the rule does. The summary of the rule is from
//! memory of 435.2 and a public business guide. It is a reminder, not legal advice.

use time::format_description::BorrowedFormatItem;
use time::macros::format_description;
use time::{Date, Duration};

/// Days within which an order must be sent when no other time was stated. Source: 16 CFR 435.2.
pub const STATED_LIMIT_DAYS: i64 = 30;
/// A promise is "due soon" from this many days before.
pub const SOON_DAYS: i64 = 3;

/// The promised date: `lead_days` calendar days after the order.
pub fn promise(ordered_on: Date, lead_days: i64) -> Date {
    // Clamped so that a very large number cannot overflow the duration.
    ordered_on.saturating_add(Duration::days(lead_days.clamp(0, 36_500)))
}

/// How a job stands against its promised date.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Lateness {
    /// Days after the promised date.
    Late(i64),
    /// Promised for today.
    DueToday,
    /// Days left, 1 to [`SOON_DAYS`].
    DueSoon(i64),
    /// Days left, more than [`SOON_DAYS`].
    InTime(i64),
    /// The parcel was sent.
    Sent,
}

impl Lateness {
    pub fn of(promised_on: Date, is_sent: bool, today: Date) -> Self {
        match (promised_on - today).whole_days() {
            _ if is_sent => Lateness::Sent,
            ..0 => Lateness::Late((today - promised_on).whole_days()),
            0 => Lateness::DueToday,
            days @ 1..=SOON_DAYS => Lateness::DueSoon(days),
            days => Lateness::InTime(days),
        }
    }

    /// Shown to the user.
    pub fn words(self) -> String {
        let days = |n: i64| if n == 1 { "1 day".to_owned() } else { format!("{n} days") };
        match self {
            Lateness::Late(n) => format!("{} late", days(n)),
            Lateness::DueToday => "due today".to_owned(),
            Lateness::DueSoon(n) | Lateness::InTime(n) => format!("due in {}", days(n)),
            Lateness::Sent => "sent".to_owned(),
        }
    }

    pub fn is_late(self) -> bool {
        matches!(self, Lateness::Late(_))
    }
}

/// The warning beside the promised date of a new order.
pub fn promise_warning(ordered_on: Date, promised_on: Date) -> Option<String> {
    let days = (promised_on - ordered_on).whole_days();
    if days < 0 {
        return Some("The promised date is before the order.".to_owned());
    }
    (days > STATED_LIMIT_DAYS).then(|| {
        format!(
            "This promises {days} days. Beyond {STATED_LIMIT_DAYS} days the customer must have been told the time \
             before ordering, and you must have good grounds for it (16 CFR 435)."
        )
    })
}

/// `Nov 26, 2026`, as on the pages.
const DAY: &[BorrowedFormatItem<'_>] = format_description!("[month repr:short] [day padding:none], [year]");

/// What the rule requires when a promised date is near or missed.
pub fn delay_notice(promised_on: Date, is_sent: bool, today: Date) -> Option<String> {
    let day = promised_on.format(DAY).unwrap_or_default();
    match Lateness::of(promised_on, is_sent, today) {
        Lateness::Late(_) => Some(format!(
            "Promised for {day} and not sent. The delay notice was due by that day: a new date, or that none can be \
             given and why, and a free way to cancel for a full refund (16 CFR 435). Send it now and write down when."
        )),
        Lateness::DueToday | Lateness::DueSoon(_) => Some(format!(
            "If it cannot leave by {day}, the customer must have a delay notice by that day: a new date and a free \
             way to cancel for a full refund (16 CFR 435)."
        )),
        Lateness::InTime(_) | Lateness::Sent => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    #[test]
    fn counts_calendar_days() {
        assert_eq!(promise(date!(2027 - 02 - 20), 10), date!(2027 - 03 - 02));
        assert_eq!(promise(date!(2028 - 02 - 20), 10), date!(2028 - 03 - 01), "a leap year");
        assert_eq!(promise(date!(2027 - 02 - 20), i64::MAX), date!(2127 - 01 - 27), "bounded to 36,500 days");
    }

    #[test]
    fn lateness_counts_whole_days() {
        let today = date!(2027 - 05 - 10);
        for (promised, want, words) in [
            (date!(2027 - 04 - 30), Lateness::Late(10), "10 days late"),
            (date!(2027 - 05 - 09), Lateness::Late(1), "1 day late"),
            (date!(2027 - 05 - 10), Lateness::DueToday, "due today"),
            (date!(2027 - 05 - 11), Lateness::DueSoon(1), "due in 1 day"),
            (date!(2027 - 05 - 13), Lateness::DueSoon(3), "due in 3 days"),
            (date!(2027 - 05 - 14), Lateness::InTime(4), "due in 4 days"),
        ] {
            assert_eq!(Lateness::of(promised, false, today), want);
            assert_eq!(want.words(), words);
            assert_eq!(Lateness::of(promised, true, today), Lateness::Sent);
        }
    }

    #[test]
    fn warns_beyond_thirty_days_and_requires_a_notice() {
        // 16 CFR 435.2: thirty days where no time was stated.
        let ordered = date!(2027 - 05 - 01);
        assert_eq!(promise_warning(ordered, date!(2027 - 05 - 31)), None);
        assert!(promise_warning(ordered, date!(2027 - 06 - 01)).is_some_and(|w| w.contains("31 days")));
        let promised = date!(2027 - 05 - 10);
        assert!(delay_notice(promised, false, date!(2027 - 05 - 11)).is_some_and(|w| w.contains("May 10, 2027")));
        assert!(delay_notice(promised, false, date!(2027 - 05 - 08)).is_some());
        assert_eq!(delay_notice(promised, false, date!(2027 - 05 - 01)), None);
        assert_eq!(delay_notice(promised, true, date!(2027 - 05 - 11)), None);
    }
}
