//! The receipt on a letter sheet, from the kept document and from nothing else.

use askama::Template;

use super::contact;
use crate::desk::date;
use crate::desk::receipt::{Document, Paid, Part, Patient};

/// One line as it prints.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PrintedLine {
    /// In words.
    pub what: String,
    /// Procedure code.
    pub code: String,
    /// `RT`, `LT` or empty.
    pub modifier: String,
    /// How much.
    pub amount: String,
}

/// A sum with its name.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PrintedSum {
    /// Its name.
    pub what: String,
    /// How much.
    pub amount: String,
}

/// The sheet.
#[derive(Debug, Clone, PartialEq, Eq, Template)]
#[template(path = "print/receipt.html")]
pub struct PrintedReceipt {
    /// Receipt number.
    pub number: i64,
    /// The receipt this one corrects.
    pub corrects: Option<i64>,
    /// The lab's name.
    pub seller: String,
    /// Its address, telephone and e-mail.
    pub contact: String,
    /// Its tax id; may be empty.
    pub tax_id: String,
    /// For whom.
    pub patient: String,
    /// Where they live, line by line.
    pub address: Vec<String>,
    /// Who pays, where it is somebody else: the name, then the address line by line.
    pub payer: Vec<String>,
    /// What was prescribed, where it was asked for: the eye and its power.
    pub eyes: Vec<(String, String)>,
    /// The job.
    pub job_number: i64,
    /// Dates and prescriber, only those known.
    pub facts: Vec<(String, String)>,
    /// The items.
    pub items: Vec<PrintedLine>,
    /// Each code used and what it stands for, once, in the order of the items.
    pub codes: Vec<(String, String)>,
    /// Sum of items, then shipping, discount and tax where there are any.
    pub sums: Vec<PrintedSum>,
    /// The total.
    pub total: String,
    /// What came in and went back, each with its day.
    pub payments: Vec<PrintedSum>,
    /// What came in.
    pub paid: String,
    /// In words: balance owed, or to be refunded.
    pub balance_words: String,
    /// The balance, never negative.
    pub balance: String,
    /// The sentences at the foot.
    pub notes: Vec<String>,
}

impl PrintedReceipt {
    /// The sheet of a kept document under its number.
    pub fn of(number: i64, document: &Document) -> Self {
        let back = document.balance_cents.is_negative();
        Self {
            number,
            corrects: document.corrects,
            seller: document.seller.name.clone(),
            contact: contact(&document.seller.address, &document.seller.phone, &document.seller.email),
            tax_id: document.seller.tax_id.clone(),
            patient: document.patient.name.clone(),
            address: document.patient.address.lines().map(str::to_owned).collect(),
            payer: document.payer.iter().flat_map(person_lines).collect(),
            eyes: document.eyes.iter().map(|eye| (eye.eye.clone(), eye.rx.clone())).collect(),
            job_number: document.job_number,
            facts: facts(document),
            items: rows(document, Part::Item),
            codes: codes(document),
            sums: sums(document),
            total: document.total_cents.to_string(),
            payments: document.payments.iter().map(payment).collect(),
            paid: document.paid_cents.to_string(),
            balance_words: if back { "Refund due" } else { "Balance owed" }.to_owned(),
            balance: if back { -document.balance_cents } else { document.balance_cents }.to_string(),
            notes: document.notes.clone(),
        }
    }
}

impl PrintedReceipt {
    /// The same as plain text, for an export.
    pub fn plain_text(&self) -> String {
        let mut lines = vec![self.seller.clone(), self.contact.clone(), self.tax_id.clone()];
        lines.push(format!("Receipt {} of job {}", self.number, self.job_number));
        lines.extend(self.corrects.map(|earlier| format!("Corrects receipt {earlier}")));
        lines.push(String::new());
        lines.push(format!("For {}", self.patient));
        lines.extend(self.address.iter().cloned());
        lines.extend(self.payer.first().map(|name| format!("Paid by {name}")));
        lines.extend(self.payer.iter().skip(1).cloned());
        lines.extend(self.facts.iter().chain(&self.eyes).map(|(what, value)| format!("{what}: {value}")));
        lines.push(String::new());
        let item =
            |line: &PrintedLine| columns(&[&line.what, &line.code, &line.modifier].map(String::as_str), &line.amount);
        lines.extend(self.items.iter().map(item));
        let sum = |sum: &PrintedSum| columns(&[&sum.what], &sum.amount);
        lines.extend(self.sums.iter().map(sum));
        lines.push(columns(&["Total"], &self.total));
        lines.extend(self.payments.iter().map(sum));
        lines.push(columns(&["Paid"], &self.paid));
        lines.push(columns(&[&self.balance_words], &self.balance));
        lines.push(String::new());
        lines.extend(self.codes.iter().map(|(code, what)| format!("{code}: {what}")));
        lines.extend(self.notes.iter().cloned());
        lines.join("\n") + "\n"
    }
}

/// A line with its amount at the end.
fn columns(words: &[&str], amount: &str) -> String {
    let words = words.iter().filter(|word| !word.is_empty()).copied().collect::<Vec<_>>().join("  ");
    format!("{words:<60}{amount:>12}")
}

fn person_lines(person: &Patient) -> Vec<String> {
    std::iter::once(person.name.as_str()).chain(person.address.lines()).map(str::to_owned).collect()
}

fn payment(paid: &Paid) -> PrintedSum {
    let how = paid.how.strip_prefix("refund, ").unwrap_or(&paid.how);
    let moved = if paid.amount_cents.is_negative() { "Refunded" } else { "Received" };
    PrintedSum { what: format!("{moved} {}, {how}", date::day(&paid.on)), amount: paid.amount_cents.to_string() }
}

fn facts(document: &Document) -> Vec<(String, String)> {
    let written = |text: &str| (!text.is_empty()).then(|| text.to_owned());
    [
        ("Issued", Some(date::day(&document.issued_on))),
        ("Ordered", Some(date::day(&document.ordered_on))),
        (
            "Date of service",
            Some(document.sent_on.map_or("not yet sent".to_owned(), |on| format!("{}, sent", date::day(&on)))),
        ),
        ("Prescriber", written(&document.prescriber)),
        ("Prescriber’s NPI", written(&document.prescriber_npi)),
        ("Prescription of", document.prescribed_on.map(|on| date::day(&on))),
        ("Diagnosis, as supplied by the prescriber", written(&document.diagnosis)),
    ]
    .into_iter()
    .filter_map(|(what, value)| Some((what.to_owned(), value?)))
    .collect()
}

fn rows(document: &Document, part: Part) -> Vec<PrintedLine> {
    let lines = document.lines.iter().filter(|line| line.part == part);
    lines
        .map(|line| PrintedLine {
            what: line.what.clone(),
            code: line.code.clone(),
            modifier: line.modifier.clone(),
            amount: line.amount_cents.to_string(),
        })
        .collect()
}

fn codes(document: &Document) -> Vec<(String, String)> {
    let mut codes: Vec<(String, String)> = Vec::new();
    for line in document.lines.iter().filter(|line| !line.code.is_empty() && !line.descriptor.is_empty()) {
        if !codes.iter().any(|(code, _)| *code == line.code) {
            codes.push((line.code.clone(), line.descriptor.clone()));
        }
    }
    codes
}

/// Shipping, discount and tax keep the words of their lines.
fn sums(document: &Document) -> Vec<PrintedSum> {
    let mut sums = vec![PrintedSum { what: "Items".to_owned(), amount: document.items_cents.to_string() }];
    for (part, apart) in [(Part::Shipping, ", not part of the items"), (Part::Discount, ""), (Part::Tax, "")] {
        sums.extend(
            rows(document, part)
                .into_iter()
                .map(|row| PrintedSum { what: format!("{}{apart}", row.what), amount: row.amount }),
        );
    }
    sums
}
