//! A supplier's list of blanks kept for a job, with the prism wanted before each eye. The newest counts.

use std::collections::BTreeMap;

use time::OffsetDateTime;

use super::once::{Done, Once};
use super::read::length;
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::supplier_list::OfferedBlank;
use crate::optics::Pair;
use crate::optics::prescription::Prism;
use crate::optics::unit::Millimeter;

/// A list to keep.
#[derive(Debug, Clone, PartialEq)]
pub struct NewSupplierList {
    /// As it was pasted.
    pub typed: String,
    /// The blanks on it.
    pub offers: Vec<OfferedBlank>,
    /// The prism wanted before each eye, as it was typed.
    pub prism_typed: Pair<String>,
    /// The same, read.
    pub prism: Pair<Prism>,
}

/// A kept list, as it was typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct KeptSupplierList {
    /// The list.
    pub typed: String,
    /// The prism wanted before each eye.
    pub prism_typed: Pair<String>,
}

impl Store {
    /// The newest list of a job.
    pub async fn find_supplier_list(&self, number: i64) -> Result<Option<KeptSupplierList>, StoreError> {
        let row = sqlx::query!(
            "select typed, prism_right, prism_left from supplier_list where job_number = ? order by seq desc limit 1",
            number
        )
        .fetch_optional(&self.read)
        .await?;
        Ok(row
            .map(|row| KeptSupplierList { typed: row.typed, prism_typed: Pair::new(row.prism_right, row.prism_left) }))
    }

    /// The diameters on the newest list of a job.
    pub async fn list_offered_diameters(&self, number: i64) -> Result<Vec<Millimeter>, StoreError> {
        let rows = sqlx::query_scalar!(
            "select diameter_hundredths from supplier_offer
             where list_seq = (select max(seq) from supplier_list where job_number = ?) order by position",
            number
        )
        .fetch_all(&self.read)
        .await?;
        rows.into_iter().map(|mm| length("diameter", mm)).collect()
    }

    /// The diameters on the newest list of each of these jobs that has one.
    pub async fn list_all_offered_diameters(
        &self,
        numbers: &[i64],
    ) -> Result<BTreeMap<i64, Vec<Millimeter>>, StoreError> {
        let numbers = serde_json::json!(numbers);
        let rows = sqlx::query!(
            r#"select l.job_number as "job!: i64", o.diameter_hundredths
               from json_each(?) n cross join supplier_list l on l.job_number = n.value
               join supplier_offer o on o.list_seq = l.seq
               where l.seq = (select max(seq) from supplier_list where job_number = n.value)
               order by l.job_number, o.position"#,
            numbers
        )
        .fetch_all(&self.read)
        .await?;
        let mut listed: BTreeMap<i64, Vec<Millimeter>> = BTreeMap::new();
        for row in rows {
            listed.entry(row.job).or_default().push(length("diameter", row.diameter_hundredths)?);
        }
        Ok(listed)
    }

    /// How many lists a job has had: the running number of their form.
    pub async fn count_supplier_lists(&self, number: i64) -> Result<i64, StoreError> {
        Ok(sqlx::query_scalar!(r#"select count(*) as "n!: i64" from supplier_list where job_number = ?"#, number)
            .fetch_one(&self.read)
            .await?)
    }

    /// Keeps a list.
    pub async fn insert_supplier_list(
        &self,
        key: &str,
        number: i64,
        list: &NewSupplierList,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        self.once(key, None, now, async |tx| {
            let at = Stamp(now);
            let seq = sqlx::query!(
                "insert into supplier_list (job_number, typed, prism_right, prism_left, at) values (?, ?, ?, ?, ?)",
                number,
                list.typed,
                list.prism_typed.right,
                list.prism_typed.left,
                at
            )
            .execute(&mut *tx)
            .await?
            .last_insert_rowid();
            for (position, offer) in (1i64..).zip(&list.offers) {
                let (diameter, price) = (offer.diameter.hundredths(), offer.price.map(|price| price.cents()));
                sqlx::query!(
                    "insert into supplier_offer (list_seq, position, diameter_hundredths, price_cents, remark)
                     values (?, ?, ?, ?, ?)",
                    seq,
                    position,
                    diameter,
                    price,
                    offer.remark
                )
                .execute(&mut *tx)
                .await?;
            }
            for (eye, prism) in list.prism.iter() {
                let (eye, base_in, base_up) = (eye.name(), prism.base_in().hundredths(), prism.base_up().hundredths());
                sqlx::query!(
                    "insert into wanted_prism (list_seq, eye, prism_in_hundredths, prism_up_hundredths) values (?, ?, ?, ?)",
                    seq,
                    eye,
                    base_in,
                    base_up
                )
                .execute(&mut *tx)
                .await?;
            }
            Ok(Done::new((), number))
        })
        .await
    }
}
