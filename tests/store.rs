//! The book from its own side: what SQLite is told and says back, what it refuses and in which words, what it keeps.

#![allow(clippy::unwrap_used, reason = "a failed step is a failed test")]

#[path = "web/support.rs"]
mod support;

use std::path::Path;

use rimbook::desk::job::Stage;
use rimbook::desk::money::Cents;
use rimbook::desk::payment::{Payment, PaymentKind};
use rimbook::optics::unit::Millimetre;
use rimbook::store::draft::{Once, act};
use rimbook::store::shipment::Shipment;
use rimbook::store::verification::NewCheck;
use rimbook::store::{FILE_NAME, Store, StoreError};
use sqlx::migrate::Migrator;
use sqlx::sqlite::SqliteConnectOptions;
use sqlx::{AssertSqlSafe, ConnectOptions, SqliteConnection};
use support::{NOW, TestLab};
use time::macros::date;

/// The book through another program's eyes. Foreign keys are off, so that a row can be tried alone.
async fn beside(folder: &Path) -> SqliteConnection {
    SqliteConnectOptions::new().filename(folder.join(FILE_NAME)).foreign_keys(false).connect().await.unwrap()
}

async fn run(book: &mut SqliteConnection, sql: &str) -> Result<(), StoreError> {
    sqlx::raw_sql(AssertSqlSafe(sql.to_owned())).execute(book).await.map(|_| ()).map_err(StoreError::from)
}

async fn texts(book: &mut SqliteConnection, sql: &str) -> Vec<String> {
    sqlx::query_scalar(AssertSqlSafe(sql.to_owned())).fetch_all(book).await.unwrap()
}

#[tokio::test]
async fn the_file_is_in_wal_mode_and_every_table_is_strict() {
    let lab = TestLab::new().await;
    let mut book = beside(lab.folder.path()).await;
    assert_eq!(texts(&mut book, "pragma journal_mode").await, ["wal"], "the mode stands in the file itself");
    let loose = texts(
        &mut book,
        "select name from pragma_table_list where schema = 'main' and type = 'table' and strict = 0
         and name not like 'sqlite_%' and name <> '_sqlx_migrations'",
    )
    .await;
    assert!(loose.is_empty(), "not strict: {loose:?}");
}

#[tokio::test]
async fn every_migration_file_is_in_the_program() {
    let lab = TestLab::unnamed().await;
    let mut book = beside(lab.folder.path()).await;
    let applied = texts(&mut book, "select cast(version as text) from _sqlx_migrations order by version").await;
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
    let files = Migrator::new(folder).await.unwrap();
    let files: Vec<String> = files.iter().map(|m| m.version.to_string()).collect();
    assert_eq!(applied, files, "a new file in migrations is built in when src/store/mod.rs is compiled again");
}

/// `store/error.rs` turns the name of a check into its meaning, so each check has one.
#[tokio::test]
async fn every_check_has_a_name() {
    let lab = TestLab::unnamed().await;
    let mut book = beside(lab.folder.path()).await;
    let tables = texts(&mut book, "select sql from sqlite_master where type = 'table' and sql like '%check (%'").await;
    assert!(tables.len() > 10);
    for sql in tables {
        let mut parts = sql.split("check (");
        let mut before = parts.next().unwrap();
        for after in parts {
            let mut words = before.split_whitespace().rev();
            let is_named = words.nth(1) == Some("constraint");
            assert!(is_named || after.starts_with("id = 1)"), "a check without a name in\n{sql}");
            before = after;
        }
    }
}

#[tokio::test]
async fn a_refusal_of_the_database_has_its_meaning() {
    let lab = TestLab::new().await;
    let mut book = beside(lab.folder.path()).await;
    let frame =
        "insert into frame values (randomblob(16), 'Copperline', 'Tern', 'slate', 5000, 2000, null, 'metal', 0, 'now')";
    run(&mut book, frame).await.unwrap();
    let twice = run(&mut book, frame).await.unwrap_err();
    assert!(matches!(&twice, StoreError::Twice(what) if what.starts_with("frame.maker, frame.model")), "{twice:?}");
    for (sql, name) in [
        ("update lab set lead_days = 0", "lab_lead_days"),
        ("update lab set tolerance_profile = 'own'", "lab_tolerance_profile"),
        ("update material set index_thousandths = 1399", "material_index"),
        ("insert into customer values (x'00', '', '', '', '', '', '', '', '', '', 'now')", "customer_name"),
        ("update frame set eye_size_hundredths = 7501", "frame_eye_size"),
        ("insert into draft values ('', '[]', null, 'now')", "draft_key"),
        ("insert into draft values ('k', 'typed', null, 'now')", "draft_fields"),
        ("insert into drawer_move values (1, x'00', 0, null, 'now')", "drawer_change"),
        ("insert into payment values (x'00', 1, 'card', 0, '2026-11-25', 'now')", "payment_amount"),
        ("insert into verification_excuse values (x'00', ' too short ', 'now')", "excuse_reason"),
        ("insert into job_event values (1, 1, 'burnt', '', 'now')", "job_event_kind"),
    ] {
        let refused = run(&mut book, sql).await.expect_err(name);
        assert!(matches!(&refused, StoreError::OutOfRange(what) if what == name), "{name}: {refused:?}");
    }
    // A word where a number belongs is the database's own failure, for nobody to mend in a field.
    let typed = run(&mut book, "update lab set lead_days = 'soon'").await.unwrap_err();
    assert!(matches!(typed, StoreError::Database(_)), "{typed:?}");
}

#[tokio::test]
async fn a_book_held_by_another_program_says_so() {
    let lab = TestLab::new().await;
    let options = SqliteConnectOptions::new().filename(lab.folder.path().join(FILE_NAME));
    let (mut first, mut second) =
        (beside(lab.folder.path()).await, { options.busy_timeout(std::time::Duration::ZERO).connect().await.unwrap() });
    run(&mut first, "begin immediate").await.unwrap();
    let held = run(&mut second, "begin immediate").await.unwrap_err();
    assert!(matches!(held, StoreError::Busy), "{held:?}");
}

#[tokio::test]
async fn what_happened_is_never_changed_or_removed() {
    let lab = TestLab::new().await;
    let number = lab.given_sent_job().await;
    lab.post(&format!("/jobs/{number}/receipts"), &[]).await.assert_status(303);
    let mut book = beside(lab.folder.path()).await;
    run(&mut book, "insert into frame_wear values (1, x'00', 1300, 1000, 600, 'now')").await.unwrap();
    run(
        &mut book,
        "insert into worn_order values (1, 1, 'prescribed', 1300, 1300, 1000, 600, 0, 0, null, 0, 0, null, 'now')",
    )
    .await
    .unwrap();
    for (table, column) in [
        ("job_event", "note"),
        ("shape", "original_name"),
        ("receipt", "issued_at"),
        ("frame_wear", "added_at"),
        ("worn_order", "at"),
    ] {
        for sql in [format!("update {table} set {column} = ''"), format!("delete from {table}")] {
            let refused = run(&mut book, &sql).await.expect_err(&sql);
            let StoreError::Database(cause) = &refused else { panic!("{sql}: {refused:?}") };
            assert!(cause.to_string().contains("never"), "{sql}: {cause}");
        }
    }
    // The lab's row may change; what it said before is kept.
    run(&mut book, "update lab set name = 'Saltmarsh'").await.unwrap();
    assert_eq!(texts(&mut book, "select name from lab_past").await, ["Saltmarsh Lens Post"]);
}

#[tokio::test]
async fn a_number_is_never_used_twice() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let mut book = beside(lab.folder.path()).await;
    let copy = format!(
        "insert into job select null, customer_id, frame_id, prescription_id, relens_of, made_for, material_id, design,
         coating_id, tint_id, height_right_hundredths, height_left_hundredths, ordered_on, promised_on, note, ordered_at
         from job where number = {number}"
    );
    // Even a row that somebody takes out by force keeps its number.
    run(&mut book, &format!("{copy}; delete from job where number = {}", number + 1)).await.unwrap();
    assert_eq!(lab.given_job().await, number + 2);
    // A number that was never committed was never on a tray: it is given to the next.
    run(&mut book, &format!("begin; {copy}; rollback")).await.unwrap();
    assert_eq!(lab.given_job().await, number + 3);
}

#[tokio::test]
async fn a_book_of_an_earlier_version_is_brought_up_to_date() {
    let folder = tempfile::tempdir().unwrap();
    let all = Migrator::new(Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations")).await.unwrap();
    // Before frames had a position of wear, and before habits.
    let early = Migrator::with_migrations(all.iter().filter(|m| m.version <= 12).cloned().collect());
    let options = SqliteConnectOptions::new().filename(folder.path().join(FILE_NAME)).create_if_missing(true);
    let mut book = options.connect().await.unwrap();
    early.run(&mut book).await.unwrap();
    run(
        &mut book,
        "insert into lab values (1, 'Saltmarsh Lens Post', '4 Quay Lane', '', '', '', 50, 200, 'z80_1', 'as_written', 7, 700,
                                 '2026-11-25T16:00:00Z');
         insert into customer values (x'00000000000000000000000000000001', 'Ada Quill', '', '', '', '', '', '', '', '',
                                      '2026-11-25T16:00:00Z')",
    )
    .await
    .unwrap();
    sqlx::Connection::close(book).await.unwrap();
    let store = Store::open(folder.path()).await.unwrap();
    assert_eq!(store.find_lab().await.unwrap().unwrap().name, "Saltmarsh Lens Post");
    assert_eq!(store.list_customers("Ada", 5).await.unwrap().len(), 1);
    assert!(store.get_process_spread().await.is_ok(), "the table of the newest version is there");
}

#[tokio::test]
async fn the_last_material_stays_on_sale() {
    let lab = TestLab::new().await;
    for material in lab.store.list_materials().await.unwrap() {
        lab.store.retire_material(material.line, NOW).await.unwrap();
    }
    assert_eq!(lab.store.list_materials().await.unwrap().len(), 1);
}

fn payment(cents: i64) -> Payment {
    Payment { kind: PaymentKind::Cash, amount: Cents::new(cents), paid_on: date!(2026 - 11 - 25) }
}

#[tokio::test]
async fn a_key_is_done_once_and_outlives_the_process() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let key = act("payment-1", &["20"]);
    assert_eq!(lab.store.insert_payment(&key, number, &payment(2000), NOW).await.unwrap(), Once::Now(()));
    let lab = lab.reopened().await;
    let again = lab.store.insert_payment(&key, number, &payment(2000), NOW).await.unwrap();
    assert_eq!(again, Once::Before(number.to_string()));
    assert_eq!(lab.store.list_payments(number).await.unwrap().len(), 2, "with the one of the order");
    // Work that fails half-way leaves neither a row nor a key that is used up.
    let broken = lab.store.insert_payment("payment-2", 99_999, &payment(2000), NOW).await;
    assert!(broken.is_err());
    assert_eq!(lab.store.find_draft("payment-2").await.unwrap(), None);
}

#[tokio::test]
async fn a_finished_form_forgets_what_was_typed() {
    let lab = TestLab::new().await;
    let number = lab.given_job().await;
    let typed = vec![("note".to_owned(), "call Ada".to_owned())];
    lab.store.keep_draft("note-1", &typed, NOW).await.unwrap();
    lab.store.append_note(&act("note-1", &typed), number, "call Ada", NOW).await.unwrap();
    // A draft that comes in late does not bring it back.
    lab.store.keep_draft("note-1", &typed, NOW).await.unwrap();
    assert_eq!(lab.store.find_draft("note-1").await.unwrap().unwrap().fields, []);
}

fn check(passed: bool) -> NewCheck {
    let (reading, verdict) = ("{}".into(), "{}".into());
    NewCheck { profile: "z80_1", reading, verdict, passed, summary: String::new() }
}

/// Two windows read the same stage; the first to post moves the job, and the second is refused in the transaction.
#[tokio::test]
async fn a_step_that_was_overtaken_is_refused() {
    let lab = TestLab::new().await;
    let moved = |refused: Result<Once<()>, StoreError>| matches!(refused, Err(StoreError::MovedOn(_)));
    let number = lab.given_checked_job().await;
    lab.store.insert_check("other-window", number, &check(false), NOW).await.unwrap();
    assert!(moved(lab.store.insert_packing("packing", number, &[], NOW).await), "packed after a failed check");
    let parcel = Shipment {
        carrier: "Parcel post".into(),
        tracking: String::new(),
        sent_on: NOW.date(),
        address: "there".into(),
    };
    assert!(moved(lab.store.insert_shipment("parcel", number, &parcel, NOW).await), "sent unpacked");
    assert_eq!(lab.stage(number).await, Stage::Cut);
    lab.given_lenses_for(number).await;
    assert!(moved(lab.store.insert_check("check", number, &check(true), NOW).await), "checked uncut");
    assert!(moved(lab.store.concede_check("concession", number, "a long enough reason", NOW).await), "conceded uncut");
    let sent = lab.given_sent_job().await;
    assert!(moved(lab.store.insert_cut("cut", sent, Millimetre::ZERO, "", NOW).await), "cut after it left");
    assert!(moved(lab.store.take_lenses("lenses", sent, &[], NOW).await), "lenses after it left");
    let again = lab.store.insert_shipment("parcel-2", sent, &parcel, NOW).await;
    assert!(matches!(again, Err(StoreError::Twice(_))), "{again:?}");
}
