//! Old records on their way into the book. Every batch is tried in a transaction that is taken back, and staged in another one.
//! When all of them are, one short transaction makes the import and writes the last jobs; the others follow, some at a time, the
//! last ones first, so that an order that is taken meanwhile gets a number after all of them. What is staged holds everything
//! that is needed: a program that was stopped writes the rest when it starts again.

use std::sync::Arc;

use serde_json::json;
use sqlx::SqliteConnection;
use tokio::task::{JoinHandle, spawn_blocking};

use super::batch::{NewKeys, RecordBatch, Target};
use super::{NewImport, next_job_number};
use crate::desk::date::iso;
use crate::desk::frame_shape::NewShape;
use crate::desk::old_record::gathered::ShapeFile;
use crate::desk::old_record::plan::{ImportPlan, ImportTally, Planned};
use crate::optics::unit::Millimeter;
use crate::store::once::{Done, Once};
use crate::store::read::length;
use crate::store::read::unreadable;
use crate::store::stamp::Stamp;
use crate::store::{Store, StoreError};

/// How many jobs are written in one transaction: another save waits for no more than these.
const JOBS_AT_ONCE: usize = 50;

/// How the trace files of old records are had and read.
pub struct TraceFiles<'a> {
    /// The bytes of a file, if they are still those that were read before.
    pub bytes: &'a (dyn Fn(&ShapeFile) -> Option<Vec<u8>> + Sync),
    /// Reads the shape.
    pub read: ReadShape,
}

/// Reads a shape from the name and the bytes of its file, for a frame of this bridge.
pub type ReadShape = fn(&str, &[u8], Millimeter) -> Result<NewShape, String>;

/// A trace file that is staged.
struct StagedFile {
    /// The place of its job.
    place: usize,
    name: String,
    bytes: Vec<u8>,
    bridge: Millimeter,
}

impl StagedFile {
    fn of(place: usize, planned: &Planned<'_>, files: &TraceFiles<'_>) -> Result<Option<Self>, StoreError> {
        let Some(file) = &planned.job.shape else { return Ok(None) };
        let bytes = (files.bytes)(file).ok_or_else(|| StoreError::TraceFile(file.path.clone()))?;
        Ok(Some(Self { place, name: file.name(), bytes, bridge: planned.job.frame.bridge }))
    }

    fn shape(&self, read: ReadShape) -> Result<(usize, NewShape), StoreError> {
        let shape = read(&self.name, &self.bytes, self.bridge).map_err(|_| StoreError::TraceFile(self.name.clone()))?;
        Ok((self.place, shape))
    }
}

/// The shapes of a batch, each with the place of its job.
type BatchShapes = Vec<(usize, NewShape)>;

/// The shapes of a batch while they are read on another core.
struct ShapesAhead(JoinHandle<Result<BatchShapes, StoreError>>);

impl ShapesAhead {
    fn of(files: &Arc<[StagedFile]>, read: ReadShape) -> Self {
        let files = Arc::clone(files);
        Self(spawn_blocking(move || files.iter().map(|file| file.shape(read)).collect()))
    }

    async fn read(self) -> Result<BatchShapes, StoreError> {
        self.0.await.map_err(|why| StoreError::Database(sqlx::Error::Io(why.into())))?
    }
}

/// A batch that is about to be tried, and its shapes.
struct Prepared {
    batch: RecordBatch,
    files: Arc<[StagedFile]>,
    shapes: ShapesAhead,
}

/// A batch that is staged, read again.
struct StagedBatch {
    position: i64,
    batch: RecordBatch,
    shapes: BatchShapes,
}

impl Store {
    /// Tries and stages every job of a plan. `done` is told how many are.
    pub(super) async fn stage(
        &self,
        plan: &ImportPlan<'_>,
        import: &NewImport<'_>,
        files: &TraceFiles<'_>,
        done: &impl Fn(usize),
    ) -> Result<(), StoreError> {
        let (keys, today) = (NewKeys::of(plan), iso(&import.at.0.date()));
        let prepare = |from: usize| {
            let count = JOBS_AT_ONCE.min(plan.jobs.len() - from);
            let batch = RecordBatch::of(plan, &keys, (from, count), &today, import.by.as_deref());
            let with_files = (from..).zip(&plan.jobs[from..from + count]);
            let staged: Arc<[StagedFile]> = with_files
                .filter_map(|(place, planned)| StagedFile::of(place, planned, files).transpose())
                .collect::<Result<_, StoreError>>()?;
            Ok::<_, StoreError>(Prepared { batch, shapes: ShapesAhead::of(&staged, files.read), files: staged })
        };
        let mut starts = (0..plan.jobs.len()).step_by(JOBS_AT_ONCE);
        let mut next = starts.next().map(prepare).transpose()?;
        while let Some(Prepared { batch, files, shapes }) = next {
            let shapes = shapes.read().await?;
            // The shapes of the next batch are read while this one is written.
            next = starts.next().map(prepare).transpose()?;
            self.rehearse(&batch, &shapes, import).await?;
            self.keep_staged(&batch, &files).await?;
            done(batch.from + batch.count);
        }
        Ok(())
    }

    /// Writes a batch and takes it back, so that what the book refuses is found while nothing is in it.
    async fn rehearse(
        &self,
        batch: &RecordBatch,
        shapes: &[(usize, NewShape)],
        import: &NewImport<'_>,
    ) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        let first = next_job_number(&mut tx).await?;
        let seq = insert_import(&mut tx, import, first).await?;
        batch.clone().write(&mut tx, shapes, Target { first, import: seq, at: import.at }).await?;
        tx.rollback().await
    }

    async fn keep_staged(&self, batch: &RecordBatch, files: &[StagedFile]) -> Result<(), StoreError> {
        let (position, lines) = (batch.from as i64, json!(batch));
        let mut tx = self.begin().await?;
        sqlx::query!("insert into old_staged (position, lines) values (?, ?)", position, lines)
            .execute(&mut *tx)
            .await?;
        for file in files {
            let (place, bridge) = (file.place as i64, file.bridge.hundredths());
            sqlx::query!(
                "insert into old_staged_file (staged_position, position, name, bytes, bridge_hundredths)
                 values (?, ?, ?, ?, ?)",
                position,
                place,
                file.name,
                file.bytes,
                bridge
            )
            .execute(&mut *tx)
            .await?;
        }
        tx.commit().await
    }

    /// Makes the import of what is staged. From here on its jobs are in, though most of them are still to be written.
    pub(super) async fn decide(
        &self,
        key: &str,
        import: &NewImport<'_>,
        read: ReadShape,
    ) -> Result<Once<ImportTally>, StoreError> {
        self.once(key, None, import.at.0, async |tx| {
            let first = next_job_number(tx).await?;
            let seq = insert_import(tx, import, first).await?;
            sqlx::query!("delete from old_upload where key = ?", key).execute(&mut *tx).await?;
            sqlx::query!("insert into old_writing (import_seq, first_job) values (?, ?)", seq, first)
                .execute(&mut *tx)
                .await?;
            if import.tally.shapes > 0 {
                let last = first + import.tally.jobs as i64 - 1;
                sqlx::query!(
                    "insert into old_uncompared (import_seq, next_job, last_job) values (?, ?, ?)",
                    seq,
                    first,
                    last
                )
                .execute(&mut *tx)
                .await?;
            }
            write_last(tx, None, read).await?;
            Ok(Done::new(import.tally, seq))
        })
        .await
    }

    /// Whether an import was made of which jobs are still to be written.
    pub async fn is_writing_old_records(&self) -> Result<bool, StoreError> {
        Ok(sqlx::query_scalar!(r#"select exists (select 1 from old_writing) as "is!: bool""#)
            .fetch_one(&self.read)
            .await?)
    }

    /// Writes the jobs of the newest import that are still to be written. `done` is told how many are.
    pub async fn write_staged(&self, read: ReadShape, done: &impl Fn(usize)) -> Result<(), StoreError> {
        let all = sqlx::query_scalar!(r#"select jobs_made from old_import order by seq desc limit 1"#);
        let all = usize::try_from(all.fetch_optional(&self.read).await?.unwrap_or(0)).unwrap_or_default();
        let mut ahead = self.read_staged_before(i64::MAX, read).await?;
        loop {
            let position = ahead.as_ref().map_or(0, |staged| staged.position);
            let write = async {
                let mut tx = self.begin().await?;
                let left = write_last(&mut tx, ahead, read).await?;
                tx.commit().await?;
                Ok(left)
            };
            let (left, before) = tokio::try_join!(write, self.read_staged_before(position, read))?;
            match left {
                Some(left) => done(all.saturating_sub(left)),
                None => return Ok(()),
            }
            ahead = before;
        }
    }

    async fn read_staged_before(&self, position: i64, read: ReadShape) -> Result<Option<StagedBatch>, StoreError> {
        last_staged(&mut *self.read.acquire().await?, position, read).await
    }

    /// Throws away what is staged and belongs to no import.
    pub async fn forget_staged(&self) -> Result<(), StoreError> {
        if self.is_writing_old_records().await? {
            return Err(StoreError::BringingIn);
        }
        let mut tx = self.begin().await?;
        sqlx::query!("delete from old_staged_file").execute(&mut *tx).await?;
        sqlx::query!("delete from old_staged").execute(&mut *tx).await?;
        tx.commit().await
    }
}

/// Refuses what would change customers while old records are on their way.
pub(in crate::store) async fn must_not_be_bringing_in(tx: &mut SqliteConnection) -> Result<(), StoreError> {
    let is = sqlx::query_scalar!(r#"select exists (select 1 from old_staged) as "is!: bool""#).fetch_one(tx).await?;
    if is { Err(StoreError::BringingIn) } else { Ok(()) }
}

/// Writes the last batch that is staged; `ahead` is that one where it was read already. Answers how many jobs are left; `None`
/// when there was none.
async fn write_last(
    tx: &mut SqliteConnection,
    ahead: Option<StagedBatch>,
    read: ReadShape,
) -> Result<Option<usize>, StoreError> {
    let writing = sqlx::query!(
        r#"select w.import_seq, w.first_job, i.at as "at: Stamp" from old_writing w
           join old_import i on i.seq = w.import_seq"#
    );
    let Some(writing) = writing.fetch_optional(&mut *tx).await? else { return Ok(None) };
    let last = sqlx::query_scalar!("select max(position) from old_staged").fetch_one(&mut *tx).await?;
    let staged = match ahead.filter(|staged| Some(staged.position) == last) {
        Some(staged) => Some(staged),
        None => last_staged(tx, i64::MAX, read).await?,
    };
    let Some(StagedBatch { position, batch, shapes }) = staged else {
        sqlx::query!("delete from old_writing").execute(&mut *tx).await?;
        return Ok(None);
    };
    let target = Target { first: writing.first_job, import: writing.import_seq, at: writing.at };
    let left = batch.from;
    batch.write(tx, &shapes, target).await?;
    sqlx::query!("delete from old_staged_file where staged_position = ?", position).execute(&mut *tx).await?;
    sqlx::query!("delete from old_staged where position = ?", position).execute(&mut *tx).await?;
    Ok(Some(left))
}

/// The last batch that is staged before a position.
async fn last_staged(
    db: &mut SqliteConnection,
    before: i64,
    read: ReadShape,
) -> Result<Option<StagedBatch>, StoreError> {
    let last = sqlx::query!(
        "select position, lines from old_staged where position < ? order by position desc limit 1",
        before
    );
    let Some(last) = last.fetch_optional(&mut *db).await? else { return Ok(None) };
    let batch = serde_json::from_str(&last.lines).map_err(unreadable("staged old record"))?;
    let files = staged_files(db, last.position).await?.into();
    Ok(Some(StagedBatch { position: last.position, batch, shapes: ShapesAhead::of(&files, read).read().await? }))
}

async fn staged_files(tx: &mut SqliteConnection, staged: i64) -> Result<Vec<StagedFile>, StoreError> {
    let rows = sqlx::query!(
        "select position, name, bytes, bridge_hundredths from old_staged_file where staged_position = ? order by position",
        staged
    );
    let file = |(position, name, bytes, bridge): (i64, String, Vec<u8>, i64)| {
        let place = usize::try_from(position).map_err(unreadable("staged trace file"))?;
        Ok(StagedFile { place, name, bytes, bridge: length("bridge", bridge)? })
    };
    let rows = rows.fetch_all(tx).await?;
    rows.into_iter().map(|row| file((row.position, row.name, row.bytes, row.bridge_hundredths))).collect()
}

async fn insert_import(tx: &mut SqliteConnection, import: &NewImport<'_>, first: i64) -> Result<i64, StoreError> {
    let ImportTally { jobs, shapes, new_customers, new_frames, already_here, stopped, .. } = import.tally;
    let [jobs, shapes, customers, frames, already_here, left_out] =
        [jobs, shapes, new_customers, new_frames, already_here, stopped].map(|count| count as i64);
    let first = (jobs > 0).then_some(first);
    Ok(sqlx::query!(
        "insert into old_import (folder, table_name, jobs_made, shapes_made, customers_made, frames_made, already_here,
                                 left_out, first_job, at)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        import.source.folder,
        import.source.table,
        jobs,
        shapes,
        customers,
        frames,
        already_here,
        left_out,
        first,
        import.at
    )
    .execute(tx)
    .await?
    .last_insert_rowid())
}
