//! Who sells uncut lenses. A supplier is named where it is first needed.

use sqlx::SqliteConnection;
use time::OffsetDateTime;
use uuid::Uuid;

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
