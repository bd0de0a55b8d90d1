//! Materials, coatings and tints: versions that are added and retired, never edited.

use sqlx::{Sqlite, Transaction};
use time::OffsetDateTime;
use uuid::Uuid;

use super::draft::{Once, outcome, settle};
use super::read::{int, word};
use super::{Store, StoreError};
use crate::desk::catalogue::{Cutting, Material, MaterialDetails, Treatment, TreatmentDetails, TreatmentKind};
use crate::desk::money::Cents;

pub(super) struct MaterialRow {
    pub id: Uuid,
    pub line: Uuid,
    pub name: String,
    pub index_thousandths: i64,
    pub abbe_tenths: i64,
    pub density_hundredths: i64,
    pub centre_hundredths: i64,
    pub cutting: String,
    pub code: String,
    pub price_cents: i64,
}

impl TryFrom<MaterialRow> for Material {
    type Error = StoreError;
    fn try_from(row: MaterialRow) -> Result<Self, StoreError> {
        Ok(Self {
            id: row.id,
            line: row.line,
            details: MaterialDetails {
                index_thousandths: int("index", row.index_thousandths)?,
                abbe_tenths: int("Abbe number", row.abbe_tenths)?,
                density_hundredths: int("density", row.density_hundredths)?,
                centre_hundredths: int("centre thickness", row.centre_hundredths)?,
                cutting: word("cutting", &row.cutting, Cutting::from_key(&row.cutting))?,
                name: row.name,
                code: row.code,
                price: Cents::new(row.price_cents),
            },
        })
    }
}

struct TreatmentRow {
    id: Uuid,
    line: Uuid,
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
            line: row.line,
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
            r#"select id as "id: Uuid", line as "line: Uuid", name, index_thousandths, abbe_tenths, density_hundredths,
                      centre_hundredths, cutting, code, price_cents
               from material where retired_at is null order by position, name"#
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
            r#"select id as "id: Uuid", line as "line: Uuid", kind, name, code, price_cents
               from treatment where retired_at is null order by kind, position, name"#
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(Treatment::try_from)
        .collect()
    }

    /// Adds a material, or a new version of the line `replaces`.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] when the line that is to be replaced is not on sale.
    pub async fn insert_material(
        &self,
        key: &str,
        replaces: Option<Uuid>,
        details: &MaterialDetails,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let mut tx = self.begin().await?;
        if let Some(before) = outcome(&mut tx, key).await? {
            return Ok(Once::Before(before));
        }
        if let Some(line) = replaces {
            sqlx::query_scalar!("select position from material where line = ? and retired_at is null", line)
                .fetch_optional(&mut *tx)
                .await?
                .ok_or(StoreError::NotFound("that material"))?;
        }
        append_material(&mut tx, replaces, details, now).await?;
        settle(&mut tx, key, &details.name, now).await?;
        tx.commit().await?;
        Ok(Once::Now(()))
    }

    /// Adds a coating or tint, or a new version of the line `replaces`.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] when the line that is to be replaced is not on sale.
    pub async fn insert_treatment(
        &self,
        key: &str,
        replaces: Option<Uuid>,
        details: &TreatmentDetails,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let mut tx = self.begin().await?;
        if let Some(before) = outcome(&mut tx, key).await? {
            return Ok(Once::Before(before));
        }
        if let Some(line) = replaces {
            sqlx::query_scalar!("select position from treatment where line = ? and retired_at is null", line)
                .fetch_optional(&mut *tx)
                .await?
                .ok_or(StoreError::NotFound("that coating or tint"))?;
        }
        append_treatment(&mut tx, replaces, details, now).await?;
        settle(&mut tx, key, &details.name, now).await?;
        tx.commit().await?;
        Ok(Once::Now(()))
    }

    /// How many versions of materials there ever were: the running number of the form for a new one.
    pub async fn count_materials(&self) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select count(*) as "n!: i64" from material"#).fetch_one(&self.read).await?)
    }

    /// How many versions of coatings and tints there ever were: the running number of the form for a new one.
    pub async fn count_treatments(&self) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select count(*) as "n!: i64" from treatment"#).fetch_one(&self.read).await?)
    }

    /// Takes a material off sale; jobs made of it keep it. The last one stays: no order can be taken without any.
    pub async fn retire_material(&self, line: Uuid, now: OffsetDateTime) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        sqlx::query!(
            "update material set retired_at = ?1 where line = ?2 and retired_at is null
                and exists (select 1 from material other where other.retired_at is null and other.line <> ?2)",
            now,
            line
        )
        .execute(&mut *tx)
        .await?;
        tx.commit().await?;
        Ok(())
    }

    /// Takes a coating or tint off sale; jobs made with it keep it.
    pub async fn retire_treatment(&self, line: Uuid, now: OffsetDateTime) -> Result<(), StoreError> {
        let mut tx = self.begin().await?;
        sqlx::query!("update treatment set retired_at = ? where line = ? and retired_at is null", now, line)
            .execute(&mut *tx)
            .await?;
        tx.commit().await?;
        Ok(())
    }
}

pub(super) async fn append_material(
    tx: &mut Transaction<'_, Sqlite>,
    replaces: Option<Uuid>,
    details: &MaterialDetails,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let id = Uuid::now_v7();
    let line = replaces.unwrap_or(id);
    let position = sqlx::query_scalar!(
        r#"select coalesce((select position from material where line = ? and retired_at is null),
                           (select max(position) from material), 0) + (? is null) as "position!: i64""#,
        line,
        replaces
    )
    .fetch_one(&mut **tx)
    .await?;
    sqlx::query!("update material set retired_at = ? where line = ? and retired_at is null", now, line)
        .execute(&mut **tx)
        .await?;
    let (cutting, price) = (details.cutting.key(), details.price.cents());
    sqlx::query!(
        "insert into material (id, line, name, index_thousandths, abbe_tenths, density_hundredths, centre_hundredths,
                               cutting, code, price_cents, position, added_at)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        line,
        details.name,
        details.index_thousandths,
        details.abbe_tenths,
        details.density_hundredths,
        details.centre_hundredths,
        cutting,
        details.code,
        price,
        position,
        now
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub(super) async fn append_treatment(
    tx: &mut Transaction<'_, Sqlite>,
    replaces: Option<Uuid>,
    details: &TreatmentDetails,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let id = Uuid::now_v7();
    let line = replaces.unwrap_or(id);
    let position = sqlx::query_scalar!(
        r#"select coalesce((select position from treatment where line = ? and retired_at is null),
                           (select max(position) from treatment), 0) + (? is null) as "position!: i64""#,
        line,
        replaces
    )
    .fetch_one(&mut **tx)
    .await?;
    sqlx::query!("update treatment set retired_at = ? where line = ? and retired_at is null", now, line)
        .execute(&mut **tx)
        .await?;
    let (kind, price) = (details.kind.key(), details.price.cents());
    sqlx::query!(
        "insert into treatment (id, line, kind, name, code, price_cents, position, added_at)
         values (?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        line,
        kind,
        details.name,
        details.code,
        price,
        position,
        now
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
