//! What is typed in a form but not yet sent. It survives a reload, and goes when the form is done.

use time::{Duration, OffsetDateTime};

use super::stamp::Stamp;
use super::{Store, StoreError};

/// A form's fields in the order they were sent.
pub type Fields = Vec<(String, String)>;

/// What the book knows of a form.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Draft {
    /// What was typed.
    pub fields: Fields,
    /// What the finished form made (a number or key), when it is finished.
    pub outcome: Option<String>,
}

/// An order that was begun and not taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OrderDraft {
    /// The key in its address.
    pub key: String,
    /// What was typed.
    pub fields: Fields,
    /// When it was typed in last.
    pub saved_at: OffsetDateTime,
}

/// How long a draft that was never sent is kept: it may name a person.
const DRAFTS_KEPT: Duration = Duration::days(30);

impl Store {
    /// What the book knows of the form with this key, if anything.
    pub async fn find_draft(&self, key: &str) -> Result<Option<Draft>, StoreError> {
        let row = sqlx::query!(
            r#"select (select fields from draft where key = ?1) as "fields?: String",
                      (select outcome from form_outcome where key = ?1) as "outcome?: String""#,
            key
        )
        .fetch_one(&self.read)
        .await?;
        let fields = match &row.fields {
            Some(json) => read_fields(json)?,
            None if row.outcome.is_none() => return Ok(None),
            None => Fields::new(),
        };
        Ok(Some(Draft { fields, outcome: row.outcome }))
    }

    /// The newest orders that were begun and not taken. Their keys are UUIDs of version 7, which begin with the time: 0
    /// until the year 2527. The keys of other forms begin with a letter.
    pub async fn list_order_drafts(&self, most: i64) -> Result<Vec<OrderDraft>, StoreError> {
        let rows = sqlx::query!(
            r#"select key, fields, saved_at as "saved_at: Stamp" from draft
               where key >= '0' and key < '1' order by key desc limit ?"#,
            most
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter()
            .map(|row| Ok(OrderDraft { fields: read_fields(&row.fields)?, key: row.key, saved_at: row.saved_at.0 }))
            .collect()
    }

    /// Keeps what is typed. A finished form keeps nothing.
    pub async fn keep_draft(&self, key: &str, fields: &Fields, now: OffsetDateTime) -> Result<(), StoreError> {
        let fields =
            serde_json::to_string(fields).map_err(|e| StoreError::Unreadable { what: "draft", why: e.to_string() })?;
        let saved_at = Stamp(now);
        let mut tx = self.begin().await?;
        sqlx::query!(
            "insert into draft (key, fields, saved_at)
             select ?1, ?2, ?3 where not exists (select 1 from form_outcome where key = ?1)
             on conflict (key) do update set fields = excluded.fields, saved_at = excluded.saved_at",
            key,
            fields,
            saved_at
        )
        .execute(&mut *tx)
        .await?;
        tx.commit().await?;
        Ok(())
    }

    /// Deletes what was typed long ago and never sent.
    pub async fn forget_old_drafts(&self, now: OffsetDateTime) -> Result<u64, StoreError> {
        let before = Stamp(now - DRAFTS_KEPT);
        let mut tx = self.begin().await?;
        let gone =
            sqlx::query!("delete from draft where saved_at < ?", before).execute(&mut *tx).await?.rows_affected();
        tx.commit().await?;
        Ok(gone)
    }
}

fn read_fields(json: &str) -> Result<Fields, StoreError> {
    serde_json::from_str(json).map_err(|e| StoreError::Unreadable { what: "draft", why: e.to_string() })
}
