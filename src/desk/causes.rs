//! Where lenses and pairs went wrong over a year: spoiled lenses and remakes by month and by cause.

use time::{Date, Month};

use super::fault::FaultCause;

/// Remakes and spoilage on one day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Mishap {
    pub kind: MishapKind,
    pub cause: FaultCause,
    pub on: Date,
}

/// What was lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MishapKind {
    /// A lens in hand was spoiled.
    Spoiled,
    /// A remake was ordered.
    Remade,
}

/// How often, in one month or for one cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Tally {
    pub spoiled: u32,
    pub remade: u32,
}

impl Tally {
    fn add(&mut self, kind: MishapKind) {
        match kind {
            MishapKind::Spoiled => self.spoiled += 1,
            MishapKind::Remade => self.remade += 1,
        }
    }

    pub fn total(self) -> u32 {
        self.spoiled + self.remade
    }

    /// Remakes for each hundred jobs sent; `None` where none was sent.
    pub fn remake_rate(self, sent: u32) -> Option<f64> {
        (sent > 0).then(|| 100.0 * f64::from(self.remade) / f64::from(sent))
    }
}

/// One year.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct YearOfCauses {
    pub year: i32,
    /// January to December, with the jobs sent in each.
    pub months: [(Month, Tally, u32); 12],
    /// Every cause that occurred, the most frequent first.
    pub causes: Vec<(FaultCause, Tally)>,
}

impl YearOfCauses {
    /// Counts the mishaps of a year; those of another year are left out. `sent` are the jobs sent in each month.
    pub fn of(year: i32, mishaps: &[Mishap], sent: &[u32; 12]) -> Self {
        let mut months = std::array::from_fn(|i| (month(i), Tally::default(), sent[i]));
        let mut causes: Vec<_> = FaultCause::ALL.iter().map(|&cause| (cause, Tally::default())).collect();
        for mishap in mishaps.iter().filter(|mishap| mishap.on.year() == year) {
            months[usize::from(u8::from(mishap.on.month())) - 1].1.add(mishap.kind);
            causes.iter_mut().filter(|(cause, _)| *cause == mishap.cause).for_each(|(_, tally)| tally.add(mishap.kind));
        }
        causes.retain(|(_, tally)| tally.total() > 0);
        // A stable sort: equal causes keep the order of the work.
        causes.sort_by_key(|(_, tally)| std::cmp::Reverse(tally.total()));
        Self { year, months, causes }
    }

    /// The whole year, with the jobs sent in it.
    pub fn whole(&self) -> (Tally, u32) {
        self.months.iter().fold((Tally::default(), 0), |(sum, sent), (_, tally, in_month)| {
            let sum = Tally { spoiled: sum.spoiled + tally.spoiled, remade: sum.remade + tally.remade };
            (sum, sent + in_month)
        })
    }
}

/// The month at this place from 0.
fn month(index: usize) -> Month {
    Month::January.nth_next(index as u8)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use time::macros::date;

    #[test]
    fn counts_by_month_and_by_cause() {
        let of = |kind, cause, on| Mishap { kind, cause, on };
        let year = YearOfCauses::of(
            2026,
            &[
                of(MishapKind::Spoiled, FaultCause::Cut, date!(2026 - 01 - 31)),
                of(MishapKind::Spoiled, FaultCause::Lens, date!(2026 - 02 - 01)),
                of(MishapKind::Remade, FaultCause::Lens, date!(2026 - 12 - 31)),
                of(MishapKind::Remade, FaultCause::Post, date!(2025 - 12 - 31)),
            ],
            &[0, 50, 0, 0, 0, 0, 0, 0, 0, 0, 0, 25],
        );
        let tally = |spoiled, remade| Tally { spoiled, remade };
        assert_eq!(year.months[0], (Month::January, tally(1, 0), 0));
        assert_eq!(year.months[11], (Month::December, tally(0, 1), 25));
        assert_eq!(year.causes, [(FaultCause::Lens, tally(1, 1)), (FaultCause::Cut, tally(1, 0))]);
        assert_eq!(year.whole(), (tally(2, 1), 75));
        // One remake for 25 jobs is 4 in a hundred.
        assert_eq!(year.months[11].1.remake_rate(25), Some(4.0));
        assert_eq!(tally(0, 1).remake_rate(0), None);
    }

    proptest! {
        #[test]
        fn no_mishap_is_lost(days in proptest::collection::vec((0u16..365, 0usize..10, any::<bool>()), 0..60)) {
            let mishaps: Vec<Mishap> = days.iter().map(|&(day, cause, is_remake)| Mishap {
                kind: if is_remake { MishapKind::Remade } else { MishapKind::Spoiled },
                cause: FaultCause::ALL[cause],
                on: Date::from_ordinal_date(2026, day + 1).unwrap(),
            }).collect();
            let year = YearOfCauses::of(2026, &mishaps, &[1; 12]);
            let by_cause: u32 = year.causes.iter().map(|(_, tally)| tally.total()).sum();
            prop_assert_eq!((by_cause as usize, year.whole().0.total() as usize), (mishaps.len(), mishaps.len()));
        }
    }
}
