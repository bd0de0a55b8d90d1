//! Erasing what the book holds of a customer, at their request. What has to stay stays: receipts and money, and the records of
//! every pair of the last three years. The request is written first, and while the transaction names the customer in `erasing`
//! the triggers of `migrations/0041_erasure.sql` let go of that customer's rows, and of no others.

use sha2::{Digest, Sha256};
use sqlx::{AssertSqlSafe, SqliteConnection, SqlitePool};
use time::{Date, OffsetDateTime};

use super::draft::names_person;
use super::event::append_event;
use super::old_record::must_not_be_bringing_in;
use super::once::{Done, Once};
use super::search::{forget_words, index_customer, tidy_index};
use super::stamp::Stamp;
use super::{Store, StoreError};
use crate::desk::erasure::{ErasedCustomer, ErasurePlan, JobRecord, kept_until};
use crate::desk::id::CustomerId;
use crate::desk::job::EventKind;

/// What a page says of an erasure that was done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Erasure {
    /// When.
    pub at: OffsetDateTime,
    /// Who asked, how and when.
    pub reason: String,
    /// How many jobs were emptied.
    pub jobs_erased: i64,
    /// The day from which the rest may go.
    pub kept_until: Option<Date>,
}

impl Store {
    /// What would go and what would stay if a customer were erased today.
    pub async fn plan_erasure(&self, customer: CustomerId, today: Date) -> Result<ErasurePlan, StoreError> {
        plan(&mut *self.read.acquire().await?, customer, today).await
    }

    /// The erasures of a customer, the newest first.
    pub async fn list_erasures(&self, customer: CustomerId) -> Result<Vec<Erasure>, StoreError> {
        let rows = sqlx::query!(
            r#"select at as "at: Stamp", reason, jobs_erased, kept_until as "kept_until: Date"
               from erasure where customer_id = ? order by seq desc"#,
            customer
        )
        .fetch_all(&self.read)
        .await?;
        Ok(rows
            .into_iter()
            .map(|row| Erasure {
                at: row.at.0,
                reason: row.reason,
                jobs_erased: row.jobs_erased,
                kept_until: row.kept_until,
            })
            .collect())
    }

    /// Erases a customer as far as nothing has to be kept.
    ///
    /// # Errors
    ///
    /// [`StoreError::MovedOn`] with the number of a job that is still open or not settled, [`StoreError::BringingIn`].
    pub async fn erase_customer(
        &self,
        key: &str,
        customer: CustomerId,
        reason: &str,
        today: Date,
        now: OffsetDateTime,
    ) -> Result<Once<()>, StoreError> {
        let done = self
            .once(key, None, now, async |tx| {
                must_not_be_bringing_in(tx).await?;
                let plan = plan(tx, customer, today).await?;
                if let Some(open) = plan.open.first() {
                    return Err(StoreError::MovedOn(*open));
                }
                erase(tx, customer, &plan, reason, now).await?;
                Ok(Done::new((), customer))
            })
            .await?;
        if let Err(why) = overwrite_what_was_freed(&self.write).await {
            tracing::warn!("what an earlier version deleted stays in unused parts of the file for now: {why}");
        }
        // The log still holds pages as they were. Another reader may be at work; then the next checkpoint does it.
        let _later = sqlx::query("pragma wal_checkpoint(truncate)").execute(&self.write).await;
        Ok(done)
    }
}

/// What `pragma user_version` says of a book in which everything that was ever deleted is overwritten.
pub(super) const OVERWRITES: i64 = 2;

/// Books of earlier versions did not overwrite what they deleted: such a book is written anew, once.
async fn overwrite_what_was_freed(write: &SqlitePool) -> Result<(), StoreError> {
    let mut db = write.acquire().await?;
    let version: i64 = sqlx::query_scalar("pragma user_version").fetch_one(&mut *db).await?;
    if version >= OVERWRITES {
        return Ok(());
    }
    tidy_index(&mut db).await?;
    sqlx::query("vacuum").execute(&mut *db).await?;
    sqlx::query(AssertSqlSafe(format!("pragma user_version = {OVERWRITES}"))).execute(&mut *db).await?;
    Ok(())
}

async fn plan(db: &mut SqliteConnection, customer: CustomerId, today: Date) -> Result<ErasurePlan, StoreError> {
    let own = sqlx::query!(
        r#"select number, closed_at is null or exists (select 1 from open_balance where job_number = number)
                      as "is_open!: bool",
                  (select at from job_event
                   where job_number = number and not (stage = 'brought_in' and at <= taken_at)
                   order by seq desc limit 1) as "last?: Stamp",
                  ordered_on as "ordered_on: Date",
                  exists (select 1 from job_event where job_number = number and kind = 'erased') as "is_erased!: bool"
           from job where patient_id = ? order by number"#,
        customer
    )
    .fetch_all(&mut *db)
    .await?;
    let others = sqlx::query!(
        r#"select r.job_number as "number!: i64",
                  (select at from job_event where job_number = r.job_number order by seq desc limit 1) as "last!: Stamp",
                  exists (select 1 from open_balance where job_number = r.job_number) as "is_open!: bool"
           from (select job_number from job_revision where payer_id = ?1 and payer_id <> patient_id
                 union select job_number from job_revision where recipient_id = ?1 and recipient_id <> patient_id) r
           join job j on j.number = r.job_number where j.patient_id <> ?1"#,
        customer
    )
    .fetch_all(&mut *db)
    .await?;
    let own = own.into_iter().filter(|row| !row.is_erased).map(|row| JobRecord {
        number: row.number,
        is_own: true,
        is_open: row.is_open,
        // That an old record was brought in is no entry of its own.
        last: row.last.map_or(row.ordered_on, |last| last.0.date()),
    });
    let others = others.into_iter().map(|row| JobRecord {
        number: row.number,
        is_own: false,
        is_open: row.is_open,
        last: row.last.0.date(),
    });
    Ok(ErasurePlan::of(own.chain(others), today))
}

async fn erase(
    tx: &mut SqliteConnection,
    customer: CustomerId,
    plan: &ErasurePlan,
    reason: &str,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let (count, until, at) = (plan.to_erase.len() as i64, kept_until(&plan.kept), Stamp(now));
    sqlx::query!(
        "insert into erasure (customer_id, reason, jobs_erased, kept_until, at) values (?, ?, ?, ?, ?)",
        customer,
        reason,
        count,
        until,
        at
    )
    .execute(&mut *tx)
    .await?;
    sqlx::query!("insert into erasing (customer_id) values (?)", customer).execute(&mut *tx).await?;
    let names = names_of(tx, customer).await?;
    let words = words_of(tx, customer).await?;
    for number in &plan.to_erase {
        append_event(tx, *number, EventKind::Erased, reason, now).await?;
        erase_job(tx, *number, &names).await?;
    }
    for number in &plan.of_others {
        erase_address(tx, *number, customer).await?;
    }
    erase_prescriptions(tx, customer).await?;
    erase_drafts(tx, customer, &names).await?;
    erase_details(tx, customer, plan, now).await?;
    sqlx::query!("delete from erasing where customer_id = ?", customer).execute(&mut *tx).await?;
    index_customer(tx, customer).await?;
    forget_words(tx, words.iter().map(String::as_str)).await
}

/// What the customer is called, and was.
async fn names_of(tx: &mut SqliteConnection, customer: CustomerId) -> Result<Vec<String>, StoreError> {
    Ok(sqlx::query_scalar!(
        r#"select name as "name!: String" from customer where id = ?1
           union select name from customer_past where customer_id = ?1"#,
        customer
    )
    .fetch_all(tx)
    .await?)
}

/// Names and places that the searches forgive a wrong letter in.
async fn words_of(tx: &mut SqliteConnection, customer: CustomerId) -> Result<Vec<String>, StoreError> {
    let mut words = sqlx::query_scalar!(
        r#"select name || ' ' || city || ' ' || region || ' ' || email as "words!: String" from customer where id = ?1
           union all select name || ' ' || city || ' ' || region || ' ' || email from customer_past where customer_id = ?1"#,
        customer
    )
    .fetch_all(&mut *tx)
    .await?;
    words.extend(
        sqlx::query_scalar!("select prescriber from prescription where patient_id = ?", customer).fetch_all(tx).await?,
    );
    Ok(words)
}

/// Empties what belongs to one job. Its number, its frame and shape, its lenses and its money stay.
async fn erase_job(tx: &mut SqliteConnection, number: i64, names: &[String]) -> Result<(), StoreError> {
    erase_bench(tx, number).await?;
    erase_files(tx, number, names).await?;
    sqlx::query!("update job_event set note = '' where job_number = ? and kind <> 'erased'", number)
        .execute(&mut *tx)
        .await?;
    sqlx::query!("update job_revision set note = '', reason = '' where job_number = ?", number)
        .execute(&mut *tx)
        .await?;
    sqlx::query!("update job_eye set height_hundredths = null, height_from = 'middle' where job_number = ?", number)
        .execute(&mut *tx)
        .await?;
    sqlx::query!("update shipment set tracking = '', address = '' where job_number = ?", number)
        .execute(&mut *tx)
        .await?;
    sqlx::query!("delete from promise_answer where job_number = ?", number).execute(&mut *tx).await?;
    sqlx::query!("delete from delay_notice where job_number = ?", number).execute(&mut *tx).await?;
    sqlx::query!("update cancellation set reason = 'erased' where job_number = ?", number).execute(&mut *tx).await?;
    sqlx::query!("update remake set lesson = '' where job_number = ?", number).execute(&mut *tx).await?;
    sqlx::query!("update spoiled_lens set note = '' where job_number = ?", number).execute(&mut *tx).await?;
    sqlx::query!("update parcel_return set note = '' where job_number = ?", number).execute(&mut *tx).await?;
    sqlx::query!("update own_frame_arrival set condition = 'erased' where job_number = ?", number).execute(tx).await?;
    Ok(())
}

/// Layouts, checks and decisions hold powers and measures of the person.
async fn erase_bench(tx: &mut SqliteConnection, number: i64) -> Result<(), StoreError> {
    sqlx::query!("delete from cut_eye where cut_seq in (select seq from cut where job_number = ?)", number)
        .execute(&mut *tx)
        .await?;
    sqlx::query!("delete from cut where job_number = ?", number).execute(&mut *tx).await?;
    sqlx::query!("delete from layout_eye where layout_seq in (select seq from layout where job_number = ?)", number)
        .execute(&mut *tx)
        .await?;
    sqlx::query!("delete from layout where job_number = ?", number).execute(&mut *tx).await?;
    sqlx::query!(
        "delete from power_decision_eye where decision_seq in (select seq from power_decision where job_number = ?)",
        number
    )
    .execute(&mut *tx)
    .await?;
    sqlx::query!("delete from power_decision where job_number = ?", number).execute(&mut *tx).await?;
    sqlx::query!("delete from position_of_wear where job_number = ?", number).execute(&mut *tx).await?;
    sqlx::query!(
        "delete from verification_row where verification_id in (select id from verification where job_number = ?)",
        number
    )
    .execute(&mut *tx)
    .await?;
    sqlx::query!(
        "delete from concession where verification_id in (select id from verification where job_number = ?)",
        number
    )
    .execute(&mut *tx)
    .await?;
    sqlx::query!("delete from verification where job_number = ?", number).execute(&mut *tx).await?;
    sqlx::query!(
        "delete from supplier_offer where list_seq in (select seq from supplier_list where job_number = ?)",
        number
    )
    .execute(&mut *tx)
    .await?;
    sqlx::query!(
        "delete from wanted_prism where list_seq in (select seq from supplier_list where job_number = ?)",
        number
    )
    .execute(&mut *tx)
    .await?;
    sqlx::query!("delete from supplier_list where job_number = ?", number).execute(tx).await?;
    Ok(())
}

/// Of a job that somebody else wears, the address that the customer got the parcel at or was written to goes.
async fn erase_address(tx: &mut SqliteConnection, number: i64, customer: CustomerId) -> Result<(), StoreError> {
    sqlx::query!(
        "update shipment set tracking = '', address = ''
         where job_number = ?1
           and exists (select 1 from job_revision r where r.job_number = ?1 and r.recipient_id = ?2)",
        number,
        customer
    )
    .execute(&mut *tx)
    .await?;
    sqlx::query!(
        "update delay_notice set address = '', body = 'erased'
         where job_number = ?1 and exists (select 1 from job_revision r where r.job_number = ?1 and r.payer_id = ?2)",
        number,
        customer
    )
    .execute(tx)
    .await?;
    Ok(())
}

/// Photographs and letters become empty files without a name. A trace file is of the frame and stays, unless a name of the
/// customer stands in it.
async fn erase_files(tx: &mut SqliteConnection, number: i64, names: &[String]) -> Result<(), StoreError> {
    let files = sqlx::query!(
        "select a.id, a.kind, a.hash, b.bytes from attachment a join attachment_bytes b on b.hash = a.hash
         where a.job_number = ?",
        number
    )
    .fetch_all(&mut *tx)
    .await?;
    let (empty, nothing) = (Sha256::digest(b"").to_vec(), Vec::<u8>::new());
    sqlx::query!(
        "insert into attachment_bytes (hash, bytes) values (?, ?) on conflict (hash) do nothing",
        empty,
        nothing
    )
    .execute(&mut *tx)
    .await?;
    for file in files {
        let stays = file.kind == "trace" && !holds_name(&file.bytes, names);
        let hash = if stays { &file.hash } else { &empty };
        sqlx::query!(
            "update attachment set hash = ?, format = iif(?, format, ''), name = 'erased', note = '' where id = ?",
            hash,
            stays,
            file.id
        )
        .execute(&mut *tx)
        .await?;
        if *hash != file.hash {
            sqlx::query!(
                "delete from attachment_bytes
                 where hash = ?1 and not exists (select 1 from attachment where hash = ?1)",
                file.hash
            )
            .execute(&mut *tx)
            .await?;
        }
    }
    Ok(())
}

/// Whether a word of one of the names stands in a file, in whatever case.
fn holds_name(bytes: &[u8], names: &[String]) -> bool {
    /// Shorter words stand in every file.
    const SHORTEST: usize = 3;
    let text = String::from_utf8_lossy(bytes).to_lowercase();
    let words = names.iter().flat_map(|name| name.split(|c: char| !c.is_alphanumeric()));
    words.filter(|word| word.chars().count() >= SHORTEST).any(|word| text.contains(&word.to_lowercase()))
}

/// Empties the prescriptions whose jobs are all erased.
async fn erase_prescriptions(tx: &mut SqliteConnection, customer: CustomerId) -> Result<(), StoreError> {
    sqlx::query!(
        "update prescription_eye set typed = '', sphere_hundredths = null, cylinder_hundredths = null, axis_deg = null,
                prism_in_hundredths = 0, prism_up_hundredths = 0, pd_hundredths = null, near_pd_hundredths = null
         where prescription_id in (select x.id from prescription p join erasable_prescription x on x.id = p.id
                                   where p.patient_id = ?)",
        customer
    )
    .execute(&mut *tx)
    .await?;
    sqlx::query!(
        "update prescription set prescriber = '', prescriber_npi = '', written_on = null, expires_on = null, diagnosis = '',
                pd_given = null, near_pd_given = null
         where patient_id = ?1 and id in (select x.id from prescription p join erasable_prescription x on x.id = p.id
                                          where p.patient_id = ?1)",
        customer
    )
    .execute(tx)
    .await?;
    Ok(())
}

/// What was typed and not sent goes where it names the customer, or belongs to a job of theirs. A table of old records that
/// waits to be brought in may name anybody, so it goes in any case.
async fn erase_drafts(tx: &mut SqliteConnection, customer: CustomerId, names: &[String]) -> Result<(), StoreError> {
    sqlx::query!("delete from old_upload").execute(&mut *tx).await?;
    let jobs = sqlx::query_scalar!("select number from job where patient_id = ?", customer).fetch_all(&mut *tx).await?;
    let drafts = sqlx::query!("select key, fields from draft").fetch_all(&mut *tx).await?;
    for draft in drafts {
        let is_of_job = draft.key.split('-').any(|part| jobs.iter().any(|job| job.to_string() == part));
        if is_of_job || names_person(&draft.fields, customer, names)? {
            sqlx::query!("delete from draft where key = ?", draft.key).execute(&mut *tx).await?;
        }
    }
    Ok(())
}

/// Empties the customer's own row, as far as no job needs it, and what it said before.
async fn erase_details(
    tx: &mut SqliteConnection,
    customer: CustomerId,
    plan: &ErasurePlan,
    now: OffsetDateTime,
) -> Result<(), StoreError> {
    let number = sqlx::query_scalar!("select number from customer where id = ?", customer)
        .fetch_optional(&mut *tx)
        .await?
        .ok_or(StoreError::NotFound("that customer"))?;
    let at = Stamp(now);
    if plan.kept.is_empty() {
        let ErasedCustomer { name, key } = ErasedCustomer::of(number);
        sqlx::query!(
            "update customer set name = ?, name_key = ?, line1 = '', line2 = '', city = '', region = '', postcode = '',
                    phone = '', email = '', note = '', changed_at = ? where id = ?",
            name,
            key,
            at,
            customer
        )
        .execute(&mut *tx)
        .await?;
    } else {
        sqlx::query!(
            "update customer set phone = '', email = '', note = '', changed_at = ? where id = ?",
            at,
            customer
        )
        .execute(&mut *tx)
        .await?;
    }
    sqlx::query!("delete from customer_past where customer_id = ?", customer).execute(tx).await?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::table_walk::list_belonging;
    use super::*;

    /// Tables with rows of a customer that stay, and why.
    const STAYS: [(&str, &str); 25] = [
        ("job", "a number without a name"),
        ("erasure", "says that they asked"),
        ("charge", "money"),
        ("payment", "money"),
        ("receipt", "money"),
        ("open_balance", "money; no such job is erased"),
        ("refund_owed", "money"),
        ("old_record", "a number without a name, and a hash, so that a second import does not bring the job back"),
        ("job_treatment", "what was sold"),
        ("job_shape", "of the frame"),
        ("shape", "of the frame"),
        ("shape_eye", "of the frame"),
        ("shape_warning", "of the frame"),
        ("shape_twin", "of the frame"),
        ("shape_hole", "of the frame"),
        ("shape_rim", "of the frame"),
        ("lens_in_hand", "of the lens: supplier and lot, without a name"),
        ("lens_promise", "of the lens"),
        ("lens_put_back", "of the lens"),
        ("drawer_move", "of the lens"),
        ("purchase_line", "of the lens: what was bought for which price"),
        ("purchase_move", "of the lens"),
        ("impact_proof", "of the lens: the record that 21 CFR 801.410 asks for"),
        ("packing", "that it was packed"),
        ("packing_tick", "the lab's own words"),
    ];

    /// A new table with something of a person is erased, or has its reason to stay here.
    #[tokio::test]
    async fn every_table_of_a_person_is_erased_or_stays_for_a_reason() {
        let folder = tempfile::tempdir().unwrap();
        let store = Store::open_for_one(folder.path()).await.unwrap();
        let mut db = store.read.acquire().await.unwrap();
        let tables: Vec<String> =
            list_belonging(&mut db).await.unwrap().into_iter().map(|one| one.table.name).collect();
        assert!(tables.len() > 40, "{tables:?}");
        let source = include_str!("erasure.rs");
        for table in &tables {
            let named = |what: &str| [' ', '\n'].iter().any(|end| source.contains(&format!("{what} {table}{end}")));
            let goes = named("update") || named("delete from");
            let stays = STAYS.iter().any(|(name, _)| name == table);
            assert!(
                goes != stays,
                "{table}: erase it in store/erasure.rs with a trigger, or say in STAYS why it stays"
            );
        }
        assert!(STAYS.iter().all(|(name, _)| tables.iter().any(|table| table == name)), "a table that is gone");
    }

    #[test]
    fn a_name_is_found_in_a_file_in_any_case() {
        let names = ["Ada Quill".to_owned()];
        assert!(holds_name(b"JOB=1001\r\nREM=for QUILL\r\n", &names));
        assert!(!holds_name(b"JOB=1001\r\nTRCFMT=1;400;E;R;F\r\n", &names));
    }
}
