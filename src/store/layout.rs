//! Layouts as they were made: with the bench ticket when it was printed, and in numbers when the pair was cut.

use sqlx::SqliteConnection;
use time::OffsetDateTime;

use super::event::append_event;
use super::once::{Done, Once};
use super::read::{eye, length};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::bench::device_records::{PlacedEye, PlacedLenses};
use crate::bench::layout_record::{EyeRecord, LayoutRecord};
use crate::bench::real_size::Supply;
use crate::desk::frame_shape::FrameShape;
use crate::desk::id::ShapeId;
use crate::desk::job::{EventKind, Job};
use crate::desk::lab::Lab;
use crate::desk::step::Step;
use crate::optics::unit::{Diopter, Millimeter, UnitError};
use crate::optics::{Eye, Pair};

/// When a layout is stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Moment {
    Ticket,
    Cut,
}

impl Moment {
    fn key(self) -> &'static str {
        match self {
            Moment::Ticket => "ticket",
            Moment::Cut => "cut",
        }
    }
}

/// A layout to store, with the shape it was made for.
#[derive(Debug, Clone, PartialEq)]
pub struct NewLayout {
    /// The shape.
    pub shape: ShapeId,
    /// The numbers.
    pub record: LayoutRecord,
}

impl NewLayout {
    /// The layout of a job as it stands.
    ///
    /// # Errors
    ///
    /// [`UnitError`] when a computed number is out of the range of the book.
    pub fn of_job(job: &Job, shape: &FrameShape, lab: &Lab, supply: &Supply) -> Result<Self, UnitError> {
        Ok(Self { shape: shape.id, record: LayoutRecord::of_job(job, shape, lab, supply)? })
    }
}

/// A bench ticket as it printed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptTicket {
    /// Its place among the layouts.
    pub seq: i64,
    /// The job.
    pub job_number: i64,
    /// The document, as JSON.
    pub document: String,
    /// When it was printed.
    pub at: OffsetDateTime,
}

impl Store {
    /// Keeps a bench ticket as it prints. `layout` is missing before the job has a shape.
    pub async fn insert_ticket(
        &self,
        key: &str,
        number: i64,
        layout: Option<&NewLayout>,
        document: &str,
        now: OffsetDateTime,
    ) -> Result<Once<i64>, StoreError> {
        self.once(key, Some((number, Step::Ticket)), now, async |tx| {
            let seq = insert_layout(tx, number, Moment::Ticket, layout, Some(document), now).await?;
            append_event(tx, number, EventKind::TicketPrinted, "", now).await?;
            Ok(Done::new(seq, seq))
        })
        .await
    }

    /// A kept ticket.
    pub async fn get_ticket(&self, number: i64, seq: i64) -> Result<KeptTicket, StoreError> {
        let row = sqlx::query!(
            r#"select seq as "seq!: i64", job_number, document as "document!", at as "at: Stamp"
               from layout where seq = ? and job_number = ? and document is not null"#,
            seq,
            number
        )
        .fetch_optional(&self.read)
        .await?
        .ok_or(StoreError::NotFound("that ticket"))?;
        Ok(KeptTicket { seq: row.seq, job_number: row.job_number, document: row.document, at: row.at.0 })
    }

    /// Where the lenses go by the newest layout that was made of a job as it is ordered now, with the shape it has now.
    pub async fn find_placed(&self, job: &Job) -> Result<Option<PlacedLenses>, StoreError> {
        let row = sqlx::query!(
            r#"select seq as "seq!: i64", dbl_hundredths as "dbl!" from layout
               where job_number = ? and revision = ? and shape_id = ? order by seq desc limit 1"#,
            job.number,
            job.revision,
            job.shape
        )
        .fetch_optional(&self.read)
        .await?;
        let Some(row) = row else { return Ok(None) };
        let mut placed = PlacedLenses { dbl: length("DBL", row.dbl)?, eyes: Pair::default() };
        let eyes = sqlx::query!(
            "select eye, decentration_in_hundredths, decentration_up_hundredths, centre_in_hundredths, centre_up_hundredths,
                    lens_diameter_hundredths
             from layout_eye where layout_seq = ?",
            row.seq
        )
        .fetch_all(&self.read)
        .await?;
        for row in eyes {
            *placed.eyes.get_mut(eye("layout", &row.eye)?) = Some(PlacedEye {
                decentration_in: length("decentration", row.decentration_in_hundredths)?,
                decentration_up: length("decentration", row.decentration_up_hundredths)?,
                center_in: length("center", row.centre_in_hundredths)?,
                center_up: length("center", row.centre_up_hundredths)?,
                diameter: row.lens_diameter_hundredths.map(|mm| length("diameter", mm)).transpose()?,
            });
        }
        Ok(Some(placed))
    }

    /// The tickets of a job, the newest first: place and moment.
    pub async fn list_tickets(&self, number: i64) -> Result<Vec<(i64, OffsetDateTime)>, StoreError> {
        Ok(sqlx::query!(
            r#"select seq as "seq!: i64", at as "at: Stamp" from layout
               where job_number = ? and moment = 'ticket' order by seq desc"#,
            number
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(|row| (row.seq, row.at.0))
        .collect())
    }
}

/// Stores the layout a pair is cut by. Answers its place.
pub(super) async fn insert_cut_layout(
    tx: &mut SqliteConnection,
    number: i64,
    layout: &NewLayout,
    now: OffsetDateTime,
) -> Result<i64, StoreError> {
    insert_layout(tx, number, Moment::Cut, Some(layout), None, now).await
}

async fn insert_layout(
    tx: &mut SqliteConnection,
    number: i64,
    moment: Moment,
    layout: Option<&NewLayout>,
    document: Option<&str>,
    now: OffsetDateTime,
) -> Result<i64, StoreError> {
    let (moment, at, shape) = (moment.key(), Stamp(now), layout.map(|layout| layout.shape));
    let of = |length: fn(&LayoutRecord) -> Millimeter| layout.map(|layout| length(&layout.record).hundredths());
    let (step, margin) = (of(|record| record.blocker_step), of(|record| record.blank_margin));
    let (dbl, frame_pd, wanted_pd) =
        (of(|record| record.dbl), of(|record| record.frame_pd), of(|record| record.wanted_pd));
    let seq = sqlx::query!(
        "insert into layout (job_number, revision, moment, shape_id, blocker_step_hundredths, blank_margin_hundredths,
                             dbl_hundredths, frame_pd_hundredths, wanted_pd_hundredths, document, at)
         values (?1, (select revision from job where number = ?1), ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)",
        number,
        moment,
        shape,
        step,
        margin,
        dbl,
        frame_pd,
        wanted_pd,
        document,
        at
    )
    .execute(&mut *tx)
    .await?
    .last_insert_rowid();
    if let Some(layout) = layout {
        for (eye, record) in layout.record.eyes.iter().filter_map(|(eye, record)| Some((eye, record.as_ref()?))) {
            insert_layout_eye(tx, number, seq, eye, record).await?;
        }
    }
    Ok(seq)
}

async fn insert_layout_eye(
    tx: &mut SqliteConnection,
    number: i64,
    layout: i64,
    eye: Eye,
    record: &EyeRecord,
) -> Result<(), StoreError> {
    let eye = eye.name();
    let [wanted_pd, wanted_height, set_pd, set_height] =
        [record.wanted_pd, record.wanted_height, record.set_pd, record.set_height].map(Millimeter::hundredths);
    let [nudge_in, nudge_up, in_mm, up_mm] =
        [record.nudge_in, record.nudge_up, record.decentration_in, record.decentration_up].map(Millimeter::hundredths);
    let [center_in, center_up, exact, with_margin] =
        [record.center_in, record.center_up, record.needs_exact, record.needs_with_margin].map(Millimeter::hundredths);
    let diameter = record.lens.map(|lens| lens.diameter).map(Millimeter::hundredths);
    let front = record.lens.map(|lens| lens.front_power).map(Diopter::hundredths);
    let thickness = record.lens.map(|lens| lens.center_thickness).map(Millimeter::hundredths);
    let origin = record.lens.map_or("", |lens| lens.diameter_from.key());
    let prism = record.has_ground_prism.map(|is_ground| if is_ground { "ground" } else { "decentred" });
    sqlx::query!(
        "insert into layout_eye (layout_seq, eye, lens_seq, wanted_pd_hundredths, wanted_height_hundredths,
                                 set_pd_hundredths, set_height_hundredths, nudge_in_hundredths, nudge_up_hundredths,
                                 decentration_in_hundredths, decentration_up_hundredths, centre_in_hundredths,
                                 centre_up_hundredths, blank_exact_hundredths, blank_with_margin_hundredths,
                                 lens_diameter_hundredths, lens_front_power_hundredths, lens_centre_hundredths, lens_origin,
                                 prism_make)
         values (?1, ?2, (select max(seq) from lens_in_hand where job_number = ?3 and eye = ?2), ?4, ?5, ?6, ?7, ?8, ?9,
                 ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20)",
        layout,
        eye,
        number,
        wanted_pd,
        wanted_height,
        set_pd,
        set_height,
        nudge_in,
        nudge_up,
        in_mm,
        up_mm,
        center_in,
        center_up,
        exact,
        with_margin,
        diameter,
        front,
        thickness,
        origin,
        prism
    )
    .execute(tx)
    .await?;
    Ok(())
}
