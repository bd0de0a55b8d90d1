//! Some old jobs as rows of every table. They are lines of JSON that SQLite takes apart, some tables of a batch in a statement
//! each; shapes and files are written by the functions that keep one.

use std::collections::HashMap;

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use sqlx::SqliteConnection;
use uuid::Uuid;

use crate::desk::customer::{Person, name_key};
use crate::desk::date::iso;
use crate::desk::frame::FrameDetails;
use crate::desk::frame_shape::NewShape;
use crate::desk::id::{CustomerId, FrameId, ShapeId};
use crate::desk::job::{EventKind, EyeTask, Stage};
use crate::desk::old_record::plan::{ImportPlan, Planned, Which};
use crate::desk::order::Design;
use crate::desk::prescription::MadeFor;
use crate::optics::Eye;
use crate::store::StoreError;
use crate::store::order::height_columns;
use crate::store::prescription::{given_key, given_mono};
use crate::store::search::{index_customers_after, keep_words, last_customer};
use crate::store::shape::insert_shape_of_file;
use crate::store::stamp::Stamp;

/// The key of the material called "Not recorded", and that of its only version.
const NOT_RECORDED: Uuid = Uuid::from_u128(0x019a_c000_0000_7000_8000_0000_0000_0001);

/// The place of the frame in a line of a job.
const FRAME: usize = 2;

/// The customers and frames of a plan that are new to the book, each with its key.
pub(super) struct NewKeys {
    customers: Vec<Uuid>,
    frames: Vec<Uuid>,
}

impl NewKeys {
    pub(super) fn of(plan: &ImportPlan<'_>) -> Self {
        let keys = |count: usize| (0..count).map(|_| Uuid::now_v7()).collect();
        Self { customers: keys(plan.customers.len()), frames: keys(plan.frames.len()) }
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
}

/// The lines of some jobs. A job is named by its place among those of the import, because it gets its number when it is written;
/// a new customer or frame is in every batch that has a job of it, because any of them may be written first.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(super) struct RecordBatch {
    /// The place of its first job.
    pub(super) from: usize,
    /// How many jobs.
    pub(super) count: usize,
    customers: Vec<Value>,
    frames: Vec<Value>,
    prescriptions: Vec<Value>,
    prescription_eyes: Vec<Value>,
    jobs: Vec<Value>,
    job_eyes: Vec<Value>,
    events: Vec<Value>,
    /// What the searches forgive a wrong letter in.
    words: Vec<String>,
}

/// The import that a batch belongs to.
#[derive(Debug, Clone, Copy)]
pub(super) struct Target {
    /// The number of job 0 of the import.
    pub(super) first: i64,
    pub(super) import: i64,
    pub(super) at: Stamp,
}

impl Target {
    pub(super) fn number(&self, place: usize) -> i64 {
        self.first + place as i64
    }
}

impl RecordBatch {
    /// The jobs from a place in the plan on. A job without a day counts as of `today`; `by` is who brings them in.
    pub(super) fn of(
        plan: &ImportPlan<'_>,
        keys: &NewKeys,
        (from, count): (usize, usize),
        today: &str,
        by: Option<&str>,
    ) -> Self {
        let mut batch = Self {
            from,
            count,
            customers: Vec::new(),
            frames: Vec::new(),
            prescriptions: Vec::new(),
            prescription_eyes: Vec::new(),
            jobs: Vec::new(),
            job_eyes: Vec::new(),
            events: Vec::new(),
            words: Vec::new(),
        };
        let jobs = &plan.jobs[from..from + count];
        batch.add_people_and_frames(plan, keys, jobs);
        for (place, planned) in (from..).zip(jobs) {
            batch.add_job(keys, place, planned, today);
            batch.add_events(place, planned, by);
        }
        batch
    }

    fn add_people_and_frames(&mut self, plan: &ImportPlan<'_>, keys: &NewKeys, jobs: &[Planned<'_>]) {
        let mut customers: Vec<usize> = jobs.iter().filter_map(|job| new(job.customer)).collect();
        let mut frames: Vec<usize> = jobs.iter().filter_map(|job| new(job.frame)).collect();
        for places in [&mut customers, &mut frames] {
            places.sort_unstable();
            places.dedup();
        }
        for at in customers {
            let person = plan.customers[at];
            self.customers.push(person_json(keys.customers[at], person));
            self.words.extend([&person.name, &person.city, &person.region, &person.email].map(Clone::clone));
        }
        for at in frames {
            let frame = plan.frames[at];
            self.frames.push(frame_json(keys.frames[at], frame));
            self.words.extend([&frame.maker, &frame.model, &frame.color].map(Clone::clone));
        }
    }

    fn add_job(&mut self, keys: &NewKeys, place: usize, planned: &Planned<'_>, today: &str) {
        let (row, prescription) = (&planned.job.row, Uuid::now_v7());
        let (customer, frame) = (hex(keys.customer(planned.customer)), hex(keys.frame(planned.frame)));
        let given = [row.pd, row.near_pd].map(|pd| pd.map(|pd| given_key(pd.given())));
        self.prescriptions.push(json!([hex(prescription), customer, row.prescriber, given[0], given[1]]));
        self.words.push(row.prescriber.clone());
        for eye in Eye::BOTH {
            let (typed, rx) = row.eyes.get(eye).as_ref().map_or(("", None), |(typed, rx)| (typed.as_str(), Some(rx)));
            let [far, near] = [row.pd, row.near_pd].map(|pd| pd.and_then(|pd| given_mono(pd, eye)));
            self.prescription_eyes.push(json!([
                hex(prescription),
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
            let task = if rx.is_some() { EyeTask::Make } else { EyeTask::Keep }.key();
            let (height, height_from) = height_columns(*row.heights.get(eye));
            self.job_eyes.push(json!([place, eye.name(), task, height, height_from]));
        }
        self.jobs.push(json!([
            place,
            customer,
            frame,
            hex(prescription),
            row.ordered_on.map_or_else(|| today.to_owned(), |day| iso(&day)),
            row.note,
            row.row,
            row.number,
            planned.job.number_key,
            i64::from(row.ordered_on.is_some()),
            const_hex::encode(planned.job.mark)
        ]));
    }

    fn add_events(&mut self, place: usize, planned: &Planned<'_>, by: Option<&str>) {
        let mut event = |kind: EventKind, note: String| self.events.push(json!([place, kind.key(), note, by]));
        event(EventKind::BroughtIn, format!("number {}", planned.job.row.number));
        if let Some(shape) = &planned.job.shape {
            event(EventKind::ShapeKept, shape.name());
        }
    }

    /// Writes the jobs, with the shapes of those that have one.
    pub(super) async fn write(
        mut self,
        tx: &mut SqliteConnection,
        shapes: &[(usize, NewShape)],
        target: Target,
    ) -> Result<(), StoreError> {
        not_recorded(tx, target.at).await?;
        insert_customers(tx, &self.customers, target.at).await?;
        self.use_frames(insert_frames(tx, &self.frames, target.at).await?);
        insert_prescriptions(tx, &self.prescriptions, &self.prescription_eyes, target.at).await?;
        insert_jobs(tx, &self.jobs, target).await?;
        insert_job_eyes(tx, &self.job_eyes, target).await?;
        insert_shapes(tx, shapes, target).await?;
        insert_events(tx, &self.events, target).await?;
        index_jobs(tx, target.number(self.from), target.number(self.from + self.count)).await?;
        keep_words(tx, self.words.iter().map(String::as_str)).await
    }

    /// Frames that were entered by another hand since the plan was made stand for ours.
    fn use_frames(&mut self, others: HashMap<String, String>) {
        for frame in self.jobs.iter_mut().filter_map(|line| line.get_mut(FRAME)) {
            if let Some(other) = frame.as_str().and_then(|ours| others.get(ours)) {
                *frame = json!(other);
            }
        }
    }
}

fn new<Id>(which: Which<Id>) -> Option<usize> {
    match which {
        Which::New(at) => Some(at),
        Which::Known(_) => None,
    }
}

fn hex(id: Uuid) -> String {
    id.simple().to_string()
}

fn person_json(id: Uuid, person: &Person) -> Value {
    let Person { name, line1, line2, city, region, postcode, phone, email, .. } = person;
    json!([hex(id), name, name_key(name), line1, line2, city, region, postcode, phone, email])
}

fn frame_json(id: Uuid, frame: &FrameDetails) -> Value {
    let sizes = [Some(frame.eye_size), Some(frame.bridge), frame.temple].map(|mm| mm.map(|mm| mm.hundredths()));
    let (rim, price) = (frame.rim.key(), frame.price.cents());
    json!([hex(id), frame.maker, frame.model, frame.color, sizes[0], sizes[1], sizes[2], rim, price])
}

/// The material of lenses that the records say nothing of. It is not on sale.
async fn not_recorded(tx: &mut SqliteConnection, at: Stamp) -> Result<(), StoreError> {
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
    Ok(())
}

async fn insert_customers(tx: &mut SqliteConnection, lines: &[Value], at: Stamp) -> Result<(), StoreError> {
    let before = last_customer(tx).await?;
    let lines = json!(lines);
    sqlx::query!(
        "with line as materialized (select value from json_each(?1))
         insert into customer (id, name, name_key, line1, line2, city, region, postcode, phone, email, changed_at)
         select unhex(value ->> 0), value ->> 1, value ->> 2, value ->> 3, value ->> 4, value ->> 5, value ->> 6,
                value ->> 7, value ->> 8, value ->> 9, ?2
         from line where true on conflict (id) do nothing",
        lines,
        at
    )
    .execute(&mut *tx)
    .await?;
    index_customers_after(tx, before).await
}

/// Adds the frames that are not there. Answers which of them the book has under another key, and that key.
async fn insert_frames(
    tx: &mut SqliteConnection,
    lines: &[Value],
    at: Stamp,
) -> Result<HashMap<String, String>, StoreError> {
    let before = sqlx::query_scalar!(r#"select coalesce(max(number), 0) as "n!: i64" from frame"#);
    let before = before.fetch_one(&mut *tx).await?;
    let lines = json!(lines);
    sqlx::query!(
        "with line as materialized (select value from json_each(?1))
         insert into frame (id, maker, model, colour, eye_size_hundredths, bridge_hundredths, temple_hundredths, rim,
                            price_cents, added_at, changed_at)
         select unhex(value ->> 0), value ->> 1, value ->> 2, value ->> 3, value ->> 4, value ->> 5, value ->> 6,
                value ->> 7, value ->> 8, ?2, ?2
         from line where true on conflict do nothing",
        lines,
        at
    )
    .execute(&mut *tx)
    .await?;
    sqlx::query!(
        "insert into frame_search (rowid, words) select number, words from frame_words where number > ?",
        before
    )
    .execute(&mut *tx)
    .await?;
    let others = sqlx::query!(
        r#"with line as materialized (select value from json_each(?))
           select line.value ->> 0 as "ours!: String", f.id as "id: FrameId"
           from line cross join frame f on f.maker = line.value ->> 1 and f.model = line.value ->> 2
                and f.colour = line.value ->> 3 and f.eye_size_hundredths = line.value ->> 4
                and f.bridge_hundredths = line.value ->> 5
           where f.id <> unhex(line.value ->> 0)"#,
        lines
    )
    .fetch_all(tx)
    .await?;
    Ok(others.into_iter().map(|row| (row.ours, hex(row.id.0))).collect())
}

async fn insert_prescriptions(
    tx: &mut SqliteConnection,
    lines: &[Value],
    eyes: &[Value],
    at: Stamp,
) -> Result<(), StoreError> {
    let (lines, eyes) = (json!(lines), json!(eyes));
    sqlx::query!(
        "with line as materialized (select value from json_each(?1))
         insert into prescription (id, patient_id, prescriber, pd_given, near_pd_given, added_at)
         select unhex(value ->> 0), unhex(value ->> 1), value ->> 2, value ->> 3, value ->> 4, ?2 from line",
        lines,
        at
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

/// The jobs with what was ordered, and with what each was called before.
async fn insert_jobs(tx: &mut SqliteConnection, lines: &[Value], target: Target) -> Result<(), StoreError> {
    let (lines, stage) = (json!(lines), Stage::BroughtIn.key());
    sqlx::query!(
        "with line as materialized (select value from json_each(?1))
         insert into job (number, patient_id, ordered_on, taken_at, frame_id, promised_on, stage, closed_at)
         select ?4 + (value ->> 0), unhex(value ->> 1), value ->> 4, ?2, unhex(value ->> 2), value ->> 4, ?3, ?2 from line",
        lines,
        target.at,
        stage,
        target.first
    )
    .execute(&mut *tx)
    .await?;
    let (made_for, design) = (MadeFor::Distance.key(), Design::Spherical.key());
    sqlx::query!(
        "with line as materialized (select value from json_each(?1))
         insert into job_revision (job_number, revision, patient_id, payer_id, recipient_id, frame_id, prescription_id,
                                   lens_use, material_version_id, design, promised_on, note, at)
         select ?6 + (value ->> 0), 1, unhex(value ->> 1), unhex(value ->> 1), unhex(value ->> 1), unhex(value ->> 2),
                unhex(value ->> 3), ?2, ?3, ?4, value ->> 4, value ->> 5, ?5
         from line",
        lines,
        made_for,
        NOT_RECORDED,
        design,
        target.at,
        target.first
    )
    .execute(&mut *tx)
    .await?;
    sqlx::query!(
        "with line as materialized (select value from json_each(?1))
         insert into old_record (job_number, import_seq, line, number, number_key, has_date, hash)
         select ?3 + (value ->> 0), ?2, value ->> 6, value ->> 7, value ->> 8, value ->> 9, unhex(value ->> 10) from line",
        lines,
        target.import,
        target.first
    )
    .execute(tx)
    .await?;
    Ok(())
}

async fn insert_job_eyes(tx: &mut SqliteConnection, lines: &[Value], target: Target) -> Result<(), StoreError> {
    let lines = json!(lines);
    sqlx::query!(
        "with line as materialized (select value from json_each(?1))
         insert into job_eye (job_number, revision, eye, task, height_hundredths, height_from)
         select ?2 + (value ->> 0), 1, value ->> 1, value ->> 2, value ->> 3, value ->> 4 from line",
        lines,
        target.first
    )
    .execute(tx)
    .await?;
    Ok(())
}

async fn insert_shapes(
    tx: &mut SqliteConnection,
    shapes: &[(usize, NewShape)],
    target: Target,
) -> Result<(), StoreError> {
    let mut lines = Vec::new();
    for (place, shape) in shapes {
        let number = target.number(*place);
        let ShapeId(id) = insert_shape_of_file(tx, number, shape, target.at.0).await?;
        lines.push(json!([number, hex(id)]));
    }
    let lines = json!(lines);
    sqlx::query!(
        "with line as materialized (select value from json_each(?1))
         insert into job_shape (job_number, shape_id, added_at) select value ->> 0, unhex(value ->> 1), ?2 from line",
        lines,
        target.at
    )
    .execute(tx)
    .await?;
    Ok(())
}

async fn insert_events(tx: &mut SqliteConnection, lines: &[Value], target: Target) -> Result<(), StoreError> {
    let lines = json!(lines);
    sqlx::query!(
        "with line as materialized (select value from json_each(?1))
         insert into job_event (job_number, kind, note, by, at)
         select ?3 + (value ->> 0), value ->> 1, value ->> 2, value ->> 3, ?2 from line",
        lines,
        target.at,
        target.first
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
