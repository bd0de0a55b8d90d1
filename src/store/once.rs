//! A form is done at most once, and a step only while its job stands where the form was shown.
//!
//! Each posting form has a key. What came of the form is kept under that key in the same transaction as the work, so a
//! second click or the Back button finds that instead. Where a form adds something each time, its contents are part of
//! the key: see [`act`].

use sha2::{Digest, Sha256};
use sqlx::SqliteConnection;
use time::{Duration, OffsetDateTime};

use super::event::must_stand;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::step::Step;

/// Whether the work was done by this call or by an earlier one with the same key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Once<T> {
    /// Done now.
    Now(T),
    /// Done before; what came of it then.
    Before(String),
}

/// What a step leaves: its value, and the text kept under the form's key.
pub(super) struct Done<T> {
    pub(super) value: T,
    pub(super) outcome: String,
}

impl<T> Done<T> {
    /// A value with the outcome that is kept.
    pub(super) fn new(value: T, outcome: impl ToString) -> Self {
        Self { value, outcome: outcome.to_string() }
    }
}

/// Separates the form's key from the hash of its contents. Never appears in a form key.
const SEPARATOR: char = '~';

/// How long the outcome of a form is kept.
const OUTCOMES_KEPT: Duration = Duration::days(90);

/// The key under which a form is done once with these contents. The same contents twice (a double click) are one act.
/// Other contents under the same key (a correction after the Back button, a second window) are another, and are never
/// dropped. The hash is SHA-256 cut to 64 bits: it stays the same across toolchains.
pub fn act<S: AsRef<[u8]>>(key: &str, contents: impl IntoIterator<Item = S>) -> String {
    let mut hash = Sha256::new();
    for part in contents {
        let bytes = part.as_ref();
        // The length keeps "ab" + "c" apart from "a" + "bc".
        hash.update((bytes.len() as u64).to_le_bytes());
        hash.update(bytes);
    }
    let hex: String = hash.finalize().iter().take(8).map(|byte| format!("{byte:02x}")).collect();
    format!("{key}{SEPARATOR}{hex}")
}

impl Store {
    /// Does a form's work once, in one transaction: looks for an earlier outcome, asks whether the job is still at a
    /// stage of its step, does the work, keeps the outcome and deletes the draft.
    pub(super) async fn once<T>(
        &self,
        key: &str,
        step: Option<(i64, Step)>,
        now: OffsetDateTime,
        work: impl AsyncFnOnce(&mut SqliteConnection) -> Result<Done<T>, StoreError>,
    ) -> Result<Once<T>, StoreError> {
        let mut tx = self.begin().await?;
        if let Some(before) = outcome(&mut tx, key).await? {
            return Ok(Once::Before(before));
        }
        if let Some((job, step)) = step {
            must_stand(&mut tx, job, step).await?;
        }
        let done = work(&mut tx).await?;
        settle(&mut tx, key, &done.outcome, now).await?;
        tx.commit().await?;
        Ok(Once::Now(done.value))
    }

    /// What came of a form, if it was done.
    pub async fn find_outcome(&self, key: &str) -> Result<Option<String>, StoreError> {
        Ok(sqlx::query_scalar!("select outcome from form_outcome where key = ?", key)
            .fetch_optional(&self.read)
            .await?)
    }

    /// Forgets the outcomes of forms done long ago.
    pub async fn forget_old_outcomes(&self, now: OffsetDateTime) -> Result<u64, StoreError> {
        let before = Stamp(now - OUTCOMES_KEPT);
        let mut tx = self.begin().await?;
        let gone =
            sqlx::query!("delete from form_outcome where done_at < ?", before).execute(&mut *tx).await?.rows_affected();
        tx.commit().await?;
        Ok(gone)
    }
}

async fn outcome(tx: &mut SqliteConnection, key: &str) -> Result<Option<String>, StoreError> {
    Ok(sqlx::query_scalar!("select outcome from form_outcome where key = ?", key).fetch_optional(tx).await?)
}

/// Keeps the outcome under the act's key and under the form's, and deletes the draft: the work itself now holds it.
async fn settle(tx: &mut SqliteConnection, key: &str, outcome: &str, now: OffsetDateTime) -> Result<(), StoreError> {
    let done_at = Stamp(now);
    let form = key.split_once(SEPARATOR).map(|(form, _)| form);
    for key in [Some(key), form].into_iter().flatten() {
        sqlx::query!(
            "insert into form_outcome (key, outcome, done_at) values (?, ?, ?)
             on conflict (key) do update set outcome = excluded.outcome, done_at = excluded.done_at",
            key,
            outcome,
            done_at
        )
        .execute(&mut *tx)
        .await?;
        sqlx::query!("delete from draft where key = ?", key).execute(&mut *tx).await?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::act;

    #[test]
    fn other_contents_are_another_act() {
        let first = act("note-1001-0", ["note", "call Ada"]);
        assert_eq!(first, act("note-1001-0", ["note", "call Ada"]));
        assert_ne!(first, act("note-1001-0", ["note", "call Bo"]));
        assert_ne!(first, act("note-1001-0", ["notecall", " Ada"]));
        assert_ne!(first, act("note-1001-1", ["note", "call Ada"]));
        assert!(first.starts_with("note-1001-0~") && first.len() <= 80);
    }

    /// SHA-256 of the three letters of FIPS 180-2, appendix B.1, is ba7816bf 8f01cfea ...; here a length goes before them,
    /// so the value was computed with Python's hashlib: sha256((3).to_bytes(8, "little") + b"abc").
    #[test]
    fn the_hash_is_the_same_for_ever() {
        assert_eq!(act("k", ["abc"]), "k~ce91dc5eec0139ad");
    }
}
