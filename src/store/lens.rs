//! The uncut lenses in hand for a job; the newest of each eye counts.

use sqlx::SqliteConnection;
use time::OffsetDateTime;

use super::drawer::{DrawerMove, append_move};
use super::event::append_event;
use super::once::{Done, Once};
use super::read::{axis, eye, length, power, unreadable};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::bench::verification::BenchLens;
use crate::desk::fault::FaultCause;
use crate::desk::id::DrawerLensId;
use crate::desk::job::EventKind;
use crate::desk::step::Step;
use crate::desk::stock::LensInHand;
use crate::optics::prescription::LensPower;
use crate::optics::unit::{Dioptre, Millimetre};
use crate::optics::{Eye, Pair};

struct LensRow {
    eye: String,
    drawer_lens_id: Option<DrawerLensId>,
    source: String,
    diameter_hundredths: i64,
    centre_hundredths: Option<i64>,
    front_power_hundredths: Option<i64>,
    off_in_hundredths: i64,
    off_up_hundredths: i64,
    is_spoiled: bool,
}

impl TryFrom<LensRow> for LensInHand {
    type Error = StoreError;
    fn try_from(row: LensRow) -> Result<Self, StoreError> {
        Ok(Self {
            eye: eye("eye", &row.eye)?,
            drawer_lens: row.drawer_lens_id,
            source: row.source,
            diameter: length("diameter", row.diameter_hundredths)?,
            centre: row.centre_hundredths.map(|mm| length("centre thickness", mm)).transpose()?,
            front_power: row.front_power_hundredths.map(|d| power("front power", d)).transpose()?,
            off_in: length("centre offset", row.off_in_hundredths)?,
            off_up: length("centre offset", row.off_up_hundredths)?,
        })
    }
}

impl Store {
    /// The lens in hand for each eye of a job.
    pub async fn find_lenses(&self, number: i64) -> Result<Pair<Option<LensInHand>>, StoreError> {
        let rows = sqlx::query_as!(
            LensRow,
            r#"select eye, drawer_lens_id as "drawer_lens_id: DrawerLensId", source, diameter_hundredths, centre_hundredths,
                      front_power_hundredths, off_in_hundredths, off_up_hundredths,
                      exists (select 1 from spoiled_lens s where s.lens_seq = l.seq) as "is_spoiled!: bool"
               from lens_in_hand l where job_number = ? order by seq"#,
            number
        )
        .fetch_all(&self.read)
        .await?;
        let mut pair = Pair::new(None, None);
        for row in rows {
            // A lens that came before a spoiled one was given up when the spoiled one was taken.
            let is_spoiled = row.is_spoiled;
            let lens = LensInHand::try_from(row)?;
            let place = match lens.eye {
                Eye::Right => &mut pair.right,
                Eye::Left => &mut pair.left,
            };
            *place = (!is_spoiled).then_some(lens);
        }
        Ok(pair)
    }

    /// Takes one or both lenses in hand for a job; a lens from the drawer leaves it.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] when the drawer holds no such lens any more.
    pub async fn take_lenses(
        &self,
        key: &str,
        number: i64,
        lenses: &[LensInHand],
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, Step::Lenses)), now, async |tx| {
            for lens in lenses {
                take_lens(tx, number, lens, now).await?;
            }
            Ok(Done::new((), number))
        })
        .await
    }
}

impl Store {
    /// The lenses of the other jobs whose lenses are in hand or cut.
    pub async fn list_bench_lenses(&self, except: i64) -> Result<Vec<BenchLens>, StoreError> {
        let rows = sqlx::query!(
            r#"select j.number as "number!: i64", e.eye,
                      coalesce(d.sphere_hundredths, e.sphere_hundredths, 0) as "sphere!: i64",
                      coalesce(d.cylinder_hundredths, e.cylinder_hundredths, 0) as "cylinder!: i64",
                      iif(d.eye is null, e.axis_deg, d.axis_deg) as "axis?: i64"
               from job j
               join job_revision r on r.job_number = j.number and r.revision = j.revision
               join prescription_eye e on e.prescription_id = r.prescription_id
               left join power_decision_eye d on d.eye = e.eye and d.decision_seq =
                   (select seq from power_decision where job_number = j.number order by seq desc limit 1)
               where j.closed_at is null and j.stage in ('lenses_in_hand', 'cut') and j.number <> ?
               order by j.promised_on, j.number"#,
            except
        )
        .fetch_all(&self.read)
        .await?;
        let lenses = rows.into_iter().map(|row| {
            let (sphere, cylinder) = (power("sphere", row.sphere)?, power("cylinder", row.cylinder)?);
            let power = LensPower::new(sphere, cylinder, axis("axis", row.axis)?).map_err(unreadable("power"))?;
            Ok(BenchLens { job: row.number, eye: eye("eye", &row.eye)?, power })
        });
        lenses.collect()
    }
}

/// A lens that was spoiled.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SpoiledLens {
    /// Of which eye.
    pub eye: Eye,
    /// Where it went wrong.
    pub cause: FaultCause,
    /// What was said of it; may be empty.
    pub note: String,
}

impl Store {
    /// Records that lenses in hand were spoiled; each eye needs another one then.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] when no lens of that eye is in hand.
    pub async fn spoil_lenses(
        &self,
        key: &str,
        number: i64,
        lenses: &[SpoiledLens],
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, Some((number, Step::Spoilage)), now, async |tx| {
            for lens in lenses {
                spoil_lens(tx, number, lens, now).await?;
            }
            Ok(Done::new((), number))
        })
        .await
    }
}

/// The newest lens of the eye is the one in hand, unless it was spoiled before.
async fn spoil_lens(
    tx: &mut SqliteConnection,
    number: i64,
    lens: &SpoiledLens,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let (eye, cause, at) = (lens.eye.name(), lens.cause.key(), Stamp(now));
    let added = sqlx::query!(
        "insert into spoiled_lens (lens_seq, job_number, cause, note, at)
         select seq, job_number, ?3, ?4, ?5 from lens_in_hand
         where seq = (select max(seq) from lens_in_hand where job_number = ?1 and eye = ?2)
           and seq not in (select lens_seq from spoiled_lens where job_number = ?1)",
        number,
        eye,
        cause,
        lens.note,
        at
    )
    .execute(&mut *tx)
    .await?
    .rows_affected();
    if added == 0 {
        return Err(StoreError::NotFound("a lens of that eye in hand"));
    }
    let kind = match lens.eye {
        Eye::Right => EventKind::SpoiledRight,
        Eye::Left => EventKind::SpoiledLeft,
    };
    let said = [lens.cause.words(), lens.note.as_str()].into_iter().filter(|part| !part.is_empty());
    append_event(tx, number, kind, &said.collect::<Vec<_>>().join("; "), now).await?;
    Ok(())
}

async fn take_lens(
    tx: &mut SqliteConnection,
    number: i64,
    lens: &LensInHand,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let (eye, at) = (lens.eye.name(), Stamp(now));
    let [diameter, off_in, off_up] = [lens.diameter, lens.off_in, lens.off_up].map(Millimetre::hundredths);
    let (centre, front) = (lens.centre.map(Millimetre::hundredths), lens.front_power.map(Dioptre::hundredths));
    sqlx::query!(
        "insert into lens_in_hand (job_number, eye, drawer_lens_id, source, diameter_hundredths, centre_hundredths,
                                   front_power_hundredths, off_in_hundredths, off_up_hundredths, at)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        number,
        eye,
        lens.drawer_lens,
        lens.source,
        diameter,
        centre,
        front,
        off_in,
        off_up,
        at
    )
    .execute(&mut *tx)
    .await?;
    if let Some(drawer_lens) = lens.drawer_lens {
        let taken = DrawerMove { lens: drawer_lens, kind: "taken", change: -1, job: Some((number, lens.eye)) };
        append_move(tx, &taken, now).await.map_err(|why| match why {
            StoreError::OutOfRange(_) => StoreError::NotFound("that lens (the drawer is empty of it)"),
            other => other,
        })?;
    }
    let kind = match lens.eye {
        Eye::Right => EventKind::LensRight,
        Eye::Left => EventKind::LensLeft,
    };
    let from = if lens.drawer_lens.is_some() { "from the drawer" } else { "bought" };
    let said = if lens.source.is_empty() { from.to_owned() } else { format!("{from}; {}", lens.source) };
    append_event(tx, number, kind, &format!("{said}; {} mm", lens.diameter), now).await?;
    Ok(())
}
