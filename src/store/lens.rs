//! The uncut lenses in hand for a job; the newest of each eye counts.

use sqlx::SqliteConnection;
use time::OffsetDateTime;

use super::drawer::{DrawerMove, append_move, drawer_lens_id};
use super::event::{append_event, must_stand, tasks};
use super::lens_promise::{LensPromise, promise_lens, release_lens};
use super::once::{Done, Once};
use super::purchase::take_ordered_lens;
use super::read::{axis, eye, length, power, unreadable};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::bench::verification::BenchLens;
use crate::desk::fault::FaultCause;
use crate::desk::id::DrawerLensId;
use crate::desk::job::{EventKind, Job};
use crate::desk::step::Step;
use crate::desk::stock::{DrawerLensDetails, LensInHand, OldLens};
use crate::optics::prescription::LensPower;
use crate::optics::unit::{Diopter, Millimeter};
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
    has_ground_prism: bool,
    is_gone: bool,
}

impl TryFrom<LensRow> for LensInHand {
    type Error = StoreError;
    fn try_from(row: LensRow) -> Result<Self, StoreError> {
        Ok(Self {
            eye: eye("eye", &row.eye)?,
            drawer_lens: row.drawer_lens_id,
            source: row.source,
            diameter: length("diameter", row.diameter_hundredths)?,
            center: row.centre_hundredths.map(|mm| length("center thickness", mm)).transpose()?,
            front_power: row.front_power_hundredths.map(|d| power("front power", d)).transpose()?,
            off_in: length("center offset", row.off_in_hundredths)?,
            off_up: length("center offset", row.off_up_hundredths)?,
            has_ground_prism: row.has_ground_prism,
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
                      has_ground_prism as "has_ground_prism!: bool",
                      exists (select 1 from spoiled_lens s where s.lens_seq = l.seq)
                          or exists (select 1 from lens_put_back b where b.lens_seq = l.seq) as "is_gone!: bool"
               from lens_in_hand l where job_number = ? order by seq"#,
            number
        )
        .fetch_all(&self.read)
        .await?;
        let mut pair = Pair::new(None, None);
        for row in rows {
            // A lens that came before one that is gone was given up when that one was taken.
            let is_gone = row.is_gone;
            let lens = LensInHand::try_from(row)?;
            let place = match lens.eye {
                Eye::Right => &mut pair.right,
                Eye::Left => &mut pair.left,
            };
            *place = (!is_gone).then_some(lens);
        }
        Ok(pair)
    }

    /// Takes one or both lenses in hand for a job; a lens from the drawer leaves it.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] when the drawer holds no such lens any more, [`StoreError::MovedOn`] for an eye whose
    /// lens stays as it is.
    pub async fn take_lenses(
        &self,
        key: &str,
        number: i64,
        lenses: &[LensInHand],
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.replace_lenses(key, number, lenses, &Pair::new(None, None), now).await
    }

    /// The same, with where the lenses go that were in hand.
    ///
    /// # Errors
    ///
    /// As [`Store::take_lenses`]; [`StoreError::NotFound`] too when an old lens is kept for a job that is not open.
    pub async fn replace_lenses(
        &self,
        key: &str,
        number: i64,
        lenses: &[LensInHand],
        old: &Pair<Option<OldLens>>,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let job = self.get_job(number).await?;
        self.once(key, Some((number, Step::Lenses)), now, async |tx| {
            for (eye, place) in old.iter() {
                if let Some(place) = place {
                    give_up_lens(tx, &job, eye, *place, now).await?;
                }
            }
            let tasks = tasks(tx, number).await?;
            for lens in lenses {
                // The order may have been corrected in another window.
                if !tasks.get(lens.eye).is_made() {
                    return Err(StoreError::MovedOn(number));
                }
                take_lens(tx, number, lens, now).await?;
            }
            Ok(Done::new((), number))
        })
        .await
    }
}

impl Store {
    /// The lenses made as prescribed of the other jobs whose lenses are in hand or cut.
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
                 and exists (select 1 from job_eye t where t.job_number = r.job_number and t.revision = r.revision
                             and t.eye = e.eye and t.task = 'make')
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

/// Where the lens in hand of an eye goes when it leaves the job.
pub(super) async fn give_up_lens(
    tx: &mut SqliteConnection,
    job: &Job,
    eye: Eye,
    place: OldLens,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    match place {
        OldLens::Spoiled(cause) => {
            spoil_lens(tx, job.number, &SpoiledLens { eye, cause, note: String::new() }, now).await
        }
        OldLens::Drawer => put_back_lens(tx, job, eye, None, now).await,
        OldLens::Job(other) => put_back_lens(tx, job, eye, Some(other), now).await,
    }
}

/// Puts the lens in hand of an eye into the drawer, where it may be kept for the same eye of another open job.
async fn put_back_lens(
    tx: &mut SqliteConnection,
    job: &Job,
    eye: Eye,
    for_job: Option<i64>,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let (number, key, at) = (job.number, eye.name(), Stamp(now));
    if let Some(other) = for_job {
        must_stand(tx, other, Step::Lenses).await?;
    }
    let lens = sqlx::query!(
        r#"select l.seq as "seq!", l.drawer_lens_id as "drawer_lens?: DrawerLensId", l.source, l.diameter_hundredths,
                  l.centre_hundredths, l.front_power_hundredths, l.base_hundredths
           from lens_in_hand l where l.seq = (select max(seq) from lens_in_hand where job_number = ? and eye = ?)
             and not exists (select 1 from spoiled_lens s where s.lens_seq = l.seq)
             and not exists (select 1 from lens_put_back b where b.lens_seq = l.seq)"#,
        number,
        key
    )
    .fetch_optional(&mut *tx)
    .await?
    .ok_or(StoreError::NotFound("a lens of that eye in hand"))?;
    let kind = match lens.drawer_lens {
        Some(kind) => kind,
        None => {
            let power_of = |d: Option<i64>| d.map(|d| power("front power", d)).transpose();
            let (front_power, base) = (power_of(lens.front_power_hundredths)?, power_of(lens.base_hundredths)?);
            let ordered = job.lens_power(eye).to_minus();
            let details = DrawerLensDetails {
                material: job.material.id,
                coating: job.coating.as_ref().map(|coating| coating.id),
                second_coating: job.second_coating.as_ref().map(|coating| coating.id),
                tint: job.tint.as_ref().map(|tint| tint.id),
                sphere: ordered.sphere(),
                cylinder: ordered.cylinder(),
                diameter: length("diameter", lens.diameter_hundredths)?,
                center: lens.centre_hundredths.map(|mm| length("center thickness", mm)).transpose()?,
                front_power,
                base,
            };
            drawer_lens_id(tx, &details, now).await?
        }
    };
    let back = DrawerMove { lens: kind, kind: "returned", change: 1, job: Some((number, eye)), source: lens.source };
    append_move(tx, &back, now).await?;
    sqlx::query!(
        "insert into lens_put_back (lens_seq, job_number, drawer_lens_id, for_job, at) values (?, ?, ?, ?, ?)",
        lens.seq,
        number,
        kind,
        for_job,
        at
    )
    .execute(&mut *tx)
    .await?;
    let mut says = "back into the drawer".to_owned();
    if let Some(other) = for_job {
        promise_lens(tx, &LensPromise { job: other, eye, lens: kind }, now).await?;
        says.push_str(&format!(", kept for job {other}"));
    }
    let kind = match eye {
        Eye::Right => EventKind::AsideRight,
        Eye::Left => EventKind::AsideLeft,
    };
    append_event(tx, number, kind, &says, now).await?;
    Ok(())
}

/// The newest lens of the eye is the one in hand, unless it is gone.
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
           and seq not in (select lens_seq from spoiled_lens where job_number = ?1)
           and seq not in (select lens_seq from lens_put_back where job_number = ?1)",
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

/// The eyes of a job whose lens is in hand.
pub(super) async fn list_eyes_in_hand(tx: &mut SqliteConnection, number: i64) -> Result<Vec<Eye>, StoreError> {
    let keys = sqlx::query_scalar!(
        "select eye from lens_in_hand l
         where job_number = ?1
           and seq = (select max(seq) from lens_in_hand newer where newer.job_number = ?1 and newer.eye = l.eye)
           and not exists (select 1 from spoiled_lens s where s.lens_seq = l.seq)
           and not exists (select 1 from lens_put_back s where s.lens_seq = l.seq)
         order by seq",
        number
    )
    .fetch_all(tx)
    .await?;
    keys.iter().map(|key| eye("eye", key)).collect()
}

async fn take_lens(
    tx: &mut SqliteConnection,
    number: i64,
    lens: &LensInHand,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let (eye, at) = (lens.eye.name(), Stamp(now));
    let [diameter, off_in, off_up] = [lens.diameter, lens.off_in, lens.off_up].map(Millimeter::hundredths);
    let (center, front) = (lens.center.map(Millimeter::hundredths), lens.front_power.map(Diopter::hundredths));
    sqlx::query!(
        "insert into lens_in_hand (job_number, eye, drawer_lens_id, source, diameter_hundredths, centre_hundredths,
                                   front_power_hundredths, off_in_hundredths, off_up_hundredths,
                                   has_ground_prism, at)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        number,
        eye,
        lens.drawer_lens,
        lens.source,
        diameter,
        center,
        front,
        off_in,
        off_up,
        lens.has_ground_prism,
        at
    )
    .execute(&mut *tx)
    .await?;
    // What was kept for the eye is free again; where it is the lens taken, it leaves the drawer next.
    release_lens(tx, number, lens.eye).await?;
    if lens.drawer_lens.is_none() {
        take_ordered_lens(tx, number, lens.eye, now).await?;
    }
    if let Some(drawer_lens) = lens.drawer_lens {
        let taken = DrawerMove {
            lens: drawer_lens,
            kind: "taken",
            change: -1,
            job: Some((number, lens.eye)),
            source: String::new(),
        };
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
    let prism = if lens.has_ground_prism { ", its prism ground in" } else { "" };
    append_event(tx, number, kind, &format!("{said}; {} mm{prism}", lens.diameter), now).await?;
    Ok(())
}
