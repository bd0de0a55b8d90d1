//! The cut: both lenses were edged, at which size and by which layout.

use time::OffsetDateTime;

use super::event::append_event;
use super::layout::{NewLayout, insert_cut_layout};
use super::once::{Done, Once};
use super::stamp::Stamp;
use super::{Store, StoreError};
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
    /// Books that the lenses were edged.
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
