//! The rows of a period for a bookkeeper: receipts, payments, lines of bills.

use time::Date;

use super::{Store, StoreError};
use crate::desk::date::iso;
use crate::desk::money::Cents;

/// A row of texts, as the file holds it.
pub type FileRow = Vec<String>;

fn text<T: ToString>(value: Option<T>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

fn amount(cents: Option<i64>) -> String {
    cents.map(|cents| Cents::new(cents).plain()).unwrap_or_default()
}

impl Store {
    /// The receipts issued from one day to another, under the names of their columns.
    pub async fn list_receipt_rows(&self, from: Date, to: Date) -> Result<Vec<FileRow>, StoreError> {
        let names = [
            "receipt", "issued", "job", "replaces", "patient", "items", "shipping", "discount", "tax", "total", "paid",
            "balance",
        ];
        let rows = sqlx::query!(
            r#"select number, issued_on as "issued_on: Date", job_number, corrects, total_cents, paid_cents,
                      document ->> '$.patient.name' as "patient: String", document ->> '$.items_cents' as "items: i64",
                      document ->> '$.shipping_cents' as "shipping: i64",
                      document ->> '$.discount_cents' as "discount: i64", document ->> '$.tax_cents' as "tax: i64"
               from receipt where issued_on between ? and ? order by issued_on, number"#,
            from,
            to
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(|row| {
            vec![
                row.number.to_string(),
                iso(&row.issued_on),
                row.job_number.to_string(),
                text(row.corrects),
                text(row.patient),
                amount(row.items),
                amount(row.shipping),
                amount(row.discount),
                amount(row.tax),
                amount(Some(row.total_cents)),
                amount(Some(row.paid_cents)),
                amount(Some(row.total_cents - row.paid_cents)),
            ]
        });
        Ok(headed(&names, rows))
    }

    /// The payments and refunds that moved from one day to another.
    pub async fn list_payment_rows(&self, from: Date, to: Date) -> Result<Vec<FileRow>, StoreError> {
        let names = ["payment", "day", "job", "patient", "payer", "kind", "amount", "refund_for", "reason"];
        let rows = sqlx::query!(
            r#"select m.seq as "seq!: i64", m.paid_on as "paid_on: Date", m.job_number, c.name as patient, p.name as payer,
                      m.kind, m.amount_cents, m.refund_cause, m.reason
               from payment m join job j on j.number = m.job_number
               join job_revision r on r.job_number = j.number and r.revision = j.revision
               join customer c on c.id = j.patient_id join customer p on p.id = r.payer_id
               where m.paid_on between ? and ? order by m.paid_on, m.seq"#,
            from,
            to
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(|row| {
            vec![
                row.seq.to_string(),
                iso(&row.paid_on),
                row.job_number.to_string(),
                row.patient,
                row.payer,
                row.kind,
                amount(Some(row.amount_cents)),
                text(row.refund_cause),
                row.reason,
            ]
        });
        Ok(headed(&names, rows))
    }

    /// The lines of bills from one day to another.
    pub async fn list_charge_rows(&self, from: Date, to: Date) -> Result<Vec<FileRow>, StoreError> {
        let names =
            ["line", "day", "job", "patient", "kind", "eye", "description", "code", "amount", "takes_back", "reason"];
        let rows = sqlx::query!(
            r#"select l.seq as "seq!: i64", l.charged_on as "charged_on: Date", l.job_number, c.name as patient, l.kind,
                      l.eye, l.what, l.code, l.amount_cents, l.reverses, l.reason
               from charge l join job j on j.number = l.job_number join customer c on c.id = j.patient_id
               where l.charged_on between ? and ? order by l.charged_on, l.seq"#,
            from,
            to
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(|row| {
            vec![
                row.seq.to_string(),
                iso(&row.charged_on),
                row.job_number.to_string(),
                row.patient,
                row.kind,
                text(row.eye),
                row.what,
                row.code,
                amount(Some(row.amount_cents)),
                text(row.reverses),
                row.reason,
            ]
        });
        Ok(headed(&names, rows))
    }
}

fn headed(names: &[&str], rows: impl Iterator<Item = FileRow>) -> Vec<FileRow> {
    std::iter::once(names.iter().map(|name| (*name).to_owned()).collect()).chain(rows).collect()
}
