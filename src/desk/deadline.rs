//! The promised date: what it starts from, and how near it is. What follows when it cannot be kept is in
//! [`super::delay`].
//!
//! A lead time counts the lab's working days. The thirty days of the mail-order rule (16 CFR Part 435) are calendar days.

use time::Date;

use super::calendar::ClosedDays;

/// Days within which an order must be sent when no other time was stated. Source: 16 CFR 435.2.
pub const STATED_LIMIT_DAYS: i64 = 30;
/// A promise is "due soon" from this many days before.
pub const SOON_DAYS: i64 = 3;

/// The promised date: so many working days after the order.
pub fn promise(ordered_on: Date, lead_days: i64, closed: &ClosedDays) -> Date {
    closed.working_days_after(ordered_on, lead_days)
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

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    /// Feb 20, 2027 is a Saturday.
    #[test]
    fn a_promise_counts_working_days() {
        let weekend = ClosedDays::weekend();
        assert_eq!(promise(date!(2027 - 02 - 20), 10, &weekend), date!(2027 - 03 - 05));
        assert_eq!(promise(date!(2027 - 02 - 19), 1, &weekend), date!(2027 - 02 - 22));
        assert_eq!(promise(date!(2027 - 02 - 20), 10, &ClosedDays::default()), date!(2027 - 03 - 02));
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
    fn warns_beyond_thirty_days() {
        // 16 CFR 435.2: thirty days where no time was stated.
        let ordered = date!(2027 - 05 - 01);
        assert_eq!(promise_warning(ordered, date!(2027 - 05 - 31)), None);
        assert!(promise_warning(ordered, date!(2027 - 06 - 01)).is_some_and(|w| w.contains("31 days")));
    }
}
