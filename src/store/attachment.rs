//! Kept files: the bytes once by their SHA-256, and what each file is.

use sha2::{Digest, Sha256};
use sqlx::SqliteConnection;
use time::OffsetDateTime;
use uuid::Uuid;

use super::StoreError;
use super::stamp::Stamp;

/// A file to keep.
pub(super) struct NewAttachment<'a> {
    /// A key of `attachment_kind`.
    pub kind: &'static str,
    pub name: &'a str,
    pub bytes: &'a [u8],
    pub job: Option<i64>,
}

pub(super) async fn insert_attachment(
    tx: &mut SqliteConnection,
    file: &NewAttachment<'_>,
    now: OffsetDateTime,
) -> Result<Uuid, StoreError> {
    let (id, hash, added_at) = (Uuid::now_v7(), Sha256::digest(file.bytes).to_vec(), Stamp(now));
    sqlx::query!(
        "insert into attachment_bytes (hash, bytes) values (?, ?) on conflict (hash) do nothing",
        hash,
        file.bytes
    )
    .execute(&mut *tx)
    .await?;
    sqlx::query!(
        "insert into attachment (id, hash, kind, name, job_number, added_at) values (?, ?, ?, ?, ?, ?)",
        id,
        hash,
        file.kind,
        file.name,
        file.job,
        added_at
    )
    .execute(tx)
    .await?;
    Ok(id)
}
