//! Everything the book holds of one customer, to hand over as a file. The tables are found by what they point at, so that a new
//! one is never forgotten: see `table_walk`, which puts the statements together.

use serde_json::{Map, Value as Json, json};

use super::table_walk::{Belongs, Value, list_belonging, rows_of};
use super::{Store, StoreError};
use crate::desk::id::CustomerId;

impl Store {
    /// What the book holds of a customer: the rows of each table as they stand, by the names of their columns. Bytes and keys are
    /// hexadecimal digits; documents are part of the JSON.
    ///
    /// # Errors
    ///
    /// [`StoreError::NotFound`] when there is no such customer.
    pub async fn hand_over(&self, customer: CustomerId) -> Result<Json, StoreError> {
        let name = self.get_customer(customer).await?.person.name;
        let mut db = self.read.acquire().await?;
        let mut tables = Map::new();
        for Belongs { table, condition } in list_belonging(&mut db).await? {
            let rows = rows_of(&mut db, &table, &condition, customer.0.as_bytes()).await?;
            if rows.is_empty() {
                continue;
            }
            let names = table.columns.iter().map(|column| column.name.clone());
            let object = |row: Vec<Value>| Json::Object(names.clone().zip(row.into_iter().map(as_json)).collect());
            tables.insert(table.name.clone(), rows.into_iter().map(object).collect());
        }
        Ok(json!({
            "about": format!("Everything the book holds of {name}. Powers, prisms and lengths are hundredths, money is cents, \
                              moments are in UTC, bytes are hexadecimal digits."),
            "customer": name,
            "tables": tables,
        }))
    }
}

fn as_json(value: Value) -> Json {
    match value {
        Value::Null => Json::Null,
        Value::Integer(number) => json!(number),
        Value::Real(number) => json!(number),
        Value::Blob(bytes) => json!(const_hex::encode(bytes)),
        // A receipt, a ticket, a verdict.
        Value::Text(text) if text.starts_with('{') => serde_json::from_str(&text).unwrap_or(Json::String(text)),
        Value::Text(text) => Json::String(text),
    }
}
