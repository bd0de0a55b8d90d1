//! What the book holds of a customer, handed over and erased; what has to stay, stays.

use rimbook::desk::customer::Person;
use rimbook::desk::id::CustomerId;
use rimbook::desk::search::read;
use rimbook::safekeeping::export::export;
use rimbook::safekeeping::import::import;
use rimbook::store::{FILE_NAME, Store, StoreError};
use serde_json::Value;
use sqlx::{AssertSqlSafe, ConnectOptions, SqliteConnection};
use time::{Duration, UtcOffset};

use crate::own_frame::PNG;
use crate::support::{NOW, TestLab};

/// A pair of Ada Quill that was sent, paid for, with everything a job can hold of her.
async fn given_full_job() -> (TestLab, i64, CustomerId) {
    let lab = TestLab::new().await;
    let number = lab.given_packed_job().await;
    let job = |end: &str| format!("/jobs/{number}/{end}");
    let photograph = [("kind", "photograph"), ("note", "her left temple")];
    lab.upload(&job("files"), &photograph, "file", "quill.png", PNG).await.assert_status(303);
    lab.post(&job("notes"), &[("note", "Quill calls in the evening")]).await.assert_status(303);
    let parcel = [("carrier", "Parcel post"), ("tracking", "PM4711QUILL"), ("sent_on", "2026-11-25")];
    lab.post(&job("shipment"), &parcel).await.assert_status(303);
    lab.post(&job("receipts"), &[]).await.assert_status(303);
    let account = lab.store.get_account(number).await.unwrap();
    let owed = account.owed();
    if owed.cents() > 0 {
        let paid = [("amount", owed.plain()), ("kind", "card".into()), ("paid_on", "2026-11-25".into())];
        let paid: Vec<(&str, &str)> = paid.iter().map(|(n, v)| (*n, v.as_str())).collect();
        lab.post(&job("payments"), &paid).await.assert_status(303);
    }
    let customer = lab.store.get_job(number).await.unwrap().customer.id;
    lab.store
        .keep_draft("note-9", &vec![("customer_name".into(), "Ada Quill".into())], &Default::default(), NOW)
        .await
        .unwrap();
    (lab, number, customer)
}

fn years_on(lab: &mut TestLab, days: i64) -> impl Future<Output = ()> + '_ {
    lab.move_to(NOW + Duration::days(days), UtcOffset::UTC)
}

const ERASED: [(&str, &str); 2] = [("reason", "by letter of November 20, 2029"), ("sure", "yes")];

async fn beside(lab: &TestLab) -> SqliteConnection {
    sqlx::sqlite::SqliteConnectOptions::new().filename(lab.folder.path().join(FILE_NAME)).connect().await.unwrap()
}

#[tokio::test]
async fn what_the_book_holds_is_handed_over_whole() {
    let (lab, number, customer) = given_full_job().await;
    lab.given_job().await;
    let file = lab.get(&format!("/customers/{customer}/data")).await;
    file.assert_status(200);
    assert_eq!(file.headers["content-disposition"], "attachment; filename=\"Ada Quill.json\"");
    let data: Value = serde_json::from_str(&file.body).unwrap();
    let tables = data["tables"].as_object().unwrap();
    for table in [
        "customer",
        "job",
        "job_revision",
        "job_event",
        "prescription",
        "prescription_eye",
        "job_eye",
        "payment",
        "charge",
        "receipt",
        "verification",
        "verification_row",
        "shipment",
        "attachment",
        "attachment_bytes",
        "packing_tick",
        "shape",
        "shape_eye",
        "cut_eye",
    ] {
        assert!(tables.contains_key(table), "{table} of {:?}", tables.keys());
    }
    assert_eq!(data["tables"]["customer"][0]["name"], "Ada Quill");
    assert_eq!(data["tables"]["job"].as_array().unwrap().len(), 1, "another job of another Ada Quill is hers");
    assert_eq!(data["tables"]["prescription_eye"].as_array().unwrap().len(), 2);
    assert_eq!(data["tables"]["receipt"][0]["document"]["patient"]["name"], "Ada Quill", "documents are readable");
    let photograph = const_hex::encode(PNG);
    assert!(tables["attachment_bytes"].as_array().unwrap().iter().any(|row| row["bytes"] == photograph.as_str()));
    for own in ["material_version", "lab", "event_kind", "frame"] {
        assert!(!tables.contains_key(own), "{own} is the lab's");
    }
    assert_eq!(data["tables"]["job"][0]["number"], number);
}

#[tokio::test]
async fn an_old_customer_is_erased_and_the_receipt_stays() {
    let (mut lab, number, customer) = given_full_job().await;
    let other = lab.given_job().await;
    years_on(&mut lab, 3 * 366).await;
    let receipt_before = lab.get("/receipts/5001").await.body;
    let path = format!("/customers/{customer}/erasure");
    let page = lab.get(&path).await;
    assert!(page.body.contains(&number.to_string()) && page.body.contains("payments and receipts"), "{}", page.body);
    // Unsure, or without a word of who asked: nothing goes.
    for (fields, field) in [(&ERASED[..1], "#sure-error"), (&ERASED[1..], "#reason-error")] {
        let unsure = lab.post(&path, fields).await;
        unsure.assert_status(422);
        assert_eq!(unsure.texts(field).len(), 1, "{field}");
    }
    assert_eq!(lab.store.get_customer(customer).await.unwrap().person.name, "Ada Quill");
    let key = page.attributes("form input[name=key]", "value").remove(0);
    let form = [("key", key.as_str()), ERASED[0], ERASED[1]];
    for _ in 0..2 {
        let done = lab.post_as_is(&path, &form).await;
        assert_eq!((done.status.as_u16(), done.location), (303, format!("/customers/{customer}")));
    }
    let page = lab.get(&format!("/customers/{customer}")).await;
    assert!(page.body.contains("Erased customer 1") && !page.body.contains("Quill"), "{}", page.body);
    assert!(page.body.contains("by letter of November 20, 2029"), "the history says so");
    // Every page of the job says so too; what was paid is still there.
    for end in
        ["", "/layout", "/check", "/ticket", "/shape", "/files", "/notes", "/bill", "/remake", "/relens", "/packing"]
    {
        let page = lab.get(&format!("/jobs/{number}{end}")).await;
        assert_eq!(page.status, 410, "{end}");
        assert!(page.body.contains("erased") && !page.body.contains("Quill"), "{end}");
        assert_eq!(page.attributes("a[href^='/receipts/']", "href"), ["/receipts/5001"], "{end}");
    }
    assert_eq!(lab.get("/receipts/5001").await.body, receipt_before);
    let frame = lab.store.get_job(other).await.unwrap().frame.id;
    for page in ["/", "/customers", "/money", "/money/receipts", "/causes", "/frames", &format!("/frames/{frame}")] {
        lab.get(page).await.assert_status(200);
    }
    // A new order for the emptied row, or in the same frame, has nothing to compare with and works.
    let opened = lab.get(&format!("/orders/new?customer={customer}&frame={frame}")).await;
    lab.get(&opened.location).await.assert_status(200);
    // Her namesake's job is whole.
    assert_eq!(lab.store.get_job(other).await.unwrap().customer.person.name, "Ada Quill");
    assert!(lab.search("/find", "quill").await.body.contains(&format!("/jobs/{other}")));
    assert!(!lab.search("/find", "PM4711QUILL").await.body.contains(&format!("/jobs/{number}")));
    let erased = lab.store.list_erasures(customer).await.unwrap();
    assert_eq!((erased.len(), erased[0].jobs_erased, erased[0].kept_until), (1, 1, None));
}

/// Nothing of the person is left anywhere in the file but in the receipt.
#[tokio::test]
async fn what_is_erased_is_not_in_the_file_any_more() {
    let (mut lab, number, customer) = given_full_job().await;
    let person = lab.store.get_customer(customer).await.unwrap().person;
    // Renamed twice, so that the names are in the past and were in the index, and none is on the receipt.
    for (key, name) in [("first", "Zebedia Thistlewick"), ("second", "Zebedia Thistlewyck")] {
        let person = Person {
            name: name.into(),
            line1: "77 Thistlewick Row".into(),
            phone: "555-0163".into(),
            email: "zeb@thistlewick.example".into(),
            note: "prefers thistledown".into(),
            ..person.clone()
        };
        lab.store.change_customer(key, customer, &person, NOW).await.unwrap();
    }
    let draft = vec![("customer_name".to_owned(), "zebedia  thistlewyck".to_owned())];
    lab.store.keep_draft("0a", &draft, &Default::default(), NOW).await.unwrap();
    let found =
        async |lab: &TestLab| lab.store.find_jobs(&read("thistlewyck", NOW.date()), 9).await.unwrap().jobs.len();
    assert_eq!(found(&lab).await, 1);
    years_on(&mut lab, 3 * 366).await;
    lab.post(&format!("/customers/{customer}/erasure"), &ERASED).await.assert_status(303);
    assert_eq!(found(&lab).await, 0);
    let log = std::fs::metadata(lab.folder.path().join(format!("{FILE_NAME}-wal"))).map_or(0, |log| log.len());
    lab.store.close().await;
    let file = std::fs::read(lab.folder.path().join(FILE_NAME)).unwrap();
    let text = String::from_utf8_lossy(&file).to_lowercase();
    for word in [
        "thistle",
        "zebedia",
        "555-0163",
        "pm4711quill",
        "left temple",
        "quill.png",
        "calls in the evening",
        "-2.25 -1.25 x 95",
    ] {
        assert!(!text.contains(word), "{word} is still in the file");
    }
    assert!(!file.windows(PNG.len()).any(|part| part == PNG), "the photograph");
    assert!(text.contains("ada quill"), "on the receipt");
    assert_eq!(log, 0, "the log held the pages as they were");
    let store = Store::open(lab.folder.path()).await.unwrap();
    assert!(store.get_job(number).await.is_err());
    assert_eq!(store.get_receipt(5001).await.unwrap().job_number, number);
}

/// A book that an earlier version made did not overwrite what it deleted; the first erasure does.
#[tokio::test]
async fn what_an_earlier_version_deleted_goes_too() {
    let saved = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/books/39.book");
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join(FILE_NAME);
    std::fs::copy(saved, &file).unwrap();
    let holds = |word: &str| String::from_utf8_lossy(&std::fs::read(&file).unwrap()).contains(word);
    let mut old = sqlx::sqlite::SqliteConnectOptions::new().filename(&file).connect().await.unwrap();
    let draft = "insert into draft values ('k', '[[\"note\",\"the lighthouse keeper\"]]', '2026-11-25T16:00:00.000Z');
                 delete from draft; pragma wal_checkpoint(truncate)";
    sqlx::raw_sql(draft).execute(&mut old).await.unwrap();
    sqlx::Connection::close(old).await.unwrap();
    assert!(holds("the lighthouse keeper"), "a deleted row stays in the file where it is not overwritten");

    let store = Store::open(folder.path()).await.unwrap();
    let now = NOW + Duration::days(4 * 366);
    let mut customer = None;
    for number in 1001..1050 {
        let id = store.get_job(number).await.unwrap().customer.id;
        if store.plan_erasure(id, now.date()).await.unwrap().open.is_empty() {
            customer = Some(store.get_customer(id).await.unwrap());
            break;
        }
    }
    let customer = customer.expect("a customer whose jobs are all done");
    assert!(!customer.person.phone.is_empty() && holds(&customer.person.phone));
    let jobs = store.list_jobs_of_customer(customer.id, 99).await.unwrap();
    store.erase_customer("erasure", customer.id, "by letter", now.date(), now).await.unwrap();
    for job in &jobs {
        assert!(matches!(store.get_job(job.number).await, Err(StoreError::Erased { .. })), "{}", job.number);
    }
    store.close().await;
    assert!(!holds("the lighthouse keeper") && !holds(&customer.person.phone));
}

#[tokio::test]
async fn an_erased_book_is_exported_and_imported_whole() {
    let (mut lab, number, customer) = given_full_job().await;
    years_on(&mut lab, 3 * 366).await;
    lab.post(&format!("/customers/{customer}/erasure"), &ERASED).await.assert_status(303);
    let folder = tempfile::tempdir().unwrap();
    let (files, book) = (folder.path().join("files"), folder.path().join("book"));
    export(lab.folder.path(), &files).await.unwrap();
    import(&files, &book).await.unwrap();
    let before = lab.contents().await;
    let lab = lab.reopened_on(book).await;
    assert_eq!(lab.contents().await, before);
    lab.get(&format!("/jobs/{number}")).await.assert_status(410);
    assert_eq!(lab.store.list_erasures(customer).await.unwrap().len(), 1);
}

/// Of a pair that somebody else wears, the address goes with the one who got the parcel.
#[tokio::test]
async fn the_address_of_a_recipient_goes() {
    let (mut lab, _, customer) = given_full_job().await;
    let other = lab.given_job().await;
    let mut book = beside(&lab).await;
    for sql in [
        // A row of the history is copied as it stands, with another recipient.
        format!(
            "insert into job_revision select job_number, 2, patient_id, payer_id,
                 (select patient_id from job where number = 1001), frame_id, prescription_id, lens_use,
                 material_version_id, design, promised_on, note, 'to her aunt', at from job_revision where job_number = {other}"
        ),
        format!("insert into job_eye select job_number, 2, eye, task, height_hundredths, height_from from job_eye where job_number = {other}"),
        format!(
            "insert into shipment (job_number, carrier, sent_on, address, at)
             values ({other}, 'Parcel post', '2026-11-25', 'Aunt Quill, 9 Heron Lane', '2026-11-25T16:00:00.000Z')"
        ),
        format!("update job set closed_at = '2026-11-25T16:00:00.000Z' where number = {other}"),
        format!("delete from open_balance where job_number = {other}"),
    ] {
        sqlx::raw_sql(AssertSqlSafe(sql)).execute(&mut book).await.unwrap();
    }
    years_on(&mut lab, 3 * 366).await;
    let path = format!("/customers/{customer}/erasure");
    assert!(lab.get(&path).await.body.contains("which somebody else wears"));
    lab.post(&path, &ERASED).await.assert_status(303);
    let left: String =
        sqlx::query_scalar(AssertSqlSafe(format!("select address from shipment where job_number = {other}")))
            .fetch_one(&mut book)
            .await
            .unwrap();
    assert_eq!(left, "");
    assert_eq!(lab.store.get_job(other).await.unwrap().customer.person.name, "Ada Quill", "the other one's job stays");
}

#[tokio::test]
async fn three_years_of_records_and_open_jobs_stay() {
    let (mut lab, number, customer) = given_full_job().await;
    let path = format!("/customers/{customer}/erasure");
    years_on(&mut lab, 365).await;
    let page = lab.get(&path).await;
    assert!(page.body.contains("The records of job") && page.body.contains("Nov 25, 2029"), "{}", page.body);
    lab.post(&path, &ERASED).await.assert_status(303);
    let job = lab.store.get_job(number).await.unwrap();
    assert_eq!((job.customer.person.name.as_str(), job.customer.person.phone.as_str()), ("Ada Quill", ""));
    lab.get(&format!("/jobs/{number}/check")).await.assert_status(200);
    let page = lab.get(&format!("/customers/{customer}")).await;
    assert!(page.body.contains("Nov 25, 2029"), "the customer's page says until when");
    // The rest goes when its time has come.
    years_on(&mut lab, 3 * 366).await;
    lab.post(&path, &ERASED).await.assert_status(303);
    assert!(lab.store.get_job(number).await.is_err());
    assert_eq!(lab.store.list_erasures(customer).await.unwrap().len(), 2);

    let open = lab.given_job().await;
    let customer = lab.store.get_job(open).await.unwrap().customer.id;
    let path = format!("/customers/{customer}/erasure");
    let page = lab.get(&path).await;
    assert_eq!(page.attributes("form[action$=erasure]", "method").len(), 0, "no form is offered");
    let key = format!("erasure-{}-0", customer.0.simple());
    let refused = lab.post_as_is(&path, &[("key", key.as_str()), ERASED[0], ERASED[1]]).await;
    refused.assert_status(422);
    assert!(refused.body.contains("finish or cancel") || refused.body.contains("Finish or cancel"), "{}", refused.body);
    assert_eq!(lab.store.get_job(open).await.unwrap().customer.person.name, "Ada Quill");
}

/// Nobody takes a row out of the history, or blanks one, outside of the erasure of its customer.
#[tokio::test]
async fn the_triggers_let_go_only_the_rows_of_the_customer() {
    let (lab, number, _) = given_full_job().await;
    let other = lab.given_sent_job().await;
    let mut book = beside(&lab).await;
    let blanks = |job: i64| {
        [
            format!("update job_event set note = '' where job_number = {job} and kind <> 'erased'"),
            format!("update shipment set tracking = '', address = '' where job_number = {job}"),
            format!("update attachment set name = 'erased', note = '' where job_number = {job}"),
            format!(
                "delete from verification_row where verification_id in (select id from verification where job_number = {job})"
            ),
            format!("delete from verification where job_number = {job}"),
        ]
    };
    let patient = format!("(select patient_id from job where number = {number})");
    let naming = format!("insert into erasing select {patient}");
    refuse(&mut book, blanks(number)).await;
    refuse(&mut book, [naming.clone()]).await;
    let request = format!(
        "insert into erasure (customer_id, reason, jobs_erased, at) values ({patient}, 'by letter', 1, '2026-11-25T16:00:00.000Z');
         insert into job_event (job_number, kind, note, at) values ({number}, 'erased', 'by letter', '2026-11-25T16:00:00.000Z')"
    );
    sqlx::raw_sql(AssertSqlSafe(request)).execute(&mut book).await.unwrap();
    // The request alone opens nothing; its customer has to be named as well, and then another one's rows stay shut.
    refuse(&mut book, blanks(number)).await;
    sqlx::raw_sql(AssertSqlSafe(naming)).execute(&mut book).await.unwrap();
    refuse(&mut book, blanks(other)).await;
    refuse(
        &mut book,
        [
            format!("update shipment set address = 'elsewhere', tracking = '' where job_number = {number}"),
            format!("update shipment set carrier = 'Other post' where job_number = {number}"),
            format!("update job_event set note = '' where job_number = {number} and kind = 'erased'"),
            format!("update job_event set kind = 'note' where job_number = {number}"),
            format!("delete from payment where job_number = {number}"),
            format!("delete from receipt where job_number = {number}"),
            "delete from attachment_bytes".to_owned(),
            "delete from erasure".to_owned(),
        ],
    )
    .await;
    for sql in blanks(number) {
        let done = sqlx::raw_sql(AssertSqlSafe(sql.clone())).execute(&mut book).await.expect(&sql);
        assert!(done.rows_affected() > 0, "{sql}");
    }
}

async fn refuse(book: &mut SqliteConnection, statements: impl IntoIterator<Item = String>) {
    for sql in statements {
        let refused = sqlx::raw_sql(AssertSqlSafe(sql.clone())).execute(&mut *book).await.expect_err(&sql);
        let why = refused.to_string();
        assert!(why.contains("is never") || why.contains("only at their request"), "{sql}: {why}");
    }
}
