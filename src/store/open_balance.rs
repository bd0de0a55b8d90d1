//! The jobs that are not settled, from the short table that triggers keep.

use sqlx::SqliteConnection;
use time::{Date, OffsetDateTime};

use super::event::append_event;
use super::once::{Done, Once};
use super::read::word;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::id::CustomerId;
use crate::desk::job::{EventKind, Stage};
use crate::desk::money::Cents;
use crate::desk::open_balance::OpenBalance;

struct OpenBalanceRow {
    job_number: i64,
    payer: CustomerId,
    payer_name: String,
    patient_name: String,
    owed_cents: i64,
    since: Date,
    stage: String,
    reminded_at: Option<Stamp>,
}

impl TryFrom<OpenBalanceRow> for OpenBalance {
    type Error = StoreError;
    fn try_from(row: OpenBalanceRow) -> Result<Self, StoreError> {
        Ok(Self {
            job_number: row.job_number,
            payer: row.payer,
            payer_name: row.payer_name,
            patient_name: row.patient_name,
            owed: Cents::new(row.owed_cents),
            since: row.since,
            stage: word("stage", &row.stage, Stage::from_key(&row.stage))?,
            reminded_at: row.reminded_at.map(|at| at.0),
        })
    }
}

/// The open balances that a clause finds, the oldest first. `cross join` keeps SQLite to this order of the tables: the
/// first is small.
macro_rules! open_balances {
    ($db:expr, $clause:literal, $($bound:expr),+) => {
        sqlx::query_as!(
            OpenBalanceRow,
            r#"select b.job_number, r.payer_id as "payer: CustomerId", p.name as payer_name, c.name as patient_name,
                      b.owed_cents, b.since as "since: Date", j.stage,
                      (select max(at) from job_event where job_number = b.job_number and kind = 'reminded')
                          as "reminded_at?: Stamp"
               from open_balance b cross join job j on j.number = b.job_number
               cross join job_revision r on r.job_number = j.number and r.revision = j.revision
               join customer p on p.id = r.payer_id join customer c on c.id = r.patient_id "#
                + $clause
                + " order by b.since, b.job_number limit ?",
            $($bound),+
        )
        .fetch_all($db)
        .await?
        .into_iter()
        .map(OpenBalance::try_from)
        .collect()
    };
}

impl Store {
    /// What is owed, the oldest first.
    pub async fn list_owed(&self, most: i64) -> Result<Vec<OpenBalance>, StoreError> {
        open_balances!(&self.read, "where b.owed_cents > 0", most)
    }

    /// What is to be refunded, the oldest first; the amounts are negative.
    pub async fn list_to_give_back(&self, most: i64) -> Result<Vec<OpenBalance>, StoreError> {
        open_balances!(&self.read, "where b.owed_cents < 0", most)
    }

    /// What one person owes, the oldest first.
    pub async fn list_owed_by(&self, payer: CustomerId, most: i64) -> Result<Vec<OpenBalance>, StoreError> {
        open_balances!(&self.read, "where r.payer_id = ? and b.owed_cents > 0", payer, most)
    }

    /// On how many jobs something is owed, and how much in all.
    pub async fn sum_owed(&self) -> Result<(i64, Cents), StoreError> {
        let row = sqlx::query!(
            r#"select count(*) as "jobs!: i64", coalesce(sum(owed_cents), 0) as "cents!: i64"
               from open_balance where owed_cents > 0"#
        )
        .fetch_one(&self.read)
        .await?;
        Ok((row.jobs, Cents::new(row.cents)))
    }

    /// Records that a person was reminded of what they owe, with every job of it.
    pub async fn append_reminder(
        &self,
        key: &str,
        owed: &[OpenBalance],
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, None, now, async |tx| {
            for balance in owed {
                remind(tx, balance, now).await?;
            }
            Ok(Done::new((), owed.len()))
        })
        .await
    }
}

async fn remind(tx: &mut SqliteConnection, balance: &OpenBalance, now: OffsetDateTime) -> Result<(), StoreError> {
    let note = format!("{} is owed", balance.owed);
    append_event(tx, balance.job_number, EventKind::Reminded, &note, now).await?;
    Ok(())
}
