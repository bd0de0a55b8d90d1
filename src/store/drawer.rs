//! The lens drawer: what kinds of uncut lens there are, and every move into and out of it. SQLite keeps each count by a
//! trigger, and a check keeps it from falling below zero.

use sqlx::SqliteConnection;
use time::OffsetDateTime;
use uuid::Uuid;

use super::once::{Done, Once};
use super::read::{length, power};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::id::{DrawerLensId, MaterialId};
use crate::desk::stock::{DrawerLens, DrawerLensDetails};
use crate::optics::Eye;
use crate::optics::unit::{Dioptre, Millimetre};

struct DrawerLensRow {
    id: DrawerLensId,
    material: MaterialId,
    material_name: String,
    sphere_hundredths: i64,
    cylinder_hundredths: i64,
    diameter_hundredths: i64,
    centre_hundredths: Option<i64>,
    front_power_hundredths: Option<i64>,
    count: i64,
    moves: i64,
}

impl TryFrom<DrawerLensRow> for DrawerLens {
    type Error = StoreError;
    fn try_from(row: DrawerLensRow) -> Result<Self, StoreError> {
        let missing = |what| StoreError::Unreadable { what, why: "it is missing".to_owned() };
        Ok(Self {
            id: row.id,
            material_name: row.material_name,
            details: DrawerLensDetails {
                material: row.material,
                sphere: power("sphere", row.sphere_hundredths)?,
                cylinder: power("cylinder", row.cylinder_hundredths)?,
                diameter: length("diameter", row.diameter_hundredths)?,
                centre: length("centre thickness", row.centre_hundredths.ok_or_else(|| missing("centre thickness"))?)?,
                front_power: power("front power", row.front_power_hundredths.ok_or_else(|| missing("front power"))?)?,
            },
            count: row.count,
            moves: row.moves,
        })
    }
}

/// A move of the drawer.
pub(super) struct DrawerMove {
    pub lens: DrawerLensId,
    /// A key of `drawer_move_kind`.
    pub kind: &'static str,
    pub change: i64,
    pub job: Option<(i64, Eye)>,
}

impl Store {
    /// Every kind of lens in the drawer, by material and power, the emptied ones too.
    pub async fn list_drawer(&self) -> Result<Vec<DrawerLens>, StoreError> {
        sqlx::query_as!(
            DrawerLensRow,
            r#"select d.id as "id: DrawerLensId", d.material_id as "material: MaterialId", v.name as material_name,
                      d.sphere_hundredths as "sphere_hundredths!", d.cylinder_hundredths as "cylinder_hundredths!",
                      d.diameter_hundredths as "diameter_hundredths!", d.centre_hundredths, d.front_power_hundredths,
                      d.count as "count!", d.moves as "moves!"
               from drawer_lens d
               join material_version v on v.material_id = d.material_id
                and v.number = (select max(number) from material_version where material_id = d.material_id)
               order by v.name, d.sphere_hundredths desc, d.cylinder_hundredths desc, d.diameter_hundredths,
                        d.centre_hundredths, d.front_power_hundredths, d.id"#
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(DrawerLens::try_from)
        .collect()
    }

    /// Puts `count` lenses of a kind into the drawer, making the kind if it is new.
    pub async fn stock_lens(
        &self,
        key: &str,
        lens: &DrawerLensDetails,
        count: i64,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, None, now, async |tx| {
            let id = drawer_lens_id(tx, lens, now).await?;
            append_move(tx, &DrawerMove { lens: id, kind: "stocked", change: count, job: None }, now).await?;
            Ok(Done::new((), id))
        })
        .await
    }

    /// How often anything went into or out of the drawer: the running number of the form that fills it.
    pub async fn count_drawer_moves(&self) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select coalesce(max(seq), 0) as "n!: i64" from drawer_move"#)
            .fetch_one(&self.read)
            .await?)
    }

    /// Corrects how many lenses of a kind the drawer holds, up or down.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] for no such kind; [`StoreError::OutOfRange`] when fewer than none would be left.
    pub async fn correct_count(
        &self,
        key: &str,
        id: DrawerLensId,
        change: i64,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, None, now, async |tx| {
            sqlx::query_scalar!("select count from drawer_lens where id = ?", id)
                .fetch_optional(&mut *tx)
                .await?
                .ok_or(StoreError::NotFound("that lens"))?;
            append_move(tx, &DrawerMove { lens: id, kind: "corrected", change, job: None }, now).await?;
            Ok(Done::new((), id))
        })
        .await
    }
}

async fn drawer_lens_id(
    tx: &mut SqliteConnection,
    lens: &DrawerLensDetails,
    now: OffsetDateTime,
) -> Result<DrawerLensId, StoreError> {
    let [sphere, cylinder, front] = [lens.sphere, lens.cylinder, lens.front_power].map(Dioptre::hundredths);
    let [diameter, centre] = [lens.diameter, lens.centre].map(Millimetre::hundredths);
    let known = sqlx::query_scalar!(
        r#"select id as "id: DrawerLensId" from drawer_lens
           where material_id = ? and sphere_hundredths = ? and cylinder_hundredths = ? and diameter_hundredths = ?
             and coalesce(centre_hundredths, -1) = ? and coalesce(front_power_hundredths, -1) = ?
             and base_hundredths is null and coating_id is null and tint_id is null"#,
        lens.material,
        sphere,
        cylinder,
        diameter,
        centre,
        front
    )
    .fetch_optional(&mut *tx)
    .await?;
    if let Some(id) = known {
        return Ok(id);
    }
    let (id, added_at) = (DrawerLensId(Uuid::now_v7()), Stamp(now));
    sqlx::query!(
        "insert into drawer_lens (id, material_id, sphere_hundredths, cylinder_hundredths, diameter_hundredths,
                                  centre_hundredths, front_power_hundredths, added_at)
         values (?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        lens.material,
        sphere,
        cylinder,
        diameter,
        centre,
        front,
        added_at
    )
    .execute(tx)
    .await?;
    Ok(id)
}

/// Writes a move. One that would leave fewer than no lenses is refused by the check `drawer_lens_count`.
pub(super) async fn append_move(
    tx: &mut SqliteConnection,
    of: &DrawerMove,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let (job, eye, at) = (of.job.map(|(job, _)| job), of.job.map(|(_, eye)| eye.name()), Stamp(now));
    sqlx::query!(
        "insert into drawer_move (drawer_lens_id, kind, change, job_number, eye, at) values (?, ?, ?, ?, ?, ?)",
        of.lens,
        of.kind,
        of.change,
        job,
        eye,
        at
    )
    .execute(tx)
    .await?;
    Ok(())
}
