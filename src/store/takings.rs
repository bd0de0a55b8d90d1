//! Sums of days, months and years, from the short tables that triggers keep; and the payments of one day.

use std::collections::BTreeMap;

use time::Date;

use super::read::word;
use super::{Store, StoreError};
use crate::desk::bill::ChargeKind;
use crate::desk::money::Cents;
use crate::desk::payment::{Payment, PaymentKind};
use crate::desk::takings::{MovedMoney, PeriodSpan, Takings};

/// A payment in a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PaymentOfDay {
    pub job_number: i64,
    pub patient: String,
    pub payment: Payment,
    /// Of a refund.
    pub reason: String,
}

impl Store {
    /// The money of each period of a span from one to another, by the key of the period.
    pub async fn list_takings(
        &self,
        span: PeriodSpan,
        from: &str,
        to: &str,
    ) -> Result<BTreeMap<String, Takings>, StoreError> {
        let span = span.key();
        let mut periods: BTreeMap<String, Takings> = BTreeMap::new();
        let moved = sqlx::query!(
            "select period, kind, received_cents, refunded_cents from takings
             where span = ? and period between ? and ?",
            span,
            from,
            to
        );
        for row in moved.fetch_all(&self.read).await? {
            let kind = word("payment", &row.kind, PaymentKind::from_key(&row.kind))?;
            let moved =
                MovedMoney { received: Cents::new(row.received_cents), refunded: Cents::new(row.refunded_cents) };
            periods.entry(row.period).or_default().add_moved(kind, moved);
        }
        let billed = sqlx::query!(
            "select period, kind, cents from billings where span = ? and period between ? and ?",
            span,
            from,
            to
        );
        for row in billed.fetch_all(&self.read).await? {
            let kind = word("charge", &row.kind, ChargeKind::from_key(&row.kind))?;
            periods.entry(row.period).or_default().add_billed(kind, Cents::new(row.cents));
        }
        Ok(periods)
    }

    /// The payments and refunds of a day, in the order they were booked.
    pub async fn list_payments_of_day(&self, day: Date, most: i64) -> Result<Vec<PaymentOfDay>, StoreError> {
        sqlx::query!(
            r#"select p.job_number, c.name as patient, p.kind, p.amount_cents, p.reason
               from payment p join job j on j.number = p.job_number join customer c on c.id = j.patient_id
               where p.paid_on = ? order by p.seq limit ?"#,
            day,
            most
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(|row| {
            let kind = word("payment", &row.kind, PaymentKind::from_key(&row.kind))?;
            Ok(PaymentOfDay {
                job_number: row.job_number,
                patient: row.patient,
                payment: Payment { kind, amount: Cents::new(row.amount_cents), paid_on: day },
                reason: row.reason,
            })
        })
        .collect()
    }
}
