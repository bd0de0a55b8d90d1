//! Filling a new file with very many jobs at once. Only the demonstration does so.
//!
//! A job is copied from another one of the same file, its *template*, by one statement for each table. What differs
//! between the two comes as JSON: the number, the days between them, people, frame, shape, layout. So SQLite does the
//! copying, and no row of a job passes through the program.
//!
//! A template is sent, was cut once, packed once, sent once, and has one revision and one receipt.

use std::collections::BTreeSet;
use std::path::Path;

use serde::Serialize;
use sqlx::sqlite::{SqliteConnectOptions, SqliteConnection, SqliteJournalMode, SqliteLockingMode, SqliteSynchronous};
use sqlx::{ConnectOptions, Connection};
use time::OffsetDateTime;
use uuid::Uuid;

use super::StoreError;
use super::attachment::{NewAttachment, insert_attachment};
use super::search::{index_customers_after, keep_words, last_customer};
use super::shape::insert_shape_eye;
use super::stamp::Stamp;
use crate::desk::customer::{Person, name_key};
use crate::desk::frame::FrameDetails;
use crate::desk::frame_shape::{NewShape, ShapeOrigin};
use crate::desk::id::ShapeId;
use crate::optics::Eye;

/// A connection that writes fast and is not safe against a crash: for a file that is thrown away then.
pub struct Bulk {
    db: SqliteConnection,
    /// Names, towns and prescribers, whose words are kept at the end.
    texts: BTreeSet<String>,
}

/// What makes a job differ from its template.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct JobCopy {
    /// Its number; larger than that of every template.
    pub number: i64,
    /// The number of the template.
    pub template: i64,
    /// From the template's days to its own, as SQLite's date functions take it: `+31 days`.
    pub days: String,
    /// The key of its prescription. The keys of its checks differ from it in the last byte.
    pub key: Uuid,
    /// Who wears it.
    pub patient: Uuid,
    /// The name of the patient.
    pub name: String,
    /// The address of the patient without the name.
    pub address: String,
    /// Who pays.
    pub payer: Uuid,
    /// Its frame.
    pub frame: Uuid,
    /// Maker and model of the frame.
    pub model: String,
    /// Its shape.
    pub shape: Uuid,
    /// The distance between the boxing centers, hundredths of a millimeter.
    pub frame_pd: i32,
    /// The earlier job it is new lenses for.
    pub parent: Option<i64>,
    /// Who prescribed.
    pub prescriber: String,
    /// The parcel's number.
    pub tracking: String,
    /// The number of its receipt.
    pub receipt: i64,
}

/// One eye of a job's layout, lengths in hundredths of a millimeter. What the shape has no part in is the template's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct LayoutCopy {
    /// The job.
    pub number: i64,
    /// The job it is copied from.
    pub template: i64,
    /// `right` or `left`.
    pub eye: &'static str,
    /// What the blocker is set to.
    pub set_pd: i32,
    /// What the blocker is set to.
    pub set_height: i32,
    /// What is left to move by hand.
    pub nudge_in: i32,
    /// What is left to move by hand.
    pub nudge_up: i32,
    /// The pupil from the boxing center.
    pub decentration_in: i32,
    /// The pupil from the boxing center.
    pub decentration_up: i32,
    /// The optical center from the boxing center.
    pub center_in: i32,
    /// The optical center from the boxing center.
    pub center_up: i32,
    /// The smallest blank.
    pub exact: i32,
    /// The smallest blank with the lab's allowance.
    pub with_margin: i32,
}

/// A customer to add.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct NewCustomer {
    id: Uuid,
    name: String,
    name_key: String,
    line1: String,
    city: String,
    region: String,
    postcode: String,
    phone: String,
    email: String,
}

impl NewCustomer {
    /// A person without a second line and without a note.
    pub fn new(id: Uuid, person: Person) -> Self {
        let Person { name, line1, city, region, postcode, phone, email, .. } = person;
        Self { id, name_key: name_key(&name), name, line1, city, region, postcode, phone, email }
    }
}

/// Jobs that are written together.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Batch {
    /// The jobs, by number.
    pub jobs: Vec<JobCopy>,
    /// Their layouts, two for each job.
    pub layouts: Vec<LayoutCopy>,
    /// The shapes that are new with them.
    pub shapes: Vec<ShapeCopy>,
}

/// A shape that was traced for a job.
#[derive(Debug, Clone, PartialEq)]
pub struct ShapeCopy {
    /// Its key.
    pub id: Uuid,
    /// The job, one of the same batch.
    pub job: i64,
    /// The traces.
    pub shape: NewShape,
    /// When it was kept.
    pub at: OffsetDateTime,
}

/// Runs a statement for the jobs in a JSON array, with their table before it. `json_each` writes a value out again for
/// every use, so `line` holds it.
macro_rules! for_each_job {
    ($db:expr, $jobs:expr, $sql:tt) => {
        sqlx::query!(
            "with line as materialized (select value from json_each(?1)),
             plan as materialized (
                select value ->> 'number' as number, value ->> 'template' as template, value ->> 'days' as days,
                       substr(value ->> 'key', 1, 34) as stem, unhex(value ->> 'patient', '-') as patient,
                       value ->> 'name' as name, value ->> 'address' as address, unhex(value ->> 'payer', '-') as payer,
                       unhex(value ->> 'frame', '-') as frame, value ->> 'model' as model,
                       unhex(value ->> 'shape', '-') as shape, value ->> 'frame_pd' as frame_pd,
                       value ->> 'parent' as parent, value ->> 'prescriber' as prescriber,
                       value ->> 'tracking' as tracking, value ->> 'receipt' as receipt
                from line) " + $sql,
            $jobs
        )
        .execute(&mut *$db)
        .await?
    };
}

fn json(rows: &impl Serialize) -> Result<String, StoreError> {
    let unwritten = |why: serde_json::Error| StoreError::Unreadable { what: "the rows to add", why: why.to_string() };
    serde_json::to_string(rows).map_err(unwritten)
}

impl Bulk {
    /// Opens a file that has its tables already and is open nowhere else.
    ///
    /// # Errors
    ///
    /// [`StoreError::Database`].
    pub async fn open(path: &Path) -> Result<Self, StoreError> {
        let options = SqliteConnectOptions::new()
            .filename(path)
            .foreign_keys(true)
            .locking_mode(SqliteLockingMode::Exclusive)
            .journal_mode(SqliteJournalMode::Off)
            .synchronous(SqliteSynchronous::Off)
            // 64 MiB, for the indexes that are not written in order.
            .pragma("cache_size", "-65536");
        let mut db = options.connect().await?;
        sqlx::query!("begin").execute(&mut db).await?;
        Ok(Self { db, texts: BTreeSet::new() })
    }

    /// Writes everything and closes the file.
    pub async fn close(mut self) -> Result<(), StoreError> {
        keep_words(&mut self.db, self.texts.iter().map(String::as_str)).await?;
        sqlx::query!("commit").execute(&mut self.db).await?;
        self.db.close().await?;
        Ok(())
    }

    /// Adds customers.
    pub async fn insert_customers(&mut self, customers: &[NewCustomer], at: OffsetDateTime) -> Result<(), StoreError> {
        for customer in customers {
            let texts = [&customer.name, &customer.city, &customer.region, &customer.email];
            self.texts.extend(texts.into_iter().cloned());
        }
        let (customers, at) = (json(&customers)?, Stamp(at));
        let before = last_customer(&mut self.db).await?;
        sqlx::query!(
            "with line as materialized (select value from json_each(?1))
             insert into customer (id, name, name_key, line1, city, region, postcode, phone, email, changed_at)
             select unhex(value ->> 'id', '-'), value ->> 'name', value ->> 'name_key', value ->> 'line1', value ->> 'city',
                    value ->> 'region', value ->> 'postcode', value ->> 'phone', value ->> 'email', ?2
             from line",
            customers,
            at
        )
        .execute(&mut self.db)
        .await?;
        index_customers_after(&mut self.db, before).await
    }

    /// Adds a frame.
    pub async fn insert_frame(&mut self, id: Uuid, frame: &FrameDetails, at: OffsetDateTime) -> Result<(), StoreError> {
        let (eye, bridge) = (frame.eye_size.hundredths(), frame.bridge.hundredths());
        let (temple, price, at) = (frame.temple.map(|t| t.hundredths()), frame.price.cents(), Stamp(at));
        let rim = frame.rim.key();
        self.texts.extend([&frame.maker, &frame.model, &frame.color].map(String::clone));
        let number = sqlx::query!(
            "insert into frame (id, maker, model, colour, eye_size_hundredths, bridge_hundredths, temple_hundredths, rim,
                                price_cents, added_at, changed_at)
             values (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?10)",
            id,
            frame.maker,
            frame.model,
            frame.color,
            eye,
            bridge,
            temple,
            rim,
            price,
            at
        )
        .execute(&mut self.db)
        .await?
        .last_insert_rowid();
        sqlx::query!(
            "insert into frame_search (rowid, words) select number, words from frame_words where number = ?",
            number
        )
        .execute(&mut self.db)
        .await?;
        Ok(())
    }

    /// Adds jobs with everything that belongs to them.
    pub async fn insert_jobs(&mut self, batch: &Batch) -> Result<(), StoreError> {
        self.texts.extend(batch.jobs.iter().map(|job| job.prescriber.clone()));
        let (jobs, layouts) = (json(&batch.jobs)?, json(&batch.layouts)?);
        self.copy_orders(&jobs).await?;
        for shape in &batch.shapes {
            self.insert_shape(shape).await?;
        }
        self.copy_bench_work(&jobs, &layouts).await?;
        self.copy_checks(&jobs).await?;
        self.copy_parcels(&jobs).await?;
        self.copy_money(&jobs).await?;
        self.copy_history(&jobs).await
    }

    async fn copy_orders(&mut self, jobs: &str) -> Result<(), StoreError> {
        let db = &mut self.db;
        for_each_job!(
            db,
            jobs,
            "
            insert into prescription (id, patient_id, prescriber, prescriber_npi, written_on, expires_on, diagnosis,
                                      pd_given, near_pd_given, added_at)
            select unhex(p.stem || '00', '-'), p.patient, p.prescriber, t.prescriber_npi, date(t.written_on, p.days),
                   date(t.expires_on, p.days), t.diagnosis, t.pd_given, t.near_pd_given,
                   strftime('%Y-%m-%dT%H:%M:%fZ', t.added_at, p.days)
            from plan p cross join job_revision r cross join prescription t
            where r.job_number = p.template and r.revision = 1 and t.id = r.prescription_id"
        );
        for_each_job!(
            db,
            jobs,
            "
            insert into prescription_eye (prescription_id, eye, typed, sphere_hundredths, cylinder_hundredths, axis_deg,
                                          prism_in_hundredths, prism_up_hundredths, pd_hundredths, near_pd_hundredths)
            select unhex(p.stem || '00', '-'), t.eye, t.typed, t.sphere_hundredths, t.cylinder_hundredths, t.axis_deg,
                   t.prism_in_hundredths, t.prism_up_hundredths, t.pd_hundredths, t.near_pd_hundredths
            from plan p cross join job_revision r cross join prescription_eye t
            where r.job_number = p.template and r.revision = 1 and t.prescription_id = r.prescription_id"
        );
        for_each_job!(
            db,
            jobs,
            "
            insert into job (number, patient_id, parent_number, parent_reason, ordered_on, taken_at, frame_id,
                             promised_on, stage, closed_at)
            select p.number, p.patient, p.parent, iif(p.parent is null, null, 'new_lenses'), date(t.ordered_on, p.days),
                   strftime('%Y-%m-%dT%H:%M:%fZ', t.taken_at, p.days), p.frame, date(t.promised_on, p.days), t.stage,
                   strftime('%Y-%m-%dT%H:%M:%fZ', t.closed_at, p.days)
            from plan p cross join job t where t.number = p.template"
        );
        for_each_job!(db, jobs, "
            insert into job_revision (job_number, revision, patient_id, payer_id, recipient_id, frame_id, prescription_id,
                                      lens_use, material_version_id, design, promised_on, note, at)
            select p.number, 1, p.patient, p.payer, p.patient, p.frame, unhex(p.stem || '00', '-'), t.lens_use,
                   t.material_version_id, t.design, date(t.promised_on, p.days), t.note,
                   strftime('%Y-%m-%dT%H:%M:%fZ', t.at, p.days)
            from plan p cross join job_revision t where t.job_number = p.template and t.revision = 1");
        for_each_job!(
            db,
            jobs,
            "
            insert into job_eye (job_number, revision, eye, task, height_hundredths, height_from)
            select p.number, 1, t.eye, t.task, t.height_hundredths, t.height_from
            from plan p cross join job_eye t where t.job_number = p.template and t.revision = 1"
        );
        for_each_job!(
            db,
            jobs,
            "
            insert into job_treatment (job_number, revision, kind, position, version_id)
            select p.number, 1, t.kind, t.position, t.version_id
            from plan p cross join job_treatment t where t.job_number = p.template and t.revision = 1"
        );
        Ok(())
    }

    async fn insert_shape(&mut self, copy: &ShapeCopy) -> Result<(), StoreError> {
        let bytes = &copy.shape.original;
        let file = NewAttachment::trace(&copy.shape.original_name, bytes, copy.job);
        let original = insert_attachment(&mut self.db, &file, copy.at).await?;
        let (dbl, at) = (copy.shape.dbl.hundredths(), Stamp(copy.at));
        let (origin, source) = (ShapeOrigin::Traced.key(), copy.shape.dbl_source.key());
        sqlx::query!(
            "insert into shape (id, job_number, origin, dbl_hundredths, dbl_source, original_id, added_at)
             values (?, ?, ?, ?, ?, ?, ?)",
            copy.id,
            copy.job,
            origin,
            dbl,
            source,
            original,
            at
        )
        .execute(&mut self.db)
        .await?;
        for eye in Eye::BOTH {
            insert_shape_eye(&mut self.db, ShapeId(copy.id), eye, &copy.shape).await?;
        }
        Ok(())
    }

    /// Shape, lenses, layout and cut. A layout, a cut, a packing have the number of their job, so that their parts need
    /// no search; the two lenses have twice that number and the next.
    async fn copy_bench_work(&mut self, jobs: &str, layouts: &str) -> Result<(), StoreError> {
        let db = &mut self.db;
        for_each_job!(
            db,
            jobs,
            "
            insert into job_shape (job_number, shape_id, added_at)
            select p.number, p.shape, strftime('%Y-%m-%dT%H:%M:%fZ', t.added_at, p.days)
            from plan p cross join job_shape t where t.job_number = p.template"
        );
        // The drawer is filled with what the jobs take out of it.
        for_each_job!(
            db,
            jobs,
            "
            insert into drawer_move (drawer_lens_id, kind, change, at)
            select t.drawer_lens_id, 'stocked', count(*), min(strftime('%Y-%m-%dT%H:%M:%fZ', t.at, '-7 days', p.days))
            from plan p cross join lens_in_hand t
            where t.job_number = p.template and t.drawer_lens_id is not null group by t.drawer_lens_id"
        );
        for_each_job!(db, jobs, "
            insert into lens_in_hand (seq, job_number, eye, drawer_lens_id, source, diameter_hundredths, centre_hundredths,
                                      front_power_hundredths, base_hundredths, off_in_hundredths, off_up_hundredths,
                                      has_ground_prism, at)
            select 2 * p.number + (t.eye = 'left'), p.number, t.eye, t.drawer_lens_id, t.source, t.diameter_hundredths,
                   t.centre_hundredths, t.front_power_hundredths, t.base_hundredths, t.off_in_hundredths,
                   t.off_up_hundredths, t.has_ground_prism, strftime('%Y-%m-%dT%H:%M:%fZ', t.at, p.days)
            from plan p cross join lens_in_hand t where t.job_number = p.template");
        for_each_job!(
            db,
            jobs,
            "
            insert into drawer_move (drawer_lens_id, kind, change, job_number, eye, at)
            select t.drawer_lens_id, 'taken', -1, p.number, t.eye, strftime('%Y-%m-%dT%H:%M:%fZ', t.at, p.days)
            from plan p cross join lens_in_hand t where t.job_number = p.template and t.drawer_lens_id is not null"
        );
        for_each_job!(
            db,
            jobs,
            "
            insert into layout (seq, job_number, revision, moment, shape_id, blocker_step_hundredths,
                                blank_margin_hundredths, dbl_hundredths, frame_pd_hundredths, wanted_pd_hundredths, at)
            select p.number, p.number, 1, 'cut', p.shape, t.blocker_step_hundredths, t.blank_margin_hundredths,
                   t.dbl_hundredths, p.frame_pd, t.wanted_pd_hundredths, strftime('%Y-%m-%dT%H:%M:%fZ', t.at, p.days)
            from plan p cross join layout t where t.job_number = p.template and t.moment = 'cut'"
        );
        sqlx::query!(
            "with line as materialized (select value from json_each(?1))
             insert into layout_eye (layout_seq, eye, lens_seq, wanted_pd_hundredths, wanted_height_hundredths,
                                     set_pd_hundredths, set_height_hundredths, nudge_in_hundredths, nudge_up_hundredths,
                                     decentration_in_hundredths, decentration_up_hundredths, centre_in_hundredths,
                                     centre_up_hundredths, blank_exact_hundredths, blank_with_margin_hundredths,
                                     lens_diameter_hundredths, lens_front_power_hundredths, lens_centre_hundredths,
                                     lens_origin)
             select p.value ->> 'number', t.eye, 2 * (p.value ->> 'number') + (t.eye = 'left'), t.wanted_pd_hundredths,
                    t.wanted_height_hundredths, p.value ->> 'set_pd', p.value ->> 'set_height', p.value ->> 'nudge_in',
                    p.value ->> 'nudge_up', p.value ->> 'decentration_in', p.value ->> 'decentration_up', p.value ->> 'center_in',
                    p.value ->> 'center_up', p.value ->> 'exact', p.value ->> 'with_margin', t.lens_diameter_hundredths,
                    t.lens_front_power_hundredths, t.lens_centre_hundredths, t.lens_origin
             from line p cross join layout l cross join layout_eye t
             where l.job_number = p.value ->> 'template' and l.moment = 'cut' and t.layout_seq = l.seq
               and t.eye = p.value ->> 'eye'",
            layouts
        )
        .execute(&mut *db)
        .await?;
        for_each_job!(
            db,
            jobs,
            "
            insert into cut (seq, job_number, layout_seq, note, at)
            select p.number, p.number, p.number, t.note, strftime('%Y-%m-%dT%H:%M:%fZ', t.at, p.days)
            from plan p cross join cut t where t.job_number = p.template"
        );
        for_each_job!(
            db,
            jobs,
            "
            insert into cut_eye (cut_seq, eye, size_hundredths, circumference_hundredths, box_width_hundredths)
            select p.number, t.eye, t.size_hundredths, t.circumference_hundredths, t.box_width_hundredths
            from plan p cross join cut c cross join cut_eye t where c.job_number = p.template and t.cut_seq = c.seq"
        );
        Ok(())
    }

    async fn copy_checks(&mut self, jobs: &str) -> Result<(), StoreError> {
        let db = &mut self.db;
        for_each_job!(db, jobs, "
            insert into verification (id, job_number, attempt, profile, reading, verdict, passed, at)
            select unhex(p.stem || printf('%02x', t.attempt), '-'), p.number, t.attempt, t.profile, t.reading, t.verdict,
                   t.passed, strftime('%Y-%m-%dT%H:%M:%fZ', t.at, p.days)
            from plan p cross join verification t where t.job_number = p.template order by p.number, t.attempt");
        for_each_job!(
            db,
            jobs,
            "
            insert into verification_row (verification_id, position, eye, quantity, unit, wanted, measured, limit_size,
                                          deviation, passes)
            select unhex(p.stem || printf('%02x', v.attempt), '-'), t.position, t.eye, t.quantity, t.unit, t.wanted,
                   t.measured, t.limit_size, t.deviation, t.passes
            from plan p cross join verification v cross join verification_row t
            where v.job_number = p.template and t.verification_id = v.id"
        );
        for_each_job!(
            db,
            jobs,
            "
            insert into concession (verification_id, job_number, reason, is_open, at)
            select unhex(p.stem || printf('%02x', v.attempt), '-'), p.number, t.reason, t.is_open,
                   strftime('%Y-%m-%dT%H:%M:%fZ', t.at, p.days)
            from plan p cross join verification v cross join concession t
            where v.job_number = p.template and t.verification_id = v.id"
        );
        Ok(())
    }

    async fn copy_parcels(&mut self, jobs: &str) -> Result<(), StoreError> {
        let db = &mut self.db;
        for_each_job!(
            db,
            jobs,
            "
            insert into impact_proof (job_number, eye, kind, says, tested_on, at)
            select p.number, t.eye, t.kind, t.says, date(t.tested_on, p.days), strftime('%Y-%m-%dT%H:%M:%fZ', t.at, p.days)
            from plan p cross join impact_proof t where t.job_number = p.template order by p.number, t.seq"
        );
        for_each_job!(
            db,
            jobs,
            "
            insert into packing (seq, job_number, at)
            select p.number, p.number, strftime('%Y-%m-%dT%H:%M:%fZ', t.at, p.days)
            from plan p cross join packing t where t.job_number = p.template"
        );
        for_each_job!(
            db,
            jobs,
            "
            insert into packing_tick (packing_seq, position, says)
            select p.number, t.position, t.says
            from plan p cross join packing c cross join packing_tick t
            where c.job_number = p.template and t.packing_seq = c.seq"
        );
        for_each_job!(
            db,
            jobs,
            "
            insert into shipment (seq, job_number, carrier, tracking, sent_on, address, at)
            select p.number, p.number, t.carrier, p.tracking, date(t.sent_on, p.days), p.name || char(10) || p.address,
                   strftime('%Y-%m-%dT%H:%M:%fZ', t.at, p.days)
            from plan p cross join shipment t where t.job_number = p.template"
        );
        Ok(())
    }

    async fn copy_money(&mut self, jobs: &str) -> Result<(), StoreError> {
        let db = &mut self.db;
        for_each_job!(
            db,
            jobs,
            "
            insert into charge (job_number, kind, eye, what, code, amount_cents, reason, charged_on, at)
            select p.number, t.kind, t.eye, iif(t.kind = 'frame', 'Frame: ' || p.model, t.what), t.code, t.amount_cents,
                   t.reason, date(t.charged_on, p.days), strftime('%Y-%m-%dT%H:%M:%fZ', t.at, p.days)
            from plan p cross join charge t where t.job_number = p.template order by p.number, t.seq"
        );
        for_each_job!(
            db,
            jobs,
            "
            insert into payment (job_number, kind, amount_cents, paid_on, reason, at)
            select p.number, t.kind, t.amount_cents, date(t.paid_on, p.days), t.reason,
                   strftime('%Y-%m-%dT%H:%M:%fZ', t.at, p.days)
            from plan p cross join payment t where t.job_number = p.template order by p.number, t.seq"
        );
        // A template is paid at once, and its frame is the first line of its bill.
        for_each_job!(
            db,
            jobs,
            "
            insert into receipt (number, job_number, document, issued_on, total_cents, paid_cents, issued_at)
            select p.receipt, p.number,
                   json_set(json_replace(t.document,
                        '$.lines[0].what', iif(t.document ->> '$.lines[0].what' like 'Frame: %', 'Frame: ' || p.model,
                                               t.document ->> '$.lines[0].what'),
                        '$.payments[0].on', date(t.document ->> '$.payments[0].on', p.days)),
                        '$.patient.name', p.name, '$.patient.address', p.address, '$.job_number', p.number,
                        '$.issued_on', date(t.issued_on, p.days),
                        '$.ordered_on', date(t.document ->> '$.ordered_on', p.days),
                        '$.sent_on', date(t.document ->> '$.sent_on', p.days),
                        '$.prescriber', p.prescriber, '$.prescriber_npi', '',
                        '$.prescribed_on', date(t.document ->> '$.prescribed_on', p.days)),
                   date(t.issued_on, p.days), t.total_cents, t.paid_cents,
                   strftime('%Y-%m-%dT%H:%M:%fZ', t.issued_at, p.days)
            from plan p cross join receipt t where t.job_number = p.template"
        );
        Ok(())
    }

    async fn copy_history(&mut self, jobs: &str) -> Result<(), StoreError> {
        let db = &mut self.db;
        for_each_job!(db, jobs, "
            insert into job_event (job_number, kind, note, by, at)
            select p.number, t.kind,
                   case when t.kind = 'receipt' then 'number ' || p.receipt
                        when t.kind = 'shape_kept'
                            then iif(p.parent is null, p.number || '.txt', 'from job ' || p.parent)
                        when t.kind = 'sent' then (select carrier from shipment where seq = p.number) || ' ' || p.tracking
                        else t.note end,
                   t.by, strftime('%Y-%m-%dT%H:%M:%fZ', t.at, p.days)
            from plan p cross join job_event t where t.job_number = p.template order by p.number, t.seq");
        for_each_job!(
            db,
            jobs,
            "
            insert into job_search (rowid, person, frame, numbers)
            select w.number, w.person, w.frame, w.numbers from plan p cross join job_words w
            where w.number = p.number order by p.number"
        );
        Ok(())
    }
}
