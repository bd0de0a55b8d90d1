//! Customers.

use serde::Deserialize;
use sqlx::types::Json;
use sqlx::{AssertSqlSafe, SqliteConnection, SqlitePool};
use time::OffsetDateTime;
use uuid::Uuid;

use super::erasure::OVERWRITES;
use super::once::{Done, Once};
use super::search::{beginning_with, index_customer, matching};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::customer::{Customer, Person, name_key};
use crate::desk::id::CustomerId;
use crate::desk::order::CustomerChoice;

// The fields stand in the order of the view's array.
#[derive(Deserialize)]
pub(super) struct CustomerRow {
    id: CustomerId,
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

impl Store {
    /// One customer.
    pub async fn get_customer(&self, id: CustomerId) -> Result<Customer, StoreError> {
        sqlx::query_scalar!(r#"select body as "body!: Json<CustomerRow>" from customer_json where id = ?"#, id)
            .fetch_optional(&self.read)
            .await?
            .map(|row| row.0.into())
            .ok_or(StoreError::NotFound("that customer"))
    }

    /// Customers whose name, town, telephone or e-mail has words that begin so, those whose name begins with the text
    /// first; where there is none, those with words that are close. Without text, all by name.
    pub async fn list_customers(&self, text: &str, most: i64) -> Result<Vec<Customer>, StoreError> {
        let (from, to) = beginning_with(&name_key(text));
        let mut found: Vec<Customer> = sqlx::query_as!(
            CustomerRow,
            r#"select id as "id: CustomerId", name, line1, line2, city, region, postcode, phone, email, note
               from customer where name_key >= ?1 and name_key < ?2 order by name_key, number limit ?3"#,
            from,
            to,
            most
        )
        .fetch_all(&self.read)
        .await?
        .into_iter()
        .map(Customer::from)
        .collect();
        let left = most - i64::try_from(found.len()).unwrap_or(most);
        let Some(begun) = matching(text).filter(|_| left > 0) else { return Ok(found) };
        let mut others = self.list_matching_customers(&begun, most).await?;
        if found.is_empty() && others.is_empty() {
            let close = self.matching_closely(text).await?.unwrap_or(begun);
            others = self.list_matching_customers(&close, most).await?;
        }
        // The customers found already may be among these.
        others.retain(|customer| !found.iter().any(|known| known.id == customer.id));
        others.sort_by_cached_key(|customer| name_key(&customer.person.name));
        found.extend(others);
        found.truncate(usize::try_from(most).unwrap_or_default());
        Ok(found)
    }

    async fn list_matching_customers(&self, words: &str, most: i64) -> Result<Vec<Customer>, StoreError> {
        let rows = sqlx::query_as!(
            CustomerRow,
            r#"select c.id as "id: CustomerId", c.name, c.line1, c.line2, c.city, c.region, c.postcode, c.phone, c.email, c.note
               from customer_search s join customer c on c.number = s.rowid
               where customer_search match ?1 order by s.rowid limit ?2"#,
            words,
            most
        )
        .fetch_all(&self.read)
        .await?;
        Ok(rows.into_iter().map(Customer::from).collect())
    }

    /// Customers of exactly this name; capitals and blanks do not count.
    pub async fn list_namesakes(&self, name: &str, most: i64) -> Result<Vec<Customer>, StoreError> {
        let key = name_key(name);
        let rows = sqlx::query_as!(
            CustomerRow,
            r#"select id as "id: CustomerId", name, line1, line2, city, region, postcode, phone, email, note
               from customer where name_key = ? order by number limit ?"#,
            key,
            most
        )
        .fetch_all(&self.read)
        .await?;
        Ok(rows.into_iter().map(Customer::from).collect())
    }

    /// Adds a customer who has no order yet.
    pub async fn insert_customer(&self, person: &Person, now: OffsetDateTime) -> Result<CustomerId, StoreError> {
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
        id: CustomerId,
        person: &Person,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, None, now, async |tx| {
            let (name_key, changed_at) = (name_key(&person.name), Stamp(now));
            let changed = sqlx::query!(
                "update customer set name = ?, name_key = ?, line1 = ?, line2 = ?, city = ?, region = ?, postcode = ?,
                    phone = ?, email = ?, note = ?, changed_at = ? where id = ?",
                person.name,
                name_key,
                person.line1,
                person.line2,
                person.city,
                person.region,
                person.postcode,
                person.phone,
                person.email,
                person.note,
                changed_at,
                id
            )
            .execute(&mut *tx)
            .await?
            .rows_affected();
            if changed == 0 {
                return Err(StoreError::NotFound("that customer"));
            }
            index_customer(tx, id).await?;
            Ok(Done::new((), id))
        })
        .await
    }

    /// How often a customer was corrected: the running number of the form.
    pub async fn count_customer_changes(&self, id: CustomerId) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select count(*) as "n!: i64" from customer_past where customer_id = ?"#, id)
            .fetch_one(&self.read)
            .await?)
    }
}

/// How many names are looked through at a time.
const NAMES_AT_ONCE: i64 = 2000;

/// What `pragma user_version` says of a book whose names have keys as [`name_key`] makes them.
const NAME_KEYS: i64 = 1;

/// Renews the keys of the names of a book that was made when names were compared in another way. Runs when the book is
/// opened; it does nothing to a book that has them, and is one transaction, so that a stop half-way changes none.
pub(super) async fn renew_name_keys(write: &SqlitePool) -> Result<(), StoreError> {
    let mut tx = write.begin_with("BEGIN IMMEDIATE").await?;
    let keys: i64 = sqlx::query_scalar("pragma user_version").fetch_one(&mut *tx).await?;
    if keys >= NAME_KEYS {
        return Ok(());
    }
    let mut last = 0;
    while let Some(end) = renew_some_keys(&mut tx, last).await? {
        last = end;
    }
    // A new book overwrites what it deletes from its first row on: see `erasure`.
    let version = if last == 0 { OVERWRITES } else { NAME_KEYS };
    sqlx::query(AssertSqlSafe(format!("pragma user_version = {version}"))).execute(&mut *tx).await?;
    tx.commit().await?;
    Ok(())
}

/// Renews the keys of the names after one; the last of them, if there is any.
async fn renew_some_keys(tx: &mut SqliteConnection, after: i64) -> Result<Option<i64>, StoreError> {
    let rows = sqlx::query!(
        "select number, name, name_key from customer where number > ? order by number limit ?",
        after,
        NAMES_AT_ONCE
    )
    .fetch_all(&mut *tx)
    .await?;
    // Names in plain ASCII had the same key before.
    for row in rows.iter().filter(|row| !row.name.is_ascii()) {
        let key = name_key(&row.name);
        if key != row.name_key {
            sqlx::query!("update customer set name_key = ? where number = ?", key, row.number)
                .execute(&mut *tx)
                .await?;
        }
    }
    Ok(rows.last().map(|row| row.number))
}

/// The customer chosen for an order; a new one is added.
pub(super) async fn customer_of(
    tx: &mut SqliteConnection,
    choice: &CustomerChoice,
    now: OffsetDateTime,
) -> Result<CustomerId, StoreError> {
    match choice {
        CustomerChoice::Known(id) => Ok(*id),
        CustomerChoice::New(person) => insert_customer(tx, person, now).await,
    }
}

pub(super) async fn insert_customer(
    tx: &mut SqliteConnection,
    person: &Person,
    now: OffsetDateTime,
) -> Result<CustomerId, StoreError> {
    let (id, name_key, changed_at) = (CustomerId(Uuid::now_v7()), name_key(&person.name), Stamp(now));
    sqlx::query!(
        "insert into customer (id, name, name_key, line1, line2, city, region, postcode, phone, email, note, changed_at)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        id,
        person.name,
        name_key,
        person.line1,
        person.line2,
        person.city,
        person.region,
        person.postcode,
        person.phone,
        person.email,
        person.note,
        changed_at
    )
    .execute(&mut *tx)
    .await?;
    index_customer(tx, id).await?;
    Ok(id)
}
