//! Jobs of before Rimbook: brought in all at once or not at all, and found by the numbers they had.
//!
//! * `batch` – some jobs as rows of every table, written in one transaction.
//! * `staging` – all of them on their way into the book, without holding up any other save.
//! * `comparing` – imports whose shapes are still to be compared with those on file.

mod batch;
mod comparing;
mod staging;

use std::collections::HashMap;

use serde_json::{Value, json};
use sqlx::SqliteConnection;
use time::OffsetDateTime;

pub use self::comparing::Uncompared;
pub(super) use self::staging::must_not_be_bringing_in;
pub use self::staging::{ReadShape, TraceFiles};
use super::draft::{Fields, read_fields};
use super::once::Once;
use super::screen::acting_screen;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::customer::{Customer, Person, name_key};
use crate::desk::frame::FrameDetails;
use crate::desk::id::{CustomerId, FrameId};
use crate::desk::old_record::gathered::{ContentMark, Gathered};
use crate::desk::old_record::number_key;
use crate::desk::old_record::plan::{FrameKey, ImportPlan, ImportTally, Known, frame_key_of};

/// How often a plan is made anew, because the customers or frames of the book changed while its jobs were staged.
const TRIES: usize = 3;

/// Where old records come from.
#[derive(Debug, Clone, Copy)]
pub struct ImportSource<'a> {
    /// The folder of the trace files.
    pub folder: &'a str,
    /// The name of the file with the table.
    pub table: &'a str,
}

/// Old records that were brought in at one time.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OldImport {
    pub folder: String,
    pub table: String,
    pub jobs: i64,
    pub shapes: i64,
    pub customers: i64,
    pub frames: i64,
    pub already_here: i64,
    pub left_out: i64,
    pub at: OffsetDateTime,
    /// The first and the last of the new jobs.
    pub numbers: Option<(i64, i64)>,
}

impl Store {
    /// Keeps an uploaded table until it is brought in.
    pub async fn keep_old_upload(
        &self,
        key: &str,
        name: &str,
        bytes: &[u8],
        now: OffsetDateTime,
    ) -> Result<(), StoreError> {
        let (saved_at, mut tx) = (Stamp(now), self.begin().await?);
        sqlx::query!(
            "insert into old_upload (key, name, bytes, saved_at) values (?1, ?2, ?3, ?4)
             on conflict (key) do update set name = ?2, bytes = ?3, saved_at = ?4",
            key,
            name,
            bytes,
            saved_at
        )
        .execute(&mut *tx)
        .await?;
        tx.commit().await
    }

    /// The name and the bytes of an uploaded table that was not brought in yet.
    pub async fn find_old_upload(&self, key: &str) -> Result<Option<(String, Vec<u8>)>, StoreError> {
        let row =
            sqlx::query!("select name, bytes from old_upload where key = ?", key).fetch_optional(&self.read).await?;
        Ok(row.map(|row| (row.name, row.bytes)))
    }

    /// Keeps how the columns of a table with these heads were matched.
    pub async fn keep_old_matching(&self, heads: &str, fields: &Fields, now: OffsetDateTime) -> Result<(), StoreError> {
        let (fields, saved_at) = (json!(fields), Stamp(now));
        let mut tx = self.begin().await?;
        sqlx::query!(
            "insert into old_matching (heads, fields, saved_at) values (?1, ?2, ?3)
             on conflict (heads) do update set fields = excluded.fields, saved_at = excluded.saved_at
             where old_matching.fields <> excluded.fields",
            heads,
            fields,
            saved_at
        )
        .execute(&mut *tx)
        .await?;
        tx.commit().await
    }

    /// How the columns of the last table with these heads were matched.
    pub async fn find_old_matching(&self, heads: &str) -> Result<Option<Fields>, StoreError> {
        let fields = sqlx::query_scalar!("select fields from old_matching where heads = ?", heads)
            .fetch_optional(&self.read)
            .await?;
        fields.as_deref().map(read_fields).transpose()
    }

    /// Whether any uploaded table waits.
    pub async fn has_old_upload(&self) -> Result<bool, StoreError> {
        Ok(sqlx::query_scalar!(r#"select exists (select 1 from old_upload) as "has!: bool""#)
            .fetch_one(&self.read)
            .await?)
    }

    /// How many imports of old records there were.
    pub async fn count_old_imports(&self) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select coalesce(max(seq), 0) as "n!: i64" from old_import"#)
            .fetch_one(&self.read)
            .await?)
    }

    /// The number that the next new job would get.
    pub async fn next_job_number(&self) -> Result<i64, StoreError> {
        next_job_number(&mut *self.read.acquire().await?).await
    }

    /// The newest imports of old records.
    pub async fn list_old_imports(&self, most: i64) -> Result<Vec<OldImport>, StoreError> {
        let rows = sqlx::query_scalar!(r#"select seq as "seq!: i64" from old_import order by seq desc limit ?"#, most)
            .fetch_all(&self.read)
            .await?;
        let mut imports = Vec::new();
        for seq in rows {
            imports.push(self.get_old_import(seq).await?);
        }
        Ok(imports)
    }

    /// One import of old records.
    pub async fn get_old_import(&self, seq: i64) -> Result<OldImport, StoreError> {
        let row = sqlx::query!(
            r#"select folder, table_name, jobs_made, shapes_made, customers_made, frames_made, already_here, left_out,
                      at as "at: Stamp", first_job as "first_job?: i64"
               from old_import where seq = ?"#,
            seq
        )
        .fetch_optional(&self.read)
        .await?
        .ok_or(StoreError::NotFound("that import"))?;
        Ok(OldImport {
            folder: row.folder,
            table: row.table_name,
            jobs: row.jobs_made,
            shapes: row.shapes_made,
            customers: row.customers_made,
            frames: row.frames_made,
            already_here: row.already_here,
            left_out: row.left_out,
            at: row.at.0,
            numbers: row.first_job.map(|first| (first, first + row.jobs_made - 1)),
        })
    }

    /// The job that had a number before Rimbook.
    pub async fn find_old_number(&self, typed: &str) -> Result<Option<i64>, StoreError> {
        let key = number_key(typed);
        Ok(sqlx::query_scalar!("select job_number from old_record where number_key = ?", key)
            .fetch_optional(&self.read)
            .await?)
    }

    /// What the book holds of what was gathered.
    pub async fn known_of(&self, gathered: &Gathered) -> Result<Known, StoreError> {
        known_of(&mut *self.read.acquire().await?, gathered).await
    }

    /// Brings in what was gathered, all of it or nothing; no other save waits for more than some of the jobs. `done` is told
    /// how many jobs are staged, and then how many are written.
    ///
    /// # Errors
    ///
    /// [`StoreError::Stopped`] with the number of rows that stop it, [`StoreError::TraceFile`]. Where
    /// [`Store::is_writing_old_records`] says so, all of it is in, and the rest of the writing is still to be done.
    pub async fn bring_in(
        &self,
        key: &str,
        what: &ToBringIn<'_>,
        now: OffsetDateTime,
        done: impl Fn(Written),
    ) -> Result<Once<ImportTally>, StoreError> {
        let ToBringIn { gathered, leaves_out, source, files } = what;
        for _ in 0..TRIES {
            if let Some(before) = self.find_outcome(key).await? {
                return Ok(Once::Before(before));
            }
            self.forget_staged().await?;
            let known = self.known_of(gathered).await?;
            let plan = ImportPlan::of(gathered, &known);
            if plan.tally.stopped > 0 && !*leaves_out {
                return Err(StoreError::Stopped(plan.tally.stopped));
            }
            let import = NewImport { source: *source, tally: plan.tally, at: Stamp(now), by: acting_screen() };
            let decided = match self.stage(&plan, &import, files, &|count| done(Written::Staged(count))).await {
                // The customers and frames of the plan are still those of the book.
                Ok(()) if self.known_of(gathered).await? == known => self.decide(key, &import, files.read).await,
                Ok(()) => continue,
                Err(why) => Err(why),
            };
            match decided {
                Ok(Once::Now(_)) => self.write_staged(files.read, &|count| done(Written::InBook(count))).await?,
                _ => self.forget_staged().await?,
            }
            return decided;
        }
        self.forget_staged().await?;
        Err(StoreError::Busy)
    }
}

/// What is to be brought in.
pub struct ToBringIn<'a> {
    pub gathered: &'a Gathered,
    /// Whether rows that cannot be brought in are left out; else one of them stops it.
    pub leaves_out: bool,
    pub source: ImportSource<'a>,
    pub files: TraceFiles<'a>,
}

/// How far jobs have come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Written {
    /// So many are staged.
    Staged(usize),
    /// So many are in the book.
    InBook(usize),
}

/// An import to be made.
#[derive(Debug, Clone)]
struct NewImport<'a> {
    source: ImportSource<'a>,
    tally: ImportTally,
    at: Stamp,
    /// Who acts.
    by: Option<String>,
}

/// Deletes tables that were uploaded long ago and never brought in.
pub(super) async fn forget_old_uploads(tx: &mut SqliteConnection, before: Stamp) -> Result<(), StoreError> {
    sqlx::query!("delete from old_upload where saved_at < ?", before).execute(tx).await?;
    Ok(())
}

async fn known_of(db: &mut SqliteConnection, gathered: &Gathered) -> Result<Known, StoreError> {
    let mut known = Known::default();
    let marks: Vec<String> = gathered.jobs.iter().map(|job| const_hex::encode(job.mark)).collect();
    let marks = json!(marks);
    let rows = sqlx::query!(
        "select hash, job_number from old_record where hash in (select unhex(value) from json_each(?))",
        marks
    )
    .fetch_all(&mut *db)
    .await?;
    known.marks =
        rows.into_iter().filter_map(|row| Some((ContentMark::try_from(row.hash).ok()?, row.job_number))).collect();
    let numbers: Vec<&str> = gathered.jobs.iter().map(|job| job.number_key.as_str()).collect();
    let numbers = json!(numbers);
    let rows = sqlx::query!(
        "select o.number_key, o.job_number, c.name_key from old_record o
         join job j on j.number = o.job_number join customer c on c.id = j.patient_id
         where o.number_key in (select value from json_each(?))",
        numbers
    )
    .fetch_all(&mut *db)
    .await?;
    known.numbers = rows.into_iter().map(|row| (row.number_key, (row.job_number, row.name_key))).collect();
    let names: Vec<String> = gathered.jobs.iter().map(|job| name_key(&job.row.person.name)).collect();
    let names = json!(names);
    let rows = sqlx::query!(
        r#"select id as "id: CustomerId", name, name_key, phone, email, postcode from customer
           where name_key in (select value from json_each(?)) order by number"#,
        names
    )
    .fetch_all(&mut *db)
    .await?;
    for row in rows {
        let person =
            Person { name: row.name, phone: row.phone, email: row.email, postcode: row.postcode, ..Person::default() };
        known.customers.entry(row.name_key).or_default().push(Customer { id: row.id, person });
    }
    known.frames = known_frames(db, gathered).await?;
    Ok(known)
}

async fn known_frames(
    db: &mut SqliteConnection,
    gathered: &Gathered,
) -> Result<HashMap<FrameKey, FrameId>, StoreError> {
    let frames: Vec<Value> = gathered.jobs.iter().map(|job| frame_json(&job.frame)).collect();
    let frames = json!(frames);
    let rows = sqlx::query!(
        r#"with line as materialized (select value from json_each(?))
           select f.id as "id: FrameId", f.maker, f.model, f.colour,
                  f.eye_size_hundredths, f.bridge_hundredths
           from line cross join frame f on f.maker = line.value ->> 0 and f.model = line.value ->> 1
                and f.colour = line.value ->> 2 and f.eye_size_hundredths = line.value ->> 3
                and f.bridge_hundredths = line.value ->> 4"#,
        frames
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| {
            let sizes = [row.eye_size_hundredths, row.bridge_hundredths];
            (frame_key_of([&row.maker, &row.model, &row.colour], sizes), row.id)
        })
        .collect())
}

fn frame_json(frame: &FrameDetails) -> Value {
    json!([frame.maker, frame.model, frame.color, frame.eye_size.hundredths(), frame.bridge.hundredths()])
}

/// Numbers begin at 1001, and none is used twice, because no job is removed.
async fn next_job_number(db: &mut SqliteConnection) -> Result<i64, StoreError> {
    Ok(sqlx::query_scalar!(r#"select coalesce(max(number), 1000) + 1 as "n!: i64" from job"#).fetch_one(db).await?)
}
