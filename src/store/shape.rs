//! Frame shapes, kept for good with the file they were read from.

use sqlx::SqliteConnection;
use time::OffsetDateTime;
use uuid::Uuid;

use super::attachment::{NewAttachment, insert_attachment};
use super::event::append_event;
use super::once::{Done, Once};
use super::prescription::both_eyes;
use super::read::{length, unreadable, word};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::frame_shape::{DblSource, FrameShape, NewShape, ShapeOrigin};
use crate::desk::id::{FrameId, ShapeId};
use crate::desk::job::EventKind;
use crate::optics::{Eye, Pair};
use crate::shape::boxing::Boxing;
use crate::shape::trace::Trace;

struct ShapeEyeRow {
    eye: String,
    trace: Vec<u8>,
    is_mirror: i64,
    rim_curve_hundredths: Option<i64>,
}

/// The shape a job uses.
pub(super) async fn find_job_shape(db: &mut SqliteConnection, job: i64) -> Result<Option<FrameShape>, StoreError> {
    let Some(head) = sqlx::query!(
        r#"select s.id as "id!: ShapeId", s.job_number, s.parent_id as "parent_id?: ShapeId", s.origin, s.dbl_hundredths,
                  s.dbl_source, a.name as "original_name?"
           from shape s left join attachment a on a.id = s.original_id
           where s.id = (select shape_id from job_shape where job_number = ? order by seq desc limit 1)"#,
        job
    )
    .fetch_optional(&mut *db)
    .await?
    else {
        return Ok(None);
    };
    let rows = sqlx::query_as!(
        ShapeEyeRow,
        "select eye, trace, is_mirror, rim_curve_hundredths from shape_eye where shape_id = ?",
        head.id
    )
    .fetch_all(db)
    .await?;
    let rows = both_eyes("shape", rows, |row| &row.eye)?;
    let derived = rows.iter().find(|(_, row)| row.is_mirror != 0).map(|(eye, _)| eye);
    let trace = |row: &ShapeEyeRow| Trace::from_bytes(&row.trace).map_err(unreadable("trace"));
    let traces = Pair::new(trace(&rows.right)?, trace(&rows.left)?);
    Ok(Some(FrameShape {
        id: head.id,
        job_number: head.job_number,
        parent: head.parent_id,
        origin: word("shape origin", &head.origin, ShapeOrigin::from_key(&head.origin))?,
        traces,
        derived,
        dbl: length("DBL", head.dbl_hundredths)?,
        dbl_source: word("DBL source", &head.dbl_source, DblSource::from_key(&head.dbl_source))?,
        rim_curve_tool_d: rows.map(|row| row.rim_curve_hundredths.map(|hundredths| hundredths as f64 / 100.0)),
        original_name: head.original_name.unwrap_or_default(),
    }))
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
        self.once(key, None, now, async |tx| {
            let file =
                NewAttachment { kind: "trace", name: &shape.original_name, bytes: &shape.original, job: Some(number) };
            let original = insert_attachment(tx, &file, now).await?;
            let id = insert_shape(tx, number, shape, original, now).await?;
            use_shape(tx, number, id, now).await?;
            append_event(tx, number, EventKind::ShapeKept, &shape.original_name, now).await?;
            Ok(Done::new((), number))
        })
        .await
    }

    /// What was odd in the file of a shape, a sentence each.
    pub async fn list_shape_warnings(&self, shape: ShapeId) -> Result<Vec<String>, StoreError> {
        Ok(sqlx::query_scalar!("select says from shape_warning where shape_id = ? order by position", shape)
            .fetch_all(&self.read)
            .await?)
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

    /// The newest jobs in a frame that have a shape on file.
    pub async fn list_shaped_jobs(&self, frame: FrameId, most: i64) -> Result<Vec<i64>, StoreError> {
        Ok(sqlx::query_scalar!(
            r#"select number as "number!: i64" from job
               where frame_id = ? and exists (select 1 from job_shape s where s.job_number = job.number)
               order by number desc limit ?"#,
            frame,
            most
        )
        .fetch_all(&self.read)
        .await?)
    }
}

async fn insert_shape(
    tx: &mut SqliteConnection,
    number: i64,
    shape: &NewShape,
    original: Uuid,
    now: OffsetDateTime,
) -> Result<ShapeId, StoreError> {
    let (id, added_at, dbl) = (ShapeId(Uuid::now_v7()), Stamp(now), shape.dbl.hundredths());
    let (origin, dbl_source) = (ShapeOrigin::Traced.key(), shape.dbl_source.key());
    sqlx::query!(
        "insert into shape (id, job_number, origin, dbl_hundredths, dbl_source, original_id, added_at)
         values (?, ?, ?, ?, ?, ?, ?)",
        id,
        number,
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

/// Makes a shape the one a job uses.
async fn use_shape(
    tx: &mut SqliteConnection,
    number: i64,
    shape: ShapeId,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let added_at = Stamp(now);
    sqlx::query!("insert into job_shape (job_number, shape_id, added_at) values (?, ?, ?)", number, shape, added_at)
        .execute(tx)
        .await?;
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
        use_shape(tx, number, shape, now).await?;
        append_event(tx, number, EventKind::ShapeKept, &format!("from job {earlier}"), now).await?;
    }
    Ok(())
}
