//! The receipt as a stored document. Prices, names and codes may change later, but an issued receipt may not. So it
//! stores everything it prints, and a reprint reads nothing else.
//!
//! Required contents (description, date, amount, for whom): 26 CFR proposed 1.125-6(b), according to a benefits-law
//! note. The rest, and the wording, are common practice.

use serde::{Deserialize, Serialize};
use thiserror::Error;
use time::Date;

use super::account::Account;
use super::bill::{Charge, ChargeKind};
use super::customer::Person;
use super::date::iso_date;
use super::job::Job;
use super::lab::Lab;
use super::money::Cents;
use super::npi::Npi;
use super::payment::Payment;
use super::procedure_code;
use crate::optics::prescription::EyePrescription;
use crate::optics::{Eye, Pair};

/// The format version written now. A change of meaning gets the next number; older versions must stay readable.
pub const FORMAT: u32 = 2;

/// The sentences of a receipt that is paid, of lenses whose impact resistance is on record, in this order.
pub const NOTES: [&str; 3] = [
    "Paid by the patient; no claim filed by the seller.",
    "Not a safety lens: impact-resistant as required by 21 CFR 801.410, not unbreakable, not safety or sports eyewear.",
    "Codes follow the prescription as entered; a diagnosis is printed only as the prescriber supplied it; your plan \
     decides payment. Keep for tax records.",
];

/// In the place of the second where impact resistance is not on record.
const NOT_SAFETY: &str = "Not a safety lens: not unbreakable, not safety or sports eyewear.";

/// Why a stored text is not a receipt.
#[derive(Debug, Error)]
pub enum ReceiptError {
    /// The text is not a receipt document.
    #[error("the stored receipt cannot be read: {0}")]
    Unreadable(#[from] serde_json::Error),
    /// Written by a later version of the program.
    #[error("the stored receipt has format {0}, and this program reads up to {FORMAT}")]
    Newer(u32),
    /// The amounts do not agree.
    #[error("the stored receipt does not add up: {0}")]
    DoesNotAddUp(&'static str),
}

/// The lab that issues the receipt.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Seller {
    pub name: String,
    /// Lines separated by `\n`.
    pub address: String,
    /// May be empty, like the two below.
    pub phone: String,
    pub email: String,
    pub tax_id: String,
}

/// A person as a receipt names them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Patient {
    pub name: String,
    /// Without the name; lines separated by `\n`.
    pub address: String,
}

/// The part of the receipt that a line belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// Frame, lenses and treatments.
    Item,
    /// Plans usually do not cover it, so it is shown separately.
    Shipping,
    /// A negative amount.
    Discount,
    Tax,
}

/// One line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReceiptLine {
    pub part: Part,
    pub what: String,
    /// `RT`, `LT` or empty.
    pub modifier: String,
    /// Procedure code, or empty.
    pub code: String,
    /// The descriptor of the code, or empty.
    pub descriptor: String,
    pub amount_cents: Cents,
}

/// What was prescribed for an eye.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PrescribedEye {
    /// `right` or `left`.
    pub eye: String,
    /// As a practitioner writes it.
    pub rx: String,
}

/// A payment; a refund has a negative amount.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Paid {
    #[serde(with = "iso_date")]
    pub on: Date,
    /// Such as `card` or `refund, card`.
    pub how: String,
    pub amount_cents: Cents,
}

/// A receipt without its number, which the store assigns.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Document {
    /// The format version; see [`FORMAT`].
    pub format: u32,
    /// The lab that issues the receipt.
    pub seller: Seller,
    /// Who wears the pair.
    pub patient: Patient,
    /// Who pays, where it is somebody else. Since format 2.
    #[serde(default)]
    pub payer: Option<Patient>,
    pub job_number: i64,
    /// The receipt this one corrects.
    pub corrects: Option<i64>,
    #[serde(with = "iso_date")]
    pub issued_on: Date,
    #[serde(with = "iso_date")]
    pub ordered_on: Date,
    /// The day the parcel was sent.
    #[serde(with = "iso_date::option")]
    pub sent_on: Option<Date>,
    /// May be empty.
    pub prescriber: String,
    /// The prescriber's NPI, or empty. Since format 2.
    #[serde(default)]
    pub prescriber_npi: String,
    #[serde(with = "iso_date::option")]
    pub prescribed_on: Option<Date>,
    /// What was prescribed for each eye, where the customer asked for it. Since format 2.
    #[serde(default)]
    pub eyes: Vec<PrescribedEye>,
    /// Only as the prescriber wrote it; may be empty.
    pub diagnosis: String,
    /// The lines of the bill that charge something and were not taken back, in order.
    pub lines: Vec<ReceiptLine>,
    pub items_cents: Cents,
    pub shipping_cents: Cents,
    /// Zero or negative.
    pub discount_cents: Cents,
    pub tax_cents: Cents,
    /// Sum of all lines.
    pub total_cents: Cents,
    /// Payments and refunds, in order.
    pub payments: Vec<Paid>,
    pub paid_cents: Cents,
    /// Total minus paid: owed when positive, to be refunded when negative.
    pub balance_cents: Cents,
    /// The sentences at the bottom.
    pub notes: Vec<String>,
}

/// The values a receipt is made from.
#[derive(Debug, Clone)]
pub struct ReceiptFacts<'a> {
    /// The lab's current details.
    pub lab: &'a Lab,
    /// The patient's current details.
    pub person: &'a Person,
    /// Who pays, where it is somebody else.
    pub payer: Option<&'a Person>,
    pub job_number: i64,
    /// The receipt this one corrects.
    pub corrects: Option<i64>,
    pub issued_on: Date,
    pub ordered_on: Date,
    /// The day the parcel was sent.
    pub sent_on: Option<Date>,
    /// May be empty.
    pub prescriber: &'a str,
    pub prescriber_npi: Option<&'a Npi>,
    pub prescribed_on: Option<Date>,
    /// What was prescribed for each eye; none when it is not to be printed.
    pub eyes: Pair<Option<EyePrescription>>,
    /// Only as the prescriber wrote it; may be empty.
    pub diagnosis: &'a str,
    /// Whether proof of impact resistance is on record for both lenses.
    pub is_impact_proven: bool,
    /// Whether the order was canceled.
    pub is_cancelled: bool,
    /// What was billed and paid.
    pub account: &'a Account,
}

impl<'a> ReceiptFacts<'a> {
    /// The values for a job's first receipt, without its prescription. For a correction set `corrects`.
    pub fn of(job: &'a Job, lab: &'a Lab, account: &'a Account, issued_on: Date) -> Self {
        Self {
            lab,
            person: &job.customer.person,
            payer: job.other_payer().map(|payer| &payer.person),
            job_number: job.number,
            corrects: None,
            issued_on,
            ordered_on: job.ordered_on,
            sent_on: job.sent_on,
            prescriber: &job.prescription.prescriber,
            prescriber_npi: job.prescription.prescriber_npi.as_ref(),
            eyes: Pair::default(),
            prescribed_on: job.prescription.written_on,
            diagnosis: &job.prescription.diagnosis,
            // Of a lens that stays nothing is on record, so a receipt with one makes no claim.
            is_impact_proven: job.is_impact_proven() && job.single_eye().is_none(),
            is_cancelled: job.is_cancelled(),
            account,
        }
    }
}

impl Document {
    /// Makes the document.
    pub fn new(facts: &ReceiptFacts<'_>) -> Self {
        let charged = facts.account.standing().map(|line| &line.charge).filter(|charge| charge.amount != Cents::ZERO);
        let lines: Vec<ReceiptLine> = charged.map(ReceiptLine::of).collect();
        let payments: Vec<Paid> =
            facts.account.payments_by_day().into_iter().map(|booked| Paid::of(&booked.payment)).collect();
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
            patient: Patient::of(facts.person),
            payer: facts.payer.map(Patient::of),
            job_number: facts.job_number,
            corrects: facts.corrects,
            issued_on: facts.issued_on,
            ordered_on: facts.ordered_on,
            sent_on: facts.sent_on,
            prescriber: facts.prescriber.to_owned(),
            prescriber_npi: facts.prescriber_npi.map(Npi::to_string).unwrap_or_default(),
            prescribed_on: facts.prescribed_on,
            eyes: prescribed_eyes(&facts.eyes),
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
            notes: notes(total, paid, facts),
        }
    }

    /// The document as stored.
    ///
    /// # Errors
    ///
    /// [`ReceiptError::Unreadable`] for a date outside the years 0 to 9999.
    pub fn to_json(&self) -> Result<String, ReceiptError> {
        Ok(serde_json::to_string(self)?)
    }

    /// Reads a stored document.
    ///
    /// # Errors
    ///
    /// [`ReceiptError`]: not a receipt document, a later format, or amounts that do not agree.
    pub fn from_json(text: &str) -> Result<Self, ReceiptError> {
        // The format is read first, so that a later document is reported as later and not as unreadable.
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
                | ChargeKind::HighPower
                | ChargeKind::Oversize
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
        let back = if payment.amount.is_negative() { "refund, " } else { "" };
        Self { on: payment.paid_on, how: format!("{back}{}", payment.kind.words()), amount_cents: payment.amount }
    }
}

fn sum(lines: &[ReceiptLine], part: Option<Part>) -> Cents {
    lines.iter().filter(|line| part.is_none_or(|part| line.part == part)).map(|line| line.amount_cents).sum()
}

/// "Paid by the patient" is printed only when something was charged and nothing is owed, and impact resistance only when
/// it is on record.
fn notes(total: Cents, paid: Cents, facts: &ReceiptFacts<'_>) -> Vec<String> {
    let mut notes = NOTES.map(str::to_owned);
    if let Some(payer) = facts.payer {
        notes[0] = format!("Paid by {} for the patient; no claim filed by the seller.", payer.name);
    }
    if total == Cents::ZERO && paid == Cents::ZERO {
        let cancelled = if facts.is_cancelled { "The order was canceled. " } else { "" };
        notes[0] = format!("{cancelled}Nothing is charged; no claim filed by the seller.");
    } else if total > paid {
        notes[0] = "Not yet paid in full; no claim filed by the seller.".to_owned();
    }
    if !facts.is_impact_proven {
        notes[1] = NOT_SAFETY.to_owned();
    }
    notes.to_vec()
}

impl Patient {
    fn of(person: &Person) -> Self {
        // The name stands on its own.
        Self { name: person.name.clone(), address: Person { name: String::new(), ..person.clone() }.label() }
    }
}

fn prescribed_eyes(eyes: &Pair<Option<EyePrescription>>) -> Vec<PrescribedEye> {
    let words = |(eye, rx): (Eye, &Option<EyePrescription>)| {
        rx.map(|rx| PrescribedEye { eye: eye.name().to_owned(), rx: rx.to_string() })
    };
    eyes.iter().filter_map(words).collect()
}
