//! Jobs of before Rimbook: brought in all at once or not at all, and found by the numbers they had.
//!
//! Ten thousand jobs are one transaction. The rows of a table are written some hundred at a time, as JSON that SQLite takes
//! apart; shapes and files by the functions that keep one.

use std::collections::HashMap;

use serde_json::{Value, json};
use sqlx::SqliteConnection;
use time::OffsetDateTime;
use uuid::Uuid;

use super::once::{Done, Once};
use super::order::height_columns;
use super::prescription::{given_key, given_mono};
use super::screen::acting_screen;
use super::search::keep_words;
use super::shape::insert_shape_of_file;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::customer::{Customer, Person, name_key};
use crate::desk::date::iso;
use crate::desk::frame::FrameDetails;
use crate::desk::id::{CustomerId, FrameId, ShapeId};
use crate::desk::job::{EventKind, EyeTask, Stage};
use crate::desk::old_record::gathered::{Gathered, Mark};
use crate::desk::old_record::number_key;
use crate::desk::old_record::plan::{FrameKey, Known, Plan, Planned, Tally, Which, frame_key_of};
use crate::desk::order::Design;
use crate::desk::prescription::MadeFor;
use crate::optics::Eye;

/// How many jobs are written by one statement of each table.
const JOBS_AT_ONCE: usize = 200;

/// The key of the material called "Not recorded", and that of its only version.
const NOT_RECORDED: Uuid = Uuid::from_u128(0x019a_c000_0000_7000_8000_0000_0000_0001);

/// Where old records come from.
#[derive(Debug, Clone, Copy)]
pub struct Source<'a> {
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
        Ok(tx.commit().await?)
    }

    /// The name and the bytes of an uploaded table that was not brought in yet.
    pub async fn find_old_upload(&self, key: &str) -> Result<Option<(String, Vec<u8>)>, StoreError> {
        let row =
            sqlx::query!("select name, bytes from old_upload where key = ?", key).fetch_optional(&self.read).await?;
        Ok(row.map(|row| (row.name, row.bytes)))
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

    /// Brings in what was gathered, all of it or nothing. With `leaves_out`, rows that cannot be brought in are left out;
    /// else one of them stops it. `done` is told how many jobs are written.
    ///
    /// # Errors
    ///
    /// [`StoreError::Stopped`] with the number of rows that stop it.
    pub async fn bring_in(
        &self,
        key: &str,
        gathered: &Gathered,
        leaves_out: bool,
        source: Source<'_>,
        now: OffsetDateTime,
        done: impl Fn(usize),
    ) -> Result<Once<Tally>, StoreError> {
        self.once(key, None, now, async |tx| {
            let known = known_of(tx, gathered).await?;
            let plan = Plan::of(gathered, &known);
            if plan.tally.stopped > 0 && !leaves_out {
                return Err(StoreError::Stopped(plan.tally.stopped));
            }
            let import = write(tx, &plan, source, now, done).await?;
            sqlx::query!("delete from old_upload where key = ?", key).execute(&mut *tx).await?;
            Ok(Done::new(plan.tally, import))
        })
        .await
    }
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
    known.marks = rows.into_iter().filter_map(|row| Some((Mark::try_from(row.hash).ok()?, row.job_number))).collect();
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

/// The customers, frames and jobs that a plan needs, each with its key.
struct Rows<'a> {
    plan: &'a Plan<'a>,
    customers: Vec<Uuid>,
    frames: Vec<Uuid>,
    import: i64,
    material: Uuid,
    at: Stamp,
    /// The number of the first job.
    first: i64,
}

async fn write(
    tx: &mut SqliteConnection,
    plan: &Plan<'_>,
    source: Source<'_>,
    now: OffsetDateTime,
    done: impl Fn(usize),
) -> Result<i64, StoreError> {
    let first = next_job_number(tx).await?;
    let rows = Rows {
        customers: plan.customers.iter().map(|_| Uuid::now_v7()).collect(),
        frames: plan.frames.iter().map(|_| Uuid::now_v7()).collect(),
        import: insert_import(tx, plan, source, first, now).await?,
        material: not_recorded(tx, now).await?,
        at: Stamp(now),
        first,
        plan,
    };
    insert_customers(tx, &rows).await?;
    insert_frames(tx, &rows).await?;
    for (at, some) in plan.jobs.chunks(JOBS_AT_ONCE).enumerate() {
        let from = at * JOBS_AT_ONCE;
        insert_jobs(tx, &rows, from, some).await?;
        insert_shapes(tx, &rows, from, some, now).await?;
        insert_events(tx, &rows, from, some).await?;
        index_jobs(tx, rows.number(from), rows.number(from + some.len())).await?;
        done(from + some.len());
    }
    let texts = plan.customers.iter().flat_map(|p| [&p.name, &p.city, &p.region, &p.email]);
    let texts = texts.chain(plan.frames.iter().flat_map(|f| [&f.maker, &f.model, &f.color]));
    let texts = texts.chain(plan.jobs.iter().map(|planned| &planned.job.row.prescriber));
    keep_words(tx, texts.map(String::as_str)).await?;
    Ok(rows.import)
}

impl Rows<'_> {
    fn number(&self, at: usize) -> i64 {
        self.first + at as i64
    }

    fn customer(&self, who: Which<CustomerId>) -> Uuid {
        match who {
            Which::Known(id) => id.0,
            Which::New(at) => self.customers[at],
        }
    }

    fn frame(&self, which: Which<FrameId>) -> Uuid {
        match which {
            Which::Known(id) => id.0,
            Which::New(at) => self.frames[at],
        }
    }

    /// The day that a job counts as of.
    fn day(&self, planned: &Planned) -> String {
        iso(&planned.job.row.ordered_on.unwrap_or_else(|| self.at.0.date()))
    }
}

/// Numbers begin at 1001, and none is used twice, because no job is removed.
async fn next_job_number(db: &mut SqliteConnection) -> Result<i64, StoreError> {
    Ok(sqlx::query_scalar!(r#"select coalesce(max(number), 1000) + 1 as "n!: i64" from job"#).fetch_one(db).await?)
}

async fn insert_import(
    tx: &mut SqliteConnection,
    plan: &Plan<'_>,
    source: Source<'_>,
    first: i64,
    now: OffsetDateTime,
) -> Result<i64, StoreError> {
    let Tally { jobs, shapes, new_customers, new_frames, already_here, stopped, .. } = plan.tally;
    let [jobs, shapes, customers, frames, already_here, left_out] =
        [jobs, shapes, new_customers, new_frames, already_here, stopped].map(|count| count as i64);
    let (first, at) = ((jobs > 0).then_some(first), Stamp(now));
    Ok(sqlx::query!(
        "insert into old_import (folder, table_name, jobs_made, shapes_made, customers_made, frames_made, already_here,
                                 left_out, first_job, at)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        source.folder,
        source.table,
        jobs,
        shapes,
        customers,
        frames,
        already_here,
        left_out,
        first,
        at
    )
    .execute(tx)
    .await?
    .last_insert_rowid())
}

/// The material of lenses that the records say nothing of. It is not on sale.
async fn not_recorded(tx: &mut SqliteConnection, now: OffsetDateTime) -> Result<Uuid, StoreError> {
    let at = Stamp(now);
    sqlx::query!(
        "insert into material (id, position, added_at, retired_at) values (?1, 0, ?2, ?2) on conflict do nothing",
        NOT_RECORDED,
        at
    )
    .execute(&mut *tx)
    .await?;
    sqlx::query!(
        "insert into material_version (id, material_id, number, name, index_thousandths, abbe_tenths, density_hundredths,
                                       centre_hundredths, cutting, price_cents, added_at)
         values (?1, ?1, 1, 'Not recorded', 1500, 580, 132, 200, 'dry', 0, ?2) on conflict do nothing",
        NOT_RECORDED,
        at
    )
    .execute(tx)
    .await?;
    Ok(NOT_RECORDED)
}

async fn insert_customers(tx: &mut SqliteConnection, rows: &Rows<'_>) -> Result<(), StoreError> {
    let before = sqlx::query_scalar!(r#"select coalesce(max(number), 0) as "n!: i64" from customer"#);
    let before = before.fetch_one(&mut *tx).await?;
    let people: Vec<_> = rows.customers.iter().zip(&rows.plan.customers).collect();
    for some in people.chunks(JOBS_AT_ONCE) {
        let lines = json!(some.iter().map(|(id, person)| person_json(id, person)).collect::<Vec<_>>());
        sqlx::query!(
            "with line as materialized (select value from json_each(?1))
             insert into customer (id, name, name_key, line1, line2, city, region, postcode, phone, email, changed_at)
             select unhex(value ->> 0), value ->> 1, value ->> 2, value ->> 3, value ->> 4, value ->> 5, value ->> 6,
                    value ->> 7, value ->> 8, value ->> 9, ?2
             from line",
            lines,
            rows.at
        )
        .execute(&mut *tx)
        .await?;
    }
    sqlx::query!(
        "insert into customer_search (rowid, name, place, phone, email)
         select number, name, place, phone, email from customer_words where number > ?",
        before
    )
    .execute(tx)
    .await?;
    Ok(())
}

fn person_json(id: &Uuid, person: &Person) -> Value {
    let Person { name, line1, line2, city, region, postcode, phone, email, .. } = person;
    json!([hex(*id), name, name_key(name), line1, line2, city, region, postcode, phone, email])
}

async fn insert_frames(tx: &mut SqliteConnection, rows: &Rows<'_>) -> Result<(), StoreError> {
    let before = sqlx::query_scalar!(r#"select coalesce(max(number), 0) as "n!: i64" from frame"#);
    let before = before.fetch_one(&mut *tx).await?;
    let frames: Vec<_> = rows.frames.iter().zip(&rows.plan.frames).collect();
    for some in frames.chunks(JOBS_AT_ONCE) {
        let line = |(id, frame): &(&Uuid, &&FrameDetails)| {
            let sizes = [Some(frame.eye_size), Some(frame.bridge), frame.temple].map(|mm| mm.map(|mm| mm.hundredths()));
            let (rim, price) = (frame.rim.key(), frame.price.cents());
            json!([hex(**id), frame.maker, frame.model, frame.color, sizes[0], sizes[1], sizes[2], rim, price])
        };
        let lines = json!(some.iter().map(line).collect::<Vec<_>>());
        sqlx::query!(
            "with line as materialized (select value from json_each(?1))
             insert into frame (id, maker, model, colour, eye_size_hundredths, bridge_hundredths, temple_hundredths, rim,
                                price_cents, added_at, changed_at)
             select unhex(value ->> 0), value ->> 1, value ->> 2, value ->> 3, value ->> 4, value ->> 5, value ->> 6,
                    value ->> 7, value ->> 8, ?2, ?2
             from line",
            lines,
            rows.at
        )
        .execute(&mut *tx)
        .await?;
    }
    sqlx::query!(
        "insert into frame_search (rowid, words) select number, words from frame_words where number > ?",
        before
    )
    .execute(tx)
    .await?;
    Ok(())
}

/// The jobs from a place in the plan on, with what was ordered.
async fn insert_jobs(
    tx: &mut SqliteConnection,
    rows: &Rows<'_>,
    from: usize,
    some: &[Planned<'_>],
) -> Result<(), StoreError> {
    let prescriptions: Vec<Uuid> = some.iter().map(|_| Uuid::now_v7()).collect();
    insert_prescriptions(tx, rows, some, &prescriptions).await?;
    let line = |(at, (planned, prescription)): (usize, (&Planned, &Uuid))| {
        let (customer, frame) = (rows.customer(planned.customer), rows.frame(planned.frame));
        let row = &planned.job.row;
        json!([
            rows.number(from + at),
            hex(customer),
            hex(frame),
            hex(*prescription),
            rows.day(planned),
            row.note,
            row.row,
            row.number,
            planned.job.number_key,
            i64::from(row.ordered_on.is_some()),
            const_hex::encode(planned.job.mark)
        ])
    };
    let lines = json!(some.iter().zip(&prescriptions).enumerate().map(line).collect::<Vec<_>>());
    let stage = Stage::BroughtIn.key();
    sqlx::query!(
        "with line as materialized (select value from json_each(?1))
         insert into job (number, patient_id, ordered_on, taken_at, frame_id, promised_on, stage, closed_at)
         select value ->> 0, unhex(value ->> 1), value ->> 4, ?2, unhex(value ->> 2), value ->> 4, ?3, ?2 from line",
        lines,
        rows.at,
        stage
    )
    .execute(&mut *tx)
    .await?;
    let (made_for, design) = (MadeFor::Distance.key(), Design::Spherical.key());
    sqlx::query!(
        "with line as materialized (select value from json_each(?1))
         insert into job_revision (job_number, revision, patient_id, payer_id, recipient_id, frame_id, prescription_id,
                                   lens_use, material_version_id, design, promised_on, note, at)
         select value ->> 0, 1, unhex(value ->> 1), unhex(value ->> 1), unhex(value ->> 1), unhex(value ->> 2),
                unhex(value ->> 3), ?2, ?3, ?4, value ->> 4, value ->> 5, ?5
         from line",
        lines,
        made_for,
        rows.material,
        design,
        rows.at
    )
    .execute(&mut *tx)
    .await?;
    sqlx::query!(
        "with line as materialized (select value from json_each(?1))
         insert into old_record (job_number, import_seq, line, number, number_key, has_date, hash)
         select value ->> 0, ?2, value ->> 6, value ->> 7, value ->> 8, value ->> 9, unhex(value ->> 10) from line",
        lines,
        rows.import
    )
    .execute(&mut *tx)
    .await?;
    insert_job_eyes(tx, rows, from, some).await
}

async fn insert_prescriptions(
    tx: &mut SqliteConnection,
    rows: &Rows<'_>,
    some: &[Planned<'_>],
    ids: &[Uuid],
) -> Result<(), StoreError> {
    let (mut lines, mut eyes) = (Vec::new(), Vec::new());
    for (planned, id) in some.iter().zip(ids) {
        let row = &planned.job.row;
        let (pd_given, near_given) =
            (row.pd.map(|pd| given_key(pd.given())), row.near_pd.map(|pd| given_key(pd.given())));
        lines.push(json!([hex(*id), hex(rows.customer(planned.customer)), row.prescriber, pd_given, near_given]));
        for eye in Eye::BOTH {
            let (typed, rx) = row.eyes.get(eye).as_ref().map_or(("", None), |(typed, rx)| (typed.as_str(), Some(rx)));
            let [far, near] = [row.pd, row.near_pd].map(|pd| pd.and_then(|pd| given_mono(pd, eye)));
            eyes.push(json!([
                hex(*id),
                eye.name(),
                typed,
                rx.map(|rx| rx.power.sphere().hundredths()),
                rx.map(|rx| rx.power.cylinder().hundredths()),
                rx.and_then(|rx| rx.power.axis()).map(|axis| axis.degrees()),
                rx.map_or(0, |rx| rx.prism.base_in().hundredths()),
                rx.map_or(0, |rx| rx.prism.base_up().hundredths()),
                far,
                near
            ]));
        }
    }
    let (lines, eyes) = (json!(lines), json!(eyes));
    sqlx::query!(
        "with line as materialized (select value from json_each(?1))
         insert into prescription (id, patient_id, prescriber, pd_given, near_pd_given, added_at)
         select unhex(value ->> 0), unhex(value ->> 1), value ->> 2, value ->> 3, value ->> 4, ?2 from line",
        lines,
        rows.at
    )
    .execute(&mut *tx)
    .await?;
    sqlx::query!(
        "with line as materialized (select value from json_each(?1))
         insert into prescription_eye (prescription_id, eye, typed, sphere_hundredths, cylinder_hundredths, axis_deg,
                                       prism_in_hundredths, prism_up_hundredths, pd_hundredths, near_pd_hundredths)
         select unhex(value ->> 0), value ->> 1, value ->> 2, value ->> 3, value ->> 4, value ->> 5, value ->> 6,
                value ->> 7, value ->> 8, value ->> 9
         from line",
        eyes
    )
    .execute(tx)
    .await?;
    Ok(())
}

async fn insert_job_eyes(
    tx: &mut SqliteConnection,
    rows: &Rows<'_>,
    from: usize,
    some: &[Planned<'_>],
) -> Result<(), StoreError> {
    let mut lines = Vec::new();
    for (at, planned) in some.iter().enumerate() {
        for (eye, height) in planned.job.row.heights.iter() {
            let made = planned.job.row.eyes.get(eye).is_some();
            let task = if made { EyeTask::Make } else { EyeTask::Keep }.key();
            let (height, height_from) = height_columns(*height);
            lines.push(json!([rows.number(from + at), eye.name(), task, height, height_from]));
        }
    }
    let lines = json!(lines);
    sqlx::query!(
        "with line as materialized (select value from json_each(?1))
         insert into job_eye (job_number, revision, eye, task, height_hundredths, height_from)
         select value ->> 0, 1, value ->> 1, value ->> 2, value ->> 3, value ->> 4 from line",
        lines
    )
    .execute(tx)
    .await?;
    Ok(())
}

async fn insert_shapes(
    tx: &mut SqliteConnection,
    rows: &Rows<'_>,
    from: usize,
    some: &[Planned<'_>],
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let mut lines = Vec::new();
    for (at, planned) in some.iter().enumerate() {
        let (number, Some(shape)) = (rows.number(from + at), &planned.job.shape) else { continue };
        let ShapeId(id) = insert_shape_of_file(tx, number, shape, now).await?;
        lines.push(json!([number, hex(id)]));
    }
    let lines = json!(lines);
    sqlx::query!(
        "with line as materialized (select value from json_each(?1))
         insert into job_shape (job_number, shape_id, added_at) select value ->> 0, unhex(value ->> 1), ?2 from line",
        lines,
        rows.at
    )
    .execute(tx)
    .await?;
    Ok(())
}

async fn insert_events(
    tx: &mut SqliteConnection,
    rows: &Rows<'_>,
    from: usize,
    some: &[Planned<'_>],
) -> Result<(), StoreError> {
    let mut lines = Vec::new();
    for (at, planned) in some.iter().enumerate() {
        let number = rows.number(from + at);
        lines.push(json!([number, EventKind::BroughtIn.key(), format!("number {}", planned.job.row.number)]));
        if let Some(shape) = &planned.job.shape {
            lines.push(json!([number, EventKind::ShapeKept.key(), shape.original_name]));
        }
    }
    let (lines, by) = (json!(lines), acting_screen());
    sqlx::query!(
        "with line as materialized (select value from json_each(?1))
         insert into job_event (job_number, kind, note, by, at)
         select value ->> 0, value ->> 1, value ->> 2, ?2, ?3 from line",
        lines,
        by,
        rows.at
    )
    .execute(tx)
    .await?;
    Ok(())
}

/// Writes the words of the jobs from one number up to another.
async fn index_jobs(tx: &mut SqliteConnection, first: i64, end: i64) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into job_search (rowid, person, frame, numbers)
         select number, person, frame, numbers from job_words where number >= ? and number < ?",
        first,
        end
    )
    .execute(tx)
    .await?;
    Ok(())
}

fn hex(id: Uuid) -> String {
    id.simple().to_string()
}
