//! What is typed in a form but not yet sent. It survives a reload, and goes when the form is done.

use sha2::{Digest, Sha256};
use sqlx::SqliteConnection;
use time::{Duration, OffsetDateTime};
use uuid::Uuid;

use super::old_record::forget_old_uploads;
use super::once::act;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::customer::name_key;
use crate::desk::id::CustomerId;

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

/// The window in which something was typed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct TypingWindow {
    /// A name that the page gave itself; empty without a script.
    pub window: String,
    /// The page that stood in the same tab before, whose last words may still be on their way.
    pub before: String,
    /// When the page was opened; `None` without a script.
    pub opened_at: Option<OffsetDateTime>,
    /// The [`mark`] of the draft that the page was filled in with; a page without a script says it.
    pub filled_from: Option<String>,
}

/// Names what stands in a draft; two drafts that hold the same have the same mark.
pub fn mark(fields: &Fields) -> String {
    let mut hash = Sha256::new();
    for text in fields.iter().flat_map(|(name, value)| [name, value]) {
        hash.update((text.len() as u64).to_le_bytes());
        hash.update(text.as_bytes());
    }
    hash.finalize().iter().take(8).map(|byte| format!("{byte:02x}")).collect()
}

/// The most characters of the name of a window.
pub const MOST_WINDOW: usize = 40;

/// Where a draft was kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum KeptDraft {
    /// Under its key.
    Here,
    /// Under another key: a second window types in the same order, or the order was taken meanwhile.
    Aside {
        key: String,
        /// What came of the order under the first key.
        taken: Option<String>,
    },
    /// Not kept: a second window types in the same form, which is no order.
    NotKept,
    /// Not kept: the form is finished.
    Finished,
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

    /// Keeps what is typed, and never over what another window typed since this one was opened. An order then goes on
    /// under a key of its own, the same one each time. A finished form keeps nothing.
    pub async fn keep_draft(
        &self,
        key: &str,
        fields: &Fields,
        writer: &TypingWindow,
        now: OffsetDateTime,
    ) -> Result<KeptDraft, StoreError> {
        let mut tx = self.begin_uncounted().await?;
        let kept = match standing(&mut tx, key, fields, writer).await? {
            KeptDraft::Aside { key: aside, taken } => match standing(&mut tx, &aside, fields, writer).await? {
                KeptDraft::Here => {
                    write(&mut tx, &aside, fields, writer, now).await?;
                    KeptDraft::Aside { key: aside, taken }
                }
                _ => KeptDraft::Finished,
            },
            KeptDraft::Here => {
                write(&mut tx, key, fields, writer, now).await?;
                KeptDraft::Here
            }
            other => other,
        };
        tx.commit().await?;
        Ok(kept)
    }

    /// Deletes what was typed long ago and never sent.
    pub async fn forget_old_drafts(&self, now: OffsetDateTime) -> Result<u64, StoreError> {
        let before = Stamp(now - DRAFTS_KEPT);
        let mut tx = self.begin().await?;
        let gone =
            sqlx::query!("delete from draft where saved_at < ?", before).execute(&mut *tx).await?.rows_affected();
        forget_old_uploads(&mut tx, before).await?;
        tx.commit().await?;
        Ok(gone)
    }
}

/// Where a draft belongs as the book stands.
async fn standing(
    tx: &mut SqliteConnection,
    key: &str,
    fields: &Fields,
    writer: &TypingWindow,
) -> Result<KeptDraft, StoreError> {
    let contents = fields.iter().filter(|(name, _)| name != "key");
    let sent = act(key, contents.flat_map(|(name, value)| [name.as_bytes(), value.as_bytes()]));
    let found = sqlx::query!(
        r#"select (select outcome from form_outcome where key = ?1) as "taken?: String",
                  exists (select 1 from form_outcome where key = ?2) as "is_sent!: bool",
                  (select fields from draft where key = ?1) as "fields?: String",
                  (select writer from draft where key = ?1) as "writer?: String",
                  (select saved_at from draft where key = ?1) as "saved_at?: Stamp""#,
        key,
        sent
    )
    .fetch_one(&mut *tx)
    .await?;
    let aside = |taken| match aside_key(key, &writer.name_for(fields)) {
        Some(key) => KeptDraft::Aside { key, taken },
        None => KeptDraft::NotKept,
    };
    if let Some(taken) = found.taken {
        let is_order = key.parse::<Uuid>().is_ok();
        let goes_on = is_order && !found.is_sent && !writer.window.is_empty();
        return Ok(if goes_on { aside(Some(taken)) } else { KeptDraft::Finished });
    }
    let (Some(json), Some(other), Some(saved_at)) = (found.fields, found.writer, found.saved_at) else {
        return Ok(KeptDraft::Here);
    };
    let kept = read_fields(&json)?;
    let is_own = other == writer.window || (!other.is_empty() && other == writer.before);
    let is_newer = match &writer.filled_from {
        Some(filled) => *filled != mark(&kept),
        None => !is_own && writer.opened_at.is_some_and(|opened_at| saved_at.0 > opened_at),
    };
    Ok(if is_newer && kept != *fields { aside(None) } else { KeptDraft::Here })
}

impl TypingWindow {
    /// A window without a script has no name: what it sent stands for it, so that the same form sent twice is one.
    fn name_for(&self, fields: &Fields) -> String {
        if self.window.is_empty() { mark(fields) } else { self.window.clone() }
    }
}

/// The key under which a window goes on with an order that another window has: the time of the first key, and a hash
/// of both. `None` for a form whose key says what it is for.
fn aside_key(key: &str, window: &str) -> Option<String> {
    let order: Uuid = key.parse().ok()?;
    let mut hash = Sha256::new();
    hash.update(order.as_bytes());
    hash.update(window.as_bytes());
    let mut bytes = *order.as_bytes();
    for (byte, hashed) in bytes.iter_mut().skip(8).zip(hash.finalize()) {
        *byte = hashed;
    }
    bytes[8] = 0x80 | (bytes[8] & 0x3f);
    Some(Uuid::from_bytes(bytes).to_string())
}

/// The same words again change nothing, not even when they were typed: a window may send them only because it is left.
async fn write(
    tx: &mut SqliteConnection,
    key: &str,
    fields: &Fields,
    writer: &TypingWindow,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let fields =
        serde_json::to_string(fields).map_err(|e| StoreError::Unreadable { what: "draft", why: e.to_string() })?;
    let saved_at = Stamp(now);
    sqlx::query!(
        "insert into draft (key, fields, saved_at, writer) values (?1, ?2, ?3, ?4)
         on conflict (key) do update
         set fields = excluded.fields, saved_at = excluded.saved_at, writer = excluded.writer
         where draft.fields <> excluded.fields",
        key,
        fields,
        saved_at,
        writer.window
    )
    .execute(tx)
    .await?;
    Ok(())
}

/// Whether the fields of a draft name a person: by the key, or by a name where nobody else was chosen.
pub(super) fn names_person(json: &str, person: CustomerId, names: &[String]) -> Result<bool, StoreError> {
    let (fields, id) = (read_fields(json)?, person.to_string());
    let keys: Vec<String> = names.iter().map(|name| name_key(name)).collect();
    let is_chosen = |value: &str| value == id;
    let other_is_chosen =
        fields.iter().any(|(_, value)| !is_chosen(value) && value.len() == id.len() && value.parse::<Uuid>().is_ok());
    Ok(fields.iter().any(|(_, value)| is_chosen(value))
        || (!other_is_chosen && fields.iter().any(|(_, value)| keys.contains(&name_key(value)))))
}

pub(super) fn read_fields(json: &str) -> Result<Fields, StoreError> {
    serde_json::from_str(json).map_err(|e| StoreError::Unreadable { what: "draft", why: e.to_string() })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mark_names_what_a_draft_holds() {
        let fields = |pairs: &[(&str, &str)]| -> Fields {
            pairs.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect()
        };
        assert_eq!(mark(&fields(&[("a", "b")])), mark(&fields(&[("a", "b")])));
        let all =
            [&[][..], &[("a", "b")], &[("a", "c")], &[("ab", "")], &[("a", ""), ("b", "")]].map(|f| mark(&fields(f)));
        let different: std::collections::BTreeSet<&String> = all.iter().collect();
        assert_eq!(different.len(), all.len());
    }

    #[test]
    fn a_window_goes_on_under_one_key_of_its_own() {
        let order = Uuid::now_v7().to_string();
        let [first, again, other] = ["a", "a", "b"].map(|window| aside_key(&order, window).unwrap());
        assert_eq!(first, again);
        assert!(first != other && first != order);
        let aside: Uuid = first.parse().unwrap();
        assert_eq!((aside.get_version_num(), aside.get_variant()), (7, uuid::Variant::RFC4122));
        assert_eq!(first[..18], order[..18], "the list of orders that were begun is by time");
        assert_eq!(aside_key("payment-1001-0", "a"), None);
    }
}
