//! The receipt: a document kept whole. Prices, names and codes may change later; this may not, so it holds
//! everything it prints, and a reprint reads nothing else.
//!
//! What it must say (description, date, amount, for whom): 26 CFR proposed 1.125-6(b) as a benefits-law note reads
//! it; the rest, and the words, common practice.

use serde::{Deserialize, Serialize};
use thiserror::Error;
use time::Date;

use super::bill::{Charge, ChargeKind};
use super::customer::Person;
use super::job::Job;
use super::lab::Lab;
use super::money::Cents;
use super::payment::{Payment, PaymentKind};
use super::procedure_code;

time::serde::format_description!(iso_date, Date, "[year]-[month]-[day]");

/// The form of the document written today. A change of meaning takes the next number and keeps reading this one.
pub const FORMAT: u32 = 1;

/// On every receipt, in this order.
pub const NOTES: [&str; 3] = [
    "Paid by the patient; no claim filed by the seller.",
    "Not a safety lens: impact-resistant as required by 21 CFR 801.410, not unbreakable, not safety or sports eyewear.",
    "Codes follow the prescription as entered; a diagnosis is printed only as the prescriber supplied it; your plan \
     decides payment. Keep for tax records.",
];

/// Why a stored text is not a receipt.
#[derive(Debug, Error)]
pub enum ReceiptError {
    /// The text is not such a document.
    #[error("the stored receipt cannot be read: {0}")]
    Unreadable(#[from] serde_json::Error),
    /// Written by a later version of the program.
    #[error("the stored receipt has format {0}, and this program reads up to {FORMAT}")]
    Newer(u32),
    /// The figures do not agree.
    #[error("the stored receipt does not add up: {0}")]
    DoesNotAddUp(&'static str),
}

/// Who sells.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Seller {
    /// Name at the head.
    pub name: String,
    /// Address, lines parted by `\n`.
    pub address: String,
    /// Telephone; may be empty, as the two below.
    pub phone: String,
    /// E-mail.
    pub email: String,
    /// Tax id.
    pub tax_id: String,
}

/// For whom.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Patient {
    /// The name.
    pub name: String,
    /// The address without the name, lines parted by `\n`.
    pub address: String,
}

/// Where on the receipt a line stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// Frame, lenses and what is put on them.
    Item,
    /// Usually not eligible with a plan, so shown apart.
    Shipping,
    /// Taken off; negative.
    Discount,
    /// Sales tax.
    Tax,
}

/// One line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReceiptLine {
    /// Where it stands.
    pub part: Part,
    /// In words.
    pub what: String,
    /// `RT`, `LT` or empty.
    pub modifier: String,
    /// Procedure code, or empty.
    pub code: String,
    /// What the code stands for, or empty.
    pub descriptor: String,
    /// How much.
    pub amount_cents: Cents,
}

/// Money received, or negative, given back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Paid {
    /// On which day.
    #[serde(with = "iso_date")]
    pub on: Date,
    /// How, in words.
    pub how: String,
    /// How much.
    pub amount_cents: Cents,
}

/// A receipt without its number, which the book gives.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Document {
    /// Which form this is; see [`FORMAT`].
    pub format: u32,
    /// Who sells.
    pub seller: Seller,
    /// For whom.
    pub patient: Patient,
    /// The job.
    pub job_number: i64,
    /// The receipt this one corrects.
    pub corrects: Option<i64>,
    /// The day it was issued.
    #[serde(with = "iso_date")]
    pub issued_on: Date,
    /// The day of the order.
    #[serde(with = "iso_date")]
    pub ordered_on: Date,
    /// The day the parcel left.
    #[serde(with = "iso_date::option")]
    pub sent_on: Option<Date>,
    /// Who prescribed; may be empty.
    pub prescriber: String,
    /// The date of the prescription.
    #[serde(with = "iso_date::option")]
    pub prescribed_on: Option<Date>,
    /// Only as the prescriber supplied it; may be empty.
    pub diagnosis: String,
    /// Every line of the bill in its order.
    pub lines: Vec<ReceiptLine>,
    /// Sum of the items.
    pub items_cents: Cents,
    /// Sum of shipping.
    pub shipping_cents: Cents,
    /// Sum of what was taken off; negative or nothing.
    pub discount_cents: Cents,
    /// Sum of tax.
    pub tax_cents: Cents,
    /// Sum of all lines.
    pub total_cents: Cents,
    /// What came in, in its order.
    pub payments: Vec<Paid>,
    /// Sum of the payments.
    pub paid_cents: Cents,
    /// Total less paid: owed when positive, to be given back when negative.
    pub balance_cents: Cents,
    /// The sentences at the foot.
    pub notes: Vec<String>,
}

/// What a receipt is made from.
#[derive(Debug, Clone)]
pub struct ReceiptFacts<'a> {
    /// The lab as it is today.
    pub lab: &'a Lab,
    /// The customer as known today.
    pub person: &'a Person,
    /// The job.
    pub job_number: i64,
    /// The receipt this one corrects.
    pub corrects: Option<i64>,
    /// Today.
    pub issued_on: Date,
    /// The day of the order.
    pub ordered_on: Date,
    /// The day the parcel left.
    pub sent_on: Option<Date>,
    /// Who prescribed.
    pub prescriber: &'a str,
    /// The date of the prescription.
    pub prescribed_on: Option<Date>,
    /// As the prescriber supplied it.
    pub diagnosis: &'a str,
    /// The bill.
    pub charges: &'a [Charge],
    /// What came in.
    pub payments: &'a [Payment],
}

impl<'a> ReceiptFacts<'a> {
    /// The first receipt of a job; one that corrects another says which.
    pub fn of(job: &'a Job, lab: &'a Lab, charges: &'a [Charge], payments: &'a [Payment], issued_on: Date) -> Self {
        Self {
            lab,
            person: &job.customer.person,
            job_number: job.number,
            corrects: None,
            issued_on,
            ordered_on: job.ordered_on,
            sent_on: job.sent_on,
            prescriber: &job.prescription.prescriber,
            prescribed_on: job.prescription.written_on,
            diagnosis: &job.prescription.diagnosis,
            charges,
            payments,
        }
    }
}

impl Document {
    /// The receipt of a job as things stand.
    pub fn new(facts: &ReceiptFacts<'_>) -> Self {
        let lines: Vec<ReceiptLine> = facts.charges.iter().map(ReceiptLine::of).collect();
        let payments: Vec<Paid> = facts.payments.iter().map(Paid::of).collect();
        let total = sum(&lines, None);
        let paid: Cents = payments.iter().map(|p| p.amount_cents).sum();
        Self {
            format: FORMAT,
            seller: Seller {
                name: facts.lab.name.clone(),
                address: facts.lab.address.clone(),
                phone: facts.lab.phone.clone(),
                email: facts.lab.email.clone(),
                tax_id: facts.lab.tax_id.clone(),
            },
            patient: Patient { name: facts.person.name.clone(), address: address(facts.person) },
            job_number: facts.job_number,
            corrects: facts.corrects,
            issued_on: facts.issued_on,
            ordered_on: facts.ordered_on,
            sent_on: facts.sent_on,
            prescriber: facts.prescriber.to_owned(),
            prescribed_on: facts.prescribed_on,
            diagnosis: facts.diagnosis.to_owned(),
            items_cents: sum(&lines, Some(Part::Item)),
            shipping_cents: sum(&lines, Some(Part::Shipping)),
            discount_cents: sum(&lines, Some(Part::Discount)),
            tax_cents: sum(&lines, Some(Part::Tax)),
            total_cents: total,
            lines,
            payments,
            paid_cents: paid,
            balance_cents: total - paid,
            notes: notes(total - paid),
        }
    }

    /// The document as the book keeps it.
    ///
    /// # Errors
    ///
    /// [`ReceiptError::Unreadable`] for a date outside the years 0 to 9999.
    pub fn to_json(&self) -> Result<String, ReceiptError> {
        Ok(serde_json::to_string(self)?)
    }

    /// Reads a kept document.
    ///
    /// # Errors
    ///
    /// [`ReceiptError`]: not such a document, of a later form, or with figures that do not agree.
    pub fn from_json(text: &str) -> Result<Self, ReceiptError> {
        // The form is asked first, so that a later document is called later and not broken.
        #[derive(Deserialize)]
        struct FormatOnly {
            format: u32,
        }
        let FormatOnly { format } = serde_json::from_str(text)?;
        if format > FORMAT {
            return Err(ReceiptError::Newer(format));
        }
        let document: Self = serde_json::from_str(text)?;
        document.check()?;
        Ok(document)
    }

    fn check(&self) -> Result<(), ReceiptError> {
        let paid: Cents = self.payments.iter().map(|p| p.amount_cents).sum();
        let parts = [
            (Part::Item, self.items_cents),
            (Part::Shipping, self.shipping_cents),
            (Part::Discount, self.discount_cents),
            (Part::Tax, self.tax_cents),
        ];
        match () {
            () if parts.iter().any(|(part, cents)| sum(&self.lines, Some(*part)) != *cents) => {
                Err(ReceiptError::DoesNotAddUp("a part is not the sum of its lines"))
            }
            () if sum(&self.lines, None) != self.total_cents => {
                Err(ReceiptError::DoesNotAddUp("the total is not the sum of the lines"))
            }
            () if paid != self.paid_cents => Err(ReceiptError::DoesNotAddUp("paid is not the sum of the payments")),
            () if self.total_cents - self.paid_cents != self.balance_cents => {
                Err(ReceiptError::DoesNotAddUp("the balance is not the total less what was paid"))
            }
            () => Ok(()),
        }
    }
}

impl ReceiptLine {
    fn of(charge: &Charge) -> Self {
        Self {
            part: match charge.kind {
                ChargeKind::Shipping => Part::Shipping,
                ChargeKind::Discount => Part::Discount,
                ChargeKind::Tax => Part::Tax,
                ChargeKind::Frame
                | ChargeKind::Lens
                | ChargeKind::Material
                | ChargeKind::Coating
                | ChargeKind::Tint
                | ChargeKind::Prism
                | ChargeKind::Other => Part::Item,
            },
            what: charge.what.clone(),
            modifier: charge.eye.map(procedure_code::modifier).unwrap_or_default().to_owned(),
            code: charge.code.clone(),
            descriptor: procedure_code::descriptor(&charge.code).unwrap_or_default().to_owned(),
            amount_cents: charge.amount,
        }
    }
}

impl Paid {
    fn of(payment: &Payment) -> Self {
        let how = match payment.kind {
            PaymentKind::Card => "card",
            PaymentKind::Check => "check",
            PaymentKind::Cash => "cash",
            PaymentKind::Transfer => "bank transfer",
            PaymentKind::Other => "other",
        };
        let back = if payment.amount.is_negative() { "refund, " } else { "" };
        Self { on: payment.paid_on, how: format!("{back}{how}"), amount_cents: payment.amount }
    }
}

fn sum(lines: &[ReceiptLine], part: Option<Part>) -> Cents {
    lines.iter().filter(|line| part.is_none_or(|part| line.part == part)).map(|line| line.amount_cents).sum()
}

/// "Paid by the patient" is only true once nothing is owed.
fn notes(balance: Cents) -> Vec<String> {
    let mut notes = NOTES.map(str::to_owned);
    if balance > Cents::ZERO {
        notes[0] = "Not yet paid in full; no claim filed by the seller.".to_owned();
    }
    notes.to_vec()
}

/// The printed address without its first line, the name.
fn address(person: &Person) -> String {
    Person { name: String::new(), ..person.clone() }.label()
}
