//! Lists of jobs, a line each.

use std::collections::BTreeMap;

use time::Date;
use uuid::Uuid;

use super::customer::anywhere;
use super::read::{unreadable, word};
use super::{Store, StoreError};
use crate::desk::job::{EventKind, JobLine, Stage, stage};

/// What to look for in [`Store::list_jobs`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Find {
    /// All jobs of a customer.
    OfCustomer(Uuid),
    /// All jobs in a frame.
    OfFrame(Uuid),
    /// Jobs whose customer or frame holds this text.
    Holding(String),
}

impl Store {
    /// Jobs whose parcel has not left, by promised date.
    pub async fn list_open_jobs(&self) -> Result<Vec<JobLine>, StoreError> {
        let events = sqlx::query!(
            r#"select e.job_number, e.kind from job_event e
               where not exists (select 1 from shipment s where s.job_number = e.job_number) order by e.seq"#
        )
        .fetch_all(&self.read)
        .await?;
        let mut kinds: BTreeMap<i64, Vec<EventKind>> = BTreeMap::new();
        for row in events {
            let kind = word("event", &row.kind, EventKind::from_key(&row.kind))?;
            kinds.entry(row.job_number).or_default().push(kind);
        }
        let rows = sqlx::query!(
            r#"select job.number as "number!: i64", c.name, f.maker || ' ' || f.model || iif(f.colour = '', '', ', ' || f.colour) as "frame!: String",
                      job.ordered_on as "ordered_on: Date", job.promised_on as "promised_on: Date"
               from job join customer c on c.id = job.customer_id join frame f on f.id = job.frame_id
               where not exists (select 1 from shipment s where s.job_number = job.number)
               order by job.promised_on, job.number"#
        )
        .fetch_all(&self.read)
        .await?;
        Ok(rows
            .into_iter()
            .map(|row| JobLine {
                stage: stage(kinds.remove(&row.number).unwrap_or_default()),
                number: row.number,
                customer: row.name,
                frame: row.frame,
                ordered_on: row.ordered_on,
                promised_on: row.promised_on,
                sent_on: None,
            })
            .collect())
    }

    /// Jobs of a customer, of a frame, or whose customer, maker or model holds `text`; newest first.
    pub async fn list_jobs(&self, find: &Find, most: i64) -> Result<Vec<JobLine>, StoreError> {
        let (customer, frame, text) = match find {
            Find::OfCustomer(id) => (Some(*id), None, None),
            Find::OfFrame(id) => (None, Some(*id), None),
            Find::Holding(text) => (None, None, Some(anywhere(text))),
        };
        let rows = sqlx::query!(
            r#"select job.number as "number!: i64", c.name, f.maker || ' ' || f.model || iif(f.colour = '', '', ', ' || f.colour) as "frame!: String",
                      job.ordered_on as "ordered_on: Date", job.promised_on as "promised_on: Date", s.sent_on as "sent_on?: Date",
                      (select json_group_array(kind order by seq) from job_event where job_number = job.number) as "happened!: String"
               from job join customer c on c.id = job.customer_id join frame f on f.id = job.frame_id
                        left join shipment s on s.job_number = job.number
               where (?1 is null or job.customer_id = ?1) and (?2 is null or job.frame_id = ?2)
                 and (?3 is null or c.name like ?3 escape '\' or f.maker || ' ' || f.model like ?3 escape '\')
               order by job.number desc limit ?4"#,
            customer,
            frame,
            text,
            most
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter()
            .map(|row| {
                let kinds: Vec<String> = serde_json::from_str(&row.happened).map_err(unreadable("history"))?;
                let kinds = kinds
                    .iter()
                    .map(|key| word("event", key, EventKind::from_key(key)))
                    .collect::<Result<Vec<_>, _>>()?;
                Ok(JobLine {
                    stage: if row.sent_on.is_some() { Stage::Sent } else { stage(kinds) },
                    number: row.number,
                    customer: row.name,
                    frame: row.frame,
                    ordered_on: row.ordered_on,
                    promised_on: row.promised_on,
                    sent_on: row.sent_on,
                })
            })
            .collect()
    }

    /// The number of a customer's newest job, whose prescription a new one is compared with.
    pub async fn find_last_job_of(&self, customer: Uuid) -> Result<Option<i64>, StoreError> {
        Ok(sqlx::query_scalar!(r#"select max(number) as "number: i64" from job where customer_id = ?"#, customer)
            .fetch_one(&self.read)
            .await?)
    }
}
