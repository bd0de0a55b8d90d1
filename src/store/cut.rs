//! The cut: both lenses were edged, at which size and by which layout.

use time::OffsetDateTime;

use super::event::append_event;
use super::layout::{NewLayout, insert_cut_layout};
use super::once::{Done, Once};
use super::prescription::both_eyes;
use super::read::length;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::id::{FrameId, ShapeId};
use crate::desk::job::EventKind;
use crate::desk::step::Step;
use crate::optics::unit::Millimetre;
use crate::optics::{Eye, Pair};

/// A cut to keep.
#[derive(Debug, Clone, PartialEq)]
pub struct NewCut {
    /// What the edger added to the traced size, each eye.
    pub size: Pair<Millimetre>,
    /// For the next time.
    pub note: String,
    /// The layout it was cut by.
    pub layout: Option<NewLayout>,
}

impl Store {
    /// Records that the lenses were edged.
    pub async fn insert_cut(
        &self,
        key: &str,
        number: i64,
        cut: &NewCut,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, Step::Cut)), now, async |tx| {
            let layout = match &cut.layout {
                Some(layout) => Some(insert_cut_layout(tx, number, layout, now).await?),
                None => None,
            };
            let at = Stamp(now);
            let seq = sqlx::query!(
                "insert into cut (job_number, layout_seq, note, at) values (?, ?, ?, ?)",
                number,
                layout,
                cut.note,
                at
            )
            .execute(&mut *tx)
            .await?
            .last_insert_rowid();
            for eye in Eye::BOTH {
                let (key, size) = (eye.name(), cut.size.get(eye).hundredths());
                sqlx::query!("insert into cut_eye (cut_seq, eye, size_hundredths) values (?, ?, ?)", seq, key, size)
                    .execute(&mut *tx)
                    .await?;
            }
            append_event(tx, number, EventKind::Cut, &said(cut), now).await?;
            Ok(Done::new((), number))
        })
        .await
    }
}

/// An earlier cut of the same shape.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EarlierCut {
    /// Of which job.
    pub job: i64,
    /// What was added to the traced size.
    pub size: Pair<Millimetre>,
    /// What was said for the next time; may be empty.
    pub note: String,
    /// When.
    pub at: OffsetDateTime,
}

/// How many cuts in a frame model the average counts, the newest ones.
const MOST_AVERAGED: i64 = 50;

impl Store {
    /// The newest cut of a lens pair on this shape, for whichever job.
    pub async fn find_last_cut(&self, shape: ShapeId) -> Result<Option<EarlierCut>, StoreError> {
        let rows = sqlx::query!(
            r#"select c.job_number as "job!: i64", c.note, c.at as "at: Stamp", e.eye, e.size_hundredths
               from cut_eye e join cut c on c.seq = e.cut_seq
               where c.seq = (select max(n.seq) from job_shape s join cut n on n.job_number = s.job_number
                              where s.shape_id = ?)"#,
            shape
        )
        .fetch_all(&self.read)
        .await?;
        let Some(first) = rows.first() else { return Ok(None) };
        let (job, note, at) = (first.job, first.note.clone(), first.at.0);
        let eyes = both_eyes("cut", rows, |row| &row.eye)?;
        let size = |hundredths| length("size", hundredths);
        let size = Pair::new(size(eyes.right.size_hundredths)?, size(eyes.left.size_hundredths)?);
        Ok(Some(EarlierCut { job, size, note, at }))
    }

    /// What the edger added on average in this frame model, and over how many lenses; `None` before the first.
    pub async fn find_average_cut(&self, frame: FrameId) -> Result<Option<(f64, i64)>, StoreError> {
        let row = sqlx::query!(
            r#"select avg(e.size_hundredths) as "average: f64", count(*) as "lenses!: i64"
               from (select c.seq from job j join cut c on c.job_number = j.number
                     where j.frame_id = ? order by j.number desc limit ?) n
               join cut_eye e on e.cut_seq = n.seq"#,
            frame,
            MOST_AVERAGED
        )
        .fetch_one(&self.read)
        .await?;
        Ok(row.average.map(|hundredths| (hundredths / 100.0, row.lenses)))
    }
}

/// How a cut stands in the history.
fn said(cut: &NewCut) -> String {
    let Pair { right, left } = cut.size;
    let size = match (right, left) {
        (Millimetre::ZERO, Millimetre::ZERO) => String::new(),
        (right, left) if right == left => format!("size {right} mm"),
        (right, left) => format!("size R {right}, L {left} mm"),
    };
    [size, cut.note.clone()].into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join("; ")
}
