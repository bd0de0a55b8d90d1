//! Who sells uncut lenses. A supplier is named where it is first needed.

use sqlx::SqliteConnection;
use time::OffsetDateTime;
use uuid::Uuid;

use super::once::{Done, Once};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::id::SupplierId;
use crate::desk::stock::Supplier;

impl Store {
    /// Every supplier by name.
    pub async fn list_suppliers(&self) -> Result<Vec<Supplier>, StoreError> {
        Ok(sqlx::query_as!(
            Supplier,
            r#"select id as "id: SupplierId", name from supplier order by name collate nocase"#
        )
        .fetch_all(&self.read)
        .await?)
    }

    /// One supplier.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] when there is no such supplier.
    pub async fn get_supplier(&self, id: SupplierId) -> Result<Supplier, StoreError> {
        sqlx::query_as!(Supplier, r#"select id as "id: SupplierId", name from supplier where id = ?"#, id)
            .fetch_optional(&self.read)
            .await?
            .ok_or(StoreError::NotFound("that supplier"))
    }

    /// What a supplier was called before, and until when, the newest first.
    pub async fn list_supplier_past(&self, id: SupplierId) -> Result<Vec<(String, OffsetDateTime)>, StoreError> {
        let rows = sqlx::query!(
            r#"select name, until as "until: Stamp" from supplier_past where supplier_id = ? order by seq desc"#,
            id
        )
        .fetch_all(&self.read)
        .await?;
        Ok(rows.into_iter().map(|row| (row.name, row.until.0)).collect())
    }

    /// Gives a supplier another name; the one before is kept by a trigger.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] when there is no such supplier, [`StoreError::Twice`] when another one has that name.
    pub async fn rename_supplier(
        &self,
        key: &str,
        id: SupplierId,
        name: &str,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, None, now, async |tx| {
            let renamed_at = Stamp(now);
            let renamed =
                sqlx::query!("update supplier set name = ?, renamed_at = ? where id = ?", name, renamed_at, id)
                    .execute(&mut *tx)
                    .await?
                    .rows_affected();
            if renamed == 0 {
                return Err(StoreError::NotFound("that supplier"));
            }
            Ok(Done::new((), id))
        })
        .await
    }
}

/// The supplier of this name, added where it is new; `None` for an empty name.
pub(super) async fn supplier_id(
    tx: &mut SqliteConnection,
    name: &str,
    now: OffsetDateTime,
) -> Result<Option<SupplierId>, StoreError> {
    if name.is_empty() {
        return Ok(None);
    }
    let known =
        sqlx::query_scalar!(r#"select id as "id: SupplierId" from supplier where name = ? collate nocase"#, name)
            .fetch_optional(&mut *tx)
            .await?;
    if known.is_some() {
        return Ok(known);
    }
    let (id, added_at) = (SupplierId(Uuid::now_v7()), Stamp(now));
    sqlx::query!("insert into supplier (id, name, added_at) values (?, ?, ?)", id, name, added_at).execute(tx).await?;
    Ok(Some(id))
}
