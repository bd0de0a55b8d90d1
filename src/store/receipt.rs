//! Receipts: whole documents that are issued once and never change.

use time::{Date, OffsetDateTime};

use super::event::append_event;
use super::once::{Done, Once};
use super::read::unreadable;
use super::search::index_job;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::job::EventKind;
use crate::desk::money::Cents;
use crate::desk::receipt::Document;

/// A receipt that was issued.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptReceipt {
    /// Its number.
    pub number: i64,
    /// The job it is for.
    pub job_number: i64,
    /// The receipt it puts right.
    pub corrects: Option<i64>,
    /// What it says.
    pub document: Document,
    /// When it was issued.
    pub issued_at: OffsetDateTime,
}

/// A receipt in a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListedReceipt {
    pub number: i64,
    pub job_number: i64,
    pub issued_on: Date,
    pub patient: String,
    pub total: Cents,
    pub paid: Cents,
    /// The receipt it puts right.
    pub corrects: Option<i64>,
    /// The receipt that puts it right.
    pub corrected_by: Option<i64>,
}

struct ReceiptRow {
    number: i64,
    job_number: i64,
    corrects: Option<i64>,
    document: String,
    issued_at: Stamp,
}

impl TryFrom<ReceiptRow> for KeptReceipt {
    type Error = StoreError;
    fn try_from(row: ReceiptRow) -> Result<Self, StoreError> {
        Ok(Self {
            number: row.number,
            job_number: row.job_number,
            corrects: row.corrects,
            document: Document::from_json(&row.document).map_err(unreadable("receipt"))?,
            issued_at: row.issued_at.0,
        })
    }
}

impl Store {
    /// Issues a receipt. When the job has one already, the new one names it as corrected.
    pub async fn issue_receipt(
        &self,
        key: &str,
        number: i64,
        document: &Document,
        now: OffsetDateTime,
    ) -> Result<Once<i64>, StoreError> {
        self.once(key, None, now, async |tx| {
            let (text, issued_at) = (document.to_json().map_err(unreadable("receipt"))?, Stamp(now));
            let (total, paid) = (document.total_cents.cents(), document.paid_cents.cents());
            let receipt = sqlx::query!(
                "insert into receipt (job_number, corrects, document, issued_on, total_cents, paid_cents, issued_at)
                 values (?1, (select max(number) from receipt where job_number = ?1), ?2, ?3, ?4, ?5, ?6)",
                number,
                text,
                document.issued_on,
                total,
                paid,
                issued_at
            )
            .execute(&mut *tx)
            .await?
            .last_insert_rowid();
            append_event(tx, number, EventKind::Receipt, &format!("number {receipt}"), now).await?;
            index_job(tx, number).await?;
            Ok(Done::new(receipt, receipt))
        })
        .await
    }

    /// One receipt, as it was issued.
    pub async fn get_receipt(&self, number: i64) -> Result<KeptReceipt, StoreError> {
        let row = sqlx::query_as!(
            ReceiptRow,
            r#"select number, job_number, corrects, document, issued_at as "issued_at: Stamp"
               from receipt where number = ?"#,
            number
        )
        .fetch_optional(&self.read)
        .await?
        .ok_or(StoreError::NotFound("that receipt number"))?;
        row.try_into()
    }

    /// The newest receipts before a place (a day and a number), not issued before `first`.
    pub async fn list_receipts_before(
        &self,
        before: (Date, i64),
        first: Date,
        most: i64,
    ) -> Result<Vec<ListedReceipt>, StoreError> {
        let (day, number) = before;
        let rows = sqlx::query!(
            r#"select number as "number!", job_number, issued_on as "issued_on: Date", total_cents, paid_cents, corrects,
                      coalesce(document ->> '$.patient.name', '') as "patient!: String",
                      (select number from receipt c where c.corrects = r.number) as "corrected_by?: i64"
               from receipt r where (issued_on, number) < (?, ?) and issued_on >= ?
               order by issued_on desc, number desc limit ?"#,
            day,
            number,
            first,
            most
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(|row| ListedReceipt {
            number: row.number,
            job_number: row.job_number,
            issued_on: row.issued_on,
            patient: row.patient,
            total: Cents::new(row.total_cents),
            paid: Cents::new(row.paid_cents),
            corrects: row.corrects,
            corrected_by: row.corrected_by,
        })
        .collect();
        Ok(rows)
    }

    /// The receipts of a job, newest first.
    pub async fn list_receipts(&self, number: i64) -> Result<Vec<KeptReceipt>, StoreError> {
        sqlx::query_as!(
            ReceiptRow,
            r#"select number, job_number, corrects, document, issued_at as "issued_at: Stamp"
               from receipt where job_number = ? order by number desc"#,
            number
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(KeptReceipt::try_from)
        .collect()
    }
}
