//! What is typed but not yet sent, and the promise that a form is never done twice.
//!
//! Each posting page has a key: a fresh UUID in the address of a new order, or the job, the form and a running number
//! elsewhere. While it is open the key holds what was typed, so a reload loses nothing. When the form is done, in the
//! same transaction as the work, the key holds what came of it, so a second click or the Back button finds that instead.
//! Where a form adds something each time, what it says is part of what was done: see [`act`].

use std::hash::{DefaultHasher, Hash, Hasher};

use sqlx::{Sqlite, Transaction};
use time::{Duration, OffsetDateTime};

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

/// Whether the work was done by this call or by an earlier one with the same key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Once<T> {
    /// Done now.
    Now(T),
    /// Done before; what came of it then.
    Before(String),
}

/// Parts a form's key from the mark of its words; no key of a form holds it.
const MARK: char = '~';

/// The key under which a form is done once with these words. The same words twice (a double click) are one act. Other
/// words under the same key (a correction after the Back button, a second window) are another, and are never dropped.
pub fn act(key: &str, said: &impl Hash) -> String {
    let mut hasher = DefaultHasher::new();
    said.hash(&mut hasher);
    format!("{key}{MARK}{:016x}", hasher.finish())
}

impl Store {
    /// The draft under this key, if anything was ever kept there.
    pub async fn find_draft(&self, key: &str) -> Result<Option<Draft>, StoreError> {
        let Some(row) =
            sqlx::query!("select fields, outcome from draft where key = ?", key).fetch_optional(&self.read).await?
        else {
            return Ok(None);
        };
        let fields = serde_json::from_str(&row.fields)
            .map_err(|e| StoreError::Unreadable { what: "draft", why: e.to_string() })?;
        Ok(Some(Draft { fields, outcome: row.outcome }))
    }

    /// Keeps what is typed. A finished form is left as it is.
    pub async fn keep_draft(&self, key: &str, fields: &Fields, now: OffsetDateTime) -> Result<(), StoreError> {
        let fields =
            serde_json::to_string(fields).map_err(|e| StoreError::Unreadable { what: "draft", why: e.to_string() })?;
        let mut tx = self.begin().await?;
        sqlx::query!(
            "insert into draft (key, fields, saved_at) values (?, ?, ?)
             on conflict (key) do update set fields = excluded.fields, saved_at = excluded.saved_at
             where draft.outcome is null",
            key,
            fields,
            now
        )
        .execute(&mut *tx)
        .await?;
        tx.commit().await?;
        Ok(())
    }

    /// Drops what was typed long ago and never sent: it may name a person.
    pub async fn forget_old_drafts(&self, now: OffsetDateTime) -> Result<u64, StoreError> {
        let before = now - Duration::days(30);
        let mut tx = self.begin().await?;
        let gone = sqlx::query!("delete from draft where outcome is null and saved_at < ?", before)
            .execute(&mut *tx)
            .await?
            .rows_affected();
        tx.commit().await?;
        Ok(gone)
    }
}

/// What came of this form earlier, if it was done. Ask first in the transaction that does the work.
pub(super) async fn outcome(tx: &mut Transaction<'_, Sqlite>, key: &str) -> Result<Option<String>, StoreError> {
    let row = sqlx::query!("select outcome from draft where key = ?", key).fetch_optional(&mut **tx).await?;
    Ok(row.and_then(|r| r.outcome))
}

/// Marks the form done, and the act where the key is one. What was typed is dropped: the work itself now holds it.
pub(super) async fn settle(
    tx: &mut Transaction<'_, Sqlite>,
    key: &str,
    outcome: &str,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let form = key.split_once(MARK).map(|(form, _)| form);
    for key in [Some(key), form].into_iter().flatten() {
        sqlx::query!(
            "insert into draft (key, fields, outcome, saved_at) values (?, '[]', ?, ?)
         on conflict (key) do update set fields = '[]', outcome = excluded.outcome, saved_at = excluded.saved_at",
            key,
            outcome,
            now
        )
        .execute(&mut **tx)
        .await?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::act;

    #[test]
    fn other_words_are_another_act() {
        let first = act("note-1001-0", &["call Ada"]);
        assert_eq!(first, act("note-1001-0", &["call Ada"]));
        assert_ne!(first, act("note-1001-0", &["call Bo"]));
        assert_ne!(first, act("note-1001-1", &["call Ada"]));
        assert!(first.starts_with("note-1001-0~") && first.len() <= 80);
    }
}
