//! The lens drawer: what kinds of uncut lens there are, and every move into and out of it. SQLite keeps each count by a
//! trigger, and a check keeps it from falling below zero.

use sqlx::SqliteConnection;
use time::OffsetDateTime;
use uuid::Uuid;

use super::once::{Done, Once};
use super::read::{int, length, power};
use super::stamp::Stamp;
use super::supplier::supplier_id;
use super::{Store, StoreError};
use crate::desk::id::{DrawerLensId, MaterialId, SupplierId, TreatmentId};
use crate::desk::job::Job;
use crate::desk::stock::{Delivery, DrawerLens, DrawerLensDetails, Supplier, WantedLens};
use crate::optics::unit::{Diopter, Millimeter};
use crate::optics::{Eye, Pair};

/// A lens farther from the ordered power does not suit nearly: a quarter diopter, and the two spellings of an eighth.
const NEAR_HUNDREDTHS: i32 = 26;

struct DrawerLensRow {
    id: DrawerLensId,
    material: MaterialId,
    material_name: String,
    index_thousandths: i64,
    coating: Option<TreatmentId>,
    second_coating: Option<TreatmentId>,
    tint: Option<TreatmentId>,
    treatments: Option<String>,
    sphere_hundredths: i64,
    cylinder_hundredths: i64,
    diameter_hundredths: i64,
    centre_hundredths: Option<i64>,
    front_power_hundredths: Option<i64>,
    base_hundredths: Option<i64>,
    count: i64,
    promised: i64,
    reorder_at: Option<i64>,
    supplier: Option<SupplierId>,
    supplier_name: Option<String>,
    source: String,
    moves: i64,
}

impl TryFrom<DrawerLensRow> for DrawerLens {
    type Error = StoreError;
    fn try_from(row: DrawerLensRow) -> Result<Self, StoreError> {
        Ok(Self {
            id: row.id,
            material_name: row.material_name,
            index_thousandths: int("index", row.index_thousandths)?,
            treatments: row.treatments.unwrap_or_default(),
            details: DrawerLensDetails {
                material: row.material,
                coating: row.coating,
                second_coating: row.second_coating,
                tint: row.tint,
                sphere: power("sphere", row.sphere_hundredths)?,
                cylinder: power("cylinder", row.cylinder_hundredths)?,
                diameter: length("diameter", row.diameter_hundredths)?,
                center: row.centre_hundredths.map(|mm| length("center thickness", mm)).transpose()?,
                front_power: row.front_power_hundredths.map(|d| power("front power", d)).transpose()?,
                base: row.base_hundredths.map(|d| power("base curve", d)).transpose()?,
            },
            count: row.count,
            promised: row.promised,
            reorder_at: row.reorder_at,
            supplier: row.supplier.zip(row.supplier_name).map(|(id, name)| Supplier { id, name }),
            source: row.source,
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
    /// Lot and certificate.
    pub source: String,
}

impl Store {
    /// Every kind of lens in the drawer, by material and power, the emptied ones too.
    pub async fn list_drawer(&self) -> Result<Vec<DrawerLens>, StoreError> {
        self.list_drawer_near(None).await
    }

    /// The kinds of lens in the drawer that may suit a job ([`DrawerLens::suit`]), or nearly, or are kept for it.
    pub async fn list_drawer_for(&self, job: &Job) -> Result<Vec<DrawerLens>, StoreError> {
        let powers = Pair::new(Eye::Right, Eye::Left).map(|eye| WantedLens::of(job, eye).power.to_minus());
        let [right, left] =
            [powers.right, powers.left].map(|power| [power.sphere().hundredths(), power.cylinder().hundredths()]);
        self.list_drawer_near(Some((job.number, right, left))).await
    }

    /// All, or those near the sphere and cylinder of either eye of a job.
    async fn list_drawer_near(&self, job: Option<(i64, [i32; 2], [i32; 2])>) -> Result<Vec<DrawerLens>, StoreError> {
        let (number, right, left) = job.map_or((None, [0; 2], [0; 2]), |(n, right, left)| (Some(n), right, left));
        sqlx::query_as!(
            DrawerLensRow,
            r#"select d.id as "id: DrawerLensId", d.material_id as "material: MaterialId", v.name as material_name,
                      v.index_thousandths, d.coating_id as "coating?: TreatmentId",
                      d.second_coating_id as "second_coating?: TreatmentId", d.tint_id as "tint?: TreatmentId",
                      (select group_concat(t.name, ', ') from treatment_version t
                       where t.treatment_id in (d.coating_id, d.second_coating_id, d.tint_id) and t.number =
                           (select max(number) from treatment_version where treatment_id = t.treatment_id))
                          as "treatments?: String",
                      d.sphere_hundredths as "sphere_hundredths!", d.cylinder_hundredths as "cylinder_hundredths!",
                      d.diameter_hundredths as "diameter_hundredths!", d.centre_hundredths, d.front_power_hundredths,
                      d.base_hundredths, d.count as "count!", d.promised as "promised!", d.reorder_at,
                      d.supplier_id as "supplier?: SupplierId", s.name as "supplier_name?", d.source as "source!",
                      d.moves as "moves!"
               from drawer_lens d left join supplier s on s.id = d.supplier_id
               join material_version v on v.material_id = d.material_id
                and v.number = (select max(number) from material_version where material_id = d.material_id)
               where ?1 is null
                  or (abs(d.sphere_hundredths - ?2) <= ?6 and abs(d.cylinder_hundredths - ?3) <= ?6)
                  or (abs(d.sphere_hundredths - ?4) <= ?6 and abs(d.cylinder_hundredths - ?5) <= ?6)
                  or d.id in (select drawer_lens_id from lens_promise where job_number = ?1 and is_open = 1)
               order by v.name, d.sphere_hundredths desc, d.cylinder_hundredths desc, d.diameter_hundredths,
                        d.centre_hundredths, d.front_power_hundredths, d.id"#,
            number,
            right[0],
            right[1],
            left[0],
            left[1],
            NEAR_HUNDREDTHS
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
        let delivery =
            Delivery { lens: lens.clone(), count, reorder_at: None, supplier: String::new(), source: String::new() };
        self.stock_lenses(key, &[delivery], now).await
    }

    /// Puts lenses into the drawer, making each kind that is new.
    pub async fn stock_lenses(
        &self,
        key: &str,
        deliveries: &[Delivery],
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, None, now, async |tx| {
            for delivery in deliveries {
                stock(tx, delivery, now).await?;
            }
            Ok(Done::new((), deliveries.len()))
        })
        .await
    }

    /// Sets when more of a kind are bought and from whom.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] for no such kind.
    pub async fn set_reorder_point(
        &self,
        id: DrawerLensId,
        reorder_at: Option<i64>,
        supplier: &str,
        now: OffsetDateTime,
    ) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        let supplier = supplier_id(&mut tx, supplier, now).await?;
        let set = sqlx::query!(
            "update drawer_lens set reorder_at = ?, supplier_id = coalesce(?, supplier_id) where id = ?",
            reorder_at,
            supplier,
            id
        )
        .execute(&mut *tx)
        .await?;
        if set.rows_affected() == 0 {
            return Err(StoreError::NotFound("that lens"));
        }
        tx.commit().await?;
        Ok(())
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
            append_move(tx, &DrawerMove { lens: id, kind: "corrected", change, job: None, source: String::new() }, now)
                .await?;
            Ok(Done::new((), id))
        })
        .await
    }
}

async fn stock(tx: &mut SqliteConnection, delivery: &Delivery, now: OffsetDateTime) -> Result<(), StoreError> {
    let id = drawer_lens_id(tx, &delivery.lens, now).await?;
    let supplier = supplier_id(tx, &delivery.supplier, now).await?;
    sqlx::query!(
        "update drawer_lens set supplier_id = coalesce(?, supplier_id), reorder_at = coalesce(?, reorder_at) where id = ?",
        supplier,
        delivery.reorder_at,
        id
    )
    .execute(&mut *tx)
    .await?;
    let source = delivery.source.clone();
    append_move(tx, &DrawerMove { lens: id, kind: "stocked", change: delivery.count, job: None, source }, now).await
}

/// The kind of a lens, made where it is new.
pub(super) async fn drawer_lens_id(
    tx: &mut SqliteConnection,
    lens: &DrawerLensDetails,
    now: OffsetDateTime,
) -> Result<DrawerLensId, StoreError> {
    let [sphere, cylinder] = [lens.sphere, lens.cylinder].map(Diopter::hundredths);
    let [front, base] = [lens.front_power, lens.base].map(|power| power.map(Diopter::hundredths));
    let (diameter, center) = (lens.diameter.hundredths(), lens.center.map(Millimeter::hundredths));
    let (coating, second_coating) = in_order(lens.coating, lens.second_coating);
    let known = sqlx::query_scalar!(
        r#"select id as "id: DrawerLensId" from drawer_lens
           where material_id = ? and sphere_hundredths = ? and cylinder_hundredths = ? and diameter_hundredths = ?
             and centre_hundredths is ? and front_power_hundredths is ? and base_hundredths is ?
             and coating_id is ? and second_coating_id is ? and tint_id is ?"#,
        lens.material,
        sphere,
        cylinder,
        diameter,
        center,
        front,
        base,
        coating,
        second_coating,
        lens.tint
    )
    .fetch_optional(&mut *tx)
    .await?;
    if let Some(id) = known {
        return Ok(id);
    }
    let (id, added_at) = (DrawerLensId(Uuid::now_v7()), Stamp(now));
    sqlx::query!(
        "insert into drawer_lens (id, material_id, coating_id, second_coating_id, tint_id, sphere_hundredths,
                                  cylinder_hundredths, diameter_hundredths, centre_hundredths, front_power_hundredths,
                                  base_hundredths, added_at)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        lens.material,
        coating,
        second_coating,
        lens.tint,
        sphere,
        cylinder,
        diameter,
        center,
        front,
        base,
        added_at
    )
    .execute(tx)
    .await?;
    Ok(id)
}

/// Two coatings in the order that they stand in the book, so that the same two make one kind.
fn in_order(first: Option<TreatmentId>, second: Option<TreatmentId>) -> (Option<TreatmentId>, Option<TreatmentId>) {
    match (first, second) {
        (Some(a), Some(b)) if b.0 < a.0 => (Some(b), Some(a)),
        (None, Some(only)) => (Some(only), None),
        given => given,
    }
}

/// Writes a move. One that would leave fewer than no lenses is refused by the check `drawer_lens_count`.
pub(super) async fn append_move(
    tx: &mut SqliteConnection,
    of: &DrawerMove,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let (job, eye, at) = (of.job.map(|(job, _)| job), of.job.map(|(_, eye)| eye.name()), Stamp(now));
    sqlx::query!(
        "insert into drawer_move (drawer_lens_id, kind, change, job_number, eye, source, at) values (?, ?, ?, ?, ?, ?, ?)",
        of.lens,
        of.kind,
        of.change,
        job,
        eye,
        of.source,
        at
    )
    .execute(tx)
    .await?;
    Ok(())
}
