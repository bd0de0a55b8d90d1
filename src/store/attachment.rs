//! Kept files: the bytes once by their SHA-256, and what each file is.

use sha2::{Digest, Sha256};
use sqlx::SqliteConnection;
use time::OffsetDateTime;
use uuid::Uuid;

use super::event::append_event;
use super::once::{Done, Once};
use super::read::word;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::attachment::{AttachmentKind, FileFormat, KeptFile, NewFile};
use crate::desk::id::AttachmentId;
use crate::desk::job::EventKind;
use crate::desk::step::Step;

/// A file to keep.
pub(super) struct NewAttachment<'a> {
    kind: AttachmentKind,
    /// A key of [`FileFormat`], or nothing.
    format: &'static str,
    name: &'a str,
    note: &'a str,
    bytes: &'a [u8],
    job: i64,
}

impl<'a> NewAttachment<'a> {
    /// The bytes a shape of a job was read from.
    pub(super) fn trace(name: &'a str, bytes: &'a [u8], job: i64) -> Self {
        Self { kind: AttachmentKind::Trace, format: "", name, note: "", bytes, job }
    }

    fn of(file: &'a NewFile, job: i64) -> Self {
        Self { kind: file.kind, format: file.format.key(), name: &file.name, note: &file.note, bytes: &file.bytes, job }
    }
}

pub(super) async fn insert_attachment(
    tx: &mut SqliteConnection,
    file: &NewAttachment<'_>,
    now: OffsetDateTime,
) -> Result<Uuid, StoreError> {
    let (id, hash, added_at) = (Uuid::now_v7(), Sha256::digest(file.bytes).to_vec(), Stamp(now));
    let kind = file.kind.key();
    sqlx::query!(
        "insert into attachment_bytes (hash, bytes) values (?, ?) on conflict (hash) do nothing",
        hash,
        file.bytes
    )
    .execute(&mut *tx)
    .await?;
    sqlx::query!(
        "insert into attachment (id, hash, kind, format, name, note, job_number, added_at)
         values (?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        hash,
        kind,
        file.format,
        file.name,
        file.note,
        file.job,
        added_at
    )
    .execute(tx)
    .await?;
    Ok(id)
}

/// Keeps a photograph or letter with a job, and says so in its history.
pub(super) async fn insert_file(
    tx: &mut SqliteConnection,
    number: i64,
    file: &NewFile,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    insert_attachment(tx, &NewAttachment::of(file, number), now).await?;
    let note = if file.note.is_empty() { String::new() } else { format!(": {}", file.note) };
    let said = format!("{}, {}{note}", file.kind.words(), file.name);
    append_event(tx, number, EventKind::FileAdded, &said, now).await?;
    Ok(())
}

/// Whether a job has a photograph or letter of these very bytes.
pub(super) async fn has_file(tx: &mut SqliteConnection, number: i64, bytes: &[u8]) -> Result<bool, StoreError> {
    let hash = Sha256::digest(bytes).to_vec();
    Ok(sqlx::query_scalar!(
        r#"select exists (select 1 from attachment where job_number = ? and hash = ? and format <> '') as "has: bool""#,
        number,
        hash
    )
    .fetch_one(tx)
    .await?)
}

struct FileRow {
    id: AttachmentId,
    kind: String,
    format: String,
    name: String,
    note: String,
    added_at: Stamp,
}

impl TryFrom<FileRow> for KeptFile {
    type Error = StoreError;
    fn try_from(row: FileRow) -> Result<Self, StoreError> {
        Ok(Self {
            id: row.id,
            kind: word("kind of file", &row.kind, AttachmentKind::from_key(&row.kind))?,
            format: FileFormat::from_key(&row.format),
            name: row.name,
            note: row.note,
            added_at: row.added_at.0,
        })
    }
}

impl Store {
    /// The photographs and letters of a job, oldest first.
    pub async fn list_files(&self, number: i64) -> Result<Vec<KeptFile>, StoreError> {
        sqlx::query_as!(
            FileRow,
            r#"select id as "id: AttachmentId", kind, format, name, note, added_at as "added_at: Stamp"
               from attachment where job_number = ? and format <> '' order by added_at, id"#,
            number
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(KeptFile::try_from)
        .collect()
    }

    /// A photograph or letter of a job with its bytes.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] when the job has no such file.
    pub async fn get_file(&self, number: i64, id: AttachmentId) -> Result<(String, FileFormat, Vec<u8>), StoreError> {
        let row = sqlx::query!(
            "select a.name, a.format, b.bytes from attachment a join attachment_bytes b on b.hash = a.hash
             where a.id = ? and a.job_number = ? and a.format <> ''",
            id,
            number
        )
        .fetch_optional(&self.read)
        .await?
        .ok_or(StoreError::NotFound("that file"))?;
        Ok((row.name, word("format", &row.format, FileFormat::from_key(&row.format))?, row.bytes))
    }

    /// Keeps photographs or letters with a job.
    pub async fn add_files(
        &self,
        key: &str,
        number: i64,
        files: &[NewFile],
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, Step::File)), now, async |tx| {
            for file in files {
                insert_file(tx, number, file, now).await?;
            }
            Ok(Done::new((), number))
        })
        .await
    }
}
