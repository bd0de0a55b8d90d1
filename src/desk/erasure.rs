//! Which records of a customer go at their request, and which have to stay.

use time::Date;

use super::customer::name_key;

/// Records of a pair are kept for so many years after their last entry. Common practice for eyeglass records (from memory):
/// local law may ask for more.
pub const YEARS_KEPT: i32 = 3;

/// A job that names a customer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct JobRecord {
    /// Its number.
    pub number: i64,
    /// Whether the customer wears the pair; else the customer pays for it or gets the parcel.
    pub is_own: bool,
    /// Whether it is still to be sent, or not settled.
    pub is_open: bool,
    /// The day of its last entry.
    pub last: Date,
}

/// What an erasure would do today.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ErasurePlan {
    /// Jobs that forbid it: open, or with money owed.
    pub open: Vec<i64>,
    /// Jobs that are emptied.
    pub to_erase: Vec<i64>,
    /// Jobs that somebody else wears, which lose the customer's address.
    pub of_others: Vec<i64>,
    /// Jobs whose records have to stay, each with the day from which they may go.
    pub kept: Vec<(i64, Date)>,
}

impl ErasurePlan {
    /// Sorts the jobs of a customer.
    pub fn of(jobs: impl IntoIterator<Item = JobRecord>, today: Date) -> Self {
        let mut plan = Self::default();
        for job in jobs {
            let until = years_later(job.last, YEARS_KEPT);
            match job {
                JobRecord { is_open: true, .. } => plan.open.push(job.number),
                _ if until > today => plan.kept.push((job.number, until)),
                // The rest of such a job is for the one who wears it to have erased.
                JobRecord { is_own: false, .. } => plan.of_others.push(job.number),
                _ => plan.to_erase.push(job.number),
            }
        }
        plan
    }
}

/// The day from which nothing has to be kept; none where nothing is kept now.
pub fn kept_until(kept: &[(i64, Date)]) -> Option<Date> {
    kept.iter().map(|(_, until)| *until).max()
}

/// The same day some years later; March 1 for a day that the year does not have.
fn years_later(day: Date, years: i32) -> Date {
    let year = day.year() + years;
    day.replace_year(year).or_else(|_| Date::from_calendar_date(year, time::Month::March, 1)).unwrap_or(day)
}

/// What an erased customer is called.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ErasedCustomer {
    pub name: String,
    /// What namesakes are compared by.
    pub key: String,
}

impl ErasedCustomer {
    /// The name of the customer with this running number, which tells erased customers apart.
    pub fn of(number: i64) -> Self {
        let name = format!("Erased customer {number}");
        Self { key: name_key(&name), name }
    }
}

#[cfg(test)]
mod tests {
    use time::macros::date;

    use super::*;

    #[test]
    fn three_years_are_kept_to_the_day() {
        let job = |number, is_own, is_open, last| JobRecord { number, is_own, is_open, last };
        let today = date!(2026 - 11 - 25);
        let plan = ErasurePlan::of(
            [
                job(1, true, false, date!(2023 - 11 - 25)),
                job(2, true, false, date!(2023 - 11 - 26)),
                job(3, true, true, date!(2020 - 01 - 01)),
                job(4, false, false, date!(2020 - 01 - 01)),
                job(5, false, false, date!(2024 - 02 - 29)),
            ],
            today,
        );
        assert_eq!(plan.open, [3]);
        assert_eq!((plan.to_erase, plan.of_others), (vec![1], vec![4]));
        assert_eq!(plan.kept, [(2, date!(2026 - 11 - 26)), (5, date!(2027 - 03 - 01))]);
        assert_eq!(kept_until(&plan.kept), Some(date!(2027 - 03 - 01)));
        assert_eq!(kept_until(&[]), None);
    }
}
