//! The lens drawer, the lenses in hand for a job, and the cut.

use sqlx::{Sqlite, Transaction};
use time::OffsetDateTime;
use uuid::Uuid;

use super::draft::{Once, outcome, settle};
use super::event::{append_event, must_stand};
use super::job::eye_from;
use super::read::{length, power, word};
use super::{Store, StoreError};
use crate::desk::job::{EventKind, Stage};
use crate::desk::stock::{DrawerLens, DrawerLensDetails, LensInHand};
use crate::optics::unit::{Dioptre, Millimetre};
use crate::optics::{Eye, Pair};

impl Store {
    /// Every kind of lens in the drawer, by material and power, the emptied ones too.
    pub async fn list_drawer(&self) -> Result<Vec<DrawerLens>, StoreError> {
        sqlx::query!(
            r#"select d.id as "id: Uuid", d.material_line as "material_line: Uuid", d.sphere_hundredths, d.cylinder_hundredths,
                      d.diameter_hundredths, d.centre_hundredths, d.front_power_hundredths,
                      (select name from material m where m.line = d.material_line order by m.added_at desc limit 1) as "material_name!: String",
                      (select coalesce(sum(change), 0) from drawer_move v where v.drawer_lens_id = d.id) as "count!: i64",
                      (select count(*) from drawer_move v where v.drawer_lens_id = d.id) as "moves!: i64"
               from drawer_lens d
               order by 8, d.sphere_hundredths desc, d.cylinder_hundredths desc, d.diameter_hundredths, d.centre_hundredths,
                        d.front_power_hundredths, d.id"#
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(|row| {
            Ok(DrawerLens {
                id: row.id,
                material_name: row.material_name,
                details: DrawerLensDetails {
                    material_line: row.material_line,
                    sphere: power("sphere", row.sphere_hundredths)?,
                    cylinder: power("cylinder", row.cylinder_hundredths)?,
                    diameter: length("diameter", row.diameter_hundredths)?,
                    centre: length("centre thickness", row.centre_hundredths)?,
                    front_power: power("front power", row.front_power_hundredths)?,
                },
                count: row.count,
                moves: row.moves,
            })
        })
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
        let mut tx = self.begin().await?;
        if let Some(before) = outcome(&mut tx, key).await? {
            return Ok(Once::Before(before));
        }
        let id = drawer_lens_id(&mut tx, lens, now).await?;
        move_lenses(&mut tx, id, count, None, now).await?;
        settle(&mut tx, key, &id.to_string(), now).await?;
        tx.commit().await?;
        Ok(Once::Now(()))
    }

    /// How often anything went into or out of the drawer: the running number of the form that fills it.
    pub async fn count_drawer_moves(&self) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select count(*) as "n!: i64" from drawer_move"#).fetch_one(&self.read).await?)
    }

    /// Corrects how many lenses of a kind the drawer holds, up or down.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] for no such kind; [`StoreError::OutOfRange`] when fewer than none would be left.
    pub async fn correct_count(
        &self,
        key: &str,
        id: Uuid,
        change: i64,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let mut tx = self.begin().await?;
        if let Some(before) = outcome(&mut tx, key).await? {
            return Ok(Once::Before(before));
        }
        let left = sqlx::query_scalar!(
            r#"select (select coalesce(sum(change), 0) from drawer_move v where v.drawer_lens_id = d.id) as "n!: i64"
               from drawer_lens d where d.id = ?"#,
            id
        )
        .fetch_optional(&mut *tx)
        .await?
        .ok_or(StoreError::NotFound("that lens"))?;
        if left + change < 0 {
            return Err(StoreError::OutOfRange("drawer_count".to_owned()));
        }
        move_lenses(&mut tx, id, change, None, now).await?;
        settle(&mut tx, key, &id.to_string(), now).await?;
        tx.commit().await?;
        Ok(Once::Now(()))
    }

    /// The lens in hand for each eye of a job.
    pub async fn find_lenses(&self, number: i64) -> Result<Pair<Option<LensInHand>>, StoreError> {
        let rows = sqlx::query!(
            r#"select eye, drawer_lens_id as "drawer_lens_id: Uuid", source, diameter_hundredths, centre_hundredths,
                      front_power_hundredths, off_in_hundredths, off_up_hundredths
               from lens_in_hand where job_number = ? order by seq"#,
            number
        )
        .fetch_all(&self.read)
        .await?;
        let mut pair = Pair::new(None, None);
        for row in rows {
            let lens = LensInHand {
                eye: word("eye", &row.eye, eye_from(&row.eye))?,
                drawer_lens: row.drawer_lens_id,
                source: row.source,
                diameter: length("diameter", row.diameter_hundredths)?,
                centre: row.centre_hundredths.map(|c| length("centre thickness", c)).transpose()?,
                front_power: row.front_power_hundredths.map(|p| power("front power", p)).transpose()?,
                off_in: length("centre offset", row.off_in_hundredths)?,
                off_up: length("centre offset", row.off_up_hundredths)?,
            };
            match lens.eye {
                Eye::Right => pair.right = Some(lens),
                Eye::Left => pair.left = Some(lens),
            }
        }
        Ok(pair)
    }

    /// How many lenses were ever taken in hand for a job: the running number of its next form.
    pub async fn count_lenses(&self, number: i64) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select count(*) as "n!: i64" from lens_in_hand where job_number = ?"#, number)
            .fetch_one(&self.read)
            .await?)
    }

    /// Takes one or both lenses in hand for a job; a lens from the drawer leaves it.
    pub async fn take_lenses(
        &self,
        key: &str,
        number: i64,
        lenses: &[LensInHand],
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let mut tx = self.begin().await?;
        if let Some(before) = outcome(&mut tx, key).await? {
            return Ok(Once::Before(before));
        }
        must_stand(&mut tx, number, Stage::Taken..=Stage::Packed).await?;
        for lens in lenses {
            take_lens(&mut tx, number, lens, now).await?;
        }
        settle(&mut tx, key, &number.to_string(), now).await?;
        tx.commit().await?;
        Ok(Once::Now(()))
    }

    /// How many times a job was cut: the running number of its next form.
    pub async fn count_cuts(&self, number: i64) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select count(*) as "n!: i64" from cut where job_number = ?"#, number)
            .fetch_one(&self.read)
            .await?)
    }

    /// Books that both lenses were edged, and at which size.
    pub async fn insert_cut(
        &self,
        key: &str,
        number: i64,
        size: Millimetre,
        note: &str,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let mut tx = self.begin().await?;
        if let Some(before) = outcome(&mut tx, key).await? {
            return Ok(Once::Before(before));
        }
        must_stand(&mut tx, number, Stage::LensesInHand..=Stage::Packed).await?;
        let hundredths = size.hundredths();
        sqlx::query!(
            "insert into cut (job_number, size_hundredths, note, added_at) values (?, ?, ?, ?)",
            number,
            hundredths,
            note,
            now
        )
        .execute(&mut *tx)
        .await?;
        let said = match (hundredths, note) {
            (0, note) => note.to_owned(),
            (_, "") => format!("size {size} mm"),
            (_, note) => format!("size {size} mm; {note}"),
        };
        append_event(&mut tx, number, EventKind::Cut, &said, now).await?;
        settle(&mut tx, key, &number.to_string(), now).await?;
        tx.commit().await?;
        Ok(Once::Now(()))
    }
}

async fn drawer_lens_id(
    tx: &mut Transaction<'_, Sqlite>,
    lens: &DrawerLensDetails,
    now: OffsetDateTime,
) -> Result<Uuid, StoreError> {
    let id = Uuid::now_v7();
    let [sphere, cylinder, front] = [lens.sphere, lens.cylinder, lens.front_power].map(Dioptre::hundredths);
    let [diameter, centre] = [lens.diameter, lens.centre].map(Millimetre::hundredths);
    sqlx::query!(
        "insert into drawer_lens (id, material_line, sphere_hundredths, cylinder_hundredths, diameter_hundredths,
                                  centre_hundredths, front_power_hundredths, added_at)
         values (?, ?, ?, ?, ?, ?, ?, ?)
         on conflict (material_line, sphere_hundredths, cylinder_hundredths, diameter_hundredths, centre_hundredths, front_power_hundredths) do nothing",
        id,
        lens.material_line,
        sphere,
        cylinder,
        diameter,
        centre,
        front,
        now
    )
    .execute(&mut **tx)
    .await?;
    Ok(sqlx::query_scalar!(
        r#"select id as "id: Uuid" from drawer_lens where material_line = ? and sphere_hundredths = ? and cylinder_hundredths = ?
           and diameter_hundredths = ? and centre_hundredths = ? and front_power_hundredths = ?"#,
        lens.material_line,
        sphere,
        cylinder,
        diameter,
        centre,
        front
    )
    .fetch_one(&mut **tx)
    .await?)
}

async fn move_lenses(
    tx: &mut Transaction<'_, Sqlite>,
    id: Uuid,
    change: i64,
    job: Option<i64>,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    sqlx::query!(
        "insert into drawer_move (drawer_lens_id, change, job_number, added_at) values (?, ?, ?, ?)",
        id,
        change,
        job,
        now
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

async fn take_lens(
    tx: &mut Transaction<'_, Sqlite>,
    number: i64,
    lens: &LensInHand,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let eye = lens.eye.name();
    let [diameter, off_in, off_up] = [lens.diameter, lens.off_in, lens.off_up].map(Millimetre::hundredths);
    let (centre, front) = (lens.centre.map(Millimetre::hundredths), lens.front_power.map(Dioptre::hundredths));
    sqlx::query!(
        "insert into lens_in_hand (job_number, eye, drawer_lens_id, source, diameter_hundredths, centre_hundredths,
                                   front_power_hundredths, off_in_hundredths, off_up_hundredths, added_at)
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
        now
    )
    .execute(&mut **tx)
    .await?;
    if let Some(drawer) = lens.drawer_lens {
        let left = sqlx::query_scalar!(
            r#"select coalesce(sum(change), 0) as "n!: i64" from drawer_move where drawer_lens_id = ?"#,
            drawer
        )
        .fetch_one(&mut **tx)
        .await?;
        if left < 1 {
            return Err(StoreError::NotFound("that lens (the drawer is empty of it)"));
        }
        move_lenses(tx, drawer, -1, Some(number), now).await?;
    }
    let kind = match lens.eye {
        Eye::Right => EventKind::LensRight,
        Eye::Left => EventKind::LensLeft,
    };
    let from = if lens.drawer_lens.is_some() { "from the drawer" } else { "bought" };
    let said = if lens.source.is_empty() { from.to_owned() } else { format!("{from}; {}", lens.source) };
    append_event(tx, number, kind, &format!("{said}; {} mm", lens.diameter), now).await
}
