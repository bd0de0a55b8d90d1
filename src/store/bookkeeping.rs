//! What is in a bookkeeper's files of one day: receipts, payments, lines of bills, each in the order of its number. A day is read
//! as one JSON text, because SQLite hands over one text much faster than hundreds of rows.

use sqlx::types::Json;
use time::Date;

use super::{Store, StoreError};
use crate::desk::bookkeeping::{ChargeLine, PaymentLine, ReceiptFileLine};

impl Store {
    /// The receipts issued on a day.
    pub async fn list_receipt_lines(&self, day: Date) -> Result<Vec<ReceiptFileLine>, StoreError> {
        // The fields of each array are those of the line, in their order. So it is below.
        let lines = sqlx::query_scalar!(
            r#"select json_group_array(json_array(number, issued_on, job_number, corrects, document ->> '$.patient.name',
                      document ->> '$.items_cents', document ->> '$.shipping_cents', document ->> '$.discount_cents',
                      document ->> '$.tax_cents', total_cents, paid_cents)) as "lines!: Json<Vec<ReceiptFileLine>>"
               from receipt where issued_on = ?"#,
            day
        );
        let Json(mut lines) = lines.fetch_one(&self.read).await?;
        lines.sort_by_key(|line| line.number);
        Ok(lines)
    }

    /// The payments and refunds that moved on a day.
    pub async fn list_payment_lines(&self, day: Date) -> Result<Vec<PaymentLine>, StoreError> {
        let lines = sqlx::query_scalar!(
            r#"select json_group_array(json_array(m.seq, m.paid_on, m.job_number, c.name, p.name, m.kind, m.amount_cents,
                      m.refund_cause, m.reason)) as "lines!: Json<Vec<PaymentLine>>"
               from payment m join job j on j.number = m.job_number
               join job_revision r on r.job_number = j.number and r.revision = j.revision
               join customer c on c.id = j.patient_id join customer p on p.id = r.payer_id
               where m.paid_on = ?"#,
            day
        );
        let Json(mut lines) = lines.fetch_one(&self.read).await?;
        lines.sort_by_key(|line| line.seq);
        Ok(lines)
    }

    /// The lines of bills of a day.
    pub async fn list_charge_lines(&self, day: Date) -> Result<Vec<ChargeLine>, StoreError> {
        let lines = sqlx::query_scalar!(
            r#"select json_group_array(json_array(l.seq, l.charged_on, l.job_number, c.name, l.kind, l.eye, l.what, l.code,
                      l.amount_cents, l.reverses, l.reason)) as "lines!: Json<Vec<ChargeLine>>"
               from charge l join job j on j.number = l.job_number join customer c on c.id = j.patient_id
               where l.charged_on = ?"#,
            day
        );
        let Json(mut lines) = lines.fetch_one(&self.read).await?;
        lines.sort_by_key(|line| line.seq);
        Ok(lines)
    }
}
