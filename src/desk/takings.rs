//! What came in, went back and was billed in a day, a month or a year.

use std::collections::BTreeMap;

use strum::{EnumString, IntoStaticStr, VariantArray};
use time::macros::format_description;
use time::{Date, Month};

use super::bill::ChargeKind;
use super::date;
use super::key::keyed;
use super::money::Cents;
use super::payment::PaymentKind;

/// How long a period is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, EnumString, IntoStaticStr, VariantArray)]
#[strum(serialize_all = "snake_case")]
pub enum PeriodSpan {
    Day,
    Month,
    Year,
}

keyed!(PeriodSpan);

/// A day, a month or a year.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Period {
    /// Its first day.
    first: Date,
    digits: usize,
}

impl Period {
    /// Reads `2026-11-25`, `2026-11` or `2026`.
    pub fn read(text: &str) -> Option<Self> {
        let rest = match text.len() {
            4 => "-01-01",
            7 => "-01",
            10 => "",
            _ => return None,
        };
        let first = Date::parse(&format!("{text}{rest}"), format_description!("[year]-[month]-[day]")).ok()?;
        Some(Self { first, digits: text.len() })
    }

    /// The month of a day.
    pub fn month_of(day: Date) -> Self {
        Self { first: day.replace_day(1).unwrap_or(day), digits: 7 }
    }

    /// The year of a day.
    pub fn year_of(day: Date) -> Self {
        let first = Date::from_calendar_date(day.year(), Month::January, 1).unwrap_or(day);
        Self { first, digits: 4 }
    }

    /// How long it is.
    pub fn span(self) -> PeriodSpan {
        match self.digits {
            4 => PeriodSpan::Year,
            7 => PeriodSpan::Month,
            _ => PeriodSpan::Day,
        }
    }

    /// As it is read: `2026-11`.
    pub fn key(self) -> String {
        date::iso(&self.first).chars().take(self.digits).collect()
    }

    /// The next longer period that holds it; a year has none.
    pub fn holder(self) -> Option<Self> {
        match self.span() {
            PeriodSpan::Year => None,
            PeriodSpan::Month => Some(Self::year_of(self.first)),
            PeriodSpan::Day => Some(Self::month_of(self.first)),
        }
    }

    /// Its first and last day.
    pub fn days(self) -> (Date, Date) {
        let (year, month) = (self.first.year(), self.first.month());
        let last = match self.span() {
            PeriodSpan::Year => Date::from_calendar_date(year, Month::December, 31),
            PeriodSpan::Month => self.first.replace_day(month.length(year)),
            PeriodSpan::Day => Ok(self.first),
        };
        (self.first, last.unwrap_or(self.first))
    }

    /// For a person: `Nov 25, 2026`, `November 2026`, `2026`.
    pub fn words(self) -> String {
        match self.span() {
            PeriodSpan::Year => self.first.year().to_string(),
            PeriodSpan::Month => format!("{} {}", self.first.month(), self.first.year()),
            PeriodSpan::Day => date::day(&self.first),
        }
    }
}

/// What came in and went back by one kind of payment.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct MovedMoney {
    pub received: Cents,
    /// Positive.
    pub refunded: Cents,
}

impl MovedMoney {
    /// What stays.
    pub fn kept(self) -> Cents {
        self.received - self.refunded
    }

    fn and(self, other: Self) -> Self {
        Self { received: self.received + other.received, refunded: self.refunded + other.refunded }
    }
}

/// A period's money.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Takings {
    /// Only kinds that moved.
    pub by_kind: BTreeMap<&'static str, MovedMoney>,
    /// All lines of bills, tax included.
    pub billed: Cents,
    pub tax: Cents,
}

impl Takings {
    /// Adds money that moved.
    pub fn add_moved(&mut self, kind: PaymentKind, moved: MovedMoney) {
        let sum = self.by_kind.entry(kind.key()).or_default();
        *sum = sum.and(moved);
    }

    /// Adds lines of bills.
    pub fn add_billed(&mut self, kind: ChargeKind, cents: Cents) {
        self.billed = self.billed + cents;
        if kind == ChargeKind::Tax {
            self.tax = self.tax + cents;
        }
    }

    /// Adds another period's.
    pub fn add(&mut self, other: &Self) {
        for (kind, moved) in &other.by_kind {
            let sum = self.by_kind.entry(kind).or_default();
            *sum = sum.and(*moved);
        }
        self.billed = self.billed + other.billed;
        self.tax = self.tax + other.tax;
    }

    /// By every kind of payment together.
    pub fn moved(&self) -> MovedMoney {
        self.by_kind.values().fold(MovedMoney::default(), |sum, moved| sum.and(*moved))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;

    #[test]
    fn reads_a_day_a_month_or_a_year() {
        for (text, words, first, last, holder) in [
            ("2026-11-25", "Nov 25, 2026", date!(2026 - 11 - 25), date!(2026 - 11 - 25), Some("2026-11")),
            ("2028-02", "February 2028", date!(2028 - 02 - 01), date!(2028 - 02 - 29), Some("2028")),
            ("2026", "2026", date!(2026 - 01 - 01), date!(2026 - 12 - 31), None),
        ] {
            let period = Period::read(text).unwrap();
            assert_eq!((period.key(), period.words(), period.days()), (text.into(), words.into(), (first, last)));
            assert_eq!(period.holder().map(Period::key).as_deref(), holder);
        }
        for wrong in ["", "26", "2026-13", "2026-02-30", "2026-1", "abcd", "ab€"] {
            assert_eq!(Period::read(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn sums_by_kind_and_in_all() {
        let (mut november, mut year) = (Takings::default(), Takings::default());
        let moved = |received, refunded| MovedMoney { received: Cents::new(received), refunded: Cents::new(refunded) };
        november.add_moved(PaymentKind::Card, moved(20_000, 0));
        november.add_moved(PaymentKind::Card, moved(0, 1500));
        november.add_moved(PaymentKind::Cash, moved(500, 0));
        november.add_billed(ChargeKind::Lens, Cents::new(18_000));
        november.add_billed(ChargeKind::Tax, Cents::new(900));
        year.add(&november);
        year.add(&november);
        assert_eq!(november.moved().kept(), Cents::new(19_000));
        assert_eq!((november.billed, november.tax), (Cents::new(18_900), Cents::new(900)));
        assert_eq!(year.by_kind["card"], moved(40_000, 3000));
        assert_eq!((year.moved(), year.tax), (moved(41_000, 3000), Cents::new(1800)));
    }
}
