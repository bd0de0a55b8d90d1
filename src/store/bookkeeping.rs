//! The rows of a period for a bookkeeper: receipts, payments, lines of bills. A day is read as one JSON text, because a
//! month of a busy lab has ten thousand rows and SQLite hands over one text much faster than so many rows.

use serde::Deserialize;
use sqlx::types::Json;
use time::Date;

use super::{Store, StoreError};
use crate::desk::money::Cents;

/// A row of texts, as the file holds it.
pub type FileRow = Vec<String>;

fn text<T: ToString>(value: Option<T>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

fn amount(cents: Option<i64>) -> String {
    cents.map(|cents| Cents::new(cents).plain()).unwrap_or_default()
}

/// A receipt, in the order of the JSON.
#[derive(Deserialize)]
struct ReceiptRow {
    number: i64,
    issued_on: String,
    job: i64,
    replaces: Option<i64>,
    patient: Option<String>,
    items: Option<i64>,
    shipping: Option<i64>,
    discount: Option<i64>,
    tax: Option<i64>,
    total: i64,
    paid: i64,
}

/// A payment or refund, in the order of the JSON.
#[derive(Deserialize)]
struct PaymentRow {
    seq: i64,
    paid_on: String,
    job: i64,
    patient: String,
    payer: String,
    kind: String,
    amount: i64,
    refund_for: Option<String>,
    reason: String,
}

/// A line of a bill, in the order of the JSON.
#[derive(Deserialize)]
struct ChargeRow {
    seq: i64,
    charged_on: String,
    job: i64,
    patient: String,
    kind: String,
    eye: Option<String>,
    what: String,
    code: String,
    amount: i64,
    takes_back: Option<i64>,
    reason: String,
}

impl Store {
    /// The receipts issued from one day to another, under the names of their columns.
    pub async fn list_receipt_rows(&self, from: Date, to: Date) -> Result<Vec<FileRow>, StoreError> {
        let names = [
            "receipt", "issued", "job", "replaces", "patient", "items", "shipping", "discount", "tax", "total", "paid",
            "balance",
        ];
        let days = sqlx::query_scalar!(
            r#"select json_group_array(json_array(number, issued_on, job_number, corrects, document ->> '$.patient.name',
                      document ->> '$.items_cents', document ->> '$.shipping_cents', document ->> '$.discount_cents',
                      document ->> '$.tax_cents', total_cents, paid_cents)) as "rows!: Json<Vec<ReceiptRow>>"
               from receipt where issued_on between ? and ? group by issued_on order by issued_on"#,
            from,
            to
        )
        .fetch_all(&self.read)
        .await?;
        let rows = in_order(days, |row| row.number).map(|row| {
            vec![
                row.number.to_string(),
                row.issued_on,
                row.job.to_string(),
                text(row.replaces),
                text(row.patient),
                amount(row.items),
                amount(row.shipping),
                amount(row.discount),
                amount(row.tax),
                amount(Some(row.total)),
                amount(Some(row.paid)),
                amount(Some(row.total - row.paid)),
            ]
        });
        Ok(headed(&names, rows))
    }

    /// The payments and refunds that moved from one day to another.
    pub async fn list_payment_rows(&self, from: Date, to: Date) -> Result<Vec<FileRow>, StoreError> {
        let names = ["payment", "day", "job", "patient", "payer", "kind", "amount", "refund_for", "reason"];
        let days = sqlx::query_scalar!(
            r#"select json_group_array(json_array(m.seq, m.paid_on, m.job_number, c.name, p.name, m.kind, m.amount_cents,
                      m.refund_cause, m.reason)) as "rows!: Json<Vec<PaymentRow>>"
               from payment m join job j on j.number = m.job_number
               join job_revision r on r.job_number = j.number and r.revision = j.revision
               join customer c on c.id = j.patient_id join customer p on p.id = r.payer_id
               where m.paid_on between ? and ? group by m.paid_on order by m.paid_on"#,
            from,
            to
        )
        .fetch_all(&self.read)
        .await?;
        let rows = in_order(days, |row| row.seq).map(|row| {
            vec![
                row.seq.to_string(),
                row.paid_on,
                row.job.to_string(),
                row.patient,
                row.payer,
                row.kind,
                amount(Some(row.amount)),
                text(row.refund_for),
                row.reason,
            ]
        });
        Ok(headed(&names, rows))
    }

    /// The lines of bills from one day to another.
    pub async fn list_charge_rows(&self, from: Date, to: Date) -> Result<Vec<FileRow>, StoreError> {
        let names =
            ["line", "day", "job", "patient", "kind", "eye", "description", "code", "amount", "takes_back", "reason"];
        let days = sqlx::query_scalar!(
            r#"select json_group_array(json_array(l.seq, l.charged_on, l.job_number, c.name, l.kind, l.eye, l.what, l.code,
                      l.amount_cents, l.reverses, l.reason)) as "rows!: Json<Vec<ChargeRow>>"
               from charge l join job j on j.number = l.job_number join customer c on c.id = j.patient_id
               where l.charged_on between ? and ? group by l.charged_on order by l.charged_on"#,
            from,
            to
        )
        .fetch_all(&self.read)
        .await?;
        let rows = in_order(days, |row| row.seq).map(|row| {
            vec![
                row.seq.to_string(),
                row.charged_on,
                row.job.to_string(),
                row.patient,
                row.kind,
                text(row.eye),
                row.what,
                row.code,
                amount(Some(row.amount)),
                text(row.takes_back),
                row.reason,
            ]
        });
        Ok(headed(&names, rows))
    }
}

/// The rows of all days, those of a day by their numbers.
fn in_order<Row>(days: Vec<Json<Vec<Row>>>, number: impl Fn(&Row) -> i64) -> impl Iterator<Item = Row> {
    days.into_iter().flat_map(move |Json(mut rows)| {
        rows.sort_by_key(&number);
        rows
    })
}

fn headed(names: &[&str], rows: impl Iterator<Item = FileRow>) -> Vec<FileRow> {
    std::iter::once(names.iter().map(|name| (*name).to_owned()).collect()).chain(rows).collect()
}
