//! Frame shapes, kept for good with the file they were read from.

use std::collections::HashMap;
use std::ops::RangeInclusive;

use serde::Deserialize;
use sqlx::SqliteConnection;
use sqlx::types::Json;
use time::OffsetDateTime;
use uuid::Uuid;

use super::attachment::{NewAttachment, has_file, insert_attachment, insert_file};
use super::event::append_event;
use super::once::{Done, Once};
use super::prescription::both_eyes;
use super::read::{length, unreadable, word};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::attachment::NewFile;
use crate::desk::drilling::{BoxSide, DrilledHole, FromSide};
use crate::desk::frame_shape::{DblSource, FrameShape, KeptWarning, NewShape, RimInSpace, ShapeOrigin, ShapeSize};
use crate::desk::id::{FrameId, ShapeId};
use crate::desk::job::{EventKind, Job};
use crate::desk::step::Step;
use crate::optics::{Eye, Pair};
use crate::shape::boxing::Boxing;
use crate::shape::trace::Trace;

/// A shape that a job had before the one it uses.
#[derive(Debug, Clone, PartialEq)]
pub struct EarlierShape {
    pub id: ShapeId,
    pub origin: ShapeOrigin,
    /// The name of the file it was read from; empty where it was made from another shape.
    pub file: String,
    /// When the job began to use it.
    pub since: OffsetDateTime,
    pub size: ShapeSize,
}

fn size_of(a: i64, b: i64, dbl: i64) -> Result<ShapeSize, StoreError> {
    Ok(ShapeSize { a: length("A", a)?, b: length("B", b)?, dbl: length("DBL", dbl)? })
}

/// A shape, with the bytes of each eye's trace in hexadecimal digits.
#[derive(Deserialize)]
struct ShapeRow {
    id: ShapeId,
    job_number: Option<i64>,
    parent_id: Option<ShapeId>,
    origin: String,
    dbl_hundredths: i64,
    dbl_source: String,
    eyes: Vec<ShapeEyeRow>,
    holes: Vec<HoleRow>,
    rims: Vec<RimRow>,
}

#[derive(Deserialize)]
struct HoleRow {
    eye: String,
    side: String,
    from_side_hundredths: i64,
    up_hundredths: i64,
    end_from_side_hundredths: Option<i64>,
    end_up_hundredths: Option<i64>,
    diameter_hundredths: i64,
}

impl HoleRow {
    fn hole(&self) -> Result<DrilledHole, StoreError> {
        let place = |inward: i64, up: i64| {
            Ok::<_, StoreError>(FromSide { inward: length("a hole", inward)?, up: length("a hole", up)? })
        };
        let slot_end = match (self.end_from_side_hundredths, self.end_up_hundredths) {
            (Some(inward), Some(up)) => Some(place(inward, up)?),
            _ => None,
        };
        Ok(DrilledHole {
            side: word("side of a box", &self.side, BoxSide::from_key(&self.side))?,
            at: place(self.from_side_hundredths, self.up_hundredths)?,
            slot_end,
            diameter: length("a hole", self.diameter_hundredths)?,
        })
    }
}

#[derive(Deserialize)]
struct RimRow {
    eye: String,
    circumference_hundredths: i64,
    tilt_hundredths: i64,
}

/// The holes of one eye, in their order.
fn holes_of(rows: &[HoleRow], eye: Eye) -> Result<Vec<DrilledHole>, StoreError> {
    rows.iter().filter(|row| row.eye == eye.name()).map(HoleRow::hole).collect()
}

fn rim_of(rows: &[RimRow], eye: Eye) -> Option<RimInSpace> {
    let row = rows.iter().find(|row| row.eye == eye.name())?;
    Some(RimInSpace {
        circumference_mm: row.circumference_hundredths as f64 / 100.0,
        tilt_deg: row.tilt_hundredths as f64 / 100.0,
    })
}

#[derive(Deserialize)]
struct ShapeEyeRow {
    eye: String,
    #[serde(with = "const_hex::serde")]
    trace: Vec<u8>,
    is_mirror: i64,
    rim_curve_hundredths: Option<i64>,
}

impl TryFrom<ShapeRow> for FrameShape {
    type Error = StoreError;
    fn try_from(row: ShapeRow) -> Result<Self, StoreError> {
        let eyes = both_eyes("shape", row.eyes, |eye| &eye.eye)?;
        let derived = eyes.iter().find(|(_, eye)| eye.is_mirror != 0).map(|(eye, _)| eye);
        let trace = |eye: &ShapeEyeRow| Trace::from_bytes(&eye.trace).map_err(unreadable("trace"));
        Ok(Self {
            id: row.id,
            job_number: row.job_number,
            parent: row.parent_id,
            origin: word("shape origin", &row.origin, ShapeOrigin::from_key(&row.origin))?,
            traces: Pair::new(trace(&eyes.right)?, trace(&eyes.left)?),
            derived,
            dbl: length("DBL", row.dbl_hundredths)?,
            dbl_source: word("DBL source", &row.dbl_source, DblSource::from_key(&row.dbl_source))?,
            rim_curve_tool_d: eyes.map(|eye| eye.rim_curve_hundredths.map(|hundredths| hundredths as f64 / 100.0)),
            rim: Pair::new(rim_of(&row.rims, Eye::Right), rim_of(&row.rims, Eye::Left)),
            holes: Pair::new(holes_of(&row.holes, Eye::Right)?, holes_of(&row.holes, Eye::Left)?),
        })
    }
}

impl Store {
    /// Keeps a shape under a job number, with the bytes it came from, and makes it the job's shape.
    pub async fn keep_shape(
        &self,
        key: &str,
        number: i64,
        shape: &NewShape,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.keep_shape_with_picture(key, number, (shape, None), now).await
    }

    /// As [`Store::keep_shape`], and keeps the picture it was read in as a file of the job: both are on file, or neither. A
    /// picture that the job has already is not kept again.
    pub async fn keep_shape_with_picture(
        &self,
        key: &str,
        number: i64,
        (shape, picture): (&NewShape, Option<&NewFile>),
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, Step::Shape)), now, async |tx| {
            let id = insert_shape_of_file(tx, number, shape, now).await?;
            use_shape(tx, number, (id, &shape.original_name), now).await?;
            if let Some(picture) = picture
                && !has_file(tx, number, &picture.bytes).await?
            {
                insert_file(tx, number, picture, now).await?;
            }
            Ok(Done::new((), number))
        })
        .await
    }

    /// Keeps a shape that was made from another one, under a job number, and makes it the job's shape.
    pub async fn keep_child_shape(
        &self,
        key: &str,
        number: i64,
        (parent, says): (ShapeId, &str),
        child: &NewShape,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, Step::Shape)), now, async |tx| {
            let id = insert_shape(tx, number, child, &ShapeSource::Parent(parent), now).await?;
            use_shape(tx, number, (id, says), now).await?;
            Ok(Done::new((), number))
        })
        .await
    }

    /// Makes the shape of another job the one a job uses.
    pub async fn borrow_shape(
        &self,
        key: &str,
        other: i64,
        number: i64,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, Step::Shape)), now, async |tx| {
            lend_shape(tx, other, number, now).await?;
            Ok(Done::new((), number))
        })
        .await
    }

    /// Makes a shape that a job had before the one it uses again. What it used meanwhile stays in its history.
    pub async fn use_earlier_shape(
        &self,
        key: &str,
        number: i64,
        (shape, says): (ShapeId, &str),
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, Step::Shape)), now, async |tx| {
            let was_used = sqlx::query_scalar!(
                r#"select exists (select 1 from job_shape where shape_id = ? and job_number = ?) as "was_used!: bool""#,
                shape,
                number
            )
            .fetch_one(&mut *tx)
            .await?;
            if !was_used {
                return Err(StoreError::NotFound("that shape"));
            }
            use_shape(tx, number, (shape, says), now).await?;
            Ok(Done::new((), number))
        })
        .await
    }

    /// The shapes that a job had before the one it uses, the newest first.
    pub async fn list_earlier_shapes(
        &self,
        job: i64,
        used: ShapeId,
        most: i64,
    ) -> Result<Vec<EarlierShape>, StoreError> {
        sqlx::query!(
            r#"select s.id as "id: ShapeId", s.origin, a.name as "name?", u.added_at as "since: Stamp",
                      e.a_hundredths, e.b_hundredths, s.dbl_hundredths
               from job_shape u
               join shape s on s.id = u.shape_id
               join shape_eye e on e.shape_id = s.id and e.eye = 'right'
               left join attachment a on a.id = s.original_id
               where u.job_number = ?1 and u.shape_id <> ?2
                 and not exists (select 1 from job_shape later
                                 where later.job_number = ?1 and later.seq > u.seq and later.shape_id = u.shape_id)
               order by u.seq desc limit ?3"#,
            job,
            used,
            most
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(|row| {
            Ok(EarlierShape {
                id: row.id,
                origin: word("shape origin", &row.origin, ShapeOrigin::from_key(&row.origin))?,
                file: row.name.unwrap_or_default(),
                since: row.since.0,
                size: size_of(row.a_hundredths, row.b_hundredths, row.dbl_hundredths)?,
            })
        })
        .collect()
    }

    /// The newest other jobs in a frame that have a shape on file, with its size.
    pub async fn list_other_shaped_jobs(
        &self,
        frame: FrameId,
        job: i64,
        most: i64,
    ) -> Result<Vec<(i64, ShapeSize)>, StoreError> {
        sqlx::query!(
            r#"select j.number as "number!: i64", e.a_hundredths, e.b_hundredths, s.dbl_hundredths
               from job j
               join job_shape u on u.seq = (select max(seq) from job_shape where job_number = j.number)
               join shape s on s.id = u.shape_id
               join shape_eye e on e.shape_id = s.id and e.eye = 'right'
               where j.frame_id = ?1 and j.number <> ?2
               order by j.number desc limit ?3"#,
            frame,
            job,
            most
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(|row| Ok((row.number, size_of(row.a_hundredths, row.b_hundredths, row.dbl_hundredths)?)))
        .collect()
    }

    /// The newest jobs that used a shape.
    pub async fn list_jobs_of_shape(&self, shape: ShapeId, most: i64) -> Result<Vec<i64>, StoreError> {
        Ok(sqlx::query_scalar!(
            r#"select distinct job_number as "number!: i64" from job_shape where shape_id = ?
               order by job_number desc limit ?"#,
            shape,
            most
        )
        .fetch_all(&self.read)
        .await?)
    }

    /// The right eyes of the shapes on file that were kept after one, the oldest first.
    pub async fn list_traces_after(&self, seq: i64, most: i64) -> Result<Vec<TraceOnFile>, StoreError> {
        sqlx::query!(
            r#"select e.rowid as "seq!: i64", e.shape_id as "shape: ShapeId", e.trace, s.job_number
               from shape_eye e join shape s on s.id = e.shape_id
               where e.rowid > ? and e.eye = 'right' order by e.rowid limit ?"#,
            seq,
            most
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(|row| TraceOnFile::read(row.seq, row.shape, row.job_number, &row.trace))
        .collect()
    }

    /// Some of them again, by their numbers.
    pub async fn list_traces(&self, seqs: &[i64]) -> Result<Vec<TraceOnFile>, StoreError> {
        let seqs = serde_json::json!(seqs);
        sqlx::query!(
            r#"select e.rowid as "seq!: i64", e.shape_id as "shape: ShapeId", e.trace, s.job_number
               from shape_eye e join shape s on s.id = e.shape_id
               where e.rowid in (select value from json_each(?))"#,
            seqs
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(|row| TraceOnFile::read(row.seq, row.shape, row.job_number, &row.trace))
        .collect()
    }

    /// Notes which shapes on file a new one looks like, the most alike first. What was noted before stays.
    pub async fn keep_twins(&self, shape: ShapeId, twins: &[ShapeTwin]) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        insert_twins(&mut tx, shape, twins).await?;
        tx.commit().await
    }

    /// The shapes on file that one looked like when it was kept, the most alike first.
    pub async fn list_twins(&self, shape: ShapeId) -> Result<Vec<ShapeTwin>, StoreError> {
        let rows = sqlx::query!(
            r#"select t.twin_id as "shape: ShapeId", s.job_number as "job!", t.gap_thousandths, t.is_mirrored as "is_mirrored: bool"
               from shape_twin t join shape s on s.id = t.twin_id
               where t.shape_id = ? and s.job_number is not null order by t.position"#,
            shape
        )
        .fetch_all(&self.read)
        .await?;
        let twin = |shape, job, thousandths: i64, is_mirrored| ShapeTwin {
            shape,
            job,
            gap_mm: thousandths as f64 / 1000.0,
            is_mirrored,
        };
        Ok(rows.into_iter().map(|row| twin(row.shape, row.job, row.gap_thousandths, row.is_mirrored)).collect())
    }

    /// The shape of a job, if one is on file.
    pub async fn find_job_shape(&self, job: &Job) -> Result<Option<FrameShape>, StoreError> {
        match job.shape {
            Some(id) => self.get_shape(id).await.map(Some),
            None => Ok(None),
        }
    }

    /// A shape, by its key.
    pub async fn get_shape(&self, id: ShapeId) -> Result<FrameShape, StoreError> {
        let row = sqlx::query_scalar!(r#"select body as "body!: Json<ShapeRow>" from shape_json where id = ?"#, id)
            .fetch_optional(&self.read)
            .await?
            .ok_or(StoreError::NotFound("that shape"))?;
        row.0.try_into()
    }

    /// The shapes that were made from one, the oldest first.
    pub async fn list_children(&self, parent: ShapeId, most: i64) -> Result<Vec<ShapeLine>, StoreError> {
        sqlx::query!(
            r#"select id as "id: ShapeId", job_number, origin from shape where parent_id = ? order by rowid limit ?"#,
            parent,
            most
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(|row| ShapeLine::read(row.id, row.job_number, &row.origin))
        .collect()
    }

    /// Several shapes, each by its key.
    pub(super) async fn list_shapes(&self, ids: &[ShapeId]) -> Result<HashMap<ShapeId, FrameShape>, StoreError> {
        let hex: Vec<String> = ids.iter().map(|id| id.0.simple().to_string()).collect();
        let hex = serde_json::json!(hex);
        let rows = sqlx::query_scalar!(
            r#"select body as "body!: Json<ShapeRow>" from shape_json
               where id in (select unhex(value) from json_each(?))"#,
            hex
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(|row| FrameShape::try_from(row.0).map(|shape| (shape.id, shape))).collect()
    }

    /// Of the file a shape was read from: its name or another description, and what was odd in it and in those of the shapes
    /// that it was made from.
    pub async fn get_shape_file(&self, shape: ShapeId) -> Result<(String, Vec<KeptWarning>), StoreError> {
        let row = sqlx::query!(
            r#"with recursive made (step, id, parent_id, origin) as (
                   select 0, id, parent_id, origin from shape where id = ?1
                   union all
                   select made.step + 1, s.id, s.parent_id, s.origin from made join shape s on s.id = made.parent_id)
               select a.name as "name?",
                      (select json_group_array(origin) from (select origin from made order by step))
                          as "made!: Json<Vec<String>>",
                      (select json_group_array(json_array(step, kind, says))
                       from (select made.step, w.kind, w.says from made join shape_warning w on w.shape_id = made.id
                             order by made.step, w.position))
                          as "warnings!: Json<Vec<(usize, String, String)>>"
               from shape s left join attachment a on a.id = s.original_id where s.id = ?1"#,
            shape
        )
        .fetch_optional(&self.read)
        .await?
        .ok_or(StoreError::NotFound("that shape"))?;
        let origin = |key: &String| word("shape origin", key, ShapeOrigin::from_key(key));
        let made: Vec<ShapeOrigin> = row.made.iter().map(origin).collect::<Result<_, _>>()?;
        let warnings = row.warnings.0.into_iter();
        let kept = warnings.map(|(step, kind, says)| KeptWarning { kind, says, since: made[..step].to_vec() });
        Ok((row.name.unwrap_or_default(), kept.collect()))
    }

    /// The name and the very bytes a shape came from.
    pub async fn get_original(&self, shape: ShapeId) -> Result<(String, Vec<u8>), StoreError> {
        let row = sqlx::query!(
            "select a.name, b.bytes from shape s
             join attachment a on a.id = s.original_id join attachment_bytes b on b.hash = a.hash where s.id = ?",
            shape
        )
        .fetch_optional(&self.read)
        .await?
        .ok_or(StoreError::NotFound("the file of that shape"))?;
        Ok((row.name, row.bytes))
    }

    /// The shape that was read from a file, this one or the one that it was made from step by step, and the bytes of the file.
    pub async fn find_source(&self, shape: &FrameShape) -> Result<Option<(FrameShape, Vec<u8>)>, StoreError> {
        let mut source = shape.clone();
        while let Some(parent) = source.parent {
            source = self.get_shape(parent).await?;
        }
        match self.get_original(source.id).await {
            Ok((_, bytes)) => Ok(Some((source, bytes))),
            Err(StoreError::NotFound(_)) => Ok(None),
            Err(why) => Err(why),
        }
    }

    /// The jobs in a frame, from one number to another, that have a shape on file.
    pub async fn list_shaped_jobs(&self, frame: FrameId, jobs: RangeInclusive<i64>) -> Result<Vec<i64>, StoreError> {
        let (first, last) = jobs.into_inner();
        Ok(sqlx::query_scalar!(
            r#"select number as "number!: i64" from job
               where frame_id = ? and number between ? and ?
                 and exists (select 1 from job_shape s where s.job_number = job.number)"#,
            frame,
            first,
            last
        )
        .fetch_all(&self.read)
        .await?)
    }
}

/// A shape on file that another one looked like when it was kept.
#[derive(Debug, Clone, PartialEq)]
pub struct ShapeTwin {
    /// The shape on file.
    pub shape: ShapeId,
    /// The job it was kept for.
    pub job: i64,
    /// The largest gap after the best alignment.
    pub gap_mm: f64,
    /// Whether it is a mirror image.
    pub is_mirrored: bool,
}

/// A shape as a line of a list.
#[derive(Debug, Clone, Copy)]
pub struct ShapeLine {
    /// The shape.
    pub id: ShapeId,
    /// The job it was kept for.
    pub job: Option<i64>,
    /// How it came to be.
    pub origin: ShapeOrigin,
}

impl ShapeLine {
    fn read(id: ShapeId, job: Option<i64>, origin: &str) -> Result<Self, StoreError> {
        Ok(Self { id, job, origin: word("shape origin", origin, ShapeOrigin::from_key(origin))? })
    }
}

/// The right eye of a shape on file.
#[derive(Debug, Clone)]
pub struct TraceOnFile {
    /// Counts the eyes on file in the order they were kept.
    pub seq: i64,
    /// The shape.
    pub shape: ShapeId,
    /// The job it was kept for.
    pub job: Option<i64>,
    /// The trace.
    pub trace: Trace,
}

impl TraceOnFile {
    fn read(seq: i64, shape: ShapeId, job: Option<i64>, trace: &[u8]) -> Result<Self, StoreError> {
        Ok(Self { seq, shape, job, trace: Trace::from_bytes(trace).map_err(unreadable("trace"))? })
    }
}

/// What a shape was made from.
enum ShapeSource {
    /// A file.
    File(Uuid),
    /// Another shape.
    Parent(ShapeId),
}

/// Keeps a shape of a job with the file it was read from.
pub(super) async fn insert_shape_of_file(
    tx: &mut SqliteConnection,
    number: i64,
    shape: &NewShape,
    now: OffsetDateTime,
) -> Result<ShapeId, StoreError> {
    let file = NewAttachment::trace(&shape.original_name, &shape.original, number);
    let original = insert_attachment(tx, &file, now).await?;
    insert_shape(tx, number, shape, &ShapeSource::File(original), now).await
}

pub(super) async fn insert_twins(
    tx: &mut SqliteConnection,
    shape: ShapeId,
    twins: &[ShapeTwin],
) -> Result<(), StoreError> {
    for (position, twin) in (1i64..).zip(twins) {
        let gap = (twin.gap_mm * 1000.0).round() as i64;
        sqlx::query!(
            "insert into shape_twin (shape_id, position, twin_id, gap_thousandths, is_mirrored) values (?, ?, ?, ?, ?)
             on conflict do nothing",
            shape,
            position,
            twin.shape,
            gap,
            twin.is_mirrored
        )
        .execute(&mut *tx)
        .await?;
    }
    Ok(())
}

async fn insert_shape(
    tx: &mut SqliteConnection,
    number: i64,
    shape: &NewShape,
    source: &ShapeSource,
    now: OffsetDateTime,
) -> Result<ShapeId, StoreError> {
    let (id, added_at, dbl) = (ShapeId(Uuid::now_v7()), Stamp(now), shape.dbl.hundredths());
    let (original, parent) = match *source {
        ShapeSource::File(file) => (Some(file), None),
        ShapeSource::Parent(parent) => (None, Some(parent)),
    };
    let (origin, dbl_source) = (shape.origin.key(), shape.dbl_source.key());
    sqlx::query!(
        "insert into shape (id, job_number, parent_id, origin, dbl_hundredths, dbl_source, original_id, added_at)
         values (?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        number,
        parent,
        origin,
        dbl,
        dbl_source,
        original,
        added_at
    )
    .execute(&mut *tx)
    .await?;
    for eye in Eye::BOTH {
        insert_shape_eye(tx, id, eye, shape).await?;
        insert_holes(tx, id, eye, shape.holes.get(eye)).await?;
        if let Some(rim) = shape.rim.get(eye) {
            insert_rim(tx, id, eye, rim).await?;
        }
    }
    for (position, warning) in (1i64..).zip(&shape.warnings) {
        sqlx::query!(
            "insert into shape_warning (shape_id, position, kind, says) values (?, ?, ?, ?)",
            id,
            position,
            warning.kind,
            warning.says
        )
        .execute(&mut *tx)
        .await?;
    }
    Ok(id)
}

async fn insert_holes(
    tx: &mut SqliteConnection,
    id: ShapeId,
    eye: Eye,
    holes: &[DrilledHole],
) -> Result<(), StoreError> {
    let eye = eye.name();
    for (position, hole) in (1i64..).zip(holes) {
        let (side, diameter) = (hole.side.key(), hole.diameter.hundredths());
        let (inward, up) = (hole.at.inward.hundredths(), hole.at.up.hundredths());
        let end = hole.slot_end;
        let (end_inward, end_up) = (end.map(|end| end.inward.hundredths()), end.map(|end| end.up.hundredths()));
        sqlx::query!(
            "insert into shape_hole (shape_id, eye, position, side, from_side_hundredths, up_hundredths,
                                     end_from_side_hundredths, end_up_hundredths, diameter_hundredths)
             values (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            id,
            eye,
            position,
            side,
            inward,
            up,
            end_inward,
            end_up,
            diameter
        )
        .execute(&mut *tx)
        .await?;
    }
    Ok(())
}

async fn insert_rim(tx: &mut SqliteConnection, id: ShapeId, eye: Eye, rim: &RimInSpace) -> Result<(), StoreError> {
    let hundredths = |value: f64| (value * 100.0).round() as i64;
    let (eye, circumference, tilt) = (eye.name(), hundredths(rim.circumference_mm), hundredths(rim.tilt_deg));
    sqlx::query!(
        "insert into shape_rim (shape_id, eye, circumference_hundredths, tilt_hundredths) values (?, ?, ?, ?)",
        id,
        eye,
        circumference,
        tilt
    )
    .execute(tx)
    .await?;
    Ok(())
}

pub(super) async fn insert_shape_eye(
    tx: &mut SqliteConnection,
    id: ShapeId,
    eye: Eye,
    shape: &NewShape,
) -> Result<(), StoreError> {
    let trace = shape.traces.get(eye);
    let boxing = Boxing::of(&trace.outline());
    let hundredths = |value: f64| (value * 100.0).round() as i64;
    let [a, b, ed, circumference] = [boxing.a_mm, boxing.b_mm, boxing.ed_mm, boxing.circumference_mm].map(hundredths);
    let (key, bytes, is_mirror) = (eye.name(), trace.to_bytes(), shape.derived == Some(eye));
    let rim_curve = shape.rim_curve_tool_d.get(eye).map(hundredths);
    sqlx::query!(
        "insert into shape_eye (shape_id, eye, trace, is_mirror, a_hundredths, b_hundredths, ed_hundredths,
                                circumference_hundredths, rim_curve_hundredths)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        key,
        bytes,
        is_mirror,
        a,
        b,
        ed,
        circumference,
        rim_curve
    )
    .execute(tx)
    .await?;
    Ok(())
}

/// Makes a shape the one a job uses, and says in its history where it is from.
async fn use_shape(
    tx: &mut SqliteConnection,
    number: i64,
    (shape, says): (ShapeId, &str),
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let added_at = Stamp(now);
    sqlx::query!("insert into job_shape (job_number, shape_id, added_at) values (?, ?, ?)", number, shape, added_at)
        .execute(&mut *tx)
        .await?;
    append_event(tx, number, EventKind::ShapeKept, says, now).await?;
    Ok(())
}

/// Gives new lenses the shape of the earlier job, if one is on file there.
pub(super) async fn lend_shape(
    tx: &mut SqliteConnection,
    earlier: i64,
    number: i64,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let shape = sqlx::query_scalar!(
        r#"select shape_id as "id: ShapeId" from job_shape where job_number = ? order by seq desc limit 1"#,
        earlier
    )
    .fetch_optional(&mut *tx)
    .await?;
    if let Some(shape) = shape {
        use_shape(tx, number, (shape, &format!("from job {earlier}")), now).await?;
    }
    Ok(())
}
