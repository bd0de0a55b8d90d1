//! Materials, coatings and tints. What the owner says of one is a version: an edit adds the next, and none is changed.

use serde::Deserialize;
use sqlx::SqliteConnection;
use time::OffsetDateTime;
use uuid::Uuid;

use super::once::{Done, Once};
use super::read::{int, word};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::catalogue::{Cutting, Material, MaterialDetails, Treatment, TreatmentDetails, TreatmentKind};
use crate::desk::id::{MaterialId, MaterialVersionId, TreatmentId, TreatmentVersionId};
use crate::desk::money::Cents;

// The fields stand in the order of the view's array.
#[derive(Deserialize)]
pub(super) struct MaterialRow {
    id: MaterialId,
    version: MaterialVersionId,
    name: String,
    index_thousandths: i64,
    abbe_tenths: i64,
    density_hundredths: i64,
    centre_hundredths: i64,
    cutting: String,
    code: String,
    price_cents: i64,
}

impl TryFrom<MaterialRow> for Material {
    type Error = StoreError;
    fn try_from(row: MaterialRow) -> Result<Self, StoreError> {
        Ok(Self {
            id: row.id,
            version: row.version,
            details: MaterialDetails {
                index_thousandths: int("index", row.index_thousandths)?,
                abbe_tenths: int("Abbe number", row.abbe_tenths)?,
                density_hundredths: int("density", row.density_hundredths)?,
                centre_hundredths: int("center thickness", row.centre_hundredths)?,
                cutting: word("cutting", &row.cutting, Cutting::from_key(&row.cutting))?,
                name: row.name,
                code: row.code,
                price: Cents::new(row.price_cents),
            },
        })
    }
}

// The fields stand in the order of the view's array.
#[derive(Deserialize)]
pub(super) struct TreatmentRow {
    id: TreatmentId,
    version: TreatmentVersionId,
    kind: String,
    name: String,
    code: String,
    price_cents: i64,
}

impl TryFrom<TreatmentRow> for Treatment {
    type Error = StoreError;
    fn try_from(row: TreatmentRow) -> Result<Self, StoreError> {
        Ok(Self {
            id: row.id,
            version: row.version,
            details: TreatmentDetails {
                kind: word("treatment kind", &row.kind, TreatmentKind::from_key(&row.kind))?,
                name: row.name,
                code: row.code,
                price: Cents::new(row.price_cents),
            },
        })
    }
}

impl Store {
    /// The materials on sale, in the owner's order.
    pub async fn list_materials(&self) -> Result<Vec<Material>, StoreError> {
        sqlx::query_as!(
            MaterialRow,
            r#"select v.id as "version: MaterialVersionId", v.material_id as "id: MaterialId", v.name, v.index_thousandths, v.abbe_tenths,
                      v.density_hundredths, v.centre_hundredths, v.cutting, v.code, v.price_cents
               from material m join material_version v on v.material_id = m.id
                and v.number = (select max(number) from material_version where material_id = m.id)
               where m.retired_at is null order by m.position, v.name"#
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(Material::try_from)
        .collect()
    }

    /// The coatings and tints on sale, in the owner's order.
    pub async fn list_treatments(&self) -> Result<Vec<Treatment>, StoreError> {
        sqlx::query_as!(
            TreatmentRow,
            r#"select v.id as "version: TreatmentVersionId", v.treatment_id as "id: TreatmentId", v.kind, v.name, v.code, v.price_cents
               from treatment t join treatment_version v on v.treatment_id = t.id
                and v.number = (select max(number) from treatment_version where treatment_id = t.id)
               where t.retired_at is null order by t.kind, t.position, v.name"#
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(Treatment::try_from)
        .collect()
    }

    /// Adds a material, or the next version of the material `replaces`.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] when the material that is to be replaced is not on sale.
    pub async fn insert_material(
        &self,
        key: &str,
        replaces: Option<MaterialId>,
        details: &MaterialDetails,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, None, now, async |tx| {
            if let Some(material) = replaces {
                sqlx::query_scalar!("select position from material where id = ? and retired_at is null", material)
                    .fetch_optional(&mut *tx)
                    .await?
                    .ok_or(StoreError::NotFound("that material"))?;
            }
            append_material(tx, replaces, details, now).await?;
            Ok(Done::new((), &details.name))
        })
        .await
    }

    /// Adds a coating or tint, or the next version of the one `replaces`.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] when the one that is to be replaced is not on sale.
    pub async fn insert_treatment(
        &self,
        key: &str,
        replaces: Option<TreatmentId>,
        details: &TreatmentDetails,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, None, now, async |tx| {
            if let Some(treatment) = replaces {
                sqlx::query_scalar!("select position from treatment where id = ? and retired_at is null", treatment)
                    .fetch_optional(&mut *tx)
                    .await?
                    .ok_or(StoreError::NotFound("that coating or tint"))?;
            }
            append_treatment(tx, replaces, details, now).await?;
            Ok(Done::new((), &details.name))
        })
        .await
    }

    /// How many versions of materials there are: the running number of the form for a new one.
    pub async fn count_materials(&self) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select count(*) as "n!: i64" from material_version"#).fetch_one(&self.read).await?)
    }

    /// How many versions of coatings and tints there are: the running number of the form for a new one.
    pub async fn count_treatments(&self) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select count(*) as "n!: i64" from treatment_version"#).fetch_one(&self.read).await?)
    }

    /// Takes a material off sale; jobs made of it keep it. The last one stays: no order can be taken without any.
    pub async fn retire_material(&self, material: MaterialId, now: OffsetDateTime) -> Result<(), StoreError> {
        let retired_at = Stamp(now);
        let mut tx = self.begin().await?;
        sqlx::query!(
            "update material set retired_at = ?1 where id = ?2 and retired_at is null
                and exists (select 1 from material other where other.retired_at is null and other.id <> ?2)",
            retired_at,
            material
        )
        .execute(&mut *tx)
        .await?;
        tx.commit().await?;
        Ok(())
    }

    /// Takes a coating or tint off sale; jobs made with it keep it.
    pub async fn retire_treatment(&self, treatment: TreatmentId, now: OffsetDateTime) -> Result<(), StoreError> {
        let retired_at = Stamp(now);
        let mut tx = self.begin().await?;
        sqlx::query!("update treatment set retired_at = ? where id = ? and retired_at is null", retired_at, treatment)
            .execute(&mut *tx)
            .await?;
        tx.commit().await?;
        Ok(())
    }
}

pub(super) async fn append_material(
    tx: &mut SqliteConnection,
    replaces: Option<MaterialId>,
    details: &MaterialDetails,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let (version, added_at) = (MaterialVersionId(Uuid::now_v7()), Stamp(now));
    let material = replaces.unwrap_or_else(|| MaterialId(Uuid::now_v7()));
    if replaces.is_none() {
        sqlx::query!(
            "insert into material (id, position, added_at)
             values (?, (select coalesce(max(position), 0) + 1 from material), ?)",
            material,
            added_at
        )
        .execute(&mut *tx)
        .await?;
    }
    let (cutting, price) = (details.cutting.key(), details.price.cents());
    sqlx::query!(
        "insert into material_version (id, material_id, number, name, index_thousandths, abbe_tenths, density_hundredths,
                                       centre_hundredths, cutting, code, price_cents, added_at)
         values (?1, ?2, (select coalesce(max(number), 0) + 1 from material_version where material_id = ?2),
                 ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11)",
        version,
        material,
        details.name,
        details.index_thousandths,
        details.abbe_tenths,
        details.density_hundredths,
        details.centre_hundredths,
        cutting,
        details.code,
        price,
        added_at
    )
    .execute(tx)
    .await?;
    Ok(())
}

pub(super) async fn append_treatment(
    tx: &mut SqliteConnection,
    replaces: Option<TreatmentId>,
    details: &TreatmentDetails,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let (version, added_at) = (TreatmentVersionId(Uuid::now_v7()), Stamp(now));
    let treatment = replaces.unwrap_or_else(|| TreatmentId(Uuid::now_v7()));
    let (kind, price) = (details.kind.key(), details.price.cents());
    if replaces.is_none() {
        sqlx::query!(
            "insert into treatment (id, kind, position, added_at)
             values (?, ?, (select coalesce(max(position), 0) + 1 from treatment), ?)",
            treatment,
            kind,
            added_at
        )
        .execute(&mut *tx)
        .await?;
    }
    sqlx::query!(
        "insert into treatment_version (id, treatment_id, kind, number, name, code, price_cents, added_at)
         values (?1, ?2, ?3, (select coalesce(max(number), 0) + 1 from treatment_version where treatment_id = ?2),
                 ?4, ?5, ?6, ?7)",
        version,
        treatment,
        kind,
        details.name,
        details.code,
        price,
        added_at
    )
    .execute(tx)
    .await?;
    Ok(())
}
