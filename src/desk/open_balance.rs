//! Jobs that are not settled: who owes what since when.

use time::{Date, OffsetDateTime};

use super::id::CustomerId;
use super::job::Stage;
use super::money::Cents;

/// A job that is not settled.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenBalance {
    pub job_number: i64,
    /// Who pays.
    pub payer: CustomerId,
    pub payer_name: String,
    /// For whom the pair is.
    pub patient_name: String,
    /// Negative when it is to be refunded.
    pub owed: Cents,
    /// The day the balance opened.
    pub since: Date,
    /// How far the job has come.
    pub stage: Stage,
    /// When who pays was last reminded.
    pub reminded_at: Option<OffsetDateTime>,
}

/// The open jobs of one payer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Debtor {
    pub payer: CustomerId,
    pub name: String,
    /// The oldest first.
    pub jobs: Vec<OpenBalance>,
}

impl Debtor {
    /// When they were last reminded of any of it.
    pub fn reminded_at(&self) -> Option<OffsetDateTime> {
        self.jobs.iter().filter_map(|job| job.reminded_at).max()
    }

    /// What they owe in all.
    pub fn owed(&self) -> Cents {
        self.jobs.iter().map(|job| job.owed).sum()
    }
}

/// The same jobs by who pays. Who has the oldest comes first; `balances` come oldest first.
pub fn by_payer(balances: Vec<OpenBalance>) -> Vec<Debtor> {
    let mut debtors: Vec<Debtor> = Vec::new();
    for balance in balances {
        match debtors.iter_mut().find(|debtor| debtor.payer == balance.payer) {
            Some(debtor) => debtor.jobs.push(balance),
            None => {
                let (payer, name) = (balance.payer, balance.payer_name.clone());
                debtors.push(Debtor { payer, name, jobs: vec![balance] });
            }
        }
    }
    debtors
}

#[cfg(test)]
mod tests {
    use super::*;
    use time::macros::date;
    use uuid::Uuid;

    #[test]
    fn jobs_stand_under_who_pays() {
        let balance = |job_number, payer: u128, owed, since| OpenBalance {
            job_number,
            payer: CustomerId(Uuid::from_u128(payer)),
            payer_name: format!("Payer {payer}"),
            patient_name: "Ada Quill".into(),
            owed: Cents::new(owed),
            since,
            stage: Stage::Sent,
            reminded_at: None,
        };
        let debtors = by_payer(vec![
            balance(1007, 2, 1200, date!(2026 - 09 - 01)),
            balance(1003, 1, 8000, date!(2026 - 10 - 01)),
            balance(1012, 2, 50, date!(2026 - 11 - 01)),
        ]);
        let seen: Vec<_> = debtors.iter().map(|d| (d.name.as_str(), d.jobs.len(), d.owed().cents())).collect();
        assert_eq!(seen, [("Payer 2", 2, 1250), ("Payer 1", 1, 8000)]);
    }
}
