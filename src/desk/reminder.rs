//! A reminder of what is owed, as a letter and as text to copy.

use time::{Date, Duration};

use super::customer::Person;
use super::date;
use super::lab::Lab;
use super::open_balance::Debtor;

/// How many days a reminder leaves to pay. Common practice.
const DAYS_TO_PAY: i64 = 14;

/// The words of a reminder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reminder {
    pub subject: String,
    /// Each a paragraph, before the list.
    pub before: Vec<String>,
    /// For each job: what it is, and the amount.
    pub rows: Vec<(String, String)>,
    pub total: String,
    /// Each a paragraph, after the list.
    pub after: Vec<String>,
    /// Who writes, line by line.
    pub signed: Vec<String>,
}

impl Reminder {
    /// The reminder to one payer.
    pub fn to(person: &Person, debtor: &Debtor, lab: &Lab, today: Date) -> Self {
        let rows = debtor.jobs.iter().map(|job| {
            let whose =
                if job.patient_name == person.name { String::new() } else { format!(" for {}", job.patient_name) };
            (format!("Job {}{whose}, due since {}", job.job_number, date::day(&job.since)), job.owed.to_string())
        });
        let contact = [lab.phone.as_str(), lab.email.as_str()].into_iter().filter(|text| !text.is_empty());
        Self {
            subject: "Reminder: payment due".to_owned(),
            before: vec![format!("Dear {},", person.name), "Our records show this balance due:".to_owned()],
            rows: rows.collect(),
            total: debtor.owed().to_string(),
            after: vec![
                format!("Please pay by {}.", date::day(&(today + Duration::days(DAYS_TO_PAY)))),
                "If you have already paid, thank you, and please disregard this reminder. If anything here is wrong, \
                 please tell us."
                    .to_owned(),
            ],
            signed: std::iter::once(lab.name.as_str())
                .chain(lab.address.lines())
                .chain(contact)
                .map(str::to_owned)
                .collect(),
        }
    }

    /// The whole as plain text.
    pub fn text(&self) -> String {
        let rows: Vec<String> = self.rows.iter().map(|(what, amount)| format!("{what}: {amount}")).collect();
        let total = if self.rows.len() > 1 { format!("\nTotal: {}", self.total) } else { String::new() };
        let list = format!("{}{total}", rows.join("\n"));
        let parts = self.before.iter().cloned().chain([list]).chain(self.after.iter().cloned());
        parts.chain([self.signed.join("\n")]).collect::<Vec<_>>().join("\n\n")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::desk::id::CustomerId;
    use crate::desk::job::Stage;
    use crate::desk::money::Cents;
    use crate::desk::open_balance::OpenBalance;
    use time::macros::date;
    use uuid::Uuid;

    #[test]
    fn says_what_is_open_since_when() {
        let payer = CustomerId(Uuid::nil());
        let job = |job_number, patient: &str, cents| OpenBalance {
            job_number,
            payer,
            payer_name: "Ada Quill".into(),
            patient_name: patient.into(),
            owed: Cents::new(cents),
            since: date!(2026 - 10 - 01),
            stage: Stage::Sent,
            reminded_at: None,
        };
        let debtor = |jobs| Debtor { payer, name: "Ada Quill".into(), jobs };
        let lab =
            Lab { phone: "555-0100".into(), ..Lab::new("Saltmarsh Lens Post".into(), "4 Quay Lane\nPellmarsh".into()) };
        let person = Person { name: "Ada Quill".into(), ..Person::default() };
        let write = |jobs| Reminder::to(&person, &debtor(jobs), &lab, date!(2026 - 11 - 25)).text();
        let text = write(vec![job(1003, "Ada Quill", 8000), job(1007, "Bo Quill", 1250)]);
        for wanted in [
            "Dear Ada Quill,\n\n",
            "Job 1003, due since Oct 1, 2026: $80.00\nJob 1007 for Bo Quill, due since Oct 1, 2026: $12.50\nTotal: $92.50",
            "pay by Dec 9, 2026",
            "Saltmarsh Lens Post\n4 Quay Lane\nPellmarsh\n555-0100",
        ] {
            assert!(text.contains(wanted), "{wanted} in {text}");
        }
        assert!(!write(vec![job(1003, "Ada Quill", 8000)]).contains("Total"));
    }
}
