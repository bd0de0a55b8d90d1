//! The cut: both lenses were edged, at which size and by which layout.

use time::OffsetDateTime;

use super::event::append_event;
use super::layout::{NewLayout, insert_cut_layout};
use super::once::{Done, Once};
use super::read::{eye, length};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::id::{FrameId, ShapeId};
use crate::desk::job::EventKind;
use crate::desk::step::Step;
use crate::optics::unit::Millimeter;
use crate::optics::{Eye, Pair};

/// A cut to keep.
#[derive(Debug, Clone, PartialEq)]
pub struct NewCut {
    /// What the edger added to the traced size; none for a lens that was not cut.
    pub size: Pair<Option<Millimeter>>,
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
            for (eye, size) in cut.size.iter().filter_map(|(eye, size)| size.map(|size| (eye, size))) {
                let (key, size) = (eye.name(), size.hundredths());
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
    /// What was added to the traced size, by the newest cut of each eye; none for an eye that was never cut.
    pub size: Pair<Option<Millimeter>>,
    /// What was said for the next time; may be empty.
    pub note: String,
    /// When.
    pub at: OffsetDateTime,
}

/// How many cuts in a frame model the average counts, the newest ones.
const MOST_AVERAGED: i64 = 50;

impl Store {
    /// The newest cut on this shape, for whichever job. Where it was of one lens, the other's size is that of an earlier cut.
    pub async fn find_last_cut(&self, shape: ShapeId) -> Result<Option<EarlierCut>, StoreError> {
        let rows = sqlx::query!(
            r#"select c.job_number as "job!: i64", c.note, c.at as "at: Stamp", e.eye, e.size_hundredths
               from cut_eye e join cut c on c.seq = e.cut_seq
               where c.seq in (select max(n.seq) from job_shape s join cut n on n.job_number = s.job_number
                               join cut_eye ne on ne.cut_seq = n.seq
                               where s.shape_id = ? group by ne.eye)
               order by c.seq"#,
            shape
        )
        .fetch_all(&self.read)
        .await?;
        let Some(newest) = rows.last() else { return Ok(None) };
        let (job, note, at) = (newest.job, newest.note.clone(), newest.at.0);
        let mut size = Pair::new(None, None);
        for row in &rows {
            let set = Some(length("size", row.size_hundredths)?);
            match eye("eye", &row.eye)? {
                Eye::Right => size.right = set,
                Eye::Left => size.left = set,
            }
        }
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
    let only = match (right, left) {
        (Some(_), None) => "the right lens",
        (None, Some(_)) => "the left lens",
        _ => "",
    };
    let size = match (right, left) {
        (Some(Millimeter::ZERO) | None, Some(Millimeter::ZERO) | None) => String::new(),
        (Some(right), Some(left)) if right == left => format!("size {right} mm"),
        (Some(right), Some(left)) => format!("size R {right}, L {left} mm"),
        (Some(one), None) | (None, Some(one)) => format!("size {one} mm"),
    };
    [only.to_owned(), size, cut.note.clone()].into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join("; ")
}
