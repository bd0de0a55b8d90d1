//! The lines of the files for a bookkeeper: receipts, payments, lines of bills. Days are ISO 8601, amounts in cents.

use serde::Deserialize;

use super::csv::CsvLine;

/// A line of one of the files.
pub trait FileLine {
    /// The names of its columns.
    const COLUMNS: &[&str];
    /// Writes it, a field for each column.
    fn write(&self, line: &mut CsvLine<'_>);
}

/// A receipt.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct ReceiptFileLine {
    pub number: i64,
    pub issued_on: String,
    pub job: i64,
    /// The receipt that it replaces.
    pub replaces: Option<i64>,
    pub patient: Option<String>,
    pub items: Option<i64>,
    pub shipping: Option<i64>,
    pub discount: Option<i64>,
    pub tax: Option<i64>,
    pub total: i64,
    pub paid: i64,
}

/// A payment or refund.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct PaymentLine {
    pub seq: i64,
    pub paid_on: String,
    pub job: i64,
    pub patient: String,
    pub payer: String,
    pub kind: String,
    pub amount: i64,
    pub refund_for: Option<String>,
    pub reason: String,
}

/// A line of a bill.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct ChargeLine {
    pub seq: i64,
    pub charged_on: String,
    pub job: i64,
    pub patient: String,
    pub kind: String,
    pub eye: Option<String>,
    pub what: String,
    pub code: String,
    pub amount: i64,
    /// The line that it takes back.
    pub takes_back: Option<i64>,
    pub reason: String,
}

impl FileLine for ReceiptFileLine {
    const COLUMNS: &[&str] = &[
        "receipt", "issued", "job", "replaces", "patient", "items", "shipping", "discount", "tax", "total", "paid",
        "balance",
    ];

    fn write(&self, line: &mut CsvLine<'_>) {
        line.number(self.number);
        line.text(&self.issued_on);
        line.number(self.job);
        line.number(self.replaces);
        line.text(self.patient.as_deref().unwrap_or_default());
        line.amount(self.items);
        line.amount(self.shipping);
        line.amount(self.discount);
        line.amount(self.tax);
        line.amount(self.total);
        line.amount(self.paid);
        line.amount(self.total - self.paid);
    }
}

impl FileLine for PaymentLine {
    const COLUMNS: &[&str] = &["payment", "day", "job", "patient", "payer", "kind", "amount", "refund_for", "reason"];

    fn write(&self, line: &mut CsvLine<'_>) {
        line.number(self.seq);
        line.text(&self.paid_on);
        line.number(self.job);
        line.text(&self.patient);
        line.text(&self.payer);
        line.text(&self.kind);
        line.amount(self.amount);
        line.text(self.refund_for.as_deref().unwrap_or_default());
        line.text(&self.reason);
    }
}

impl FileLine for ChargeLine {
    const COLUMNS: &[&str] =
        &["line", "day", "job", "patient", "kind", "eye", "description", "code", "amount", "takes_back", "reason"];

    fn write(&self, line: &mut CsvLine<'_>) {
        line.number(self.seq);
        line.text(&self.charged_on);
        line.number(self.job);
        line.text(&self.patient);
        line.text(&self.kind);
        line.text(self.eye.as_deref().unwrap_or_default());
        line.text(&self.what);
        line.text(&self.code);
        line.amount(self.amount);
        line.number(self.takes_back);
        line.text(&self.reason);
    }
}
