//! Customers.

use sqlx::{Sqlite, Transaction};
use time::OffsetDateTime;
use uuid::Uuid;

use super::draft::{Once, outcome, settle};
use super::{Store, StoreError};
use crate::desk::customer::{Customer, Person};

struct CustomerRow {
    id: Uuid,
    name: String,
    line1: String,
    line2: String,
    city: String,
    region: String,
    postcode: String,
    phone: String,
    email: String,
    note: String,
}

impl From<CustomerRow> for Customer {
    fn from(row: CustomerRow) -> Self {
        Self {
            id: row.id,
            person: Person {
                name: row.name,
                line1: row.line1,
                line2: row.line2,
                city: row.city,
                region: row.region,
                postcode: row.postcode,
                phone: row.phone,
                email: row.email,
                note: row.note,
            },
        }
    }
}

/// A pattern for `like … escape '\'` that finds `text` anywhere.
pub(super) fn anywhere(text: &str) -> String {
    let mut pattern = String::from("%");
    for c in text.trim().chars() {
        if matches!(c, '%' | '_' | '\\') {
            pattern.push('\\');
        }
        pattern.push(c);
    }
    pattern.push('%');
    pattern
}

impl Store {
    /// One customer.
    pub async fn get_customer(&self, id: Uuid) -> Result<Customer, StoreError> {
        let row = sqlx::query_as!(
            CustomerRow,
            r#"select id as "id: Uuid", name, line1, line2, city, region, postcode, phone, email, note
               from customer where id = ?"#,
            id
        )
        .fetch_optional(&self.read)
        .await?;
        row.map(Customer::from).ok_or(StoreError::NotFound("that customer"))
    }

    /// Customers whose name, town, telephone or e-mail holds `text`, those whose name begins with it first.
    pub async fn list_customers(&self, text: &str, most: i64) -> Result<Vec<Customer>, StoreError> {
        let pattern = anywhere(text);
        let begins = pattern.trim_start_matches('%').to_owned();
        let rows = sqlx::query_as!(
            CustomerRow,
            r#"select id as "id: Uuid", name, line1, line2, city, region, postcode, phone, email, note
               from customer
               where name like ?1 escape '\' or phone like ?1 escape '\' or email like ?1 escape '\' or city like ?1 escape '\'
               order by not (name like ?2 escape '\'), name collate nocase, changed_at, id limit ?3"#,
            pattern,
            begins,
            most
        )
        .fetch_all(&self.read)
        .await?;
        Ok(rows.into_iter().map(Customer::from).collect())
    }

    /// Adds a customer who has no order yet.
    pub async fn insert_customer(&self, person: &Person, now: OffsetDateTime) -> Result<Uuid, StoreError> {
        let mut tx = self.begin().await?;
        let id = insert_customer(&mut tx, person, now).await?;
        tx.commit().await?;
        Ok(id)
    }

    /// Corrects a customer; what stood before is kept by a trigger.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] when there is no such customer.
    pub async fn change_customer(
        &self,
        key: &str,
        id: Uuid,
        person: &Person,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let mut tx = self.begin().await?;
        if let Some(before) = outcome(&mut tx, key).await? {
            return Ok(Once::Before(before));
        }
        let changed = sqlx::query!(
            "update customer set name = ?, line1 = ?, line2 = ?, city = ?, region = ?, postcode = ?, phone = ?, email = ?,
                note = ?, changed_at = ? where id = ?",
            person.name,
            person.line1,
            person.line2,
            person.city,
            person.region,
            person.postcode,
            person.phone,
            person.email,
            person.note,
            now,
            id
        )
        .execute(&mut *tx)
        .await?
        .rows_affected();
        if changed == 0 {
            return Err(StoreError::NotFound("that customer"));
        }
        settle(&mut tx, key, &id.to_string(), now).await?;
        tx.commit().await?;
        Ok(Once::Now(()))
    }

    /// How often a customer was corrected: the running number of the form.
    pub async fn count_customer_changes(&self, id: Uuid) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select count(*) as "n!: i64" from customer_past where customer_id = ?"#, id)
            .fetch_one(&self.read)
            .await?)
    }
}

pub(super) async fn insert_customer(
    tx: &mut Transaction<'_, Sqlite>,
    person: &Person,
    now: OffsetDateTime,
) -> Result<Uuid, StoreError> {
    let id = Uuid::now_v7();
    sqlx::query!(
        "insert into customer (id, name, line1, line2, city, region, postcode, phone, email, note, changed_at)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        person.name,
        person.line1,
        person.line2,
        person.city,
        person.region,
        person.postcode,
        person.phone,
        person.email,
        person.note,
        now
    )
    .execute(&mut **tx)
    .await?;
    Ok(id)
}
